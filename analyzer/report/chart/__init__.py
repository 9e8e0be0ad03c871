"""The chart of a horn, and the change to another, told: document, text, staff, page."""
