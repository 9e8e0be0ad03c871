"""An answer as its parts, in order: told once, set as lines for a terminal here and as pages by `paper.sheet`."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from textwrap import fill

_RULE = 100                            # a line under a heading is no longer than this


@dataclass(frozen=True, slots=True)
class Title:
    """What the answer is about. Where `paper` is set, a terminal does without it: the command line has said it."""

    text: str
    paper: bool = False


@dataclass(frozen=True, slots=True)
class Head:
    """A heading; `ruled` where a new section begins."""

    text: str
    ruled: bool = False


@dataclass(frozen=True, slots=True)
class Said:
    """A sentence or two. `indent`, `hang` (of further lines) and `wide` are letters of a terminal; 0 is no limit."""

    text: str
    indent: int = 0
    hang: int = 0
    wide: int = 0
    strong: bool = False


@dataclass(frozen=True, slots=True)
class Gap:
    """An empty line."""


@dataclass(frozen=True, slots=True)
class Hint:
    """What to do next at a terminal; the local page has a place of its own for it and leaves it out."""

    text: str
    indent: int = 0


@dataclass(frozen=True, slots=True)
class Table:
    """A table, heads first, every row as long as they are; `right` where its numbers stand to the right.

    `indent` is letters of a terminal.
    """

    rows: Sequence[Sequence[str]]
    right: bool = False
    indent: int = 0


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: the cells of its row on paper, its lines in a terminal; the words are the same."""

    cells: Sequence[str]
    lines: Sequence[str]


@dataclass(frozen=True, slots=True)
class Findings:
    """Things found, a row each under these heads."""

    heads: Sequence[str]
    rows: Sequence[Finding] = field(default_factory=tuple)


@dataclass(frozen=True, slots=True)
class Cautions:
    """The cautions that an answer ends with."""

    lines: Sequence[str]


Block = Title | Head | Said | Hint | Gap | Table | Findings | Cautions


def as_text(blocks: Iterable[Block]) -> str:
    """Return an answer as lines for a terminal."""
    return "\n".join(line for block in blocks for line in _lines(block))


def _lines(block: Block) -> Sequence[str]:
    match block:
        case Title():
            return [] if block.paper else [block.text]
        case Head():
            return ["", block.text, *(["=" * min(_RULE, len(block.text))] if block.ruled else [])]
        case Said():
            first = " " * block.indent
            further = first + " " * block.hang
            return fill(block.text, block.wide, initial_indent=first, subsequent_indent=further).splitlines() \
                if block.wide else [first + block.text]
        case Hint():
            return [" " * block.indent + block.text]
        case Gap():
            return [""]
        case Table():
            return _columns(block)
        case Findings():
            return [line for row in block.rows for line in row.lines]
        case Cautions():
            return ["", *(f"Caution: {line}" for line in block.lines)]


def _columns(table: Table) -> list[str]:
    widths = [max(map(len, column)) for column in zip(*table.rows, strict=True)]
    lead = " " * table.indent
    return [lead + "  ".join(cell.rjust(widths[k]) if table.right and k else cell.ljust(widths[k])
                             for k, cell in enumerate(row)).rstrip() for row in table.rows]
