"""`lowbrass course` from the outside: files, exit codes, one clear line for what cannot be."""

import json
import re
from itertools import pairwise
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.cli import cli
from analyzer.problem import Unreadable
from analyzer.report.course.music import music_of, phone_page
from analyzer.report.course.sheets import clef_of
from analyzer.score.document import open_document
from tests.course.schools import course_for

SAMPLES = Path(__file__).parents[2] / "sample_scores"


def _said(*words: object):
    return CliRunner().invoke(cli, ["course", *map(str, words)])


@pytest.fixture
def player(tmp_path: Path) -> Path:
    path = tmp_path / "player.toml"
    path.write_text('[player]\nname = "Student"\noutermost_position = 6\n', encoding="utf-8")
    return path


def test_the_folder_gets_what_the_answer_names(tmp_path: Path, player: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    pytest.importorskip("verovio")
    icalendar = pytest.importorskip("icalendar")
    out = tmp_path / "out"
    result = _said(SAMPLES, "--player", player, "--from", "tenor", "--to", "tenor-f", "-o", out, "--jobs", 1,
                   "--start", "2027-01-11", "--format", "json")
    assert result.exit_code == 3, result.output
    answer = json.loads(result.stdout)
    assert sorted(answer["files"]) == sorted(path.name for path in out.iterdir())
    assert answer["missing"]
    for week in answer["weeks"]:
        pages = pypdf.PdfReader(out / f"week-{week['week']:02d}.pdf")
        text = " ".join(" ".join(page.extract_text() for page in pages.pages).split())
        for skill in week["new"]:
            assert skill["name"].split(":")[0][1:] in text
        for excerpt in week["excerpts"]:
            first, last = excerpt["measures"]
            assert f"mm. {first}-{last}" in text
        assert "stop and rest" in text
        assert "could not be engraved" not in text
    calendar = icalendar.Calendar.from_ical((out / "course.ics").read_bytes())
    days = [event.decoded("dtstart") for event in calendar.walk("VEVENT")]
    assert len(days) == len(answer["weeks"])
    assert {(b - a).days for a, b in pairwise(days)} <= {7}


def test_an_empty_folder_is_all_missing(tmp_path: Path, player: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    result = _said(empty, "--player", player, "--from", "tenor", "--to", "tenor-f", "-o", tmp_path / "out",
                   "--own-scores-only", "--format", "json")
    assert result.exit_code == 3
    answer = json.loads(result.stdout)
    assert answer["weeks"] == []
    assert len(answer["missing"]) == len(answer["goal"])
    assert [problem["code"] for problem in answer["problems"]] == ["no-line"]


def test_a_school_without_scores_learns_from_the_open_sheets(tmp_path: Path, player: Path) -> None:
    pypdf = pytest.importorskip("pypdf")
    empty, out = tmp_path / "empty", tmp_path / "out"
    empty.mkdir()
    result = _said(empty, "--player", player, "--from", "tenor", "--to", "tenor-f", "-o", out, "--format", "json")
    answer = json.loads(result.stdout)
    assert result.exit_code == 3, "the slide's end lies beyond this student's sixth position"
    assert [one["skill"]["id"] for one in answer["missing"]] == ["T6"]
    assert all(excerpt["open_sheet"] for week in answer["weeks"] for excerpt in week["excerpts"])
    road = " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader(out / "00-road.pdf").pages).split())
    assert "From open sheets" in road
    assert "(open sheet)" in road


def test_own_music_goes_before_the_open_sheets(tmp_path: Path, player: Path) -> None:
    """What the samples have is learned from them; D flat 2, which none of them has, from a sheet that comes along."""
    result = _said(SAMPLES, "--player", player, "--from", "tenor", "--to", "tenor-f", "-o", tmp_path / "out",
                   "--format", "json", "--jobs", 1)
    weeks = json.loads(result.stdout)["weeks"]
    from_sheets = {one for week in weeks for excerpt in week["excerpts"] if excerpt["open_sheet"]
                   for one in excerpt["new"]}
    assert from_sheets == {"T5"}


def test_no_change_is_one_clear_line(tmp_path: Path, player: Path) -> None:
    result = _said(SAMPLES, "--player", player, "--from", "tenor", "--to", "tenor", "-o", tmp_path / "out")
    assert isinstance(result.exception, Unreadable)
    assert result.exception.problem.code == "no-change"
    assert not (tmp_path / "out").exists()


def test_the_same_course_has_the_same_bytes(tmp_path: Path, player: Path) -> None:
    pytest.importorskip("verovio")
    asked = ("--player", player, "--from", "euphonium-4", "--to", "euphonium-4-compensating", "--jobs", 1)
    for name in ("one", "two"):
        _said(SAMPLES, *asked, "-o", tmp_path / name)
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name


def test_no_clef_is_new_on_the_quiet() -> None:
    """Where a school prints bass clef, a treble-clef part of its brass band pieces is written in bass clef."""
    pytest.importorskip("verovio")
    course = course_for("everything of ours", "the F attachment")
    found = next((one for week in course.weeks for one in week.excerpts if one.clefs == ("treble",)), None)
    assert found is not None, "the samples give one such excerpt; else this test asks nothing"
    document = open_document(SAMPLES / found.score)
    assert clef_of(course) == "bass"
    music = music_of(found, course.goal, document, clef_of(course))
    assert music.rewritten
    assert music.problem is None
    assert not music_of(found, course.goal, document, None).rewritten


def test_no_step_of_a_ladder_is_above_the_printed_tempo() -> None:
    """The etude is printed at quarter note = 56, then 66 from measure 9 on."""
    pytest.importorskip("verovio")
    course = course_for("three trombone pieces", "the F attachment")
    document = open_document(SAMPLES / "attachment-etude.musicxml")
    ladders = {one.start >= 8: music_of(one, course.goal, document, None).ladder for week in course.weeks
               for one in week.excerpts if one.score == document.name and (one.start >= 8 or one.stop < 8)}
    assert ladders
    for late, ladder in ladders.items():
        assert max(ladder) <= (66 if late else 56)
        assert list(ladder) == sorted(ladder)


def test_the_phone_has_the_marks_of_the_sheet(tmp_path: Path, player: Path) -> None:
    """Planned alone, an excerpt may come out otherwise than within its line; the page keeps what the sheet prints."""
    pytest.importorskip("verovio")
    course = course_for("everything of ours", "the F attachment")
    seen = 0
    for excerpt in (one for week in course.weeks for one in week.excerpts):
        document = open_document(SAMPLES / excerpt.score)
        music = music_of(excerpt, course.goal, document, "bass")
        page = phone_page(excerpt, music, course.goal, "tenor-f")
        assert page is not None
        told = [note.choice.label for note in music.planned.plan.notes
                if note.choice and excerpt.start <= note.note.measure_index <= excerpt.stop]
        shown_on_page = re.findall(r'class="mark[^"]*"[^>]*data-ref="\d+"[^>]*>.*?>([T\d♯♭]+)<', page.decode())
        assert [label.replace("♯", "#").replace("♭", "b") for label in shown_on_page][:len(told)] == told
        seen += len(told)
    assert seen > 40


def test_sheets_of_an_earlier_course_are_named_and_left_alone(tmp_path: Path, player: Path) -> None:
    empty = tmp_path / "empty"
    empty.mkdir()
    out = tmp_path / "out"
    out.mkdir()
    (out / "week-07.pdf").write_bytes(b"earlier")
    (out / "my own.txt").write_bytes(b"mine")
    result = _said(empty, "--player", player, "--from", "tenor", "--to", "tenor-f", "-o", out, "--format", "json")
    notes = [problem for problem in json.loads(result.stdout)["problems"] if problem["code"] == "earlier-sheets"]
    assert len(notes) == 1
    assert "week-07.pdf comes from an earlier course" in notes[0]["what"]
    assert (out / "week-07.pdf").read_bytes() == b"earlier"
    assert (out / "my own.txt").read_bytes() == b"mine"
