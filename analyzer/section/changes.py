"""The fewest changes that make a piece suit a section: move a player, lend a horn, slow down, print a part in another
clef, leave something out.

Searched exactly: for no, one or two moved players and lent horns, with the tempo kept or lowered, the seating with the
fewest further changes is an assignment problem of its own. Ties go to the way that takes least from the music, with
the horns nearest at hand, then to the least price.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.score.parts import HORN_OF_FAMILY
from analyzer.section.assignment import INF
from analyzer.section.burden import Burden, quick_notes, takes
from analyzer.section.cover import Cover, most_left_out
from analyzer.section.seating import Desk, assign_tied, leading

MOST_CHANGES = 4
"""With more changes than this a piece is said not to suit. Judged: about one a desk; a director may think otherwise and
still sees them."""
LEAST_TEMPO_FACTOR = 2 / 3
"""Slower than this share of its tempo a piece is another piece. Judged; from 0.6 to 0.75 the samples' verdicts stay."""
TEMPO_STEPS = (1.0, 0.95, 0.9, 0.8, LEAST_TEMPO_FACTOR)
"""Least tempo factors that are tried, so that a seating that needs little slowing is found before one that needs more.
"""
MOST_QUICK = 6
"""More notes than this are not left out of one line for want of speed: it is too fast, then. Judged."""
NOTES_FOR_TEMPO = 20.0
"""A tempo slower by a twentieth counts like one note left out, or one step farther to seek a horn. Judged; it decides
only between ways with equally many changes."""
MOST_MOVES = 2
FAR = 1_000
"""Changes that stand for one that cannot be made."""
_WORST_LINE = 3
"""A line takes at the most so many times `FAR`: a leading one that stays empty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lend:
    """A horn for a member who has none like it.

    `source` is ``band room``, ``player`` (a horn that `owner` has beside another) or ``elsewhere``.
    """

    member: int
    horn: Horn
    source: str
    owner: int | None = None

    @property
    def distance(self) -> int:
        """How far the horn is to seek: 0 in the band room, 1 with another player, 2 elsewhere."""
        return ("band room", "player", "elsewhere").index(self.source)


@dataclass(frozen=True, slots=True, kw_only=True)
class Release:
    """A member, kept on a family's parts, who may take another line."""

    member: int


SeatChange = Lend | Release
_Cell = tuple[int, float, Burden]      # changes, price, the burden: one member on one line
Place = tuple[int, Burden | None] | None
"""Who sits on a line: the member and what is asked of the hands, None for an instrument; None where nobody does."""
_Column = tuple[_Cell | None, ...]     # one member on every line, None where it cannot be


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedSeating:
    """A seating and what it takes.

    `seats` holds (member, burden) of each line, None where empty; `troubled` the notes of each that must be left out,
    handed over or played otherwise. `least` is how far the tempo was let down, `factor` what it must be
    multiplied by for the slowest seat [above 0, 1 where it may stay]; seats that would need less leave notes out.
    `count` is how many changes it takes in all; `left_out` how many notes, those of empty lines with them.
    `covers` are the lines that are covered by players for whom they were not written: together one change.
    """

    steps: tuple[SeatChange, ...]
    seats: tuple[Place, ...]
    troubled: tuple[tuple[int, ...], ...]
    least: float
    factor: float
    count: int
    left_out: int
    price: float
    covers: tuple[int, ...] = ()

    @property
    def possible(self) -> bool:
        """Whether every change can be made."""
        return self.count < FAR

    @property
    def order(self) -> tuple[float, ...]:
        """What ways are compared by: number of changes, what is lost to the music or to seek, price."""
        to_seek = sum(one.distance if isinstance(one, Lend) else 1 for one in self.steps)
        return (self.count, self.left_out + to_seek + NOTES_FOR_TEMPO * (1 - self.factor), self.price)


class Search:
    """Looks for the way with the fewest changes. `spared(i)` tells whether other parts have the notes of line `i`."""

    def __init__(self, desk: Desk, spared: Callable[[int], bool]) -> None:
        """Take the desk and the question whether a line's notes are heard elsewhere."""
        self.desk = desk
        self._lacks: dict[frozenset[int], int] = {}
        self._quick: dict[int, tuple[int, ...] | None] = {}
        self._columns: dict[object, _Column] = {}
        self._empty = [self._changes_if_empty(i, spared) for i in range(len(desk.chairs))]

    def _changes_if_empty(self, i: int, spared: Callable[[int], bool]) -> int:
        if self.desk.chairs[i].same_as is not None:
            return 0
        return _WORST_LINE * FAR if leading(self.desk.chairs, i) and not spared(i) else 2 * FAR

    def _lacking(self, lifted: frozenset[int]) -> int:
        """How many lines must stay empty because there are too few players with a horn of their kind."""
        if lifted not in self._lacks:
            desk = self.desk
            own = [i for i, chair in enumerate(desk.chairs) if chair.same_as is None]
            prices = [[0.0 if not desk.bars(i, j, lifted) and any(
                takes(horn, desk.chairs[i].line.family) for horn in member.horns) else INF
                for j, member in enumerate(desk.members)] for i in own]
            place = {i: row for row, i in enumerate(own)}
            ties = [rows for tie in desk.ties if (rows := [place[i] for i in tie if i in place])]
            self._lacks[lifted] = sum(one is None for one in assign_tied(prices, [1.0] * len(own), ties))
        return self._lacks[lifted]

    def troubled(self, burden: Burden, least_factor: float) -> tuple[int, ...] | None:
        """Notes of a seat that must be left out, handed over or played otherwise; None where too many would have to.

        Where the tempo would have to come below `least_factor`, notes that cannot be reached in time are among them.
        """
        most = most_left_out(len(burden.plan.notes))
        quick: tuple[int, ...] | None = ()
        if burden.too_fast and burden.tempo_factor < least_factor:
            # The desk keeps its burdens, so that their identity is a key.
            if id(burden) not in self._quick:
                few = min(most, MOST_QUICK)
                self._quick[id(burden)] = quick_notes(burden, few, self.desk.tempo_bpm) \
                    if len(burden.too_fast) <= 2 * few else None
            quick = self._quick[id(burden)]
        if quick is None:
            return None
        notes = {*burden.blocked, *burden.gliss, *quick}
        return tuple(sorted(notes)) if len(notes) <= most else None

    def changes_at(self, burden: Burden, least_factor: float) -> int:
        """How many changes to its notes one seat takes, where the tempo may come to `least_factor`; `FAR`: none do."""
        notes = self.troubled(burden, least_factor)
        return FAR if notes is None else int(bool(notes))

    def unchanged(self) -> ChangedSeating:
        """Return the way without moves, loans or another tempo."""
        return self._way((), 1.0)

    def seated(self, seats: Sequence[tuple[int, Burden | None, Cover | None] | None]) -> ChangedSeating:
        """Return what given seats take, at the tempo at which it is least."""
        ways = [self._seated(seats, least) for least in reversed(TEMPO_STEPS)]
        return min(ways, key=lambda way: way.order)

    def _seated(self, seats: Sequence[tuple[int, Burden | None, Cover | None] | None], least: float) -> ChangedSeating:
        desk = self.desk
        free = set(range(len(desk.members))) - {seat[0] for seat in seats if seat is not None}
        notes: list[tuple[int, ...]] = [()] * len(seats)
        total, left_out, price, factor = 0, 0, 0.0, 1.0
        for i, seat in enumerate(seats):
            if seat is None:
                # Where nobody is left for it, an empty line is one change; a leading one cannot be spared.
                lacking = not any(desk.matrix()[i][j].price is not None for j in free)
                total += self._empty[i] - (2 * FAR - 1 if self._empty[i] and lacking else 0)
                left_out += len(desk.chairs[i].line.notes) if desk.chairs[i].same_as is None else 0
                continue
            j, burden, cover = seat
            offer = desk.matrix()[i][j]
            price += offer.cost if offer.price is not None else 0.0
            missing = cover.missing if cover is not None else ()
            total += int(cover is None and bool(desk.unread(i, j)))
            if burden is not None:
                trouble = self.troubled(burden, least)
                if trouble is None or len(missing) > most_left_out(len(burden.plan.notes)):
                    total += FAR
                    continue
                notes[i] = tuple(sorted({*trouble, *missing}))
                if burden.too_fast and burden.tempo_factor >= least:
                    factor = min(factor, burden.tempo_factor)
            elif len(missing) > most_left_out(len(desk.chairs[i].line.notes)):
                total += FAR
            else:
                notes[i] = missing
            total += int(bool(notes[i]))
            left_out += len(notes[i])
        covers = tuple(i for i, seat in enumerate(seats) if seat is not None and seat[2] is not None)
        return ChangedSeating(
            steps=(), seats=tuple(None if seat is None else seat[:2] for seat in seats), troubled=tuple(notes),
            least=least, factor=factor, count=total + (factor < 1) + bool(covers), left_out=left_out, price=price,
            covers=covers)

    def best(self) -> ChangedSeating:
        """Return the way with the fewest changes (not `possible` where there is none)."""
        best = self._best_tempo((), None)
        steps = self._steps()
        for size in range(1, MOST_MOVES + 1):
            if best.count <= size or best.count > FAR * (1 + _WORST_LINE * self._lines_within(steps, size)):
                break
            for chosen in combinations(steps, size):
                if not _clash(chosen):
                    best = self._best_tempo(chosen, best)
        return best

    def _best_tempo(self, steps: tuple[SeatChange, ...], best: ChangedSeating | None) -> ChangedSeating:
        """Return the best way with these steps over all tempi, or `best` where none comes before it."""
        for least in reversed(TEMPO_STEPS):
            way = self._way(steps, least)
            if best is None or way.order < best.order:
                best = way
            elif way.count > best.count + 1:
                break                  # at a quicker tempo no seat takes fewer changes; only the tempo's own is saved
        assert best is not None, "there is a tempo to try"
        return best

    def _lines_within(self, steps: Sequence[SeatChange], size: int) -> int:
        """How many lines so many steps can mend at the most.

        A loan mends the line of its borrower (lines, where the part asks for several horns); a move that of the member
        and those that were reserved for such members.
        """
        families = Counter(family for chair in self.desk.chairs for family in {chair.line.family, chair.seat_family})
        freed = sorted((families[self.desk.members[one.member].dedicated or ""] for one in steps
                        if isinstance(one, Release)), reverse=True)
        return size * max(map(len, self.desk.ties), default=1) + sum(freed[:size])

    def _steps(self) -> list[SeatChange]:
        """Every move and loan that could help somebody take a line."""
        desk = self.desk
        steps: list[SeatChange] = []
        for j in range(len(desk.members)):
            if desk.members[j].dedicated:
                steps.append(Release(member=j))
            steps += [lend for lend in self._loans(j) if self._helps(lend)]
        return steps

    def _loans(self, j: int) -> Iterator[Lend]:
        desk = self.desk
        own = desk.members[j].horns
        families = {horn.family for horn in own}
        offers: list[tuple[Horn, str, int | None]] = [(horn, "band room", None) for horn in desk.section.spare]
        offers += [(horn, "player", k) for k, other in enumerate(desk.members) if k != j and len(other.horns) > 1
                   for horn in other.horns]
        needed = dict.fromkeys(HORN_OF_FAMILY.get(chair.line.family, "") for chair in desk.chairs)
        offers += [(load_horn(name), "elsewhere", None) for name in needed if name]
        for horn, source, owner in offers:
            if horn.family in families and horn not in own:
                yield Lend(member=j, horn=horn, source=source, owner=owner)

    def _helps(self, lend: Lend) -> bool:
        for i in range(len(self.desk.chairs)):
            if self.desk.bars(i, lend.member):
                continue
            own, with_it = (
                min((self.changes_at(one, LEAST_TEMPO_FACTOR) for one in self.desk.offers(i, lend.member, lent)),
                    default=FAR + 1)
                for lent in ((), (lend.horn,)))
            if with_it < own:
                return True
        return False

    def _column(self, j: int, lent: tuple[Horn, ...], away: frozenset[str], lifted: frozenset[int], least: float,
                ) -> _Column:
        """Return what member `j` with lent horns, without those given `away`, would do on each line; worked out once.
        """
        key = (j, tuple(horn.name for horn in lent), away, lifted, least)
        if key not in self._columns:
            desk = self.desk
            column: list[_Cell | None] = []
            for i in range(len(desk.chairs)):
                reprint = int(bool(desk.unread(i, j)))
                ways = [] if desk.bars(i, j, lifted) else [
                    (self.changes_at(one, least) + reprint, one.cost, one) for one in desk.offers(i, j, lent)
                    if one.horn in lent or one.horn.name not in away]
                column.append(min(ways, key=lambda way: way[:2], default=None))
            self._columns[key] = tuple(column)
        return self._columns[key]

    def _way(self, steps: tuple[SeatChange, ...], least: float) -> ChangedSeating:
        desk = self.desk
        lifted = frozenset(one.member for one in steps if isinstance(one, Release))
        loans = [one for one in steps if isinstance(one, Lend)]
        columns = [self._column(j, tuple(one.horn for one in loans if one.member == j),
                                frozenset(one.horn.name for one in loans if one.owner == j), lifted, least)
                   for j in range(len(desk.members))]
        table = list(zip(*columns, strict=True)) if columns else [()] * len(desk.chairs)
        # One change outweighs the whole difference that ranks, and those that prices, can make.
        unit = 1.0 + sum(max((cell[1] for cell in row if cell), default=0.0) for row in table)
        count = len(table)
        step = unit * (count * count + count + 1)
        prices = [[INF if cell is None else step * cell[0] + cell[1] + desk.beside(i, j) for j, cell in enumerate(row)]
                  for i, row in enumerate(table)]
        empty = [step * self._empty[i] + unit * (count - desk.chairs[i].rank) for i in range(count)]
        seats: list[Place] = []
        notes: list[tuple[int, ...]] = [()] * count
        # A line that stays empty only because players lack is one change; any other cannot be mended.
        total, left_out, price, factor = len(steps) - self._lacking(lifted) * (2 * FAR - 1), 0, 0.0, 1.0
        for i, seat in enumerate(assign_tied(prices, empty, desk.ties)):
            cell = None if seat is None else table[i][seat]
            if seat is None or cell is None:
                seats.append(None)
                total += self._empty[i]
                left_out += len(desk.chairs[i].line.notes) if desk.chairs[i].same_as is None else 0
                continue
            changes, cost, burden = cell
            seats.append((seat, burden))
            notes[i] = self.troubled(burden, least) or ()
            total += changes
            left_out += len(notes[i])
            price += cost
            if burden.too_fast and burden.tempo_factor >= least:
                factor = min(factor, burden.tempo_factor)
        return ChangedSeating(steps=steps, seats=tuple(seats), troubled=tuple(notes), least=least, factor=factor,
                              count=total + (factor < 1), left_out=left_out, price=price)


def _clash(steps: Sequence[SeatChange]) -> bool:
    """Whether two steps want the same player or the same horn twice."""
    loans = [one for one in steps if isinstance(one, Lend)]
    members = [one.member for one in steps]
    horns = [(one.source, one.owner, one.horn.name) for one in loans if one.source != "elsewhere"]
    return len(set(members)) < len(members) or len(set(horns)) < len(horns)
