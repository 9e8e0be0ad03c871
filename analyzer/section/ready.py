"""A teacher's aid for a change of horn: what changes in the hands, what the music needs, what to look at together.

It never answers yes or no: a student is never counted out or in by numbers, and the teacher who is present decides.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from analyzer import cautions
from analyzer.evidence import Evidence
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, position_place_mm, positions, states
from analyzer.horns.horn import Horn, Quantity
from analyzer.horns.usual import FAR_POSITION
from analyzer.pitch import HEARD_CENTS, pitch_of
from analyzer.plan.plan import PlannedNote
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.plan.unplayable import UnplayableCode, why_not
from analyzer.problem import Problem, unreadable
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.parts import PartInfo
from analyzer.score.transposing import Reads
from analyzer.section.burden import takes
from analyzer.section.skills import Skill, skills_of
from analyzer.selection import asked_lines, chosen_parts
from analyzer.supposed import doubts_of
from analyzer.words import cents_text, listed, shown

NeedReason = UnplayableCode | Literal["far-out", "out-of-tune"]
"""The codes of a note that cannot be played, and two of notes that the other horn has better."""

NEARER_MM = 80.0
"""A note counts as nearer on the other horn from this difference on. [mm] Judged: about one position."""
_SHADE_MM = 20.0                       # how far apart two places may be and still be reached alike; judged
BETTER_CENTS = 5.0
"""A note counts as better in tune from this difference on. [cents] Judged: about the least that an
attentive ear notices."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One thing that is different in the hands. `before`, `after` in words with units; `evidence` for the new one."""

    what: str
    before: str
    after: str
    meaning: str
    evidence: Evidence | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place of the new horn's slide. `needed` where this music cannot do without it, with measure and note."""

    label: str
    extension_mm: float
    what: str
    beyond_reach_mm: float | None       # how far beyond the player's reach; None where within, or no reach is told


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """Notes of one pitch and line that one horn has and the other has not, or not so well.

    `measures` as numbered in the score, each once; `count` how many notes. `have` and `lack` say how each horn has it.
    """

    part: PartInfo
    line: int
    score: str
    sounding: str
    midi: int
    reason: NeedReason
    lack: str
    have: str
    measures: tuple[str, ...]
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class LineSum:
    """One line on both horns: notes without a choice, slide travel [mm, None without a slide], price a note."""

    part: PartInfo
    line: Line
    score: str
    unplayable: tuple[int, int]
    travel_mm: tuple[float | None, float | None]
    cost_per_note: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """Everything for the talk between teacher and student; no verdict.

    `reach_mm` is the player's comfortable reach on the new horn, None where the file tells none or there is no slide;
    `reach_estimated` where it was worked out from height.
    """

    documents: tuple[Document, ...]
    player: Player
    before: Horn
    after: Horn
    changes: tuple[Difference, ...]
    reach_mm: float | None
    reach_estimated: bool
    places: tuple[Place, ...]
    lines: tuple[LineSum, ...]
    gains: tuple[Need, ...]
    losses: tuple[Need, ...]
    neither: tuple[Need, ...]
    skills: tuple[Skill, ...]
    problems: tuple[Problem, ...]
    cautions: tuple[str, ...]


def ready(documents: Sequence[Document], before: Horn, after: Horn, player: Player, *,
          parts: tuple[str, ...] = (), reads: Reads | None = None) -> Ready:
    """Compare two horns for a player and the music at hand.

    Without `parts`, the lines that either horn takes are looked at; without `documents`, the horns alone.

    Raises
    ------
    Unreadable
        If a part is not there, or no score has a line for either horn.
    """
    lines: list[tuple[Document, PartInfo, Line]] = []
    problems: list[Problem] = []
    for document in documents:
        chosen, found = chosen_parts(document, parts)
        problems += found
        asked, more = asked_lines(document, chosen, reads=reads)
        problems += more
        problems += dict.fromkeys(doubt for one in asked for doubt in doubts_of(one.line, document.name))
        lines += [(document, one.played, one.line) for one in asked if one.line.notes
                  and (parts or takes(before, one.line.family) or takes(after, one.line.family))]
    if documents and not lines:
        names = ", ".join(document.name for document in documents)
        raise unreadable("no-line", where=names, what=f"no line here is for {before.name} or {after.name}",
                         try_="Name a part with --part, or take other horns.")
    sums: list[LineSum] = []
    gains: list[Need] = []
    losses: list[Need] = []
    neither: list[Need] = []
    planned: list[tuple[Document, Planner]] = []
    for document, part, line in lines:
        old, new = Planner(line, before, player), Planner(line, after, player)
        planned.append((document, new))
        sums.append(_sum(part, line, document, old, new))
        for into, which in ((gains, _better(old, new)), (losses, _better(new, old)), (neither, _neither(old, new))):
            into += _grouped(which, part, line, document)
    reach = player.reach_on(after) if after.family == "slide" and told_reach(player) else None
    return Ready(
        documents=tuple(documents), player=player, before=before, after=after,
        changes=tuple(physical(before, after)), reach_mm=reach, reach_estimated=player.reach_estimated,
        places=tuple(_places(after, reach, [line for _, _, line in lines])), lines=tuple(sums), gains=tuple(gains),
        losses=tuple(losses), neither=tuple(neither), skills=tuple(skills_of(before, after, planned)),
        problems=tuple(problems), cautions=_cautions(before, after, player))


def told_reach(player: Player) -> bool:
    """Whether the player's file says anything of reach."""
    return player.reach_mm is not None or player.outermost_position is not None


# --- the hands -------------------------------------------------------------------------------------------------------


def physical(before: Horn, after: Horn) -> Iterable[Difference]:
    """Yield what is different to hold and to work, only where it differs."""
    old, new = before.handling, after.handling
    if old.bore_mm.value != new.bore_mm.value:
        wider = new.bore_mm.value > old.bore_mm.value
        yield Difference(what="bore", before=_mm(old.bore_mm), after=_mm(new.bore_mm), evidence=new.bore_mm.evidence,
                         meaning="wider: takes more air for the same sound" if wider else "narrower: takes less air")
    if old.weight_kg.value != new.weight_kg.value:
        by = new.weight_kg.value - old.weight_kg.value
        share = 100 * abs(by) / old.weight_kg.value
        yield Difference(what="weight of the horn", before=f"about {old.weight_kg.value:g} kg",
                         after=f"about {new.weight_kg.value:g} kg", evidence=new.weight_kg.evidence,
                         meaning=f"{abs(by):.1f} kg {'more' if by > 0 else 'less'} ({share:.0f} %), for the arm, "
                                 "wrist and hand that carry it")
    if old.left_hand_carries.text != new.left_hand_carries.text:
        yield Difference(what="the left hand holds", before=old.left_hand_carries.text,
                         after=new.left_hand_carries.text, meaning="held differently",
                         evidence=new.left_hand_carries.evidence)
    if old.left_hand_works.text != new.left_hand_works.text:
        yield Difference(what="the left hand works", before=old.left_hand_works.text, after=new.left_hand_works.text,
                         meaning="fingers of the hand that holds the horn now move too, without gripping"
                                 if new.left_hand_works.text != "nothing" else "that hand only holds the horn",
                         evidence=new.left_hand_works.evidence)
    if old.fourth_valve != new.fourth_valve:
        words = {"": "none", "right hand": "under the fourth finger of the right hand",
                 "left side": "at the left side, for the left hand"}
        yield Difference(what="fourth valve", before=words[old.fourth_valve], after=words[new.fourth_valve],
                         meaning="the weakest finger of the right hand now has work" if new.fourth_valve == "right hand"
                         else "the left hand now works a valve" if new.fourth_valve else "one valve fewer",
                         evidence=new.evidence)
    if old.valve_type != new.valve_type and before.family == after.family == "valves":
        yield Difference(what="valves", before=old.valve_type or "none", after=new.valve_type or "none",
                         meaning="a different valve action", evidence=new.evidence)
    if before.family != after.family:
        kind = {"slide": "a slide", "valves": "valves"}
        yield Difference(what="how you find the pitch", before=kind[before.family], after=kind[after.family],
                         meaning="another instrument: positions or valves are learned from the start", evidence=None)
    if before.fundamental_midi != after.fundamental_midi:
        yield Difference(what="key of the horn", before=_key(before), after=_key(after), evidence=None,
                         meaning="every note has a new position or fingering")
    if before.master != after.master:
        yield Difference(what="compensation", before="with" if before.master else "without",
                         after="with" if after.master else "without", evidence=after.master_evidence,
                         meaning="low notes need less lipping, and feel stuffier" if after.master
                         else "low valve combinations are sharp and must be corrected")


def _key(horn: Horn) -> str:
    return f"{pitch_of(horn.fundamental_midi).pretty} in first position" if horn.family == "slide" \
        else f"{pitch_of(horn.fundamental_midi).pretty} open"


def _mm(quantity: Quantity) -> str:
    return f"{quantity.value:g} mm"


def _places(horn: Horn, reach_mm: float | None, lines: Sequence[Line]) -> Iterable[Place]:
    """Yield the outermost place of each valve state, then the farthest position this piece requires."""
    def beyond(place_mm: float) -> float | None:
        return place_mm - reach_mm if reach_mm is not None and place_mm > reach_mm else None

    if horn.family != "slide":
        return
    for valves in states(horn):
        last = positions(horn, valves)
        place = position_place_mm(horn, valves, last)
        name = f"{''.join(valves)}{last}"
        held = f"with {listed(valves)} held" if valves else "open"
        yield Place(label=name, extension_mm=place, what=f"farthest position {held}", beyond_reach_mm=beyond(place))
    farthest: tuple[float, Candidate, str, str] | None = None
    for line in lines:
        for note in line.notes:
            ways = [one for one in candidates(horn, note.midi) if one.advice is None]
            if ways:
                # Within a shade the plainer way counts: fewer valves.
                nearest = min(ways, key=lambda one: (round(one.out_mm / _SHADE_MM), len(one.valves)))
                out_mm = nearest.out_mm
                if farthest is None or out_mm > farthest[0]:
                    farthest = (out_mm, nearest, note.sounding.pretty, f"{line.part_name}, measure {note.measure}")
    if farthest is not None:
        out_mm, way, name, where = farthest
        yield Place(label=shown(way.label), extension_mm=out_mm, beyond_reach_mm=beyond(out_mm),
                    what=f"farthest position this piece requires: {name}, {where}")


# --- the music -------------------------------------------------------------------------------------------------------


def _sum(part: PartInfo, line: Line, document: Document, old: Planner, new: Planner) -> LineSum:
    a, b = old.plan(), new.plan()
    count = max(1, len(line.notes))
    return LineSum(part=part, line=line, score=document.name,
                   unplayable=(a.totals.unplayable, b.totals.unplayable),
                   travel_mm=(a.totals.travel_mm, b.totals.travel_mm), cost_per_note=(a.cost / count, b.cost / count))


_Found = tuple[PlannedNote, NeedReason, str, str]


def _better(worse: Planner, better: Planner) -> list[_Found]:
    """Find the notes that `better` has and `worse` lacks, or has only far out or out of tune."""
    found: list[_Found] = []
    for a, b in zip(worse.plan().notes, better.plan().notes, strict=True):
        if b.choice is None:
            continue
        have = _has(b.choice)
        if a.choice is None:
            found.append((a, *_lacks(worse, a), have))
            continue
        near = min(one.out_mm for one in worse.choices[a.index])
        nearest = min(better.choices[b.index], key=lambda one: one.out_mm)
        far = worse.horn.family == "slide" and all(
            (one.position or 0) >= FAR_POSITION for one in worse.choices[a.index] if one.advice is None)
        # What can be in tune counts, not what the plan takes for the sake of the hand.
        off, on = (min(abs(one.off_cents) for one in planner.choices[a.index]) for planner in (worse, better))
        if far and near - nearest.out_mm >= NEARER_MM:
            found.append((a, "far-out", f"only far out on the slide, {_has(a.choice)}", _has(nearest)))
        elif off > worse.horn.lip_reach.value and off - on >= BETTER_CENTS:
            found.append((a, "out-of-tune", _has(a.choice), have))
    return found


def _neither(old: Planner, new: Planner) -> list[_Found]:
    return [(b, *_lacks(new, b), "") for a, b in zip(old.plan().notes, new.plan().notes, strict=True)
            if a.choice is None and b.choice is None]


def _lacks(planner: Planner, note: PlannedNote) -> tuple[NeedReason, str]:
    """Say why a note has no choice, as every command does."""
    reason = why_not(planner.horn, planner.player, note.note.midi)
    assert reason is not None, "a note without a choice has a reason"
    return reason.code, reason.how


def _has(choice: Candidate) -> str:
    """Say how a note is sounded."""
    text = shown(choice.label)
    if choice.extension_mm is not None:
        text += f" at {choice.extension_mm:.0f} mm"
    cents = round(choice.off_cents)
    return f"{text}, {cents_text(cents)}" if abs(cents) > HEARD_CENTS else text


def _grouped(found: Sequence[_Found], part: PartInfo, line: Line, document: Document) -> list[Need]:
    groups: dict[tuple[int, NeedReason], list[_Found]] = {}
    for one in found:
        groups.setdefault((one[0].note.midi, one[1]), []).append(one)
    return [
        Need(part=part, line=line.number, score=document.name, sounding=group[0][0].note.sounding.name, midi=midi,
             reason=reason, lack=group[0][2], have=group[0][3], count=len(group),
             measures=tuple(dict.fromkeys(note.note.measure for note, *_ in group)))
        for (midi, reason), group in groups.items()]


def _cautions(before: Horn, after: Horn, player: Player) -> tuple[str, ...]:
    lines = [*cautions.for_changing(slide=after.family == "slide", valves=after.family == "valves"),
             *cautions.for_playing(slide="slide" in (before.family, after.family), valves=False,
                                   estimated_reach=player.reach_estimated and after.family == "slide")]
    return (*(line for line in dict.fromkeys(lines) if line != cautions.WHO), cautions.WHO)
