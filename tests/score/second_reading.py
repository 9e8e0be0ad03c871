"""The same file read by another library (music21), note by note.

A note is (measure index, onset in the measure, duration, sounding MIDI number); times are rounded to 1/32 of a quarter
note, as music21 rounds tuplets whose divisions do not divide evenly. The onset counts inside the measure, as music21
lengthens a measure in which a direction stands beyond its last note. A quarter tone lies between two semitones; the
upper is taken on both sides.
"""

import time
import warnings
from collections import Counter
from dataclasses import dataclass
from math import floor
from pathlib import Path
from typing import Any

from analyzer.score.document import open_document
from analyzer.score.reader import read_part

Key = tuple[int, int, int, int]
_STEPS = 32


def our_notes(path: Path) -> list[Counter[Key]]:
    """Return the notes of each part as this project reads them."""
    document = open_document(path)
    result: list[Counter[Key]] = []
    for part_id in document.part_ids:
        notes: Counter[Key] = Counter()
        if document.part_measures(part_id):
            part, _ = read_part(document, part_id)
            for note in part.notes:
                notes[_key(note.measure, float(note.onset - part.measures[note.measure].onset), float(note.duration),
                           note.sounding.midi)] += 1
        result.append(notes)
    return result


def their_notes(path: Path) -> list[tuple[Counter[Key], Counter[Key]]]:
    """Return the notes of each part as music21 reads them, without those that are not printed; small ones apart.

    music21 does not tell cues (``<cue/>``, which we leave out) from notes printed small (``<type size="cue">``).
    """
    from music21 import converter, harmony, stream

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score: Any = converter.parse(path, format="musicxml", forceSource=True)
        score.toSoundingPitch(inPlace=True)
    result: list[tuple[Counter[Key], Counter[Key]]] = []
    last: str | None = None
    for part in score.parts:
        base = str(part.id).rpartition("-Staff")[0] or None
        if base is None or base != last:                  # music21 makes a part of every staff
            result.append((Counter(), Counter()))
        last = base
        for index, measure in enumerate(part.getElementsByClass(stream.Measure)):
            for element in measure.recurse().notes:
                if isinstance(element, harmony.Harmony) or _left_out(element):
                    continue
                onset = float(element.getOffsetInHierarchy(measure))
                length = 0.0 if element.duration.isGrace else float(element.quarterLength)
                for one in element.notes if element.isChord else (element,):
                    if hasattr(one, "pitch") and not _left_out(one):
                        small = _small(element) or _small(one)
                        result[-1][small][_key(index, onset, length, floor(one.pitch.ps + 0.5))] += 1
    return result


def _left_out(element: Any) -> bool:
    return bool(element.style.hideObjectOnPrint)


def _small(element: Any) -> bool:
    return bool(getattr(element.style, "noteSize", None) == "cue")


def _key(measure: int, onset: float, length: float, midi: int) -> Key:
    return (measure, round(onset * _STEPS), round(length * _STEPS), midi)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Two readings of one file: how many notes, how many differ, and where (a line for each such part)."""

    notes: int
    differ: int
    where: tuple[str, ...]
    ours_s: float                      # how long our own reading took [s]
    peer_error: str = ""               # why the other library gave no reading


def compare(path: Path) -> Comparison:
    """Read a file by both libraries.

    Raises
    ------
    Unreadable
        If this project cannot read it.
    """
    begin = time.perf_counter()
    ours = our_notes(path)
    took = time.perf_counter() - begin
    notes = sum(own.total() for own in ours)
    try:
        theirs = their_notes(path)
    except Exception as error:  # another project's parser may raise anything
        return Comparison(notes=notes, differ=0, where=(), ours_s=took, peer_error=f"{type(error).__name__}: {error}")
    if len(ours) != len(theirs):
        return Comparison(notes=notes, differ=0, where=(f"{len(ours)} parts, theirs {len(theirs)}",), ours_s=took)
    differ, where = 0, []
    for index, (own, (other, small)) in enumerate(zip(ours, theirs, strict=True)):
        only_ours, only_theirs = _unpaired(own - other - small, other - own)
        if only_ours or only_theirs:
            differ += max(len(only_ours), len(only_theirs))
            where.append(f"part {index}: only ours {_shown(only_ours)}; only theirs {_shown(only_theirs)}")
    return Comparison(notes=notes, differ=differ, where=tuple(where), ours_s=took)


def _unpaired(own: Counter[Key], other: Counter[Key]) -> tuple[list[Key], list[Key]]:
    """Return what is left on either side when notes that differ only by a step of rounding are paired."""
    left = sorted(other.elements())
    alone = []
    for key in sorted(own.elements()):
        near = next((one for one in left if one[0] == key[0] and one[3] == key[3]
                     and abs(one[1] - key[1]) <= 1 and abs(one[2] - key[2]) <= 1), None)
        if near is None:
            alone.append(key)
        else:
            left.remove(near)
    return alone, left


def _shown(notes: list[Key]) -> str:
    return f"{len(notes)} {[tuple(key) for key in notes[:3]]}"
