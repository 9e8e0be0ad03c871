"""Does a piece suit a section: who plays what on which horn, what stands in the way, what would have to change."""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from analyzer import cautions
from analyzer.horns.horn import Horn
from analyzer.problem import Problem, unreadable
from analyzer.review.findings import Finding, FindingSeverity, finding_at
from analyzer.review.harmony import Harmony
from analyzer.review.line import findings as review
from analyzer.score.document import Document
from analyzer.score.transposing import Reads
from analyzer.section.burden import Burden, excess_s, takes, unread_clefs
from analyzer.section.changes import FAR, LEAST_TEMPO_FACTOR, MOST_CHANGES, ChangedSeating, Lend, Place, Search
from analyzer.section.cover import Cover
from analyzer.section.covered import ENOUGH, Covered
from analyzer.section.looked import About, Looked, Reservation, about, looked_at, reservations
from analyzer.section.proposals import Proposal, changes_of
from analyzer.section.seating import Chair, Desk, Offer, Role, chairs_of, leading, member_names
from analyzer.section.section import Member, Section
from analyzer.section.shares import Share, shares_of
from analyzer.selection import asked_lines, chosen_parts
from analyzer.supposed import doubts_of
from analyzer.words import counted, first_few, listed, measures_named

Verdict = Literal["suits", "suits with changes", "does not suit"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """One player on one line. `doubles` where the line has another player who comes first.

    `cover` tells how the line is played by somebody for whom it was not written, None on a horn of its kind; `burden`
    is None on an instrument, which has neither positions nor valve combinations of ours; `price` as in the matrix.
    """

    chair: Chair
    member: Member
    burden: Burden | None
    doubles: bool
    findings: tuple[Finding, ...]
    price: float
    cover: Cover | None = None

    @property
    def horn(self) -> Horn | None:
        """The horn in hand, None for an instrument."""
        return self.burden.horn if self.burden is not None else None

    @property
    def played(self) -> str:
        """Name of the horn or instrument in hand."""
        return self.horn.name if self.horn is not None else self.member.plays[0]

    @property
    def looked(self) -> Looked:
        """What was checked of this player, and what the section file did not tell."""
        return looked_at(self.member, self.horn)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unfilled:
    """A line without a player, and why."""

    chair: Chair
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PricedLine:
    """A line with what it costs to leave it empty, and every present player's offer, by name."""

    chair: Chair
    role: Role
    empty_price: float
    offers: tuple[tuple[str, Offer], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SectionFit:
    """The answer.

    `after` is the seating once the changes are made, as (chair, player, horn), where it differs; `reservations` belong
    to the verdict: chairs that are filled otherwise than their parts ask. `shares` are lines that have no player, or
    whose cover loses notes, as those who rest could have them.
    """

    document: Document
    verdict: Verdict
    seats: tuple[Seat, ...]
    unfilled: tuple[Unfilled, ...]
    reservations: tuple[Reservation, ...]
    changes: tuple[Proposal, ...]
    after: tuple[tuple[Chair, str, str], ...]
    findings: tuple[Finding, ...]
    problems: tuple[Problem, ...]
    cautions: tuple[str, ...]
    priced: tuple[PricedLine, ...] = ()
    absent: tuple[str, ...] = ()
    shares: tuple[Share, ...] = ()
    reads: Reads | None = None

    @property
    def relieved(self) -> tuple[Share, ...]:
        """Shares of lines that have a player; those of the others are told where the line is said to be empty."""
        empty = [one.chair for one in self.unfilled]
        return tuple(share for share in self.shares if share.chair not in empty)

    @property
    def about(self) -> About:
        """Whether the verdict speaks of the horns alone, or of the players too."""
        return about([seat.looked for seat in self.seats])


def fit(document: Document, section: Section, *, parts: tuple[str, ...] = (),
        measures: tuple[str, str] | None = None, tempo_bpm: float | None = None,
        reads: Reads | None = None) -> SectionFit:
    """Seat a section for a score and judge whether the piece suits it.

    Raises
    ------
    Unreadable
        If a part or measure is not there, or the score has no low brass or no note of it.
    """
    chosen, problems = chosen_parts(document, parts)
    asked, more = asked_lines(document, chosen, measures=measures, reads=reads)
    problems += more
    problems += dict.fromkeys(doubt for one in asked for doubt in doubts_of(one.line, document.name, tempo_bpm))
    lines = [(one.part, one.line) for one in asked if one.line.notes]
    if not lines:
        raise unreadable("no-notes", where=document.name, what="the low-brass parts have no notes here",
                         try_="Choose other measures or parts.")
    if not section.members:
        raise unreadable("nobody-left", where=document.name, what="everybody in the section is absent",
                         try_="Leave somebody to play.")
    covered = Covered(document)
    desk = _desk(document, chairs_of(lines), section, covered, tempo_bpm)
    placed = _placed(desk)
    doubling = desk.doublings([place[0] if place else None for place in placed])
    shares = shares_of(desk, placed, doubling)
    shared = {share.nth for share in shares if share.whole}
    search = Search(desk, lambda i: _spared(covered, desk.chairs, i))
    way = _way(search, Search(desk, lambda i: i in shared or _spared(covered, desk.chairs, i)), placed)
    covers = any(place is not None and place[1].cover is not None for place in placed)
    verdict: Verdict = "suits" if way.count == 0 else "does not suit"
    if way.possible and 0 < way.count <= MOST_CHANGES:
        verdict = "suits with changes"
    if covers and verdict == "suits":                    # who covers reads another part than the printed one
        verdict = "suits with changes"
    harmony = Harmony(document)
    seats, unfilled, general = _seated(desk, placed, covered, harmony, doubling, shares)
    changes = changes_of(desk, way, covered, harmony, shares) if way.possible else ()
    after = _after(desk, way, placed) if way.possible and way.count and not (way.covers and not way.steps) else ()
    general = [*general, *_blocking(search, way, verdict, placed, covered)]
    lent = [one for one in way.steps if isinstance(one, Lend)] if way.possible else []
    empty = desk.empty()
    return SectionFit(document=document, reads=reads, verdict=verdict, seats=tuple(seats), unfilled=tuple(unfilled),
                      reservations=reservations(desk.chairs, [
                          (desk.members[place[0]], place[1].burden.horn if place[1].burden else None)
                          if place else None for place in placed]),
                      changes=changes, after=after, findings=tuple(general), problems=tuple(problems),
                      cautions=_cautions(seats, lent), shares=shares,
                      absent=tuple(member.name for member in section.absent),
                      priced=tuple(PricedLine(
                          chair=chair, role=desk.roles[i], empty_price=empty[i],
                          offers=tuple((member.name, offer) for member, offer in
                                       zip(desk.members, desk.matrix()[i], strict=True)))
                          for i, chair in enumerate(desk.chairs)))


Placed = tuple[tuple[int, Offer] | None, ...]


def _desk(document: Document, chairs: tuple[Chair, ...], section: Section, covered: Covered,
          tempo_bpm: float | None) -> Desk:
    """Return the desk; of a line that is printed twice, the print that its player reads comes first."""
    parts = {chair.part.id for chair in chairs}
    doubled = [i for i, chair in enumerate(chairs) if _heard(covered, chair, parts)]
    desk = Desk(chairs, section, tempo_bpm, document=document, doubled=doubled)
    seats = desk.seats()
    swapped = list(chairs)
    for i, chair in enumerate(chairs):
        first = chair.same_as
        if first is None or chair.divides or seats[i] is not None or (j := seats[first]) is None:
            continue
        if unread_clefs(chairs[first].line, desk.members[j]) and not unread_clefs(chair.line, desk.members[j]):
            swapped[i] = replace(chair, rank=chairs[first].rank, same_as=None)
            swapped = [replace(other, same_as=i) if k == first or (other.same_as == first and k != i) else other
                       for k, other in enumerate(swapped)]
            swapped[first] = replace(swapped[first], rank=chair.rank)
    return desk if swapped == list(chairs) else Desk(swapped, section, tempo_bpm, document=document, doubled=doubled)


def _heard(covered: Covered, chair: Chair, but: Collection[str]) -> bool:
    """Tell whether other parts than those of the section have a line's notes."""
    double = covered.best_double(chair.line, but)
    return double is not None and double.share >= ENOUGH


def _spared(covered: Covered, chairs: Sequence[Chair], i: int) -> bool:
    return _heard(covered, chairs[i], {chair.part.id for chair in chairs})


def _placed(desk: Desk) -> Placed:
    """Return member and offer of each line: the cheapest of all."""
    return tuple(None if j is None else (j, desk.matrix()[i][j]) for i, j in enumerate(desk.seats()))


def _way(search: Search, seated: Search, placed: Placed) -> ChangedSeating:
    """Return the fewest changes that make the piece suit: none, those of the seats shown, or other seats.

    `seated` knows what those seats can share out; of other seats nobody has asked that.
    """
    seats = [None if place is None else (place[0], place[1].burden, place[1].cover) for place in placed]
    shown = seated.seated(seats)
    if shown.count == 0:
        return shown
    way = search.best()
    if shown.covers and shown.possible:
        # Players where they belong come before covers, if it takes no more and leaves no more lines empty.
        better = way.possible and way.count <= shown.count and way.seats.count(None) <= shown.seats.count(None)
        return way if better else shown
    # No change at all would be said of other seats than those that are shown.
    return shown if way.count == 0 or (not way.possible and shown.possible) else way


def _better_print(desk: Desk, places: list[Place]) -> list[Place]:
    """Where a line is printed twice and only one print has a player, give that player the print that is read."""
    for i, chair in enumerate(desk.chairs):
        first = chair.same_as
        if first is None or places[i] is not None or (place := places[first]) is None:
            continue
        member = desk.members[place[0]]
        if place[1] is not None and unread_clefs(desk.chairs[first].line, member) and not unread_clefs(
                chair.line, member):
            places[i], places[first] = (place[0], desk.burden(i, place[0], place[1].horn)), None
    return places


def _seated(desk: Desk, placed: Placed, covered: Covered, harmony: Harmony, doubling: dict[int, tuple[int, Burden]],
            shares: Sequence[Share]) -> tuple[list[Seat], list[Unfilled], list[Finding]]:
    helped = {share.nth: share for share in shares}
    seats: list[Seat] = []
    unfilled: list[Unfilled] = []
    for i, (chair, place) in enumerate(zip(desk.chairs, placed, strict=True)):
        if place is None:
            why = _why_empty(desk, i, placed, covered) + _away(desk, chair)
            shared = f"; shared out: {helped[i].said}" if i in helped else ""
            unfilled.append(Unfilled(chair=chair, why=why + shared))
        else:
            seats.append(_seat(desk, i, *place, doubles=False, harmony=harmony))
        seats += [_seat(desk, i, j, Offer(price=round(burden.cost, 6), why=(), played=burden.horn.name, burden=burden),
                        doubles=True, harmony=harmony) for j, (line, burden) in doubling.items() if line == i]
    seated = {place[0] for place in placed if place} | set(doubling)
    return seats, unfilled, [*_about_horns(desk, placed), *_about_players(desk, seated, doubling)]


def _seat(desk: Desk, i: int, j: int, offer: Offer, *, doubles: bool, harmony: Harmony) -> Seat:
    chair, member, burden, cover = desk.chairs[i], desk.members[j], offer.burden, offer.cover
    found: list[Finding] = []
    if burden is not None:
        burden = replace(burden, plan=burden.planner.plan())   # with its reasons, for those who sit there
        found += review(burden.plan, burden.planner, harmony=harmony)
    if cover is not None:
        line = chair.line
        found += [finding_at(line, k, "out-of-range", "stop",
                             f"{line.notes[k].sounding.pretty} lies outside the range of {member.name} on "
                             f"{offer.played} in every octave that the phrase can take",
                             more=("Leave the note out, or give it to another player.",))
                  for k in cover.missing if burden is None]
        found.append(_finding(chair, "cover", "care",
                              f"{member.name} covers this {line.family} line on {offer.played}; lost: "
                              f"{'; '.join(loss.what for loss in cover.lost)}",
                              "Hand out a part that is written for this player, not the printed one."))
    clefs = unread_clefs(chair.line, member) if cover is None else ()
    if clefs:
        found.append(_finding(chair, "clef", "care", f"{member.name} does not read {' or '.join(clefs)} clef",
                              "Print the part in a clef the player reads, or teach this one first."))
    excess = excess_s(burden.plan, member) if burden is not None else 0.0
    if excess:
        found.append(_finding(chair, "tiring", "care",
                              f"{member.name} plays {excess / 60:.1f} minutes more here than the endurance in the file",
                              "Let another player take a phrase, and rest before it."))
    if burden is not None and cover is None:
        first = next((horn for horn in member.horns if takes(horn, chair.line.family)), burden.horn)
        if first != burden.horn:
            found.append(_finding(chair, "horn", "note", f"{member.name} takes {burden.horn.name}, not {first.name}: "
                                                         f"{_gain(desk.burden(i, j, first), burden)}"))
    return Seat(chair=chair, member=member, burden=burden, doubles=doubles, findings=tuple(found), cover=cover,
                price=offer.cost)


def _gain(first: Burden, taken: Burden) -> str:
    """Say what is better on the horn taken than on the player's first one."""
    for name, words in (("unplayable", "that cannot be played"), ("too_fast", "too fast to move to"),
                        ("gliss", "whose glissando breaks"), ("out_of_range", "out of range")):
        less = len(getattr(first, name)) - len(getattr(taken, name))
        if less > 0:
            return f"{counted(less, 'note')} fewer {words}"
    if first.items.get("big_horn", 0) > taken.items.get("big_horn", 0):
        return "this line does not need the bass trombone"
    if first.items.get("small_horn", 0) > taken.items.get("small_horn", 0):
        return "this line is not for an alto trombone"
    if first.items.get("not_alto", 0) > taken.items.get("not_alto", 0):
        return "an alto trombone line suits an alto trombone"
    if first.items.get("not_bass", 0) > taken.items.get("not_bass", 0):
        return "a bass trombone line belongs on a bass trombone"
    return "the line is easier there"


def _about_horns(desk: Desk, placed: Placed) -> Iterator[Finding]:
    """Say who plays a part whose player changes horns: one who has them all, or several who share it."""
    for tie in desk.ties:
        taken = [place for i in tie for place in [placed[i]] if place is not None]
        names = member_names([desk.members[j] for j in sorted({j for j, _ in taken})])
        first = desk.chairs[tie[0]]
        if len(tie) < 2 or len(taken) < len(tie):
            continue
        if len({j for j, _ in taken}) == 1:
            horns = listed([offer.played for _, offer in taken])
            yield _finding(first, "changes-horns", "note", f"{names} plays all of {first.part_title} and changes "
                           f"between {horns}", "Have each horn ready on a stand.")
        else:
            yield _finding(first, "shared-part", "care", f"{first.part_title} is for one player who changes horns; "
                           f"nobody here can take all of it, so {names} share it",
                           "Give each of them a copy of the part.")


def _about_players(desk: Desk, seated: set[int], doubling: dict[int, tuple[int, Burden]]) -> list[Finding]:
    """Say why players sit where rules and numbers put them."""
    found: list[Finding] = []
    for i, chair in enumerate(desk.chairs):
        for j, member in enumerate(desk.members):
            if desk.bars(i, j) == "beginner" and any(takes(horn, chair.line.family) for horn in member.horns):
                last = " and sits last in the file" if j == len(desk.members) - 1 else ""
                found.append(_finding(
                    chair, "beginner", "note",
                    f"{member.name} is a beginner{last}; that is no reason to be put on bass trombone, where the horn "
                    "is heavier, takes more air and lies low",
                    'Where the teacher has decided otherwise, write keeps = "bass trombone" in the section file; '
                    "lowbrass ready helps to look at a change of horn."))
    for j, (i, burden) in sorted(doubling.items()):
        more = f", leaving out the {len(burden.blocked)} notes that do not fit" if burden.blocked else ""
        found.append(_finding(desk.chairs[i], "doubling", "note",
                              f"{desk.members[j].name} doubles {desk.chairs[i].title} on {burden.horn.name}{more}",
                              "You have more players than parts; double another part if the balance needs it."))
    found += [_idle(desk, j) for j in range(len(desk.members)) if j not in seated]
    return found


def _idle(desk: Desk, j: int) -> Finding:
    """Say why a member has no line."""
    member = desk.members[j]
    horns = " or ".join(member.plays)
    fitting = [i for i, chair in enumerate(desk.chairs)
               if any(takes(horn, chair.line.family) for horn in member.horns)]
    if not fitting:
        return Finding(code="no-line", severity="note", part_id="", part_name="",
                       what=f"{member.name} has no line to cover on {horns}")
    bars = {desk.bars(i, j) for i in fitting}
    if bars == {"kept"}:
        why, ways = f"kept on {member.dedicated} parts", "Remove keeps from the section file to let the player move."
    elif None not in bars:
        why, ways = "every part went to another player", "Write an easier part."
    else:
        why, ways = f"no remaining part is playable on {horns} without large cuts", "Write an easier part."
    return Finding(code="no-line", severity="care", part_id="", part_name="",
                   what=f"{member.name} has no line here: {why}",
                   try_=(ways,))


def _why_empty(desk: Desk, i: int, placed: Placed, covered: Covered) -> str:
    chair = desk.chairs[i]
    if chair.divides and chair.same_as is not None and placed[chair.same_as] is not None:
        return (f"the part is for one player and divides in {measures_named(chair.divides)}: who is free takes the "
                "other notes there, or they are left out")
    if chair.same_as is not None and placed[chair.same_as] is not None:
        return f"it has the same notes as {desk.chairs[chair.same_as].title}, which has a player"
    others = [k for k, one in enumerate(desk.chairs) if one.same_as == i and placed[k] is not None]
    if others:
        return f"it has the same notes as {desk.chairs[others[0]].title}, which has a player"
    tail = _tail(chair, covered, {one.part.id for one, place in zip(desk.chairs, placed, strict=True) if place is None})
    offers = desk.matrix()[i]
    if any(offer.price is not None for offer in offers):
        return f"there are fewer players than parts, and other parts matter more{tail}"
    fitting = [j for j, member in enumerate(desk.members)
               if any(takes(horn, chair.line.family) for horn in member.horns)]
    bars = {desk.bars(i, j) for j in fitting}
    if bars == {"beginner"} and len(fitting) == len(desk.members):
        names = member_names([desk.members[j] for j in fitting])
        return f"only {names} could take it, and a beginner does not go on bass trombone just to fill a chair{tail}"
    if fitting and None not in bars and bars <= {"kept"} and len(fitting) == len(desk.members):
        return f"everybody with a horn for it is kept on other parts{tail}"
    said = [f"{member.name} on {offer.played}: {', '.join(offer.why)}"
            for member, offer in zip(desk.members, offers, strict=True)]
    return f"nobody here can take it ({first_few(said, 6, mark='; ')}){tail}"


def _away(desk: Desk, chair: Chair) -> str:
    """Name who is absent and has a horn for a line."""
    away = [member.name for member in desk.section.absent
            if any(takes(horn, chair.line.family) for horn in member.horns)]
    return f"; {listed(away)} {'is' if len(away) == 1 else 'are'} absent" if away else ""


def _tail(chair: Chair, covered: Covered, empty: Collection[str] = ()) -> str:
    double = covered.best_double(chair.line, empty)
    if double is None:
        return "; no other part has its notes"
    return f"; {double.part_name} has {100 * double.share:.0f} % of its notes (some in another octave)"


def _blocking(search: Search, way: ChangedSeating, verdict: Verdict, placed: Placed, covered: Covered) -> list[Finding]:
    """Say what no change mends, where the piece does not suit."""
    if verdict != "does not suit":
        return []
    if way.possible:
        return [Finding(code="too-many-changes", severity="stop", part_id="", part_name="",
                        what=f"the piece would need {way.count} changes, more than the {MOST_CHANGES} at which it "
                             "counts as suited",
                        try_=("Choose another piece, or write an easier part for one player.",))]
    # The seats that are shown come first; where nothing blocks them, those that came nearest to an answer.
    shown = tuple(None if place is None else (place[0], place[1].burden) for place in placed)
    for seats, least in ((shown, LEAST_TEMPO_FACTOR), (way.seats, way.least)):
        found = list(_blocked(search, seats, least, covered))
        if found:
            return found
    return []


def _blocked(search: Search, seats: Sequence[Place], least: float, covered: Covered) -> Iterator[Finding]:
    desk = search.desk
    empty = {desk.chairs[i].part.id for i, place in enumerate(seats) if place is None}
    for i, place in enumerate(seats):
        chair = desk.chairs[i]
        if place is None and leading(desk.chairs, i):
            yield _finding(chair, "empty-line", "stop", f"no change covers {chair.title}{_tail(chair, covered, empty)}",
                           "Ask a player from another section, or choose another piece.")
        elif place is not None and place[1] is not None and search.changes_at(place[1], least) >= FAR and (
                trouble := _trouble(place[1])):
            yield _finding(chair, "beyond-player", "stop",
                           f"{chair.title}, {desk.members[place[0]].name} on {place[1].horn.name}: {trouble}",
                           "Rewrite these places, or choose another piece.")


def _trouble(burden: Burden) -> str:
    counts = ((burden.unplayable, "cannot be played"), (burden.out_of_range, "out of range"),
              (burden.too_fast, "with a move that is too fast"), (burden.gliss, "with a glissando that breaks"))
    return ", ".join(f"{len(which)} of {len(burden.plan.notes)} notes {words}" for which, words in counts if which)


def _after(desk: Desk, way: ChangedSeating, placed: Placed) -> tuple[tuple[Chair, str, str], ...]:
    """Return the seats of the changed seating that differ from those shown."""
    result = []
    for i, place in enumerate(_better_print(desk, list(way.seats))):
        now = placed[i]
        if place is None:
            continue
        member, burden = desk.members[place[0]], place[1]
        played = burden.horn.name if burden is not None else member.plays[0]
        if now is None or (now[0], now[1].played) != (place[0], played):
            result.append((desk.chairs[i], member.name, played))
    return tuple(result)


def _finding(chair: Chair, code: str, severity: FindingSeverity, what: str, *try_: str) -> Finding:
    return Finding(code=code, severity=severity, part_id=chair.part.id, part_name=chair.part.name,
                   line=chair.line.number, what=what, try_=try_)


def _cautions(seats: Sequence[Seat], lent: Sequence[Lend]) -> tuple[str, ...]:
    horns = [seat.horn for seat in seats if seat.horn is not None]
    lines = cautions.for_playing(
        slide=any(horn.family == "slide" for horn in horns) or not horns,
        valves=any(horn.family == "valves" for horn in horns),
        estimated_reach=any(one.member.player.reach_estimated for one in seats))
    if lent:
        lines = (*cautions.for_changing(slide=any(one.horn.family == "slide" for one in lent),
                                        valves=any(one.horn.family == "valves" for one in lent)), *lines)
    # The line on who decides stands last, once.
    return (*(line for line in dict.fromkeys(lines) if line != cautions.WHO), cautions.WHO)
