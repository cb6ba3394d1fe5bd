"""Light → the target illuminance that keeps the task lit, and what every other target would do."""
