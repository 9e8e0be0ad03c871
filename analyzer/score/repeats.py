"""Where playing may go on elsewhere: repeats, endings, D.C. and D.S."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction

from analyzer.score.signs import Signpost
from analyzer.score.timeline import Jump, Measure


@dataclass(slots=True)
class Bars:
    """The bar lines of one measure, as read."""

    forward: bool = False
    backward: bool = False
    endings: list[str] = field(default_factory=list)   # numbers of the endings that start here


def jumps_of(measures: Sequence[Measure], bars: dict[int, Bars], posts: Sequence[Signpost]) -> tuple[Jump, ...]:
    """Return all places where playing may leave the printed order.

    A repeat goes back to its start; the measure before a first ending goes on at every later ending of the group;
    D.C. goes to the beginning, D.S. to its segno, "to coda" to the coda. These signs act at the end of their measure
    (a "to coda" that stands at the beginning of a measure, at the end of the one before).
    """
    found: dict[tuple[int, int], None] = {}
    start = 0
    first_ending: int | None = None
    for index in range(len(measures)):
        here = bars.get(index)
        if here is None:
            continue
        if here.forward:
            start = index
            first_ending = None
        for numbers in here.endings:
            if first_ending is None or "1" in numbers.replace(",", " ").split():
                first_ending = index
            elif first_ending > 0:
                found[first_ending - 1, index] = None
        if here.backward:
            found[index, start] = None
            after = bars.get(index + 1)
            if after is None or not after.endings:
                start = index + 1
                if not here.endings:
                    first_ending = None
    for post in posts:
        if post.measure >= len(measures):
            continue
        if post.kind == "dacapo":
            found[post.measure, 0] = None
        elif post.kind == "dalsegno":
            target = _target(posts, "segno", post, before=True)
            if target is not None:
                found[post.measure, target.measure] = None
        elif post.kind == "tocoda":
            target = _target(posts, "coda", post, before=False)
            leave = post.measure - 1 if post.offset == 0 and post.measure > 0 else post.measure
            if target is not None and target.measure < len(measures):
                found[leave, _reached(target, measures)] = None
    return tuple(Jump(from_measure=leave, to_measure=reach) for leave, reach in sorted(found))


def _target(posts: Sequence[Signpost], kind: str, of: Signpost, *, before: bool) -> Signpost | None:
    fitting = [post for post in posts if post.kind == kind
               and (post.measure <= of.measure if before else post.measure > of.measure)]
    named = [post for post in fitting if of.name and post.name == of.name]
    chosen = named or fitting
    return (chosen[-1] if before else chosen[0]) if chosen else None


def _reached(post: Signpost, measures: Sequence[Measure]) -> int:
    at_end = post.offset > Fraction(0) and post.offset >= measures[post.measure].duration
    return min(post.measure + 1, len(measures) - 1) if at_end else post.measure
