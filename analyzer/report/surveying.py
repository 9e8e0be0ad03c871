"""A survey as data, as a table, and as a page of plain sentences for whoever buys horns and plans a season."""

import io
import textwrap
from collections import Counter, defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analyzer import cautions
from analyzer.library.demands import compensating_pairs, lines_of
from analyzer.library.files import OTHER_FORM
from analyzer.library.purchase import Case
from analyzer.library.survey import Record, Survey
from analyzer.problem import unreadable
from analyzer.tables import csv_text
from analyzer.wording import counted

if TYPE_CHECKING:
    import pandas as pd

SCHEMA = "lowbrass.survey/1"
STATUSES = ("read", "no low brass", "duplicate", "archive", "not a score", "unreadable")
_SAID = {
    "read": "read", "no low brass": "without the parts looked for", "duplicate": "the same as another",
    "archive": "zip (its files are counted one by one)", "not a score": "no score", "unreadable": "not readable",
}
_SHOWN = 20
_STEPS_SHOWN = 8
_WORDS = ("no", "one", "two", "three")
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


def survey_text(survey: Survey, bought: Case | None = None) -> str:
    """Return the summary for a person, with what one more horn would bring if that was asked."""
    sums = summary(survey)
    out = [f"Survey of {survey.folder}", "", *_wrapped(f"{files_sentence(sums)} {other_forms_sentence(survey)}")]
    if sums["lines"]:
        said = findings(sums)
        if bought:
            said += bought_sentences(bought)
            each = "; ".join(f"{step.text} ({lines:,})" for step, lines in bought.singles[:_STEPS_SHOWN])
            said += [f"Lines that each step opens by itself: {each}."] if each else []
        out += [*_wrapped(lines_sentence(sums)), "", *_horn_table(sums["horns"]), "",
                *(row for one in said for row in _wrapped(one))]
    else:
        out.append("No line to plan was found. Name parts with --part, or give the folder that holds the scores.")
    bad = [row for row in survey.files if row["status"] == "unreadable"]
    if bad:
        out += ["", "Could not be read:", *(f"  {row['file']}: {row['reason']}" for row in bad[:_SHOWN])]
        if len(bad) > _SHOWN:
            out.append(f"  and {len(bad) - _SHOWN} more; --format json names them all.")
    if sums["lines"]:
        out += ["", *(f"Caution: {line}" for line in cautions_of(survey))]
    return "\n".join(out)


def files_sentence(sums: Record) -> str:
    """Return how many files there are of each sort."""
    said = "; ".join(f"{count} {_SAID[one]}" for one, count in sums["files"].items() if count)
    return f"{counted(sum(sums['files'].values()), 'file')}{': ' if said else ''}{said}."


def other_forms_sentence(survey: Survey) -> str:
    """Return how many files hold music in another form that was not asked for; empty where none does."""
    count = sum((row["problem"] or {}).get("code") == OTHER_FORM for row in survey.files)
    return f"Music in MIDI, ABC, MEI or Humdrum is left aside: {counted(count, 'file')}; add --foreign to read it." \
        if count else ""


def lines_sentence(sums: Record) -> str:
    """Return how many lines there are of each family."""
    families = ", ".join(f"{count} {family}" for family, count in sums["lines_by_family"].items())
    return (f"{counted(sums['lines'], 'line')} ({families}), {sums['notes']:,} notes; a line is what one player plays.")


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, 100, subsequent_indent="  ")


def horn_rows(horns: Sequence[Record]) -> list[tuple[str, ...]]:
    """Return the table of horns, heads first."""
    heads = ("Horn", "lines", "notes", "not playable", "travel", "usual chart", "valve changes", "out of tune",
             "too fast")
    return [heads, *((
        one["horn"], str(one["lines"]), f"{one['notes']:,}",
        f"{one['unplayable']:,} in {one['lines_with_unplayable']}" if one["unplayable"] else "0",
        "-" if one["travel_m"] is None else f"{one['travel_m']:,.0f} m",
        "-" if one["chart_travel_m"] is None else f"{one['chart_travel_m']:,.0f} m",
        f"{one['valve_changes']:,}", f"{one['out_of_tune']:,}", str(one["lines_too_fast"])) for one in horns)]


def _horn_table(horns: Sequence[Record]) -> list[str]:
    rows = horn_rows(horns)
    wide = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(cell.ljust(wide[k]) if k == 0 else cell.rjust(wide[k]) for k, cell in enumerate(row)).rstrip()
            for row in rows] + [
        "Not playable: notes, and in how many lines. Out of tune: notes farther off than a player bends with a good",
        "tone. Too fast: lines whose hardest move leaves less time than the player needs at the tempo in force."]


def findings(sums: Record) -> list[str]:
    """Return what the sums say of attachments, second valves and compensation, a sentence each."""
    out = []
    one, two, loops = sums["attachment"], sums["second_valve"], sums["compensating"]
    if one:
        out.append(f"Attachment: {one['lines_needing']} of {counted(one['lines'], 'slide line')} "
                   f"({100 * one['share']:.0f} %) {'has' if one['lines_needing'] == 1 else 'have'} notes that no "
                   f"position without it sounds in tune; {counted(one['notes_needing'], 'note')} in all.")
    if two:
        out.append(f"Second valve: {two['lines_needing']} of {counted(two['lines'], 'line')} looked at with two valves "
                   f"({100 * two['share']:.0f} %); {counted(two['notes_needing'], 'note')} in all.")
    if loops:
        plain, with_loops = loops["plain"], loops["compensating"]
        out.append(f"Compensating: on {counted(loops['lines'], 'line')} the notes lie {plain['off_mean_cents']:.1f} "
                   f"cents off on average without it and {with_loops['off_mean_cents']:.1f} with it; the worst note "
                   f"{plain['off_worst_cents']:.0f} and {with_loops['off_worst_cents']:.0f} cents; out of tune "
                   f"{plain['out_of_tune']:,} and {with_loops['out_of_tune']:,} notes.")
    return out


def bought_sentences(case: Case) -> list[str]:
    """Return what is open to the section, and the next steps that would open more."""
    out = [f"Purchase: with the section's horns ({', '.join(case.owned)}) and what its players have learned, "
           f"{case.open_now} of {counted(case.lines, 'line')} are open: somebody can sound every note in tune, within "
           "range, and reads the clef."]
    if not case.together:
        return [*out, "No horn, and nothing learned, would open more within three steps."]
    for number, one in enumerate(case.together):
        what = " and ".join(step.text for step in one.steps)
        sure = "" if one.exact else f" (found step by step; no set of so many opens more than {one.bound})"
        lead = "Next: the best step is" if not number else f"The best {_WORDS[len(one.steps)]} together:"
        out.append(f"{lead} {what}; then {one.met} of {case.lines} are open{sure}.")
    return [*out, "Speed is not asked here, nor whether two lines want the same player: see lowbrass fit."]


def _table(survey: Survey) -> tuple[list[Record], list[str]]:
    """Return one row for each line on each horn, and the columns: those for all, then a count for each state."""
    states = [(f"{lead}_{key}", field, key) for lead, field in (("position", "notes_by_position"),
                                                                ("valves", "notes_by_valves"))
              for key in sorted({key for row in survey.lines for key in row[field]}, key=_state_order)]
    rows = [{**{key: row[key] for key in _COLUMNS}, **{name: row[field].get(key, 0) for name, field, key in states}}
            for row in survey.lines]
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
        raise _needs("pandas") from error
    rows, columns = _table(survey)
    kinds = {**dict.fromkeys((*_WHOLE, *columns[len(_COLUMNS):]), "Int64"),
             **dict.fromkeys(_TEXT, "string"), **dict.fromkeys(_YES_NO, "boolean")}
    return pd.DataFrame(rows, columns=columns).astype({**dict.fromkeys(_COLUMNS, "Float64"), **kinds})


def _state_order(key: str) -> tuple[bool, int, str]:
    return (key != "open", len(key), key)


def survey_csv(survey: Survey) -> str:
    """Return the table as CSV."""
    return csv_text(*_table(survey))


def survey_parquet(survey: Survey) -> bytes:
    """Return the table as a Parquet file.

    Raises
    ------
    Unreadable
        If pandas or pyarrow is not installed.
    """
    out = io.BytesIO()
    frame = survey_frame(survey)
    try:
        frame.to_parquet(out, index=False)
    except ImportError as error:
        raise _needs("pyarrow") from error
    return out.getvalue()


def _needs(package: str) -> Exception:
    return unreadable("not-installed", where="the table", what=f"this needs {package}, which is not installed",
                      try_="Install the extra: pip install 'lowbrass[survey]'.")
