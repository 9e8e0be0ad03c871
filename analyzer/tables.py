"""Rows as CSV, written in one place."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from itertools import islice

from analyzer.plain import cell

_PIECE = 500
"""Rows of a piece: some hundred KiB."""


def csv_text(rows: Iterable[Mapping[str, object]], columns: Iterable[str]) -> str:
    """Return rows as CSV under their column names, each line ended by a line feed.

    A value that is missing or None is an empty cell; lists are joined by semicolons. No cell is a formula.

    Examples
    --------
    >>> csv_text([{"note": "Bb2", "valves": ["T", "S"], "partial": None}], ("note", "valves", "partial"))
    'note,valves,partial\\nBb2,T; S,\\n'
    """
    return "".join(csv_pieces(rows, columns))


def csv_pieces(rows: Iterable[Mapping[str, object]], columns: Iterable[str]) -> Iterator[str]:
    """Yield the text of `csv_text` in pieces of whole lines, for tables of thousands of rows."""
    names = list(columns)
    rows = iter(rows)
    lines: list[list[object]] = [list(names)]
    while lines:
        out = io.StringIO()
        csv.writer(out, lineterminator="\n").writerows(lines)
        yield out.getvalue()
        lines = [[_cell(row.get(name)) for name in names] for row in islice(rows, _PIECE)]


def _cell(value: object) -> object:
    if isinstance(value, list | tuple):
        value = "; ".join(map(str, value))
    return cell(value) if isinstance(value, str) else value
