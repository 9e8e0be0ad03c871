"""What makes a line hard, axis by axis: each sentence held against what stands in the line."""

import html
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from analyzer.analysis import Request, analyse
from analyzer.horns.profiles import load_horn
from analyzer.plan.axes import axes
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.report.map.page import page_html
from analyzer.report.map.text import map_text
from analyzer.score.document import open_document
from tests.lines import line_of

SAMPLES = Path(__file__).parents[2] / "sample_scores"


def found(line, horn: str, player: Player | None = None):
    planner = Planner(line, load_horn(horn), player)
    return {axis.axis: axis for axis in axes(planner, planner.plan())}


def test_every_axis_names_its_own_measure() -> None:
    line = line_of("F3 F3 F3 F3 Bb2 E2 Bb2 E2 Bb2 Bb3 F3 F3 C#4 D#4 F#3 G#3", Fraction(1, 2), bpm=60)
    here = found(line, "tenor")
    assert {name: axis.measure for name, axis in here.items()} == {
        "slide": "2", "tongue": "1", "leap and lip": "3", "range": "4", "endurance": "1", "reading": "4"}
    assert here["slide"].reason.startswith("B♭2 (1) to E2 (7) needs 61 cm of slide in 0.50 s")
    assert here["leap and lip"].reason == "The widest leap, B♭2 to B♭3, is 12 half steps, 0.5 s from note to note."
    assert here["range"].reason == "From E2 (m. 2) to D♯4 (m. 4)."
    assert here["endurance"].reason == "8 s with no rest of 2 s, mm. 1-4."
    assert here["reading"].reason == "4 notes in the measure, 4 of them sharp or flat."


def test_a_share_is_the_ceilings() -> None:
    """At the ceiling the axis that stops the line is at 1, the others below."""
    for names, horn in (("Bb2 E2 " * 4, "tenor"), ("F3 " * 8, "tenor"), ("Bb2~ A2~ " * 4, "euphonium-3")):
        line = line_of(names, Fraction(1, 4), bpm=50)
        totals = Planner(line, load_horn(horn)).plan().totals
        at = found(replace(line, tempi=(replace(line.tempi[0], bpm=totals.tempo_ceiling_bpm),)), horn)
        assert at[totals.ceiling_by].share == pytest.approx(1, abs=1e-3)
        assert all(axis.share < 1 for name, axis in at.items()
                   if axis.share is not None and name != totals.ceiling_by)


def test_a_line_without_notes_has_none_and_a_told_range_is_a_limit() -> None:
    assert found(line_of(""), "tenor") == {}
    assert found(line_of("F3 Bb4"), "tenor")["range"].share is None
    over = found(line_of("F3 Bb4"), "tenor", Player(high=65))["range"]
    assert (over.share, over.index) == (1.0, 1)


def test_a_reader_of_the_notes_is_told_every_axis_once_and_no_grade() -> None:
    analysis = analyse(open_document(SAMPLES / "attachment-etude.musicxml"), Request())
    one = analysis.lines[0]
    named = axes(one.planner, one.plan)
    text = " ".join(map_text(analysis, notes=True).split())
    page = html.unescape(page_html(analysis, lambda one, form: [""]))
    assert len(named) >= 6
    for axis in named:
        assert text.count(f"{axis.axis}, m. {axis.measure}") == 1
        assert axis.reason in text
        assert page.count(axis.reason) >= 1
    assert "What it asks for" not in map_text(analysis)
