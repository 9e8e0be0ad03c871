"""Music and marks engraved: SVG, and PDF with text."""
