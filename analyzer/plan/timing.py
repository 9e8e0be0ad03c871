"""Seconds: when each note of a line starts, how long it sounds, and how much time the move to the next one has."""

import math
from collections.abc import Callable
from dataclasses import dataclass

from analyzer.plan.weights import Weights
from analyzer.score.lines import Line, LineNote
from analyzer.score.timeline import real

# A ramp (rit., accel.) without a mark to arrive at changes the tempo by this factor at its end; judged.
_LOOSE_RAMP = 0.8
# What an attack in free time is given: a sixteenth at 60; judged, the player takes what it needs. [s]
_FREE_S = 0.25


@dataclass(slots=True, unsafe_hash=True)            # not frozen, as timeline.Note is not
class NoteTime:
    """Times of one note [s, rounded: equal notes have equal times].

    `sounds_s` is how long it sounds; `next_s` the time to the next attack; `move_s` the part of that in which slide
    or fingers may move (above 0): `idle_s` of silence or waiting, and of the note itself the share `share`;
    `breath_s` is the part that does not shrink with the tempo; `bpm` the tempo in force [quarter notes a minute].
    """

    start_s: float
    sounds_s: float
    next_s: float
    move_s: float
    bpm: float
    idle_s: float = 0.0
    share: float = 1.0
    breath_s: float = 0.0


def moving_s(note_s: float, share: float, glide_from_s: float) -> float:
    """Time within a note of `note_s` seconds in which the slide may move. [s]

    A share of the note. In notes quicker than `glide_from_s` the slide keeps the time it had there, by gliding
    through, until the whole note is movement; so quicker playing never gives more time.
    """
    return min(note_s, share * max(note_s, glide_from_s))


def note_times(line: Line, weights: Weights, tempo_bpm: float | None = None) -> tuple[NoteTime, ...]:
    """Return the times of each note; `tempo_bpm` overrides every mark of the score."""
    clock = _Clock(line, weights, tempo_bpm)
    notes = line.notes
    onsets = [real(note.onset) for note in notes]
    starts = [clock.at(onset) for onset in onsets]
    ends = [clock.at(_end(note)) for note in notes]
    extra = 0.0                        # fermatas and breaths so far
    count = len(notes)
    # Grace notes take their time from before the note they lean on.
    i = 0
    while i < count:
        if notes[i].grace:
            j = i
            while j < count and notes[j].grace and notes[j].onset == notes[i].onset:
                j += 1
            before = starts[i] - (starts[i - 1] if i else starts[i] - 4 * weights.grace_s)
            each = min(weights.grace_s, max(before, 0.004) / (2 * (j - i) + 2))
            base = starts[i]
            for k in range(i, j):
                starts[k] = base - each * (j - k)
                ends[k] = starts[k] + each
            if i:
                ends[i - 1] = min(ends[i - 1], starts[i])
            i = j
        else:
            i += 1
    times = []
    for k, note in enumerate(notes):
        start, end = starts[k], ends[k]
        following = starts[k + 1] if k + 1 < count else end
        sounds = max(end - start, 0.001)
        held = weights.fermata_share * sounds if note.fermata else 0.0
        breath = weights.breath_s if note.breath_after else 0.0
        if note.free:
            breath += _FREE_S          # its own time, which no tempo shortens
        wait = held + breath
        gap = max(following - start, 0.001)
        if note.staccato:
            share = weights.short_share
        elif note.slur_after:
            share = weights.slur_share
        else:
            share = weights.rest_share
        idle = max(following - end, 0.0) + held
        if note.gliss_after:
            share = 1.0
        move = idle + breath + moving_s(min(sounds, gap), share, weights.glide_from_s)
        times.append(NoteTime(
            round(start + extra, 6), round(sounds + (wait if note.fermata else 0.0), 6), round(gap + wait, 6),
            round(max(move, 0.001), 3), clock.bpm(onsets[k]), round(idle, 6), share, breath))
        extra += wait
    return tuple(times)


def _end(note: LineNote) -> float:
    """Return when a note ends [quarter notes]: ``float(onset + duration)`` without the fraction between."""
    (a, b), (c, d) = note.onset.as_integer_ratio(), note.duration.as_integer_ratio()
    return (a * d + b * c) / (b * d)


def clock_of(line: Line, weights: Weights, tempo_bpm: float | None = None) -> Callable[[float], float]:
    """Return the clock of a line without fermatas and breaths: quarter notes from its start to seconds."""
    return _Clock(line, weights, tempo_bpm).at


class _Clock:
    """Quarter notes to seconds over a tempo map."""

    def __init__(self, line: Line, weights: Weights, tempo_bpm: float | None) -> None:
        marks = [] if tempo_bpm else [(float(mark.onset), mark.bpm, mark.ramp) for mark in line.tempi if mark.bpm > 0]
        if not marks or marks[0][0] > 0:
            first = tempo_bpm or (marks[0][1] if marks else weights.default_bpm)
            marks.insert(0, (0.0, first, False))
        end = float(line.measures[-1].onset + line.measures[-1].duration) if line.measures else 0.0
        self._pieces: list[tuple[float, float, float, float, float]] = []   # onset, seconds, bpm, bpm at end, end
        seconds = 0.0
        for k, (onset, bpm, ramp) in enumerate(marks):
            stop = marks[k + 1][0] if k + 1 < len(marks) else max(end, onset)
            goal = bpm
            if ramp:
                goal = marks[k + 1][1] if k + 1 < len(marks) else bpm * _LOOSE_RAMP
            self._pieces.append((onset, seconds, bpm, goal, stop))
            seconds += _seconds(bpm, goal, stop - onset, stop - onset)
        self._here = 0

    def _piece(self, quarter: float) -> tuple[float, float, float, float, float]:
        pieces = self._pieces
        while self._here + 1 < len(pieces) and pieces[self._here + 1][0] <= quarter:
            self._here += 1
        while self._here and pieces[self._here][0] > quarter:
            self._here -= 1
        return pieces[self._here]

    def at(self, quarter: float) -> float:
        onset, seconds, bpm, goal, stop = self._piece(quarter)
        return seconds + _seconds(bpm, goal, stop - onset, quarter - onset)

    def bpm(self, quarter: float) -> float:
        onset, _, bpm, goal, stop = self._piece(quarter)
        if goal == bpm or stop <= onset:
            return bpm
        return bpm + (goal - bpm) * min(1.0, (quarter - onset) / (stop - onset))


def _seconds(bpm: float, goal: float, length: float, quarters: float) -> float:
    """Time of `quarters` when the tempo goes from `bpm` to `goal` in equal steps over `length` quarters. [s]

    Derived: the integral of 60 / (bpm + slope q).
    """
    if goal == bpm or length <= 0 or quarters <= 0:
        return 60.0 * quarters / bpm
    inside = min(quarters, length)
    slope = (goal - bpm) / length
    return 60.0 * (math.log((bpm + slope * inside) / bpm) / slope + (quarters - inside) / goal)
