"""What a review finds in a line, and the remedies that were computed for it."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

from analyzer.pitch import Pitch
from analyzer.score.lines import Line

FindingSeverity = Literal["stop", "care", "note"]
RemedyKind = Literal["octave", "chord-tone", "shorten", "straight", "horn", "tune", "tempo", "choice"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One way out that was computed and checked, not looked up.

    `text` says it to a person. By `kind`: `octave`, `chord-tone` and `shorten` (the start of a glissando) give the
    new `sounding` and `written` pitch; `straight` nothing (the glissando goes, its notes stay); `horn` the names of
    `horns` that can play it; `tune` the `cents` by which to tune the attachment flatter, and the `label` that the note
    then has; `tempo` the `bpm` [quarter notes a minute] up to which it can be played; `choice` the `label` of another
    way.
    """

    kind: RemedyKind
    text: str
    sounding: Pitch | None = None
    written: Pitch | None = None
    horns: tuple[str, ...] = ()
    cents: float | None = None
    bpm: float | None = None
    label: str | None = None

    def as_json(self) -> dict[str, Any]:
        """Return the remedy with only the fields that it has."""
        data: dict[str, Any] = {"kind": self.kind, "text": self.text}
        if self.sounding is not None and self.written is not None:
            data |= {"sounding": self.sounding.name, "written": self.written.name, "midi": self.sounding.midi}
        if self.horns:
            data["horns"] = list(self.horns)
        if self.cents is not None:
            data["tune_cents"] = round(self.cents, 1)
        if self.bpm is not None:
            data["bpm"] = round(self.bpm, 1)
        if self.label is not None:
            data["label"] = self.label
        return data


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing found in a line.

    `severity`: ``stop`` cannot be played as written, ``care`` can but at a price, ``note`` is good to know. `line`
    counts from 1, None where it concerns no line. `measure` is the number as printed, `index` the
    place of the note in the line, None for what concerns no single note; `written`, `sounding` its pitches by name.
    `try_` are the remedies in words, `remedies` the same as data where they were computed.
    """

    code: str
    severity: FindingSeverity
    part_id: str
    part_name: str
    what: str
    line: int | None = None
    measure: str | None = None
    index: int | None = None
    written: str | None = None
    sounding: str | None = None
    try_: tuple[str, ...] = ()
    remedies: tuple[Remedy, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Return the finding with the names of the JSON contract."""
        return {
            "code": self.code, "severity": self.severity, "part": {"id": self.part_id, "name": self.part_name},
            "line": self.line, "measure": self.measure, "index": self.index, "written": self.written,
            "sounding": self.sounding, "what": self.what, "try": list(self.try_),
            "remedies": [remedy.as_json() for remedy in self.remedies],
        }


def finding_at(line: Line, index: int | None, code: str, severity: FindingSeverity, what: str,
               remedies: tuple[Remedy, ...] = (), *, more: tuple[str, ...] = ()) -> Finding:
    """Build a finding for a note of a line (or the whole line); `more` are ways out that need no data."""
    note = None if index is None else line.notes[index]
    return Finding(
        code=code, severity=severity, part_id=line.part_id, part_name=line.part_name, line=line.number,
        measure=note.measure if note else None, index=index, written=note.written.name if note else None,
        sounding=note.sounding.name if note else None, what=what,
        try_=(*(remedy.text for remedy in remedies), *more), remedies=remedies,
    )


SEVERITIES: tuple[FindingSeverity, ...] = ("stop", "care", "note")
"""Gravest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingGroup:
    """Findings of a line that say the same of several places, in playing order; never empty."""

    findings: tuple[Finding, ...]

    @property
    def first(self) -> Finding:
        """The finding that comes first in the music."""
        return self.findings[0]

    @property
    def places(self) -> tuple[str, ...]:
        """The measure of each finding that has one, as printed; one that holds two is named twice."""
        return tuple(one.measure for one in self.findings if one.measure is not None)

    @property
    def ways(self) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Each way out with the measures it is for (none: for all); those for all come first."""
        found: dict[str, list[str]] = {}
        for one in self.findings:
            for way in one.try_:
                found.setdefault(way, []).append(one.measure or "?")
        common = [(way, ()) for way, where in found.items() if len(where) == len(self.findings)]
        return (*common, *((way, tuple(where)) for way, where in found.items() if len(where) != len(self.findings)))


def grouped(found: Iterable[Finding]) -> tuple[FindingGroup, ...]:
    """Put findings that say the same together, the gravest first, else as they come."""
    groups: dict[tuple[str, str, str], list[Finding]] = {}
    for one in sorted(found, key=lambda one: SEVERITIES.index(one.severity)):
        groups.setdefault((one.severity, one.code, one.what), []).append(one)
    return tuple(FindingGroup(findings=tuple(same)) for same in groups.values())
