"""The table of a survey, a row for each line on each horn: data frame, CSV, Parquet."""

import io
from collections.abc import Iterator
from itertools import islice
from typing import TYPE_CHECKING, Any

from analyzer.library.survey import Record, Survey
from analyzer.problem import unreadable
from analyzer.tables import csv_pieces

if TYPE_CHECKING:
    import pandas as pd


_COLUMNS = (
    "file", "title", "part_id", "part", "family", "line", "of", "horn", "horn_family", "horn_kind", "horn_assumed",
    "horn_valves", "horn_compensating", "measures", "notes", "unplayable", "written_low", "written_high",
    "sounding_low", "sounding_high", "midi_low", "midi_high", "needs_valve", "needs_two_valves", "changed", "travel_mm",
    "chart_travel_mm", "valve_changes", "peak_speed_mm_s", "tempo_ceiling_bpm", "tempo_there_bpm", "out_of_tune",
    "off_sum_cents", "off_worst_cents", "difficulty", "hardest_measure", "hardest_why",
)
_WHOLE = ("line", "of", "horn_valves", "measures", "notes", "unplayable", "midi_low", "midi_high", "needs_valve",
          "needs_two_valves", "changed", "valve_changes", "out_of_tune")
_TEXT = ("file", "title", "part_id", "part", "family", "horn", "horn_family", "horn_kind", "written_low",
         "written_high", "sounding_low", "sounding_high", "hardest_measure", "hardest_why")
_YES_NO = ("horn_assumed", "horn_compensating")
_GROUP = 2_000
"""Rows of a group in a Parquet file: some megabytes when read."""


def _table(survey: Survey) -> tuple[Iterator[Record], list[str]]:
    """Return the rows (one for each line on each horn, read one after the other), and the columns.

    Those are the ones for all, then a count for each state.
    """
    seen: dict[str, set[str]] = {"notes_by_position": set(), "notes_by_valves": set()}
    for row in survey.lines:
        for field, keys in seen.items():
            keys.update(row[field])
    states = [(f"{lead}_{key}", field, key) for lead, field in (("position", "notes_by_position"),
                                                                ("valves", "notes_by_valves"))
              for key in sorted(seen[field], key=_state_order)]
    rows = ({**{key: row[key] for key in _COLUMNS}, **{name: row[field].get(key, 0) for name, field, key in states}}
            for row in survey.lines)
    return rows, [*_COLUMNS, *(name for name, _, _ in states)]


def survey_frame(survey: Survey) -> "pd.DataFrame":
    """Return one row for each line on each horn; counts by position and by valve state are columns of their own.

    Raises
    ------
    Unreadable
        If pandas is not installed.
    """
    try:
        import pandas as pd
    except ImportError as error:
        raise _needs("pandas", "tables") from error
    rows, columns = _table(survey)
    kinds = {**dict.fromkeys((*_WHOLE, *columns[len(_COLUMNS):]), "Int64"),
             **dict.fromkeys(_TEXT, "string"), **dict.fromkeys(_YES_NO, "boolean")}
    return pd.DataFrame(list(rows), columns=columns).astype({**dict.fromkeys(_COLUMNS, "Float64"), **kinds})


def _state_order(key: str) -> tuple[bool, int, str]:
    return (key != "open", len(key), key)


def survey_csv(survey: Survey) -> Iterator[str]:
    """Yield the table as CSV, in pieces of whole lines."""
    return csv_pieces(*_table(survey))


def survey_parquet(survey: Survey) -> Iterator[bytes]:
    """Yield the table as a Parquet file in pieces; its groups of rows can be read one by one.

    Raises
    ------
    Unreadable
        If pyarrow is not installed.
    """
    try:
        import pyarrow as pa
        from pyarrow import parquet
    except ImportError as error:
        raise _needs("pyarrow", "parquet") from error
    kinds = {**dict.fromkeys(_COLUMNS, pa.float64()), **dict.fromkeys(_WHOLE, pa.int64()),
             **dict.fromkeys(_TEXT, pa.string()), **dict.fromkeys(_YES_NO, pa.bool_())}
    rows, columns = _table(survey)
    form = pa.schema([(name, kinds.get(name, pa.int64())) for name in columns])

    def pieces() -> Iterator[bytes]:
        out = _Passing()
        with parquet.ParquetWriter(out, form) as writer:
            while group := list(islice(rows, _GROUP)):
                writer.write_table(pa.Table.from_pylist(group, schema=form))
                yield out.taken()
        yield out.taken()

    return pieces()


class _Passing(io.RawIOBase):
    """A file for a writer that only goes forward: what is written is taken away, and counted."""

    def __init__(self) -> None:
        super().__init__()
        self._pieces: list[bytes] = []
        self._count = 0

    def writable(self) -> bool:
        return True

    def write(self, data: Any) -> int:
        piece = bytes(data)
        self._pieces.append(piece)
        self._count += len(piece)
        return len(piece)

    def tell(self) -> int:
        return self._count

    def close(self) -> None:
        # The end of the file is written when its writer closes, and taken after that.
        pass

    def taken(self) -> bytes:
        data = b"".join(self._pieces)
        self._pieces.clear()
        return data


def _needs(package: str, extra: str) -> Exception:
    return unreadable("not-installed", where="the table", what=f"this needs {package}, which is not installed",
                      try_=f"Install the extra: pip install 'lowbrass[{extra}]'.")
