"""What a recording says, held against a plan: sound, pitch, who played which note when, how far off, and why."""
