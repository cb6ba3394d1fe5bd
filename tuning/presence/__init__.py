"""Pauses → was somebody there, how long do people keep still, how long are they away."""
