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

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from analyzer.horns.candidate import Candidate
from analyzer.plan.costs import keeps_gliss
from analyzer.plan.haste import haste_said
from analyzer.plan.loads import Load
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner
from analyzer.score.timeline import Measure
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


def difficulties(planner: Planner, plan: Plan) -> tuple[MeasureDifficulty, ...]:
    """Return one entry a measure of the line, in order; `plan` must come from `planner`."""
    judged = _Judged(planner, plan.picked, planner.loads_of(plan))
    found = judged.by_measure()
    return tuple(judged.told(measure, found.get(measure.index)) for measure in plan.line.measures)


def hardest_measure(planner: Planner, picked: Sequence[Candidate | None], loads: Sequence[Load],
                    ) -> MeasureDifficulty | None:
    """Return the first of the measures with the greatest share, as `difficulties` has it; None of a line without any.

    `picked` are the choices of a plan, `loads` its steps' (`Loads.walk`). No other measure is put into words.
    """
    judged = _Judged(planner, picked, loads)
    found = judged.by_measure()
    worst = max(planner.line.measures, key=lambda one: round(found[one.index][0], 3) if one.index in found else 0.0,
                default=None)
    return None if worst is None else judged.told(worst, found.get(worst.index))


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


_Share = tuple[float, str, int]
"""The greatest share of a measure, its kind, the note it is about."""


class _Judged:
    """The shares of the notes of one plan; only those that are told are put into words."""

    def __init__(self, planner: Planner, picked: Sequence[Candidate | None], loads: Sequence[Load]) -> None:
        self.planner, self.picked, self.loads = planner, picked, loads
        self.reach_mm = planner.player.reach_on(planner.horn)

    def by_measure(self) -> dict[int, _Share]:
        """Return the greatest share of each measure that has notes; of equal ones the first."""
        found: dict[int, _Share] = {}
        for k, note in enumerate(self.planner.line.notes):
            share, kind = self._share(k)
            before = found.get(note.measure_index)
            if before is None or share > before[0]:
                found[note.measure_index] = share, kind, k
        return found

    def told(self, measure: Measure, found: _Share | None) -> MeasureDifficulty:
        """Return the entry of a measure, with its reason in words."""
        share, kind, k = found or (0.0, "rest", -1)
        return MeasureDifficulty(measure=measure.number, measure_index=measure.index, share=round(share, 3), kind=kind,
                                 reason=self._reason(kind, k) if found else "Nothing to play.",
                                 index=k if found else None)

    def _share(self, k: int) -> tuple[float, str]:
        """Return the greatest share of a note and its kind; of equal ones that which is named first here."""
        planner, choice = self.planner, self.picked[k]
        if choice is None:
            return BEYOND, "unplayable"
        share, kind = 0.0, str(planner.horn.family)
        if self._broken(k):
            share, kind = BEYOND, "unplayable"
        elif k and (load := self.loads[k - 1]).most > 0.0:
            share, kind = load.most, load.by
        if choice.extension_mm and self.reach_mm > 0:
            far = FULL_REACH * (choice.extension_mm / self.reach_mm) ** 2
            if far > share:
                share, kind = far, "reach"
        off = abs(choice.off_cents)
        if off >= 1 and planner.times[k].sounds_s >= HEARD_S:
            bent = BENT * off / planner.horn.lip_reach.value
            if bent > share:
                share, kind = bent, "tuning"
        player, midi = planner.player, planner.line.notes[k].midi
        if share < 1.0 and ((player.low is not None and midi < player.low)
                            or (player.high is not None and midi > player.high)):
            share, kind = 1.0, "range"
        return share, kind

    def _broken(self, k: int) -> bool:
        """Tell whether a glissando into note `k`, which can be played, leaves its partial."""
        before, choice = self.picked[k - 1] if k else None, self.picked[k]
        return (before is not None and choice is not None and self.planner.line.notes[k - 1].gliss_after
                and not keeps_gliss(before, choice))

    def _reason(self, kind: str, k: int) -> str:
        """Return why the share of a note is what it is, as one sentence."""
        planner, choice, note = self.planner, self.picked[k], self.planner.line.notes[k]
        name = note.written.pretty
        if choice is None:
            return f"{planner.unplayable(k).what}."
        if kind == "unplayable":
            before = self.picked[k - 1]
            assert before is not None, "a glissando that breaks has both its ends"
            return (f"The glissando {planner.line.notes[k - 1].written.pretty} ({shown(before.label)}) to {name} "
                    f"({shown(choice.label)}) leaves its partial.")
        if kind == "reach":
            return (f"{name} in {shown(choice.label)} is {choice.out_mm / 10:.0f} cm out; the reach is "
                    f"{self.reach_mm / 10:.0f} cm.")
        if kind == "tuning":
            return f"{name} with {shown(choice.label)} is {choice.off_said}; listen and bring it in."
        if kind == "range":
            return f"{name} lies outside this player's range."
        if not k or self.loads[k - 1].most <= 0.0:
            return "No move worth naming."
        return f"{haste_said(planner, self.picked, k - 1, self.loads[k - 1])}."
