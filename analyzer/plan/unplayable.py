"""Why a note cannot be played, by one list of codes and in one set of words, for every command that says so.

`map` puts it beside the note, `review` adds remedies, `fit` and `ready` tell it of a player: the same note has the same
code and the same sentence everywhere.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, sounding_range
from analyzer.horns.horn import Horn
from analyzer.pitch import pitch_of
from analyzer.plan.costs import keeps_gliss
from analyzer.plan.player import Player
from analyzer.score.lines import LineNote
from analyzer.words import shown

UnplayableCode = Literal["beyond-horn", "out-of-range", "long-reach"]
"""``beyond-horn``: nothing sounds it on this horn; ``out-of-range``: all that does needs a valve state that this player
has not learned or cannot press; ``long-reach``: all that is learned lies beyond this player's reach."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why one note cannot be played. `how` goes on from the note's name; `try_` holds whatever stands around it."""

    code: UnplayableCode
    how: str
    try_: str


def why_not(horn: Horn, player: Player, midi: int) -> Reason | None:
    """Say why a player cannot play a sounding pitch on a horn; None where the plan has a choice for it.

    Examples
    --------
    >>> from analyzer.horns.profiles import load_horn
    >>> why_not(load_horn("tenor"), Player(), 39).how
    'cannot be played on tenor: it has no notes between B♭1 and E2'
    """
    possible = candidates(horn, midi)
    if not possible:
        return Reason(code="beyond-horn", how=f"cannot be played on {horn.name}: {_outside(horn, midi)}",
                      try_="The review names horns, octaves and chord tones that work here (lowbrass review).")
    held = [choice for choice in possible if player.can_hold(choice.valves)]
    learned = [one for one in held if player.knows(one.valves)]
    if not learned:
        labels = ", ".join(dict.fromkeys(shown(one.label) for one in held or possible))
        if not held:
            return Reason(code="out-of-range", try_="Give the note to another player; the review names other notes.",
                          how=f"needs {labels}, and {whose(player)} hand does not press {' or '.join(player.cannot)}")
        return Reason(code="out-of-range", how=f"needs {labels}, which {_who(player)} has not learned",
                      try_="Teach it first, or give the note to another player.")
    nearest_mm = min(choice.out_mm for choice in learned)
    if nearest_mm > player.reach_on(horn):
        return Reason(code="long-reach", try_="Never lunge for it; the review names other ways (lowbrass review).",
                      how=f"is {nearest_mm:.0f} mm out, beyond {whose(player)} reach of "
                          f"{player.reach_on(horn):.0f} mm")
    return None


def _outside(horn: Horn, midi: int) -> str:
    low, high = sounding_range(horn)
    if midi < low:
        return f"its lowest note is {pitch_of(low).pretty}"
    if midi > high:
        return f"its highest note (partial 12) is {pitch_of(high).pretty}"
    under = next(other for other in range(midi, low - 1, -1) if candidates(horn, other))
    over = next(other for other in range(midi, high + 1) if candidates(horn, other))
    return f"it has no notes between {pitch_of(under).pretty} and {pitch_of(over).pretty}"


def _who(player: Player) -> str:
    return "this player" if player.name == "player" else player.name


def whose(player: Player) -> str:
    """Return a player's name in the possessive, for a sentence."""
    return f"{_who(player)}'s"


def broken_glissandi(horn: Horn, notes: Sequence[LineNote], choices: Sequence[Candidate | None]) -> tuple[int, ...]:
    """Return the notes whose glissando leaves its partial or valve combination; on valves, every real one."""
    return tuple(
        k for k, ((note, after), (a, b)) in enumerate(zip(pairwise(notes), pairwise(choices), strict=True))
        if note.gliss_after and not (a is not None and b is not None and keeps_gliss(a, b))
        and (horn.family == "slide" or note.midi != after.midi))
