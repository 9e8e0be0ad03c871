"""What one line asks of one player on one horn, as counts and as one price: the ground of a section's fit.

The price is judged, in steps so wide that the order of what matters does not hang on the numbers: one note that cannot
be played weighs more than a hundred moves that are too fast, one of those more than ten notes out of range, and one of
those more than all that the plans of a whole section cost. The unit throughout is 1 cm of unhurried slide travel.
"""

import re
from dataclasses import dataclass, replace

from analyzer.horns.horn import Horn
from analyzer.plan.costs import BROKEN
from analyzer.plan.limits import nobodys
from analyzer.plan.loads import TOO_MUCH, Load
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner
from analyzer.plan.timing import NoteTime
from analyzer.plan.unplayable import broken_glissandi
from analyzer.score.lines import Line
from analyzer.section.section import Member

SLIDE_FAMILIES = ("trombone", "bass trombone")
VALVE_FAMILIES = ("euphonium", "baritone")

PRICES = {
    "unplayable": 1_000_000.0,         # a note that this player cannot sound on this horn
    "too_fast": 10_000.0,              # a move of the best plan that is beyond the player's speed
    "gliss": 1_000.0,                  # a glissando that breaks
    "out_of_range": 1_000.0,           # a note outside the player's range (outside the extremes, where told)
    "clef": 50.0,                      # the whole line, where its clef is not read
    "extreme": 5.0,                    # a note between the secure range and the extremes
    "tiring": 10.0,                    # each minute of sounding beyond the player's endurance
    "not_bass": 30.0,                  # a bass trombone line on another horn
    "big_horn": 20.0,                  # a bass trombone on another line: more to carry and to fill
    "small_horn": 20.0,                # an alto trombone on another line: too light for it
    "not_alto": 5.0,                   # an alto trombone line on another horn, as most bands have it
    "later_choice": 1.0,               # each place down the player's own list of horns
}
"""Judged. The first four stand so far apart that only their order matters; halving or doubling any of the others
gives the same seats in the sample scores (once, two players change who doubles whom). Seats that a director calls wrong
would change our mind."""

MOST_BLOCKED_SHARE = 0.5
"""A line of which a player lacks more than this share, for the horn or for the range, is not offered to that player;
judged, 0.3 to 0.7 alike."""
_ALTO = re.compile(r"\b(?:contr)?alt(?:o|us|posaune)?\b", re.IGNORECASE)
_ALTO_FROM_MIDI = 37                   # first position of an alto is E flat 2, D flat 2 or F2, of a tenor B flat 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Burden:
    """A line on a horn in one player's hands.

    `unplayable`, `gliss`, `out_of_range`, `extreme` are note indices, `too_fast` indices of moves (from that note to
    the next). `tempo_factor` is what every tempo may be multiplied by until a move of the plan is too fast; below 1
    where one is too fast already, inf where nothing moves. `items` are the parts of `cost` by name.
    """

    horn: Horn
    plan: Plan
    planner: Planner
    unplayable: tuple[int, ...]
    too_fast: tuple[int, ...]
    gliss: tuple[int, ...]
    out_of_range: tuple[int, ...]
    extreme: tuple[int, ...]
    tempo_factor: float
    items: dict[str, float]

    @property
    def cost(self) -> float:
        """The price of it all. [cm of unhurried slide travel, a note]"""
        return sum(self.items.values())

    @property
    def blocked(self) -> tuple[int, ...]:
        """Notes that this player cannot play: not on this horn, or outside the range."""
        return tuple(sorted({*self.unplayable, *self.out_of_range}))

    @property
    def offered(self) -> bool:
        """Whether enough of the line is playable for the player to be offered it."""
        return len(self.blocked) <= MOST_BLOCKED_SHARE * len(self.plan.notes)


def takes(horn: Horn, family: str) -> bool:
    """Tell whether a horn could take a line of a part's family: slide for trombones, valves for the others."""
    if family in SLIDE_FAMILIES:
        return horn.family == "slide"
    if family in VALVE_FAMILIES:
        return horn.family == "valves"
    return True


def is_alto(horn: Horn) -> bool:
    """Tell whether a horn is an alto trombone."""
    return horn.family == "slide" and horn.fundamental_midi >= _ALTO_FROM_MIDI


def for_alto(line: Line) -> bool:
    """Tell whether a line is printed for an alto trombone, by the name of its part."""
    return line.family == "trombone" and _ALTO.search(line.part_name) is not None


def burden_of(line: Line, member: Member, horn: Horn, *, tempo_bpm: float | None = None,
              times: tuple[NoteTime, ...] | None = None) -> Burden:
    """Plan a line for a member on a horn and count what it asks; its plan comes without reasons.

    `times` are the line's, where another planner with the same tempo has worked them out already.
    """
    planner = Planner(line, horn, member.player, tempo_bpm=tempo_bpm, times=times)
    plan = planner.outline()
    unplayable = tuple(note.index for note in plan.notes if note.choice is None)
    gliss = tuple(k for k in broken_glissandi(horn, line.notes, [note.choice for note in plan.notes])
                  if plan.notes[k].choice is not None)
    fast = too_fast(planner, plan)
    beyond, stretch = _range(plan, member)
    playable = max(1, len(plan.notes) - len(unplayable))
    counts = {
        "unplayable": len(unplayable), "too_fast": len(fast), "gliss": len(gliss), "out_of_range": len(beyond),
        "extreme": len(stretch), "clef": int(bool(unread_clefs(line, member))),
        "tiring": excess_s(plan, member) / 60,
        "not_bass": int(line.family == "bass trombone" and horn.kind != "bass trombone"),
        "big_horn": int(line.family == "trombone" and horn.kind == "bass trombone"),
        "small_horn": int(is_alto(horn) and not for_alto(line)),
        "not_alto": int(for_alto(line) and not is_alto(horn)),
        "later_choice": member.horns.index(horn) if horn in member.horns else len(member.horns),
    }
    # A too-fast move and a broken glissando have their own price here; the plan's own would hide the rest.
    plain = max(0.0, plan.cost - BROKEN * len(gliss) - _over_speed(planner, plan))
    items = {name: PRICES[name] * count for name, count in counts.items() if count}
    items["plan_per_note"] = plain / playable
    return Burden(horn=horn, plan=plan, planner=planner, unplayable=unplayable, too_fast=fast, gliss=gliss,
                  out_of_range=beyond, extreme=stretch, tempo_factor=tempo_factor(planner, plan), items=items)


def tempo_factor(planner: Planner, plan: Plan) -> float:
    """Return what the tempo may be multiplied by until a move of this plan is too fast; inf where nothing moves."""
    most = max((step.most for step in loads(planner, plan)), default=0.0)
    return 1 / most if most else float("inf")


def loads(planner: Planner, plan: Plan) -> tuple[Load, ...]:
    """Return what each step of a plan asks of its player, 1 being all there is.

    Where the file tells no speed, only what nobody does counts: a student of whom the horn alone is known is not ruled
    out by a usual limit.
    """
    return planner.loads_of(plan, None if planner.player.limits.told else nobodys())


def too_fast(planner: Planner, plan: Plan) -> tuple[int, ...]:
    """Return the steps of a plan that ask for more speed than the player has."""
    return tuple(k for k, step in enumerate(loads(planner, plan)) if step.most > TOO_MUCH)


def quick_notes(burden: Burden, most: int, tempo_bpm: float | None = None) -> tuple[int, ...] | None:
    """Return notes to leave out so that nothing is too fast any more, none of them in vain; None if `most` do not do.

    The farther note of the first too-fast move goes, the rest is planned anew, and so on; then each that need not have
    gone comes back.
    """
    line, out = burden.plan.line, list[int]()

    def trial(without: list[int]) -> tuple[list[int], Planner, Plan]:
        kept = [k for k in range(len(line.notes)) if k not in without]
        planner = Planner(replace(line, notes=tuple(line.notes[k] for k in kept), jumps=()), burden.horn,
                          burden.plan.player, tempo_bpm=tempo_bpm)
        return kept, planner, planner.plan()

    kept, planner, plan = list(range(len(line.notes))), burden.planner, burden.plan
    while fast := too_fast(planner, plan):
        if len(out) == most or len(kept) <= 1:
            return None
        a, b = plan.notes[fast[0]].choice, plan.notes[fast[0] + 1].choice
        far_a, far_b = (one.out_mm if one else 0.0 for one in (a, b))
        out.append(kept[fast[0] + (far_b >= far_a)])
        kept, planner, plan = trial(out)
    for k in list(out):
        less = [one for one in out if one != k]
        _, again, planned = trial(less)
        if not too_fast(again, planned):
            out = less
    return tuple(sorted(out))


def _over_speed(planner: Planner, plan: Plan) -> float:
    total = 0.0
    for k, move in enumerate(planner.moves):
        a, b = plan.notes[k].choice, plan.notes[k + 1].choice
        if a is not None and b is not None:
            total += planner.costs.move_items(a, b, move).get("over_speed", 0.0)
    return total


def _range(plan: Plan, member: Member) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return the playable notes outside the range, and those between the secure range and the extremes."""
    player = member.player
    low, high = player.low, player.high
    bottom = member.extreme_low if member.extreme_low is not None else low
    top = member.extreme_high if member.extreme_high is not None else high
    beyond, stretch = [], []
    for note in plan.notes:
        midi = note.note.midi
        if note.choice is None:
            continue
        if (bottom is not None and midi < bottom) or (top is not None and midi > top):
            beyond.append(note.index)
        elif (low is not None and midi < low) or (high is not None and midi > high):
            stretch.append(note.index)
    return tuple(beyond), tuple(stretch)


def unread_clefs(line: Line, member: Member) -> tuple[str, ...]:
    """Return the clefs of a line that the member does not read."""
    if member.clefs is None:
        return ()
    # Who reads treble clef a major ninth above the sound reads a part that is printed so.
    ninth = "treble-b-flat" in member.clefs
    return tuple(dict.fromkeys(
        note.clef for note in line.notes if note.clef not in member.clefs
        and not (ninth and note.clef == "treble" and note.written.midi - note.sounding.midi == 14)))


def excess_s(plan: Plan, member: Member) -> float:
    """Return how much longer the line sounds than the member's endurance. [s]"""
    if member.endurance_s is None:
        return 0.0
    return max(0.0, sum(note.time.sounds_s for note in plan.notes) - member.endurance_s)


def slowed(line: Line, factor: float) -> Line:
    """Return the line with every tempo multiplied by `factor`."""
    return replace(line, tempi=tuple(replace(mark, bpm=mark.bpm * factor) for mark in line.tempi))
