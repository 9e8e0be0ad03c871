"""The same horns over every piece of a folder, and over all of them together."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from analyzer.analysis import Request
from analyzer.horns.horn import Horn
from analyzer.library.files import Contents, Entry, find_entries
from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.review.compare import Column, changing, compare, summed
from analyzer.score.document import read_document


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One file: its `lines` that fit the horns, all of them together in `totals`, a column a horn.

    A file that could not be compared has no totals and a `problem`.
    """

    name: str
    title: str | None
    lines: int
    totals: tuple[Column, ...]
    problem: Problem | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Folder:
    """The pieces of a folder on the same horns; `totals` adds up those that could be compared."""

    name: str
    horns: tuple[Horn, ...]
    pieces: tuple[Piece, ...]
    cautions: tuple[str, ...]

    @property
    def totals(self) -> tuple[Column, ...]:
        """All pieces together, a column a horn; nothing where none could be compared."""
        return summed([one.totals for one in self.pieces if one.totals])


Each = Callable[[Sequence[Entry]], Iterable[Entry]]
"""Goes through the files, perhaps showing progress."""


def compare_folder(folder: Path, horns: Sequence[Horn], request: Request, *, each: Each = iter) -> Folder:
    """Compare horns on every score of a folder, each once; one that cannot be compared stands there with its reason.

    Raises
    ------
    Unreadable
        If the folder cannot be read or holds no score.
    """
    entries = find_entries(folder)
    scores = [one for one in entries if one.status == "score"]
    if not scores:
        raise unreadable("no-scores", where=str(folder), what=f"no score among its {len(entries)} files",
                         try_="Name a folder that holds MusicXML (.musicxml, .mxl or .xml).")
    contents = Contents()
    try:
        pieces = [_piece(contents, one, horns, request) for one in each(scores)]
    finally:
        contents.close()
    pieces += [Piece(name=one.name, title=None, lines=0, totals=(), problem=one.problem) for one in entries
               if one.status not in ("score", "not a score") and one.problem is not None]
    return Folder(name=str(folder), horns=tuple(horns), pieces=tuple(sorted(pieces, key=lambda one: one.name)),
                  cautions=changing(horns))


def _piece(contents: Contents, entry: Entry, horns: Sequence[Horn], request: Request) -> Piece:
    try:
        document = read_document(contents.read(entry), entry.name)
        comparison = compare(document, horns, request, fitting=True)
    except Unreadable as error:
        return Piece(name=entry.name, title=None, lines=0, totals=(), problem=error.problem)
    return Piece(name=entry.name, title=document.title, lines=len(comparison.lines), totals=comparison.totals)
