"""The changes of a fit in words and as data, each worked out on the plan before it is said."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from math import floor
from typing import Any, Literal

from analyzer.review.harmony import Harmony
from analyzer.review.remedies import Remedies
from analyzer.section.burden import Burden, burden_of, loads, slowed
from analyzer.section.changes import ChangedSeating, Lend
from analyzer.section.covered import Covered
from analyzer.section.seating import Chair, Desk
from analyzer.section.section import Member
from analyzer.section.shares import Share
from analyzer.words import listed, measures_named

ProposalKind = Literal["move", "lend", "tempo", "clef", "notes", "empty", "cover", "share"]
_MOST_TRIES = 20                       # beats a minute slower than reckoned; only a bound, the plan settles sooner
_CUT_TIME_BPM = 160                    # judged: above it bands beat the half note


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One change that would make a piece suit.

    `data` holds, by kind: `player`, `horn`, `source`, `owner` (lend); `player` (move); `measure`, `from_bpm`, `to_bpm`
    [quarter notes a minute], `factor` (tempo); `player` and `clefs` (clef); `player` and `notes` (notes); `player` and
    `horn` (cover); nothing more (empty, share).
    """

    kind: ProposalKind
    text: str
    chair: Chair | None
    data: dict[str, Any]


def changes_of(desk: Desk, way: ChangedSeating, covered: Covered, harmony: Harmony, shares: Sequence[Share] = (),
               ) -> tuple[Proposal, ...]:
    """Return the changes of a way, in the order in which a director would make them.

    `shares` are those of the seats that are shown; they hold for a way without steps.
    """
    helped = {share.nth: share for share in shares} if not way.steps else {}
    changes: list[Proposal] = []
    for step in way.steps:
        member = desk.members[step.member]
        chair = next((desk.chairs[i] for i, place in enumerate(way.seats) if place and place[0] == step.member), None)
        if isinstance(step, Lend):
            changes.append(_lend(desk, step, member, chair))
        else:
            goes = f" to {chair.title}" if chair else ""
            changes.append(Proposal(kind="move", chair=chair, data={"player": member.name},
                                    text=f"Move {member.name}, otherwise kept on {member.dedicated} parts,{goes}."))
    if way.factor < 1:
        changes.append(_tempo(desk, way))
    empty = {desk.chairs[i].part.id for i, place in enumerate(way.seats) if place is None}
    for i, place in enumerate(way.seats):
        chair = desk.chairs[i]
        if place is None:
            if chair.same_as is None:
                double = covered.best_double(chair.line, empty)
                heard = f" ({double.part_name} has {100 * double.share:.0f} % of its notes)" if double else ""
                changes.append(Proposal(kind="share", chair=chair, data={},
                                        text=f"Share out {chair.title}: {helped[i].said}"
                                             f"{heard if helped[i].left else ''}.") if i in helped else
                               Proposal(kind="empty", chair=chair, data={},
                                        text=f"Play without {chair.title}{heard}."))
            continue
        if i in way.covers:
            changes.append(_cover(desk, i, place[0]))
        elif clefs := desk.unread(i, place[0]):
            changes.append(_clef(chair, desk.members[place[0]], clefs))
        if way.troubled[i] and i not in way.covers and place[1] is not None:
            changes.append(_notes(desk, i, place[0], place[1], way.troubled[i], covered, harmony))
    return tuple(changes)


def _cover(desk: Desk, i: int, j: int) -> Proposal:
    chair, member, offer = desk.chairs[i], desk.members[j], desk.matrix()[i][j]
    return Proposal(kind="cover", chair=chair, data={"player": member.name, "horn": offer.played},
                    text=f"{member.name} covers {chair.title} on {offer.played}, from a part written for it "
                         f"(lost: {'; '.join(offer.why)}).")


def _clef(chair: Chair, member: Member, clefs: Sequence[str]) -> Proposal:
    read = " or ".join(member.clefs or ())
    return Proposal(kind="clef", chair=chair, data={"player": member.name, "clefs": list(clefs)},
                    text=f"Print {chair.title} in {read} clef for {member.name}: "
                         f"it stands in {listed(clefs)} clef.")


def _lend(desk: Desk, step: Lend, member: Member, chair: Chair | None) -> Proposal:
    owner = desk.members[step.owner].name if step.owner is not None else None
    whence = {"band room": "the band has one to lend", "player": f"{owner} has one as a second horn",
              "elsewhere": "nobody in the file has one to spare"}[step.source]
    use = f" for {chair.title}" if chair else ""
    return Proposal(kind="lend", chair=chair, text=f"Lend {member.name} a {step.horn.name}{use}: {whence}.",
                    data={"player": member.name, "horn": step.horn.name, "source": step.source, "owner": owner})


def _tempo(desk: Desk, way: ChangedSeating) -> Proposal:
    """The tempo at which every seat's moves are within its player's speed, tried out on new plans."""
    fast = [(i, place[0], place[1]) for i, place in enumerate(way.seats) if place and place[1] and place[1].too_fast
            and place[1].tempo_factor >= way.least]
    i, _, burden = min(fast, key=lambda one: one[2].tempo_factor)
    asked = loads(burden.planner, burden.plan)
    k = max(burden.too_fast, key=lambda k: asked[k].most)
    was = burden.planner.times[k].bpm
    bpm = floor(was * burden.tempo_factor)
    for _ in range(_MOST_TRIES):
        if bpm <= 1 or not any(_replanned(desk, line, member, one, bpm / was).too_fast for line, member, one in fast):
            break
        bpm -= 1
    note = burden.plan.notes[k].note
    # A quick quarter is the half of a beat in cut time, and directors count the half note.
    half = f" (half note = {bpm / 2:g})" if was > _CUT_TIME_BPM else ""
    return Proposal(
        kind="tempo", chair=desk.chairs[i],
        text=f"Lower the tempo: quarter note = {bpm}{half} instead of {was:.0f} at measure {note.measure}, and in "
             f"proportion elsewhere ({100 * bpm / was:.0f} %).",
        data={"measure": note.measure, "from_bpm": round(was, 1), "to_bpm": bpm, "factor": round(bpm / was, 4)})


def _replanned(desk: Desk, i: int, j: int, burden: Burden, factor: float) -> Burden:
    line = burden.plan.line                              # where it is a cover, as it is written for the player
    if desk.tempo_bpm or not line.tempi:
        return burden_of(line, desk.members[j], burden.horn, tempo_bpm=burden.planner.times[0].bpm * factor)
    return burden_of(slowed(line, factor), desk.members[j], burden.horn)


def _notes(desk: Desk, i: int, j: int, burden: Burden, notes: tuple[int, ...], covered: Covered,
           harmony: Harmony) -> Proposal:
    chair, member = desk.chairs[i], desk.members[j]
    remedies = Remedies(burden.plan, burden.planner, harmony)
    items = [_note(chair, burden, k, covered, remedies) for k in notes]
    said = []
    for (name, way), group in groupby(items, key=lambda item: (item["pitch"], item["way"])):
        measures = list(dict.fromkeys(item["measure"] for item in group))
        said.append(f"{name} in {measures_named(measures, len(measures))} ({way})")
    return Proposal(kind="notes", chair=chair, text=f"{chair.title}, {member.name}: change {'; '.join(said)}.",
                    data={"player": member.name,
                          "notes": [{key: item[key] for key in ("index", "measure", "sounding", "way")}
                                    for item in items]})


def _note(chair: Chair, burden: Burden, k: int, covered: Covered, remedies: Remedies) -> dict[str, Any]:
    note = chair.line.notes[k]
    item = {"index": k, "measure": note.measure, "sounding": note.sounding.name, "pitch": note.sounding.pretty}
    if k in burden.gliss and k not in burden.blocked:
        return item | {"way": "play it without the glissando"}
    heard = covered.at(chair.line, k)
    spare = f"may be left out: {heard}" if heard else "if left out, nobody else plays it"
    if k not in burden.blocked:
        return item | {"way": f"too fast to reach; {spare}"}
    # The review decides which other pitches go, so that the two never contradict each other.
    others = [remedy.sounding.pretty for remedy in remedies.pitches(k) if remedy.sounding is not None]
    ways = [f"{' or '.join(others)} works instead"] if others else []
    return item | {"way": "; or ".join([*ways, spare])}
