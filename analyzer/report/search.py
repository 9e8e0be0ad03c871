"""The answer of a search as data and as lines for a teacher."""

import textwrap
from itertools import groupby
from typing import Any

from analyzer import cautions
from analyzer.library.search import A_FEW, BANDS, band_of, sorted_rows
from analyzer.library.survey import Record, Survey
from analyzer.report.blocks import Block, Cautions, Finding, Findings, Gap, Head, Hint, Said, Title, as_text
from analyzer.report.survey.text import other_forms_sentence
from analyzer.words import agreeing, counted, first_few, listed

SCHEMA = "lowbrass.search/1"
_MOST_MOVES = 6
_KINDS = {"tune": "out of tune"}       # a move's kinds are said as they are named, but for this one


def search_document(survey: Survey) -> dict[str, Any]:
    """Return the JSON document: the rows in order, every file that gave none with its reason, cautions."""
    return {
        "schema": SCHEMA, "folder": survey.folder,
        "found": [{**row, "lesson": band_of(row)} for row in sorted_rows(survey)],
        "files": [{key: row[key] for key in ("file", "status", "reason", "duplicate_of")} for row in survey.files],
        "problems": [row["problem"] for row in survey.files.having("unreadable") if row["problem"]],
        "cautions": list(_cautions(survey)),
    }


def search_text(survey: Survey, most: int) -> str:
    """Return the first `most` rows that suit, with what they teach, and how many others there are."""
    return as_text(search_blocks(survey, most))


def search_blocks(survey: Survey, most: int) -> list[Block]:
    """Return the parts of the answer: how many suit, the first `most` of them by what they teach, the others."""
    rows = sorted_rows(survey)
    good = [row for row in rows if row["verdict"] != "does not suit"]
    what = "piece" if any("seats" in row for row in rows) else "line"
    out: list[Block] = [Title(f"Search in {survey.folder}"), Gap(),
                        Said(f"{len(good)} of {counted(len(rows), what)} {agreeing(len(good), 'suit')}.", strong=True)]
    forms = other_forms_sentence(survey)
    out += [Said(forms, wide=100)] if forms else []
    numbered = enumerate(good[:most], 1)
    for head, found in groupby(numbered, key=lambda one: _HEADS[band_of(one[1])]):
        out += [Head(head), Findings(("", "Music", "What it teaches, and how hard it is"),
                                     [_row_told(number, row) for number, row in found])]
    if len(good) > most:
        out += [Gap(), Said(f"And {len(good) - most} more."), Hint("--most shows them, --format json gives all.")]
    bad = [row for row in rows if row["verdict"] == "does not suit"]
    if bad:
        out += [Gap(), Said(f"Does not suit: {counted(len(bad), what)}, such as {_named(bad[0])}: "
                            f"{', '.join(bad[0]['against']) or 'see lowbrass fit'}.")]
    if what == "line" and good:
        out += [Gap(), Hint("A change of horn or clef week by week from this folder: lowbrass course (see its "
                            "--help).")]
    return [*out, Cautions(_cautions(survey))]


def _row_told(number: int, row: Record) -> Finding:
    said = _said(row)
    return Finding((str(number), _named(row), "\n".join(said)),
                   (f"{number:3}. {_named(row)}", *(part for line in said for part in textwrap.wrap(
                       line, 100, initial_indent="     ", subsequent_indent="       "))))


_HEADS = dict(zip(BANDS, (f"At most {A_FEW} new moves:", "Nothing new; for sight-reading and fun:",
                          f"More than {A_FEW} new moves for one player at once:"), strict=True))


def _named(row: Record) -> str:
    name = row["title"] or row["file"]
    if "seats" in row:
        return f"{name}{'' if row['verdict'] == 'suits' else ' (with changes)'}"
    player = f", player {row['line']} of {row['of']}" if row["of"] > 1 else ""
    return f"{name}, {row['part']}{player}, on {row['horn']}"


def _said(row: Record) -> list[str]:
    out = [f"{seat['player']} ({seat['part']}, {seat['horn']}): {_moves(seat['teaches'])}"
           for seat in row.get("seats", ()) if seat["teaches"]]
    if "seats" not in row and row["teaches"]:
        out.append(_moves(row["teaches"]))
    hardest = f"hardest measure: {100 * row['difficulty']:.0f} % of the limit"
    return [*row.get("changes", ()), *out, f"{hardest}; file {row['file']}"]


def _moves(taught: list[Record]) -> str:
    def kinds(one: Record) -> str:
        return listed([_KINDS.get(kind, kind) for kind in one["kinds"]])

    return first_few([f"{one['move']} ({kinds(one)}, {one['count']} ×)" for one in taught], _MOST_MOVES)


def _cautions(survey: Survey) -> tuple[str, ...]:
    families = {one["horn_family"] for row in survey.lines for one in row.get("seats", [row])}
    return cautions.for_playing(slide="slide" in families or not families, valves="valves" in families,
                                estimated_reach=any(row["reach_estimated"] for row in survey.lines))
