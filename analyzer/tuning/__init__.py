"""A horn of one's own: measured or read from a tuner, its slides pulled, written as a profile."""
