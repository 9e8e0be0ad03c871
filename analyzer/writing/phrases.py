"""Where a line breathes, and in which octave each phrase lies for a reader.

The octave may change at a rest, breath mark, caesura, fermata, double bar, repeat sign or ending, never elsewhere: so
never inside a slur or a tie.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from analyzer.pitch import pitch_of
from analyzer.score.document import Document
from analyzer.score.lines import Line, LineNote
from analyzer.writing.readers import Reader

_HEAVY = frozenset({"light-light", "light-heavy", "heavy-light", "heavy-heavy", "heavy"})
_MOST_OCTAVES = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """Notes `first` to `last` of a line, moved by `octaves`; `outside` are those that the reader cannot play there."""

    first: int
    last: int
    octaves: int = 0
    outside: tuple[int, ...] = ()
    why: str | None = None


def section_breaks(document: Document, part_id: str) -> frozenset[tuple[int, str]]:
    """Return (measure index, ``left`` or ``right``) of every double bar, repeat sign and ending of a part."""
    found: set[tuple[int, str]] = set()
    for index, music in enumerate(document.part_measures(part_id)):
        for bar in music.iterchildren("barline"):
            side = bar.get("location", "right")
            if (bar.findtext("bar-style") or "").strip() in _HEAVY or bar.find("repeat") is not None:
                found.add((index, "left" if side == "left" else "right"))
            for ending in bar.iterchildren("ending"):
                found.add((index, "left" if ending.get("type") == "start" else "right"))
    return frozenset(found)


def phrases_of(line: Line, breaks: Iterable[tuple[int, str]] = ()) -> list[tuple[int, int]]:
    """Divide a line into phrases: pairs of the first and the last note's index. Every note stands in one.

    Parameters
    ----------
    line : Line
        What one player plays.
    breaks : iterable of (int, str)
        Measures with a double bar, repeat sign or ending at the left or the right; see `section_breaks`.
    """
    after = {index if side == "right" else index - 1 for index, side in breaks}
    notes = line.notes
    phrases: list[tuple[int, int]] = []
    first = 0
    for index in range(1, len(notes)):
        if _breathes(notes[index - 1], notes[index], after):
            phrases.append((first, index - 1))
            first = index
    return [*phrases, (first, len(notes) - 1)] if notes else []


def _breathes(before: LineNote, note: LineNote, after: set[int]) -> bool:
    if before.slur_after or before.gliss_after or before.grace:     # a grace note leans on the note behind it
        return False
    return (before.breath_after or before.fermata or note.onset > before.onset + before.duration
            or any(index in after for index in range(before.measure_index, note.measure_index)))


def settled(line: Line, phrases: Sequence[tuple[int, int]], reader: Reader) -> list[Phrase]:
    """Choose the octave of every phrase: where it stands if it fits, else the nearest octave in which it does.

    A phrase that fits in no octave goes where the fewest notes stay outside, the shortest of their time and the
    smallest move deciding. Between an octave up and one down, the one nearer to the middle of the reader's range.
    """
    return [_settled(line.notes[first:last + 1], first, reader) for first, last in phrases]


def _settled(notes: Sequence[LineNote], first: int, reader: Reader) -> Phrase:
    last = first + len(notes) - 1
    if reader.low is None and reader.high is None:          # a clef alone: no note moves
        return Phrase(first=first, last=last)
    here = _outside(notes, 0, reader)
    if not here:
        return Phrase(first=first, last=last)
    middle = ((reader.low or 0) + (reader.high or 127)) / 2
    mean = sum(note.midi for note in notes) / len(notes)

    def price(octaves: int) -> tuple[int, Fraction, int, float]:
        outside = _outside(notes, octaves, reader)
        return (len(outside), sum((notes[index].duration for index in outside), Fraction(0)), abs(octaves),
                abs(mean + 12 * octaves - middle))

    octaves = min(range(-_MOST_OCTAVES, _MOST_OCTAVES + 1), key=price)
    outside = _outside(notes, octaves, reader)
    return Phrase(first=first, last=last, octaves=octaves, outside=tuple(first + index for index in outside),
                  why=_why(notes, here, octaves, outside, reader))


def _outside(notes: Sequence[LineNote], octaves: int, reader: Reader) -> list[int]:
    return [index for index, note in enumerate(notes) if not reader.has(note.midi + 12 * octaves)]


def _why(notes: Sequence[LineNote], here: Sequence[int], octaves: int, outside: Sequence[int], reader: Reader) -> str:
    """Say why a phrase moved, or could not."""
    midis = [notes[index].midi for index in here]
    low = reader.low is not None and min(midis) < reader.low
    high = reader.high is not None and max(midis) > reader.high
    extreme = pitch_of(min(midis) if low or not high else max(midis)).pretty
    place = (f"below {pitch_of(reader.low or 0).pretty}" if low else f"above {pitch_of(reader.high or 0).pretty}"
             if high else "not on this horn")
    said = f"{extreme} is {place}"
    if octaves:
        far = "an octave" if abs(octaves) == 1 else f"{abs(octaves)} octaves"
        said += f": moved {'up' if octaves > 0 else 'down'} {far}"
    if outside:
        names = ", ".join(dict.fromkeys(pitch_of(notes[index].midi + 12 * octaves).pretty for index in outside))
        said += f"; {names} still {'is' if ',' not in names else 'are'} outside"
    return said
