"""What the page shows of horns: a chart, a change of horn, a fit to tuner readings; made in a process of its own."""

from collections.abc import Sequence
from typing import Any, Literal

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.horns.transition import transition
from analyzer.picture.horn_chart import chart_picture
from analyzer.picture.transition import transition_picture
from analyzer.plan.player import Player
from analyzer.problem import Unreadable, unreadable
from analyzer.report.chart.page import CHART_HEADS, CHART_LEAD, chart_file, chart_rows
from analyzer.report.chart.transition import transition_blocks, transition_file
from analyzer.report.chart.wall import Wall, change_walls, walls
from analyzer.report.page_blocks import page_blocks
from analyzer.report.paper import sheet as paper_sheet
from analyzer.report.ready import ready_blocks
from analyzer.report.tune import CARE, fit_blocks
from analyzer.score.document import Document, read_document
from analyzer.section.ready import ready
from analyzer.tuning.profile_text import profile_text
from analyzer.tuning.readings import read_readings
from analyzer.tuning.tuner import fit
from analyzer.words import counted

Paper = Literal["a4", "a3", "letter"]
_PHONE_PX = 600


def chart_answer(name: str, width_px: int) -> dict[str, Any]:
    """Return the chart of a horn: its sheets on the staff, the picture along the slide, a table of every choice."""
    horn = load_horn(name)
    return {"description": horn.description, "family": horn.family,
            "said": CHART_LEAD,
            "sheets": _sheets(walls(horn), width_px),
            "picture": chart_picture(horn).svg("chart"), "heads": list(CHART_HEADS),
            "rows": [list(row) for row in chart_rows(horn)]}


def _sheets(charts: Sequence[Wall], width_px: int) -> list[dict[str, str]]:
    """Return charts as wide as the screen, with what they show in words; none without the engraver."""
    from analyzer.report.chart.sheets import PHONE_MM, SCREEN_MM, screen_words, screens_of

    try:
        sheets, _ = screens_of(charts, PHONE_MM if width_px < _PHONE_PX else SCREEN_MM)
    except ModuleNotFoundError:
        return []
    return [{"svg": svg, "label": screen_words(wall)} for wall, svg in zip(charts, sheets, strict=True)]


def chart_print(name: str, paper: Literal["a4", "a3", "letter"], large: bool) -> bytes:
    """Return the chart for the wall as PDF."""
    return chart_file(load_horn(name), ".pdf", paper=paper, large=large)


def change_answer(before: str, after: str, player: Player, data: bytes | None, name: str,
                  width_px: int) -> dict[str, Any]:
    """Return what a change of horn brings: a picture and tables where both are of one kind, then the aid for the talk.

    `data` is the score at hand, None where there is none.

    Raises
    ------
    Unreadable
        If both horns are the same.
    """
    old, new = _two(before, after)
    document, left_out = _music(data, name, before, after, player)
    change = transition(old, new) if old.family == new.family else None
    answer = ready([document] if document else [], old, new, player)
    return {"picture": transition_picture(change).svg("change") if change else None,
            "sheets": _sheets(change_walls(change), width_px) if change else [],
            "moves": page_blocks(transition_blocks(change)) if change else [],
            "aid": page_blocks(ready_blocks(answer)), "music": document.title or document.name if document else "",
            "left_out": left_out}


def _music(data: bytes | None, name: str, before: str, after: str, player: Player) -> tuple[Document | None, str]:
    """Return the score if it has a line for either horn, else why it is not looked at."""
    if data is None:
        return None, "No score is open, so only the horns are compared: open one to see what its notes ask."
    document = read_document(data, name)
    old, new = _two(before, after)
    try:
        ready([document], old, new, player)
    except Unreadable as error:
        if error.problem.code != "no-line":
            raise
        return None, f"{document.title or name} has no line for either horn, so only the horns are compared."
    return document, ""


def _two(before: str, after: str) -> tuple[Horn, Horn]:
    old, new = load_horn(before), load_horn(after)
    if old == new:
        raise unreadable("same-horn", where="change of horn", what="both horns are the same",
                         try_="Choose another new horn.")
    return old, new


def change_print(before: str, after: str, player: Player, data: bytes | None, name: str, what: str,
                 paper: Paper) -> bytes:
    """Return the change as PDF: ``chart``, what moves as a picture, or ``aid``, the sheet for the talk.

    Raises
    ------
    Unreadable
        As `change_answer`, and if there is no picture since the horns are of two kinds.
    """
    old, new = _two(before, after)
    if what == "chart":
        if old.family != new.family:
            raise unreadable("no-common-ground", where="change of horn",
                             what="one has a slide and the other has none, so nothing of one lies on the other",
                             try_="Print the sheet for the talk instead.")
        return transition_file(transition(old, new), ".pdf", paper=paper)
    document, _ = _music(data, name, before, after, player)
    answer = ready([document] if document else [], old, new, player)
    return paper_sheet(ready_blocks(answer), "a4" if paper == "a3" else paper, answer.problems)


def fit_answer(horn: str, table: bytes, file: str, name: str) -> dict[str, Any]:
    """Fit a horn to tuner readings; return what was found, and the profile of the new horn as text.

    Raises
    ------
    Unreadable
        As for `read_readings` and `fit`.
    """
    profile = load_horn(horn)
    readings, empty = read_readings(table, file, profile)
    found = fit(profile, readings, name=name, origin=file)
    remark = f"{profile.name} fitted to tuner readings, {file}."
    return {"blocks": page_blocks(fit_blocks(found, profile)), "profile": profile_text(found.horn, remark),
            "name": found.horn.name, "cautions": list(CARE),
            "passed_over": f"{counted(empty, 'row')} without a reading passed over." if empty else ""}
