"""A year of light, for the owner."""
