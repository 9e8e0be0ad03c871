"""The choice that a printed chart would give, picked from the possible ones."""

from collections.abc import Sequence

from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn
from analyzer.horns.tubing import HIGHEST_PARTIAL, nominal_semitones

LAST_HANDY_POSITION = 5
"""Open choices beyond it give way to the attachment (common practice, no source; in the data contract)."""
FAR_POSITION = LAST_HANDY_POSITION + 1
"""From this position of the open slide on a note counts as far out."""

BOTH_VALVES_FROM = 4
"""Semitones above the pedal from which, going down, a bass trombone takes both valves: D2 (common practice)."""

OUT_OF_TUNE_PARTIALS = (7, 11)
"""31 and 49 cents flat of their notes; printed charts of valved horns leave them out (derived, S11)."""


def usual(horn: Horn, midi: int, choices: Sequence[Candidate], ceiling_midi: int | None) -> Candidate | None:
    """Return the usual one of `choices`, or None where there is none.

    `ceiling_midi` is the highest sounding pitch that takes the attachment where an open choice exists.
    """
    if not choices:
        return None
    if horn.family == "valves":
        return _printed(horn, midi, choices) or min(choices, key=_least_wrong)
    return _usual_slide(horn, midi, choices, ceiling_midi) or min(choices, key=_least_wrong)


def _least_wrong(choice: Candidate) -> tuple[float, int, int]:
    return (round(abs(choice.off_cents), 3), len(choice.valves), choice.partial)


def _near_first(choice: Candidate) -> tuple[int, int]:
    return (choice.position or 0, choice.partial)


def _usual_slide(
    horn: Horn, midi: int, choices: Sequence[Candidate], ceiling_midi: int | None
) -> Candidate | None:
    in_tune = [choice for choice in choices if choice.advice is None]

    def nearest(valves: tuple[str, ...]) -> Candidate | None:
        return min((c for c in in_tune if c.valves == valves), key=_near_first, default=None)

    plain = nearest(())
    names = horn.loop_names
    if not names or (plain and (plain.position or 0) <= LAST_HANDY_POSITION):
        return plain
    if plain and ceiling_midi is not None and midi > ceiling_midi:
        return plain
    both = nearest(names) if len(names) > 1 and midi <= horn.fundamental_midi + BOTH_VALVES_FROM else None
    one = nearest(names[:1])
    # F2 (and the pedal under it) stays open in 6th: the first position of the attachment speaks flat there.
    if plain and one and one.position == 1 and one.partial <= 2:
        one = None
    rest = (nearest(names[:end]) for end in range(len(names), 0, -1)) if plain is None else ()
    return both or one or plain or next((choice for choice in rest if choice), None)


def _printed(horn: Horn, midi: int, choices: Sequence[Candidate]) -> Candidate | None:
    for partial in range(1, HIGHEST_PARTIAL + 1):
        down = horn.fundamental_midi + nominal_semitones(partial) - midi
        if partial in OUT_OF_TUNE_PARTIALS or down < 0:
            continue
        # The lowest partial that is not below the note is the one that charts print; a lower one cannot fit.
        valves = next((entry.valves for entry in horn.printed if entry.down == down), None)
        return next((c for c in choices if c.partial == partial and c.valves == valves), None)
    return None
