"""Rows as CSV, written in one place."""

import csv
import io
from collections.abc import Iterable, Mapping

from analyzer.plain import cell


def csv_text(rows: Iterable[Mapping[str, object]], columns: Iterable[str]) -> str:
    """Return rows as CSV under their column names, each line ended by a line feed.

    A value that is missing or None is an empty cell; lists are joined by semicolons. No cell is a formula.

    Examples
    --------
    >>> csv_text([{"note": "Bb2", "valves": ["T", "S"], "partial": None}], ("note", "valves", "partial"))
    'note,valves,partial\\nBb2,T; S,\\n'
    """
    names = list(columns)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(names)
    writer.writerows([_cell(row.get(name)) for name in names] for row in rows)
    return out.getvalue()


def _cell(value: object) -> object:
    if isinstance(value, list | tuple):
        value = "; ".join(map(str, value))
    return cell(value) if isinstance(value, str) else value
