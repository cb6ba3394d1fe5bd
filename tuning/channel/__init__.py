"""One channel through all steps."""
