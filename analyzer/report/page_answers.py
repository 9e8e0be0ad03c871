"""What the local page shows of a review, a fit or one note's choices: sentences, grouped once, for it to lay out."""

from collections.abc import Sequence
from typing import Any

from analyzer.analysis import Analysis
from analyzer.horns.candidate import Candidate
from analyzer.horns.horn import Horn
from analyzer.pitch import HEARD_CENTS
from analyzer.plan.player import Player
from analyzer.report.fit.document import fit_document
from analyzer.report.fit.rehearse import hard_measures, rehearsal_lead, rehearse_first
from analyzer.report.fit.text import told
from analyzer.report.plain import horn_said, plain, plain_line
from analyzer.report.review import HEADINGS, review_document
from analyzer.review.findings import SEVERITIES, Finding, grouped
from analyzer.review.line import Reviewed
from analyzer.review.ossia import Ossia
from analyzer.section.fit import Seat, SectionFit
from analyzer.words import cents_text, measures_named

_COUNTS = {
    "stop": ("place cannot be played as written", "places cannot be played as written"),
    "care": ("place needs care", "places need care"),
    "note": ("remark is good to know", "remarks are good to know"),
}
_ORDINALS = {1: "1st", 2: "2nd", 3: "3rd"}
_MEASURES, _IN_A_CELL = 12, 6
_NO_FINDING = "Nothing found: every note and move lies within this horn and player."


def groups_of(findings: Sequence[Finding]) -> list[dict[str, Any]]:
    """Return findings under the heading of each severity, those that say the same as one, each with its places.

    ``[{severity, heading, groups: [{code, said, places: [{measure, index}], remedies: [sentence]}]}]``.
    """
    out = []
    found = grouped(findings)
    for severity in SEVERITIES:
        mine = [
            {"code": group.first.code, "said": _sentence(plain(group.first.what)),
             "places": [{"measure": finding.measure, "index": finding.index} for finding in group.findings
                        if finding.measure],
             "remedies": [plain(text) if not measures else
                          f"{_capital(measures_named(measures, _MEASURES))}: {plain(text)}"
                          for text, measures in group.ways]}
            for group in found if group.first.severity == severity]
        if mine:
            out.append({"severity": severity, "heading": HEADINGS[severity], "groups": mine})
    return out


def findings_counted(findings: Sequence[Finding]) -> str:
    """Say how many findings of each severity there are."""
    counts = {severity: sum(finding.severity == severity for finding in findings) for severity in SEVERITIES}
    said = [f"{count} {_COUNTS[severity][count > 1]}" for severity, count in counts.items() if count]
    return f"{', '.join(said)}." if said else _NO_FINDING


def review_answer(analysis: Analysis, reviewed: Sequence[Reviewed], changed: Ossia | None) -> dict[str, Any]:
    """Return the document of a review with what the page shows of it as ``page``."""
    document = review_document(analysis, reviewed, changed)
    left = len(changed.left) if changed else 0
    every = [finding for line in reviewed for finding in line.findings]
    beyond = list(dict.fromkeys(one.measure for one in every if one.severity == "stop" and one.measure))
    said = findings_counted(every)
    if beyond:
        stops, _, more = said.partition(" as written")
        said = f"{stops} as written ({measures_named(beyond, _MEASURES)}){more}"
    document["page"] = {
        "said": said,
        "lines": [{"line": line.planned.plan.line.number, "findings": groups_of(line.findings)} for line in reviewed],
        "changes": [{"place": change.place, "said": plain(told["said"]), "part": change.finding.part_id,
                     "line": change.finding.line, "index": change.finding.index}
                    for change, told in zip(changed.changes, document["ossia"]["changes"], strict=True)]
        if changed else [],
        "left": f"{left} more {'places stay' if left > 1 else 'place stays'} as written: no other note works there."
                if left else "",
        "problems": [plain_line(problem) for problem in analysis.problems],
    }
    return document


def fit_answer(fit: SectionFit) -> dict[str, Any]:
    """Return the document of a fit with what the page shows of it as ``page``."""
    refused = fit.verdict == "does not suit"
    before = ", before these changes" if fit.after else ""
    apart = [finding for finding in fit.findings if refused and finding.severity == "stop"]
    document = fit_document(fit)
    document["page"] = {
        "said": plain(document["said"]),
        "stops": [plain(told(finding)) for finding in apart],
        "changes_heading": "The changes that it would take" if refused else "Changes",
        "changes": [plain(change.text) for change in fit.changes],
        "then": [f"{chair.title}: {player} on {horn_said(horn)}" for chair, player, horn in fit.after],
        "seats_heading": f"Who plays what{before}",
        "seats": [_seat(seat) for seat in fit.seats],
        "first": _first(fit),
        "unfilled": [{"part": empty.chair.title, "why": plain(empty.why)} for empty in fit.unfilled],
        "handed": [plain(f"{share.chair.title}: {share.said}.") for share in fit.relieved],
        "remarks": [plain(told(finding)) for finding in fit.findings if finding not in apart],
        "problems": [plain_line(problem) for problem in fit.problems],
    }
    return document


def _first(fit: SectionFit) -> dict[str, Any]:
    """Return what to rehearse first, each place with the seat (its place in the list) and note it is about."""
    found = rehearse_first(hard_measures(fit))
    return {"lead": rehearsal_lead(found), "places": [
        {"measure": one.measure, "seat": place, "index": one.index, "said": f"{fit.seats[place].member.name}, "
         f"{fit.seats[place].chair.title} ({one.level}): {plain(one.reason)}"} for place, one in found]}


def _seat(seat: Seat) -> dict[str, Any]:
    weighty = [finding for finding in seat.findings if finding.severity != "note"]
    measures = measures_named([finding.measure for finding in seat.findings if finding.measure], _MEASURES)
    where = measures_named([finding.measure for finding in weighty if finding.measure], _IN_A_CELL)
    goes = findings_counted(weighty).removesuffix(".") if weighty else "well"
    return {
        "part": seat.chair.title, "player": seat.member.name + (" (doubles)" if seat.doubles else ""),
        "horn": horn_said(seat.played), "goes": f"{goes} ({where})" if where else goes,
        # With what the music is to be shown: what a cover reads is not the printed part.
        "member": seat.member.name, "horn_name": None if seat.cover else seat.played,
        "heading": f"{seat.chair.title}, {seat.member.name}: what to know" + (f", {measures}" if measures else ""),
        "part_id": seat.chair.part.id, "line": seat.chair.line.number, "findings": groups_of(seat.findings),
    }


def choice_said(candidate: Candidate) -> str:
    """Return partial, place and tuning of a choice in a few words."""
    partial = candidate.partial
    said = [f"{_ORDINALS.get(partial, f'{partial}th')} partial" + (" (pedal)" if partial == 1 else "")]
    if candidate.extension_mm is not None:
        out_mm = candidate.extension_mm
        said.append("slide all the way in" if out_mm < 1 else f"slide {out_mm / 10:.0f} cm out")
    said.append("in tune" if abs(candidate.off_cents) <= HEARD_CENTS else cents_text(candidate.off_cents))
    return ", ".join(said)


def against_choice(horn: Horn, player: Player, candidate: Candidate) -> str:
    """Say why a plan leaves out a choice that the horn has."""
    if candidate.out_mm > player.reach_on(horn):
        return "beyond this player's reach"
    if not player.knows(candidate.valves):
        return "valves not learned yet"
    return candidate.advice or "attachment above its ceiling"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sentence(text: str) -> str:
    return _capital(text) if text.endswith((".", "!", "?")) else f"{_capital(text)}."
