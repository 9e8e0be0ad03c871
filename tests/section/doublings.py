"""Doublings hidden and found again: whom do we ask to take a low-brass phrase, and whom did the composer ask?

``python -m tests.section.doublings [SCORE ...]`` prints a row a score; without scores those of the folder beside the
project (LOWBRASS_SHARED) and those that an installed package brings (maialib). With ``--write`` the table is recorded
in doublings.csv.

Printed cues would be the better question, and there are none to ask: see `cue_sized` below, which counts what scores
print small. So this is another oracle, and its name says which: where a composer lets a second player join a trombone
at the same pitch, that player is one whom the composer trusts with the phrase. The second player is hidden (as if at
rest there), and the prices of `section.split` rank everybody who rests: precision is how often the first of them is
one of the hidden, recall how many of the hidden stand among as many first ones as there are. Beside it stand chance
(the hidden among all who rest and lose no note) and the nearest register alone.

What the oracle cannot say: a composer doubles for color and weight, too, not only where somebody is able; and who
is hidden plays around the phrase more often than others, so that `cold` would find them without any music in it. It is
left out of the ranking here.
"""

import csv
import re
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

from analyzer.problem import Unreadable
from analyzer.score.cues import small_notes
from analyzer.score.document import Document, open_document
from analyzer.score.lines import Line
from analyzer.score.parts import find_parts
from analyzer.score.sounding import Moment, Sounding, moment, moment_of
from analyzer.section.cover import COVER_PRICES
from analyzer.section.split import Piece, Taker, busy_in, pieces_of, span_of
from analyzer.selection import asked_lines
from analyzer.writing.phrases import phrases_of, section_breaks, settled
from analyzer.writing.readers import Reader
from tests.intonation.real_scores import SHARED

TABLE = Path(__file__).with_name("doublings.csv")
LEAST_NOTES = 4                         # shorter phrases say nothing of a choice
SAME = 0.9                              # share of a phrase's notes that a doubling has, at pitch and begun together
_NOBODY = re.compile(
    r"harp|arpa|harfe|piano|klavier|organ|orgel|celesta|timpani|pauken|drum|cymbal|perc|voice|sopran|^alto?\W*$|"
    r"^tenore?\W*$|^bass[oi]?\W*$|choir|chor|coro|tri?angle|glocken|xylo|tam-tam", re.IGNORECASE)
_BRASS = re.compile(r"horn|\bcor\b|corno|trumpet|tromba|trompet|tuba|trombone|posaune|euphonium", re.IGNORECASE)
_LOW = re.compile(r"trombon|posaune|euphon", re.IGNORECASE)
_REEDS = re.compile(r"english horn|englishhorn|cor anglais|corno inglese|basset", re.IGNORECASE)


@dataclass(slots=True, kw_only=True)
class Row:
    """One score: what was asked, and what was found. Sums over phrases; `measures` weigh each by its measures."""

    score: str
    phrases: int = 0
    hidden: int = 0                     # doublings hidden
    resting: int = 0                    # everybody who rests, the hidden with them
    first: int = 0                      # phrases whose first choice is one of the hidden
    found: int = 0                      # hidden among as many first ones
    nearest: int = 0                    # the same by register alone
    by_chance: float = 0.0
    measures: int = 0
    first_measures: int = 0
    wrong: list[str] = field(default_factory=list)

    def told(self) -> dict[str, str]:
        """Return the row as the table has it."""
        return {"score": self.score, "phrases": str(self.phrases), "measures": str(self.measures),
                "hidden": str(self.hidden), "resting": str(self.resting),
                "first_right": str(self.first), "measures_right": str(self.first_measures),
                "found": str(self.found), "nearest_right": str(self.nearest), "chance_right": f"{self.by_chance:.1f}"}


def asked(document: Document) -> Iterator[tuple[Line, tuple[int, int], list[tuple[Line, Piece]], set[int]]]:
    """Yield (line, phrase, everybody who could take it as (their line, their piece), which of these are hidden)."""
    parts = [part for part in find_parts(document)[0] if not _NOBODY.search(part.full_name or part.name or "")]
    lines = [one.line for one in asked_lines(document, parts)[0] if one.line.notes]
    starts = [{(moment_of(line, k), note.midi) for k, note in enumerate(line.notes)} for line in lines]
    for line in lines:
        if not _LOW.search(line.part_name) and line.family not in ("trombone", "bass trombone", "euphonium"):
            continue
        busy: dict[int, tuple[tuple[Fraction, Fraction], ...]] = {}
        for first, last in phrases_of(line, section_breaks(document, line.part_id)):
            if last - first + 1 < LEAST_NOTES:
                continue
            mine = {(moment_of(line, k), line.notes[k].midi) for k in range(first, last + 1)}
            doubling = {n for n, other in enumerate(lines) if other.part_id != line.part_id
                        and len(mine & starts[n]) >= SAME * len(mine)}
            if not doubling:
                continue
            begin, end = span_of(line, first, last)
            takers: list[tuple[Line, Piece]] = []
            hidden: set[int] = set()
            for n, other in enumerate(lines):
                if other.part_id == line.part_id:
                    continue
                if n not in busy:
                    busy[n] = busy_in(line, other)
                if n not in doubling and any(one < end and begin < two for one, two in busy[n]):
                    continue
                piece = _offered(line, (first, last), other, mine if n in doubling else set(), busy[n])
                if piece is not None:
                    if n in doubling:
                        hidden.add(len(takers))
                    takers.append((other, piece))
            if hidden and len(takers) > len(hidden):
                yield line, (first, last), takers, hidden


def _offered(line: Line, span: tuple[int, int], other: Line, hide: set[tuple[Moment, int]],
             busy: tuple[tuple[Fraction, Fraction], ...]) -> Piece | None:
    """Return the phrase in another player's hands by the prices of a split; `hide` is what that player doubles."""
    begin, end = span_of(line, *span)
    own = [note for k, note in enumerate(other.notes) if (moment_of(other, k), note.midi) not in hide]
    if not own:
        return None
    if hide:                             # at rest in the phrase, and with a breath on both sides
        around = Fraction(4)
        busy = tuple(span for span in busy if span[1] <= begin - around or span[0] >= end + around)
    low, high = min(note.midi for note in own), max(note.midi for note in own)
    (phrase,) = settled(line, [span], Reader(name=other.part_name, clef="bass", low=low, high=high))
    brass = bool(_BRASS.search(other.part_name)) and not _REEDS.search(other.part_name)
    kin = bool(_LOW.search(other.part_name))
    taker = Taker(name=other.part_name, phrases=(phrase,), busy=busy,
                  blend=0.0 if kin else COVER_PRICES["blend" if brass else "far_blend"],
                  home=sum(note.midi for note in own) / len(own))
    return pieces_of(line, taker, 0)[0]


def price(piece: Piece) -> float:
    """What a phrase costs with a taker, without `cold`, which would betray the hidden."""
    return piece.price - piece.items.get("cold", 0.0)


def row_of(path: Path) -> Row:
    """Ask every doubled phrase of a score."""
    row = Row(score=path.name)
    for line, (first, last), takers, hidden in asked(open_document(path)):
        measures = len({note.measure_index for note in line.notes[first:last + 1]})
        ranked = sorted(range(len(takers)), key=lambda n: price(takers[n][1]))
        whole = [n for n in range(len(takers)) if not takers[n][1].missing]
        near = min(range(len(takers)), key=lambda n: takers[n][1].items.get("register", 0.0))
        right = ranked[0] in hidden
        row.phrases += 1
        row.measures += measures
        row.hidden += len(hidden)
        row.resting += len(takers)
        row.first += right
        row.first_measures += measures * right
        row.found += len(hidden & set(ranked[:len(hidden)]))
        row.nearest += near in hidden
        row.by_chance += len(hidden & set(whole)) / len(whole) if whole else 0.0
        if not right:
            row.wrong.append(
                f"{line.part_name} m. {line.notes[first].measure}-{line.notes[last].measure}: "
                f"{takers[ranked[0]][0].part_name} {takers[ranked[0]][1].items}, hidden "
                + ", ".join(f"{takers[n][0].part_name} {takers[n][1].items}" for n in sorted(hidden)))
    return row


def cue_sized(document: Document) -> Iterator[tuple[str, str, int, list[str]]]:
    """Yield (part, measure, notes, parts that have these notes) of everything a score prints small, grace notes apart.

    A cue is another part's notes: where no other part begins them together with it, what is small is no cue.
    """
    names = {part.id: part.full_name or part.name for part in find_parts(document)[0]}
    starts = {part_id: {(*moment(part.measures, note.measure, note.onset), note.written.midi) for note in part.notes}
              for part_id, part in Sounding(document).parts().items()}
    small: dict[tuple[str, int], tuple[str, list[tuple[int, Fraction, int]]]] = {}
    for part_id in document.part_ids:
        for note in small_notes(document, part_id):
            at = (*note.at, note.written.midi)
            starts.get(part_id, set()).discard(at)
            small.setdefault((part_id, note.at[0]), (note.measure, []))[1].append(at)
    for (part_id, _), (number, notes) in small.items():
        having = [names[other] for other, found in starts.items() if other != part_id
                  and sum(note in found for note in notes) >= SAME * len(notes)]
        yield names[part_id], number, len(notes), having


def scores() -> list[Path]:
    """Return the scores at hand: the folder beside the project, and those of an installed package."""
    found = sorted(path for path in (SHARED / "scores").glob("*") if path.suffix in (".mxl", ".xml", ".musicxml"))
    try:
        import maialib
        found += sorted((Path(maialib.__file__).parent / "xml-scores-examples").glob("*.*xl"))
        found += sorted((Path(maialib.__file__).parent / "xml-scores-examples").glob("*.xml"))
    except ModuleNotFoundError:
        pass
    return found


def main(arguments: Sequence[str]) -> None:
    """Print the table, and with ``--wrong`` every phrase whose first choice was another."""
    paths = [Path(text) for text in arguments if not text.startswith("--")] or scores()
    rows: list[Row] = []
    for path in paths:
        try:
            for part, measure, count, having in cue_sized(open_document(path)):
                print(f"{path.name}: {part} m. {measure}, {count} small notes, in no other part" if not having else
                      f"{path.name}: {part} m. {measure}, {count} small notes, as in {', '.join(having)}")
            row = row_of(path)
        except Unreadable as error:
            print(f"{path.name}: {error.problem.what}")
            continue
        rows.append(row)
        print(row.told(), flush=True)
        if "--wrong" in arguments:
            print(*(f"    {text}" for text in row.wrong), sep="\n")
    kept = [row for row in rows if row.phrases]
    total = Row(score="all", **{name: sum(getattr(row, name) for row in kept) for name in (
        "phrases", "hidden", "resting", "first", "found", "nearest", "by_chance", "measures", "first_measures")})
    print(total.told())
    if total.phrases:
        print(f"precision: {total.first / total.phrases:.3f} of {total.phrases} phrases, "
              f"{total.first_measures / total.measures:.3f} of {total.measures} measures; recall "
              f"{total.found / total.hidden:.3f} of {total.hidden} doublings; nearest register "
              f"{total.nearest / total.phrases:.3f}, chance {total.by_chance / total.phrases:.3f}")
    if "--write" in arguments:
        with TABLE.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, list(total.told()), lineterminator="\n")
            writer.writeheader()
            writer.writerows(row.told() for row in [*kept, total])


if __name__ == "__main__":
    main(sys.argv[1:])
