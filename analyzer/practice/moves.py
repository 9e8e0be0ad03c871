"""The hard moves of a plan, ranked: frequency × difficulty × not yet learned.

A move is a step between two neighbouring notes, told by both pitches and both choices. Its difficulty is the sum of
three shares, each about 0 to 1:

- *far*: way over the whole slide; on valves, fingers that change over the number of valves;
- *fast*: the load of slide or valves, 1 at what the player can do (`plan.loads`), at most 2;
- *tune*: what the worse of the two notes is off, over what the lip bends without harm, at most 2.

`NEW_FACTOR` multiplies it where one end is in a valve state that the player has not learned; a move that the player
file calls secure is left out. The rank counts how often the move comes. The sum of shares is judged: doubling one of
them exchanges neighbours in the ranking, and the teacher sees the shares and can take another move.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from analyzer.horns.candidate import Candidate, slide_mm
from analyzer.pitch import Pitch
from analyzer.plan.limits import peak_mm_s
from analyzer.plan.plan import Plan, PlannedNote
from analyzer.plan.player import Player
from analyzer.plan.progress import Pair
from analyzer.plan.slurs import Slur, slur_kind
from analyzer.plan.solve import Planner
from analyzer.words import shown

NEW_FACTOR = 2.0
"""Judged: a new valve state counts like the same move twice as often; from 1.5 to 4 new states stay in front."""
FAR = 0.4
"""Share of the slide from which a move is called far; judged: 260 mm, three positions and more."""
FAR_FINGERS = 0.7
"""The same for the share of the valves that change; judged: three of three or four, not an everyday change of two."""
FAST = 0.6
"""Share of what the player can do from which a move is called fast; judged."""

_FEW = 5
_SLURS: Mapping[Slur, str] = {
    "valve": "slurred by the valve", "lip": "slurred by the lips", "natural": "slurred: no tongue",
    "with grain": "slurred: light legato tongue", "smear": "slurred: legato tongue"}


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeMove:
    """One move of the plan with its rank; `count` times in the music, first in `measures`.

    `gap_s` is the least time from attack to attack [s], `distance_mm` the slide's way and `peak_speed_mm_s` its
    greatest speed (None without a slide), `off_cents` of the worse note. `kinds` is among new, far, fast, tune;
    `slurred` tells whether the music slurs it anywhere.
    """

    before: Candidate
    after: Candidate
    before_pitch: Pitch                # sounding
    after_pitch: Pitch
    count: int
    measures: tuple[str, ...]
    gap_s: float
    distance_mm: float | None
    peak_speed_mm_s: float | None
    off_cents: float
    far: float
    fast: float
    tune: float
    kinds: tuple[str, ...]
    slurred: bool

    @property
    def difficulty(self) -> float:
        """Sum of the three shares."""
        return self.far + self.fast + self.tune

    @property
    def score(self) -> float:
        """Frequency × difficulty × not yet learned."""
        return self.count * self.difficulty * (NEW_FACTOR if "new" in self.kinds else 1.0)

    @property
    def moves_hand(self) -> bool:
        """True where position or valves change; a lip slur is no move of the hand."""
        return self.before.label != self.after.label

    @property
    def pair(self) -> frozenset[tuple[int, str]]:
        """Both ends, whichever comes first: what is practiced in both directions is one."""
        return frozenset(((self.before.midi, self.before.label), (self.after.midi, self.after.label)))

    @property
    def name(self) -> str:
        """Such as ``C3 (T1) to Bb2 (1)``, sounding."""
        return (f"{self.before_pitch.name} ({self.before.label}) to "
                f"{self.after_pitch.name} ({self.after.label})")

    @property
    def pretty(self) -> str:
        """The labels as print shows them: ``T1–1``, valves ``1-3 → 0``."""
        return f"{shown(self.before.label)} → {shown(self.after.label)}"


def ranked_moves(planner: Planner, plan: Plan, learner: Player) -> tuple[PracticeMove, ...]:
    """Return the moves of a plan: those that are new, far, fast or out of tune, the hardest first, then the others.

    `learner` tells what is learned and what is secure; secure moves are left out.
    """
    secure = learner.secure_ways
    found: dict[tuple[int, str, int, str], list[tuple[PlannedNote, PlannedNote]]] = {}
    for a, b in pairwise(plan.notes):
        if a.choice is None or b.choice is None or (a.choice.label == b.choice.label and a.note.midi == b.note.midi):
            continue
        if (a.choice.label, b.choice.label) in secure:
            continue
        found.setdefault((a.note.midi, a.choice.label, b.note.midi, b.choice.label), []).append((a, b))
    moves = [_move(planner, pairs, learner) for pairs in found.values()]
    ranked = sorted((move for move in moves if move.score > 0), key=lambda move: -move.score)
    return (*[move for move in ranked if move.kinds], *[move for move in ranked if not move.kinds])


def hard_moves(moves: Sequence[PracticeMove]) -> Sequence[PracticeMove]:
    """Return those of ranked moves that are new, far, fast or out of tune; where none is, the few that ask for most."""
    return [move for move in moves if move.kinds] or moves[:_FEW]


def slur_of(move: PracticeMove) -> str:
    """Say in short how a slurred move is joined; empty where the music never slurs it, and on valves alone."""
    if not move.slurred or move.distance_mm is None:
        return ""
    return _SLURS[slur_kind(move.before, move.after, 1 if move.after.midi > move.before.midi else -1)]


def secure_moves(plan: Plan, learner: Player) -> tuple[Pair, ...]:
    """Return the secure moves that the plan holds, as the player file names them."""
    held = {(a.choice.label, b.choice.label) for a, b in pairwise(plan.notes) if a.choice and b.choice}
    return tuple(pair for pair in learner.secure if pair in held or pair[::-1] in held)


def _move(planner: Planner, pairs: list[tuple[PlannedNote, PlannedNote]], learner: Player) -> PracticeMove:
    horn = planner.horn
    a, b = min(pairs, key=lambda pair: (planner.loads.free[pair[0].index], planner.moves[pair[0].index].move_s))
    one, other = a.choice, b.choice
    assert one is not None
    assert other is not None
    step = planner.moves[a.index]
    distance: float | None = None
    peak: float | None = None
    if horn.family == "slide":
        distance = slide_mm(one, other)
        peak = peak_mm_s(distance, step.move_s)
        far = distance / horn.slide_end_mm
    else:
        changed = set(one.valves) ^ set(other.valves)
        far = len(changed) / max(1, len(horn.loop_names))
    fast = max(planner.loads.hand(a.index, one, other))
    off = max((one.off_cents, other.off_cents), key=abs)
    lip = max(1.0, horn.lip_reach.value)
    new = not (learner.knows(one.valves) and learner.knows(other.valves))
    is_far = far >= (FAR if distance is not None else FAR_FINGERS)
    kinds = [name for name, true in (("new", new), ("far", is_far), ("fast", fast >= FAST), ("tune", abs(off) > lip))
             if true]
    return PracticeMove(
        before=one, after=other, before_pitch=a.note.sounding, after_pitch=b.note.sounding,
        count=len(pairs), measures=tuple(dict.fromkeys(pair[0].note.measure for pair in pairs)), gap_s=step.next_s,
        distance_mm=distance, peak_speed_mm_s=peak, off_cents=off, far=far, fast=min(fast, 2.0),
        tune=min(abs(off) / lip, 2.0), kinds=tuple(kinds), slurred=any(pair[0].note.slur_after for pair in pairs))
