"""The building: its rooms, ranked by what tuning is worth."""
