"""``lowbrass parts``: the data contract, and what a first reader sees."""

import csv
import io
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.cli import cli
from analyzer.commands.parts import command
from tests.score.build import attributes, chord, entry, group, note, score

TRANSPOSE = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic><octave-change>-1</octave-change></transpose>"


@pytest.fixture
def file(tmp_path: Path) -> Path:
    entries = (entry("F1", "Flute") + group("Trombones", entry("T1", "1 2", sound="brass.trombone"))
               + entry("B1", "Baritone T.C.") + entry("S1", "Bass Trombone"))
    bodies = {
        "F1": attributes(4, "G2") + note("C5", 16),
        "T1": attributes(4, "C4") + chord("C4", "E4", ticks=8) + note("G3", 4, '<tie type="start"/>')
        + note("G3", 4, '<tie type="stop"/>'),
        "B1": attributes(4, "G2", TRANSPOSE) + note("C5", 16),
        "S1": attributes() + note("", 16),
    }
    parts = "".join(f'<part id="{each}"><measure number="1">{body}</measure></part>' for each, body in bodies.items())
    path = tmp_path / "march.musicxml"
    path.write_text(f"<score-partwise><work><work-title>March</work-title></work><part-list>{entries}</part-list>{parts}"
                    "</score-partwise>", encoding="utf-8")
    return path


def test_json_has_every_part_in_score_order(file: Path) -> None:
    result = CliRunner().invoke(command, [str(file), "--format", "json"])
    assert result.exit_code == 0
    document = json.loads(result.stdout)
    assert document["schema"] == "lowbrass.parts/1"
    assert document["score"] == {"file": "march.musicxml", "title": "March"}
    assert document["problems"] == []
    parts = {part["id"]: part for part in document["parts"]}
    assert list(parts) == ["F1", "T1", "B1", "S1"]
    shown = ("family", "low_brass", "clefs", "written_low", "written_high", "sounding_low", "sounding_high", "notes",
             "lines", "horn")
    assert [parts["F1"][key] for key in shown] == [
        "other", False, ["treble"], "C5", "C5", "C5", "C5", 1, 1, None]
    assert [parts["T1"][key] for key in shown] == [
        "trombone", True, ["tenor"], "G3", "E4", "G3", "E4", 3, 2, "tenor-f"]
    assert [parts["B1"][key] for key in shown] == [
        "baritone", True, ["treble"], "C5", "C5", "Bb3", "Bb3", 1, 1, "baritone-3"]
    assert [parts["S1"][key] for key in shown] == [
        "bass trombone", True, [], None, None, None, None, 0, 0, "bass-independent"]
    assert all(part["evidence"] for part in parts.values())


def test_csv_has_a_row_for_every_part(file: Path) -> None:
    result = CliRunner().invoke(command, [str(file), "--format", "csv"])
    rows = list(csv.DictReader(io.StringIO(result.stdout)))
    assert [row["id"] for row in rows] == ["F1", "T1", "B1", "S1"]
    assert (rows[1]["horn"], rows[0]["horn"]) == ("tenor-f", "")


def test_text_says_what_and_why(file: Path) -> None:
    result = CliRunner().invoke(command, [str(file)])
    assert "Trombones 1 2: trombone" in result.stdout
    assert "3 notes, 2 lines, tenor clef, sounding G3–E4" in result.stdout
    assert "sounding B♭3–B♭3 (written C5–C5)" in result.stdout
    assert "group name 'Trombones'" in result.stdout
    assert "F1  Flute" in result.stdout


def test_score_without_low_brass_says_what_to_try(tmp_path: Path) -> None:
    path = tmp_path / "flute.xml"
    path.write_text(f"<score-partwise><part-list>{entry('P1', 'Flute')}</part-list><part id='P1'><measure number='1'/>"
                    "</part></score-partwise>", encoding="utf-8")
    result = CliRunner().invoke(command, [str(path)])
    assert result.exit_code == 0
    assert "--part" in result.stdout


def test_a_name_of_megabytes_is_not_printed_whole(tmp_path: Path) -> None:
    long = "Trombone " + "x" * 1_000_000
    path = tmp_path / "long.xml"
    path.write_bytes(score(note("C3", 8) + note("C9", 4) + note("C3", 8), name=long,
                           head=f"<work><work-title>{long}</work-title></work>").replace(
        b'<measure number="1">', f'<measure number="{long}">'.encode()))
    for name in ("parts", "map", "review"):
        result = CliRunner().invoke(cli, [name, str(path)])
        assert result.exit_code in (0, 3), result.output           # 3: the review finds a note that cannot be played
        assert "Trombone xxx" in result.output
        assert len(result.output) < 20_000
