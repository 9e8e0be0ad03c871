"""Every physically possible way to sound one pitch, before practice has its say."""

from dataclasses import replace

from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn
from analyzer.horns.tubing import (
    HIGHEST_PARTIAL,
    State,
    extension_mm,
    free_place_mm,
    lowered_cents,
    nominal_semitones,
    state,
    states,
)

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
