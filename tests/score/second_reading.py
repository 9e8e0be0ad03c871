"""The same file read by another library (music21), note by note.

A note is (measure index, onset in the measure, duration, sounding MIDI number); times are rounded to 1/32 of a quarter
note, as music21 rounds tuplets whose divisions do not divide evenly. The onset counts inside the measure, as music21
lengthens a measure in which a direction stands beyond its last note.
"""

import warnings
from collections import Counter
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
                        result[-1][small][_key(index, onset, length, round(one.pitch.ps - 0.01))] += 1
    return result


def _left_out(element: Any) -> bool:
    return bool(element.style.hideObjectOnPrint)


def _small(element: Any) -> bool:
    return bool(getattr(element.style, "noteSize", None) == "cue")


def _key(measure: int, onset: float, length: float, midi: int) -> Key:
    return (measure, round(onset * _STEPS), round(length * _STEPS), midi)


def differences(path: Path) -> list[str]:
    """Return one line for each part in which the two readings differ."""
    ours, theirs = our_notes(path), their_notes(path)
    if len(ours) != len(theirs):
        return [f"{len(ours)} parts, theirs {len(theirs)}"]
    return [f"part {index}: only ours {_shown(own - other)}; only theirs {_shown(other - own)}"
            for index, (own, (other, small)) in enumerate(zip(ours, theirs, strict=True))
            if not _nearly(own - other - small, other - own)]


def _nearly(own: Counter[Key], other: Counter[Key]) -> bool:
    """Tell whether what is left differs only by a step of rounding."""
    left = sorted(other.elements())
    for key in sorted(own.elements()):
        near = next((one for one in left if one[0] == key[0] and one[3] == key[3]
                     and abs(one[1] - key[1]) <= 1 and abs(one[2] - key[2]) <= 1), None)
        if near is None:
            return False
        left.remove(near)
    return not left


def _shown(notes: Counter[Key]) -> str:
    return f"{sum(notes.values())} {[tuple(key) for key in sorted(notes.elements())[:3]]}"
