"""Where a long note belongs in its chord: what sounds with it in the whole score, and how far that is from equal."""
