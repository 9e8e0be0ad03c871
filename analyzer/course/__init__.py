"""A change of horn or clef as a course of weeks, from the music a school owns."""
