"""Reviews and comparisons as JSON documents and as text for a director."""

from collections.abc import Iterable, Sequence
from typing import Any

from analyzer.analysis import Analysis
from analyzer.cautions import for_changing
from analyzer.evidence import Evidence
from analyzer.horns.candidate import shown
from analyzer.horns.candidates import candidates, sounding_range
from analyzer.horns.horn import Horn, Quantity, Statement
from analyzer.marking.mapping import heading
from analyzer.pitch import pitch_of
from analyzer.review.bass import Reviewed
from analyzer.review.compare import OFF_STEPS_CENTS, Column, Comparison
from analyzer.review.findings import Group, grouped
from analyzer.review.ossia import Ossia

_HEADINGS = {"stop": "Cannot be played so", "care": "Asks for care", "note": "Good to know"}


# --- review --------------------------------------------------------------------------------------------------------

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
             "horn": one.planned.plan.horn.name, "horn_assumed": one.planned.assumed, "findings": len(one.findings)}
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
                 "was_sounding": one.finding.sounding, **one.remedy.as_json()}
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


def review_text(analysis: Analysis, reviewed: Sequence[Reviewed]) -> str:
    """Return a review in words: what recurs stands once, with its measures."""
    out: list[str] = []
    for one in reviewed:
        title = heading(one.planned)
        out += ["", title, "=" * min(100, len(title))]
        for severity, name in _HEADINGS.items():
            mine = [group for group in grouped(one.findings) if group.first.severity == severity]
            if mine:
                out += ["", f"{name}:", *_told(mine)]
        if not one.findings:
            out += ["", "Nothing found: every note and move lies within this horn and player."]
    return "\n".join([*out, "", *(f"Caution: {line}" for line in review_cautions(analysis, reviewed))])


def _told(groups: Iterable[Group]) -> list[str]:
    out = []
    for one in groups:
        what = one.first.what
        out.append(f"  {_measures(one.places or ('?',))}: {what[0].upper()}{what[1:]}. [{one.first.code}]")
        out += [f"      - {_measures(where)}: {way}" if where else f"      - {way}" for way, where in one.ways]
    return out


def _measures(places: Sequence[str], most: int = 12) -> str:
    """Name measures, each once; how often it stands there in brackets."""
    listed = list(dict.fromkeys(places))
    times = [f"{one} ({places.count(one)}x)" if places.count(one) > 1 else one for one in listed]
    more = f" and {len(times) - most} more" if len(times) > most else ""
    return f"{'m.' if len(listed) == 1 else 'mm.'} {', '.join(times[:most])}{more}"


def ossia_text(changed: Ossia) -> list[str]:
    """Return one line for each note that was changed, and for each that was not."""
    lines = []
    for change in changed.changes:
        found = change.finding
        was = "" if found.written == found.sounding else f" (sounding {found.sounding})"
        lines.append(f"{found.part_name}, measure {found.measure}: {found.written}{was} is now {change.written.name}: "
                     f"{change.remedy.text}")
    for found in changed.left:
        lines.append(f"{found.part_name}, measure {found.measure}: {found.written} stays as it was; {found.what}.")
    return lines


# --- comparison ----------------------------------------------------------------------------------------------------

def compare_document(comparison: Comparison) -> dict[str, Any]:
    """Return the JSON document of a comparison."""
    return {
        "schema": "lowbrass.compare/1",
        "score": {"file": comparison.document.name, "title": comparison.document.title},
        "horns": [horn_json(horn) for horn in comparison.horns],
        "lines": [
            {"part": {"id": line.part.id, "name": line.part.name}, "line": line.number, "of": line.of,
             "columns": [_column_json(one) for one in line.columns]}
            for line in comparison.lines
        ],
        "problems": [problem.as_json() for problem in comparison.problems],
        "cautions": list(comparison.cautions),
    }


def _column_json(one: Column) -> dict[str, Any]:
    move = one.fastest
    return {
        "horn": one.horn, "notes": one.notes, "beyond": one.beyond, "unplayable": one.unplayable,
        "travel_mm": _rounded(one.travel_mm),
        "fastest": None if move is None else {
            "peak_speed_mm_s": _rounded(move.speed_mm_s), "index": move.index, "measure": move.measure,
            "from": move.from_label, "to": move.to_label},
        "sixth": one.sixth, "seventh": one.seventh,
        **{f"off_over_{limit}_cents": count for limit, count in zip(OFF_STEPS_CENTS, one.off, strict=True)},
        "valve_changes": one.valve_changes, "tempo_ceiling_bpm": _rounded(one.tempo_ceiling_bpm),
        "cost": round(one.cost, 3),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def horn_json(horn: Horn) -> dict[str, Any]:
    """Return what a horn is and how it is held, each with the kind of its evidence."""
    low, high = sounding_range(horn)
    hold = horn.handling
    return {
        "name": horn.name, "family": horn.family, "description": horn.description,
        "low": pitch_of(low).name, "high": pitch_of(high).name,
        "gaps": [pitch_of(midi).name for midi in range(low, high + 1) if not candidates(horn, midi)],
        "bore_mm": _quantity(hold.bore_mm), "weight_kg": _quantity(hold.weight_kg),
        "valves": list(horn.loop_names), "compensating": bool(horn.master),
        "valve_type": {"value": hold.valve_type or None, **_evidence(hold.evidence)},
        "fourth_valve": {"value": hold.fourth_valve or None, **_evidence(hold.evidence)},
        "main_slide_trigger": {"value": hold.main_slide_trigger, **_evidence(hold.evidence)},
        "left_hand_carries": _statement(hold.left_hand_carries), "left_hand_works": _statement(hold.left_hand_works),
    }


def _quantity(one: Quantity) -> dict[str, Any]:
    return {"value": one.value, **_evidence(one.evidence)}


def _statement(one: Statement) -> dict[str, Any]:
    return {"value": one.text, **_evidence(one.evidence)}


def _evidence(one: Evidence) -> dict[str, Any]:
    return {"kind": one.kind, "source": one.source, "why": one.why}


def compare_text(comparison: Comparison) -> str:
    """Return a comparison as tables: a row a measure of effort, a column a horn; then the horns themselves."""
    names = [horn.name for horn in comparison.horns]
    out: list[str] = []
    for line in comparison.lines:
        player = f", player {line.number} of {line.of}" if line.of > 1 else ""
        title = f"{line.part.full_name or line.part.name or line.part.id}{player} - {line.columns[0].notes} notes"
        out += ["", title, "=" * min(100, len(title)), *_table(["", *names], [
            ["notes beyond the horn", *(str(one.beyond) for one in line.columns)],
            ["notes this player cannot play", *(str(one.unplayable) for one in line.columns)],
            ["slide travel", *(_metres(one.travel_mm) for one in line.columns)],
            ["fastest move, peak", *(_fastest(one) for one in line.columns)],
            ["notes in 6th / 7th position", *("-" if one.sixth is None else f"{one.sixth} / {one.seventh}"
                                              for one in line.columns)],
            [f"more than {' / '.join(map(str, OFF_STEPS_CENTS))} cents out",
             *(" / ".join(map(str, one.off)) for one in line.columns)],
            ["valve changes", *(str(one.valve_changes) for one in line.columns)],
            ["tempo ceiling", *("-" if one.tempo_ceiling_bpm is None else f"{one.tempo_ceiling_bpm:.0f} a minute"
                                for one in line.columns)],
        ])]
    out += ["", "The horns (c cited, d derived, j judged)", "=" * 40, *_table(["", *names], _horn_rows(comparison))]
    for horn in comparison.horns:
        hold = horn.handling
        out += ["", f"{horn.name}: {horn.description}.",
                f"  The left hand carries {hold.left_hand_carries.text} ({hold.left_hand_carries.evidence.kind}); "
                f"{hold.left_hand_works.text} ({hold.left_hand_works.evidence.kind})."]
    return "\n".join([*out, "", *(f"Caution: {line}" for line in comparison.cautions)])


def _metres(travel_mm: float | None) -> str:
    return "-" if travel_mm is None else f"{travel_mm / 1000:.1f} m"


def _fastest(one: Column) -> str:
    move = one.fastest
    if move is None:
        return "-"
    return f"{move.speed_mm_s / 1000:.1f} m/s, m. {move.measure}: {shown(move.from_label)} to {shown(move.to_label)}"


def _horn_rows(comparison: Comparison) -> list[list[str]]:
    horns = comparison.horns

    def mark(evidence: Evidence) -> str:
        return f" ({evidence.kind[0]})"

    def run(horn: Horn) -> str:
        low, high = sounding_range(horn)
        missing = [pitch_of(midi).pretty for midi in range(low, high + 1) if not candidates(horn, midi)]
        gap = "" if not missing else f", no {missing[0]}" if len(missing) == 1 else f", no {missing[0]}-{missing[-1]}"
        return f"{pitch_of(low).pretty} to {pitch_of(high).pretty}{gap}"

    return [
        ["notes", *(run(horn) for horn in horns)],
        ["bore", *(f"{horn.handling.bore_mm.value:g} mm{mark(horn.handling.bore_mm.evidence)}" for horn in horns)],
        ["weight", *(f"{horn.handling.weight_kg.value:g} kg{mark(horn.handling.weight_kg.evidence)}"
                     for horn in horns)],
        ["valves", *(f"{', '.join(horn.loop_names) or 'none'}"
                     f"{f', {horn.handling.valve_type}' if horn.handling.valve_type else ''}"
                     f"{mark(horn.handling.evidence) if horn.handling.valve_type else ''}"
                     f"{', compensating' if horn.master else ''}" for horn in horns)],
        ["fourth valve", *(f"{horn.handling.fourth_valve}{mark(horn.handling.evidence)}"
                           if horn.handling.fourth_valve else "-" for horn in horns)],
        ["main slide trigger", *("yes" if horn.handling.main_slide_trigger else "-" for horn in horns)],
    ]


def _table(head: Sequence[str], body: Sequence[Sequence[str]]) -> list[str]:
    rows = [head, *body]
    widths = [max(len(row[k]) for row in rows) for k in range(len(head))]
    return ["  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]
