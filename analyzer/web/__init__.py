"""The local page: a score dropped, its part engraved with marks, a mark clicked and changed."""
