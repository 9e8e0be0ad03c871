"""A whole library of scores, surveyed in parallel and resumable."""
