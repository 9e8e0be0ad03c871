"""A survey told: document, text, table, page with plots."""
