"""The course told: document, text, sheets, calendar."""
