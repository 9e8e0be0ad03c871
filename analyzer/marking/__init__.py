"""Plans written into the score they came from, byte by byte, and taken out again."""
