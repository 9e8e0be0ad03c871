"""Plans slide positions and valve combinations for whole low-brass passages, and says why."""

__version__ = "0.1.0"
