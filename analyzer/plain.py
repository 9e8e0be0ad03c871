"""Text from outside made safe for where it is shown: names, titles and messages, on a terminal, in a table, in JSON.

What a score, a player file or a file name says may hold escape sequences, line breaks that forge a line of ours, codes
that turn the order of letters round, or the beginning of a formula.
"""

import json
import re
from collections.abc import Iterator
from typing import Any

_LINE_ENDS = re.compile("[\n\r\v\f\x1c-\x1e\x85\u2028\u2029]+")
# Control characters but for tab and line feed (C0, delete, C1), marks and overrides of writing direction (Unicode
# Standard Annex 9), lone halves of a pair, and what no XML may hold.
_UNSAFE = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff\ufffe\uffff]")
_NUMBER = re.compile(r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)?")
_PARTS = 4096                          # of JSON that are joined to a piece
STAND_IN = "\ufffd"
"""Stands for a character that is not shown."""


def visible(text: str) -> str:
    """Return text whose every character is seen or is a space, tab or line feed; what is not becomes `STAND_IN`.

    Examples
    --------
    >>> visible("Tuba\\x1b[2J")
    'Tuba�[2J'
    """
    return _UNSAFE.sub(STAND_IN, text) if _UNSAFE.search(text) else text


def one_line(text: str) -> str:
    """Return text that is one line: line breaks become spaces, and it is `visible`.

    Examples
    --------
    >>> one_line("Trombone 1\\nerror: none")
    'Trombone 1 error: none'
    """
    return visible(_LINE_ENDS.sub(" ", text)) if _LINE_ENDS.search(text) or _UNSAFE.search(text) else text


def cell(text: str) -> str:
    """Return text for a cell of a table: one that a spreadsheet would take for a formula begins with an apostrophe.

    Spreadsheets run cells that begin with ``=``, ``+``, ``-``, ``@``, a tab or a return (OWASP, *CSV Injection*). A
    number, or a sign that stands alone, stays.

    Examples
    --------
    >>> cell("=1+1"), cell("-12.5"), cell("+"), cell("F attachment")
    ("'=1+1", '-12.5', '+', 'F attachment')
    """
    text = one_line(text)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t") and not _NUMBER.fullmatch(text) else text


def json_text(document: Any, *, indent: int | None = 1) -> str:
    """Return a document as JSON: letters as they are, but for those that are not seen, which become ``\\\\uXXXX``.

    Without `indent` it stands on one line, without spaces.

    Raises
    ------
    ValueError
        If it holds a number that JSON has not (infinite, or none): such a value is to be mended where it is made.

    Examples
    --------
    >>> json_text({"name": "Ann\\u202e\\x9b"}, indent=None)
    '{"name":"Ann\\\\u202e\\\\u009b"}'
    """
    return _written_safely(json.dumps(document, ensure_ascii=False, allow_nan=False, indent=indent,
                                      separators=None if indent else (",", ":")))


def json_pieces(document: Any) -> Iterator[str]:
    """Yield the text of `json_text` in pieces, for documents of thousands of rows; raises as that does.

    Examples
    --------
    >>> "".join(json_pieces({"rows": [1, "Ann\\x9b"]})) == json_text({"rows": [1, "Ann\\x9b"]})
    True
    """
    parts: list[str] = []
    for part in json.JSONEncoder(ensure_ascii=False, allow_nan=False, indent=1).iterencode(document):
        parts.append(part)
        if len(parts) >= _PARTS:
            yield _written_safely("".join(parts))
            parts.clear()
    yield _written_safely("".join(parts))


def _written_safely(text: str) -> str:
    # Outside of texts JSON holds none of these; inside, the written form says the same.
    return _UNSAFE.sub(lambda found: f"\\u{ord(found[0]):04x}", text) if _UNSAFE.search(text) else text
