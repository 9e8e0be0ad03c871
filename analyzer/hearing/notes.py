"""One note of a recording: when it begins and ends, its pitch, and how it arrives there."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from analyzer.hearing.follow import Visit
from analyzer.hearing.pitch import HOP_S, Frames

SHORTEST_S = 0.15
"""Shorter notes have a pitch, but no cents: too few periods, and none of them still. Judged."""
OTHER_NOTE_CENTS = 65.0
"""Farther from its target a note is another note. Judged: half-way to the neighbour is 50, and a slide held badly or a
lip that gives way comes a little beyond."""
STAYS_CENTS = 15.0
"""Nearer than this (or than 1.5 times the spread) to its steady pitch a note has arrived."""
_NEAR = OTHER_NOTE_CENTS / 100
_BEFORE, _AFTER = 30, 14               # frames about the place that the walk found, in which the attack is looked for
_SOONER = 10                           # frames before the level tells it
_GROWN_DB = 4.0                        # in the middle of all bands, within 10 ms: something begins
_STEP, _OLD = 0.5, 0.35                # semitones: another note than the one before; still that one
_DIP_DB = 3.5                          # a new attack lets the level fall at least so much
_SETTLES_WITHIN_S = 0.45
_ROUGH = 0.25                          # less periodic frames, where two notes meet, tell no pitch
_DOUBTS = 2.0                          # times what others differ by is no fault of this one
_RISES = 2                             # frames that an attack takes to the level by which it is found


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounded:
    """What one stay of the recording at a note sounds like.

    `midi` is the steady pitch (midi scale at 440 Hz), None where none was heard; `near` tells that it is the note that
    was asked for; `spread_cents` how far it wavers; `settle_ms` the time until it stays, `excursion_cents` the greatest
    distance before that (+ sharp), `early` the pitches before it (semitones above the steady one); `began` those of its
    beginning frame by frame, NaN where no pitch was heard; `dip_db` how far the level fell before the attack; `joined`
    that the note before was still sounding; `extra` counts other notes in it.
    """

    index: int
    run: int
    start_s: float
    end_s: float
    midi: float | None
    near: bool
    spread_cents: float | None
    settle_ms: float | None
    excursion_cents: float
    early: tuple[float, ...]
    began: tuple[float, ...]
    dip_db: float
    joined: bool
    extra: int
    again: bool

    @property
    def short(self) -> bool:
        """Too short for cents."""
        return self.end_s - self.start_s < SHORTEST_S


def sounded(frames: Frames, visits: Sequence[Visit], wanted_midi: Sequence[float], heard: Any, *, tuning: float,
            pedals: frozenset[int] = frozenset()) -> tuple[Sounded, ...]:
    """Measure every stay.

    `heard` is the loudness of each frame, `tuning` the scale of the recording [semitones]; `pedals` are the notes that
    are played on the first partial, whose crack may be an octave up.
    """
    starts: list[int] = []
    dips: list[float] = []
    for place, visit in enumerate(visits):
        least = (starts[-1] + 8) if starts else 0
        before = wanted_midi[visits[place - 1].index] + tuning if place else None
        start, dip = _attack(frames, visit, before, wanted_midi[visit.index] + tuning, least)
        starts.append(start)
        dips.append(dip)
    found = []
    for place, visit in enumerate(visits):
        end = visit.last
        if place + 1 < len(visits):
            end = min(max(end, starts[place] + 2), starts[place + 1])
            if visits[place + 1].first == visit.last:
                end = starts[place + 1]
        joined = place > 0 and visits[place - 1].last >= visit.first - 6
        found.append(_measured(frames, visit, starts[place], end, wanted_midi[visit.index] + tuning, heard,
                               dips[place], joined, visit.index in pedals))
    return tuple(found)


def _attack(frames: Frames, visit: Visit, before: float | None, here: float, least: int) -> tuple[int, float]:
    """Return the frame where the note begins, and how far the level had fallen before it. [dB]

    By its level; earlier, where bands of the sound grow at once or the pitch leaves the note before: a room goes on
    sounding, and the level tells too late.
    """
    start, fell = _by_level(frames, visit, before, here, least)
    low = max(least, start - _SOONER)
    grown = frames.growth_db[low:start + 3]
    if len(grown) and float(grown.max()) >= _GROWN_DB:
        return max(low, low + int(grown.argmax()) - 1), fell
    if before is not None and abs(before - here) > _STEP:
        low = max(least, start - 2 * _SOONER)
        old = [at for at in range(low, min(start + 1, len(frames.midi))) if abs(frames.midi[at] - before) < _OLD]
        if old:
            return max(low, min(start, old[-1])), fell
    return start, fell


def _by_level(frames: Frames, visit: Visit, before: float | None, here: float, least: int) -> tuple[int, float]:
    """Return where a note begins by its level, or by the pitch before it, and how far the level had fallen. [dB]"""
    import numpy as np

    level = frames.level_db
    low = max(least, visit.first - _BEFORE, 0)
    high = min(visit.first + _AFTER, len(level) - 1, max(visit.last - 1, visit.first + 1))
    if high - low < 2:
        return visit.first, 0.0
    best, fell = None, 0.0
    loud = float(np.percentile(level[visit.first:max(visit.last, visit.first + 3)], 70))
    for at in range(low, high):
        after = float(np.median(level[at + 2:at + 12])) if at + 2 < len(level) else level[at]
        rise = min(after, loud) - level[at]
        if rise > fell + 0.01 and rise >= _DIP_DB:
            best, fell = at, rise
    if best is not None:
        after = float(np.median(level[best + 2:best + 12]))
        edge = max(level[best] + 0.4 * min(fell, 12.0), min(after, loud) - 14.0)
        start = best
        while start < high and level[start] < edge:
            start += 1
        return max(best, start - _RISES), fell
    if before is not None and abs(before - here) > 0.3:
        old = [at for at in range(low, high + 1) if abs(frames.midi[at] - before) < 0.35]
        if old:
            return old[-1] + 1, 0.0
    return visit.first, 0.0


def _measured(frames: Frames, visit: Visit, start: int, end: int, target: float, heard: Any, dip_db: float,
              joined: bool, pedal: bool) -> Sounded:
    import numpy as np

    # Where the recording breaks off, the walk may have gone on for a frame or two.
    start = min(start, len(frames.midi) - 1)
    end = min(max(end, start + 1), len(frames.midi))
    pitch = frames.midi[start:end]
    known = ~np.isnan(pitch) & (heard[start:end] > 0.25) & (frames.rough[start:end] < _ROUGH)
    while end > start + 1 and not known[end - 1 - start]:
        end -= 1
    pitch, known = pitch[:end - start], known[:end - start]
    near = known & (np.abs(pitch - target) < _NEAR)
    extra = 0
    if near.sum() >= max(4, min(24, 0.3 * known.sum())):
        first, last = _longest(near)
        if first * HOP_S > 0.3:        # something else before it, or a second go
            extra += 1
            start += first
            pitch, known, first, last = pitch[first:], known[first:], 0, last - first
        if (len(pitch) - last) * HOP_S > 0.2 and known[last:].mean() > 0.7:
            extra += 1
            pitch, known = pitch[:last], known[:last]
        end = start + len(pitch)
        is_near = True
    else:
        is_near = False
    empty = Sounded(index=visit.index, run=visit.run, start_s=start * HOP_S, end_s=end * HOP_S, midi=None, near=False,
                    spread_cents=None, settle_ms=None, excursion_cents=0.0, early=(), began=(), dip_db=dip_db,
                    joined=joined, extra=extra, again=visit.again)
    if known.sum() < 4:
        return empty
    still = _still(pitch, known)
    if still is None:
        return empty
    steady = float(np.median(pitch[still]))
    spread = float(100 * np.std(pitch[still]))
    long = (end - start) * HOP_S >= SHORTEST_S
    limit = min(int(0.65 * len(pitch)), int(_SETTLES_WITHIN_S / HOP_S)) if long else 0
    began = np.where(known[:limit], _unslipped(pitch[:limit] - steady, pedal), np.nan)
    one = replace(empty, midi=steady, near=is_near and abs(steady - target) < _NEAR,
                  spread_cents=spread if long else None, began=tuple(float(value) for value in began))
    return arrived(one, ()) if long else one


def _longest(near: Any, bridge: int = 5) -> tuple[int, int]:
    """Return the longest stretch of near frames, over holes of up to `bridge` frames."""
    import numpy as np

    places = np.flatnonzero(near)
    breaks = np.flatnonzero(np.diff(places) > bridge)
    firsts = np.concatenate(([0], breaks + 1))
    lasts = np.concatenate((breaks, [len(places) - 1]))
    best = int((places[lasts] - places[firsts]).argmax())
    return int(places[firsts[best]]), int(places[lasts[best]]) + 1


def _still(pitch: Any, known: Any) -> Any:
    """Return the frames of the steady part: the middle of the note, or its stillest 40 per cent where that is stiller.

    None where no part holds still enough to be a note.
    """
    import numpy as np

    count = len(pitch)
    places = np.arange(count)
    middle = known & (places >= 0.3 * count) & (places <= 0.85 * count)
    if middle.sum() < 3:
        middle = known
    size = max(4, int(0.4 * count))
    best, least = None, np.inf
    for first in range(2, max(3, count - size - 2), max(1, count // 25)):
        inside = known & (places >= first) & (places < first + size)
        if inside.sum() < 0.6 * size:
            continue
        wide = float(pitch[inside].std())
        if wide < least:
            best, least = inside, wide
    wide = float(pitch[middle].std())
    return best if best is not None and (least < 0.5 * wide and wide > 0.05) else middle


def _unslipped(off: Any, pedal: bool) -> Any:
    """Return the distances [semitones], those an octave or more below, or so far above, brought back.

    No lip cracks so far (an octave up from a pedal it may); a tracker slips there while a tone begins.
    """
    import numpy as np

    for ratio in (1 / 4, 1 / 3, 1 / 2, *(() if pedal else (2,)), 3, 4, 5):
        step = 12 * np.log2(ratio)
        off = np.where(np.abs(off - step) < 0.8, off - step, off)
    return off


def arrived(one: Sounded, own: Sequence[float], doubt: Sequence[float] = ()) -> Sounded:
    """Return a long note with its arrival: how long until the pitch stays, the greatest distance before, the way there.

    `own` is how the player's notes begin where nothing is amiss, and `doubt` how far they differ in that (semitones,
    frame by frame from the attack on). What is in order either way, as it is or with that taken off, is in order.
    """
    import numpy as np

    began = np.array(one.began)
    plain = _arrival(began, np.zeros(len(began)), one.spread_cents or 0.0)
    settle_ms, excursion, early = plain
    count = min(len(own), len(began))
    if count:
        taken, wide = np.zeros(len(began)), np.zeros(len(began))
        taken[:count], wide[:count] = own[:count], doubt[:count]
        beside = _arrival(began - taken, wide, one.spread_cents or 0.0)
        settle_ms, excursion, early = min(plain, beside, key=lambda way: (way[0], abs(way[1])))
    return replace(one, settle_ms=settle_ms, excursion_cents=100 * excursion,
                   early=tuple(float(value) for value in early))


def _arrival(off: Any, doubt: Any, spread_cents: float) -> tuple[float, float, Any]:
    """Return how long a pitch takes to stay [ms], the greatest distance before, and the way there. [semitones]"""
    import numpy as np

    known = ~np.isnan(off)
    out = known & (np.abs(off) > np.maximum(max(STAYS_CENTS, 1.5 * spread_cents) / 100, _DOUBTS * doubt))
    # A lone frame is a slip of the tracker.
    out[1:-1] &= out[:-2] | out[2:]
    last = int(np.flatnonzero(out)[-1]) if out.any() else -1
    early = off[:last + 1][known[:last + 1]]
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(early, 3), axis=1) if len(early) > 2 else early
    excursion = float(smooth[np.abs(smooth).argmax()]) if len(smooth) else 0.0
    return 1000 * HOP_S * (last + 1), excursion, early
