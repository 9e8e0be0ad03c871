"""From a line, a horn and a player to the best plan: builds the lattice, solves it, answers pins and runners-up."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from analyzer.horns.candidate import Candidate, slide_mm, travel_mm
from analyzer.horns.candidates import aimed, candidates, chart_choice
from analyzer.horns.horn import Horn
from analyzer.plan.ceiling import Ceiling, ceiling
from analyzer.plan.costs import Matrix, Move, costs_for, keeps_gliss, move_of
from analyzer.plan.familiarity import Rank, familiarity
from analyzer.plan.figures import Tied, tied, ties_of
from analyzer.plan.glissando import advice
from analyzer.plan.groups import Resolver, group_of, note_whys, runs
from analyzer.plan.jumps import landed, leaps_of, paid, settled
from analyzer.plan.limits import Limits, peak_mm_s
from analyzer.plan.loads import Load, Loads
from analyzer.plan.plan import AlternateGroup, Alternative, Plan, PlannedNote, Totals
from analyzer.plan.player import Player
from analyzer.plan.raising import chord_reason
from analyzer.plan.reasons import Around, note_reasons
from analyzer.plan.timing import NoteTime, note_times
from analyzer.plan.trills import trill_fingerings, trilled
from analyzer.plan.unplayable import broken_glissandi, why_not
from analyzer.plan.weights import Weights, default_weights
from analyzer.problem import Problem, unreadable
from analyzer.score.lines import Line
from analyzer.solver import INF, Lattice
from analyzer.words import shown

_NOTHING: tuple[Candidate, ...] = ()


def allowed_choices(horn: Horn, player: Player, midi: int) -> tuple[Candidate, ...]:
    """Return the choices that the plan may take: within reach, learned, recommended, the attachment below its ceiling.

    The usual choice counts as recommended, even where it is out of tune (low notes of a three-valve horn); so does one
    on an attachment that is out of tune but taught (F2 in T1): it pays by its cents, and short notes hardly.
    Where nothing is left, choices with advice against them come back, then the attachment above its ceiling; never
    what lies beyond reach or is not learned.
    """
    known = _within_reach(horn, player, midi)
    slide = horn.family == "slide"

    def below(one: Candidate) -> bool:
        return not (slide and one.valves) or player.ceiling_midi is None or midi <= player.ceiling_midi

    usual = chart_choice(horn, midi, player.ceiling_midi)

    def taught(one: Candidate) -> bool:
        return slide and bool(one.valves) and familiarity(horn, one, usual).rank == "common"

    for choices in ([one for one in known if (one.advice is None or one is usual or taught(one)) and below(one)],
                    [one for one in known if below(one)], known):
        if choices:
            return tuple(choices)
    return _NOTHING


def _within_reach(horn: Horn, player: Player, midi: int) -> tuple[Candidate, ...]:
    reach_mm = player.reach_on(horn)
    return tuple(choice for choice in candidates(horn, midi)
                 if choice.out_mm <= reach_mm and player.knows(choice.valves))


class Shared:
    """What planners of one horn and one player need alike, line after line: choices by pitch, and their prices.

    Prices are the same numbers whoever works them out first; of so many lines that they would fill the memory, those so
    far are let go.
    """

    MOST = 1_500                       # matrices, some 2 MiB; judged: half of those of sixty chorales

    def __init__(self) -> None:
        self.known: dict[int, tuple[Candidate, ...]] = {}
        self.usual: dict[int, Candidate | None] = {}
        # Known by the identity of their choices, which are kept beside them: what is gone could lend its identity.
        self.matrices: dict[object, tuple[tuple[Candidate, ...], tuple[Candidate, ...], Matrix]] = {}
        self.rows: dict[object, tuple[tuple[Candidate, ...], list[float]]] = {}

    def trimmed(self) -> "Shared":
        """Return this, emptied where it has grown too large."""
        if len(self.matrices) > self.MOST or len(self.rows) > self.MOST:
            self.matrices, self.rows = {}, {}
        return self


class Planner:
    """Solves one line on one horn; keeps the lattice, so that pins are answered at once.

    Parameters
    ----------
    line, horn, player
        What is played, on what, by whom.
    tempo_bpm : float, optional
        Quarter notes a minute for the whole line; else the score's own marks.
    weights : Weights, optional
        Judged weights; the data file's where not given.
    times : tuple of NoteTime, optional
        The line's times where another planner with the same tempo and weights has them already.
    choices : sequence of tuple of Candidate, optional
        What each note may take where that is settled already (an exercise); else what horn and player allow.
    aims : sequence of float, optional
        How far above equal temperament each note belongs, in its chord. [cents]
    roles : sequence of str, optional
        What each note is in its chord (``third of Bb major``), empty where that has no name; only reasons say it.
    shared : Shared, optional
        What other planners with the same horn, player and weights have found, and find after this one.
    """

    def __init__(self, line: Line, horn: Horn, player: Player | None = None, *, tempo_bpm: float | None = None,
                 weights: Weights | None = None, times: tuple[NoteTime, ...] | None = None,
                 choices: Sequence[tuple[Candidate, ...]] | None = None, aims: Sequence[float] | None = None,
                 roles: Sequence[str] = (), shared: Shared | None = None) -> None:
        self.line = line
        self.player = player or Player()
        self.horn = horn = self.player.own(horn)
        self.tempo_bpm = tempo_bpm
        self.weights = weights or default_weights()
        self.costs = costs_for(horn, self.weights, self.player.limits, self.player.secure_ways, self.player.level)
        self.times = times or note_times(line, self.weights, tempo_bpm)
        shared = (shared or Shared()).trimmed()
        known, usual = shared.known, shared.usual
        for note in line.notes:
            if note.midi not in known:
                known[note.midi] = allowed_choices(horn, self.player, note.midi)
                usual[note.midi] = chart_choice(horn, note.midi, self.player.ceiling_midi)
        self.choices = [known[note.midi] for note in line.notes] if choices is None else list(choices)
        if choices is None:
            self._open_glissandi()
        self.usual = [usual[note.midi] for note in line.notes]
        self.aims = tuple(aims or ())
        self.roles = tuple(roles)
        self._aimed: dict[tuple[Candidate, float], Candidate] = {}
        if any(self.aims):
            self.choices = [tuple(self.aimed(k, way) for way in ways) for k, ways in enumerate(self.choices)]
            self.usual = [one and self.aimed(k, one) for k, one in enumerate(self.usual)]
        # A slide trills with the lip or not at all; only fingers have trill fingerings.
        trills = trilled(line.notes, self.times) if horn.family == "valves" else [False] * len(line.notes)
        self.moves: list[Move] = [
            move_of(time, a.slur_after, a.gliss_after, a.midi, b.midi, trill)
            for time, (a, b), trill in zip(self.times, pairwise(line.notes), trills, strict=False)
        ]
        self._trill_choices = self._found_trill_choices(trills)
        self.loads = self._loads(self.player.limits)
        self.leaps = leaps_of(line, self.times, self.weights.glide_from_s)
        self._lattice: Lattice | None = None
        self._tied: Tied | None = None
        self._figured: dict[int, set[str]] = {}    # what the figures of a note take there
        self._matrices, self._rows = shared.matrices, shared.rows
        self._wider: dict[tuple[int, Candidate], tuple[Candidate, ...]] = {}
        self._first: Plan | None = None
        self._ceiling: Ceiling | None = None

    def _open_glissandi(self) -> None:
        """Where no recommended choices keep a glissando on one sweep of the slide, let those in that do."""
        for k, (a, b) in enumerate(pairwise(self.line.notes)):
            if not a.gliss_after or self.horn.family != "slide":
                continue
            before, after = self.choices[k], self.choices[k + 1]
            if any(keeps_gliss(x, y) for x in before for y in after):
                continue
            first, last = (_within_reach(self.horn, self.player, midi) for midi in (a.midi, b.midi))
            kept = [(x, y) for x in first for y in last if keeps_gliss(x, y)]
            self.choices[k] = tuple(dict.fromkeys((*before, *(x for x, _ in kept))))
            self.choices[k + 1] = tuple(dict.fromkeys((*after, *(y for _, y in kept))))

    def _found_trill_choices(self, trills: Sequence[bool]) -> dict[int, tuple[Candidate, ...]]:
        """Choices that are at home in a trill, by note; none on a slide, which has no fingers to trill with."""
        if self.horn.family == "slide":
            return {}
        found: dict[int, tuple[Candidate, ...]] = {}
        for k, trill in enumerate(trills):
            if trill:
                for here, there in ((k, k + 1), (k + 1, k)):
                    homes = trill_fingerings(self.choices[here], self.choices[there],
                                             self.usual[here], self.usual[there])
                    if homes:
                        found[here] = homes
        return found

    def aimed(self, k: int, one: Candidate) -> Candidate:
        """Return a choice of note `k` with the slide where its chord wants it; equal choices stay one object."""
        if not self.aims or not self.aims[k]:
            return one
        key = (one, self.aims[k])
        if key not in self._aimed:
            self._aimed[key] = aimed(self.horn, one, self.aims[k])
        return self._aimed[key]

    def at_home(self, k: int, one: Candidate) -> bool:
        """Tell whether note `k` with this choice pays nothing for leaving the chart."""
        return one is self.usual[k] or (k in self._trill_choices and one in self._trill_choices[k])

    # --- the lattice ---------------------------------------------------------------------------------------------

    def _row(self, index: int, choices: tuple[Candidate, ...]) -> list[float]:
        if not choices:
            return [0.0]
        homes = self._trill_choices.get(index, _NOTHING)
        key = (id(choices), self.times[index].sounds_s, homes)
        found = self._rows.get(key)
        if found is None:
            home = [self.at_home(index, choice) for choice in choices]
            found = self._rows[key] = choices, self.costs.row(choices, self.times[index].sounds_s, home)
        return found[1]

    def _matrix(self, index: int, before: tuple[Candidate, ...], after: tuple[Candidate, ...]) -> Matrix:
        key = (id(before), id(after), self.moves[index])
        found = self._matrices.get(key)
        if found is None:
            if before and after:
                matrix = self.costs.matrix(before, after, self.moves[index])
            else:
                columns = len(before) * self.costs.senses or 1
                matrix = ((0.0,) * columns,) * (len(after) * self.costs.senses or 1)
            found = self._matrices[key] = before, after, matrix
        return found[2]

    def _built(self, choices: Sequence[tuple[Candidate, ...]]) -> Lattice:
        nodes = [self._row(k, one) for k, one in enumerate(choices)]
        edges = [self._matrix(k, a, b) for k, (a, b) in enumerate(pairwise(choices))]
        return Lattice(nodes, edges)

    @property
    def lattice(self) -> Lattice:
        """The lattice without pins, figures tied; built once."""
        if self._lattice is None:
            self._lattice = self.tied.lattice
        return self._lattice

    @property
    def tied(self) -> Tied:
        """The figures that return, and what each of their notes is played with; found once."""
        if self._tied is None:
            base = self._built(self.choices)
            self._tied = tied(base, self.choices, self.costs.senses, ties_of(self.line.notes, self.choices),
                              self.weights.figure)
            for tie, label in self._tied.labels.items():
                for k in tie:
                    self._figured.setdefault(k, set()).add(label)
        return self._tied

    # --- answers -------------------------------------------------------------------------------------------------

    def plan(self, pins: Mapping[int, str] | None = None) -> Plan:
        """Return the best plan; `pins` maps note indices to labels that must stay.

        Raises
        ------
        Unreadable
            If a pinned label is no way to sound that note on this horn.
        """
        if not self.line.notes:
            return Plan(line=self.line, horn=self.horn, player=self.player, notes=(), cost=0.0, hardest=(),
                        totals=self.totals(()))
        if not pins:
            if self._first is None:
                self._first = self._planned(self.lattice, self.choices, {}, None)
            return self._first
        lattice, choices = self.pinned_lattice(pins)
        return self._planned(lattice, choices, pins, self.plan() if choices == self.choices else None)

    def pinned_lattice(self, pins: Mapping[int, str]) -> tuple[Lattice, list[tuple[Candidate, ...]]]:
        """Return the lattice that keeps the pins, and the choices of each note: a pin may bring in one more.

        Raises
        ------
        Unreadable
            As for `plan`.
        """
        choices = list(self.choices)
        changes: dict[int, list[float]] = {}
        for index, label in pins.items():
            pinned = self.pinned(index, label)
            choices[index] = self._widened(index, pinned)
            row = self._row(index, choices[index])
            place = choices[index].index(pinned)
            senses = self.costs.senses
            changes[index] = [cost if k // senses == place else INF for k, cost in enumerate(row)]
        base = self.lattice if choices == self.choices else self._with_more(choices)
        return (base.with_nodes(changes) if changes else base), choices

    def _widened(self, index: int, one: Candidate) -> tuple[Candidate, ...]:
        """Return the choices of a note with one more; kept, as matrices are known by the identity of choices."""
        if one in self.choices[index]:
            return self.choices[index]
        return self._wider.setdefault((index, one), (*self.choices[index], one))

    def _with_more(self, choices: Sequence[tuple[Candidate, ...]]) -> Lattice:
        """Return the lattice with more choices at some notes, which pay the prices of figures like the others."""
        base = self._built(choices)
        owed: dict[int, list[float]] = {}
        for tie, label in self.tied.labels.items():
            for k in tie:
                row = owed.setdefault(k, list(base.nodes[k]))
                for state in range(len(row)):
                    if choices[k][state // self.costs.senses].label != label:
                        row[state] += self.weights.figure
        return base.with_nodes(owed) if owed else base

    def outline(self) -> Plan:
        """Return the best plan without reasons, alternatives and warnings: a survey of thousands asks for none."""
        if not self.line.notes:
            return self.plan()
        return self._planned(self.lattice, self.choices, {}, None, outline=True)

    def picked(self) -> list[Candidate | None]:
        """Return the choices of the best plan and nothing else about it: what figures of a whole library need."""
        return self._solved({})[1] if self.line.notes else []

    def pinned(self, index: int, label: str) -> Candidate:
        """Return the choice that a pin means for a note.

        Raises
        ------
        Unreadable
            If the label does not sound it on this horn, or needs a valve that the player's hand cannot press.
        """
        note = self.line.notes[index]
        wanted = label.strip().replace("♯", "#").replace("♭", "b")
        ways = candidates(self.horn, note.midi)
        matches = [way for way in ways if way.label == wanted] or [
            way for way in ways if way.label.rstrip("#b") == wanted and wanted]
        if not matches:
            listed = ", ".join(dict.fromkeys(way.label for way in ways)) or "none at all"
            raise unreadable("bad-pin", where=self.where(index),
                             what=f"'{label}' does not sound {note.sounding.pretty} on {self.horn.name}",
                             try_=f"Its choices there: {listed}.")
        held = [one for one in matches if self.player.can_hold(one.valves)]
        if not held:
            raise unreadable("bad-pin", where=self.where(index),
                             what=f"'{label}' needs a valve that this player cannot press",
                             try_="Take the pin away, or the valve out of cannot in the player file.")
        return self.aimed(index, held[0])

    def where(self, index: int) -> str:
        """Return part, measure and line of a note, for a person."""
        note = self.line.notes[index]
        whose = f" ({self.line.whose})" if self.line.whose else ""
        return f"{self.line.part_name}{whose}, measure {note.measure}"

    def _planned(self, lattice: Lattice, choices: Sequence[tuple[Candidate, ...]], pins: Mapping[int, str],
                 old: Plan | None, *, outline: bool = False) -> Plan:
        landings: dict[int, list[float]] = {}
        pinned_lattice = lattice
        if self.leaps:
            # A leap ties notes far apart, so nothing of an older plan is sure to hold.
            lattice, landings = settled(lattice, choices, self.costs, self.leaps)
            old = None
        best = lattice.best()
        assert best is not None, "every edge is finite for some state, so a walk exists"
        senses = self.costs.senses
        cost = lattice.cost
        picked = [one[j // senses] if one else None for one, j in zip(choices, best, strict=True)]
        first, last = lattice.changed if old else (0, len(picked))
        notes = []
        around = Around(self.costs, self.times, self.moves, picked, self.usual, self.at_home)
        groups = () if outline else self._groups(
            pinned_lattice, (lattice, best), choices, pins, around, old, (first - 1, last))
        whys = {k: why for group in groups for k, why in note_whys(group).items()}
        for k, choice in enumerate(picked):
            if old and not first - 1 <= k <= last and old.notes[k].choice is choice and k not in pins:
                same = old.notes[k]
                said = self._said(k, choice, whys[k], same.pinned) if k in whys and choice is not None else same.why
                notes.append(replace(same, why=said) if said != same.why else same)
                continue
            if outline and choice is not None:
                notes.append(PlannedNote(index=k, note=self.line.notes[k], time=self.times[k], choice=choice,
                                         usual=self.usual[k], pinned=False, why=(), alternatives=(),
                                         rank=self._rank(k, choice)))
                continue
            worth = [] if choice is None else landings.get(k) or self._worth(lattice, k, len(choices[k]))
            extra = [one - cost for one in worth]
            notes.append(self._noted(k, choice, choices[k], extra, k in pins, around, whys.get(k)))
        return Plan(line=self.line, horn=self.horn, player=self.player, notes=tuple(notes), cost=cost,
                    totals=self.totals(picked), hardest=self.ceiling().steps, groups=groups)

    def _groups(self, base: Lattice, solved: tuple[Lattice, tuple[int, ...]],
                choices: Sequence[tuple[Candidate, ...]], pins: Mapping[int, str], around: Around, old: Plan | None,
                redone: tuple[int, int]) -> tuple[AlternateGroup, ...]:
        """Return the groups of notes off the chart; those of an older plan where nothing they looked at was redone.

        `base` is the lattice with the pins, `solved` the same with the repeats landed, and its best walk.
        """
        known = {(group.first, group.last): group for group in (old.groups if old else ())
                 if group.span[1] < redone[0] or group.span[0] > redone[1]}
        ties = paid(self.leaps, choices)
        resolver = Resolver(
            lattices=(one for one, _ in landed(base, choices, self.costs, ties)) if ties else iter(()),
            known=[] if ties else [solved],
            choices=choices, senses=self.costs.senses, row=self._row, matrix=self._matrix, widened=self._widened,
            tied=frozenset(k for leap in ties for k in (leap.start, leap.landing)),
            whole=lambda labels: self._solved({**pins, **labels}))
        notes, pinned = self.line.notes, frozenset(pins)
        return tuple(
            known.get((first, last)) or group_of(
                around, resolver, first, last, (notes[first].measure, notes[last].measure), self._barred(first, last),
                pinned)
            for first, last in runs(around.picked, self.usual))

    def _solved(self, pins: Mapping[int, str]) -> tuple[float, list[Candidate | None]]:
        """Return the least cost with pins, and the choices that have it."""
        base, choices = self.pinned_lattice(pins)
        lattice = settled(base, choices, self.costs, self.leaps)[0]
        best = lattice.best()
        assert best is not None, "a pinned choice sounds its note"
        return lattice.cost, [one[j // self.costs.senses] if one else None
                              for one, j in zip(choices, best, strict=True)]

    def _barred(self, first: int, last: int) -> dict[int, str]:
        """Say for each note from `first` to `last` whose usual choice is closed to this player why it is."""
        said = {}
        for k in range(first, last + 1):
            usual = self.usual[k]
            if usual is None or usual in self.choices[k]:
                continue
            label, name = shown(usual.label), self.line.notes[k].sounding.pretty
            if usual.out_mm > self.player.reach_on(self.horn):
                said[k] = f"{name} in {label} is beyond this player's reach"
            elif not self.player.can_hold(usual.valves):
                said[k] = f"{name} with {label} needs a valve that this player cannot press"
            else:
                said[k] = f"this player has not learned {label} for {name} yet"
        return said

    def _worth(self, lattice: Lattice, k: int, count: int) -> list[float]:
        """Return the least cost of the whole plan with each candidate of note `k`."""
        through = lattice.through(k)
        if self.costs.senses == 1:
            return through
        return [min(through[2 * j], through[2 * j + 1]) for j in range(count)]

    def _noted(self, k: int, choice: Candidate | None, choices: tuple[Candidate, ...], extra: Sequence[float],
               pinned: bool, around: Around, why: tuple[str, ...] | None) -> PlannedNote:
        note = self.line.notes[k]
        if choice is None:
            return PlannedNote(index=k, note=note, time=self.times[k], choice=None, usual=self.usual[k], pinned=False,
                               why=("No way to play it here.",), alternatives=(), problem=self.unplayable(k))
        others = sorted(
            (max(0.0, price), j) for j, price in enumerate(extra) if choices[j] is not choice and price < INF)
        alternatives = [Alternative(choice=choices[j], extra_cost=price) for price, j in others]
        toss_up = (choice is self.usual[k] and not pinned and bool(others)
                   and others[0][0] <= self.weights.margin)
        problem = None
        if note.gliss_after and broken_glissandi(self.horn, self.line.notes[k:k + 2], around.picked[k:k + 2]):
            problem = self._broken_gliss(k)
        said = self._said(k, choice, why or note_reasons(around, k, alternatives, pinned, toss_up), pinned)
        return PlannedNote(index=k, note=note, time=self.times[k], choice=choice, usual=self.usual[k], pinned=pinned,
                           why=said, alternatives=tuple(alternatives),
                           problem=problem, rank=self._rank(k, choice), toss_up=toss_up)

    def _said(self, k: int, choice: Candidate, why: tuple[str, ...], pinned: bool) -> tuple[str, ...]:
        """Return the reasons of a note with what its figure and its chord add to them."""
        elsewhere = None if pinned else self._elsewhere(k, choice)
        chord = chord_reason(self.roles[k], choice, self.choices[k]) if self.roles and self.roles[k] else None
        return (*why, *(more for more in (elsewhere, chord) if more))

    def _elsewhere(self, k: int, choice: Candidate) -> str | None:
        """Say where a note is played otherwise than the figure that it belongs to is in the rest of the line."""
        labels = self._figured.get(k, set()) - {choice.label}
        if not labels or choice.label in self._figured[k]:
            return None
        return (f"The same figure takes {' or '.join(shown(one) for one in sorted(labels))} elsewhere; here the notes "
                "around it are worth the difference.")

    def _rank(self, k: int, choice: Candidate) -> Rank:
        return familiarity(self.horn, choice, self.usual[k]).rank_in(self.times[k].sounds_s)

    def unplayable(self, k: int) -> Problem:
        """Return why note `k`, which nothing sounds, cannot be played."""
        note = self.line.notes[k]
        reason = why_not(self.horn, self.player, note.midi)
        assert reason is not None, "a note without a choice has a reason"
        return Problem(severity="error", code=reason.code, where=self.where(k),
                       what=f"{note.sounding.pretty} {reason.how}", try_=reason.try_)

    def _broken_gliss(self, k: int) -> Problem:
        a, b = self.line.notes[k], self.line.notes[k + 1]
        return Problem(severity="warning", code="gliss", where=self.where(k),
                       what=f"the glissando from {a.sounding.pretty} to {b.sounding.pretty} does not stay on one "
                            "partial and one valve state within the slide",
                       try_=advice(self.horn, a.midi, b.midi, self.player.reach_on(self.horn)))

    # --- sums ----------------------------------------------------------------------------------------------------

    def _peaks(self, picked: Sequence[Candidate | None]) -> Iterator[float]:
        return (peak_mm_s(slide_mm(a, b), move.move_s)
                for move, (a, b) in zip(self.moves, pairwise(picked), strict=False) if a is not None and b is not None)

    def totals(self, picked: Sequence[Candidate | None], top: Ceiling | None = None) -> Totals:
        """Return the sums over the line with these choices; `top` is the tempo ceiling where it is known already."""
        slide = self.horn.family == "slide"
        top = top or self.ceiling()
        # Both travels are counted over the same moves: where either side cannot play a note, neither counts it.
        usual = [chart if mine is not None else None for mine, chart in zip(picked, self.usual, strict=False)]
        mine = [one if chart is not None else None for one, chart in zip(picked, usual, strict=False)]
        return Totals(
            notes=len(picked), unplayable=sum(one is None for one in picked),
            travel_mm=travel_mm(mine) if slide else None, chart_travel_mm=travel_mm(usual) if slide else None,
            valve_changes=valve_changes(picked),
            peak_speed_mm_s=max(self._peaks(picked), default=0.0) if slide else None,
            tempo_ceiling_bpm=top.bpm, ceiling_by=top.by,
        )

    def loads_of(self, plan: Plan, limits: Limits | None = None) -> tuple[Load, ...]:
        """Return what each step of a plan asks of the player, or of other `limits`, by the note that it leaves."""
        loads = self.loads if limits is None else self._loads(limits)
        return loads.walk(plan.picked)

    def _loads(self, limits: Limits) -> Loads:
        return Loads(self.line, self.horn.family == "slide", limits, self.times, self.moves, self.weights.glide_from_s)

    def ceiling(self) -> Ceiling:
        """Return the tempo ceiling: some walk reaches it, none goes beyond."""
        if self._ceiling is None:
            self._ceiling = ceiling(self.loads, self.choices, self.times)
        return self._ceiling


def valve_changes(choices: Sequence[Candidate | None]) -> int:
    """Count the steps at which what is held changes, not counted across None."""
    return sum(a.valves != b.valves for a, b in pairwise(choices) if a is not None and b is not None)
