"""A survey as data, as a table, and as a page of plain sentences for whoever buys horns and plans a season."""

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field

from analyzer import cautions
from analyzer.library.demands import compensating_pairs, lines_of
from analyzer.library.purchase import Case
from analyzer.library.survey import Record, Survey

SCHEMA = "lowbrass.survey/1"
STATUSES = ("read", "no low brass", "duplicate", "archive", "not a score", "unreadable")


def survey_document(survey: Survey, bought: Case | None = None) -> Record:
    """Return the JSON document: every file, every line on every horn, the sums, and a purchase case if there is one."""
    return {**streamed_document(survey, bought), "files": list(survey.files), "lines": list(survey.lines)}


def streamed_document(survey: Survey, bought: Case | None = None) -> Record:
    """Return the same document to be written as JSON: its lines are read one after the other while it is written."""
    return {
        "schema": SCHEMA, "folder": survey.folder, "files": _Streamed(survey.files),
        "lines": _Streamed(survey.lines),
        "summary": summary(survey),
        "problems": [row["problem"] for row in survey.files.having("unreadable") if row["problem"]],
        "cautions": list(cautions_of(survey)), **({"purchase": bought.as_json()} if bought else {}),
    }


class _Streamed(list[Record]):
    """Rows that a JSON encoder takes for a list."""

    def __init__(self, rows: Collection[Record]) -> None:
        super().__init__()
        self._rows = rows

    def __iter__(self) -> Iterator[Record]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)


def cautions_of(survey: Survey) -> tuple[str, ...]:
    """Return the cautions for a change of horn, as far as the horns looked at ask for them."""
    families = {row["horn_family"] for row in survey.lines}
    return cautions.for_changing(slide="slide" in families or not families, valves="valves" in families)


def summary(survey: Survey) -> Record:
    """Return the sums: files by status, lines by family, and for each horn what its lines ask of it.

    One pass over the lines, of which a file's are in memory at a time.
    """
    status = survey.files.statuses
    families: Counter[str] = Counter()
    horns: dict[str, _Sums] = {}
    needs = {1: _Needs(1), 2: _Needs(2)}
    plain, with_loops = _Sums(), _Sums()
    notes = 0
    for rows in lines_of(survey):
        families[rows[0]["family"]] += 1
        notes += rows[0]["notes"]
        for row in rows:
            horns.setdefault(row["horn"], _Sums()).add(row)
        for need in needs.values():
            need.add(rows)
        pair = compensating_pairs(rows)
        if pair is not None:
            plain.add(pair[0])
            with_loops.add(pair[1])
    return {
        "files": {one: status[one] for one in STATUSES}, "lines": families.total(), "notes": notes,
        "lines_by_family": dict(sorted(families.items())),
        "horns": [sums.of_horn(name) for name, sums in sorted(horns.items())],
        "attachment": needs[1].as_json(), "second_valve": needs[2].as_json(),
        "compensating": _compensating(plain, with_loops),
    }


@dataclass(slots=True)
class _Sums:
    """What rows amount to, one after the other."""

    slide: bool = False
    lines: int = 0
    notes: int = 0
    unplayable: int = 0
    lines_with_unplayable: int = 0
    travel_mm: float = 0.0
    chart_travel_mm: float = 0.0
    valve_changes: int = 0
    out_of_tune: int = 0
    off_sum_cents: float = 0.0
    off_worst_cents: float = 0.0
    too_fast: int = 0
    horns: set[str] = field(default_factory=set)

    def add(self, row: Record) -> None:
        self.slide = row["horn_family"] == "slide"
        self.lines += 1
        self.lines_with_unplayable += row["unplayable"] > 0
        self.notes += row["notes"]
        self.unplayable += row["unplayable"]
        if self.slide:
            self.travel_mm += row["travel_mm"]
            self.chart_travel_mm += row["chart_travel_mm"]
        self.valve_changes += row["valve_changes"]
        self.out_of_tune += row["out_of_tune"]
        self.off_sum_cents += row["off_sum_cents"]
        self.off_worst_cents = max(self.off_worst_cents, row["off_worst_cents"])
        self.too_fast += row["tempo_ceiling_bpm"] is not None and row["tempo_ceiling_bpm"] < row["tempo_there_bpm"]
        self.horns.add(row["horn"])

    @property
    def off_mean_cents(self) -> float | None:
        """Mean over the notes that are played, None where there is none."""
        played = self.notes - self.unplayable
        return round(self.off_sum_cents / played, 2) if played else None

    def of_horn(self, name: str) -> Record:
        return {
            "horn": name, "lines": self.lines, "notes": self.notes, "unplayable": self.unplayable,
            "lines_with_unplayable": self.lines_with_unplayable,
            "travel_m": round(self.travel_mm / 1000, 2) if self.slide else None,
            "chart_travel_m": round(self.chart_travel_mm / 1000, 2) if self.slide else None,
            "valve_changes": self.valve_changes, "out_of_tune": self.out_of_tune,
            "off_mean_cents": self.off_mean_cents, "off_worst_cents": self.off_worst_cents,
            "lines_too_fast": self.too_fast,
        }


class _Needs:
    """How many slide lines have notes that need so many valves."""

    def __init__(self, valves: int) -> None:
        self.valves, self.key = valves, "needs_valve" if valves == 1 else "needs_two_valves"
        self.lines = self.needing = self.notes = 0

    def add(self, rows: Sequence[Record]) -> None:
        fit = [row for row in rows if row["horn_family"] == "slide" and row["horn_valves"] >= self.valves]
        best = max(fit, key=lambda row: row["horn_valves"], default=None)
        if best is not None:
            self.lines += 1
            self.needing += bool(best[self.key])
            self.notes += best[self.key] or 0

    def as_json(self) -> Record | None:
        """Return the sums; None where no such horn was looked at."""
        if not self.lines:
            return None
        return {"lines": self.lines, "lines_needing": self.needing, "notes_needing": self.notes,
                "share": round(self.needing / self.lines, 4)}


def _compensating(plain: _Sums, with_loops: _Sums) -> Record | None:
    """Compare lines on a compensating horn and on its plain like; None if no line was on both."""
    if not plain.lines:
        return None
    sides = [{"horns": sorted(one.horns), "out_of_tune": one.out_of_tune, "off_mean_cents": one.off_mean_cents or 0.0,
              "off_worst_cents": one.off_worst_cents} for one in (plain, with_loops)]
    saved = (plain.off_mean_cents or 0.0) - (with_loops.off_mean_cents or 0.0)
    return {"lines": plain.lines, "plain": sides[0], "compensating": sides[1], "saves_mean_cents": round(saved, 2)}
