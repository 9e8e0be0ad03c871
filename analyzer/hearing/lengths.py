"""The walk laid anew, pass by pass, with the length of each note: for repeated, wrong and left-out notes.

The first walk (`follow`) goes frame by frame and forgets when a note began; where one of several equal notes is left
out or wrong, or a room fills the gap between them, it may take one for the other. Here a whole note at a time is laid
between two places where something begins, by dynamic programming over those places: pitch of the stretch, how much of a
beginning its place has, beginnings passed over, and how long it lasts beside what the tempo about it asks.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import median
from typing import Any

from analyzer.hearing.follow import Loudness, Visit, Wanted
from analyzer.hearing.pitch import HOP_S, Frames

# All judged, on recordings by several makers (tests/hearing/held_out.py), other seeds than those reported.
_SIGMA, _CAP = 0.3, 6.0                # of a pitch about its note [semitones]; what another pitch costs at most
_ATTACK = 4.0                          # a note that begins where nothing begins
_PASSED = 4.0                          # a beginning within a note
_SKIP, _CLOSED = 6.0, 2.0              # a note left out; the time of it left out, too
_AGAIN, _EXTRA = 6.0, 6.0              # a note attacked once more; a sound that is no note of the line
_UNHEARD = 5.0                         # a note of silence
_RATIO, _RATIO_CAP = 0.17, 6.0         # of a length to the tempo about it (natural log); a pause costs at most
_MOST_SKIPPED = 5
_BESIDE = 7                            # notes on either side of where the first walk was
_NEAR_NOTES = 6                        # on either side, that tell the tempo
_LEAST_ATTACK = 0.12
_APART = 6                             # frames between two beginnings
_GRID = 12                             # frames: where nothing begins for so long, a note might all the same
_LONGER, _LONGER_S = 1.8, 0.5          # than the longest step about it no note is
_HEARD_S = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class _Run:
    """One pass of the first walk: frames of the places where something begins, how much, and the tempo note by note."""

    places: Any
    strength: Any
    guess: Any                         # the note of the first walk at each place
    scale: Any                         # seconds of the recording to one of the plan, for each note of the line


def laid_anew(frames: Frames, loud: Loudness, visits: Sequence[Visit], wanted: Sequence[Wanted], *, tuning: float,
              scale: float) -> tuple[Visit, ...]:
    """Return the stays of each pass laid anew; the passes themselves stay as the first walk told them apart.

    Parameters
    ----------
    frames, loud : Frames, Loudness
        The recording.
    visits : sequence of Visit
        As `follow` found them.
    wanted : sequence of Wanted
        The line, in order.
    tuning : float
        How far the recording's scale is above 440 Hz. [semitones]
    scale : float
        Seconds of the recording to a second of the plan.
    """
    import numpy as np

    pitches, which = np.unique([note.midi for note in wanted], return_inverse=True)
    costs = _costs(frames, loud, pitches + tuning)
    heard = np.concatenate(([0.0], np.cumsum(loud.heard > 0.3)))
    found: list[Visit] = []
    runs: dict[int, list[Visit]] = {}
    for visit in visits:
        runs.setdefault(visit.run, []).append(visit)
    for own in runs.values():
        run = _run(loud, own, wanted, scale)
        found += _Walk(run, own, wanted, costs[:, which], heard).stays() if len(own) > 2 else own
    return tuple(found)


def _costs(frames: Frames, loud: Loudness, pitches: Any) -> Any:
    """Return summed costs of the frames for each pitch of the line; row t is of the frames before t."""
    import numpy as np

    off = (frames.midi[:, None] - pitches[None, :]) ** 2 / (2 * _SIGMA**2)
    cost = np.where(np.isnan(off), 3.0, np.minimum(off, _CAP)) * (loud.heard > 0.3)[:, None]
    return np.concatenate((np.zeros((1, len(pitches))), np.cumsum(cost, axis=0)))


def _run(loud: Loudness, own: Sequence[Visit], wanted: Sequence[Wanted], scale: float) -> _Run:
    import numpy as np

    attack = loud.attack
    last = min(own[-1].last, len(attack))   # the walk goes in strides, over the end of a recording that breaks off
    first = min(own[0].first, last - 2)
    usual = [float(attack[max(0, visit.first - 4):visit.first + 5].max(initial=0.0)) for visit in own[1:]]
    usual_attack = max(0.3, median(usual)) if usual else 1.0
    inside = np.arange(first, last)
    order = inside[np.argsort(-attack[inside], kind="stable")]
    strength = {first: 1.0, last: 1.0}
    blocked = np.zeros(len(attack) + 2, bool)
    blocked[max(0, first - _APART):first + _APART] = True
    for at in order:
        if attack[at] < _LEAST_ATTACK:
            break
        if not blocked[at]:
            strength[int(at)] = min(1.0, float(attack[at]) / usual_attack)
            blocked[max(0, at - _APART):at + _APART + 1] = True
    places = sorted(strength)
    for a, b in pairwise(places):
        for at in range(a + _GRID, b - _GRID // 2, _GRID):
            strength[at] = 0.0
    places = sorted(strength)
    begins = np.array([visit.first for visit in own])
    guess = np.array([own[max(0, int(np.searchsorted(begins, at + 2, "right")) - 1)].index for at in places])
    return _Run(places=np.array(places), strength=np.array([strength[at] for at in places]), guess=guess,
                scale=_tempo(own, wanted, scale))


def _tempo(own: Sequence[Visit], wanted: Sequence[Wanted], scale: float) -> Any:
    """Return the tempo about each note: the median of the steps of the first walk near it."""
    import numpy as np

    steps = [(b.index, (b.first - a.first) * HOP_S / (wanted[b.index].start_s - wanted[a.index].start_s))
             for a, b in pairwise(own)
             if b.index == a.index + 1 and wanted[b.index].start_s > wanted[a.index].start_s + 0.02]
    at = np.array([index for index, _ in steps])
    ratios = np.array([ratio for _, ratio in steps])
    found = np.full(len(wanted), scale)
    for index in range(len(wanted)):
        near = np.abs(at - index) <= _NEAR_NOTES if len(at) else np.zeros(0, bool)
        if near.sum() >= 4:
            found[index] = float(np.clip(np.median(ratios[near]), 0.7 * scale, 1.4 * scale))
    return found


class _Walk:
    """The cheapest laying of the notes of a line between the places of one pass.

    `note[j, n]` is the least cost of all before place j where note n begins there, `extra[j, n]` where something begins
    there that is no note, after note n; `came` and `came_extra` tell from which place, note and kind (1: extra).
    """

    def __init__(self, run: _Run, own: Sequence[Visit], wanted: Sequence[Wanted], costs: Any, heard: Any) -> None:
        import numpy as np

        self.run, self.own, self.costs, self.heard = run, own, costs, heard
        self.starts = np.array([note.start_s for note in wanted])
        shape = (len(run.places), len(wanted))
        self.note, self.extra = np.full(shape, np.inf), np.full(shape, np.inf)
        self.came, self.came_extra = np.zeros((*shape, 3), np.int32), np.zeros((*shape, 3), np.int32)
        self.passed = np.concatenate(([0.0], np.cumsum(run.strength)))
        steps = np.diff(self.starts, append=self.starts[-1] + 1.0) * run.scale
        wide = np.pad(steps, _BESIDE, mode="edge")
        self.longest_s = np.lib.stride_tricks.sliding_window_view(wide, 2 * _BESIDE + 1).max(axis=1)
        for index in range(max(0, own[0].index - 3), min(len(wanted), own[0].index + 4)):
            self.note[0, index] = _SKIP * abs(index - own[0].index)

    def stays(self) -> list[Visit]:
        """Return the stays, first to last."""
        import numpy as np

        last = len(self.run.places) - 1
        for j in range(1, last):
            self._step(j)
        band, left, low, _ = self._left(last)
        total = left.min(axis=0) + _SKIP * np.maximum(0, self.own[-1].index - band)
        k = int(total.argmin())
        if not np.isfinite(total[k]):
            return list(self.own)
        return self._back(low + int(left[:, k].argmin()), int(band[k]))

    def _left(self, j: int) -> tuple[Any, Any, int, Any]:
        """Return the notes that may end at a place, what they cost from each earlier place, the first of those."""
        import numpy as np

        run, here = self.run, self.run.places[j]
        guess = int(run.guess[j])
        band = np.arange(max(0, guess - _BESIDE - _MOST_SKIPPED - 1), min(len(self.starts), guess + _BESIDE + 1))
        back_s = _LONGER * float(self.longest_s[band].max()) + _LONGER_S
        low = min(j - 1, int(np.searchsorted(run.places, here - back_s / HOP_S)))
        before = run.places[low:j]
        sounding = self.heard[here] - self.heard[before]
        sums = self.costs[here, band][None, :] - self.costs[before][:, band]
        passed = _PASSED * (self.passed[j] - self.passed[low + 1:j + 1])[:, None]
        emitted = np.where((sounding * HOP_S >= _HEARD_S)[:, None], sums / np.maximum(sounding, 1)[:, None], _UNHEARD)
        return band, self.note[low:j, band] + emitted + passed, low, passed

    def _step(self, j: int) -> None:
        import numpy as np

        run = self.run
        band, left, low, passed = self._left(j)
        begin = _ATTACK * (1 - run.strength[j])
        lasted = np.log((run.places[j] - run.places[low:j]) * HOP_S)[:, None]
        gone = self.extra[low:j, band] + passed
        at, at_gone = left.argmin(axis=0), gone.argmin(axis=0)
        again, gone = left[at, np.arange(len(band))], gone[at_gone, np.arange(len(band))]
        best = again + _AGAIN
        source = np.stack((low + at, band, np.zeros(len(band), int)), axis=1)
        for skipped in range(min(_MOST_SKIPPED + 1, len(band) - 1)):
            to = np.arange(1 + skipped, len(band))
            came = to - 1 - skipped
            value = left[:, came] + self._odd(lasted, band[to], band[came], skipped)
            k = value.argmin(axis=0)
            value = value[k, np.arange(len(to))] + _SKIP * skipped
            other = gone[came] + _SKIP * skipped + 1.0
            value, row, kind = np.minimum(value, other), np.where(other < value, at_gone[came], k), other < value
            better = value < best[to]
            best[to] = np.where(better, value, best[to])
            source[to] = np.where(better[:, None], np.stack((low + row, band[came], kind), axis=1), source[to])
        self.note[j, band], self.came[j, band] = best + begin, source
        self.extra[j, band] = again + _EXTRA + begin
        self.came_extra[j, band] = np.stack((low + at, band, np.zeros(len(band), int)), axis=1)

    def _odd(self, lasted: Any, to: Any, before: Any, skipped: int) -> Any:
        """Return what lengths cost beside what the tempo asks, the notes between left out in time or closed up."""
        import numpy as np

        scale = self.run.scale[to]

        def odd(asked_s: Any) -> Any:
            return np.minimum(0.5 * ((lasted - np.log(np.maximum(0.02, scale * asked_s))) / _RATIO) ** 2, _RATIO_CAP)

        cost = odd(self.starts[to] - self.starts[before])
        return np.minimum(cost, odd(self.starts[before + 1] - self.starts[before]) + _CLOSED) if skipped else cost

    def _back(self, place: int, note: int) -> list[Visit]:
        """Return the stays of the walk to a place and note; what is no note belongs to the stay before it."""
        places, stays, extra = self.run.places, [], 0
        end = int(places[-1])
        while True:
            before, came, kind = (int(value) for value in (self.came_extra if extra else self.came)[place, note])
            if not extra:
                stays.append(Visit(index=note, first=int(places[place]), last=end, run=self.own[0].run,
                                   again=place > 0 and came == note and not kind))
                end = int(places[place])
            if not place:
                return stays[::-1]
            place, note, extra = before, came, kind
