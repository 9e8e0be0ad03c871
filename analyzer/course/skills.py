"""The skills of a change of horn or clef: a graph in ``skills.toml``, and which of its skills a change asks for."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, chart_choice, states
from analyzer.horns.horn import Horn
from analyzer.horns.transition import ALIKE_CENTS
from analyzer.pitch import parse_pitch, pitch_of
from analyzer.plan.player import Player
from analyzer.plan.progress import Pair
from analyzer.words import valves_text
from analyzer.writing.readers import Clef

_FILE = Path(__file__).with_name("skills.toml")
_BASIC = (("1",), ("2",), ("1", "2"), ("2", "3"), ("1", "3"), ("1", "2", "3"))
STAFF: Mapping[str, tuple[int, int]] = {"bass": (18, 6), "tenor": (22, 6), "alto": (24, 4), "treble": (30, 2),
                                        "treble-b-flat": (30, 2)}
"""For each clef the bottom line, as a count of steps from C0, and the place of the line that the sign names (0 the
bottom line): G2 and F3, D3 and C4, F3 and C4, E4 and G4 (the MusicXML standard's clefs)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadSkill:
    """One thing to learn on the road to a horn or a clef.

    A note has it that meets all that is told of `states` (labels, empty for open), `positions`, `pitches` (sounding,
    MIDI), `holds` (a valve), `steps` (places on the staff, 0 the bottom line); a move, what is told of `into` (a state
    on one side alone), `into_valve` (a valve on one side alone), `both_hold`, `leap` (steps of the staff), with at
    least `slow_s` or at most `quick_s` from attack to attack [s]. `cited` tells that a source gives this
    place in the order. `notes` are those of the drill (`drill_notes`); a move has those of the music, a clef those of
    its staff.
    """

    id: str
    road: str
    name: str
    level: int
    needs: tuple[str, ...]
    cited: bool
    source: str
    listen: str
    drill: str
    notes: str = ""
    states: tuple[str, ...] | None = None
    positions: tuple[int, ...] | None = None
    pitches: tuple[int, ...] | None = None
    holds: str = ""
    into: str | None = None
    into_valve: str = ""
    both_hold: str = ""
    leap: int = 0
    slow_s: float | None = None
    quick_s: float | None = None
    steps: tuple[int, int] | None = None

    @property
    def short(self) -> str:
        """The name without its notes."""
        return self.name.split(":")[0]

    @property
    def is_move(self) -> bool:
        """Whether it is a move from note to note, not a note."""
        return self.into is not None or bool(self.into_valve or self.both_hold or self.leap)

    def has_note(self, midi: int, choice: Candidate, step: int | None) -> bool:
        """Tell whether a note so played is of this skill; `step` is its place on the staff to be learned."""
        if self.is_move:
            return False
        return ((self.states is None or state_of(choice) in self.states)
                and (self.positions is None or choice.position in self.positions)
                and (self.pitches is None or midi in self.pitches)
                and (not self.holds or self.holds in choice.valves)
                and (self.steps is None or (step is not None and self.steps[0] <= step <= self.steps[1])))

    def has_move(self, before: Candidate, after: Candidate, gap_s: float, steps: int | None) -> bool:
        """Tell whether a move is of this skill; `gap_s` from attack to attack, `steps` how far on the staff."""
        if not self.is_move or (self.slow_s is not None and gap_s < self.slow_s) or (
                self.quick_s is not None and gap_s > self.quick_s):
            return False
        if self.into is not None:
            return (state_of(before) == self.into) != (state_of(after) == self.into)
        if self.into_valve:
            return (self.into_valve in before.valves) != (self.into_valve in after.valves)
        if self.both_hold:
            return (self.both_hold in before.valves and self.both_hold in after.valves
                    and before.valves != after.valves)
        return steps is not None and abs(steps) >= self.leap


@dataclass(frozen=True, slots=True, kw_only=True)
class Goal:
    """What a change asks of a player: `skills` still to learn, easy before hard; `done`, what the player file has.

    `known` are the valve states (labels) that the player brings along. `barred` says of a skill why this player does
    not play it on the new horn.
    """

    before: Horn
    after: Horn
    clef: Clef | None
    player: Player
    skills: tuple[RoadSkill, ...]
    done: tuple[RoadSkill, ...]
    known: tuple[str, ...]
    barred: Mapping[str, str] = field(default_factory=dict)

    def needs(self, skill: RoadSkill) -> tuple[str, ...]:
        """Return what comes before a skill, of what is still to learn."""
        wanted = {one.id for one in self.skills}
        return tuple(need for need in skill.needs if need in wanted)

    def step(self, written_midi_step: int) -> int | None:
        """Return the place on the staff of the clef to be learned, of a written note counted in steps from C0."""
        return None if self.clef is None else written_midi_step - STAFF[self.clef][0]


def state_of(choice: Candidate) -> str:
    """Return the valve state as a label: ``T``, ``TS``, ``1-3``; empty when open."""
    return state_label(choice.valves)


def state_label(valves: tuple[str, ...]) -> str:
    """Return held valves as a player file names them; empty when open."""
    return "".join(valves) if valves and not valves[0].isdigit() else valves_text(valves, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Rules:
    """The judged numbers of ``skills.toml``."""

    most_a_week: int
    usual_a_week: int
    slow_s: float
    quick_s: float


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(_FILE.read_text(encoding="utf-8"))


def rules() -> Rules:
    """Return the rules of the data file."""
    return Rules(**_table()["rules"])


def sources() -> dict[str, str]:
    """Return the sources of the data file by key."""
    return dict(_table()["sources"])


@cache
def all_skills(clef: Clef | None = None) -> tuple[RoadSkill, ...]:
    """Return every skill of the data file, those of the clef placed on its staff."""
    return tuple(_skill(row, clef) for row in _table()["skill"])


def _skill(row: Mapping[str, Any], clef: Clef | None) -> RoadSkill:
    told = rules()
    steps = tuple(row["steps"]) if "steps" in row else None
    if "from_home" in row:
        home = STAFF[clef or "bass"][1]
        steps = (home + row["from_home"][0], home + row["from_home"][1])
        if row.get("inside"):
            steps = (max(0, steps[0]), min(8, steps[1]))
    return RoadSkill(
        id=row["id"], road=row["road"], name=row["name"], level=row["level"], needs=tuple(row.get("needs", ())),
        cited=row["order"] == "cited", source=sources()[row["source"]], listen=row["listen"], drill=row["drill"],
        notes=row.get("notes", ""), states=tuple(row["states"]) if "states" in row else None,
        positions=tuple(row["positions"]) if "positions" in row else None,
        pitches=tuple(parse_pitch(name).midi for name in row["pitches"]) if "pitches" in row else None,
        holds=row.get("holds", ""), into=row.get("into"), into_valve=row.get("into_valve", ""),
        both_hold=row.get("both_hold", ""), leap=row.get("leap", 0), slow_s=told.slow_s if row.get("slow_s") else None,
        quick_s=told.quick_s if row.get("quick_s") else None, steps=steps)


def roads(before: Horn, after: Horn, player: Player, clef: Clef | None = None) -> tuple[str, ...]:
    """Return which roads lead from one horn to the other, and to the clef.

    A valve that the player's file does not call learned is still to learn, also where the old horn has it.
    """
    same = before.family == after.family
    found = []
    if not same and after.family == "slide":
        found.append("slide")
    elif after.family == "valves" and not (same and all(player.knows(valves) for valves in _BASIC)):
        found.append("valves")
    had = [valve for valve in before.loop_names if same and player.knows((valve,))]
    for valve, road in (("T", "attachment"), ("S", "second-valve"), ("4", "fourth-valve")):
        if valve in after.loop_names and valve not in had:
            found.append(road)
    if after.master and not before.master and "4" in after.loop_names and "4" in had:
        found.append("compensating")
    if clef is not None:
        found.append("clef")
    return tuple(found)


def goal_of(before: Horn, after: Horn, player: Player, clef: Clef | None = None) -> Goal:
    """Return what a change asks of a player, less what the player file calls learned or secure."""
    told = set(player.learned or ())
    held = {state_label(valves) for valves in states(after)}
    had = {state_label(valves) for valves in states(before) if player.knows(valves)} \
        if before.family == after.family else set()
    known = (had & held) | (told & held) | ({""} if before.family == after.family else set())
    ways = roads(before, after, player, clef)
    wanted = sorted((skill for skill in all_skills(clef) if skill.road in ways and _on(skill, before, after, held)
                     and not (skill.road == "valves" and skill.states is not None and set(skill.states) <= had)),
                    key=lambda skill: skill.level)
    done = tuple(skill for skill in wanted if _done(skill, after, told, player))
    left = tuple(skill for skill in wanted if skill not in done)
    learner = learner_of(player)
    barred = {skill.id: why for skill in left if (why := _barred(skill, before, after, learner))}
    return Goal(before=before, after=after, clef=clef, player=player, skills=left, done=done,
                known=tuple(sorted(known)), barred=barred)


def learner_of(player: Player) -> Player:
    """Return the player with every valve state learned: what stands in the music, not what is left undone."""
    return replace(player, learned=None)


def _on(skill: RoadSkill, before: Horn, after: Horn, held: set[str]) -> bool:
    """Tell whether the new horn has it, and (on a compensating horn) whether it is other than on the old one."""
    if skill.states is not None and not set(skill.states) & held:
        return False
    if skill.into is not None and skill.into not in held:
        return False
    if skill.positions is not None or skill.road == "valves":
        # D2 is no longer on the attachment alone where there is a second valve, nor C3 on 1-3 where there is a fourth.
        return any(skill.has_note(midi, choice, None) for midi in range(24, 84)
                   if (choice := chart_choice(after, midi)))
    if skill.pitches is None or not skill.holds:
        return True
    new = [choice for midi in skill.pitches if (choice := chart_choice(after, midi))]
    if skill.road != "compensating":
        return any(skill.holds in choice.valves for choice in new)
    old = [choice for midi in skill.pitches if (choice := chart_choice(before, midi))]
    return bool(new) and (not old or old[0].label != new[0].label
                          or abs(old[0].off_cents - new[0].off_cents) >= ALIKE_CENTS)


def _done(skill: RoadSkill, after: Horn, told: set[str], player: Player) -> bool:
    """Tell whether the player file calls it learned (a state alone) or secure (a move to or from such a note)."""
    if skill.road == "clef":
        return False
    if skill.states is not None and skill.positions is None and skill.road != "compensating" \
            and set(skill.states) <= told:
        return True
    if skill.pitches is not None and skill.holds and skill.road != "compensating":
        charted = [choice for midi in skill.pitches if (choice := chart_choice(after, midi))]
        return bool(charted) and all(state_of(choice) in told for choice in charted)
    return any(_secures(skill, after, pair) for pair in player.secure)


def _secures(skill: RoadSkill, after: Horn, pair: Pair) -> bool:
    ends = [_split(label, after) for label in pair]
    if skill.quick_s is not None or skill.pitches is not None or skill.both_hold or skill.leap:
        return False                    # labels tell neither pitch nor haste
    if skill.into is not None:
        return (ends[0][0] == skill.into) != (ends[1][0] == skill.into)
    if skill.into_valve:
        return (skill.into_valve in ends[0][0]) != (skill.into_valve in ends[1][0])
    return any((skill.states is None or state in skill.states)
               and (skill.positions is None or position in skill.positions) for state, position in ends)


def _split(label: str, after: Horn) -> tuple[str, int | None]:
    """Return state and position of a label such as ``T2#`` or ``1-3``."""
    if after.family == "valves":
        return ("" if label == "0" else label), None
    plain = label.rstrip("#b")
    return plain.rstrip("0123456789"), int(digits) if (digits := plain.lstrip("TS")).isdigit() else None


def _barred(skill: RoadSkill, before: Horn, after: Horn, learner: Player) -> str:
    """Say why no note of a skill is open to this player on the new horn; empty where one is, or it is a move."""
    if skill.is_move or skill.steps is not None:
        return ""
    low = 0 if learner.low is None else learner.low
    high = 127 if learner.high is None else learner.high
    every = [(midi, one) for midi in range(24, 84) for one in candidates(after, midi)
             if skill.has_note(midi, one, None)]
    # The notes that the chart plays so are what the skill is for; where it plays none so, any.
    ways = [(midi, one) for midi, one in every if chart_choice(after, midi, learner.ceiling_midi) == one] or every
    if not ways:
        return "the horn has no such note"
    pressed = [(midi, one) for midi, one in ways if learner.can_hold(one.valves)]
    if not pressed:
        return "this player's hand does not press it"
    inside = [(midi, one) for midi, one in pressed if low <= midi <= high]
    if not inside:
        midi = min((midi for midi, _ in pressed), key=lambda midi: max(low - midi, midi - high))
        edge = f"below {pitch_of(low).pretty}" if midi < low else f"above {pitch_of(high).pretty}"
        # A range that ends where the old horn ended may be the horn's, not the player's; only the teacher knows.
        horns = midi < low and bool(candidates(before, low)) and not candidates(before, low - 1)
        return (f"it lies {edge}, where this player's range ends in the player file"
                + ("; the old horn ended there too: if the lips go lower, put a lower `low` into the file" if horns
                   else ""))
    nearest_mm = min(one.out_mm for _, one in inside)
    if nearest_mm > learner.reach_on(after):
        return f"it lies {nearest_mm:.0f} mm out, beyond this player's reach of {learner.reach_on(after):.0f} mm"
    return ""
