"""Who sits where: prices of every seat, and the cheapest way to give lines to players, found exactly.

A line may go to any player: on a horn for it, or as a cover. Two habits of the trade are rules here, not prices: whom
the section file keeps on a family's parts stays on them, and a beginner is not put on a bass trombone part because the
chair happens to be free. A chair that its own players are enough for has a price for others, not a bar.
"""

import re
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from analyzer.horns.horn import Horn
from analyzer.plan.timing import NoteTime
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.parts import PartInfo
from analyzer.section.assignment import INF, assign
from analyzer.section.burden import Burden, burden_of, takes, unread_clefs
from analyzer.section.cover import (
    COVER_PRICES,
    Cover,
    Music,
    cover_of,
    is_cover,
    most_left_out,
    music_of,
    offered,
)
from analyzer.section.section import Member, Section
from analyzer.words import counted

MOST_DOUBLED_LESS = 0.1
"""Share of a line's notes that somebody who doubles it may leave out. Judged: less would keep a young player from
playing along, more is no part; a teacher decides by ear."""
DIVIDED_SHARE = 0.9
"""A part whose lines have this share of their notes together is one player's that divides. Judged: a chord at the end,
an octave to choose from; two players who share a staff differ in far more."""
BEGINNER_HIGH = 5.0
"""Price of each line of the same family below the one that a beginner sits on: young players begin on the lower parts
(common practice, no source). Judged; from 2 to 50 the same seats in the scores that were read."""
KEPT = 100_000.0
"""Price of a player on a line whose own players are others, or who has only bass trombones, off the bass trombone part:
more than ten moves that are too fast, less than one note that cannot be played. Judged."""
Role = Literal["melody", "bass", "inner", "double"]
_NUMBERS = re.compile(r"\d+|\b(?:IV|I{1,3}|V)\b")
_COUNT = re.compile(r"\s*\d+\s+[^\W\d]")         # "3 Trombones" are three; "3. Posaune", "3rd Trombone" is one
_TIE = 1e-6
"""Unit of the price that breaks ties; all of it stays below any difference of prices that a reader would see."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Offer:
    """One player on one line at his or her best: `price` None where that cannot be, and `why`.

    `played` is the name of the horn or instrument; `burden` is None on an instrument, `cover` None on the line's own
    kind of horn.
    """

    price: float | None
    why: tuple[str, ...]
    played: str
    burden: Burden | None = None
    cover: Cover | None = None

    @property
    def cost(self) -> float:
        """The price, inf where there is none."""
        return INF if self.price is None else self.price


@dataclass(frozen=True, slots=True, kw_only=True)
class Chair:
    """One line that somebody should play.

    `rank` says how late it is left empty where players lack (0 last of all); `same_as` is the index of an earlier line
    that stands for it: with the same sounding notes (one part printed in two clefs), or in the same part of one player,
    which then `divides` in these measures; else None.
    """

    part: PartInfo
    line: Line
    rank: int
    same_as: int | None = None
    divides: tuple[str, ...] = ()

    @property
    def title(self) -> str:
        """Name for a person."""
        return f"{self.part_title} ({self.line.whose})" if self.line.whose else self.part_title

    @property
    def part_title(self) -> str:
        """Name of the part for a person."""
        return self.part.full_name or self.part.name or self.part.id

    @property
    def seat_family(self) -> str:
        """Family of the horn that the part is for; a line for another horn of the same player does not change it."""
        return self.line.family if self.line.player is None else self.part.family


def chairs_of(lines: Sequence[tuple[PartInfo, Line]]) -> tuple[Chair, ...]:
    """Return the chairs of a score's lines, ranked.

    Filled first are the first trombone, then bass trombones, then the first euphonium (a baritone where there is
    none), then the lowest trombone (it carries the chord), then the other trombones from the top, baritones and
    euphoniums, other parts, and last what another line has already. Judged: what the ear misses first.
    """
    kinds: dict[str, list[int]] = {}
    same: dict[int, int] = {}
    seen: dict[tuple[str, tuple[object, ...]], int] = {}
    divided: dict[int, tuple[str, ...]] = {}
    for k, (part, line) in enumerate(lines):
        music = (line.family, tuple((note.onset, note.duration, note.midi) for note in line.notes))
        first = next(n for n, (_, one) in enumerate(lines) if (one.part_id, one.family) == (line.part_id, line.family))
        if music in seen:
            same[k] = seen[music]
        elif first < k and _for_one(part, lines[first][1], line):
            same[k], divided[k] = same.get(first, first), _differ(lines[first][1], line)
        else:
            seen[music] = k
            kinds.setdefault(line.family, []).append(k)
    trombones, basses = kinds.pop("trombone", []), kinds.pop("bass trombone", [])
    valved = kinds.pop("euphonium", []), kinds.pop("baritone", [])
    lead = [*valved[0], *valved[1]][:1]
    order = [*trombones[:1], *basses, *lead, *trombones[-1:], *trombones, *valved[1], *valved[0]]
    order += [k for rest in kinds.values() for k in rest] + list(same)
    ranks = {k: rank for rank, k in enumerate(dict.fromkeys(order))}
    return tuple(Chair(part=part, line=line, rank=ranks[k], same_as=same.get(k), divides=divided.get(k, ()))
                 for k, (part, line) in enumerate(lines))


def ties_of(chairs: Sequence[Chair]) -> tuple[tuple[int, ...], ...]:
    """Return the indices of the chairs, those together that are one player's, who changes horns."""
    ties: dict[tuple[str, int], list[int]] = {}
    for k, chair in enumerate(chairs):
        ties.setdefault((chair.part.id, (chair.line.player or (-chair.line.number, 0))[0]), []).append(k)
    return tuple(tuple(tie) for tie in ties.values())


def _for_one(part: PartInfo, first: Line, other: Line) -> bool:
    """Whether a part with several lines is one player's all the same, and only divides now and then.

    Its name says so (``Trombone 3``); where it names nobody by number, the lines differ in a few notes only.
    """
    name = part.full_name or part.name
    if numbers := _NUMBERS.findall(name):
        return len(numbers) == 1 and not _COUNT.match(name)
    mine, others = _attacks(first), _attacks(other)
    return len(mine & others) >= DIVIDED_SHARE * max(len(mine), len(others))


def _attacks(line: Line) -> set[tuple[Fraction, int]]:
    return {(note.onset, note.midi) for note in line.notes}


def _differ(first: Line, other: Line) -> tuple[str, ...]:
    own = _attacks(first)
    return tuple(dict.fromkeys(note.measure for note in other.notes if (note.onset, note.midi) not in own))


def leading(chairs: Sequence[Chair], k: int) -> bool:
    """Tell whether a chair is one that a piece hardly does without: first trombone, bass trombone, first euphonium."""
    chair = chairs[k]
    if chair.same_as is not None:
        return False
    if chair.line.family == "bass trombone":
        return True
    valved = [one for one in chairs if one.line.family in ("euphonium", "baritone") and one.same_as is None]
    family = [one for one in chairs if one.line.family == chair.line.family and one.same_as is None]
    if chair.line.family in ("euphonium", "baritone"):
        return chair is min(valved, key=lambda one: one.rank)
    return chair is family[0]


def assign_tied(prices: Sequence[Sequence[float]], empty: Sequence[float], ties: Sequence[Sequence[int]],
                own: Sequence[Sequence[bool]] | None = None) -> tuple[int | None, ...]:
    """Assign as `assign` does, but give all rows of a tie the same column, where there is one that can have them all.

    `ties` part the rows; those of a tie that no column can have whole go their own ways. Where `own` is given, a column
    can have them all only where it is true of each: who would cover one of the lines does not hold them together.
    """
    rows: list[tuple[Sequence[int], list[float]]] = []
    for tie in ties:
        whole = [sum(each) for each in zip(*(prices[i] for i in tie), strict=True)]
        able = any(price < INF and (own is None or all(own[i][j] for i in tie)) for j, price in enumerate(whole))
        rows += [(tie, whole)] if able else [((i,), list(prices[i])) for i in tie]
    found: dict[int, int | None] = {}
    columns = assign([row for _, row in rows], [sum(empty[i] for i in tie) for tie, _ in rows])
    for (tie, _), column in zip(rows, columns, strict=True):
        found.update(dict.fromkeys(tie, column))
    return tuple(found[i] for i in range(len(prices)))


class Desk:
    """Burdens of a section's seats, worked out when asked for and kept."""

    def __init__(self, chairs: Sequence[Chair], section: Section, tempo_bpm: float | None = None, *,
                 document: Document | None = None, doubled: Collection[int] = ()) -> None:
        """Take the chairs and players; `tempo_bpm` overrides the score's tempo.

        `document` tells where phrases part and mutes are asked for; `doubled` are chairs whose notes other parts have.
        """
        self.document = document
        self.roles = roles_of(chairs, doubled)
        self._offers: list[list[Offer]] | None = None
        self._music: dict[int, Music] = {}
        self.chairs = tuple(chairs)
        self.section = section
        self.members = section.members
        self.tempo_bpm = tempo_bpm
        self._known: dict[tuple[int, int, Horn], Burden] = {}
        self._times: dict[int, tuple[NoteTime, ...]] = {}
        self.ties = ties_of(self.chairs)
        # How many players each family asks for; a line printed twice counts once, as does who changes horns.
        self._lines_of = Counter(self.chairs[tie[0]].seat_family for tie in self.ties
                                 if self.chairs[tie[0]].same_as is None)

    def burden(self, i: int, j: int, horn: Horn) -> Burden:
        """Return what line `i` on `horn` asks of member `j`."""
        key = (i, j, horn)
        if key not in self._known:
            found = burden_of(self.chairs[i].line, self.members[j], horn, tempo_bpm=self.tempo_bpm,
                              times=self._times.get(i))
            self._known[key], self._times[i] = found, found.planner.times
        return self._known[key]

    def offers(self, i: int, j: int, lent: Sequence[Horn] = ()) -> list[Burden]:
        """Return the burdens of the horns with which member `j` could take line `i`: own ones, then lent ones."""
        family = self.chairs[i].line.family
        horns = [*self.members[j].horns, *lent]
        if self.members[j].level == "beginner" and self.members[j].keeps != "bass trombone":
            # Nor is a beginner given the bass trombone for another part, while there is any other horn.
            horns = [horn for horn in horns if horn.kind != "bass trombone"] or horns
        return [one for horn in horns if takes(horn, family) for one in [self.burden(i, j, horn)] if one.offered]

    def best(self, i: int, j: int) -> Burden | None:
        """Return the cheapest of a member's own horns for a line, None where there is none."""
        return min(self.offers(i, j), key=lambda one: one.cost, default=None)

    def bars(self, i: int, j: int, lifted: Collection[int] = ()) -> str | None:
        """Return what keeps member `j` from line `i` whatever the horn, None where nothing does.

        ``beginner``: a bass trombone part; ``kept``: the member stays on another family's parts; ``reserved``: those
        who stay on this line's family are enough for its lines. A member in `lifted` is not kept anywhere.
        """
        member, chair = self.members[j], self.chairs[i]
        if chair.line.family == "bass trombone" and member.level == "beginner" and member.keeps != "bass trombone":
            return "beginner"
        # A line for a second horn is open to those who stay on the part, and to those who stay on such horns.
        bars = [self._kept_from(family, j, lifted) for family in {chair.seat_family: 0, chair.line.family: 0}]
        return None if None in bars else bars[0]

    def _kept_from(self, family: str, j: int, lifted: Collection[int]) -> str | None:
        """Return the bar between member `j` and a family that comes of who stays where."""
        member = self.members[j]
        kept = member.dedicated if j not in lifted else None
        if kept in self._lines_of and kept != family:
            return "kept"
        if kept != family:
            keepers = sum(one.dedicated == family and k not in lifted for k, one in enumerate(self.members))
            if keepers >= self._lines_of[family]:
                return "reserved"
        return None

    def unread(self, i: int, j: int) -> tuple[str, ...]:
        """Return the clefs of line `i` that member `j` does not read, nothing where another print of it is read."""
        member, mine = self.members[j], self.chairs[i]
        clefs = unread_clefs(mine.line, member)
        others = (chair.line for k, chair in enumerate(self.chairs)
                  if not (chair.divides or mine.divides) and (chair.same_as == i or mine.same_as == k))
        return () if clefs and any(not unread_clefs(line, member) for line in others) else clefs

    def beside(self, i: int, j: int) -> float:
        """Return what a seat costs beside its burden: a beginner's high line, and what breaks ties.

        Ties are broken by the order of the file: first players first, on the first lines.
        """
        family, high = self.chairs[i].line.family, 0
        if self.members[j].level == "beginner":
            high = sum(one.line.family == family and one.same_as is None for one in self.chairs[i + 1:])
        return BEGINNER_HIGH * high + _TIE * j * (len(self.chairs) - i)

    def seats(self) -> tuple[int | None, ...]:
        """Return the member of each line, None where it stays empty: the cheapest of all, by `offers` and `empty`."""
        table = self.matrix()
        return assign_tied([[cell.cost for cell in row] for row in table], self.empty(), self.ties,
                           [[cell.cover is None for cell in row] for row in table])

    def matrix(self) -> list[list[Offer]]:
        """Return every line with every member: own horns first, then covers, none of them dearer than its own family.

        A cover costs by itself what `cover_of` says, above the dearest of all own seats with nothing lost: so that a
        line's own family is never dearer than a cover by the same number of moved and lost notes. That step is the same
        on every line: it says nothing of which line is covered.
        """
        if self._offers is None:
            self._offers = []
            table = [[self._own(i, j) for j in range(len(self.members))] for i in range(len(self.chairs))]
            most = max((most_left_out(len(chair.line.notes)) for chair in self.chairs), default=0)
            step = COVER_PRICES["lost"] * most
            step += max((cell.cost - _lost_price(cell.burden) for row in table for cell in row
                         if cell.price is not None and cell.burden is not None), default=0.0)
            for i, own in enumerate(table):
                beside = step
                if self.chairs[i].same_as is not None:       # nobody is put on a second print of a line as a cover
                    beside += 1.0 + max((cell.cost for cell in own if cell.cost < INF), default=0.0)
                row = []
                for j, cell in enumerate(own):
                    cover = self._covering(i, j, beside)
                    row.append(min((cell, cover), key=lambda one: one.cost) if cover else cell)
                self._offers.append(row)
        return self._offers

    def _own(self, i: int, j: int) -> Offer:
        """Return member `j` on line `i` with a horn of its kind."""
        member, family = self.members[j], self.chairs[i].line.family
        fitting = [horn for horn in member.horns if not is_cover(horn, family)]
        played = fitting[0].name if fitting else member.plays[0]
        bar = self.bars(i, j)
        if bar == "beginner":
            return Offer(price=None, why=("a beginner does not go on bass trombone just to fill a chair",),
                         played=played)
        if bar == "kept" and member.keeps:
            return Offer(price=None, why=(f"kept on {member.keeps} parts",), played=played)
        if not fitting:
            return Offer(price=None, why=(f"no horn for a {family} part",), played=played)
        best = self.best(i, j)
        if best is None:
            lacks = min(len(self.burden(i, j, horn).blocked) for horn in fitting)
            return Offer(price=None, played=played,
                         why=(f"lacks {lacks} of {counted(len(self.chairs[i].line.notes), 'note')}",))
        return Offer(price=round(best.cost + self.beside(i, j) + (KEPT if bar else 0.0), 6), why=_said(best, bar),
                     played=best.horn.name, burden=best)

    def _covering(self, i: int, j: int, above: float) -> Offer | None:
        """Return the cheapest cover of line `i` by member `j`, None where there is nothing to cover with.

        Who is kept off the line for another reason than the weight of a bass trombone does not cover it either.
        """
        member, line = self.members[j], self.chairs[i].line
        bar = self.bars(i, j)
        horns: list[Horn | None] = [horn for horn in member.horns if is_cover(horn, line.family)]
        horns += [None] if member.instrument is not None else []
        if not horns or (bar == "kept" and member.keeps):
            return None
        if i not in self._music:
            self._music[i] = music_of(line, self.document)
        covers = [cover_of(line, self._music[i], member, horn, tempo_bpm=self.tempo_bpm, times=self._times.get(i))
                  for horn in horns]
        fit = [cover for cover in covers if offered(cover, line)]
        if not fit:
            least = min(covers, key=lambda cover: len(cover.missing))
            lacks = f"lacks {len(least.missing)} of {counted(len(line.notes), 'note')} in any octave"
            return Offer(price=None, why=(lacks,), played=_cover_played(least, member))
        best = min(fit, key=lambda cover: cover.cost)
        price = round(best.cost + above + self.beside(i, j) + (KEPT if bar == "kept" else 0.0), 6)
        return Offer(price=price, why=tuple(loss.what for loss in best.lost), played=_cover_played(best, member),
                     burden=best.burden, cover=best)

    def empty(self) -> list[float]:
        """Return the price of leaving each line empty, above all that the others add up to.

        Melody and bass are dearest, alike; then the lines in the order of their rank, doubles after inner ones. With n
        lines, n * n + (n - place) of a unit that no seating reaches: one line less outweighs any places. A second print
        of a line costs more empty than with one of its own family, and less than with a cover.
        """
        table, count = self.matrix(), len(self.chairs)
        unit = 1.0 + sum(max((cell.cost for cell in row if cell.cost < INF), default=0.0) for row in table)
        unit = float(round(unit))
        order = sorted(range(count), key=lambda i: (("melody", "bass", "inner", "double").index(self.roles[i]),
                                                    self.chairs[i].rank))
        prices = [0.0] * count
        for place, i in enumerate(order):
            prices[i] = unit * (count * count + count - (0 if self.roles[i] in ("melody", "bass") else place))
            if self.chairs[i].same_as is not None:
                own = max((cell.cost for cell in table[i] if cell.cost < INF and cell.cover is None), default=0.0)
                prices[i] = round(own + 0.5, 6)
        return prices

    def doublings(self, seats: Sequence[int | None]) -> dict[int, tuple[int, Burden]]:
        """Give each member without a line one to double: with least to leave out, then where fewer play already.

        Returns member -> (line, burden); nothing for a member who lacks more than `MOST_DOUBLED_LESS` of each line. A
        bass trombone line is doubled only on another bass trombone.
        """
        heads = [int(one is not None) for one in seats]
        found: dict[int, tuple[int, Burden]] = {}
        for j in range(len(self.members)):
            if j in seats:
                continue
            ways = [(heads[i] > 1, one.cost, i, one) for i in range(len(self.chairs))
                    if heads[i] and not self.bars(i, j) for one in self.offers(i, j)
                    if "not_bass" not in one.items
                    and len(one.blocked) + len(one.too_fast) <= MOST_DOUBLED_LESS * len(one.plan.notes)]
            if ways:
                _, _, i, burden = min(ways, key=lambda way: way[:3])
                heads[i] += 1
                found[j] = (i, burden)
        return found


def _lost_price(burden: Burden) -> float:
    """What a burden's notes that cannot be played cost."""
    return sum(burden.items.get(name, 0.0) for name in ("unplayable", "out_of_range"))


def _said(burden: Burden, bar: str | None) -> tuple[str, ...]:
    """Say what makes a seat dear."""
    counts = ((burden.unplayable, "not on this horn"), (burden.out_of_range, "out of range"),
              (burden.too_fast, "too fast to move from"), (burden.gliss, "with a glissando that breaks"))
    said = [f"{counted(len(which), 'note')} {words}" for which, words in counts if which]
    if "clef" in burden.items:
        said.append("a clef that is not read")
    if "not_bass" in burden.items:
        said.append("a bass trombone line on another horn")
    if bar == "reserved":
        said.append("others stay on these parts and are enough for them")
    if bar == "kept":
        said.append("has bass trombones only, and there is a bass trombone part")
    return tuple(said)


def _cover_played(cover: Cover, member: Member) -> str:
    return cover.reader.horn.name if cover.reader.horn is not None else member.plays[0]


def roles_of(chairs: Sequence[Chair], doubled: Collection[int] = ()) -> tuple[Role, ...]:
    """Return what each line is in the sound: the highest is the melody, the lowest the bass, by their mean pitch.

    A line that has another's notes, or whose notes another part has (`doubled`), is a double; melody and bass stay what
    they are all the same. An only line is the melody.
    """
    own = [i for i, chair in enumerate(chairs) if chair.same_as is None]

    def mean(i: int) -> float:
        notes = chairs[i].line.notes
        return sum(note.midi for note in notes) / max(1, len(notes))

    top = max(own, key=lambda i: (mean(i), -i), default=None)
    bottom = min(own, key=lambda i: (mean(i), -i), default=None)
    found: list[Role] = []
    for i, chair in enumerate(chairs):
        found.append("melody" if i == top else "bass" if i == bottom else
                     "double" if chair.same_as is not None or i in doubled else "inner")
    return tuple(found)


def member_names(members: Sequence[Member]) -> str:
    """List names for a person."""
    names = [one.name for one in members]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}" if names else "nobody"
