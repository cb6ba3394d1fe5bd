"""The settings sheet: look at it, take it along, and say what was set on site."""
