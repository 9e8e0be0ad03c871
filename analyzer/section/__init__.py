"""A band's section and a score: who plays what, on which horn, and who is ready for another one."""
