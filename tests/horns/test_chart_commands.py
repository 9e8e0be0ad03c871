"""The commands `chart` and `horns`, called as a user calls them."""

import io
import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner

from analyzer.commands import chart, horns
from analyzer.horns.candidates import chart_choice
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.pitch import parse_pitch
from analyzer.problem import Unreadable
from analyzer.tuning.calibrate import measured_tube_mm, parse_measured

FIELDS = {"label", "valves", "position", "shade", "partial", "extension_mm", "off_cents", "usual", "advice"}


def run(*arguments: str) -> str:
    command = {"chart": chart.command, "horns": horns.command}[arguments[0]]
    result = CliRunner().invoke(command, list(arguments[1:]), catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.stdout


def document(*arguments: str) -> Any:
    return json.loads(run(*arguments, "--format", "json"))


@pytest.mark.parametrize("name", horn_names())
def test_chart_document_keeps_the_contract(name: str) -> None:
    chart_ = document("chart", name)
    assert (chart_["schema"], chart_["horn"]) == ("lowbrass.chart/1", name)
    midi = [note["midi"] for note in chart_["notes"]]
    assert midi == list(range(midi[0], midi[-1] + 1))
    for note in chart_["notes"]:
        assert parse_pitch(note["note"]).midi == note["midi"]
        assert [c["usual"] for c in note["choices"]].count(True) == bool(note["choices"])
        for choice in note["choices"]:
            assert choice.keys() >= FIELDS
            if load_horn(name).family == "slide":
                assert choice["label"] == f"{''.join(choice['valves'])}{choice['position']}{choice['shade']}"
                assert isinstance(choice["extension_mm"], float)
            else:
                assert choice["label"] == ("-".join(choice["valves"]) or "0")
                assert choice["position"] is None
                assert choice["extension_mm"] is None


def test_the_gap_of_the_straight_horn_is_in_its_chart() -> None:
    empty = [note["note"] for note in document("chart", "tenor")["notes"] if not note["choices"]]
    assert empty == ["B1", "C2", "C#2", "D2", "Eb2"]


def test_chart_table_has_the_same_choices() -> None:
    notes = document("chart", "tenor-f")["notes"]
    frame = pd.read_csv(io.StringIO(run("chart", "tenor-f", "--format", "csv")), dtype={"label": str})
    assert len(frame) == sum(max(len(note["choices"]), 1) for note in notes)
    assert frame.label.dropna().tolist() == [c["label"] for note in notes for c in note["choices"]]
    assert frame[frame.label.isna()].note.tolist() == ["B1"]
    assert frame.usual.sum() == len(notes) - 1


def test_chart_text_has_a_line_a_note() -> None:
    lines = run("chart", "tenor-f").splitlines()
    assert lines[0] == "Tenor trombone in B flat with F attachment (tenor-f), sounding pitch"
    assert "B1    none: this horn cannot play it" in lines
    assert next(line for line in lines if line.startswith("F♯4")).split()[1] == "3♯"
    assert next(line for line in lines if line.startswith("F2")).endswith("T1 (17 flat)")
    assert len([line for line in lines if re.match(r"[A-G][♯♭]?\d", line)]) == 77 - 24 + 1


def test_horns_document() -> None:
    listed = document("horns")
    assert listed["schema"] == "lowbrass.horns/1"
    assert [row["name"] for row in listed["horns"]] == list(horn_names())
    for row in listed["horns"]:
        assert parse_pitch(row["low"]).midi < parse_pitch(row["high"]).midi
        assert row["family"] in ("slide", "valves")
        assert row["description"]
    assert [line.split()[0] for line in run("horns").splitlines()] == list(horn_names())


@pytest.mark.parametrize("name", horn_names())
def test_show_tells_the_origin_of_every_number(name: str) -> None:
    facts = document("horns", "show", name)["facts"]
    assert len(facts) >= 6
    assert all(fact["kind"] in ("cited", "derived", "judged") for fact in facts)
    assert all(fact["source"] or fact["why"] for fact in facts)
    assert run("horns", "show", name).startswith(load_horn(name).description)


def test_calibrate_writes_a_horn_that_plays_the_measurement(tmp_path: Path) -> None:
    own = tmp_path / "my-tenor.toml"
    said = run("horns", "calibrate", "--horn", "tenor", "--known", "C3 6 490mm", "-o", str(own))
    # By hand: 2 * 490 mm / (2 ** ((500 + 1.955) / 1200) - 1).
    assert "tube 2913.6 mm (2960.2 mm in tenor)" in said
    horn = load_horn(str(own))
    assert horn.name == "my-tenor"
    c3 = chart_choice(horn, 48)
    assert c3 is not None
    assert c3.extension_mm == pytest.approx(490, abs=0.02)
    assert horn.tube.evidence.kind == "measured"
    assert "C3 in 6 at 490 mm" in horn.tube.evidence.why
    # All else stays.
    before = tomllib.loads((Path(horns.__file__).parents[1] / "horns/data/tenor.toml").read_text(encoding="utf-8"))
    after = tomllib.loads(own.read_text(encoding="utf-8"))
    assert {key for key in before if before[key] != after[key]} == {"name", "tube"}
    assert [path.name for path in tmp_path.iterdir()] == ["my-tenor.toml"]


@pytest.mark.parametrize("distance", ["496mm", "49.6 cm", "19.527559in"])
def test_units_of_a_measurement(distance: str) -> None:
    assert parse_measured(f"C3 6 {distance}").extension_mm == pytest.approx(496)


def test_a_measurement_with_the_attachment() -> None:
    horn = load_horn("tenor-f")
    place = next(c.extension_mm for c in [chart_choice(horn, 36)] if c)
    assert measured_tube_mm(horn, parse_measured(f"C2 T6 {place}mm")) == pytest.approx(horn.tube_mm, abs=0.01)


@pytest.mark.parametrize(("horn", "known", "words"), [
    ("tenor", "C3 6", "measurement 'C3 6': this is no measurement. Write note, position and distance, such as"),
    ("tenor", "H3 6 490mm", "'H3' is no pitch"),
    ("tenor", "C3 5 380mm", "measurement 'C3 in 5 at 380 mm': no partial of that position is this note."),
    ("tenor", "C3 6 300mm", "it would need a tube of 1784 mm where tenor has 2960 mm. About 498 mm was to be expected"),
    ("tenor", "E2 7 700mm", "that is beyond the end of the slide (650 mm)."),
    ("tenor", "Bb2 1 10mm", "first position tells nothing of the tube. Measure a note in 5, 6 or 7."),
    ("tenor", "C3 6 0mm", "first position tells nothing of the tube."),
    ("tenor", "C2 T6 630mm", "tenor cannot hold T. Give the position without it."),
    ("euphonium-3", "C3 6 490mm", "euphonium-3 has no slide. Name a trombone."),
])
def test_an_impossible_measurement_is_one_line_and_no_file(tmp_path: Path, horn: str, known: str, words: str) -> None:
    own = tmp_path / "own.toml"
    with pytest.raises(Unreadable) as caught:
        run("horns", "calibrate", "--horn", horn, "--known", known, "-o", str(own))
    line = caught.value.problem.line()
    assert words in line
    assert "\n" not in line
    assert list(tmp_path.iterdir()) == []


def test_a_longer_tube_says_what_the_slide_loses(tmp_path: Path) -> None:
    # 509 mm for C3 is a tube of 3040 mm; C2 would lie at 655 mm then.
    arguments = ["calibrate", "--known", "C3 6 509mm", "-o", str(tmp_path / "own.toml")]
    said = CliRunner().invoke(horns.command, arguments, catch_exceptions=False)
    assert "C1, C2 would lie beyond the end of the slide (650 mm)" in said.stderr
    said = CliRunner().invoke(horns.command, [*arguments, "--slide-end", "66 cm"], catch_exceptions=False)
    assert "beyond" not in said.stderr
    assert load_horn(str(tmp_path / "own.toml")).slide_end_mm == 660


def test_as_processes() -> None:
    def lowbrass(*arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "analyzer", *arguments],
            capture_output=True, text=True, encoding="utf-8", check=False,
        )

    good = lowbrass("chart", "alto", "--format", "json")
    assert (good.returncode, good.stderr) == (0, "")
    assert json.loads(good.stdout)["horn"] == "alto"
    bad = lowbrass("chart", "tuba")
    assert (bad.returncode, bad.stdout) == (1, "")
    assert bad.stderr.startswith("horn: there is no horn 'tuba'. Take one of alto, tenor,")
    assert bad.stderr.count("\n") == 1
    wrong = lowbrass("chart")
    assert wrong.returncode == 2
