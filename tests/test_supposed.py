"""What was supposed, silent parts, free time, printed beats, endings and equal names: each failed before."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.analysis import Request, analyse
from analyzer.cli import cli
from analyzer.problem import Unreadable
from analyzer.score.document import read_document
from analyzer.score.parts import find_parts
from analyzer.selection import part_lines
from tests.score.build import attributes, entry, group, listed, note, part, score

CUT = attributes(4).replace("<time>", '<time symbol="cut">').replace("<beats>4", "<beats>2").replace(
    "<beat-type>4", "<beat-type>2")
REPEAT = '<barline location="right"><repeat direction="backward"/></barline>'


def ending(number: str, kind: str = "start") -> str:
    return f'<barline location="left"><ending number="{number}" type="{kind}"/></barline>'


@pytest.mark.parametrize("first", ["1", "1.", "1, 2", "1.-3."])
def test_an_ending_numbered_with_a_dot_is_the_first_ending(first: str) -> None:
    """Exporters write "1."; the standard (MusicXML 4.0, ending-number) wants digits and commas."""
    data = score(note("C3", 16), note("C3", 16) + REPEAT, note("D3", 16), ending(first) + note("E3", 16) + REPEAT,
                 ending("2.") + note("F3", 16))
    jumps = {(jump.from_measure, jump.to_measure) for jump in part(data).jumps}
    assert (2, 4) in jumps, "from before the first ending to the second"
    assert (2, 3) not in jumps


def test_parts_of_one_name_are_told_apart_and_found_by_that_name() -> None:
    document = listed(entry("P1", "Trombone"), entry("P2", "Flute"), entry("P3", "Trombone"),
                      group("Horns", entry("P4", "Trombone")))
    names = [found.full_name for found in find_parts(document)[0]]
    assert names == ["Trombone (1st of 3)", "Flute", "Trombone (2nd of 3)", "Trombone (3rd of 3)"]
    chosen = analyse(document, Request(parts=("Trombone (2nd of 3)",)))
    assert [one.part.id for one in chosen.lines] == ["P3"]
    assert len(analyse(document, Request(parts=("Trombone",))).lines) == 3


@pytest.mark.parametrize(("first", "beat"), [
    (CUT, ("half", 0)), (attributes(4, time="2/2"), ("half", 0)), (attributes(4, time="6/8"), ("quarter", 1)),
    (attributes(4, time="9/8"), ("quarter", 1)), (attributes(4, time="3/8"), ("eighth", 0)),
    (attributes(4, time="3/4"), ("quarter", 0)), (attributes(4, time="6/4"), ("half", 1)),
    (attributes(4, time="7/8"), ("eighth", 0)),
])
def test_the_printed_beat_of_a_time_signature(first: str, beat: tuple[str, int]) -> None:
    """Common practice, no source."""
    document = read_document(score(note("C3", 8), first=first), "beat.xml")
    (line,), _ = part_lines(document, find_parts(document)[0][0])
    assert tuple(line.beat_at(line.notes[0].onset)) == beat


def test_a_metronome_mark_tells_the_beat_until_the_meter_changes() -> None:
    mark = ("<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>60"
            "</per-minute></metronome></direction-type></direction>")
    document = read_document(score(mark + note("C3", 12), attributes(4, time="2/2") + note("C3", 16),
                                   first=attributes(4, time="3/4")), "beat.xml")
    (line,), _ = part_lines(document, find_parts(document)[0][0])
    assert [tuple(line.beat_at(one.onset)) for one in line.notes] == [("quarter", 1), ("half", 0)]


def test_cut_time_speaks_of_half_notes() -> None:
    (one,) = analyse(read_document(score(note("C3", 16), first=CUT), "cut.xml"), Request()).lines
    (tempo,) = [found for found in one.assumptions if found.about == "tempo"]
    assert tempo.value == "100 quarter notes a minute, 50 half notes"


def test_attacks_too_short_to_play_are_free_time_and_set_no_tempo() -> None:
    """A cadenza written out as notes of 3 ms: 1/166 of a quarter at 120."""
    slow = "".join(note(pitch, 166) for pitch in ("Bb2", "F3", "Bb3", "F3"))
    run = "".join(note(pitch, 1) for pitch in ("E2", "Bb2", "E2", "Bb2", "E2", "Bb2"))
    tempo = '<sound tempo="120"/>'
    free = analyse(read_document(score(tempo + slow + run + slow, first=attributes(166)), "x.xml"), Request())
    assert "free-time" in [problem.code for problem in free.problems]
    assert [one.free for one in free.lines[0].plan.line.notes] == [False] * 4 + [True] * 6 + [False] * 4
    ceiling = free.lines[0].plan.totals.tempo_ceiling_bpm
    assert ceiling is None or ceiling > 120, "quarter notes at the written tempo are easy; the run sets no limit"
    fast = analyse(read_document(score('<sound tempo="60"/>' + "".join(note("C3", 1) for _ in range(8)),
                                       first=attributes(16)), "x.xml"), Request())
    assert "free-time" not in [problem.code for problem in fast.problems], "64ths at 60 can be played"


@pytest.fixture
def two(tmp_path: Path) -> Path:
    """One trombone plays, the other is silent."""
    data = score(note("C3", 16)).decode().replace("</part-list>", entry("P2", "Bass Trombone") + "</part-list>")
    silent = f'<part id="P2"><measure number="1">{attributes()}{note("", 16)}</measure></part>'
    path = tmp_path / "two.musicxml"
    path.write_text(data.replace("</score-partwise>", silent + "</score-partwise>"), encoding="utf-8")
    return path


def test_a_silent_part_is_listed_and_said(two: Path) -> None:
    result = CliRunner().invoke(cli, ["map", str(two), "--format", "json"])
    assert result.exit_code == 0
    found = json.loads(result.stdout)
    assert [(one["part"]["id"], len(one["notes"])) for one in found["lines"]] == [("P1", 1), ("P2", 0)]
    (silent,) = [problem for problem in found["problems"] if problem["code"] == "no-notes"]
    assert silent["severity"] == "note"
    assert "Bass Trombone" in silent["where"]


@pytest.mark.parametrize("ending_", [".musicxml", ".mxl", ".svg", ".pdf", ".html"])
def test_nothing_is_written_where_no_note_is_left(two: Path, ending_: str) -> None:
    out = two.with_name(f"out{ending_}")
    result = CliRunner().invoke(cli, ["map", str(two), "--part", "P2", "-o", str(out)])
    assert isinstance(result.exception, Unreadable)
    assert result.exception.problem.code == "no-notes"
    assert not out.exists()


@pytest.mark.parametrize("ending_", [".svg", ".pdf", ".html"])
def test_pages_show_the_lines_that_have_notes(two: Path, ending_: str) -> None:
    pytest.importorskip("verovio", reason="the extra engrave is not installed")
    out = two.with_name(f"out{ending_}")
    assert CliRunner().invoke(cli, ["map", str(two), "-o", str(out)]).exit_code == 0
    assert out.stat().st_size > 1000


def test_a_part_listed_without_music_does_not_stop_the_others() -> None:
    data = score(note("C3", 16)).decode().replace("</part-list>", entry("P2", "Trombone 2") + "</part-list>")
    found = analyse(read_document(data.encode(), "x.xml"), Request())
    assert [len(one.plan.notes) for one in found.lines] == [1, 0]
    assert {"no-music", "no-notes"} <= {problem.code for problem in found.problems}


def test_what_was_assumed_stands_in_text_page_and_review(two: Path) -> None:
    text = CliRunner().invoke(cli, ["map", str(two), "--part", "P1"]).stdout
    assert "tempo 100 quarter notes a minute" in text.replace("\n", " ")
    review = json.loads(CliRunner().invoke(cli, ["review", str(two), "--part", "P1", "--format", "json"]).stdout)
    assert {one["about"] for one in review["lines"][0]["assumptions"]} == {"tempo", "horn"}
    pytest.importorskip("verovio", reason="the extra engrave is not installed")
    out = two.with_name("out.html")
    CliRunner().invoke(cli, ["map", str(two), "--part", "P1", "-o", str(out)])
    assert "100 quarter notes a minute" in out.read_text(encoding="utf-8")


def test_compare_and_fit_say_what_was_assumed_too(two: Path) -> None:
    found = json.loads(CliRunner().invoke(cli, ["compare", str(two), "--part", "P1", "--horns", "tenor,tenor-f",
                                                "--format", "json"]).stdout)
    assert [one["about"] for one in found["lines"][0]["assumptions"]] == ["tempo"]
    assert "tempo-assumed" in [problem["code"] for problem in found["problems"]]
    section = two.with_name("section.toml")
    section.write_text('[[player]]\nname = "Ann"\nhorns = ["tenor-f"]\n', encoding="utf-8")
    fit = json.loads(CliRunner().invoke(cli, ["fit", str(two), "--section", str(section), "--part", "P1",
                                              "--format", "json"]).stdout)
    assert fit["assignments"][0]["assumptions"][0]["value"].startswith("100 ")
    assert {problem["code"] for problem in fit["problems"]} == {"tempo-assumed"}
