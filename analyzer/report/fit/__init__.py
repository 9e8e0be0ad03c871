"""The fit of a section told: document, text, page."""
