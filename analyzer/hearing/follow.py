"""Which note of a line was played when: the frames of a recording laid along the notes, with restarts and skips.

A hidden Markov model, walked by Viterbi's rule: every note sounds or has just ended; a step to the next note wants an
attack; a step over notes, back, or anywhere costs more. What a whole note of another pitch costs does not depend on its
length, so that one wrong note is cheaper than two leaps, and a restart cheaper than many wrong notes.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analyzer.hearing.pitch import HOP_S, Frames

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

# All judged, on synthesised recordings with restarts, slips, wrong and left-out notes (tests/hearing).
_SIGMA = 0.3                          # of a pitch about its note [semitones]
_CAP = 6.0                             # what a frame of another pitch costs at most
_PER_NOTE = 1.0                        # weight of the frames of a note together
_STEP, _NO_ATTACK, _END = 0.4, 7.0, 0.3
_SKIP, _SKIP_MORE = 7.0, 1.5           # a note left out, each further one
_AGAIN = 6.0                           # a note attacked once more
_LEAP = 22.0                           # to anywhere
_QUIET_RANGE_DB = 34.0                 # below the loud frames: silence
_STRIDE = 4                            # frames to a step of the walk
_MISSED = 0.6                         # of an attack passed over, a step
_ATTACK_STEPS = 6                      # an attack is heard so long
_HASTE = 10.0                           # a note left at once

# How a state was reached: so many notes on, or one of these; and of the state's gap, whether it began now, and whether
# it was the cheaper one before.
_CODES, _ENDED, _WAS_GAP = 0x3FFF, 0x4000, 0x8000
_ATTACKED_AGAIN, _WRITTEN, _LEAPT, _BEGUN = _CODES, _CODES - 1, _CODES - 2, _CODES - 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """A note to be followed: its pitch (midi scale, aim included), when it starts and how long it sounds [s]."""

    midi: float
    start_s: float
    sounds_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One stay of the recording at a note: `index` of the note, frames from `first` to before `last`.

    `run` counts the passes: it grows where the player went back or leapt. `again` tells a second attack in one stay.
    """

    index: int
    first: int
    last: int
    run: int
    again: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Loudness:
    """`heard` is 0 (silence) to 1 (sound) a frame, `attack` how much like the beginning of a note it is."""

    heard: "Floats"
    attack: "Floats"


def loudness(frames: Frames) -> Loudness:
    """Tell sound from silence and find attacks: rises of the level that last, and steps of the pitch."""
    import numpy as np

    level, midi = frames.level_db, frames.midi
    voiced = ~np.isnan(midi)
    top = float(np.percentile(level[voiced], 90)) if voiced.any() else 0.0
    heard = np.clip((level - (top - _QUIET_RANGE_DB)) / 14, 0, 1) * voiced
    after = _moving(level, 2, 12, np.median)
    before = _moving(level, -8, 1, np.min)
    rise = np.clip((after - before - 1.5) / 6, 0, 1) * (np.clip((after - (top - _QUIET_RANGE_DB)) / 10, 0, 1))
    filled = _filled(midi)
    step = np.abs(_moving(filled, 4, 12, np.median) - _moving(filled, -12, -3, np.median))
    jump = np.clip((step - 0.35) / 0.5, 0, 1)
    attack = np.maximum(rise, jump)
    return Loudness(heard=heard, attack=np.maximum.reduce([attack, np.roll(attack, 1), np.roll(attack, -1)]))


def _moving(values: Any, first: int, last: int, what: Any) -> Any:
    """Return `what` of the values from `first` to before `last` places on from each."""
    import numpy as np

    left, right = max(0, -first), max(0, last - 1)
    padded = np.pad(values, (left, right), mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, last - first)
    begin = left + first
    return what(windows[begin:begin + len(values)], axis=1)


def _filled(midi: Any) -> Any:
    """Return the pitch with its last value held where no period was heard."""
    import numpy as np

    known = ~np.isnan(midi)
    if not known.any():
        return np.zeros(len(midi))
    place = np.where(known, np.arange(len(midi)), -1)
    place = np.maximum.accumulate(place)
    place[place < 0] = int(np.argmax(known))
    return midi[place]


def follow(frames: Frames, notes: Sequence[Wanted], loud: Loudness, *, tuning: float, scale: float = 1.0,
           jumps: Sequence[tuple[int, int]] = (), told: Callable[[float], None] | None = None) -> tuple[Visit, ...]:
    """Return the likeliest stays of a recording at the notes.

    Parameters
    ----------
    frames : Frames
        The recording.
    notes : sequence of Wanted
        The line, in order.
    loud : Loudness
        Of the frames.
    tuning : float
        How far the recording's scale is above 440 Hz. [semitones]
    scale : float
        Seconds of the recording to a second of the plan.
    jumps : sequence of (int, int)
        After note i the score itself may go on at note j.
    told : function, optional
        Is called now and then with the share that is done.
    """
    import numpy as np

    count = len(notes)
    pitch = frames.midi[::_STRIDE] - tuning
    heard = loud.heard[::_STRIDE]
    attack = loud.attack[:len(pitch) * _STRIDE]
    attack = np.pad(attack, (0, len(pitch) * _STRIDE - len(attack)))
    attack = attack.reshape(-1, _STRIDE).max(axis=1)
    wanted = np.array([note.midi for note in notes])
    lasts = np.array([max(0.05, note.sounds_s * scale) for note in notes]) / (HOP_S * _STRIDE)
    weight = np.clip(_PER_NOTE / lasts, 0.02, 0.24)
    loud_gap = np.maximum(0.075 * _STRIDE, weight * (_CAP + 2))   # sound where the note should have ended
    loud_start = 0.06 * _STRIDE
    known = ~np.isnan(pitch)
    unknown = np.full(count, 3.0)

    sound = np.full(count, np.inf)
    gap = np.full(count, np.inf)
    lost = 0.0                         # before the first note, or anywhere between leaps
    begin = np.full(count, 4.0)
    begin[0] = 0.0
    steps = len(pitch)
    came = np.zeros((steps, count), np.uint16)     # how a sounding state was reached, and two bits on its gap
    source = np.zeros(steps, np.int32)             # where a leap comes from: 2 * note, 1 more from its gap
    places = np.arange(count)
    slope = _SKIP_MORE * places
    age = np.zeros(count)
    overdue, haste = 1.5 * lasts + 4, 0.3 * lasts
    late = 0.06

    def offer(choice: Any, code: Any, offered: Any, which: Any) -> None:
        better = offered < choice
        if better.any():
            np.copyto(choice, offered, where=better)
            np.copyto(code, which, where=better, casting="unsafe")

    for t in range(steps):
        off = np.minimum((pitch[t] - wanted) ** 2 / (2 * _SIGMA**2), _CAP) if known[t] else unknown
        emitted = weight * (off * heard[t] + 3.0 * (1 - heard[t]))
        quiet = loud_gap * heard[t]
        entry = _STEP + _NO_ATTACK * (1 - attack[t])
        after_gap = gap < sound
        either = np.where(after_gap, gap, sound)
        origin = int(either.argmin())
        source[t] = 2 * origin + after_gap[origin]
        leap = either[origin] + _LEAP + entry
        # Who stays through an attack has missed one; who stays too long is somewhere else.
        choice = sound + (_MISSED * attack[t] * (age > _ATTACK_STEPS) + np.where(age > overdue, late, 0.0))
        hasty = _HASTE * np.maximum(0.0, 1 - age / haste)
        leaving = either + np.where(after_gap, 0.0, hasty)
        code = np.zeros(count, np.uint16)
        if count > 1:
            offer(choice[1:], code[1:], leaving[:-1] + entry, 1)
        if count > 2:                  # over some notes: the cheapest place before, each note between at its price
            so_far = np.minimum.accumulate(leaving[:-2] - slope[:-2])
            nearest = np.maximum.accumulate(np.where(leaving[:-2] - slope[:-2] <= so_far, places[:-2], 0))
            offer(choice[2:], code[2:], so_far + slope[:-2] + (entry + _SKIP), places[2:] - nearest)
        offer(choice, code, gap + (entry + _AGAIN), _ATTACKED_AGAIN)
        for i, j in jumps:
            offer(choice[j:j + 1], code[j:j + 1], leaving[i:i + 1] + entry, _WRITTEN)
        offer(choice, code, np.full(count, leap), _LEAPT)
        offer(choice, code, begin + (lost + entry), _BEGUN)
        age = np.where(code == 0, age + 1, 0)
        ended = sound + (_END + hasty)
        code[ended < gap] |= _ENDED
        code[after_gap] |= _WAS_GAP
        gap = np.minimum(gap, ended) + quiet
        sound = choice + emitted
        came[t] = code
        lost += loud_start * heard[t]
        if told is not None and t % 256 == 0:
            told(t / steps)
    return _walked_back(came, source, sound, gap, {j: i for i, j in jumps})


def _walked_back(came: Any, source: Any, sound: Any, gap: Any, written: dict[int, int],
                 ) -> tuple[Visit, ...]:
    """Return the stays of the cheapest walk, first to last."""
    if not min(float(sound.min()), float(gap.min())) < float("inf"):
        return ()
    ended = bool(gap.min() < sound.min())
    note = int((gap if ended else sound).argmin())
    stays: list[tuple[int, int, int, int]] = []    # note, first, last, how it was reached
    last = len(came)
    for t in range(len(came) - 1, -1, -1):
        if ended:
            if came[t, note] & _ENDED:
                ended, last = False, t
            continue
        code = int(came[t, note]) & _CODES
        if not code:
            continue
        stays.append((note, t, last, code))
        if code == _BEGUN:
            break
        last = t
        if code == _LEAPT:
            note, ended = int(source[t]) // 2, bool(source[t] % 2)
        elif code == _ATTACKED_AGAIN:
            ended = True
        else:
            note = written[note] if code == _WRITTEN else note - code
            ended = bool(came[t, note] & _WAS_GAP)
    visits: list[Visit] = []
    run = 0
    for note, first, end, code in reversed(stays):
        if visits and (code == _LEAPT or (code == _WRITTEN and note <= visits[-1].index)):
            run += 1
        visits.append(Visit(index=note, first=first * _STRIDE, last=end * _STRIDE, run=run,
                            again=code == _ATTACKED_AGAIN))
    return tuple(visits)
