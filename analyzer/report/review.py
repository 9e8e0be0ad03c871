"""Reviews as JSON documents and as text for a director."""

from collections.abc import Sequence
from typing import Any

from analyzer.analysis import Analysis
from analyzer.cautions import for_changing
from analyzer.report.blocks import Block, Cautions, Finding, Findings, Gap, Head, Said, Title, as_text
from analyzer.report.heading import heading, supposed_text
from analyzer.review.findings import FindingGroup, grouped
from analyzer.review.line import Reviewed
from analyzer.review.ossia import Ossia, Rewrite
from analyzer.words import counted, measures_short, shown

HEADINGS = {"stop": "Cannot be played as written", "care": "Take care here", "note": "Good to know"}


def review_document(analysis: Analysis, reviewed: Sequence[Reviewed], changed: Ossia | None = None) -> dict[str, Any]:
    """Return the JSON document of a review; `changed` is what an ossia wrote.

    `horn` names the horn that was asked for; where none or several were, every horn that was taken.
    """
    used = list(dict.fromkeys(one.planned.plan.horn.name for one in reviewed))
    given = list(dict.fromkeys(one.planned.plan.horn.name for one in reviewed if not one.planned.assumed))
    document: dict[str, Any] = {
        "schema": "lowbrass.review/1",
        "score": {"file": analysis.document.name, "title": analysis.document.title},
        "horn": given[0] if len(given) == 1 else ", ".join(used),
        "lines": [
            {"part": {"id": one.planned.part.id, "name": one.planned.part.name},
             "line": one.planned.plan.line.number, "of": one.planned.plan.line.of,
             "horn": one.planned.plan.horn.name, "horn_assumed": one.planned.assumed,
             "assumptions": [found.as_json() for found in one.planned.assumptions], "findings": len(one.findings)}
            for one in reviewed
        ],
        "findings": [{**finding.as_json(), "horn": one.planned.plan.horn.name}
                     for one in reviewed for finding in one.findings],
        "problems": [problem.as_json() for problem in analysis.problems],
        "cautions": list(review_cautions(analysis, reviewed)),
    }
    if changed is not None:
        document["ossia"] = {
            "changes": [
                {"part": {"id": one.finding.part_id, "name": one.finding.part_name}, "line": one.finding.line,
                 "measure": one.finding.measure, "index": one.finding.index, "was_written": one.finding.written,
                 "was_sounding": one.finding.sounding, "written": one.finding.written, **one.remedy.as_json(),
                 "place": one.place, "mark": one.mark, "others": list(one.others), "said": change_said(one)}
                for one in changed.changes],
            "left": [one.as_json() for one in changed.left],
        }
    return document


def review_cautions(analysis: Analysis, reviewed: Sequence[Reviewed]) -> tuple[str, ...]:
    """Return the cautions of a review; those for a change of horn stand there if one is among the remedies."""
    families = {one.planned.plan.horn.family for one in reviewed for finding in one.findings
                if any(remedy.kind == "horn" for remedy in finding.remedies)}
    changing = for_changing(slide="slide" in families, valves="valves" in families) if families else ()
    return tuple(dict.fromkeys((*analysis.cautions[:-1], *changing, *analysis.cautions)))


def review_text(analysis: Analysis, reviewed: Sequence[Reviewed], changed: Ossia | None = None) -> str:
    """Return a review in words: what recurs stands once, with its measures; then what `changed` rewrites."""
    return as_text(review_blocks(analysis, reviewed, changed))


def review_blocks(analysis: Analysis, reviewed: Sequence[Reviewed], changed: Ossia | None = None) -> list[Block]:
    """Return the parts of a review, line by line; then what `changed` rewrites."""
    out: list[Block] = [Title(f"{analysis.document.title or analysis.document.name}: review", paper=True)]
    for one in reviewed:
        if not one.findings:
            continue
        out += [Head(heading(one.planned), ruled=True), *_supposed(one)]
        for severity, name in HEADINGS.items():
            mine = [group for group in grouped(one.findings) if group.first.severity == severity]
            if mine:
                out += [Head(f"{name}:"), Findings(("Measures", "What", "What to try"), [_told(one) for one in mine])]
    clear = [one for one in reviewed if not one.findings]
    if clear:
        which = counted(len(clear), "line") if len(clear) < len(reviewed) or len(clear) > 1 else "this line"
        out += [Gap(), Said(f"Nothing found in {which}: every note and move is within the horn and the player's "
                            "limits.")]
        for one in clear:
            out += [Said(heading(one.planned), indent=2), *_supposed(one, indent=4)]
    if changed is not None:
        out += [Gap(), *_ossia_blocks(changed)]
    return [*out, Cautions(review_cautions(analysis, reviewed))]


def _supposed(one: Reviewed, indent: int = 0) -> list[Block]:
    said = supposed_text(one.planned)
    return [Said(said, indent=indent, wide=96 + indent)] if said else []


def _told(one: FindingGroup) -> Finding:
    places, what = one.places or ("?",), f"{one.first.what[0].upper()}{one.first.what[1:]}. [{one.first.code}]"
    return Finding(
        (measures_short(places, len(places)), what,
         "\n".join(f"{measures_short(where, len(where))}: {way}" if where else way for way, where in one.ways)),
        (f"  {measures_short(places)}: {what}",
         *(f"      - {measures_short(where)}: {way}" if where else f"      - {way}" for way, where in one.ways)))


def change_said(change: Rewrite) -> str:
    """Say one change of a rewrite: where, what was written, what is written now, and why that."""
    found, written = change.finding, change.remedy.written
    where = f"{found.part_name}, measure {found.measure}"
    if written is None:
        return f"{where}: {found.what[4:]}; the glissando is left out, its notes stay."
    was = "" if found.written == found.sounding else f" (sounding {shown(found.sounding or '')})"
    return f"{where}: {shown(found.written or '')}{was} is now {written.pretty}. {change.remedy.text}"


def _ossia_blocks(changed: Ossia) -> list[Block]:
    """Return a line for each note that is changed, with how to refuse it, and for each that stays as it was."""
    count = len(changed.changes)
    out: list[Block] = [
        Said(f"The playable version changes {counted(count, 'place')}, each marked over its note:"
             if count else "The playable version changes nothing.", strong=True)]
    for change in changed.changes:
        instead = f"; then {' or '.join(change.others)} is taken: {change.place}={change.remedy.kind}" \
            if change.others else ""
        out.append(Said(f"{change_said(change)} (--refuse {change.place} leaves it as written{instead})", indent=2))
    out += [Said(f"{found.part_name}, measure {found.measure}: {shown(found.written or '')} stays as written: "
                 f"{found.what}.", indent=2) for found in changed.left]
    return out
