"""What folders hold: sheets of players, pieces as they were seated."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from analyzer.problem import Problem
from analyzer.review.chord_map import Sonority


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """One player's part of one piece: printed pages, with what the lists say of it.

    `also` tells of phrases of other lines in it, `file` is the part as a score where that was asked for.
    """

    score: str
    title: str
    part_id: str
    part_name: str
    line: int
    of: int
    player: str
    horn: str
    horn_said: str
    doubles: bool
    covers: bool
    pdf: bytes
    also: str = ""
    phone: bytes | None = None
    file: bytes | None = None
    pages: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One score of the programme, seated: its sheets in the order of the score, and what the director has to know."""

    score: str
    title: str
    verdict: str = ""
    said: str = ""
    sheets: tuple[Sheet, ...] = ()
    unfilled: tuple[tuple[str, str, int, str], ...] = ()        # part id, part name, line, why
    changes: tuple[str, ...] = ()
    first: tuple[str, ...] = ()
    supposed: tuple[str, ...] = ()
    chords: tuple[Sonority, ...] = ()
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Folder:
    """What one player gets: a file (None without a part) and its sheets in programme order."""

    player: str
    file: str | None
    pages: int
    sheets: tuple[Sheet, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Folders:
    """The answer: a folder for each player, and the pieces as they were seated."""

    folders: tuple[Folder, ...]
    pieces: tuple[Piece, ...]
    problems: tuple[Problem, ...] = field(default=())

    @property
    def unfilled(self) -> list[tuple[Piece, tuple[str, str, int, str]]]:
        """Lines without a player, with their piece."""
        return [(piece, line) for piece in self.pieces for line in piece.unfilled]


def horn_changes(sheets: Iterable[Sheet]) -> list[str]:
    """Say where a player takes up another horn between pieces."""
    said: list[str] = []
    before: Sheet | None = None
    for sheet in sheets:
        if before is not None and sheet.horn != before.horn and sheet.score != before.score:
            said.append(f"{sheet.horn_said} for {sheet.title}")
        before = sheet
    return said
