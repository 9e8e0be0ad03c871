"""Build the notes of a practice sheet with music21; imported only when a sheet is written."""

import importlib
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from analyzer.pitch import Pitch
from analyzer.practice.builder import DrillNote, Exercise

PART = "P1"
CLEFS = {"bass": "F4", "tenor": "C4", "alto": "C3", "treble": "G2", "soprano": "C1", "mezzo-soprano": "C2",
         "baritone": "F3", "subbass": "F5", "french violin": "G1"}
# Lengths that one note head shows; the rest is tied.
_PLAIN = tuple(Fraction(number, 16) for number in (64, 48, 32, 24, 16, 12, 8, 6, 4, 3, 2, 1))


def _music21() -> Any:
    return importlib.import_module("music21")


def sheet_stream(exercises: Sequence[Exercise], title: str, part_name: str, *, clef: str, fifths: int,
                 headings: bool = True) -> Any:
    """Return the sheet as a music21 score: written pitches, one part; `headings` stand above each exercise.

    Raises
    ------
    ImportError
        If music21 is not installed.
    """
    m21 = _music21()

    score, part = m21.stream.Score(), m21.stream.Part()
    score.metadata = m21.metadata.Metadata(title=title)
    part.id, part.partName = PART, part_name
    meter, number = ("", ""), 0
    for place, exercise in enumerate(exercises, 1):
        carried: Any = None
        for index, row in enumerate(exercise.measures):
            number += 1
            # Without headings every exercise stands by itself and counts from one.
            measure = m21.stream.Measure(number=number if headings else index + 1)
            if number == 1:
                measure.insert(0, m21.clef.clefFromString(CLEFS.get(clef, "F4")))
                measure.insert(0, m21.key.KeySignature(fifths))
            if not index:
                if place > 1:
                    measure.insert(0, m21.layout.SystemLayout(isNew=True))
                if meter != (exercise.beats, exercise.beat_type):
                    measure.insert(0, m21.meter.TimeSignature(f"{exercise.beats}/{exercise.beat_type}"))
                if headings:
                    _head(measure, exercise, place)
                meter = (exercise.beats, exercise.beat_type)
            offset = Fraction(0)
            elements: list[Any] = []
            for one in row:
                for element in _elements(one, offset, carried):
                    elements.append(element)
                    measure.insert(float(offset) if offset.denominator & (offset.denominator - 1) == 0 else offset,
                                   element)
                    offset += Fraction(element.duration.quarterLength).limit_denominator(960)
                    carried = element if one.written else None
                _text_above(measure, elements, one)
            _end(measure, last=index + 1 == len(exercise.measures), final=place == len(exercises))
            part.append(measure)
        _slur(part, exercise)
    score.insert(0, part)
    return _notated(score)


def _head(measure: Any, exercise: Exercise, place: int) -> None:
    m21 = _music21()

    words = m21.expressions.TextExpression(exercise.words)
    words.placement, words.style.fontStyle = "above", "italic"
    heading = m21.expressions.TextExpression(f"{place}. {exercise.title}")
    heading.placement = "above"
    mark = m21.tempo.MetronomeMark(number=exercise.tempo_bpm, referent=float(exercise.beat))
    mark.placement = "above"
    # In this order, as engravers stack upwards; `_finished` joins heading and metronome into one direction.
    for element in (words, heading, mark):
        measure.insert(0, element)


def _end(measure: Any, *, last: bool, final: bool) -> None:
    m21 = _music21()

    if last:
        measure.rightBarline = m21.bar.Barline("final" if final else "light-light")


def _elements(one: DrillNote, at: Fraction, before: Any) -> list[Any]:
    """Return the notes or rests of one entry, split into what a note head shows and tied."""
    m21 = _music21()

    pieces = [one.duration] if not one.duration else _pieces(at, one.duration, rest=one.written is None)
    result: list[Any] = []
    for length in pieces:
        if one.written is None:
            result.append(m21.note.Rest(quarterLength=_length(length)))
            continue
        element = m21.note.Note(m21.pitch.Pitch(_name(one.written)), quarterLength=_length(length or Fraction(1, 2)))
        result.append(element if length else element.getGrace())
    if one.written is not None and one.duration:
        chain = [before, *result] if one.tied and before is not None else result
        for k, element in enumerate(chain):
            goes_on, comes = k + 1 < len(chain), k > 0 or (element is before and element.tie is not None)
            if goes_on or comes:
                element.tie = m21.tie.Tie("continue" if goes_on and comes else "start" if goes_on else "stop")
        if one.staccato and not one.tied:
            result[0].articulations.append(m21.articulations.Staccato())
    return result


def _pieces(at: Fraction, duration: Fraction, *, rest: bool) -> list[Fraction]:
    """Split a length into what one sign shows, from a place in the measure on.

    Rests, and notes in triplets and the like, are split at the beats; other notes only where no head shows them.

    Examples
    --------
    >>> [str(one) for one in _pieces(Fraction(0), Fraction(5, 2), rest=False)]
    ['2', '1/2']
    >>> [str(one) for one in _pieces(Fraction(1, 3), Fraction(8, 3), rest=True)]
    ['2/3', '2']
    """
    pieces: list[Fraction] = []
    end = at + duration
    while at < end:
        left = end - at
        to_beat = (at // 1 + 1) - at
        dyadic = all(not one.denominator & (one.denominator - 1) for one in (at, left))
        if to_beat < 1 and to_beat < left and (rest or not dyadic):
            piece = to_beat
        elif dyadic:
            piece = next((value for value in _PLAIN if value <= left), left)
        else:
            piece = left if left < 1 else Fraction(left // 1)
        pieces.append(piece)
        at += piece
    return pieces


def _length(length: Fraction) -> float | Fraction:
    return float(length) if length.denominator & (length.denominator - 1) == 0 else length


def _name(pitch: Pitch) -> str:
    return f"{pitch.step}{'#' * pitch.alter if pitch.alter > 0 else '-' * -pitch.alter}{pitch.octave}"


def _text_above(measure: Any, elements: Sequence[Any], one: DrillNote) -> None:
    m21 = _music21()

    if one.text:
        text = m21.expressions.TextExpression(one.text)
        text.placement, text.style.fontSize = "above", 8
        measure.insert(elements[-1].offset, text)


def _slur(part: Any, exercise: Exercise) -> None:
    """Draw the slurs of the exercise just added: each run of notes joined by slurs is one."""
    m21 = _music21()

    measures = list(part.getElementsByClass("Measure"))[-len(exercise.measures):]
    sounding = [element for measure in measures for element in measure.notes]
    attacks = [element for element in sounding if element.tie is None or element.tie.type == "start"]
    notes = [one for row in exercise.measures for one in row if one.written is not None and not one.tied]
    start: int | None = None
    for k, one in enumerate(notes):
        if one.slur_after and start is None and k + 1 < len(notes):
            start = k
        elif not one.slur_after and start is not None:
            part.insert(0, m21.spanner.Slur(attacks[start], attacks[k]))
            start = None
    if start is not None and start < len(notes) - 1:
        part.insert(0, m21.spanner.Slur(attacks[start], attacks[-1]))


def _notated(score: Any) -> Any:
    """Add what print needs and playing does not: accidentals, beams, tuplet brackets."""
    for part in score.parts:
        part.makeAccidentals(inPlace=True, cautionaryNotImmediateRepeat=False)
        part.makeBeams(inPlace=True)
    return score
