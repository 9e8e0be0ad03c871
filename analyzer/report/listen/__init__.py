"""A recording held against a plan, said to people."""
