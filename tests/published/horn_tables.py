"""Reads the published tables beside it: comment lines with the source first, then plain CSV."""

import csv
from pathlib import Path


def rows(name: str) -> list[dict[str, str]]:
    """Return the rows of a table; the comment lines name its source."""
    lines = (Path(__file__).parent / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
