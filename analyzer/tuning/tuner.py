"""A horn's profile fitted to the readings of a tuner: loops, tuning and partials, each with how sure it is.

A reading says how far a note lies from equal temperament: the partial's own offset, less how far the tube lowers it.
Every unknown starts at the profile with a stated spread, so that a few readings move only what they speak of
(least squares with a prior, known as ridge or Bayesian linear regression; the model is all but linear).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log
from typing import Any, Literal

from analyzer.evidence import Evidence
from analyzer.horns.horn import Horn, Quantity
from analyzer.horns.tubing import second_share, state
from analyzer.problem import unreadable
from analyzer.tuning.readings import TunerReading
from analyzer.tuning.retuned import EVERY_PARTIAL, with_loops, with_offset
from analyzer.tuning.statistics import cauchy, least_squares, student_t
from analyzer.words import agreeing, counted

What = Literal["horn", "tube", "loop", "second loop", "partial"]

SPREAD: dict[What, float] = {"horn": 30.0, "tube": 4.0, "loop": 20.0, "second loop": 10.0, "partial": 10.0}
"""How far real horns lie from a profile, one standard deviation [cents; tube: per cent]. All judged:
horn: a main slide pulled 25 mm is 29 cents; tube: published lengths of one horn span 269 to 296 cm (S04, S05, S09);
loop: S10's third valve is 13 cents longer than S17's, and 19 mm of pull on the first is 20 cents; second loop: fixed by
the maker, so nearer; partial: sixth partials of euphoniums are sharp, some by 20 cents (common practice, no source).
Of horns twice as odd, seven of eight 95 per cent intervals still hold the truth. A tuner on several horns would decide;
with three readings or more of each unknown, half or double the spread moves the answers by less than their stated
uncertainty (tests/tuning/test_tuner.py)."""
NOISE_CENTS = 3.0
"""What one reading is worth before the readings themselves have told [cents, standard deviation]; judged, worth
`NOISE_READINGS` readings: tuner and lip together."""
NOISE_READINGS = 4
"""How many readings `NOISE_CENTS` counts for against what a table shows itself; judged, as there."""
PLACE_MM = 5.0
"""How well a position without a measured place is found [mm, standard deviation]; judged."""
CONFIDENCE = 0.95
SUSPECT_LEVEL = 0.01
"""Chance that any reading of a sound set is called an outlier; judged, a usual level."""
LEAST_OUTLIER_CENTS = 8.0
"""A smaller surprise is never called an outlier: nobody would read again for it (judged). [cents]"""
MOST_NOISE_CENTS = 15.0
"""More scatter than this is no reading of one horn [cents, standard deviation]; judged: beginners' single notes wander
by 10 at most, so from 12 to 20 the same tables pass."""
LEAST_READINGS = 3
KEPT_FROM = 0.9
"""From this share of the prior spread on, the readings say nothing of an unknown and the profile's value stays; at
LEANS_FROM the answer leans on the profile as much as on the readings (judged; the spread itself is shown)."""
LEANS_FROM = 0.6


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """One number of the profile that readings can tell.

    `name` is a valve's name or a partial's number, empty for the whole horn. `spread` is how far it may lie from the
    profile before anything is read. [cents; tube: per cent]
    """

    what: What
    name: str = ""

    @property
    def spread(self) -> float:
        """Prior spread, one standard deviation. [cents; tube: per cent]"""
        return SPREAD[self.what]


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What the readings say of one unknown.

    `change` is how far it lies from the profile [cents, of a loop: how much lower it makes the note; tube: per cent];
    `plus_minus` half the interval that holds it with 95 per cent confidence. The whole horn's change is the mean of the
    partials that sounded, a partial's how far it lies from that mean; `sounds_plus_minus` is half the interval of the
    note that both make together (of all else, the same). `readings` says in how many readings it sounds, `state`
    whether it was measured, leans on the profile, or was kept as the profile has it.
    """

    unknown: Unknown
    change: float
    plus_minus: float
    sounds_plus_minus: float
    readings: int
    state: Literal["measured", "leans", "kept"]


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedReading:
    """A reading beside the fit: what the profile and the fitted horn say [cents], and whether it was left out."""

    reading: TunerReading
    before_cents: float
    after_cents: float
    outlier: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class FittedHorn:
    """A horn fitted to readings. `noise_cents` is what is left between reading and fit, as a standard deviation."""

    horn: Horn
    found: tuple[Found, ...]
    readings: tuple[JudgedReading, ...]
    noise_cents: float

    @property
    def outliers(self) -> tuple[JudgedReading, ...]:
        """The readings that were left out."""
        return tuple(reading for reading in self.readings if reading.outlier)


def unknowns(horn: Horn, readings: Sequence[TunerReading]) -> tuple[Unknown, ...]:
    """Return what readings of this horn could tell: the tube only where places were measured."""
    found = [Unknown(what="horn")]
    if any(reading.place_mm for reading in readings):
        found.append(Unknown(what="tube"))
    found += [Unknown(what="loop", name=loop.name) for loop in horn.loops]
    found += [Unknown(what="second loop", name=loop.name) for loop in horn.loops if second_share(horn, loop)]
    # A partial that never sounded has nothing to be told by, and one alone cannot be told from the whole horn.
    partials = sorted({reading.partial for reading in readings})
    if len(partials) == 1:
        return tuple(found)
    return (*found, *(Unknown(what="partial", name=str(partial)) for partial in partials))


def fit(horn: Horn, readings: Sequence[TunerReading], *, name: str, origin: str) -> FittedHorn:
    """Fit a horn to readings. Needs numpy (the extra ``decide``).

    Parameters
    ----------
    horn : Horn
        The profile to start from.
    readings : sequence of TunerReading
        What the tuner showed; three or more.
    name : str
        Name of the fitted horn.
    origin : str
        Where the readings come from, such as the name of their file; goes into the profile.

    Raises
    ------
    Unreadable
        If there are too few readings, they do not fit together (a quarter are outliers, or the scatter is beyond
        `MOST_NOISE_CENTS`), or the horn stands more than 60 cents off the tuner's pitch.
    """
    if len(readings) < LEAST_READINGS:
        raise unreadable("reading", where=origin, what=f"{counted(len(readings), 'reading')} "
                         f"{agreeing(len(readings), 'say')} too little of a horn",
                         try_="Read two or three notes of each partial and valve; lowbrass tune sheet lists them.")
    problem = _Problem(horn, readings)
    used = problem.sound()
    values, covariance, noise, dof = problem.solved(used)
    away = abs(problem.model(values) - problem.read)
    if used.sum() < 3 * len(readings) / 4 or noise > MOST_NOISE_CENTS:
        worst = sorted(range(len(readings)), key=lambda k: -away[k])[:5]
        lines = ", ".join(str(line) for line in sorted(readings[k].line for k in worst))
        raise unreadable("reading", where=origin,
                         what=f"the readings do not fit together, whatever the horn (the farthest on lines {lines})",
                         try_=f"Check that it is a {horn.name}, that its slides stayed where they were, and that notes "
                              "are the ones that sound.")
    found = problem.found(values, covariance, dof, used)
    after = problem.model(values)
    before = problem.model(values * 0)
    fitted = _fitted(horn, found, name, f"fitted to {sum(used)} tuner readings, {origin}")
    return FittedHorn(
        horn=fitted, found=found, noise_cents=noise,
        readings=tuple(
            JudgedReading(reading=reading, before_cents=float(before[k]), after_cents=float(after[k]),
                          outlier=not used[k])
            for k, reading in enumerate(readings)))


class _Problem:
    """The readings as arrays, and the model that predicts them from the unknowns."""

    def __init__(self, horn: Horn, readings: Sequence[TunerReading]) -> None:
        import numpy as np

        self.np = np
        self.horn = horn
        self.readings = readings
        self.unknowns = unknowns(horn, readings)
        self.spread = np.array([unknown.spread for unknown in self.unknowns])
        self.read = np.array([reading.cents for reading in readings])
        self.weight = np.array([reading.weight for reading in readings])
        self._held = [state(horn, reading.valves) for reading in readings]
        placed = [reading.position is not None and reading.place_mm is None for reading in readings]
        # By position only: true by ear, so nothing of the tube is told, and the hand adds its own spread.
        self._placed = np.array(placed)
        slope = 2 * 1200 / log(2) / horn.tube_mm
        self._hand = np.array([
            PLACE_MM * slope / 2 ** ((held.semitones + (one.position or 1) - 1) / 12) if by_hand else 0.0
            for one, held, by_hand in zip(readings, self._held, placed, strict=True)])
        self._ratio = np.array([held.ratio for held in self._held])
        self._named = np.array([held.semitones + (one.position or 1) - 1
                                for one, held in zip(readings, self._held, strict=True)])
        self._out = np.array([2 * (reading.place_mm or 0.0) / horn.tube_mm for reading in readings])
        self._sounds = np.array([
            held.partial_cents[one.partial - 1] - 100 * (one.midi - horn.fundamental_midi)
            for one, held in zip(readings, self._held, strict=True)])
        # [readings × unknowns]: what adds to a reading as it is, and by how much a cent of a loop lengthens its tube.
        says = np.array([[sounds_in(horn, one, reading) for one in self.unknowns] for reading in readings], dtype=float)
        self._adds = says * np.array([unknown.what in ("horn", "partial") for unknown in self.unknowns])
        self._lengths = says * np.array([per_cent(horn, unknown) for unknown in self.unknowns])
        self._tube = np.array([unknown.what == "tube" for unknown in self.unknowns])
        partial = np.array([unknown.what == "partial" for unknown in self.unknowns], dtype=float)
        first = np.eye(len(self.unknowns))[0]
        self._shared = np.eye(len(self.unknowns)) + np.outer(first - partial, partial) / max(partial.sum(), 1)

    def model(self, values: Any) -> Any:
        """Return what each reading ought to show, given the unknowns. [cents]"""
        np = self.np
        longer = 1 + values[self._tube].sum() / 100
        tube = self._ratio + self._lengths @ values + self._out / longer
        down = np.where(self._placed, 100.0 * self._named, 1200 * np.log2(tube))
        return self._sounds + self._adds @ values - down

    def slopes(self, values: Any) -> Any:
        """Return how much each reading moves with each unknown. [readings × unknowns, cents a unit]"""
        np = self.np
        longer = 1 + values[self._tube].sum() / 100
        tube = self._ratio + self._lengths @ values + self._out / longer
        grows = self._lengths - np.outer(self._out / longer ** 2, self._tube / 100)
        down = np.where(self._placed[:, None], 0.0, 1200 / log(2) * grows / tube[:, None])
        return self._adds - down

    def _solve(self, used: Any, noise: float, start: Any = None, *, robust: bool = False) -> tuple[Any, Any, Any]:
        """Return values, residuals and slopes of a fit; the readings in use come first, then the prior."""
        np = self.np
        sigma = np.sqrt(noise ** 2 / self.weight + self._hand ** 2)[used]
        count = int(used.sum())

        def residuals(values: Any) -> Any:
            return np.concatenate([((self.model(values) - self.read)[used]) / sigma, values / self.spread])

        def slopes(values: Any) -> Any:
            return np.vstack([self.slopes(values)[used] / sigma[:, None], np.diag(1 / self.spread)])

        def bent(squares: Any) -> tuple[Any, Any]:
            # Cauchy's loss on the readings, plain squares on the prior.
            counts, share = cauchy(squares[:count])
            prior = squares[count:]
            return np.concatenate([counts, prior]), np.concatenate([share, np.ones_like(prior)])

        begin = np.zeros(len(self.unknowns)) if start is None else start
        return least_squares(residuals, slopes, begin, weigh=bent if robust else None)

    def solved(self, used: Any) -> tuple[Any, Any, float, float]:
        """Return values, covariance, noise [cents] and degrees of freedom of a fit to the readings in use."""
        np = self.np
        noise, count = NOISE_CENTS, int(used.sum())
        start = None
        for _ in range(30):
            start, residuals, slopes = self._solve(used, noise, start)
            covariance = np.linalg.inv(slopes.T @ slopes)
            rows = slopes[:count]
            told = float(np.trace(rows @ covariance @ rows.T))       # how many unknowns the readings pay for
            # A residual counts in units of its own spread; the hand's part of it is no noise of the tuner.
            squares = float((residuals[:count] ** 2).sum()) * noise ** 2
            dof = NOISE_READINGS + max(count - told, 0.0)
            new = float(np.sqrt((NOISE_READINGS * NOISE_CENTS ** 2 + squares) / dof))
            if abs(new - noise) < 0.01:
                break
            noise = new
        # The whole horn takes the mean of the partials that sounded: no reading can tell the two apart.
        return self._shared @ start, self._shared @ covariance @ self._shared.T, noise, dof

    def sound(self) -> Any:
        """Return which readings agree with the rest: a robust fit first, then deletion residuals until they settle.

        A reading is out where its externally studentised residual (how far it lies from a fit without it, over the
        spread of that difference) passes Student's t at a level divided by the number of readings.
        """
        np = self.np
        count = len(self.readings)
        everyone = np.ones(count, dtype=bool)
        away = np.abs(self.model(self._solve(everyone, NOISE_CENTS, robust=True)[0]) - self.read)
        scale = max(1.4826 * float(np.median(away)), NOISE_CENTS)
        used = away <= np.maximum(5 * scale, LEAST_OUTLIER_CENTS) + 3 * self._hand
        seen: list[Any] = []
        while used.sum() >= LEAST_READINGS and not any((used == one).all() for one in seen):
            seen.append(used)
            values, covariance, noise, dof = self.solved(used)
            rows = self.slopes(values)
            spread = noise ** 2 / self.weight + self._hand ** 2
            fitted = np.einsum("ij,jk,ik->i", rows, covariance, rows)
            residual = self.read - self.model(values)
            # Within the fit a reading has pulled the curve to itself; outside it has not.
            error = np.sqrt(np.where(used, np.maximum(spread - fitted, 1e-9 * spread), spread + fitted))
            internal = residual / error
            shrink = np.where(used, np.sqrt(np.maximum(dof - 1, 1) / np.maximum(dof - internal ** 2, 1e-9)), 1.0)
            limit = student_t(max(dof - 1, 1), 1 - SUSPECT_LEVEL / (2 * count))
            used = (np.abs(internal * shrink) <= limit) | (np.abs(residual) < LEAST_OUTLIER_CENTS)
        return used

    def found(self, values: Any, covariance: Any, dof: float, used: Any) -> tuple[Found, ...]:
        """Return each unknown with its interval; what the readings do not tell goes back to the profile."""
        width = student_t(dof, (1 + CONFIDENCE) / 2)
        deviation = self.np.sqrt(self.np.diag(covariance))
        before = self.np.sqrt(self.np.diag(self._shared @ self.np.diag(self.spread ** 2) @ self._shared.T))
        out = []
        for k, one in enumerate(self.unknowns):
            share = float(deviation[k] / before[k])
            count = sum(bool(good) and sounds_in(self.horn, one, reading)
                        for good, reading in zip(used, self.readings, strict=True))
            kept = share > KEPT_FROM or not count
            # The whole horn is the first unknown.
            both = covariance[k, k] + (covariance[0, 0] + 2 * covariance[0, k] if one.what == "partial" else 0.0)
            out.append(Found(
                unknown=one, change=0.0 if kept else float(values[k]), plus_minus=width * float(deviation[k]),
                sounds_plus_minus=width * float(both) ** 0.5, readings=count,
                state="kept" if kept else "leans" if share > LEANS_FROM else "measured"))
        return tuple(out)


def sounds_in(horn: Horn, unknown: Unknown, reading: TunerReading) -> bool:
    """Tell whether an unknown has a say in a reading."""
    if unknown.what == "horn":
        return True
    if unknown.what == "partial":
        return unknown.name == str(reading.partial)
    if unknown.what == "tube":
        return bool(reading.place_mm)
    if reading.position is not None and reading.place_mm is None:
        return False                   # true by ear: the loops take no part
    return unknown.name in reading.valves and (unknown.what == "loop" or horn.master in reading.valves)


def per_cent(horn: Horn, unknown: Unknown) -> float:
    """How much of the open tube one cent of a loop is, where it is the only one (with what it needs). [ratio]

    0 for what is no loop.
    """
    loops = {loop.name: loop for loop in horn.loops}
    if unknown.what not in ("loop", "second loop"):
        return 0.0
    loop = loops[unknown.name]
    before = 1 + (loops[loop.needs].share if loop.needs else 0.0)
    if unknown.what == "second loop":
        before = 1 + loops[horn.master].share
    return (before + loop.share) * log(2) / 1200


def _fitted(horn: Horn, found: Sequence[Found], name: str, why: str) -> Horn:
    """Return the horn with what was found; all else stays."""

    def evidence(one: Found, unit: str) -> Evidence:
        sure = f"±{one.sounds_plus_minus:.1f} {unit} ({CONFIDENCE:.0%} confidence)"
        return Evidence(kind="measured", why=why, range=sure)

    told = {(one.unknown.what, one.unknown.name): one for one in found if one.state != "kept"}
    loops = []
    for loop in horn.loops:
        new, second = told.get(("loop", loop.name)), told.get(("second loop", loop.name))
        # Each loop is a tube of its own: where one is longer, the other stays as it was.
        long = second_share(horn, loop)
        if second:
            long += second.change * per_cent(horn, second.unknown)
        if new:
            loop = replace(loop, share=loop.share + new.change * per_cent(horn, new.unknown),
                           evidence=evidence(new, "cents"))
        loops.append(replace(loop, second_share=long or None))
    own = replace(horn, name=name)
    if any(what in ("loop", "second loop") for what, _ in told):
        own = with_loops(own, loops)
    if whole := told.get(("horn", "")):
        own = with_offset(own, EVERY_PARTIAL, whole.change, evidence(whole, "cents"))
    for one in told.values():
        if one.unknown.what == "partial":
            own = with_offset(own, (int(one.unknown.name),), one.change, evidence(one, "cents"))
    if longer := told.get(("tube", "")):
        own = replace(own, tube=Quantity(value=horn.tube_mm * (1 + longer.change / 100),
                                         evidence=evidence(longer, "per cent")))
    return own
