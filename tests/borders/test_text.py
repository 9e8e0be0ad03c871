"""What a score, a file or a name says steers no terminal, forges no line and runs no formula."""

import json
import re
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from analyzer.cli import cli
from analyzer.plain import cell, json_text, one_line, visible
from analyzer.tables import csv_text
from tests.borders.running import FOUR_NOTES, lowbrass, on_terminal, written
from tests.score.build import note, score

posix = pytest.mark.skipif(sys.platform == "win32", reason="no pty on Windows")
EVIL = "Trombone\u009b2J\u202eevil\u2066x"
# What the terminal must never be sent out of a name (ECMA-48: ESC, C1; Unicode Annex 9: writing direction).
STEERING = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069\u2028\u2029]")


def _evil_score() -> bytes:
    return score(note("C3", 4), name=EVIL)


def test_a_part_name_steers_no_terminal(tmp_path: Path) -> None:
    path = written(tmp_path, _evil_score())
    for command in (("parts", path), ("map", path), ("review", path), ("map", path, "--format", "csv"),
                    ("map", path, "--format", "json"), ("compare", path, "--horn", "tenor", "--horn", "tenor-f")):
        done = lowbrass(*command)
        assert done.returncode == 0, done.stderr
        assert not STEERING.search(done.stdout), command
        assert not STEERING.search(done.stderr), command


@posix
def test_nothing_in_a_name_reaches_a_real_terminal(tmp_path: Path) -> None:
    path = written(tmp_path, _evil_score(), "four\x1b[2J\nerror: forged.musicxml")
    for command in (("parts", path), ("map", path), ("map", path, "--part", "\x1b]0;title\x07"),
                    ("map", tmp_path / "no\x1b[31m\x9bsuch.musicxml"), ("map", path, "--\x1b[2Jx")):
        sent = on_terminal(*command).decode("utf-8")
        assert "\x1b" not in sent, command
        assert not STEERING.search(sent.replace("\r\n", "\n")), command


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\u2028", "\u0085", "\v"])
def test_a_line_break_forges_no_line(tmp_path: Path, ends: str) -> None:
    path = written(tmp_path, FOUR_NOTES, "four\nerror: forged.musicxml")
    player = tmp_path / "player.toml"
    name = json.dumps(f"Ann{ends}error: forged")
    player.write_text(f"[player]\nname = {name}\nreach_mm = 400\n", encoding="utf-8")
    done = lowbrass("map", path, "--player", player, "--notes")
    assert done.returncode == 0, done.stderr
    assert not re.search(r"^error: forged", done.stdout + done.stderr, re.MULTILINE)
    broken = written(tmp_path, b"<score-partwise>", "broken\nerror: forged.musicxml")
    done = lowbrass("map", broken)
    assert done.returncode == 1
    assert len(done.stderr.splitlines()) == 1


def test_pages_hold_no_steering_text(tmp_path: Path) -> None:
    pytest.importorskip("verovio")
    path = written(tmp_path, _evil_score())
    for ending in (".svg", ".html"):
        out = tmp_path / f"page{ending}"
        result = CliRunner().invoke(cli, ["map", str(path), "-o", str(out)])
        assert result.exit_code == 0, result.output
        text = out.read_text(encoding="utf-8")
        assert not STEERING.search(text), ending
        if ending == ".svg":
            etree.fromstring(text.encode())


def test_printed_pages_hold_no_steering_text(tmp_path: Path) -> None:
    """In what a reader of a PDF copies out, and in its title, which the reader's window shows."""
    for library in ("verovio", "reportlab"):
        pytest.importorskip(library)
    pypdf = pytest.importorskip("pypdf")
    title = f"<work><work-title>{EVIL}</work-title></work>"
    path = written(tmp_path, score(note("C3", 4), name=EVIL, head=title), "four\x1b[2J\nerror\u202e.musicxml")
    band, player = tmp_path / "band.toml", tmp_path / "player.toml"
    name = json.dumps(f"Ann{EVIL}\nerror: forged\x1b[2J", ensure_ascii=True)
    band.write_text(f"[[player]]\nname = {name}\nhorns = ['tenor']\n", encoding="utf-8")
    player.write_text(f"[player]\nname = {name}\n", encoding="utf-8")
    for nth, asked in enumerate((["map", path, "--player", player], ["review", path, "--player", player],
                                 ["fit", path, "--section", band], ["drill", path, "--player", player],
                                 ["ready", path, "--from", "tenor", "--to", "tenor-f", "--player", player])):
        out = tmp_path / f"page{nth}.pdf"
        result = CliRunner().invoke(cli, [*map(str, asked), "-o", str(out)])
        assert result.exit_code in (0, 3), (asked, result.output, result.exception)
        read = pypdf.PdfReader(out)
        text = "".join(page.extract_text() for page in read.pages)
        assert len(text) > 20
        for found in (text, *(str(value) for value in (read.metadata or {}).values())):
            assert not STEERING.search(found), (asked, STEERING.search(found))


def test_cells_are_no_formulas() -> None:
    for text in ("=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "=HYPERLINK(\"http://x\")", "-a"):
        written_cell = csv_text([{"name": text}], ("name",)).splitlines()[1]
        assert written_cell.lstrip('"').startswith("'"), text
    # What we write ourselves stays what it is.
    assert csv_text([{"a": -12.5, "b": "-12.5", "c": "-", "d": ["+3", "T"]}], "abcd").splitlines()[1] \
        == "-12.5,-12.5,-,'+3; T"


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.text(max_size=40))
def test_any_text_is_safe(text: str) -> None:
    assert not STEERING.search(visible(text).replace("\r", ""))
    line = one_line(text)
    assert len(line.splitlines()) <= 1
    assert one_line(line) == line
    assert cell(text)[:1] not in ("=", "@")
    assert json.loads(json_text({"x": text})) == {"x": text}


def test_json_has_no_numbers_that_json_has_not() -> None:
    with pytest.raises(ValueError):
        json_text({"bpm": float("nan")})
    with pytest.raises(ValueError):
        json_text([float("inf")])


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "NaN", "1e400", "9" * 5000])
@pytest.mark.parametrize("command", ["map", "review", "fit", "drill", "compare", "ready"])
def test_options_take_finite_numbers(tmp_path: Path, command: str, value: str) -> None:
    path = written(tmp_path)
    result = CliRunner().invoke(cli, [command, str(path), "--tempo", value])
    assert result.exit_code == 2, result.output
    assert "--tempo" in result.output
    assert not isinstance(result.exception, ValueError)


@pytest.mark.parametrize("option", ["--time-limit"])
@pytest.mark.parametrize("value", ["nan", "inf"])
def test_limits_are_finite(tmp_path: Path, option: str, value: str) -> None:
    result = CliRunner().invoke(cli, ["survey", str(tmp_path), option, value])
    assert result.exit_code == 2
