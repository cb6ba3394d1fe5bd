"""What came of what was set on site."""
