"""Invented schools: what lies in their folders, and the changes of horn that their students make."""

import os
from functools import cache
from pathlib import Path

import pytest

from analyzer.course.course import Course, course_of
from analyzer.course.skills import goal_of
from analyzer.course.stretches import CourseWanted, course_bytes
from analyzer.horns.profiles import load_horn
from analyzer.library.survey import Record
from analyzer.plan.player import Player

SAMPLES = Path(__file__).parents[2] / "sample_scores"
SHARED = Path(os.environ.get("LOWBRASS_SHARED", Path(__file__).parents[3] / "shared"))
"""A folder beside the project with scores that are not ours to copy; tests that want them skip where it is absent."""
_OWN = sorted(path for path in SAMPLES.iterdir() if path.suffix in (".musicxml", ".mxl"))
_FOREIGN = tuple(SHARED / "scores" / name for name in (
    "orch-dvorak9-mvt2.xml", "orch-bruckner-wab-105-3a-scherzo.mxl", "orch-brahms-op-68-4.mxl",
    "bigband-preludius-maximus.mxl"))

SCHOOLS: dict[str, tuple[Path, ...]] = {
    "everything of ours": tuple(_OWN),
    "three trombone pieces": tuple(path for path in _OWN if path.stem in (
        "attachment-etude", "deep-water-bass-trombone", "quiet-chorale-trombones")),
    "a brass band": tuple(path for path in _OWN if path.stem in ("brass-band-hymn", "evening-song-euphonium")),
    "one march": tuple(path for path in _OWN if path.stem == "harbour-march-trio"),
    "an orchestra and a big band": _FOREIGN,
}
CHANGES = {
    "the F attachment": ("tenor", "tenor-f", None), "two valves": ("tenor-f", "bass-independent", None),
    "the fourth valve": ("euphonium-3", "euphonium-4", None),
    "compensating": ("euphonium-4", "euphonium-4-compensating", None),
    "bass clef for a treble reader": ("euphonium-4", "euphonium-4", "bass"),
    "tenor clef": ("tenor-f", "tenor-f", "tenor"),
}
STUDENT = Player(name="Student", outermost_position=6, low=34, high=67)


@cache
def lines_of(school: str, change: str, player: Player = STUDENT) -> tuple[Record, ...]:
    """Return the rows of a school's scores for a change."""
    if not all(path.is_file() for path in SCHOOLS[school]):
        pytest.skip("the folder of scores beside the project is not there (LOWBRASS_SHARED names it)")
    before, after, clef = CHANGES[change]
    wanted = CourseWanted(goal=goal_of(load_horn(before), load_horn(after), player, clef))
    return tuple({"file": path.name, "title": "", **line} for path in SCHOOLS[school]
                 for line in course_bytes(path.name, path.read_bytes(), wanted)["lines"])


def course_for(school: str, change: str, *, weeks: int | None = None, player: Player = STUDENT) -> Course:
    """Return the course of a student of a school."""
    before, after, clef = CHANGES[change]
    goal = goal_of(load_horn(before), load_horn(after), player, clef)
    return course_of(goal, lines_of(school, change, player), weeks=weeks)
