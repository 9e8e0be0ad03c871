"""One player's line written for someone else to read: another clef, another key, other octaves, alone on its staff."""
