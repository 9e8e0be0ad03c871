"""How near each measure of a plan comes to the player's limits, on an open scale.

A measure's `share` is the greatest of these, each 1 at the limit:

- **slide, valves, tongue, lip**: the load of the step into a note of the measure, 1 over the factor by which the tempo
  may rise before it takes all that the player has (`plan.loads`; derived from `plan.limits`);
- **reach**: ``0.6 * (slide out / reach) ** 2``: the square keeps fourth position (0.1 on a whole slide) far from
  seventh (0.55), and 0.6 says that a comfortable place at full reach is work, yet no limit. Judged; teachers'
  rankings of passages by reach would change it;
- **tuning**: ``0.5 * cents off / lip_reach``, over the cents a player bends without harm, for notes that sound a
  quarter of a second or more (shorter ones pass before they can be corrected). Judged: to bend a note by that much is
  daily work, by twice as much no longer good tone;
- **range**: 1 for a note outside the range the player's file gives;
- a note that nothing sounds, or a glissando that breaks, counts as `BEYOND`.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from analyzer.plan.costs import keeps_gliss
from analyzer.plan.haste import haste_said
from analyzer.plan.loads import Load
from analyzer.plan.plan import Plan, PlannedNote
from analyzer.plan.solve import Planner
from analyzer.words import shown

BEYOND = 2.0
"""Share of a measure that cannot be played as written."""
FULL_REACH = 0.6
"""Share of a note at the player's full reach; judged, see above."""
BENT = 0.5
"""Share of a note bent as far as it goes without harm; judged, see above."""
HEARD_S = 0.25
"""Notes shorter than this are not judged by their tuning. [s]"""

MeasureLevel = Literal["calm", "steady", "busy", "hard", "beyond"]
LEVELS: tuple[tuple[float, MeasureLevel], ...] = ((0.25, "calm"), (0.5, "steady"), (0.75, "busy"), (1.0, "hard"))
"""Upper ends of the levels, as shares of the limit; above the last it is ``beyond``."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasureDifficulty:
    """One measure: `share` of the limit (0 and up), and `reason`, what makes it so, as one sentence.

    `kind` is ``rest``, ``slide``, ``valves``, ``tongue``, ``lip``, ``reach``, ``tuning``, ``range`` or ``unplayable``;
    `index` the note it is about.
    """

    measure: str
    measure_index: int
    share: float
    kind: str
    reason: str
    index: int | None

    @property
    def level(self) -> MeasureLevel:
        """The level's word."""
        return next((word for end, word in LEVELS if self.share <= end), "beyond")


Reason = Callable[[], str]
"""Says why a measure is hard; only the reasons that are shown are put into words."""


def difficulties(planner: Planner, plan: Plan) -> tuple[MeasureDifficulty, ...]:
    """Return one entry a measure of the line, in order; `plan` must come from `planner`."""
    found: dict[int, tuple[float, str, Reason, int]] = {}
    loads = planner.loads_of(plan)
    for k, one in enumerate(plan.notes):
        for share, kind, reason in _shares(planner, plan, k, one, loads):
            where = one.note.measure_index
            if where not in found or share > found[where][0]:
                found[where] = (share, kind, reason, k)
    result = []
    for measure in plan.line.measures:
        share, kind, reason, index = found.get(measure.index, (0.0, "rest", lambda: "Nothing to play.", -1))
        result.append(MeasureDifficulty(measure=measure.number, measure_index=measure.index, share=round(share, 3),
                                        kind=kind, reason=reason(), index=index if index >= 0 else None))
    return tuple(result)


def hardest(found: tuple[MeasureDifficulty, ...], most: int = 4) -> tuple[MeasureDifficulty, ...]:
    """Return the measures to practice first, hardest first, without calm ones and repeated spots.

    Tuning comes last while the lip can mend it: nobody names a flat D4 before the fast measure.
    """
    worth = sorted((one for one in found if one.share > LEVELS[0][0]),
                   key=lambda one: (one.kind == "tuning" and one.share <= 1, -one.share, one.measure_index))
    first: dict[str, MeasureDifficulty] = {}
    for one in worth:
        first.setdefault(one.reason, one)
    return tuple(first.values())[:most]


def _shares(planner: Planner, plan: Plan, k: int, one: PlannedNote,
            loads: Sequence[Load]) -> list[tuple[float, str, Reason]]:
    name = one.note.written.pretty
    choice = one.choice
    if choice is None:
        return [(BEYOND, "unplayable",
                 lambda: f"{one.problem.what if one.problem else name + ' cannot be played'}.")]
    out: list[tuple[float, str, Reason]] = [
        (0.0, "slide" if plan.horn.family == "slide" else "valves", lambda: "No move worth naming.")]
    horn, player = plan.horn, plan.player
    before = plan.notes[k - 1].choice if k else None
    if k and before is not None and plan.notes[k - 1].note.gliss_after and not keeps_gliss(before, choice):
        step = f"{plan.notes[k - 1].note.written.pretty} ({shown(before.label)}) to {name} ({shown(choice.label)})"
        out.append((BEYOND, "unplayable", lambda: f"The glissando {step} leaves its partial."))
    elif k and (load := loads[k - 1]).most > 0:
        out.append((load.most, load.by, lambda: f"{haste_said(planner, plan, k - 1, load)}."))
    reach_mm = player.reach_on(horn)
    if choice.extension_mm and reach_mm > 0:
        share = FULL_REACH * (choice.extension_mm / reach_mm) ** 2
        out.append((share, "reach", lambda: f"{name} in {shown(choice.label)} is {choice.out_mm / 10:.0f} cm out; "
                                            f"the reach is {reach_mm / 10:.0f} cm."))
    off = abs(choice.off_cents)
    if one.time.sounds_s >= HEARD_S and off >= 1:
        out.append((BENT * off / horn.lip_reach.value, "tuning",
                    lambda: f"{name} with {shown(choice.label)} is {choice.off_said}; listen and bring it "
                            "in."))
    if (player.low is not None and one.note.midi < player.low) or (
            player.high is not None and one.note.midi > player.high):
        out.append((1.0, "range", lambda: f"{name} lies outside this player's range."))
    return out
