"""Pins as text and as a file; the command reads what was written, and the pins hold where they were set."""

import json
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.analysis import Request, analyse
from analyzer.commands.map import command
from analyzer.horns.profiles import load_horn
from analyzer.marking.pins import Pin, PinnedPart, part_of, pins_file, pins_of_analysis, read_pin, read_pins_file
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.problem import Unreadable
from analyzer.score.document import open_document
from analyzer.score.parts import find_parts
from analyzer.toml_file import parse_table
from tests.lines import line_of

SAMPLES = Path(__file__).resolve().parents[2] / "sample_scores"
HYMN = SAMPLES / "quiet-chorale-trombones.mxl"


@pytest.mark.parametrize("text", ["12:3=T1", "12:2.3=T1", "X1:1=1-2-3", "0:1=2#", "12a:10=7b"])
def test_a_pin_is_read_as_it_is_written(text: str) -> None:
    pin = read_pin(text)
    assert pin is not None
    assert pin.text() == text


@pytest.mark.parametrize("text", ["", "12", "12:3", "=1", "12:=1", "12:3=", "12:a=1", "12:3.4.5=1", "12:3=1 2"])
def test_what_is_no_pin(text: str) -> None:
    assert read_pin(text) is None


def test_a_file_is_toml_and_comes_back_the_same() -> None:
    parts = (PinnedPart(id='P"1', name="Trombone 1 \\ ♭\x7f", pins=(Pin(measure="1", nth=2, label="T1", line=2),)),
             PinnedPart(id="P2", name="", pins=()))
    text = pins_file(parts)
    assert tomllib.loads(text)["part"][0] == {"id": 'P"1', "name": "Trombone 1 \\ ♭\x7f", "pins": ["1:2.2=T1"]}
    assert read_pins_file(parse_table(text, "pins.toml")) == parts


@pytest.mark.parametrize(("text", "said"), [
    ("", "no [[part]]"), ("[[part]]\npins = [1]", "line"), ('[[part]]\npins = ["nonsense"]', "'nonsense' is no pin"),
    ('[[part]]\nid = 3\npins = []', "id is 3"), ('x = 1\n[[part]]\npins = []', "unknown key 'x'"),
    ('[[part]]\npins = []\nextra = 1', "unknown key 'extra'"), ("part = 3", "no list of tables"),
    ("[[part]]\npins = [" + '"1:1=1",' * 2001 + "]", "more than 2000"),
])
def test_a_wrong_file_is_one_clear_line(text: str, said: str) -> None:
    with pytest.raises(Unreadable) as found:
        read_pins_file(parse_table(text, "pins.toml"))
    line = found.value.problem.line()
    assert said in line
    assert line.startswith("pins.toml")
    assert "\n" not in line


def test_parts_are_found_by_name_then_by_id() -> None:
    parts = find_parts(open_document(HYMN))[0]
    first = parts[0]
    assert part_of(PinnedPart(id="else", name=first.name, pins=()), parts) is first
    assert part_of(PinnedPart(id=first.id, name="", pins=()), parts) is first
    assert part_of(PinnedPart(id="else", name="Nobody", pins=()), parts) is None


def second_choices(path: Path) -> list[PinnedPart]:
    """A pin in each part of a score, on a note with two choices: in a line that is not the first of the score."""
    parts: dict[str, list[Pin]] = {}
    for one in analyse(open_document(path), Request()).lines:
        note = next((note for note in one.plan.notes if note.alternatives), None)
        if note is not None:
            nth = 1 + sum(other.note.measure == note.note.measure for other in one.plan.notes[:note.index])
            parts.setdefault(one.part.id, []).append(
                Pin(measure=note.note.measure, nth=nth, label=note.alternatives[0].choice.label,
                    line=one.plan.line.number))
    return [PinnedPart(id=part_id, name="", pins=tuple(pins)) for part_id, pins in parts.items()]


def test_the_command_keeps_what_the_file_pins_in_every_line(tmp_path: Path) -> None:
    parts = second_choices(HYMN)
    assert len(parts) > 1
    file = tmp_path / "pins.toml"
    file.write_text(pins_file(parts), encoding="utf-8")
    done = CliRunner().invoke(command, [str(HYMN), "--pins", str(file), "--format", "json"])
    assert done.exit_code == 0, done.output
    wanted = {(part.id, pin.line, pin.measure, pin.label) for part in parts for pin in part.pins}
    held = {(line["part"]["id"], line["line"], note["measure"], note["label"])
            for line in json.loads(done.stdout)["lines"] for note in line["notes"] if note["pinned"]}
    assert held == wanted
    # Of some measures or one part the others' pins wait.
    one = parts[-1]
    done = CliRunner().invoke(command, [str(HYMN), "--pins", str(file), "--part", one.id, "--format", "json",
                                        "--measures", one.pins[0].measure])
    held = {(line["line"], note["label"]) for line in json.loads(done.stdout)["lines"] for note in line["notes"]
            if note["pinned"]}
    assert held == {(pin.line, pin.label) for pin in one.pins if pin.measure == one.pins[0].measure}


def test_a_pin_that_no_longer_fits_is_one_line_and_the_others_stay(tmp_path: Path) -> None:
    parts = second_choices(HYMN)
    first, *others = parts
    spoilt = PinnedPart(id=first.id, name="", pins=(replace(first.pins[0], label="T7"), replace(first.pins[0], nth=99)))
    file = tmp_path / "pins.toml"
    file.write_text(pins_file([spoilt, *others]), encoding="utf-8")
    done = CliRunner().invoke(command, [str(HYMN), "--pins", str(file), "--format", "json"])
    assert done.exit_code == 0, done.output
    assert len([line for line in done.stderr.splitlines() if "[bad-pin]" in line]) == 2
    assert sum(note["pinned"] for line in json.loads(done.stdout)["lines"] for note in line["notes"]) == sum(
        len(part.pins) for part in others)


def test_a_pin_of_a_valve_that_the_hand_cannot_press_is_told() -> None:
    planner = Planner(line_of("C3 B2", 0.5), load_horn("tenor-f"), Player(cannot=("T",)))
    with pytest.raises(Unreadable, match="valve that this player cannot press"):
        planner.plan({0: "T1"})
    assert planner.plan({0: "6"}).notes[0].pinned


def test_pins_of_another_score_are_told() -> None:
    analysis = analyse(open_document(HYMN), Request())
    with pytest.raises(Unreadable, match="none of its parts"):
        pins_of_analysis(analysis, [PinnedPart(id="x", name="Nobody", pins=())], "pins.toml")
    part = analysis.lines[0].part
    ninth = Pin(measure="1", nth=1, label="1", line=9)
    with pytest.raises(Unreadable, match="is for line 9"):
        pins_of_analysis(analysis, [PinnedPart(id=part.id, name="", pins=(ninth,))], "pins.toml")
