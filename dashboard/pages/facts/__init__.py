"""What is known of a building: prices, rooms, channels. Edited with history, undone key by key."""
