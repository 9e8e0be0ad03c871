"""The same horns over every piece of a folder, and over all of them together."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

from analyzer.analysis import Request
from analyzer.horns.horn import Horn
from analyzer.library.files import Contents, Entry, find_entries
from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.review.compare import Column, changing, compare, summed
from analyzer.score.document import read_score
from analyzer.words import counted

_NOBODY_MM_S = 21_000.0
"""Three times the greatest comfortable peak speed of a slide (weights.toml). Judged: a hard part on the wrong horn
comes to 13.6 m/s; a file with faults came to 184."""
_SLOWER, _FEW = 10.0, 4
"""A top tempo this many times below the median of at least so many pieces is no music's. Judged."""
_ALIKE = 0.05
"""Share of slide travel that decides nothing by itself. Judged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """One file: its `lines` that fit the horns, all of them together in `totals`, a column a horn.

    A file that could not be compared has no totals and a `problem`. `outlier` says why a piece is left out of the sums
    of the folder, empty where it is not.
    """

    name: str
    title: str | None
    lines: int
    totals: tuple[Column, ...]
    problem: Problem | None = None
    outlier: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class HornVerdict:
    """The horn that serves the pieces best, None where no one is better; `text` says it with the reasons."""

    horn: str | None
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Folder:
    """The pieces of a folder on the same horns; `totals` adds up those that could be compared, without outliers."""

    name: str
    horns: tuple[Horn, ...]
    pieces: tuple[Piece, ...]
    cautions: tuple[str, ...]

    @property
    def totals(self) -> tuple[Column, ...]:
        """All pieces together, a column a horn; nothing where none could be compared."""
        return summed([one.totals for one in self.counted])

    @property
    def counted(self) -> tuple[Piece, ...]:
        """The pieces that the totals and the verdict are made from."""
        return tuple(one for one in self.pieces if one.totals and not one.outlier)

    @property
    def verdict(self) -> HornVerdict:
        """Which horn serves these pieces best.

        By whole pieces first, then by notes that cannot be played, then by the slide's way (a difference of less than
        `_ALIKE` is none).
        """
        totals = self.totals
        if not totals:
            return HornVerdict(horn=None, text="There is nothing to compare.")
        whole = [sum(not one.totals[k].unplayable for one in self.counted) for k in range(len(totals))]
        order = sorted(range(len(totals)), key=lambda k: (-whole[k], totals[k].unplayable, totals[k].travel_mm or 0.0))
        best, second = order[:2]
        said = "; ".join(
            f"{totals[k].horn}: {whole[k]} of {counted(len(self.counted), 'piece')} complete, "
            f"{counted(totals[k].unplayable, 'note')} missing" for k in order)
        a, b = totals[best], totals[second]
        less = 1 - (a.travel_mm / b.travel_mm) if a.travel_mm is not None and b.travel_mm else 0.0
        if (whole[best], a.unplayable) == (whole[second], b.unplayable) and less < _ALIKE:
            return HornVerdict(horn=None, text=f"No horn is clearly better here. {said}.")
        travel = f" Slide travel: {100 * less:.0f} % less than {b.horn}." if less >= _ALIKE else ""
        return HornVerdict(horn=a.horn, text=f"Best for these pieces: {a.horn}. {said}.{travel}")


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
    return Folder(name=str(folder), horns=tuple(horns), cautions=changing(horns),
                  pieces=tuple(without_outliers(sorted(pieces, key=lambda one: one.name))))


def without_outliers(pieces: Sequence[Piece]) -> list[Piece]:
    """Return the pieces, those marked that would spoil every sum: too fast for anybody, on every horn.

    Such a piece is mostly a fault of the file (a cadenza written out in notes of no length), and one is enough to set
    the fastest move and the top tempo of a whole folder.
    """
    compared = [one for one in pieces if one.totals]
    usual = [median(tempi) if len(tempi := [
        one.totals[k].tempo_ceiling_bpm or 0.0 for one in compared if one.totals[k].tempo_ceiling_bpm]) >= _FEW else 0.0
        for k in range(len(compared[0].totals))] if compared else []
    return [replace(one, outlier=_outlier(one, usual)) if one.totals else one for one in pieces]


def _outlier(one: Piece, usual_bpm: Sequence[float]) -> str:
    fast, slow = [], []
    for column, usual in zip(one.totals, usual_bpm, strict=True):
        move, ceiling = column.fastest, column.tempo_ceiling_bpm
        fast.append(move is not None and move.speed_mm_s > _NOBODY_MM_S)
        slow.append(ceiling is not None and ceiling < usual / _SLOWER)
    if not all(a or b for a, b in zip(fast, slow, strict=True)):
        return ""
    column = one.totals[0]
    if column.fastest is not None and fast[0]:
        return (f"a move of {column.fastest.speed_mm_s / 1000:.0f} m/s in measure {column.fastest.measure}, which "
                "nobody can play: look at its note values")
    return (f"a top tempo of {column.tempo_ceiling_bpm or 0:.0f}, far below that of the other pieces: look at its note "
            "values")


def _piece(contents: Contents, entry: Entry, horns: Sequence[Horn], request: Request) -> Piece:
    try:
        document = read_score(contents.read(entry), entry.name)
        comparison = compare(document, horns, request, fitting=True)
    except Unreadable as error:
        return Piece(name=entry.name, title=None, lines=0, totals=(), problem=error.problem)
    return Piece(name=entry.name, title=document.title, lines=len(comparison.lines), totals=comparison.totals)
