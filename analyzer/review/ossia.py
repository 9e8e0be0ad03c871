"""What changes so that a reviewed part can be played: notes at another pitch, glissandi begun later or taken out.

Only what cannot be played changes; what is merely hard stays as it was written. Every change is reviewed again with the
others in place, so that the ossia itself passes.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from analyzer.pitch import Pitch
from analyzer.plan.solve import Planner
from analyzer.review.bass import Reviewed, findings
from analyzer.review.findings import Finding, Kind, Remedy
from analyzer.review.harmony import Harmony
from analyzer.score.line import Line

_KINDS: tuple[Kind, ...] = ("octave", "chord-tone", "shorten", "straight")
"""What may be written into a score, first what keeps the note's name."""
_KEPT_SHARE = 0.5
"""A glissando that would lose more than this share of its way is taken out instead. Judged: from there on the ear hears
another gesture; composers' own revisions of such places would change our mind."""
_MOST_ROUNDS = 4
"""Judged: a change touches its neighbours only; of 200 lines full of glissandi made by chance none needs more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One place rewritten: `refs` are the ``<note>`` elements of its note, `after_refs` of the note that follows.

    `remedy` is what was taken; `finding` what was found there as written.
    """

    finding: Finding
    refs: tuple[int, ...]
    after_refs: tuple[int, ...]
    remedy: Remedy

    @property
    def straight(self) -> bool:
        """Whether a glissando goes and its notes stay."""
        return self.remedy.kind == "straight"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ossia:
    """The changes, and the findings of severity ``stop`` for which no other way was found."""

    changes: tuple[Change, ...]
    left: tuple[Finding, ...]

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


def ossia(reviewed: Iterable[Reviewed], harmony: Harmony | None = None) -> Ossia:
    """Choose the changes, and look again with all of them in place until nothing more can be mended.

    A note that two players share is changed once, as the first of them needs it. `harmony` is asked for chord tones
    where a changed place has to be changed again.
    """
    now = tuple(reviewed)
    taken: dict[tuple[str, int, bool], Change] = {}
    for _ in range(_MOST_ROUNDS):
        new = _chosen(now)
        if not new:
            break
        for change in new:
            key = (change.finding.part_id, change.refs[0], change.straight)
            # What is told is what was found in the music as written.
            taken[key] = replace(change, finding=taken[key].finding) if key in taken else change
        now = tuple(_again(one, new, harmony) for one in now)
    return Ossia(changes=tuple(taken.values()), left=tuple(
        finding for one in now for finding in one.findings if finding.severity == "stop"))


def _chosen(reviewed: Sequence[Reviewed]) -> list[Change]:
    changes: list[Change] = []
    refs_taken: set[tuple[str, int]] = set()
    for one in reviewed:
        notes = one.planned.plan.line.notes
        for finding in one.findings:
            if finding.severity != "stop" or finding.index is None:
                continue
            refs = notes[finding.index].refs
            remedy = _remedy(finding, one.planned.plan.line)
            if remedy is None or (finding.part_id, refs[0]) in refs_taken:
                continue
            refs_taken.update((finding.part_id, ref) for ref in refs)
            after = notes[finding.index + 1].refs if finding.index + 1 < len(notes) else ()
            changes.append(Change(finding=finding, refs=refs, after_refs=after, remedy=remedy))
    return changes


def _remedy(finding: Finding, line: Line) -> Remedy | None:
    offered = {way.kind: way for way in reversed(finding.remedies)}
    return next((offered[kind] for kind in _KINDS
                 if kind in offered and (kind != "shorten" or _keeps_enough(finding, offered[kind], line))), None)


def _keeps_enough(finding: Finding, shorter: Remedy, line: Line) -> bool:
    assert finding.index is not None
    assert shorter.sounding is not None
    if finding.index and line.notes[finding.index - 1].gliss_after:
        return False                   # where another glissando arrives, its end stays
    start, end = line.notes[finding.index].midi, line.notes[finding.index + 1].midi
    return abs(end - shorter.sounding.midi) >= _KEPT_SHARE * abs(end - start)


def _again(one: Reviewed, changes: Sequence[Change], harmony: Harmony | None) -> Reviewed:
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
