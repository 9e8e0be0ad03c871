"""Practice sheets built from the music at hand."""
