"""Every physically possible way to sound a pitch on a horn, the usual one first."""

from dataclasses import replace
from functools import cache

from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn, Valves
from analyzer.horns.tubing import (
    HIGHEST_PARTIAL,
    State,
    extension_mm,
    free_place_mm,
    lowered_cents,
    nominal_semitones,
    state,
)
from analyzer.horns.tubing import (
    states as states,  # the list of valve states belongs to the same door
)
from analyzer.horns.usual import usual

SHADE_CENTS = 20
"""From here on a slide beside its place is marked: the words of the data contract."""


def possible(horn: Horn, midi: int) -> list[Candidate]:
    """Return the choices for a sounding pitch, by valve state, then by partial; no order of merit."""
    sound = _slide_choice if horn.family == "slide" else _valve_choice
    found = (
        sound(horn, state(horn, valves), partial, midi)
        for valves in states(horn)
        for partial in range(1, HIGHEST_PARTIAL + 1)
    )
    return [choice for choice in found if choice is not None]


def _needed_cents(horn: Horn, held: State, partial: int, midi: int) -> float:
    """How far the whole tube must lower the horn so that `partial` sounds `midi`. [cents]"""
    return held.partial_cents[partial - 1] + 100 * (horn.fundamental_midi - midi)


def _slide_choice(horn: Horn, held: State, partial: int, midi: int) -> Candidate | None:
    position = horn.fundamental_midi + nominal_semitones(partial) - held.semitones - midi + 1
    needed = _needed_cents(horn, held, partial, midi)
    # Only the first position can fail to come in far enough; what it lacks there is heard as flatness.
    if position < 1 or needed < held.cents - horn.flat_limit.value:
        return None
    half_mm = horn.tube_mm / 2
    out_mm = extension_mm(needed, ratio=held.ratio, tube_mm=horn.tube_mm)
    if out_mm > horn.slide_end_mm:
        return None
    off_cents = 0.0
    if out_mm < 0:
        out_mm, off_cents = 0.0, needed - held.cents
    place_mm = place_in_reach_mm(horn, held.valves, position)
    tube = held.ratio + out_mm / half_mm
    beside = lowered_cents(tube / (held.ratio + place_mm / half_mm))
    shade = "#" if beside <= -SHADE_CENTS else "b" if beside >= SHADE_CENTS else ""
    advice = None
    if off_cents < -horn.lip_reach.value:
        advice = f"{-off_cents:.0f} cents flat: the slide is already all the way in"
    return Candidate(
        midi=midi, valves=held.valves, partial=partial, position=position, shade=shade,
        extension_mm=out_mm, off_cents=off_cents, advice=advice,
    )


def aimed(horn: Horn, choice: Candidate, target_cents: float) -> Candidate:
    """Return a choice with the slide where a pitch beside equal temperament sounds; its label stays.

    Parameters
    ----------
    horn : Horn
        The horn of the choice.
    choice : Candidate
        As `possible` gives it.
    target_cents : float
        How far above equal temperament the note belongs. [cents]

    Returns
    -------
    Candidate
        `off_cents` counts from the target: 0 where the slide reaches it; below 0 in first position, where a slide comes
        in no farther; above 0 at the slide's end; what the valves give on a horn without a slide.
    """
    if not target_cents:
        return choice
    held = state(horn, choice.valves)
    if choice.extension_mm is None:
        off_cents = choice.off_cents - target_cents
        return replace(choice, off_cents=off_cents, target_cents=target_cents,
                       advice=_valve_advice(horn, held, off_cents))
    needed = _needed_cents(horn, held, choice.partial, choice.midi) - target_cents
    free_mm = extension_mm(needed, ratio=held.ratio, tube_mm=horn.tube_mm)
    out_mm = min(max(0.0, free_mm), horn.slide_end_mm)
    off_cents = 0.0
    if free_mm != out_mm:
        off_cents = needed - lowered_cents(held.ratio + out_mm / (horn.tube_mm / 2))
    advice = choice.advice
    if off_cents < -horn.lip_reach.value:
        advice = f"{-off_cents:.0f} cents below its chord: the slide is already all the way in"
    elif choice.off_cents < -horn.lip_reach.value:
        advice = None                      # flat of equal temperament, and its chord wants it there
    return replace(choice, extension_mm=out_mm, off_cents=off_cents, advice=advice, target_cents=target_cents,
                   shift_mm=out_mm - choice.extension_mm)


def place_in_reach_mm(horn: Horn, valves: tuple[str, ...], position: int) -> float:
    """Place of a position, held between the stop and the end of the slide. [mm]"""
    return min(max(0.0, free_place_mm(horn, valves, position)), horn.slide_end_mm)


def _valve_choice(horn: Horn, held: State, partial: int, midi: int) -> Candidate | None:
    off_cents = _needed_cents(horn, held, partial, midi) - held.cents
    down = horn.fundamental_midi + nominal_semitones(partial) - midi
    # Beyond half a semitone the tube sounds nearer to the note above; only what players call this note's is kept.
    sharp_limit = horn.sharp_limit.value if _is_named(horn, held, down) else min(50.0, horn.sharp_limit.value)
    if not -horn.flat_limit.value <= off_cents <= sharp_limit:
        return None
    return Candidate(
        midi=midi, valves=held.valves, partial=partial, position=None, shade="", extension_mm=None,
        off_cents=off_cents, advice=_valve_advice(horn, held, off_cents),
    )


def _is_named(horn: Horn, held: State, down: int) -> bool:
    """Whether the valves' nominal intervals add up to `down` semitones, or a chart prints them for it."""
    nominal = sum(loop.semitones for loop in horn.loops if loop.name in held.valves)
    return nominal == down or any(entry.down == down and entry.valves == held.valves for entry in horn.printed)


def _valve_advice(horn: Horn, held: State, off_cents: float) -> str | None:
    if abs(off_cents) <= horn.lip_reach.value:
        return None
    if off_cents < 0:
        return f"{-off_cents:.0f} cents flat: no slide can be pushed in that far"
    fourth = "4" in horn.loop_names and {"1", "3"} <= set(held.valves) and "4" not in held.valves
    instead = "2-4" if "2" in held.valves else "4"
    return f"{off_cents:.0f} cents sharp: pull a slide{f' or take {instead}' if fourth else ' or lip it down'}"


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
