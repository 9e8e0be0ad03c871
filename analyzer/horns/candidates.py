"""Every way to sound a pitch on a horn, the usual one first."""

from functools import cache

from analyzer.horns.candidate import Candidate
from analyzer.horns.choices import SHADE_CENTS, place_in_reach_mm, possible
from analyzer.horns.horn import Horn, Valves
from analyzer.horns.tubing import (
    HIGHEST_PARTIAL,
    free_place_mm,
    lowered_cents,
    nominal_semitones,
    state,
)
from analyzer.horns.tubing import (
    states as states,  # the list of valve states belongs to the same door
)
from analyzer.horns.usual import usual

DEFAULT_CEILING_MIDI = 48
"""C3 sounding: the attachment's usual ceiling (common practice, no source; in the data contract)."""


@cache
def candidates(horn: Horn, midi: int) -> tuple[Candidate, ...]:
    """All physically possible choices for a sounding pitch on partials 1 to 12.

    Parameters
    ----------
    horn : Horn
        The horn.
    midi : int
        Sounding pitch, A4 = 69.

    Returns
    -------
    tuple of Candidate
        The usual choice first (default ceiling), then those in tune before those with advice, fewer valves
        before more, near the first position before far, low partials before high. Empty where nothing sounds it.
    """
    choices = possible(horn, midi)
    first = usual(horn, midi, choices, DEFAULT_CEILING_MIDI)
    order = {valves: place for place, valves in enumerate(states(horn))}

    def merit(choice: Candidate) -> tuple[bool, bool, int, int, int, int]:
        return (
            choice is not first, choice.advice is not None, len(choice.valves), choice.position or 0,
            choice.partial, order[choice.valves],
        )

    return tuple(sorted(choices, key=merit))


@cache
def chart_choice(horn: Horn, midi: int, ceiling_midi: int | None = DEFAULT_CEILING_MIDI) -> Candidate | None:
    """Return the usual choice for a sounding pitch, None where no choice sounds it.

    `ceiling_midi` is the highest pitch at which the attachment is taken for a note that also has an open choice;
    None lifts it.
    """
    return usual(horn, midi, candidates(horn, midi), ceiling_midi)


@cache
def sounding_range(horn: Horn) -> tuple[int, int]:
    """Lowest and highest sounding pitch that has a choice [MIDI]; between them may be gaps.

    Raises
    ------
    ValueError
        If no pitch has one: the profile's limits contradict each other.
    """
    # The longest state and a whole octave more bound the search from below, partial 12 from above.
    lowest = horn.fundamental_midi - 24
    highest = horn.fundamental_midi + nominal_semitones(HIGHEST_PARTIAL) + 1
    sounding = [midi for midi in range(lowest, highest + 1) if candidates(horn, midi)]
    if not sounding:
        raise ValueError(f"{horn.name} sounds no pitch at all")
    return sounding[0], sounding[-1]


@cache
def positions(horn: Horn, valves: Valves = ()) -> int:
    """How many positions of a valve state's own scale the slide holds; 0 without a slide.

    A last position whose place lies less than a shade (20 cents) beyond the end of the slide still counts: it is
    that position, played a little in.
    """
    if horn.family != "slide":
        return 0
    half_mm = horn.tube_mm / 2
    end = state(horn, valves).ratio + horn.slide_end_mm / half_mm
    count = 0
    while True:
        place = state(horn, valves).ratio + free_place_mm(horn, valves, count + 1) / half_mm
        if lowered_cents(place / end) >= SHADE_CENTS:
            return count
        count += 1


def position_place_mm(horn: Horn, valves: Valves, position: int) -> float:
    """Place of a position of a valve state, equal-tempered, within what the slide allows. [mm from the stop]

    Raises
    ------
    ValueError
        If the horn has no slide, no such valve state, or the state no such position.
    """
    if not 1 <= position <= positions(horn, valves):
        raise ValueError(f"{horn.name} has no position {''.join(valves)}{position}")
    return place_in_reach_mm(horn, valves, position)
