"""The fit of a section in words."""

from collections.abc import Iterable, Sequence
from textwrap import fill

from analyzer.review.findings import Finding, grouped
from analyzer.section.fit import SectionFit
from analyzer.words import counted, first_few, measures_short

_MARKS = {"stop": "STOP ", "care": "CARE ", "note": "- "}
_LEGEND = "STOP: cannot be played as written. CARE: playable, but take care."
_VERDICTS = {
    "suits": "The piece suits this section",
    "suits with changes": "The piece suits this section with changes",
    "does not suit": "The piece does not suit this section as it is",
}
_NOT_TOLD = {"states": "learned valve combinations", "clefs": "clefs read"}
_NAMES = 6                             # players or reservations named in the sentence of the verdict
_SHOWN = 6


def verdict_said(fit: SectionFit) -> str:
    """Say the verdict with what it rests on and what speaks against it, in one breath."""
    said = _VERDICTS[fit.verdict]
    if fit.about == "horns":
        unknown = [seat.member.name for seat in fit.seats if not seat.looked.hands]
        said += f", as far as the horns go: the section file gives neither range nor reach for {_names(unknown)}"
    said += "."
    if fit.reservations:
        said += f" But {'; '.join(one.what for one in fit.reservations[:_NAMES])}."
    missing: dict[str, list[str]] = {}
    for seat in fit.seats:
        for item in seat.looked.not_told:
            if seat.looked.hands or item not in ("range", "reach"):
                missing.setdefault(item, []).append(seat.member.name)
    if missing:
        everybody = len(fit.seats)
        said += " Not given, so not checked: " + ", ".join(
            f"{_NOT_TOLD.get(item, item)} ({'everybody' if len(names) == everybody else _names(names)})"
            for item, names in missing.items()) + "."
    return said


def _names(names: Sequence[str]) -> str:
    return first_few(list(dict.fromkeys(names)), _NAMES) or "anybody"


def fit_text(fit: SectionFit) -> str:
    """Return the fit for a director: the verdict and the changes, who plays what, what to know, cautions."""
    out = ["", fit.document.title or fit.document.name, *fill(verdict_said(fit), 100).splitlines()]
    if fit.verdict == "does not suit":
        out += [f"  {number}. {told(one)}" for number, one in enumerate(severe(fit), 1)]
        if fit.changes:
            out += ["The changes that it would take:"]
    elif fit.changes:
        out += ["Changes:"]
    out += [f"  {number}. {change.text}" for number, change in enumerate(fit.changes, 1)]
    if fit.after:
        out += ["Then:"]
        out += [f"  {chair.title}: {player} on {horn}" for chair, player, horn in fit.after]
    out += ["", "Who plays what" + (", before these changes" if fit.after else "")]
    wide = max((len(seat.chair.title) for seat in fit.seats), default=0)
    for seat in fit.seats:
        doubles = " (doubling)" if seat.doubles else ""
        covers = " (cover)" if seat.cover is not None else ""
        out.append(f"  {seat.chair.title:<{wide}}  {seat.member.name} on {seat.played}{covers}{doubles}")
        out += _findings_text(seat.findings)
    if fit.absent:
        out += ["", f"Absent: {', '.join(fit.absent)}"]
    if fit.unfilled:
        out += ["", "Without a player"]
        out += [f"  {one.chair.title}: {one.why}." for one in fit.unfilled]
    general = [one for one in fit.findings if not (fit.verdict == "does not suit" and one.severity == "stop")]
    if general:
        out += ["", "Notes"]
        out += [f"  {_MARKS[one.severity]}{told(one)}" for one in general]
    if any(line.lstrip().startswith((_MARKS["stop"], _MARKS["care"])) for line in out):
        out += ["", _LEGEND]
    return "\n".join([*out, "", *(f"Caution: {line}" for line in fit.cautions)])


def severe(fit: SectionFit) -> list[Finding]:
    """Return what stands in the way of the whole piece."""
    return [one for one in fit.findings if one.severity == "stop"]


def told(finding: Finding) -> str:
    """Say a finding and its ways out in sentences."""
    what = finding.what if finding.what.endswith(".") else f"{finding.what}."
    return f"{what[:1].upper()}{what[1:]} {' '.join(finding.try_)}".strip()


def _findings_text(findings: Sequence[Finding]) -> Iterable[str]:
    """Return the gravest findings of a seat, a line each, and how many more there are; notes only if nothing else."""
    groups = [one for one in grouped(findings) if one.first.severity != "note" or one.first.code == "horn"]
    shown = 0
    for group in groups[:_SHOWN]:
        shown += len(group.findings)
        measures = measures_short(group.places, _SHOWN) if group.places else ""
        place = f"{measures}: " if measures else ""
        what = group.first.what
        way = f" {group.first.try_[0]}" if group.first.try_ else ""
        yield f"      {_MARKS[group.first.severity]}{place}{what}{'' if what.endswith('.') else '.'}{way}"
    more = len(findings) - shown
    if more:
        what = f"and {more} more" if shown else counted(more, "note")
        yield f"      {what}: see the page (-o FILE.html) or --format json"
