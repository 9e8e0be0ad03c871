"""What every test rests on."""

import os

# Paper follows the language settings of a computer; the tests are those of one that says nothing.
os.environ.pop("LC_ALL", None)
os.environ["LC_PAPER"] = "C"
