"""What changes so that a reviewed part can be played: notes at another pitch, glissandi begun later or taken out.

Only what cannot be played changes; what is merely hard stays as it was written. Every change is reviewed again with the
others in place, so that the ossia itself passes. Each change can be refused: then the next way is taken, or the place
stays as it was written.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from analyzer.pitch import Pitch
from analyzer.plan.solve import Planner
from analyzer.problem import unreadable
from analyzer.review.findings import Finding, Remedy, RemedyKind
from analyzer.review.harmony import Harmony
from analyzer.review.line import Reviewed, findings
from analyzer.score.lines import Line
from analyzer.selection import attack

KINDS: tuple[RemedyKind, ...] = ("octave", "chord-tone", "shorten", "straight")
"""What may be written into a score, first what keeps the note's name."""
_KEPT_SHARE = 0.5
"""A glissando that would lose more than this share of its way is taken out instead. Judged: from there on the ear hears
another gesture; composers' own revisions of such places would change our mind."""
_MOST_ROUNDS = 4
"""Judged: a change touches its neighbours only; of 200 lines full of glissandi made by chance none needs more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rewrite:
    """One place rewritten: `refs` are the ``<note>`` elements of its note, `after_refs` of the note that follows.

    `remedy` is what was taken; `finding` what was found there as written. `place` is ``MEASURE:NTH``, with several
    lines ``MEASURE:LINE.NTH``, as it is written to refuse the change; `others` are the kinds that could be taken in its
    place.
    """

    finding: Finding
    place: str
    others: tuple[RemedyKind, ...]
    refs: tuple[int, ...]
    after_refs: tuple[int, ...]
    remedy: Remedy

    @property
    def straight(self) -> bool:
        """Whether a glissando goes and its notes stay."""
        return self.remedy.kind == "straight"

    @property
    def mark(self) -> str:
        """What is printed over the changed place, in plain letters that every font has."""
        if self.straight:
            return "gliss. left out"
        return f"was {self.finding.written}"


def _follows(first: Finding, second: Finding) -> bool:
    """Tell whether one finding is of the very next note of the same measure and line."""
    return (first.part_id, first.line, first.measure) == (second.part_id, second.line, second.measure) \
        and first.index is not None and second.index == first.index + 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Ossia:
    """The changes, and the findings of severity ``stop`` for which no other way was found."""

    changes: tuple[Rewrite, ...]
    left: tuple[Finding, ...]

    def marks(self) -> dict[str, dict[int, str]]:
        """Return part id to ref to the words that are printed over the change, at the attack.

        Notes that follow each other in a measure have them together, over the first: words over every note would stand
        in stairs above the staff.
        """
        wanted: dict[str, dict[int, str]] = {}
        before: Rewrite | None = None
        head = -1                      # the note that bears the words of the change before
        for change in sorted(self.changes, key=lambda one: (one.finding.part_id, one.finding.line or 0,
                                                            one.finding.index or 0)):
            mine = wanted.setdefault(change.finding.part_id, {})
            if before is not None and _follows(before.finding, change.finding) and not (
                    before.straight or change.straight):
                mine[head] += f", {change.finding.written}"
            else:
                head = change.refs[0]
                mine[head] = f"{mine[head]}, {change.mark}" if head in mine else change.mark
            before = change
        return wanted

    def by_part(self) -> dict[str, dict[int, Pitch]]:
        """Return part id to ref to new written pitch."""
        wanted: dict[str, dict[int, Pitch]] = {}
        for change in self.changes:
            if change.remedy.written is not None:
                wanted.setdefault(change.finding.part_id, {}).update(dict.fromkeys(change.refs, change.remedy.written))
        return wanted

    def glides(self) -> dict[str, dict[int, frozenset[str]]]:
        """Return part id to ref to the ends of glissandi that go there: ``start``, ``stop``, or both."""
        wanted: dict[str, dict[int, frozenset[str]]] = {}
        for change in self.changes:
            if change.straight:
                ends = wanted.setdefault(change.finding.part_id, {})
                for refs, end in ((change.refs, "start"), (change.after_refs, "stop")):
                    ends.update({ref: ends.get(ref, frozenset()) | {end} for ref in refs})
        return wanted


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """A change that is not wanted: at the `nth` attack (from 1) of a measure, of one `kind` or, where None, of any.

    `line` counts the lines of the review from 1, None where there is but one.
    """

    measure: str
    nth: int
    line: int | None = None
    kind: RemedyKind | None = None


_REFUSAL = re.compile(r"(?P<measure>[^:=]+):(?:(?P<line>\d{1,4})\.)?(?P<nth>\d{1,6})"
                      rf"(?:=(?P<kind>{'|'.join(KINDS)}))?")


def read_refusal(text: str) -> Refusal | None:
    """Read ``MEASURE:NTH`` or ``MEASURE:LINE.NTH``, with ``=KIND`` where only that kind is refused; None: no such form.

    Examples
    --------
    >>> read_refusal("12:2.3=octave")
    Refusal(measure='12', nth=3, line=2, kind='octave')
    """
    match = _REFUSAL.fullmatch(text.strip())
    if match is None:
        return None
    return Refusal(measure=match["measure"].strip(), nth=int(match["nth"]),
                   line=int(match["line"]) if match["line"] else None,
                   kind=next((known for known in KINDS if known == match["kind"]), None))


_Refused = Mapping[tuple[str, int], tuple[frozenset[str], str]]
"""Part id and ref of an attack to the kinds that are refused there, and the place as it was given."""


def ossia(reviewed: Iterable[Reviewed], harmony: Harmony | None = None, refused: Sequence[Refusal] = ()) -> Ossia:
    """Choose the changes, and look again with all of them in place until nothing more can be mended.

    A note that two players share is changed once, as the first of them needs it, and refused for both. `harmony` is
    asked for chord tones where a changed place has to be changed again.

    Raises
    ------
    Unreadable
        If there is no such note, or nothing would be changed where something is refused.
    """
    now = tuple(reviewed)
    unwanted, met = _unwanted(now, refused), set[tuple[str, int]]()
    taken: dict[tuple[str, int, bool], Rewrite] = {}
    for _ in range(_MOST_ROUNDS):
        new = _chosen(now, unwanted, met)
        if not new:
            break
        for change in new:
            key = (change.finding.part_id, change.refs[0], change.straight)
            # What is told is what was found in the music as written.
            taken[key] = replace(change, finding=taken[key].finding) if key in taken else change
        now = tuple(_again(one, new, harmony) for one in now)
    idle = next((place for key, (_, place) in unwanted.items() if key not in met), None)
    if idle is not None:
        raise unreadable("bad-refusal", where=idle, what="no such change would be made there",
                         try_="Without -o, --ossia lists every change and its place.")
    return Ossia(changes=tuple(taken.values()), left=tuple(
        finding for one in now for finding in one.findings if finding.severity == "stop"))


def _unwanted(reviewed: Sequence[Reviewed], refused: Sequence[Refusal]) -> _Refused:
    found: dict[tuple[str, int], tuple[frozenset[str], str]] = {}
    for one in refused:
        number = one.line or 1
        place = f"{one.measure}:{f'{one.line}.' if one.line else ''}{one.nth}"
        if not 1 <= number <= len(reviewed):
            raise unreadable("bad-refusal", where=place, what=f"there is no line {number}",
                             try_=f"Lines are numbered from 1 to {len(reviewed)} in the order shown.")
        line = reviewed[number - 1].planned.plan.line
        key = line.part_id, line.notes[attack(line, one.measure, one.nth)].refs[0]
        kinds, _ = found.get(key, (frozenset(), ""))
        found[key] = kinds | frozenset((one.kind,) if one.kind else KINDS), place
    return found


def _chosen(reviewed: Sequence[Reviewed], refused: _Refused, met: set[tuple[str, int]]) -> list[Rewrite]:
    """Choose a change for each place that has one; `met` gets the places where a refusal took something away."""
    changes: list[Rewrite] = []
    refs_taken: set[tuple[str, int]] = set()
    for number, one in enumerate(reviewed, 1):
        line = one.planned.plan.line
        notes = line.notes
        for finding in one.findings:
            if finding.severity != "stop" or finding.index is None:
                continue
            refs = notes[finding.index].refs
            offered = _offered(finding, line)
            key = finding.part_id, refs[0]
            unwanted = refused[key][0] if key in refused else frozenset()
            if unwanted.intersection(way.kind for way in offered):
                met.add(key)
            ways = [way for way in offered if way.kind not in unwanted]
            if not ways or (finding.part_id, refs[0]) in refs_taken:
                continue
            refs_taken.update((finding.part_id, ref) for ref in refs)
            after = notes[finding.index + 1].refs if finding.index + 1 < len(notes) else ()
            changes.append(Rewrite(
                finding=finding, refs=refs, after_refs=after, remedy=ways[0],
                place=_place(line, finding.index, number if len(reviewed) > 1 else None),
                others=tuple(dict.fromkeys(way.kind for way in ways[1:]))))
    return changes


def _place(line: Line, k: int, number: int | None) -> str:
    measure = line.notes[k].measure
    nth = sum(note.measure == measure for note in line.notes[:k + 1])
    return f"{measure}:{f'{number}.' if number else ''}{nth}"


def _offered(finding: Finding, line: Line) -> list[Remedy]:
    """Return what may be written into the score in the place of a finding, the first choice first."""
    return [way for kind in KINDS for way in finding.remedies
            if way.kind == kind and (kind != "shorten" or _keeps_enough(finding, way, line))]


def _keeps_enough(finding: Finding, shorter: Remedy, line: Line) -> bool:
    assert finding.index is not None
    assert shorter.sounding is not None
    if finding.index and line.notes[finding.index - 1].gliss_after:
        return False                   # where another glissando arrives, its end stays
    start, end = line.notes[finding.index].midi, line.notes[finding.index + 1].midi
    return abs(end - shorter.sounding.midi) >= _KEPT_SHARE * abs(end - start)


def _again(one: Reviewed, changes: Sequence[Rewrite], harmony: Harmony | None) -> Reviewed:
    """Plan and review a line with changes in place; a line without any stays as it is."""
    plan, planner = one.planned.plan, one.planned.planner
    mine = {change.refs[0]: change for change in changes if change.finding.part_id == plan.line.part_id}
    notes = list(plan.line.notes)
    touched = False
    for k, note in enumerate(notes):
        change = mine.get(note.refs[0])
        if change is None:
            continue
        touched = True
        new = change.remedy
        if new.sounding is not None and new.written is not None:
            notes[k] = replace(note, sounding=new.sounding, written=new.written, midi=new.sounding.midi)
        else:
            notes[k] = replace(note, gliss_after=False)
    if not touched:
        return one
    line = replace(plan.line, notes=tuple(notes))
    # The times as written: a glissando more or less leaves what cannot be played where it is.
    fresh = Planner(line, plan.horn, plan.player, weights=planner.weights, times=planner.times)
    again = fresh.plan()
    return replace(one, planned=replace(one.planned, plan=again, planner=fresh),
                   findings=findings(again, fresh, harmony=harmony))
