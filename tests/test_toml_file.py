"""Every reader of a file that a user names: hostile and broken files give one clear line, and no wait."""

import os
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from analyzer.files import read_file
from analyzer.horns.profiles import load_horn
from analyzer.marking.pins import read_pins_file
from analyzer.plan.player import read_player
from analyzer.plan.weights import read_preferences
from analyzer.problem import Unreadable
from analyzer.score.document import open_document
from analyzer.section.section import read_section
from analyzer.toml_file import MOST_BYTES, parse_table, read_table

READERS: dict[str, Callable[[Path], object]] = {
    "player": read_player, "preferences": read_preferences, "section": read_section,
    "pins": lambda path: read_pins_file(read_table(path)), "horn": lambda path: load_horn(str(path)),
}
HOSTILE = {
    "digits": ("[player]\nheight_cm = " + "9" * 6000, "line 2: a number has thousands of digits"),
    "lists": ("x = " + "[" * 20_000 + "]" * 20_000, "nested too deep"),
    "tables": ("x = " + "{a=" * 20_000 + "1" + "}" * 20_000, "nested too deep"),
    "dots": ("a" + ".a" * 20_000 + " = 1", "line 1: a key has more than"),
    "quoted dots": ("ok = 1\na" + '."a"' * 20_000 + " = 1", "line 2: a key has more than"),
    "long": ("#" * (MOST_BYTES + 1), "more than 256 KiB"),
}
WAIT_S = 10     # the dots took 40 s and the pipe for ever; what is refused now takes hundredths


@pytest.mark.parametrize("reader", READERS.values(), ids=READERS)
@pytest.mark.parametrize(("text", "said"), HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_file_is_one_line(tmp_path: Path, reader: Callable[[Path], object], text: str, said: str) -> None:
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    begin = time.monotonic()
    with pytest.raises(Unreadable) as caught:
        reader(path)
    assert time.monotonic() - begin < WAIT_S
    line = caught.value.problem.line()
    assert said in line
    assert "\n" not in line
    assert len(line) < 700


@pytest.mark.parametrize("reader", [*READERS.values(), open_document], ids=[*READERS, "score"])
@pytest.mark.parametrize("kind", ["pipe", "folder", "device", "none"])
def test_what_is_no_file_is_refused_at_once(tmp_path: Path, reader: Callable[[Path], object], kind: str) -> None:
    path = tmp_path / "own.toml"
    if kind == "pipe":
        if not hasattr(os, "mkfifo"):
            pytest.skip("this system has no named pipes")
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    elif kind == "device":
        if not Path("/dev/zero").exists():
            pytest.skip("this system has no /dev/zero")
        path.symlink_to("/dev/zero")
    with pytest.raises(Unreadable) as caught:
        reader(path)
    assert {"pipe": "a pipe", "folder": "a folder", "device": "a device", "none": "no such file"}[kind] \
        in caught.value.problem.what
    assert caught.value.problem.code == "no-file"


def test_a_file_that_is_too_large_is_not_fetched(tmp_path: Path) -> None:
    path = tmp_path / "holes"
    with path.open("wb") as file:
        file.truncate(2**40)        # a terabyte of holes: reading it would not end
    with pytest.raises(Unreadable, match="1048576 MiB, more than 1 MiB"):
        read_file(path, 2**20)


@pytest.mark.parametrize("number", ["nan", "inf", "-inf", "1e999", "0x" + "f" * 6000, "9" * 400, "true", '"150"'])
def test_a_number_is_finite_and_within_its_range(tmp_path: Path, number: str) -> None:
    path = tmp_path / "p.toml"
    path.write_text(f"[player]\nheight_cm = {number}\n", encoding="utf-8")
    with pytest.raises(Unreadable) as caught:
        read_player(path)
    assert caught.value.problem.where == "p.toml, line 2"
    assert caught.value.problem.what.startswith("height_cm is ")
    assert "from 80 to 230 cm" in caught.value.problem.try_
    path.write_text(f"[weights]\ntravel = {number}\n", encoding="utf-8")
    with pytest.raises(Unreadable, match="travel is "):
        read_preferences(path)


def test_mistakes_gathered_and_mistakes_raised_are_the_same_words(tmp_path: Path) -> None:
    keys = 'name = "A"\nlow = "H2"\nreach_mm = 5000\nlevel = "expert"\n'
    player, section = tmp_path / "player.toml", tmp_path / "section.toml"
    player.write_text(f"[player]\n{keys}", encoding="utf-8")
    section.write_text(f'[[player]]\nhorns = ["tenor"]\n{keys}', encoding="utf-8")
    top = parse_table(section.read_text(encoding="utf-8"), "section.toml")
    from analyzer.section.section import section_from

    gathered = [problem.what for problem in section_from(top)[1]]
    assert [what.split(" is ")[0] for what in gathered] == ["low", "reach_mm", "level"]
    with pytest.raises(Unreadable) as caught:
        read_player(player)
    assert caught.value.problem.what in gathered


def test_a_key_of_many_parts_is_told_from_a_text_with_dots() -> None:
    table = parse_table('a = "1.2.3.4.5.6.7.8.9.10.11.12"\nb = "e.g. and so on..................... . . . ."', "x.toml")
    assert table.take("a", str).endswith("12")
