"""How a slur joins two notes on a horn: by itself, by the lip, by a valve, or only with the tongue.

Where the slide moves against the pitch over a partial, the notes part by themselves; where it goes with the pitch, a
light tongue helps; a still slide leaves it to the lip, a valve parts the notes as well (W. Barrett, "Playing legato on
the trombone: a primer", trombone.org article 106). Within one partial only the tongue keeps a slur from becoming a
glissando (M. Everett, "Taking the mystery out of trombone legato").
"""

from collections import Counter
from typing import Literal

from analyzer.horns.candidate import Candidate
from analyzer.plan.plan import Plan
from analyzer.words import agreeing, measures_named

STILL_MM = 5.0
"""A slide that moves less than this stands still: hands tremble as much. Judged, nothing changes from 1 to 15."""

Slur = Literal["lip", "natural", "with grain", "smear", "valve"]
SAID: dict[Slur, str] = {
    "natural": "natural",
    "lip": "lip",
    "valve": "with the valve",
    "with grain": "light legato tongue",
    "smear": "need legato tongue",
}
"""How the notes part at each, the easiest first."""


def slur_kind(a: Candidate, b: Candidate, rising: int) -> Slur:
    """Return how a slur from `a` to `b` is made; `rising` is the sign of the step in pitch.

    A slide that stays in its position, and only tunes there, stands still.
    """
    if a.valves != b.valves:
        return "valve"
    change_mm = b.out_mm - a.out_mm
    if abs(change_mm) <= STILL_MM or (a.position, a.shade) == (b.position, b.shade):
        return "lip"
    if a.partial == b.partial:
        return "smear"
    return "with grain" if (change_mm < 0) == (rising > 0) else "natural"


def slurs_of(plan: Plan) -> tuple[Slur | None, ...]:
    """Return for each note how it is slurred to the next, None where it is not, or is the same note again."""
    kinds: list[Slur | None] = []
    for k, one in enumerate(plan.notes):
        after = plan.notes[k + 1] if k + 1 < len(plan.notes) else None
        if not one.note.slur_after or one.choice is None or after is None or after.choice is None:
            kinds.append(None)
            continue
        step = after.note.midi - one.note.midi
        kinds.append(slur_kind(one.choice, after.choice, (step > 0) - (step < 0)) if step else None)
    return tuple(kinds)


def slurs_said(plan: Plan) -> str:
    """Say in a sentence how slurred notes part, and where they smear without the tongue; empty where there are none."""
    kinds = slurs_of(plan)
    counts = Counter(kind for kind in kinds if kind)
    if not counts:
        return ""
    said = ", ".join(f"{counts[kind]} {words}" for kind, words in SAID.items() if counts[kind] and kind != "smear")
    where = measures_named([plan.notes[k].note.measure for k, kind in enumerate(kinds) if kind == "smear"])
    tongued = f"{counts['smear']} {agreeing(counts['smear'], 'need')} legato tongue ({where})" if where else ""
    return f"Slurs: {'; '.join(text for text in (said, tongued) if text)}."
