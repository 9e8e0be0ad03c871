"""Where horn and score meet: time, costs, and the least-cost plan of a line."""
