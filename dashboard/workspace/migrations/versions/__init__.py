"""How older databases become newer ones."""
