"""`lowbrass folders`: a programme's music for every player."""
