"""A practice sheet told: document, text, score, page, sound."""
