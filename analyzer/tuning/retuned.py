"""A horn with loops of another length, slides pulled out, or partials moved: the same horn else."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache

from analyzer.evidence import Evidence
from analyzer.horns.horn import Horn, Loop, Offset, Quantity
from analyzer.horns.tubing import (
    HIGHEST_PARTIAL,
    loop_share,
    lowered_cents,
    nominal_semitones,
    second_share,
    state,
)
from analyzer.problem import unreadable

MAIN = "main"
"""Name of the main tuning slide beside the valves' names."""
EVERY_PARTIAL = tuple(range(1, HIGHEST_PARTIAL + 1))
MOST_OFFSET_CENTS = 60.0
"""A partial that lies farther off is of another note (a profile allows no more). [cents]"""


def slides(horn: Horn) -> tuple[str, ...]:
    """Return the slides that can be pulled: the main one, then each valve's in playing order."""
    return (MAIN, *horn.loop_names)


def pulled(horn: Horn, pulls_mm: Mapping[str, float], *, name: str = "") -> Horn:
    """Return the horn with slides pulled out, measured on one leg (two legs: twice the tubing). [mm, from 0]

    The main slide lengthens the open tube, of which every loop is then a smaller share. A compensating loop has no
    slide of its own and stays as it is.

    Raises
    ------
    ValueError
        If a slide is not there or is pushed in.
    Unreadable
        If the main slide takes the horn more than 60 cents down.
    """
    for slide, pull_mm in pulls_mm.items():
        if slide not in slides(horn) or pull_mm < 0:
            raise ValueError(f"{horn.name} has no slide {slide} to pull {pull_mm:g} mm")
    longer = 1 + 2 * pulls_mm.get(MAIN, 0.0) / horn.tube_mm
    loops = []
    for loop in horn.loops:
        pull_mm = pulls_mm.get(loop.name, 0.0)
        second = second_share(horn, loop) / longer
        evidence = _pulled(loop.evidence, f"pulled out {pull_mm:g} mm") if pull_mm else loop.evidence
        loops.append(replace(
            loop, share=(loop.share + 2 * pull_mm / horn.tube_mm) / longer, second_share=second or None,
            evidence=evidence))
    own = with_loops(replace(horn, name=name or f"{horn.name}-pulled"), loops)
    if longer == 1:
        return own
    evidence = _pulled(horn.tube.evidence, f"main slide pulled out {pulls_mm[MAIN]:g} mm")
    own = replace(own, tube=Quantity(value=horn.tube_mm * longer, evidence=evidence))
    return with_offset(own, EVERY_PARTIAL, -lowered_cents(longer), evidence)


def _pulled(before: Evidence, what: str) -> Evidence:
    origin = before.why or before.source
    return Evidence(kind="derived", source=before.source, why=f"{what}; before: {before.kind}, {origin}")


def with_loops(horn: Horn, loops: Sequence[Loop]) -> Horn:
    """Return the horn with other loops; attachments get the semitones and cents that their shares amount to."""
    if horn.family != "slide":
        return replace(horn, loops=tuple(loops))
    shares = {loop.name: loop.share for loop in loops}
    out = []
    for loop in loops:
        before = 1 + (shares[loop.needs] if loop.needs else 0.0)
        cents = lowered_cents((before + loop.share) / before)
        semitones = loop.semitones if abs(cents - 100 * loop.semitones) <= MOST_OFFSET_CENTS else round(cents / 100)
        out.append(replace(loop, semitones=semitones, flat_cents=cents - 100 * semitones))
    return replace(horn, loops=tuple(out))


@cache
def attachment_tuned(horn: Horn, midi: int) -> Horn:
    """Return the horn with its first attachment tuned so that a pitch is in tune in its first position.

    The tuning slide of the attachment is pushed in or pulled out by as much; what lies at the slide's end moves with
    it. The horn itself where it has no attachment in F, or the pitch does not lie in its first position.
    """
    if not horn.loops or horn.family != "slide":
        return horn
    loop, held = horn.loops[0], state(horn, horn.loop_names[:1])
    for partial in range(1, HIGHEST_PARTIAL + 1):
        if horn.fundamental_midi + nominal_semitones(partial) - held.semitones == midi:
            flat = held.cents - held.partial_cents[partial - 1] - 100 * (horn.fundamental_midi - midi)
            cents = loop.flat_cents - flat
            tuned = replace(loop, share=loop_share(loop.semitones, cents), flat_cents=cents,
                            evidence=_pulled(loop.evidence, f"tuned by {-flat:+.0f} cents for the first position"))
            return replace(horn, loops=(tuned, *horn.loops[1:]))
    return horn


def with_offset(horn: Horn, partials: tuple[int, ...], cents: float, evidence: Evidence) -> Horn:
    """Return the horn with some partials moved in every state; joins an offset of the same partials. [cents]

    Raises
    ------
    Unreadable
        If they would lie more than 60 cents off.
    """
    same = [offset for offset in horn.offsets if offset.valves is None and offset.partials == partials]
    total = cents + sum(one.cents for one in same)
    if abs(total) > MOST_OFFSET_CENTS:
        raise unreadable("out-of-tune", where=horn.name, what=f"the horn would stand {total:+.0f} cents off",
                         try_="Check the tuner's A and that notes are the ones that sound; then tune and read again.")
    rest = [offset for offset in horn.offsets if offset not in same]
    return replace(horn, offsets=(*rest, Offset(valves=None, partials=partials, cents=total, evidence=evidence)))
