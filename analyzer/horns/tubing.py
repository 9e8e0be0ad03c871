"""Tube length and pitch: the harmonic series, the slide, valve loops, compensating loops.

All formulas follow from two facts: a partial's frequency is its number times the fundamental, and the fundamental
falls as the tube grows, an equal-tempered semitone for each factor of ``2 ** (1 / 12)``.
"""

from dataclasses import dataclass
from functools import cache
from itertools import combinations
from math import log2

from analyzer.horns.horn import Horn, Loop, Valves
from analyzer.words import valves_text

HIGHEST_PARTIAL = 12


def nominal_semitones(partial: int) -> int:
    """Equal-tempered interval nearest to a partial, above the fundamental. [semitone]

    Examples
    --------
    >>> [nominal_semitones(n) for n in (1, 2, 5, 7, 11)]
    [0, 12, 28, 34, 42]
    """
    return round(12 * log2(partial))


def partial_deviation_cents(partial: int) -> float:
    """How far a partial of the harmonic series lies from its nearest equal-tempered note. [cents, + is sharp]

    Notes
    -----
    Derived: ``1200 * log2(n)`` less the nominal interval.

    Examples
    --------
    >>> round(partial_deviation_cents(7), 1)
    -31.2
    """
    return 1200 * log2(partial) - 100 * nominal_semitones(partial)


def length_ratio(lowered_cents: float) -> float:
    """Tube length over what it was, when the pitch falls by `lowered_cents`. [ratio]"""
    return float(2 ** (lowered_cents / 1200))


def lowered_cents(ratio: float) -> float:
    """How far the pitch falls when the tube grows to `ratio` times its length. [cents]

    Raises
    ------
    ValueError
        If the ratio is not above 0.
    """
    if ratio <= 0:
        raise ValueError("a tube length ratio must be above 0")
    return 1200 * log2(ratio)


def extension_mm(lowered_cents: float, *, ratio: float, tube_mm: float) -> float:
    """Where the slide stands so that the whole horn is `lowered_cents` below its open tube. [mm]

    Parameters
    ----------
    lowered_cents : float
        How far the tube, valve loops and slide together, lowers the horn. [cents]
    ratio : float
        Tube with the valves held and the slide in, over the open tube. [ratio], 1 or more.
    tube_mm : float
        Open tube, slide in. [mm]

    Returns
    -------
    float
        Travel from the stop [mm]; below 0 where the slide would have to go in further than it can.

    Examples
    --------
    >>> round(extension_mm(168.8, ratio=1, tube_mm=2960.2))  # F sharp 4 on partial 7
    152
    """
    return tube_mm / 2 * (length_ratio(lowered_cents) - ratio)


def loop_share(semitones: float, flat_cents: float = 0.0, *, on_share: float = 0.0) -> float:
    """Length of a valve loop over the open tube. [ratio]

    Parameters
    ----------
    semitones, flat_cents : float
        Interval by which the loop lowers the tube it is added to, and how much flatter it is tuned.
    on_share : float
        Share of the loops already in (the first valve's, for a dependent second one). [ratio], from 0.

    Examples
    --------
    >>> round(loop_share(5), 4)
    0.3348
    """
    before = 1 + on_share
    return before * (length_ratio(100 * semitones + flat_cents) - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A horn with certain valves held and its slide in.

    `ratio` is its tube over the open tube; `cents` how far that lowers the horn; `semitones` the nearest whole
    interval, in whose scale positions are counted. `partial_cents` holds for partials 1 to 12 how far each sounds
    above the fundamental of this state [cents], offsets of the horn included.
    """

    valves: Valves
    ratio: float
    cents: float
    semitones: int
    partial_cents: tuple[float, ...]


@cache
def states(horn: Horn) -> tuple[Valves, ...]:
    """Every valve state of a horn, open first, then by number of valves, then in playing order."""
    needs = {loop.name: loop.needs for loop in horn.loops}
    names = horn.loop_names
    return tuple(
        held
        for count in range(len(names) + 1)
        for held in combinations(names, count)
        if all(not needs[name] or needs[name] in held for name in held)
    )


def tube_ratio(horn: Horn, valves: Valves) -> float:
    """Tube with `valves` held over the open tube. [ratio]

    Plain loops add up. With the master valve of a compensating horn the air goes through the other valves a second
    time, and their second loops add up too.
    """
    held = [loop for loop in horn.loops if loop.name in valves]
    ratio = 1 + sum(loop.share for loop in held)
    if horn.master and horn.master in valves:
        ratio += sum(second_share(horn, loop) for loop in held)
    return ratio


def second_share(horn: Horn, loop: Loop) -> float:
    """Length of a valve's compensating loop over the open tube; 0 for the master and on other horns. [ratio]

    Where the profile tells no length, the second loop lengthens the valve in proportion to the master's tube.
    """
    if not horn.master or loop.name == horn.master:
        return 0.0
    if loop.second_share is not None:
        return loop.second_share
    return loop.share * next(one.share for one in horn.loops if one.name == horn.master)


@cache
def state(horn: Horn, valves: Valves) -> State:
    """Return one valve state of a horn.

    Raises
    ------
    ValueError
        If the horn has no such state.
    """
    if valves not in states(horn):
        raise ValueError(f"{horn.name} has no valve state {valves_text(valves, 'open')}")
    ratio = tube_ratio(horn, valves)
    cents = lowered_cents(ratio)
    offset = [0.0] * (HIGHEST_PARTIAL + 1)
    for entry in horn.offsets:
        if entry.valves is None or entry.valves == valves:
            for partial in entry.partials:
                offset[partial] += entry.cents
    return State(
        valves=valves, ratio=ratio, cents=cents, semitones=round(cents / 100),
        partial_cents=tuple(1200 * log2(n) + offset[n] for n in range(1, HIGHEST_PARTIAL + 1)),
    )


def free_place_mm(horn: Horn, valves: Valves, position: int) -> float:
    """Where equal temperament puts a position, the slide's own limits left aside. [mm; below 0 is inside the stop]

    The scale is that of the valve state: position `p` lowers the horn by the state's whole interval and ``p - 1``
    semitones more, counted from the open tube; what the state's own tubing already lowers is taken off.
    """
    held = state(horn, valves)
    return extension_mm(100 * (held.semitones + position - 1), ratio=held.ratio, tube_mm=horn.tube_mm)
