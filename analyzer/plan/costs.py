"""Price of one candidate and of moving between two in the time given, itemised. Unit: one cm of easy slide travel.

Every item bears the name of its weight and grows in proportion to it, so that weights can be fitted to marks.

`SlideCosts` and `ValveCosts` answer the same three questions: what a note costs (`note_items`), what a move costs
(`move_items`), and, for the solver, whole rows and matrices of both. A slide's states carry the sense of the last
move (in, out), so that a change of direction has its price and the solver stays exact.
"""

from collections.abc import Sequence
from typing import NamedTuple

from analyzer.horns.candidate import Candidate, slide_mm
from analyzer.horns.horn import Horn
from analyzer.plan.familiarity import LEVELS, Familiarity, Level, known_as
from analyzer.plan.limits import PEAK_OVER_MEAN, Limits, peak_mm_s
from analyzer.plan.progress import Pair
from analyzer.plan.slurs import STILL_MM as STILL_MM  # a slide that stands still belongs to its costs, too
from analyzer.plan.slurs import slur_kind
from analyzer.plan.timing import NoteTime
from analyzer.plan.weights import Weights

BROKEN = 1e6
"""Price of a broken hard rule (a glissando over partials): never chosen while another way exists."""

Matrix = tuple[tuple[float, ...], ...]


class Move(NamedTuple):                # a key of what is priced once, and there is one for every note
    """What matters of the step from one note to the next: time for it, and how the notes are joined.

    `note_s`, `share`, `idle_s` and `breath_s` say what `move_s` is made of; see `timing.NoteTime`.
    """

    move_s: float
    next_s: float
    slur: bool
    gliss: bool
    rising: int                        # sign of the step in pitch
    note_s: float = 0.0
    share: float = 1.0
    idle_s: float = 0.0
    breath_s: float = 0.0
    trill: bool = False

    @property
    def again(self) -> bool:
        """Whether the pitch is struck again at once: no rest, fermata or breath between."""
        return not (self.rising or self.gliss or self.idle_s > 0.0 or self.breath_s > 0.0)


def move_of(time: NoteTime, slur: bool, gliss: bool, before_midi: int, after_midi: int, trill: bool = False) -> Move:
    """Build the `Move` between two notes."""
    step = after_midi - before_midi
    return Move(time.move_s, time.next_s, slur, gliss, (step > 0) - (step < 0),
                min(time.sounds_s, time.next_s), time.share, time.idle_s, time.breath_s, trill)


class Habit:
    """How much dearer or cheaper than a common alternate a choice is for a player of some level."""

    def __init__(self, horn: Horn, weights: Weights, level: Level) -> None:
        self._horn = horn
        self._at = LEVELS.index(level)
        self._weights = weights
        self._known: dict[int, tuple[Candidate, Familiarity, float]] = {}

    def items(self, one: Candidate, price: float, sounds_s: float) -> dict[str, float]:
        """Return what leaving the chart with `one` for `sounds_s` costs; a common alternate costs about `price`."""
        known = self._known.get(id(one))
        if known is None:
            found = known_as(self._horn, one)
            step = max(0, LEVELS.index(found.level) - self._at)
            known = self._known[id(one)] = one, found, self._weights.above_level**step
        _, found, factor = known
        rank = found.rank_in(sounds_s)
        return {rank: factor * getattr(self._weights, rank) * price, "margin": self._weights.margin}


def lip_items(weights: Weights, a: Candidate, b: Candidate, move: Move, haste: float) -> dict[str, float]:
    """Price of what the lip does from `a` to `b`, alike on slides and valves."""
    items = {}
    over = b.partial - a.partial
    if over:
        if move.slur:
            items["lip"] = weights.lip * abs(over) * haste
        if over * move.rising < 0:
            items["against"] = weights.against * haste
        if move.trill:
            items["trill"] = weights.trill * abs(over)
    if move.again and (a.valves != b.valves or over):
        items["restrike"] = weights.restrike
    return items


def keeps_gliss(a: Candidate, b: Candidate) -> bool:
    """Tell whether a glissando from `a` to `b` stays on one partial and one valve state."""
    return a.partial == b.partial and a.valves == b.valves


class SlideCosts:
    """Costs on a horn with a slide. Items are named as the weights are; see ``weights.toml``."""

    senses = 2                         # states a candidate has: arrived by moving in (0) or out (1)

    def __init__(self, horn: Horn, weights: Weights, limits: Limits, secure: frozenset[Pair] = frozenset(),
                 level: Level = "intermediate") -> None:
        self.horn = horn
        self.weights = weights
        self.habit = Habit(horn, weights, level)
        self.limits = limits
        self.secure = secure

    def note_items(self, one: Candidate, sounds_s: float, lowest_partial: int, usual: bool) -> dict[str, float]:
        """Price of sounding `one` for `sounds_s` seconds."""
        w = self.weights
        found_s = max(sounds_s, w.least_s)
        items = {
            "out": w.out * one.out_mm / 10 * found_s,
            "high_partial": w.high_partial * max(0, one.partial - lowest_partial) * found_s,
            "cents": w.cents * one.off_cents**2 * sounds_s,
        }
        if one.valves:
            if one.advice:             # flat in first, where the slide cannot come in: short notes are forgiven
                heard = min(1.0, max(0.0, sounds_s / w.forgiven_s - 1.0))
                items["unraised"] = w.unraised * abs(one.off_cents) * heard
            items["held_valve"] = w.held_valve * found_s
            items["second_valve"] = w.second_valve * (len(one.valves) - 1) * found_s
            items["resonance"] = w.resonance * max(0.0, sounds_s - w.sings_from_s)
        if one.shade:
            items["shaded"] = w.shaded
        if not usual:
            items |= self.habit.items(one, w.off_usual + w.off_usual_s * sounds_s, sounds_s)
        return items

    def move_items(self, a: Candidate, b: Candidate, move: Move) -> dict[str, float]:
        """Price of going from `a` to `b`, a change of direction apart."""
        w = self.weights
        distance_mm = slide_mm(a, b)
        peak = peak_mm_s(distance_mm, move.move_s)
        items = {"travel": distance_mm / 10 * w.travel,
                 "speed": distance_mm / 10 * w.speed * (peak / w.easy_speed_mm_s) ** 2}
        haste = 1.0 + (w.finger_time_s / move.next_s) ** 2
        if a.valves != b.valves:
            down = sum(valve not in a.valves for valve in b.valves)
            up = sum(valve not in b.valves for valve in a.valves)
            items["thumb"] = w.thumb * (down + up) * (1.0 + w.hasty_thumb * (haste - 1.0))
            if down and up:
                items["swap"] = w.swap * haste
        elif move.slur:
            kind = slur_kind(a, b, move.rising)
            if kind == "smear":
                items["smear"] = w.smear * max(1.0, move.next_s / w.smear_s)
            elif kind == "with grain":
                items["with_grain"] = w.with_grain
        if move.slur:
            items["slur_travel"] = w.slur_travel * distance_mm / 10
        items |= lip_items(w, a, b, move, haste)
        items = _eased(items, a, b, self.secure, w.secure)
        reach_mm = self.reach_mm(move)
        if distance_mm > reach_mm:
            items["over_speed"] = w.over_speed * beyond(distance_mm / reach_mm - 1)
        if move.gliss and not keeps_gliss(a, b):
            items["gliss"] = BROKEN
        return items

    def reach_mm(self, move: Move) -> float:
        """How far the slide gets before its move costs as too fast, by the limits that the ceiling asks, too. [mm]

        Notes shorter than `Weights.over_from_s` are priced as if they were as long: a quick run has its limit in the
        ceiling, and no way out of it by another place.
        """
        return self.limits.reach_mm(max(move.next_s, self.weights.over_from_s), move.move_s)

    def reversal(self, move: Move) -> float:
        """Price of a change of direction before this move."""
        return self.weights.reversal * min(1.0, 0.25 / move.move_s)

    def sense(self, a: Candidate, b: Candidate) -> int | None:
        """Sense of the move: 0 in, 1 out, None where the slide stands still."""
        change = b.out_mm - a.out_mm
        if abs(change) <= STILL_MM:
            return None
        return int(change > 0)

    def row(self, choices: Sequence[Candidate], sounds_s: float, home: Sequence[bool]) -> list[float]:
        """Node costs of one layer: two states a candidate. `home` tells which choices leave no chart."""
        lowest = lowest_partial(choices)
        costs = [sum(self.note_items(one, sounds_s, lowest, usual).values())
                 for one, usual in zip(choices, home, strict=True)]
        return [cost for cost in costs for _ in (0, 1)]

    def matrix(self, before: Sequence[Candidate], after: Sequence[Candidate], move: Move) -> Matrix:
        """Edge costs between two layers: rows by arrival state, columns by departure state."""
        w = self.weights
        turn = self.reversal(move)
        inf = float("inf")
        per_mm = 0.1 * w.travel
        per_cubed = 0.1 * w.speed * (PEAK_OVER_MEAN / (move.move_s * w.easy_speed_mm_s)) ** 2
        reach_mm = self.reach_mm(move)
        haste = 1.0 + (w.finger_time_s / move.next_s) ** 2
        thumb = w.thumb * (1.0 + w.hasty_thumb * (haste - 1.0))
        swap = w.swap * haste
        rising = move.rising
        lip = (w.lip * haste if move.slur else 0.0) + (w.trill if move.trill else 0.0)
        against = w.against * haste
        if move.slur:
            per_mm += 0.1 * w.slur_travel
        smear = w.smear * max(1.0, move.next_s / w.smear_s)
        rows: list[tuple[float, ...]] = []
        for b in after:
            to_mm = b.out_mm
            moving_in: list[float] = []
            moving_out: list[float] = []
            for a in before:
                from_mm = a.out_mm
                change = to_mm - from_mm
                distance = change if change >= 0 else -change
                cost = distance * (per_mm + per_cubed * distance * distance)
                if a.valves != b.valves:
                    down = sum(valve not in a.valves for valve in b.valves)
                    up = sum(valve not in b.valves for valve in a.valves)
                    cost += thumb * (down + up) + (swap if down and up else 0.0)
                elif move.slur:
                    kind = slur_kind(a, b, move.rising)
                    cost += smear if kind == "smear" else w.with_grain if kind == "with grain" else 0.0
                over = b.partial - a.partial
                if over:
                    cost += lip * (over if over > 0 else -over)
                    if over * rising < 0:
                        cost += against
                if move.again and (over or a.valves != b.valves):
                    cost += w.restrike
                if self.secure and (a.label, b.label) in self.secure:
                    cost *= w.secure
                if distance > reach_mm:
                    cost += w.over_speed * beyond(distance / reach_mm - 1)
                if move.gliss and not keeps_gliss(a, b):
                    cost += BROKEN
                if distance <= STILL_MM:
                    moving_in += (cost, inf)
                    moving_out += (inf, cost)
                elif change < 0:
                    moving_in += (cost, cost + turn)
                    moving_out += (inf, inf)
                else:
                    moving_in += (inf, inf)
                    moving_out += (cost + turn, cost)
            rows.append(tuple(moving_in))
            rows.append(tuple(moving_out))
        return tuple(rows)


class ValveCosts:
    """Costs on a valved horn."""

    senses = 1

    def __init__(self, horn: Horn, weights: Weights, secure: frozenset[Pair] = frozenset(),
                 level: Level = "intermediate") -> None:
        self.horn = horn
        self.weights = weights
        self.habit = Habit(horn, weights, level)
        self.secure = secure
        in_line = horn.handling.fourth_valve == "right hand"
        self._finger = {"1": 1.0, "2": 1.0, "3": weights.weak_finger, "4": weights.weak_finger if in_line else 1.0}

    def note_items(self, one: Candidate, sounds_s: float, lowest_partial: int, usual: bool) -> dict[str, float]:
        """Price of sounding `one` for `sounds_s` seconds."""
        w = self.weights
        off = one.off_cents
        if off > 0 and self.horn.handling.main_slide_trigger and sounds_s >= w.pull_from_s:
            off = max(0.0, off - w.pull_cents)
        items = {
            "cents": w.cents * off**2 * sounds_s,
            "open_valve": w.open_valve * len(one.valves) * sounds_s,
            "valved_partial": w.valved_partial * max(0, one.partial - lowest_partial) * max(sounds_s, w.least_s),
        }
        if not usual:
            items |= self.habit.items(one, w.off_usual + w.off_fingering + w.off_usual_s * sounds_s, sounds_s)
        return items

    def move_items(self, a: Candidate, b: Candidate, move: Move) -> dict[str, float]:
        """Price of going from `a` to `b`."""
        w = self.weights
        haste = 1.0 + (w.finger_time_s / move.next_s) ** 2
        items = lip_items(w, a, b, move, haste)
        if a.valves == b.valves:
            return items
        down = [valve for valve in b.valves if valve not in a.valves]
        up = [valve for valve in a.valves if valve not in b.valves]
        items["finger"] = w.finger * sum(self._finger[valve] for valve in (*down, *up)) * haste
        if down and up:
            items["crossing"] = w.crossing * haste
        return _eased(items, a, b, self.secure, w.secure)

    def reversal(self, move: Move) -> float:
        """Return 0: fingers have no direction."""
        return 0.0

    def sense(self, a: Candidate, b: Candidate) -> int | None:
        """Return None: fingers have no direction."""
        return None

    def row(self, choices: Sequence[Candidate], sounds_s: float, home: Sequence[bool]) -> list[float]:
        """Node costs of one layer. `home` tells which choices leave no chart."""
        lowest = lowest_partial(choices)
        return [sum(self.note_items(one, sounds_s, lowest, usual).values())
                for one, usual in zip(choices, home, strict=True)]

    def matrix(self, before: Sequence[Candidate], after: Sequence[Candidate], move: Move) -> Matrix:
        """Edge costs between two layers."""
        return tuple(tuple(sum(self.move_items(a, b, move).values()) for a in before) for b in after)


Costs = SlideCosts | ValveCosts


def lowest_partial(choices: Sequence[Candidate]) -> int:
    """Lowest partial among the choices without advice against them (all, if none is); 1 for none."""
    good = [choice.partial for choice in choices if choice.advice is None] or [choice.partial for choice in choices]
    return min(good, default=1)


def costs_for(horn: Horn, weights: Weights, limits: Limits, secure: frozenset[Pair] = frozenset(),
              level: Level = "intermediate") -> Costs:
    """Return the costs that fit the horn's family; `secure` moves, in both directions, cost less."""
    if horn.family == "slide":
        return SlideCosts(horn, weights, limits, secure, level)
    return ValveCosts(horn, weights, secure, level)


def beyond(excess: float) -> float:
    """Share of the price of too fast a move, from how far it passes the limit [share of the limit]; below 1.

    Examples
    --------
    >>> beyond(1.0), beyond(9.0)
    (0.5, 0.9)
    """
    return excess / (1.0 + excess)


def _eased(items: dict[str, float], a: Candidate, b: Candidate, secure: frozenset[Pair], share: float,
           ) -> dict[str, float]:
    """Return the price of a move, lower where it is secure."""
    if (a.label, b.label) not in secure:
        return items
    return {name: share * price for name, price in items.items()}
