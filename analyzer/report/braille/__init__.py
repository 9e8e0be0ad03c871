"""A part in braille: the music, and below it the positions or valves of every note."""
