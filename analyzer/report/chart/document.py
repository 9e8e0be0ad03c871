"""The chart of a horn as data: JSON and CSV."""

from typing import Any

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import DEFAULT_CEILING_MIDI, candidates, chart_choice, sounding_range
from analyzer.horns.horn import Horn
from analyzer.pitch import pitch_of
from analyzer.report.typical import cents_json
from analyzer.tables import csv_text
from analyzer.tuning.typical import typical_cents
from analyzer.words import valves_text

SCHEMA = "lowbrass.chart/1"
_COLUMNS = ("midi", "note", "label", "valves", "position", "shade", "partial", "extension_mm", "off_cents", "usual",
            "above_ceiling", "advice")


def chart_document(horn: Horn) -> dict[str, Any]:
    """Return the chart as the data contract has it: lowest note first, the usual choice first in each."""
    low, high = sounding_range(horn)
    return {
        "schema": SCHEMA,
        "horn": horn.name,
        "description": horn.description,
        "cents": cents_json(horn),
        "notes": [
            {"midi": midi, "note": pitch_of(midi).name, "choices": _choices(horn, midi)}
            for midi in range(low, high + 1)
        ],
    }


def _choices(horn: Horn, midi: int) -> list[dict[str, Any]]:
    usual = chart_choice(horn, midi)
    return [
        {
            "label": choice.label,
            "valves": list(choice.valves),
            "position": choice.position,
            "shade": choice.shade,
            "partial": choice.partial,
            "extension_mm": None if choice.extension_mm is None else round(choice.extension_mm, 1),
            "off_cents": round(choice.off_cents, 1) + 0.0,
            "typical_cents": _typical(horn, choice),
            "usual": choice == usual,
            "above_ceiling": above_ceiling(choice),
            "advice": choice.advice,
        }
        for choice in candidates(horn, midi)
    ]


def _typical(horn: Horn, choice: Candidate) -> list[float] | None:
    """Return from where to where real horns sound a choice [cents]; None where nothing is known."""
    found = typical_cents(horn, choice)
    return None if found is None else [round(cents, 1) + 0.0 for cents in found]


def above_ceiling(choice: Candidate) -> bool:
    """Whether an attachment is held above the ceiling usual for it; never on a valved horn."""
    return choice.position is not None and bool(choice.valves) and choice.midi > DEFAULT_CEILING_MIDI


def chart_csv(horn: Horn) -> str:
    """Return the chart as CSV, one choice a row; a note without a choice is a row with empty fields."""
    rows: list[dict[str, Any]] = []
    for note in chart_document(horn)["notes"]:
        head = {"midi": note["midi"], "note": note["note"]}
        rows += [
            {**head, **choice, "valves": valves_text(choice["valves"], "")} for choice in note["choices"]
        ] or [head]
    return csv_text(rows, _COLUMNS)
