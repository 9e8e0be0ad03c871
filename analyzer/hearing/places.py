"""Which place of the slide a note was played at, where the recording tells: by the glide into it or out of it.

Two places that give a note the same pitch cannot be told apart while it stands. But where the slide arrives late, the
note begins at the pitch that its tube gives at the place of the note before: from first to fourth it comes from above,
from second to first from below, and never from farther than the whole way. Every place that the horn has for a note is
held as likely as any other, whatever the plan says; what the glides leave of that is reckoned along the line.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import exp, pi, sqrt
from statistics import median, pstdev
from typing import Literal

from analyzer.analysis import Planned
from analyzer.hearing.arrival import LATE_CENTS, LATE_MS, PAUSE_S, cents_at
from analyzer.hearing.notes import Sounded
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import possible
from analyzer.words import shown

SURE = 0.9
"""A place is named from this probability on; judged: one name in ten may be wrong at worst."""
_BLUR_CENTS = 18.0                     # of a pitch while a tone begins
_FLAT_CENTS = 10.0                     # the first frames of a glide that has not begun yet vary so little
_FLAT_FRAMES = 4
_SHORTEST_CENTS = 40.0                 # shorter ways of the slide leave no glide that could be read
# How likely a glide is that no slide explains, per cent: a slip of the tracker, or a lip that scoops from below.
_SLIP, _SCOOP, _SCOOP_CENTS = 1e-5, 1e-3, -200.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a note was played: `choice` with the probability of it, None where it cannot be known; `why` in words."""

    choice: Candidate | None
    confidence: float
    kind: Literal["only", "glide", "unknown"]
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Step:
    """A note as it stands in the line: its ways, and the glide into it from the note before, None without one."""

    index: int
    ways: tuple[Candidate, ...]
    glide: float | None
    flat: float | None                 # where the glide began, if it stood still there first [cents]
    linked: bool                       # the note before is the step before


def places_of(counting: Mapping[int, Sounded], planned: Planned) -> dict[int, Place]:
    """Return for each note that was heard right on a slide where it was played, or that it cannot be known."""
    if planned.plan.horn.family != "slide":
        return {}
    steps = _steps(counting, planned)
    found = {}
    for first, last in _chains(steps):
        chain = steps[first:last]
        for step, shares in zip(chain, _shares(planned, chain), strict=True):
            found[step.index] = _place(step, shares, chain)
    return found


def _steps(counting: Mapping[int, Sounded], planned: Planned) -> list[_Step]:
    steps: list[_Step] = []
    before: Sounded | None = None
    for index, note in enumerate(planned.plan.notes):
        one = counting.get(index)
        if one is None or not one.near or note.choice is None:
            before = None
            continue
        ways = tuple(way for way in possible(planned.plan.horn, note.note.midi) if way.advice is None)
        if note.choice.label not in {way.label for way in ways}:
            ways = (*ways, note.choice)
        linked = before is not None and before.index == index - 1 and one.start_s - before.end_s < PAUSE_S
        glide, flat = _glide(one) if linked else (None, None)
        steps.append(_Step(index=index, ways=ways, glide=glide, flat=flat, linked=linked))
        before = one
    return steps


def _glide(one: Sounded) -> tuple[float | None, float | None]:
    """Return from how far a note came, and where it stood before it moved, None without a glide. [cents]"""
    if one.settle_ms is None or one.settle_ms <= LATE_MS or abs(one.excursion_cents) <= LATE_CENTS:
        return None, None
    early = [100 * value for value in one.early]
    near = [value for value in early if value * one.excursion_cents > 0]
    if len(near) < 0.8 * len(early) or len(near) < _FLAT_FRAMES:
        return None, None              # it wavered to both sides: no way of a slide
    head = near[1:1 + _FLAT_FRAMES]
    steps = [b - a for a, b in pairwise(near)]
    if max(abs(step) for step in steps) > 0.45 * abs(one.excursion_cents) and len(steps) > 6:
        return None, None              # it leapt: another partial, not a way
    flat = median(head) if len(head) == _FLAT_FRAMES and pstdev(head) < _FLAT_CENTS else None
    return one.excursion_cents, flat


def _chains(steps: Sequence[_Step]) -> list[tuple[int, int]]:
    """Return the stretches of notes that follow each other."""
    begins = [at for at, step in enumerate(steps) if not step.linked]
    return list(zip(begins, [*begins[1:], len(steps)], strict=True))


def _likely(planned: Planned, a: Candidate, b: Candidate, step: _Step) -> float:
    """Return how likely the glide into `b` is when the slide came from `a`; 1 without a glide, which tells nothing."""
    if step.glide is None:
        return 1.0
    way = cents_at(planned.plan.horn, b, a.extension_mm or 0.0)
    slip = _SCOOP if _SCOOP_CENTS < step.glide < 0 else _SLIP
    fits = step.glide * way > 0 and abs(step.glide) <= abs(way) + 1.5 * _BLUR_CENTS and abs(way) > _SHORTEST_CENTS
    if not fits:
        return slip
    within = 1 / abs(way)              # anywhere on the way, when the tongue came while the slide was moving
    if step.flat is None:
        return within + slip
    at_start = exp(-0.5 * ((step.flat - way) / _BLUR_CENTS) ** 2) / (_BLUR_CENTS * sqrt(2 * pi))
    return 0.8 * at_start + 0.2 * within + slip


def _shares(planned: Planned, chain: Sequence[_Step]) -> list[list[float]]:
    """Return for each note how probable each of its ways is: sums over all walks, forwards and backwards."""
    links = [[[_likely(planned, a, b, step) for b in step.ways] for a in before.ways]
             for before, step in pairwise(chain)]
    ahead = [[1.0] * len(chain[0].ways)]
    for link in links:
        ahead.append(_even([sum(ahead[-1][i] * link[i][j] for i in range(len(link))) for j in range(len(link[0]))]))
    behind = [[1.0] * len(chain[-1].ways)]
    for link in reversed(links):
        behind.insert(0, _even([sum(link[i][j] * behind[0][j] for j in range(len(link[0]))) for i in range(len(link))]))
    return [_even([a * b for a, b in zip(*pair, strict=True)]) for pair in zip(ahead, behind, strict=True)]


def _even(values: list[float]) -> list[float]:
    total = sum(values)
    return [value / total for value in values]


def _place(step: _Step, shares: Sequence[float], chain: Sequence[_Step]) -> Place:
    best = max(range(len(shares)), key=lambda k: shares[k])
    way, share = step.ways[best], shares[best]
    if len(step.ways) == 1:
        return Place(choice=way, confidence=1.0, kind="only", why="It can be played nowhere else on this horn.")
    if share >= SURE:
        return Place(choice=way, confidence=share, kind="glide", why="The glide into it or out of it tells the place.")
    names = " and ".join(shown(one.label) for one, part in sorted(
        zip(step.ways, shares, strict=True), key=lambda pair: -pair[1])[:2] if part > 0)
    after = chain[chain.index(step) + 1] if chain.index(step) + 1 < len(chain) else None
    glided = step.glide is not None or (after is not None and after.glide is not None)
    return Place(choice=None, confidence=share, kind="unknown",
                 why=f"The glide fits {names} alike." if glided else
                     f"No glide was heard, and {names} give the same pitch.")
