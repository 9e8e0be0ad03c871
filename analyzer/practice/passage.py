"""The hardest passage of a line, from simple to full: pitches as long notes, rhythm on one pitch, as written."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby

from analyzer.pitch import Pitch
from analyzer.plan.plan import HEARD_MM, PlannedNote
from analyzer.practice.builder import BEATS, METRONOME, DrillNote, Exercise, Kit, PairEnd, metronome, paced, steps_to
from analyzer.practice.moves import PracticeMove
from analyzer.score.timeline import Measure

_MOST_LONG = 12
"""Long notes of a passage at most: six measures; judged, the lips want a rest after that."""
_FEW_NOTES = 8
"""A passage with fewer notes takes a measure more, up to four; judged."""


@dataclass(frozen=True, slots=True)
class Meter:
    """Key and time in force where the passage begins, as printed."""

    fifths: int
    beats: str
    beat_type: str

    @property
    def quarters(self) -> Fraction:
        """Length of a whole measure. [quarter notes]

        Examples
        --------
        >>> Meter(0, "3+2", "8").quarters
        Fraction(5, 2)
        """
        return sum((Fraction(one) for one in self.beats.split("+")), Fraction(0)) * 4 / Fraction(self.beat_type)

    @property
    def beat(self) -> Fraction:
        """What a metronome counts: a half in cut time, a dotted quarter in 6/8, 9/8, 12/8. [quarter notes]"""
        if self.beat_type == "8" and self.beats in ("6", "9", "12"):
            return Fraction(3, 2)
        return Fraction(4, int(self.beat_type)) if self.beat_type in ("2", "4") else Fraction(1)

    def holding(self, longest: Fraction) -> "Meter":
        """Return a meter that holds measures of this length: this one, or one counted from the length.

        Examples
        --------
        >>> Meter(0, "4", "4").holding(Fraction(9, 2))
        Meter(fifths=0, beats='9', beat_type='8')
        """
        if longest <= self.quarters or longest.denominator & (longest.denominator - 1):
            return self
        unit = max(1, longest.denominator)
        return Meter(self.fifths, str(longest.numerator), str(4 * unit))


def hardest_window(kit: Kit, moves: Sequence[PracticeMove]) -> tuple[Measure, ...]:
    """Return the measures (two to four in a row) in which the ranked moves are densest; one where no two go together.

    They are of one length, but for a pickup before them and a short measure at their end.
    """
    measures = kit.plan.line.measures
    worth = [0.0] * len(measures)
    notes = [0] * len(measures)
    offset = measures[0].index if measures else 0
    rank = {(move.before.midi, move.before.label, move.after.midi, move.after.label): move.score / move.count
            for move in moves}
    planned = kit.plan.notes
    for k, one in enumerate(planned):
        place = one.note.measure_index - offset
        if kit.can(one.choice):
            notes[place] += 1
        following = planned[k + 1] if k + 1 < len(planned) else None
        if one.choice and following and following.choice:
            worth[place] += rank.get((one.note.midi, one.choice.label, following.note.midi, following.choice.label), 0)
    best: tuple[float, int, int] | None = None
    for start in range(len(measures)):
        for size in (2, 3, 4):
            stop = start + size
            if stop > len(measures) or (size > 2 and sum(notes[start:stop - 1]) >= _FEW_NOTES):
                break
            inside = measures[start:stop]
            if not _of_one_length(inside) or not any(notes[start:stop]):
                continue
            value = sum(worth[start:stop]) / size ** 0.5
            if best is None or value > best[0] + 1e-9:
                best = (value, start, stop)
    if best is None:
        able = [place for place, count in enumerate(notes) if count]
        return (measures[max(able, key=lambda place: worth[place])],) if able else ()
    return measures[best[1]:best[2]]


def _of_one_length(inside: Sequence[Measure]) -> bool:
    longest = max(one.duration for one in inside)
    return all(one.duration == longest for one in inside[1:-1])


def passage_drills(kit: Kit, window: Sequence[Measure], meter: Meter) -> list[Exercise]:
    """Return the passage in three grades; the second is left out where the rhythm has nothing to learn.

    As written it is left out where this player can play it at no tempo of a metronome.
    """
    if not window:
        return []
    first, last = window[0], window[-1]
    inside = [one for one in kit.plan.notes if first.onset <= one.note.onset < last.onset + last.duration]
    able = [one for one in inside if kit.can(one.choice)]
    if not able:
        return []
    name = f"measures {first.number}–{last.number}" if len(window) > 1 else f"measure {first.number}"
    covers = (name.replace("–", "-"),)
    distinct = [next(group) for _, group in groupby(able, key=lambda one: (one.note.midi, one.choice))]
    ways = [PairEnd(one.choice) for one in distinct if one.choice is not None][:_MOST_LONG]
    result = [Exercise(
        kind="passage-long", title=f"Passage, {name}: its pitches", task="Long notes, the marks as in the music.",
        tempo_bpm=metronome(66), steps=(), measures=kit.row("long", ways), covers=covers)]
    whole = _as_written(kit, inside, window, meter, name)
    if whole is not None and (len({one.note.duration for one in able}) > 1 or
                              min(one.note.duration for one in able) < 1):
        hub = _hub(kit, able)
        assert hub.choice is not None
        spelled = kit.written(hub.note.midi)
        flat = tuple(tuple(
            replace(note, choice=hub.choice, written=spelled, slur_after=False) if note.written else note
            for note in row if note.duration) for row in whole.measures)
        result.append(replace(
            whole, kind="passage-rhythm", title=f"Passage, {name}: its rhythm", task="The rhythm on one pitch.",
            climb="", tempo_bpm=whole.steps[0], steps=(), measures=flat))
    return result if whole is None else [*result, whole]


def _as_written(kit: Kit, inside: Sequence[PlannedNote], window: Sequence[Measure], meter: Meter, name: str,
                ) -> Exercise | None:
    """Return the passage with a ladder up to the music's tempo, or to this player's ceiling where that is lower.

    A metronome that would have to tick slower than it can counts a shorter beat; where that does not help, grace notes
    are left out, as they take the same time at any tempo. None where nothing helps.
    """
    bpm = next(one for one in inside if kit.can(one.choice)).time.bpm
    beat = meter.beat
    while bpm / beat > METRONOME[-1]:
        # Quicker than any metronome: it then ticks every other beat.
        beat *= 2
    third = Fraction(3) if beat.numerator % 3 == 0 else Fraction(2)
    aimed = any(one.choice is not None and abs(one.choice.shift_mm) >= HEARD_MM for one in inside)
    words = "Out or in, small: mm from the usual place, for the chord. " if aimed else ""
    for graces in (True, False):
        notes = [one for one in inside if graces or not one.note.grace]
        if not graces and len(notes) == len(inside):
            break
        for ticks in (beat, beat / third, beat / third / 2):
            steps = steps_to(min(bpm / float(ticks), METRONOME[-1]))
            made = paced(Exercise(
                kind="passage", title=f"Passage, {name}: as written",
                task=(words if graces else f"{words}Without the grace notes.").strip(),
                climb=", each when the last is clean.", tempo_bpm=steps[0], steps=steps,
                measures=_rows(kit, notes, window, meter), covers=(name.replace("–", "-"),), beats=meter.beats,
                beat_type=meter.beat_type, beat=ticks), kit)
            if made is not None:
                music = f"{BEATS.get(beat, 'beat')} = {bpm / float(beat):.0f}"
                above = f"{made.climb[:-1]} (music: {music}, above this player's limit)."
                return made if made.steps == steps else replace(made, climb=above)
    return None


def _hub(kit: Kit, notes: Sequence[PlannedNote]) -> PlannedNote:
    """The pitch to learn a rhythm on: in tune, near, and common in the passage."""
    times = Counter(one.note.midi for one in notes)

    def ease(one: PlannedNote) -> tuple[bool, bool, int]:
        assert one.choice is not None
        out_of_tune = abs(one.choice.off_cents) > kit.horn.lip_reach.value
        return (out_of_tune, not kit.learner.knows(one.choice.valves), -times[one.note.midi])

    return min(notes, key=ease)


def _rows(kit: Kit, notes: Sequence[PlannedNote], window: Sequence[Measure], meter: Meter,
          ) -> tuple[tuple[DrillNote, ...], ...]:
    """Return the notes by measure, gaps filled with rests, what crosses a barline tied.

    A short first measure of several is a pickup and gets rests before it; any other short one gets them after it.
    """
    result = []
    for measure in window:
        row: list[DrillNote] = []
        missing = max(Fraction(0), meter.quarters - measure.duration)
        pickup = measure is window[0] and len(window) > 1
        if missing and pickup:
            row.append(DrillNote(duration=missing))
        at, end = measure.onset, measure.onset + measure.duration
        for one in notes:
            note = one.note
            start, stop = max(note.onset, measure.onset), min(note.onset + note.duration, end)
            begins = note.onset >= measure.onset
            if not kit.can(one.choice) or one.choice is None or start >= end or (stop <= start and not note.grace):
                continue
            if note.grace and not begins:
                continue
            if start > at:
                row.append(DrillNote(duration=start - at))
            row.append(DrillNote(
                duration=Fraction(0) if note.grace else stop - start, choice=one.choice,
                written=_checked(kit, note.written, one.choice.midi), tied=not begins,
                slur_after=note.slur_after, staccato=note.staccato))
            at = max(at, stop)
        tail = end - at + (Fraction(0) if pickup else missing)
        if tail > 0:
            row.append(DrillNote(duration=tail))
        result.append(tuple(row))
    return tuple(result)


def _checked(kit: Kit, written: Pitch, midi: int) -> Pitch:
    """Return the printed pitch, spelled anew where the part changes its transposition on the way."""
    return written if kit.transposition.sounding(written).midi == midi else kit.written(midi)
