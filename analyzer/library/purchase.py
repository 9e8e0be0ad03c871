"""What would open more music of a library to a section: one more horn, or something that a player learns.

By pitch alone: a line is open to a player with a horn if every note can be sounded in tune within reach, range and
the learned valve states, and its clefs are read. Speed is not asked, nor whether two lines want the same player:
`lowbrass fit` says that of one piece.
"""

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.library.best_sets import Alternatives, Chosen, best_set, met_by, minimal
from analyzer.library.demands import lines_of
from analyzer.library.survey import Record, Survey
from analyzer.pitch import pitch_of
from analyzer.plan.player import Player
from analyzer.plan.solve import allowed_choices
from analyzer.section.burden import takes
from analyzer.section.section import Member, Section

MOST_STEPS = 3
"""Sets of up to so many steps are looked for: more is no plan for a season."""
WIDEN_SEMITONES = 2
"""What a player's range may grow by in one step. Judged: a whole tone either way is a season's work for a developing
player; a teacher who reckons with more would change it."""

StepKind = Literal["buy", "learn", "lower", "higher", "read"]


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Step:
    """One thing to do: buy the horn `what`, or let `player` learn the valve state or clef `what`, or reach as far."""

    kind: StepKind
    what: str
    player: str = ""

    @property
    def text(self) -> str:
        """The step in words."""
        return {"buy": f"buy {self.what}", "learn": f"{self.player} learns {self.what}",
                "lower": f"{self.player} reaches down to {self.what}",
                "higher": f"{self.player} reaches up to {self.what}",
                "read": f"{self.player} reads {self.what} clef"}[self.kind]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What a line asks by pitch: its part's family, its sounding pitches [MIDI], its clefs."""

    family: str
    midis: tuple[int, ...]
    clefs: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """What a section opens of a library's `lines` now, what each step adds by itself, and the best few together.

    `singles` are (step, lines that it opens), the most first; `together` the best sets of 1, 2, … steps, as far as a
    larger one opens more.
    """

    owned: tuple[str, ...]
    lines: int
    open_now: int
    singles: tuple[tuple[Step, int], ...]
    together: tuple[Chosen[Step], ...]

    def as_json(self) -> Record:
        """Return the case as plain JSON values."""
        return {
            "owned": list(self.owned), "lines": self.lines, "open_now": self.open_now,
            "steps": [{"kind": step.kind, "what": step.what, "player": step.player or None, "text": step.text,
                       "adds_lines": lines} for step, lines in self.singles],
            "together": [{"steps": [step.text for step in one.steps], "open": one.met, "at_most": one.bound,
                          "exact": one.exact} for one in self.together],
        }


def purchase(survey: Survey, section: Section, *, most_steps: int = MOST_STEPS) -> Case:
    """Say what one more horn or one more thing learned would open, and the best few steps together."""
    asked = lines_asked(survey)
    hands = hands_of(section)
    needs: Counter[Alternatives[Step]] = Counter()
    for line, count in asked.items():
        needs[ways(line, hands, most_steps)] += count
    order = sorted({step for found in needs for way in found for step in way}, key=_cheapest_first)
    now = met_by(needs, frozenset())
    # Sorting keeps the order of equals.
    singles = sorted(((step, met_by(needs, frozenset((step,))) - now) for step in order), key=lambda one: -one[1])
    together: list[Chosen[Step]] = []
    for size in range(1, most_steps + 1):
        best = best_set(needs, order, size)
        if best.met > (together[-1].met if together else now):
            together.append(best)
    return Case(owned=tuple(sorted({hand.horn.name for hand in hands if hand.step is None})),
                lines=sum(asked.values()), open_now=now, together=tuple(together),
                singles=tuple(one for one in singles if one[1]))


def lines_asked(survey: Survey) -> Counter[Asked]:
    """Return what the lines of a survey ask and how many ask the same, each line once, whatever it was planned on."""
    last = (rows[-1] for rows in lines_of(survey))
    return Counter(Asked(family=row["family"], midis=tuple(int(midi) for midi in row["notes_by_pitch"]),
                         clefs=tuple(row["clefs"])) for row in last)


def _cheapest_first(step: Step) -> tuple[bool, float, Step]:
    """Sort key: of steps that open as much, learning comes before buying, and the lighter horn first."""
    return step.kind == "buy", load_horn(step.what).handling.weight_kg.value if step.kind == "buy" else 0.0, step


class Hand:
    """A player with a horn that is at hand, or would be after a purchase (`step`)."""

    def __init__(self, member: Member, horn: Horn, step: Step | None) -> None:
        self.member, self.horn, self.step = member, horn, step
        self._states: dict[int, tuple[str, ...] | None] = {}

    def states(self, midi: int) -> tuple[str, ...] | None:
        """Return the valve states that would sound a pitch in tune if one were learned; None where none need be."""
        if midi not in self._states:
            player = self.member.player
            self._states[midi] = None if _in_tune(self.horn, player, midi) else tuple(
                _in_tune(self.horn, replace(player, learned=None), midi))
        return self._states[midi]

    def learning(self, line: Asked, most: int) -> Collection[frozenset[Step]]:
        """Return the sets of things to learn, of `most` at most, that open a line to this player with this horn."""
        member = self.member
        needed = _wider(line, member)
        if needed is None:
            return ()
        if member.clefs is not None:
            needed |= {Step(kind="read", what=clef, player=member.name) for clef in line.clefs
                       if clef not in member.clefs}
        found: Collection[frozenset[Step]] = (frozenset(needed),)
        for states in {self.states(midi) for midi in line.midis} - {None}:
            learn = [Step(kind="learn", what=state, player=member.name) for state in states or ()]
            found = minimal((way | {one} for way in found for one in learn), most)
        return found


def hands_of(section: Section) -> tuple[Hand, ...]:
    """Return every player with every horn that could come to hand: any of a family (slide, valves) and pitch played.

    An alto is not bought for a tenor's player: it is another instrument to learn.
    """
    known = [load_horn(name) for name in horn_names()]
    hands = []
    for member in section.members:
        families = {horn.family for horn in member.horns}
        played = {(horn.family, horn.fundamental_midi) for horn in member.horns}
        had = {horn.name: horn for horn in (*member.horns, *(one for one in section.spare if one.family in families))}
        hands += [Hand(member, horn, None) for horn in had.values()]
        hands += [Hand(member, horn, Step(kind="buy", what=horn.name)) for horn in known
                  if horn.name not in had and (horn.family, horn.fundamental_midi) in played]
    return tuple(hands)


def ways(line: Asked, hands: Sequence[Hand], most: int) -> Alternatives[Step]:
    """Return the sets of steps, of `most` at most, that open a line to somebody; the empty one where it is open."""
    found: set[frozenset[Step]] = set()
    for hand in hands:
        if takes(hand.horn, line.family):
            bought = frozenset((hand.step,) if hand.step else ())
            found |= {bought | more for more in hand.learning(line, most)}
    return minimal(found, most)


def _wider(line: Asked, member: Member) -> set[Step] | None:
    """Return the widenings of a player's range that a line needs; None where they would be too wide."""
    player = member.player
    needed = set()
    bounds: tuple[tuple[StepKind, int | None, int], ...] = (
        ("lower", member.extreme_low if member.extreme_low is not None else player.low, -1),
        ("higher", member.extreme_high if member.extreme_high is not None else player.high, 1))
    for kind, bound, sign in bounds:
        beyond = 0 if bound is None else max(((midi - bound) * sign for midi in line.midis), default=0)
        if beyond > WIDEN_SEMITONES:
            return None
        if bound is not None and beyond > 0:
            needed.add(Step(kind=kind, what=pitch_of(bound + sign * WIDEN_SEMITONES).name, player=member.name))
    return needed


def _in_tune(horn: Horn, player: Player, midi: int) -> list[str]:
    """Return the valve states, as labels, in which a player sounds a pitch in tune."""
    join = "" if horn.family == "slide" else "-"
    return list(dict.fromkeys(join.join(one.valves) for one in allowed_choices(horn, player, midi)
                              if abs(one.off_cents) <= horn.lip_reach.value))
