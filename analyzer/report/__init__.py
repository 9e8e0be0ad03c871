"""Results made visible: annotated scores, tables, pictures, pages."""
