"""Tests of holdoff."""
