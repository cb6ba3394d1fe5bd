"""Illuminance and output → daylight and lamps, and how light or dark each pause was."""
