"""Which notes change so that a reviewed part can be played: where a note cannot, its first remedy in pitch."""

from collections.abc import Iterable
from dataclasses import dataclass

from analyzer.pitch import Pitch
from analyzer.review.bass import Reviewed
from analyzer.review.findings import Finding, Remedy

_IN_PITCH = ("octave", "chord-tone")


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """One note at another pitch: `refs` are its ``<note>`` elements, `remedy` what was taken (octave before chord)."""

    finding: Finding
    refs: tuple[int, ...]
    remedy: Remedy

    @property
    def written(self) -> Pitch:
        """The new written pitch."""
        assert self.remedy.written is not None, "only remedies in pitch are taken"
        return self.remedy.written


@dataclass(frozen=True, slots=True, kw_only=True)
class Ossia:
    """The changes, and the findings of severity ``stop`` for which no other pitch was found."""

    changes: tuple[Change, ...]
    left: tuple[Finding, ...]

    def by_part(self) -> dict[str, dict[int, Pitch]]:
        """Return part id to ref to new written pitch."""
        wanted: dict[str, dict[int, Pitch]] = {}
        for change in self.changes:
            for ref in change.refs:
                wanted.setdefault(change.finding.part_id, {})[ref] = change.written
        return wanted


def ossia(reviewed: Iterable[Reviewed]) -> Ossia:
    """Choose the changes: notes that cannot be played only; what is merely hard stays as it was written.

    A note that two players share is changed once, as the first of them needs it.
    """
    changes: list[Change] = []
    left: list[Finding] = []
    taken: set[tuple[str, int]] = set()
    for one in reviewed:
        for finding in one.findings:
            if finding.severity != "stop" or finding.index is None:
                continue
            refs = one.planned.plan.line.notes[finding.index].refs
            if (finding.part_id, refs[0]) in taken:
                continue
            remedy = next((way for kind in _IN_PITCH for way in finding.remedies if way.kind == kind), None)
            if remedy is None:
                left.append(finding)
            else:
                taken.update((finding.part_id, ref) for ref in refs)
                changes.append(Change(finding=finding, refs=refs, remedy=remedy))
    return Ossia(changes=tuple(changes), left=tuple(left))
