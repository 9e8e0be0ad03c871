"""What is printed: reading MusicXML, finding parts, and the line one player plays."""
