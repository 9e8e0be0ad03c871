"""A survey as data, as a table, and as a page of plain sentences for whoever buys horns and plans a season."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer import cautions
from analyzer.library.demands import compensating_pairs, lines_of
from analyzer.library.purchase import Case
from analyzer.library.survey import Record, Survey

if TYPE_CHECKING:
    pass

SCHEMA = "lowbrass.survey/1"
STATUSES = ("read", "no low brass", "duplicate", "archive", "not a score", "unreadable")


def survey_document(survey: Survey, bought: Case | None = None) -> Record:
    """Return the JSON document: every file, every line on every horn, the sums, and a purchase case if there is one."""
    return {
        "schema": SCHEMA, "folder": survey.folder, "files": list(survey.files), "lines": list(survey.lines),
        "summary": summary(survey),
        "problems": [row["problem"] for row in survey.files if row["status"] == "unreadable" and row["problem"]],
        "cautions": list(cautions_of(survey)), **({"purchase": bought.as_json()} if bought else {}),
    }


def cautions_of(survey: Survey) -> tuple[str, ...]:
    """Return the cautions for a change of horn, as far as the horns looked at ask for them."""
    families = {row["horn_family"] for row in survey.lines}
    return cautions.for_changing(slide="slide" in families or not families, valves="valves" in families)


def summary(survey: Survey) -> Record:
    """Return the sums: files by status, lines by family, and for each horn what its lines ask of it."""
    lines = lines_of(survey)
    status = Counter(row["status"] for row in survey.files)
    families = Counter(rows[0]["family"] for rows in lines.values())
    horns: dict[str, list[Record]] = defaultdict(list)
    for row in survey.lines:
        horns[row["horn"]].append(row)
    return {
        "files": {one: status[one] for one in STATUSES}, "lines": len(lines),
        "notes": sum(rows[0]["notes"] for rows in lines.values()),
        "lines_by_family": dict(sorted(families.items())),
        "horns": [_on_horn(name, rows) for name, rows in sorted(horns.items())],
        "attachment": _attachment(list(lines.values()), 1), "second_valve": _attachment(list(lines.values()), 2),
        "compensating": _compensating(list(lines.values())),
    }


def _on_horn(name: str, rows: Sequence[Record]) -> Record:
    notes = sum(row["notes"] for row in rows)
    played = notes - sum(row["unplayable"] for row in rows)
    slide = rows[0]["horn_family"] == "slide"
    return {
        "horn": name, "lines": len(rows), "notes": notes, "unplayable": notes - played,
        "lines_with_unplayable": sum(row["unplayable"] > 0 for row in rows),
        "travel_m": round(sum(row["travel_mm"] for row in rows) / 1000, 2) if slide else None,
        "chart_travel_m": round(sum(row["chart_travel_mm"] for row in rows) / 1000, 2) if slide else None,
        "valve_changes": sum(row["valve_changes"] for row in rows),
        "out_of_tune": sum(row["out_of_tune"] for row in rows),
        "off_mean_cents": round(sum(row["off_sum_cents"] for row in rows) / played, 2) if played else None,
        "off_worst_cents": max(row["off_worst_cents"] for row in rows),
        "lines_too_fast": sum(_too_fast(row) for row in rows),
    }


def _too_fast(row: Record) -> bool:
    return row["tempo_ceiling_bpm"] is not None and row["tempo_ceiling_bpm"] < row["tempo_there_bpm"]


def _attachment(lines: Sequence[Sequence[Record]], valves: int) -> Record | None:
    """Say how many slide lines have notes that need so many valves; None where no such horn was looked at."""
    key = "needs_valve" if valves == 1 else "needs_two_valves"
    able = [row for rows in lines for row in [_with_valves(rows, valves)] if row]
    if not able:
        return None
    needing = [row[key] for row in able if row[key]]
    return {"lines": len(able), "lines_needing": len(needing), "notes_needing": sum(needing),
            "share": round(len(needing) / len(able), 4)}


def _with_valves(rows: Sequence[Record], valves: int) -> Record | None:
    fit = [row for row in rows if row["horn_family"] == "slide" and row["horn_valves"] >= valves]
    return max(fit, key=lambda row: row["horn_valves"], default=None)


def _compensating(lines: Sequence[Sequence[Record]]) -> Record | None:
    """Compare each line on a compensating horn and on its plain like; None if no line was on both."""
    pairs = [pair for rows in lines for pair in [compensating_pairs(rows)] if pair]
    if not pairs:
        return None

    def side(rows: Sequence[Record]) -> Record:
        played = sum(row["notes"] - row["unplayable"] for row in rows)
        return {"horns": sorted({row["horn"] for row in rows}), "out_of_tune": sum(row["out_of_tune"] for row in rows),
                "off_mean_cents": round(sum(row["off_sum_cents"] for row in rows) / played, 2) if played else 0.0,
                "off_worst_cents": max(row["off_worst_cents"] for row in rows)}

    plain_side, with_side = side([a for a, _ in pairs]), side([b for _, b in pairs])
    return {"lines": len(pairs), "plain": plain_side, "compensating": with_side,
            "saves_mean_cents": round(plain_side["off_mean_cents"] - with_side["off_mean_cents"], 2)}
