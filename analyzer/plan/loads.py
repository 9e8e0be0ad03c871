"""How much of what a player can do each step of a line asks: 1 is all of it, by slide, valves, lip or tongue.

A load is 1 over the factor by which the tempo may rise until the step takes all that the player has (`plan.limits`):
time from attack to attack shrinks with the tempo, a breath does not. Laws:

- **slide**: the least time for the way by the greatest acceleration, against the whole time from attack to attack (at
  the limit a slide never rests); a told greatest speed against the time that the plan leaves for moving;
- **valves**: ``1 / valve_notes_s`` where what is held changes, on trombones, too;
- **lip**: ``sqrt(partials) / slur_notes_s`` where a slur changes partial, against the time since the lip last moved:
  one attack where the step before changed partial, too, else two (a scale crosses partials now and then, a lip trill
  at every note). The root is judged: a wider leap takes longer, as a longer way of the slide does. On a trombone only
  where the slide stands still: a slide that moves is helped by a light tongue;
- **tongue**: tongued attacks a second over `BURST` in a row (a single quick pair is a flick of the tongue). It does not
  hang on the choices, all others do.

Free time asks nothing: grace notes, which take their time from the note before, and notes that the reader marks as
too short for any tempo (`LineNote.free`: a cadenza written out).
"""

from collections.abc import Sequence
from itertools import accumulate
from math import sqrt
from typing import NamedTuple

from analyzer.horns.candidate import Candidate
from analyzer.plan.costs import Matrix, Move, keeps_gliss
from analyzer.plan.limits import By, Limits
from analyzer.plan.slurs import slur_kind
from analyzer.plan.timing import NoteTime
from analyzer.score.lines import Line

TOO_MUCH = 1 + 1e-6
"""A load above this is more than the player has; the rest is rounding."""
BURST = 3
"""Steps of the tongue that are counted together: four attacks, a beat of sixteenths. Judged; from 2 to 4 the ceilings
of the sample scores are the same."""


class Load(NamedTuple):
    """What one step asks of each of the four, as shares of what the player has: 1 at the limit."""

    slide: float = 0.0
    valves: float = 0.0
    tongue: float = 0.0
    lip: float = 0.0

    @property
    def most(self) -> float:
        """The greatest of the four."""
        return max(self)

    def only(self, kind: By) -> "Load":
        """Return the same with nothing but one of the four."""
        return Load(**{kind: getattr(self, kind)})

    @property
    def by(self) -> By:
        """Which is the greatest; of equals the first named here."""
        for name in ("slide", "valves", "tongue", "lip"):
            if getattr(self, name) == self.most > 0.0:
                return name
        return "none"


class Span(NamedTuple):
    """Within what the choices of one note lie: how far out [mm], which partials, which valve states."""

    low_mm: float
    high_mm: float
    low_partial: int
    high_partial: int
    valves: frozenset[tuple[str, ...]]

    @classmethod
    def of(cls, choices: Sequence[Candidate]) -> "Span":
        """Return the span of some choices, at least one."""
        outs = [one.out_mm for one in choices]
        partials = [one.partial for one in choices]
        return cls(min(outs), max(outs), min(partials), max(partials), frozenset([one.valves for one in choices]))


class Loads:
    """The loads of one line for one player; a step is named by the index of the note that it leaves."""

    def __init__(self, line: Line, slide: bool, limits: Limits, times: Sequence[NoteTime], moves: Sequence[Move],
                 glide_from_s: float) -> None:
        self.slide = slide
        self.limits = limits
        self.moves = moves
        self.glide_from_s = glide_from_s
        self.free = tuple(a.grace or b.grace or a.free for a, b in zip(line.notes, line.notes[1:], strict=False))
        self.tongue = _tongue(line, times, limits.tongue_notes_s)

    def hand(self, k: int, a: Candidate, b: Candidate) -> tuple[float, float]:
        """Return the loads of slide and valves; a glissando that breaks is no question of time."""
        move = self.moves[k]
        if self.free[k] or (move.gliss and not keeps_gliss(a, b)):
            return 0.0, 0.0
        return self._arm(move, abs(b.out_mm - a.out_mm)), self._fingers(move) if a.valves != b.valves else 0.0

    def _arm(self, move: Move, distance_mm: float) -> float:
        if not self.slide:
            return 0.0
        arm = _share(self.limits.move_s(distance_mm), move)
        if self.limits.max_slide_speed_mm_s is not None:
            arm = max(arm, self._at_speed(self.limits.speed_s(distance_mm), move))
        return arm

    def _fingers(self, move: Move) -> float:
        return _share(1 / self.limits.valve_notes_s, move)

    def lip(self, k: int, a: Candidate, b: Candidate, moved: bool) -> float:
        """Return the load of the lip; `moved` tells whether the step before changed partial, too."""
        move = self.moves[k]
        if not move.slur or move.gliss or self.free[k] or a.partial == b.partial:
            return 0.0
        if self.slide and slur_kind(a, b, move.rising) != "lip":
            return 0.0
        need_s = sqrt(abs(a.partial - b.partial)) / self.limits.slur_notes_s
        if moved:
            return _share(need_s, move)
        if k == 0:
            return 0.0
        before = self.moves[k - 1]
        still_s = move.breath_s + before.breath_s
        return max(0.0, need_s - still_s) / (move.next_s + before.next_s - still_s)

    def two_lipped(self, k: int) -> bool:
        """Whether it matters at the start of step `k` what the lip did before: slurred steps, the first apart."""
        return k > 0 and self.moves[k].slur and not self.moves[k].gliss and not self.free[k]

    def rows(self, k: int, before: Sequence[Candidate], after: Sequence[Candidate], broken: float) -> Matrix:
        """Return the loads of slide and valves for every pair, rows by arrival.

        A glissando that some pair keeps is `broken` in the others; one that no pair keeps says nothing of the tempo.
        """
        move = self.moves[k]
        if move.gliss or self.free[k]:
            gliss = move.gliss and any(keeps_gliss(a, b) for a in before for b in after)
            return tuple(tuple(broken if gliss and not keeps_gliss(a, b) else max(self.hand(k, a, b)) for a in before)
                         for b in after)
        fingers = self._fingers(move)
        rows = []
        for b in after:
            to_mm, held = b.out_mm, b.valves
            rows.append(tuple([max(self._arm(move, abs(to_mm - a.out_mm)), fingers) if a.valves != held
                               else self._arm(move, abs(to_mm - a.out_mm)) for a in before]))
        return tuple(rows)

    def at_most(self, k: int, before: Span, after: Span) -> float:
        """Return a load of slide, valves and lip that no two choices within these spans exceed at step `k`.

        Only where no glissando is asked for and no greatest speed of the slide is told.
        """
        move = self.moves[k]
        need_s = 0.0
        if self.slide:
            need_s = self.limits.move_s(max(after.high_mm - before.low_mm, before.high_mm - after.low_mm, 0.0))
        if len(before.valves | after.valves) > 1:
            need_s = max(need_s, 1 / self.limits.valve_notes_s)
        if move.slur:
            need_s = max(need_s, sqrt(max(after.high_partial - before.low_partial,
                                          before.high_partial - after.low_partial)) / self.limits.slur_notes_s)
        return _share(need_s, move)

    def walk(self, picked: Sequence[Candidate | None]) -> tuple[Load, ...]:
        """Return the load of every step of a plan; a step to or from a note that nothing sounds has the tongue's."""
        found = []
        moved = False
        for k, tongue in enumerate(self.tongue):
            a, b = picked[k], picked[k + 1]
            if a is None or b is None:
                found.append(Load(tongue=tongue))
                moved = False
                continue
            arm, valves = self.hand(k, a, b)
            found.append(Load(arm, valves, tongue, self.lip(k, a, b, moved)))
            moved = a.partial != b.partial
        return tuple(found)

    def _at_speed(self, needs_s: float, move: Move) -> float:
        """Invert `timing.moving_s` for the tempo factor at which a move of `needs_s` just fits."""
        needs_s -= move.breath_s
        if needs_s <= 0.0:
            return 0.0
        load = needs_s / (move.idle_s + move.share * move.note_s)
        if move.note_s * load >= self.glide_from_s:
            return load
        load = needs_s / (move.idle_s + move.note_s)
        if move.note_s * load < move.share * self.glide_from_s:
            return load
        # Between: the slide keeps its time within the note; only the silence shrinks.
        kept_s = move.share * self.glide_from_s
        return max(needs_s - kept_s, 0.0) / move.idle_s if move.idle_s else self.glide_from_s / move.note_s


def _share(need_s: float, move: Move) -> float:
    """Return the load of what needs `need_s` of the time from attack to attack."""
    return max(0.0, need_s - move.breath_s) / (move.next_s - move.breath_s)


def _tongue(line: Line, times: Sequence[NoteTime], rate: float) -> tuple[float, ...]:
    """Return the tongue's load at each step: the greatest of the bursts that it is part of."""
    notes = line.notes
    if len(notes) < 2:
        return ()
    starts_s = [0.0, *accumulate(time.next_s - time.breath_s for time in times)]
    breaths_s = [0.0, *accumulate(time.breath_s for time in times)]
    attacks = [k for k, note in enumerate(notes)
               if not note.grace and (k == 0 or not notes[k - 1].free)
               and (k == 0 or not _joined(notes[k - 1].slur_after, notes[k - 1].gliss_after,
                                          notes[k - 1].midi == note.midi))]
    loads = [0.0] * (len(notes) - 1)
    burst = min(BURST, len(attacks) - 1)
    for i in range(len(attacks) - burst if burst else 0):
        first, last = attacks[i], attacks[i + burst]
        need_s = burst / rate - (breaths_s[last] - breaths_s[first])
        load = max(0.0, need_s) / (starts_s[last] - starts_s[first])
        for k in range(first, last):
            loads[k] = max(loads[k], load)
    return tuple(loads)


def _joined(slur: bool, gliss: bool, same: bool) -> bool:
    """Whether a note is reached without the tongue: a slur over one pitch is tongued softly."""
    return gliss or (slur and not same)
