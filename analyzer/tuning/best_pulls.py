"""Tuning slides: how far off each note lies as they are pulled, and the pulls that leave least of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn, Valves
from analyzer.horns.tubing import HIGHEST_PARTIAL, lowered_cents, state, states
from analyzer.tuning.retuned import MAIN, slides

LIMITS_MM: Mapping[str, int] = {MAIN: 25, "1": 25, "2": 12, "3": 30, "4": 35, "T": 60, "S": 45}
"""How far a slide comes out and still holds [mm on one leg]. Judged: a leg is shorter than half its loop, and a third
of it stays in; the second valve's loop is 18 cm long, bends included. Measured slides would decide."""
TIE_CENTS2_A_MM = 0.001
"""What a millimetre of pull costs [cents²], so that a slide which helps nothing stays in (judged: never heard)."""
TIE_SHARE = 0.01
"""What the mean square counts beside the worst (judged: a tenth of a cent at the worst note for ten at the others)."""
UNUSUAL_CENTS = 10.0
"""What a fingering off the chart must bring [cents]; judged: 10 is hardly heard alone. It only guides the search: the
plan has the last word on fingerings."""
LATTICE = 4_000
"""Settings tried before the walk begins. Judged with the two numbers below: all 32 cases of four slides that were
compared with each of their 272,428 settings came out best of all; with 12 beginnings one missed by 0.01 cents²."""
_BEGINNINGS = 40
_LAST = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Sounding:
    """A valve state and a partial; `handicap_cents` is what another way must bring before this one is left. [from 0]"""

    valves: Valves
    partial: int
    handicap_cents: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WantedPitch:
    """A sounding pitch, how much it counts [above 0], and the ways that it may be sounded."""

    midi: int
    weight: float
    ways: tuple[Sounding, ...]


class Tuning:
    """How far off some notes lie as a function of the slides.

    A note lies off by what its partial lacks after the tube has lowered it; on a slide horn the hand slide takes up
    all that lies between its stop and `reach_mm`. Of several ways the one with the least squares of cents and
    handicap counts.

    Parameters
    ----------
    horn : Horn
        The horn with its tuning slides as they are.
    wanted : sequence of WantedPitch
        The notes; each with one way or more.
    limits_mm : mapping
        How far each of `retuned.slides` comes out; 0 keeps it as it is. [mm on one leg]
    reach_mm : float
        How far the hand slide goes; 0 on a valved horn. [mm]
    worst : bool
        Count the worst note in place of the weighted mean square.

    Raises
    ------
    ValueError
        If there is no note, or one without a way.
    """

    def __init__(self, horn: Horn, wanted: Sequence[WantedPitch], limits_mm: Mapping[str, int], *,
                 reach_mm: float = 0.0, worst: bool = False) -> None:
        import numpy as np

        if not wanted or not all(pitch.ways for pitch in wanted):
            raise ValueError("Tuning wants notes, each with a way to sound it")
        self._np = np
        self._slides = slides(horn)
        self._limits = np.array([limits_mm[slide] for slide in self._slides])
        self._worst = worst
        self._reach = 2 * reach_mm / horn.tube_mm
        ways = [(pitch.midi, way, state(horn, way.valves)) for pitch in wanted for way in pitch.ways]
        self._first = np.cumsum([0, *(len(pitch.ways) for pitch in wanted)])[:-1]
        self._weight = np.array([one.weight for one in wanted]) / sum(one.weight for one in wanted)
        self._needed = np.array([held.partial_cents[way.partial - 1] - 100 * (midi - horn.fundamental_midi)
                                 for midi, way, held in ways])
        self._handicap = np.array([[way.handicap_cents ** 2] for _, way, _ in ways])
        self._ratio = np.array([[held.ratio] for _, _, held in ways])
        self._grows = 2 / horn.tube_mm * np.array([
            [float(slide == MAIN or slide in way.valves) for slide in self._slides] for _, way, _ in ways])

    def off_cents(self, pulls: Any) -> Any:
        """How far each way of each note lies off. [ways × pulls, cents; + is sharp]

        `pulls` holds one column for each set of pulls, a row a slide. [mm]
        """
        np = self._np
        tube = self._ratio + self._grows @ pulls
        needed = self._needed[:, None]
        if not self._reach:
            return needed - 1200 * np.log2(tube)
        return needed - np.clip(needed, 1200 * np.log2(tube), 1200 * np.log2(tube + self._reach))

    def cost(self, pulls: Any) -> Any:
        """What each set of pulls leaves: the weighted mean square, or the worst square, and the price of the pull.

        `pulls` as in `off_cents`; the result has one number a column. [cents²]
        """
        np = self._np
        each = np.minimum.reduceat(self.off_cents(pulls) ** 2 + self._handicap, self._first, axis=0)
        mean = self._weight @ each
        # Where the worst note leaves room, the others decide.
        total = each.max(axis=0) + TIE_SHARE * mean if self._worst else mean
        return total + TIE_CENTS2_A_MM * pulls.sum(axis=0)

    def best(self) -> dict[str, int]:
        """Return the best pulls in whole millimetres. Needs numpy (the extra ``decide``).

        A lattice over the whole box, as fine as `LATTICE` settings allow, gives places to begin; from each the walk
        goes on to the best neighbour, every slide a millimetre in or out, until none is better; from the best ends
        once more, every slide two millimetres in or out.
        """
        np = self._np
        free = np.flatnonzero(self._limits)
        step = next(step for step in range(1, int(self._limits.max(initial=0)) + 2)
                    if np.prod(self._limits[free] // step + 1) <= LATTICE)
        lattice = self._settings(_grid(np, [np.arange(0, limit + 1, step) for limit in self._limits[free]]))
        order = np.argsort(self.cost(lattice), kind="stable")
        ends = self._walked(lattice[:, order[:_BEGINNINGS]], reach_mm=1)
        order = np.argsort(self.cost(ends), kind="stable")
        ends = self._walked(ends[:, order[:_LAST]], reach_mm=2)
        best = ends[:, int(self.cost(ends).argmin())]
        return {slide: int(pull) for slide, pull in zip(self._slides, best, strict=True)}

    def _settings(self, free: Any) -> Any:
        """Return settings of all slides from those of the slides that may move. [slides × settings]"""
        pulls = self._np.zeros((len(self._slides), free.shape[1]))
        pulls[self._np.flatnonzero(self._limits)] = free
        return pulls

    def _walked(self, begin: Any, *, reach_mm: int) -> Any:
        """Return where the walks from some settings end, each end once. [slides × ends]"""
        np = self._np
        free = int(np.count_nonzero(self._limits))
        near = self._settings(_grid(np, [np.arange(-reach_mm, reach_mm + 1)] * free))
        seen: set[tuple[float, ...]] = set()
        ends = []
        for place in begin.T:
            while tuple(place) not in seen:
                seen.add(tuple(place))
                around = np.clip(place[:, None] + near, 0, self._limits[:, None])
                costs = self.cost(around)
                k = int(costs.argmin())
                if costs[k] >= self.cost(place[:, None])[0] - 1e-12:
                    ends.append(place)
                    break
                place = around[:, k]
        return np.array(ends).T


def _grid(np: Any, axes: Sequence[Any]) -> Any:
    """Return every setting of some axes. [axes × settings]; one setting of nothing where there is no axis."""
    if not axes:
        return np.zeros((0, 1), dtype=int)
    return np.stack(np.meshgrid(*axes, indexing="ij")).reshape(len(axes), -1)


def ways(horn: Horn, midi: int, usual: Candidate | None, limits_mm: Mapping[str, int]) -> tuple[Sounding, ...]:
    """Return every way that sounds a pitch within the horn's limits, with its slides in or with some pull of them.

    `usual` is the way that charts print; any other bears `UNUSUAL_CENTS`.
    """
    found = []
    for valves in states(horn):
        held = state(horn, valves)
        pull_mm = sum(limits_mm[slide] for slide in slides(horn) if slide == MAIN or slide in valves)
        out = lowered_cents(held.ratio + 2 * (pull_mm + horn.slide_end_mm) / horn.tube_mm)
        for partial in range(1, HIGHEST_PARTIAL + 1):
            needed = held.partial_cents[partial - 1] - 100 * (midi - horn.fundamental_midi)
            if needed - held.cents >= -horn.flat_limit.value and needed - out <= horn.sharp_limit.value:
                own = usual is not None and (usual.valves, usual.partial) == (valves, partial)
                found.append(Sounding(valves=valves, partial=partial, handicap_cents=0.0 if own else UNUSUAL_CENTS))
    return tuple(found)
