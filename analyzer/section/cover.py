"""A line covered by somebody for whom it was not written: valves on a slide line, a slide on valves, or neither.

What the cover keeps and what it loses is worked out on the part as it would be written for that player: the clef, the
octave of every phrase, the notes that stay outside, and glissandi, mutes and colour.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

from analyzer.horns.horn import Horn
from analyzer.pitch import Pitch, pitch_of
from analyzer.plan.timing import NoteTime
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.section.burden import MOST_BLOCKED_SHARE, PRICES, SLIDE_FAMILIES, VALVE_FAMILIES, Burden, burden_of
from analyzer.section.section import Member
from analyzer.words import counted, first_few
from analyzer.writing.phrases import Phrase, phrases_of, section_breaks, settled
from analyzer.writing.readers import (
    Instrument,
    Reader,
    clef_named,
    horn_reader,
    instrument_reader,
    instruments,
    plain_clef,
    printed_clef,
)

LossCode = Literal["gliss", "mute", "notes", "octave", "blend", "cue"]

COVER_PRICES = {
    "blend": 100.0,                    # the line in the colour of the other family of brass
    "far_blend": 200.0,                # in the colour of reeds or strings
    "moved": 20.0,                     # each note in another octave: the chord turns over, the bass loses its depth
    "mute": 50.0,                      # each place where a mute is asked for that this player has not
    "gliss": PRICES["gliss"],          # each glissando that goes
    "lost": PRICES["unplayable"],      # each note that is left out
}
"""Judged, in the unit of the burden. A cover stands above what any line of the piece asks of its own family beside lost
notes, by as much as the notes that may be left out of a line (`most_left_out`): who has the right horn plays the line,
unless more would be missing. Beside that a lost note weighs as one that cannot be played, a glissando as one that
breaks, a moved note less than one out of range (1000) and more than one in the extremes (5). Covers that a director
calls wrong would change our mind."""

MOST_LEFT_OUT_SHARE = 0.05
MOST_LEFT_OUT_ANYWAY = 2
"""So many notes of a line may be left out, handed over or moved by an octave: one in twenty, or two in a short line.
Judged; what a listener does not miss."""

_MUTED = re.compile(r"\b(?:con\s+sord\w*|sord|mute[ds]?|harmon|plunger|bucket|mit\s+d[äa]mpfer|avec\s+sourdine)\b",
                    re.IGNORECASE)
_OPEN = re.compile(r"\b(?:senza|open|without|no|remove|out|off|via|ohne|sans)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Loss:
    """Something of the music that a cover loses, and the measures, as numbered in the score, where it is missed."""

    code: LossCode
    what: str
    measures: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """A line as somebody else plays it.

    `of` is the family of the line, `by` the family of the horn or the name of the instrument; `burden` is the plan on
    the horn, of the moved line, None for an instrument; `items` are the parts of `cost` by name.
    """

    of: str
    by: str
    reader: Reader
    phrases: tuple[Phrase, ...]
    moved: tuple[int, ...]
    missing: tuple[int, ...]
    lost: tuple[Loss, ...]
    burden: Burden | None
    items: dict[str, float]

    @property
    def glides(self) -> bool:
        """Whether this player can play a glissando: on a slide or a string."""
        if self.reader.horn is not None:
            return self.reader.horn.family == "slide"
        return self.by in instruments() and instruments()[self.by].glides

    @property
    def cost(self) -> float:
        """What the cover costs by itself. [as a burden's]"""
        return sum(self.items.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Music:
    """What covers ask of one line beside its notes: where phrases part, and where mutes are asked for (measures)."""

    phrases: tuple[tuple[int, int], ...]
    mutes: tuple[str, ...] = ()


def music_of(line: Line, document: Document | None) -> Music:
    """Return phrases and mutes of a line; without its score, phrases by its notes alone, and no mutes."""
    if document is None:
        return Music(phrases=tuple(phrases_of(line)))
    return Music(phrases=tuple(phrases_of(line, section_breaks(document, line.part_id))),
                 mutes=tuple(_mutes(document, line)))


def _mutes(document: Document, line: Line) -> Iterator[str]:
    """Yield the measures in which words ask for a mute and the line has notes."""
    played = {note.measure_index: note.measure for note in line.notes}
    for index, music in enumerate(document.part_measures(line.part_id)):
        for direction in music.iterchildren("direction"):
            said = " ".join((words.text or "") for words in direction.iterfind("direction-type/words"))
            later = [measure for measure in sorted(played) if measure >= index]
            if later and _MUTED.search(said) and not _OPEN.search(said):
                yield played[later[0]]


def is_cover(horn: Horn, family: str) -> bool:
    """Tell whether a horn on a line of this family is a cover: a slide on valves or valves on a slide."""
    if horn.family == "slide":
        return family in VALVE_FAMILIES
    return family in SLIDE_FAMILIES


def member_reader(member: Member, line: Line, horn: Horn | None) -> Reader:
    """Return how a member reads a line on one of his or her horns, or on the instrument (`horn` None).

    Raises
    ------
    ValueError
        If the member has neither.
    """
    printed = printed_clef(line)
    clefs = tuple(clef_named(name) for name in member.clefs or ())
    player = member.player
    if horn is not None:
        return horn_reader(horn, player, clefs=clefs, name=member.name, written=printed)
    if member.instrument is None:
        raise ValueError(f"{member.name} has neither horn nor instrument")
    return instrument_reader(member.instrument, low=player.low, high=player.high, clefs=clefs, name=member.name,
                             written=printed)


def cover_of(line: Line, music: Music, member: Member, horn: Horn | None, *, tempo_bpm: float | None = None,
             times: tuple[NoteTime, ...] | None = None) -> Cover:
    """Work out what a member makes of a line on a horn of the other kind, or on an instrument (`horn` None)."""
    reader = member_reader(member, line, horn)
    phrases = tuple(settled(line, music.phrases, reader))
    instrument = member.instrument if horn is None else None
    glides = (horn is not None and horn.family == "slide") or (instrument is not None and instrument.glides)
    read = as_read(line, phrases, reader, glides=glides)
    burden = burden_of(read, member, horn, tempo_bpm=tempo_bpm, times=times) if horn is not None else None
    moved = tuple(k for phrase in phrases if phrase.octaves for k in range(phrase.first, phrase.last + 1))
    outside = [k for phrase in phrases for k in phrase.outside]
    missing = tuple(sorted({*outside, *(burden.unplayable if burden else ())}))
    dropped = () if glides else tuple(k for k, note in enumerate(line.notes) if note.gliss_after)
    broken = burden.gliss if burden and glides else ()
    mutes = music.mutes if instrument is not None or (horn is not None and horn.family == "valves") else ()
    by = horn.kind if horn is not None else instrument.name if instrument is not None else ""
    lost = tuple(_losses(line, phrases, missing, (*dropped, *broken), mutes, by=_spoken(horn, instrument)))
    items = {"blend": COVER_PRICES["far_blend" if instrument is not None and not instrument.brass else "blend"]}
    for name, count in (("lost", len(missing)), ("moved", len(moved)), ("gliss", len(dropped) + len(broken)),
                        ("mute", len(mutes))):
        if count:
            items[name] = COVER_PRICES[name] * count
    if burden is not None:                               # what it asks of the hands, without what is counted above
        items |= {name: price for name, price in burden.items.items()
                  if name in ("too_fast", "extreme", "tiring", "later_choice", "plan_per_note")}
    return Cover(of=line.family, by=by, reader=reader, phrases=phrases, moved=moved, missing=missing, lost=lost,
                 burden=burden, items=items)


def most_left_out(notes: int) -> int:
    """Return how many of a line's notes may be left out, handed over or moved."""
    return max(MOST_LEFT_OUT_ANYWAY, int(MOST_LEFT_OUT_SHARE * notes))


def offered(cover: Cover, line: Line) -> bool:
    """Tell whether enough of the line is left for the player to be offered it."""
    return len(cover.missing) <= MOST_BLOCKED_SHARE * len(line.notes)


def as_read(line: Line, phrases: Iterable[Phrase], reader: Reader, *, glides: bool) -> Line:
    """Return the line as its reader has it: moved by octaves, in the clef that is read; without glides if need be."""
    clef = plain_clef(reader.clef)
    notes = list(line.notes)
    for phrase in phrases:
        for k in range(phrase.first, phrase.last + 1):
            note = notes[k]
            sounding = Pitch(note.sounding.step, note.sounding.alter, note.sounding.octave + phrase.octaves)
            notes[k] = replace(note, midi=note.midi + 12 * phrase.octaves, sounding=sounding, clef=clef,
                               written=reader.transposition.written(sounding), gliss_after=note.gliss_after and glides)
    return replace(line, notes=tuple(notes))


def _spoken(horn: Horn | None, instrument: Instrument | None) -> str:
    return horn.kind if horn is not None else instrument.spoken if instrument is not None else ""


def _losses(line: Line, phrases: Iterable[Phrase], missing: tuple[int, ...], glides: tuple[int, ...],
            mutes: tuple[str, ...], *, by: str) -> Iterator[Loss]:
    """Yield what is lost, gravest first; the change of colour is always among it."""
    if missing:
        names = list(dict.fromkeys(line.notes[k].sounding.pretty for k in missing))
        yield Loss(code="notes", what=f"{counted(len(missing), 'note')} left out: {first_few(names, 6)}",
                   measures=_measures(line, missing))
    moved: dict[int, list[int]] = {}
    for phrase in phrases:
        if phrase.octaves:
            moved.setdefault(phrase.octaves, []).extend(range(phrase.first, phrase.last + 1))
    for octaves, which in sorted(moved.items()):
        low, high = (pitch_of(end(line.notes[k].midi for k in which)).pretty for end in (min, max))
        far = "an octave" if abs(octaves) == 1 else f"{abs(octaves)} octaves"
        way, gone = ("higher", f"the low octave, down to {low}, is lost") if octaves > 0 else (
            "lower", f"the upper octave, up to {high}, is lost")
        yield Loss(code="octave", what=f"{counted(len(which), 'note')} {far} {way}: {gone}",
                   measures=_measures(line, which))
    if glides:
        yield Loss(code="gliss", what=f"{counted(len(glides), 'glissando')} played as separate notes",
                   measures=_measures(line, glides))
    if mutes:
        yield Loss(code="mute", what=f"played without the mute that is asked for, on {by}", measures=_unique(mutes))
    yield Loss(code="blend", what=f"the {line.family} color (this is a {by})",
               measures=_unique(note.measure for note in line.notes))


def _measures(line: Line, which: Iterable[int]) -> tuple[str, ...]:
    return _unique(line.notes[k].measure for k in which)


def _unique(measures: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(measures))


