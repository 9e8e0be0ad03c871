"""Sheets for fifty passages that nobody here wrote, and for every sample: playable, valid, and about the hardest moves.

The plain run takes a few; the whole takes all. ``python -m tests.practice.passages`` prints the recall.
"""

from typing import Any

import pytest
from lxml import etree

from analyzer.analysis import Request, analyse
from analyzer.horns.candidates import candidates, sounding_range
from analyzer.practice.drills import Drills, drills_for
from analyzer.report.drill.sheet import sheet_musicxml
from analyzer.report.map.document import map_document
from analyzer.review.line import review
from analyzer.score.document import read_document
from tests.practice.passages import COUNT, PLAYERS, document_of, drilled, hardest, passages, played, sheets
from tests.test_samples import schema  # noqa: F401  (a fixture)

pytest.importorskip("music21", reason="the passages come with music21")
FEW = 4


def check(drills: Drills, schema: Any) -> None:  # noqa: F811
    """The sheet is valid, and its own horn and player can play all of it, in the eyes of map and review."""
    sheet = sheet_musicxml(drills)
    schema.assertValid(etree.fromstring(sheet))
    horn, learner = drills.planned.plan.horn, drills.kit.player
    # What the music needs is learned by the sheet; reach, range and speed stay the student's own.
    analysis = analyse(read_document(sheet, "sheet.musicxml"), Request(horns=(horn.name,), player=learner))
    assert len(analysis.lines) == 1
    notes = map_document(analysis)["lines"][0]["notes"]
    labels = [mark.text.replace("♯", "#").replace("♭", "b") for mark in etree.fromstring(sheet).iter("fingering")]
    assert len(notes) == len(labels) > 0
    low, high = sounding_range(horn)
    for note, label in zip(notes, labels, strict=True):
        assert note["label"] is not None
        ways = [one for one in candidates(horn, note["midi"]) if one.label == label]
        assert any((one.extension_mm or 0.0) <= learner.reach_on(horn) for one in ways)
        assert max(low, learner.low or low) <= note["midi"] <= min(high, learner.high or high)
    found = [one for reviewed in review(analysis) for one in reviewed.findings]
    assert [one for one in found if one.severity == "stop"] == []


def check_moves(drills: Drills) -> None:
    """The moves with an exercise of their own are the hardest, in that order, and the five hardest are all played."""
    hard = hardest(drills)
    mine = drilled(drills)
    assert mine == hard[:len(mine)]
    assert bool(mine) == bool(hard)
    assert set(hard[:5]) <= played(drills)


def few() -> list[tuple[str, Drills]]:
    return [(one.name, drills_for(document_of(one.path), one.request)) for one in passages(FEW)]


def test_sheets_of_some_passages_can_be_played_and_hold_the_hardest_moves(schema: Any) -> None:  # noqa: F811
    found = few()
    assert len(found) == FEW
    for _, drills in found:
        check(drills, schema)
        check_moves(drills)


@pytest.mark.whole
def test_sheets_of_all_samples_and_fifty_passages(schema: Any) -> None:  # noqa: F811
    seen = 0
    for name, drills in sheets():
        try:
            check(drills, schema)
            check_moves(drills)
        except AssertionError as error:
            raise AssertionError(f"{name}: {error}") from error
        seen += 1
    assert seen == COUNT + 8 * len(PLAYERS)
