"""`lowbrass take-home`: one page for a phone, which plays, counts, listens and asks nothing of any network."""
