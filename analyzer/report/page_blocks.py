"""An answer's parts for the local page: the words of the text and the sheet, without terminals and keys of files."""

import re
from collections.abc import Iterable
from typing import Any

from analyzer.horns.profiles import horn_names
from analyzer.report.blocks import Block, Cautions, Findings, Gap, Head, Hint, Said, Table, Title
from analyzer.report.plain import horn_said, plain

_BRACKETS = re.compile(r"\[([a-z, ]+)\]")
_SHORT = re.compile(r"\b([Ff]rom|to|on|with|than) (tenor|alto)\b(?![\w-]| trombone| clef| saxophone)")


def page_blocks(blocks: Iterable[Block]) -> list[dict[str, Any]]:
    """Return the parts as data, in order: ``kind`` (head, said, table, findings, cautions) and what each holds.

    What a terminal's reader does next (`Hint`) is left out, for the page has a place of its own for it.
    """
    return [found for block in blocks for found in [_part(block)] if found is not None]


def said_plainly(text: str) -> str:
    """Return a text, or the cell of a table, as the page says it: horns by what they are.

    Examples
    --------
    >>> said_plainly("tenor"), said_plainly("A player: from tenor to tenor-f")
    ('tenor trombone', 'A player: from tenor trombone to tenor trombone with F attachment')
    """
    if text in horn_names():
        return _named(text)
    named = _SHORT.sub(lambda found: f"{found[1]} {_named(found[2])}", text.replace(" -> ", " to "))
    return _BRACKETS.sub(r"(\1)", plain(named))


def _named(horn: str) -> str:
    return horn_said(horn).removesuffix(", straight")


def _part(block: Block) -> dict[str, Any] | None:
    match block:
        case Title() | Head():
            return {"kind": "title" if isinstance(block, Title) else "head", "text": said_plainly(block.text)}
        case Said():
            return {"kind": "said", "text": said_plainly(block.text), "strong": block.strong,
                    "set_in": bool(block.indent)}
        case Table():
            return {"kind": "table", "rows": [[said_plainly(cell) for cell in row] for row in block.rows],
                    "right": block.right}
        case Findings():
            return {"kind": "findings", "heads": [said_plainly(head) for head in block.heads],
                    "rows": [[said_plainly(cell) for cell in row.cells] for row in block.rows]} if block.rows else None
        case Cautions():
            return {"kind": "cautions", "lines": [plain(line) for line in block.lines]}
        case Hint() | Gap():
            return None
