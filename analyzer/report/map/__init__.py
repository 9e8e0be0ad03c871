"""The plan of a score told: document, text, page, files."""
