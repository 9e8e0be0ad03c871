"""The fit of a section in words."""

from collections.abc import Sequence

from analyzer.report import blocks
from analyzer.report.blocks import Block, Cautions, Findings, Gap, Head, Said, Title, as_text
from analyzer.report.fit.rehearse import hard_measures, rehearsal_lead, rehearse_first
from analyzer.report.tune_chords import all_of_them, chord_short
from analyzer.review.findings import Finding, FindingGroup, grouped
from analyzer.section.fit import SectionFit
from analyzer.section.in_tune import section_chords
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
    return as_text(fit_blocks(fit))


def fit_blocks(fit: SectionFit, *, every: bool = False) -> list[Block]:
    """Return the parts of the fit; with `every` finding of a line, else the gravest and how many more there are."""
    out: list[Block] = [Gap(), Title(fit.document.title or fit.document.name),
                        Said(verdict_said(fit), wide=100, strong=True)]
    if fit.verdict == "does not suit":
        out += [Said(f"{number}. {told(one)}", indent=2) for number, one in enumerate(severe(fit), 1)]
        if fit.changes:
            out += [Said("The changes that it would take:")]
    elif fit.changes:
        out += [Said("Changes:")]
    out += [Said(f"{number}. {change.text}", indent=2) for number, change in enumerate(fit.changes, 1)]
    if fit.after:
        out += [Said("Then:")]
        out += [Said(f"{chair.title}: {player} on {horn}", indent=2) for chair, player, horn in fit.after]
    out += [Head("Who plays what" + (", before these changes" if fit.after else ""))]
    wide = max((len(seat.chair.title) for seat in fit.seats), default=0)
    marked: list[blocks.Finding] = []
    for seat in fit.seats:
        doubles = " (doubling)" if seat.doubles else ""
        covers = " (cover)" if seat.cover is not None else ""
        out.append(Said(f"{seat.chair.title:<{wide}}  {seat.member.name} on {seat.played}{covers}{doubles}",
                        indent=2))
        found, more = _findings_told(seat.findings, every=every)
        marked += found
        out += [Findings(("", "Measures", "What, and what to try"), found),
                *([Said(f"{more}: see the page (-o FILE.html) or --format json", indent=6)] if more else [])]
    first = rehearse_first(hard_measures(fit))
    out += [Head("What to rehearse first"), Said(rehearsal_lead(first), indent=2)]
    out += [Said(f"m. {one.measure}: {fit.seats[place].member.name}, {fit.seats[place].chair.title} ({one.level}). "
                 f"{one.reason}", indent=2) for place, one in first]
    if fit.absent:
        out += [Gap(), Said(f"Absent: {', '.join(fit.absent)}")]
    if fit.unfilled:
        out += [Head("Without a player")]
        out += [Said(f"{one.chair.title}: {one.why}.", indent=2) for one in fit.unfilled]
    if fit.relieved:
        out += [Head("Phrases handed over")]
        out += [Said(f"{share.chair.title}: {share.said}.", indent=2) for share in fit.relieved]
    general = [one for one in fit.findings if not (fit.verdict == "does not suit" and one.severity == "stop")]
    if general:
        out += [Head("Notes")]
        out += [Said(f"{_MARKS[one.severity]}{told(one)}", indent=2) for one in general]
    if chords := section_chords(fit):
        out += [Head("In tune together: the chords that will be worst")]
        out += [Said(chord_short(chord), indent=2) for chord in chords]
        out += [Said(all_of_them(fit.document.name), indent=2)]
    if any(one.severity != "note" for one in general) or any(one.cells[0] for one in marked):
        out += [Gap(), Said(_LEGEND)]
    return [*out, Cautions(fit.cautions)]


def severe(fit: SectionFit) -> list[Finding]:
    """Return what stands in the way of the whole piece."""
    return [one for one in fit.findings if one.severity == "stop"]


def told(finding: Finding) -> str:
    """Say a finding and its ways out in sentences."""
    what = finding.what if finding.what.endswith(".") else f"{finding.what}."
    return f"{what[:1].upper()}{what[1:]} {' '.join(finding.try_)}".strip()


def _findings_told(findings: Sequence[Finding], *, every: bool) -> tuple[list[blocks.Finding], str]:
    """Return the gravest findings of a seat, notes only if nothing else, and how many more there are; or every one."""
    groups = [one for one in grouped(findings) if every or one.first.severity != "note" or one.first.code == "horn"]
    shown = groups if every else groups[:_SHOWN]
    more = len(findings) - sum(len(group.findings) for group in shown)
    return [_told(group, len(group.places) if every else _SHOWN) for group in shown], \
        "" if not more else f"and {more} more" if shown else counted(more, "note")


def _told(group: FindingGroup, most: int) -> blocks.Finding:
    measures = measures_short(group.places, most) if group.places else ""
    mark, what = _MARKS[group.first.severity], group.first.what
    said = f"{what}{'' if what.endswith('.') else '.'}{f' {group.first.try_[0]}' if group.first.try_ else ''}"
    return blocks.Finding((mark.strip(" -"), measures, said),
                          (f"      {mark}{f'{measures}: ' if measures else ''}{said}",))
