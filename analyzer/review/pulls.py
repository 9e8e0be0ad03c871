"""How far to pull each tuning slide, so that the music at hand is least out of tune.

Two questions alternate: which slides suit these fingerings best (`horns.slides.Tuning`), and which fingerings the plan
takes with these slides. Of all slides visited those win with which the plans themselves sound best; the slides as they
are take part, so the advice is never worse than doing nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import sqrt

from analyzer.horns.candidates import candidates, chart_choice
from analyzer.horns.horn import Horn
from analyzer.plan.plan import Plan, PlannedNote
from analyzer.plan.solve import Planner
from analyzer.problem import unreadable
from analyzer.tuning.best_pulls import UNUSUAL_CENTS, Sounding, Tuning, WantedPitch, ways
from analyzer.tuning.retuned import pulled, slides

MISSING_CENTS = 100.0
"""What a note counts that nothing sounds [cents]; judged: worse than any that can be lipped."""
ALIKE_CENTS = 0.5
"""Slides that differ by less in the end are alike to every ear [cents]; judged: tuners for players show whole cents."""
_ROUNDS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """A pitch as the plans play it.

    `label` is what most of its time takes, with its `off_cents` [cents, + is sharp]; `farthest_cents` that of any way
    it is played, `labels` all of them. Where nothing sounds it there is none, and it counts `MISSING_CENTS`.
    """

    label: str | None
    labels: tuple[str, ...]
    off_cents: float
    farthest_cents: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Retuned:
    """A sounding pitch of the music, how often and how long [s] it sounds, before and after the pull."""

    midi: int
    uses: int
    sounds_s: float
    before: Played
    after: Played


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """What to pull, and what it brings.

    `pulls_mm` has every slide of the horn, in whole millimetres on one leg, `limits_mm` how far each could come out.
    `rms_cents` is the root mean square over the sounding time, before and after, `worst` the notes farthest off;
    `notes` go from low to high. `beyond` are pitches that no pull brings onto the horn: they count nowhere.
    `refingered` is the share of the sounding time that takes another fingering than before.
    """

    horn: Horn
    pulls_mm: Mapping[str, int]
    limits_mm: Mapping[str, int]
    rms_cents: tuple[float, float]
    worst: tuple[Retuned, Retuned]
    notes: tuple[Retuned, ...]
    beyond: tuple[int, ...]
    refingered: float

    def named(self, name: str) -> Horn:
        """Return the horn with its slides pulled, under a name of its own."""
        return pulled(self.horn, self.pulls_mm, name=name)


def advise(planners: Sequence[Planner], limits_mm: Mapping[str, int], *, worst: bool = False) -> Advice:
    """Return how far to pull the slides of a horn for some lines. Needs numpy (the extra ``decide``).

    Parameters
    ----------
    planners : sequence of Planner
        The lines, all on the same horn.
    limits_mm : mapping
        How far each slide of `horns.retuned.slides` comes out; 0 keeps it as it is. [mm on one leg]
    worst : bool
        Make the worst note least, in place of the mean square over the sounding time.

    Raises
    ------
    ValueError
        If no line has a note, or their horns differ.
    Unreadable
        If the horn has none of the notes.
    """
    if not any(one.line.notes for one in planners) or any(one.horn != planners[0].horn for one in planners):
        raise ValueError("advise wants lines with notes on one horn")
    return _Search(planners, limits_mm, worst).advice()


class _Search:
    def __init__(self, planners: Sequence[Planner], limits_mm: Mapping[str, int], worst: bool) -> None:
        self.horn = planners[0].horn
        self.player = planners[0].player
        self.planners = planners
        self.limits = limits_mm
        self.worst = worst
        self.still = dict.fromkeys(slides(self.horn), 0)
        self.before = self._plans(self.still)
        self.ways = {midi: self._known(midi) for midi in {one.note.midi for one in _all(self.before)}}
        self.beyond = tuple(sorted(midi for midi, known in self.ways.items() if not known))
        if len(self.beyond) == len(self.ways):
            raise unreadable("no-candidate", where=planners[0].line.part_name,
                             what=f"{self.horn.name} has none of these notes, whatever is pulled",
                             try_="Try another horn; lowbrass map says what each note lacks.")

    def _known(self, midi: int) -> tuple[Sounding, ...]:
        """Return the ways that this player knows and that some pull allows.

        A valved horn that cannot sound a note as it is gets no slides pulled for it: that would untune all the rest.
        """
        if self.horn.family == "valves" and not candidates(self.horn, midi):
            return ()
        usual = chart_choice(self.horn, midi, self.player.ceiling_midi)
        return tuple(way for way in ways(self.horn, midi, usual, self.limits) if self.player.knows(way.valves))

    def advice(self) -> Advice:
        visited = {tuple(self.still.values()): (self.still, self.before)}
        for wanted, worst in product((self._taken(self.before), self._open()), sorted({False, self.worst})):
            for _ in range(_ROUNDS):
                pulls = self._best(wanted, worst)
                key = tuple(pulls.values())
                if key in visited:
                    break
                visited[key] = pulls, self._plans(pulls)
                wanted = self._taken(visited[key][1])
        pulls, plans = self._chosen(list(visited.values()))
        notes = self._notes(plans)
        return Advice(
            horn=self.horn, pulls_mm=pulls, limits_mm=self.limits,
            rms_cents=(self._rms(self.before), self._rms(plans)), notes=notes, beyond=self.beyond,
            refingered=self._refingered(plans),
            worst=(max(notes, key=lambda one: abs(one.before.farthest_cents)),
                   max(notes, key=lambda one: abs(one.after.farthest_cents))))

    def _chosen(self, visited: Sequence[tuple[dict[str, int], list[Plan]]]) -> tuple[dict[str, int], list[Plan]]:
        """Return the best of the slides visited; of those that no ear could tell from it, the least pulled."""
        least = min(self._badness(plans) for _, plans in visited)
        alike = [one for one in visited if self._badness(one[1]) <= least + ALIKE_CENTS]
        return min(alike, key=lambda one: (sum(one[0].values()), self._badness(one[1])))

    def _plans(self, pulls: Mapping[str, int]) -> list[Plan]:
        horn = pulled(self.horn, pulls, name=self.horn.name) if any(pulls.values()) else self.horn
        return [Planner(one.line, horn, one.player, weights=one.weights, times=one.times).outline()
                for one in self.planners]

    def _best(self, wanted: Sequence[WantedPitch], worst: bool) -> dict[str, int]:
        return Tuning(self.horn, wanted, self.limits, reach_mm=self.player.reach_on(self.horn), worst=worst).best()

    def _open(self) -> list[WantedPitch]:
        """Every pitch with every way that its player knows, by its time."""
        seconds: dict[int, float] = {}
        for one in self._counted(self.before):
            seconds[one.note.midi] = seconds.get(one.note.midi, 0.0) + one.time.sounds_s
        return [WantedPitch(midi=midi, weight=weight, ways=self.ways[midi]) for midi, weight in sorted(seconds.items())]

    def _taken(self, plans: Sequence[Plan]) -> list[WantedPitch]:
        """Every pitch with each way that these plans take, by its own time; the open ways where they take none."""
        seconds: dict[tuple[int, tuple[Sounding, ...]], float] = {}
        for one in self._counted(plans):
            way = self.ways[one.note.midi] if one.choice is None else (
                Sounding(valves=one.choice.valves, partial=one.choice.partial),)
            seconds[one.note.midi, way] = seconds.get((one.note.midi, way), 0.0) + one.time.sounds_s
        return [WantedPitch(midi=midi, weight=weight, ways=way) for (midi, way), weight in seconds.items()]

    # --- what plans sound like -----------------------------------------------------------------------------------

    def _counted(self, plans: Iterable[Plan]) -> list[PlannedNote]:
        return [one for one in _all(plans) if one.note.midi not in self.beyond]

    def _badness(self, plans: Sequence[Plan]) -> float:
        """What plans leave, in cents; the time with new fingerings counts as these do in the search."""
        left = self._rms(plans)
        if self.worst:
            left = max((abs(_off(one)) for one in self._counted(plans)), default=0.0)
        return sqrt(left ** 2 + UNUSUAL_CENTS ** 2 * self._refingered(plans))

    def _rms(self, plans: Sequence[Plan]) -> float:
        notes = self._counted(plans)
        return sqrt(sum(_off(one) ** 2 * one.time.sounds_s for one in notes)
                    / (sum(one.time.sounds_s for one in notes) or 1.0))

    def _refingered(self, plans: Sequence[Plan]) -> float:
        pairs = list(zip(self._counted(self.before), self._counted(plans), strict=True))
        changed = sum(a.time.sounds_s for a, b in pairs if _label(a) != _label(b))
        return changed / (sum(a.time.sounds_s for a, _ in pairs) or 1.0)

    def _notes(self, plans: Sequence[Plan]) -> tuple[Retuned, ...]:
        old, new = _by_pitch(self.before), _by_pitch(plans)
        return tuple(
            Retuned(midi=midi, uses=len(notes), sounds_s=sum(one.time.sounds_s for one in notes),
                    before=_played(notes), after=_played(new[midi]))
            for midi, notes in sorted(old.items()) if midi not in self.beyond)


def _all(plans: Iterable[Plan]) -> list[PlannedNote]:
    return [note for plan in plans for note in plan.notes]


def _off(note: PlannedNote) -> float:
    return MISSING_CENTS if note.choice is None else note.choice.off_cents


def _label(note: PlannedNote) -> str | None:
    return note.choice.label if note.choice else None


def _by_pitch(plans: Sequence[Plan]) -> dict[int, list[PlannedNote]]:
    found: dict[int, list[PlannedNote]] = {}
    for one in _all(plans):
        found.setdefault(one.note.midi, []).append(one)
    return found


def _played(notes: Sequence[PlannedNote]) -> Played:
    seconds: dict[str | None, float] = {}
    off: dict[str | None, float] = {}
    for one in notes:
        seconds[_label(one)] = seconds.get(_label(one), 0.0) + one.time.sounds_s
        off[_label(one)] = _off(one)
    label = max(seconds, key=lambda one: seconds[one])
    return Played(label=label, labels=tuple(one for one in seconds if one), off_cents=off[label],
                  farthest_cents=max(off.values(), key=abs))
