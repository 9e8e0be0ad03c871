"""Comparisons of horns, over one score or a folder of them, as JSON documents and as text for a director."""

from collections.abc import Callable, Sequence
from typing import Any

from analyzer.evidence import Evidence
from analyzer.horns.candidates import candidates, sounding_range
from analyzer.horns.horn import Horn, Quantity, Statement
from analyzer.library.comparing import Folder, Piece
from analyzer.pitch import pitch_of
from analyzer.report.blocks import Block, Cautions, Gap, Head, Said, Table, Title, as_text
from analyzer.report.heading import assumed_text
from analyzer.review.compare import OFF_STEPS_CENTS, Column, Comparison
from analyzer.words import counted, listed, shown


def compare_document(comparison: Comparison) -> dict[str, Any]:
    """Return the JSON document of a comparison."""
    return {
        "schema": "lowbrass.compare/1",
        "score": {"file": comparison.document.name, "title": comparison.document.title},
        "horns": [horn_json(horn) for horn in comparison.horns],
        "lines": [
            {"part": {"id": line.part.id, "name": line.part.name}, "line": line.number, "of": line.of,
             "assumptions": [found.as_json() for found in line.assumptions],
             "columns": [_column_json(one) for one in line.columns]}
            for line in comparison.lines
        ],
        "totals": [_column_json(one) for one in comparison.totals],
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
        "valve_type": {"value": hold.valve_type or None, **hold.evidence.as_json()},
        "fourth_valve": {"value": hold.fourth_valve or None, **hold.evidence.as_json()},
        "main_slide_trigger": {"value": hold.main_slide_trigger, **hold.evidence.as_json()},
        "left_hand_carries": _statement(hold.left_hand_carries), "left_hand_works": _statement(hold.left_hand_works),
    }


def _quantity(one: Quantity) -> dict[str, Any]:
    return {"value": one.value, **one.evidence.as_json()}


def _statement(one: Statement) -> dict[str, Any]:
    return {"value": one.text, **one.evidence.as_json()}


def compare_text(comparison: Comparison) -> str:
    """Return a comparison as tables: a row a measure of effort, a column a horn; then the horns themselves."""
    return as_text(compare_blocks(comparison))


def compare_blocks(comparison: Comparison) -> list[Block]:
    """Return the parts of a comparison: a table a line, all lines, the horns."""
    out: list[Block] = [Title(f"{comparison.document.title or comparison.document.name}: "
                              f"{listed([horn.name for horn in comparison.horns])} compared", paper=True)]
    for line in comparison.lines:
        player = f", {line.whose}" if line.whose else ""
        title = f"{line.part.full_name or line.part.name or line.part.id}{player} - {line.columns[0].notes} notes"
        assumed = assumed_text(line.assumptions)
        out += [Head(title, ruled=True), *([Said(assumed, wide=96)] if assumed else []), _effort(line.columns)]
    if len(comparison.lines) > 1:
        out += [Head(f"All {len(comparison.lines)} lines - {comparison.totals[0].notes} notes", ruled=True),
                _effort(comparison.totals)]
    return [*out, *_horns(comparison.horns), Cautions(comparison.cautions)]


def _effort(columns: Sequence[Column]) -> Table:
    """Return the table of one line, or of many together: a row a measure of effort, a column a horn."""
    return Table([
        ["", *(one.horn for one in columns)],
        ["unplayable on this horn", *(str(one.beyond) for one in columns)],
        ["unplayable for this player", *(str(one.unplayable) for one in columns)],
        ["slide travel", *(_metres(one.travel_mm) for one in columns)],
        ["fastest move (peak)", *(_fastest(one) for one in columns)],
        ["  from measure", *(one.fastest.measure if one.fastest else "-" for one in columns)],
        ["  from position", *(shown(one.fastest.from_label) if one.fastest else "-" for one in columns)],
        ["  to position", *(shown(one.fastest.to_label) if one.fastest else "-" for one in columns)],
        ["notes in 6th position", *("-" if one.sixth is None else str(one.sixth) for one in columns)],
        ["notes in 7th position", *("-" if one.seventh is None else str(one.seventh) for one in columns)],
        *([f"more than {limit} cents off", *(str(one.off[k]) for one in columns)]
          for k, limit in enumerate(OFF_STEPS_CENTS)),
        ["valve changes", *(str(one.valve_changes) for one in columns)],
        ["top tempo (quarter notes)", *(_top(one) for one in columns)],
    ])


def _horns(horns: Sequence[Horn]) -> list[Block]:
    """Say what the horns are and how they are held, each number with the kind of its evidence."""
    out: list[Block] = [Head("The horns (c cited, d derived, j judged)", ruled=True),
                        Table([["", *(horn.name for horn in horns)], *_horn_rows(horns)])]
    for horn in horns:
        hold = horn.handling
        out += [Gap(), Said(f"{horn.name}: {horn.description}."),
                Said(f"Left hand: holds {hold.left_hand_carries.text} ({hold.left_hand_carries.evidence.kind}). "
                     f"{_works(hold.left_hand_works.text)} ({hold.left_hand_works.evidence.kind}).", indent=2)]
    return out


def _works(text: str) -> str:
    return "It works no valve" if text == "nothing" else f"{text[:1].upper()}{text[1:]}"


def _metres(travel_mm: float | None) -> str:
    return "-" if travel_mm is None else f"{travel_mm / 1000:.1f} m"


def _fastest(one: Column) -> str:
    return "-" if one.fastest is None else f"{one.fastest.speed_mm_s / 1000:.1f} m/s"


def _top(one: Column) -> str:
    return "-" if one.tempo_ceiling_bpm is None else f"{one.tempo_ceiling_bpm:.0f}"


def _horn_rows(horns: Sequence[Horn]) -> list[list[str]]:
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


# --- a folder --------------------------------------------------------------------------------------------------------


def folder_document(folder: Folder) -> dict[str, Any]:
    """Return the JSON document of a comparison over a folder; files that could not be compared stand with their reason.
    """
    return {
        "schema": "lowbrass.compare-folder/1",
        "folder": folder.name,
        "horns": [horn_json(horn) for horn in folder.horns],
        "pieces": [
            {"file": one.name, "title": one.title, "lines": one.lines,
             "totals": [_column_json(column) for column in one.totals], "outlier": one.outlier or None,
             "problem": one.problem.as_json() if one.problem else None}
            for one in folder.pieces
        ],
        "totals": [_column_json(one) for one in folder.totals],
        "verdict": {"horn": folder.verdict.horn, "text": folder.verdict.text},
        "cautions": list(folder.cautions),
    }


def folder_text(folder: Folder) -> str:
    """Return a comparison over a folder: a table a measure of effort with a row a piece, all of them, the verdict."""
    return as_text(folder_blocks(folder))


def folder_blocks(folder: Folder, *, verdict_first: bool = False) -> list[Block]:
    """Return the parts of a comparison over a folder; a terminal shows its last lines, paper its first: the verdict."""
    compared = [one for one in folder.pieces if one.totals]
    left = [one for one in folder.pieces if one.problem is not None]
    odd = [one for one in folder.pieces if one.outlier]
    verdict: list[Block] = [Head("Verdict", ruled=True), Said(folder.verdict.text)]
    out: list[Block] = [Title(f"{folder.name}: {listed([horn.name for horn in folder.horns])} compared", paper=True),
                        *(verdict if verdict_first else ())]
    for title, cell in _PIECE_TABLES if compared else ():
        cells = [[one.name, *(cell(column) for column in one.totals)] for one in compared]
        if any(text != "-" for row in cells for text in row[1:]):
            out += [Head(title, ruled=True), Table([["", *(horn.name for horn in folder.horns)], *cells])]
    if folder.totals:
        out += [Head(f"All {counted(len(folder.counted), 'piece')} - {counted(folder.totals[0].notes, 'note')}",
                     ruled=True), _effort(folder.totals)]
        out += [Said(f"{total.horn} has its fastest move in {_holder(folder.counted, k, total)}.") for k, total in
                enumerate(folder.totals) if total.fastest is not None]
    if odd:
        out += [Head("Left out of the totals", ruled=True), *(Said(f"{one.name}: {one.outlier}.") for one in odd)]
    if left:
        out += [Head("Not compared", ruled=True),
                *(Said(f"{one.name}: {one.problem.what}.") for one in left if one.problem)]
    return [*out, *_horns(folder.horns), *(() if verdict_first else verdict), Cautions(folder.cautions)]


_PIECE_TABLES: tuple[tuple[str, Callable[[Column], str]], ...] = (
    ("Notes that cannot be played", lambda one: str(one.unplayable)),
    ("Slide travel", lambda one: _metres(one.travel_mm)),
    ("Valve changes", lambda one: str(one.valve_changes)),
    ("Fastest move (peak)", _fastest),
    ("Top tempo (quarter notes a minute)", _top),
)
"""What the tables of a folder tell, one number in each cell."""


def _holder(pieces: Sequence[Piece], column: int, total: Column) -> str:
    """Name the piece whose fastest move is that of all together."""
    return next(one.name for one in pieces if one.totals[column].fastest == total.fastest)
