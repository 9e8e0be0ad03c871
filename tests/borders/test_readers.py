"""Any player file, horn file, section file and tuner's table is read or refused in one line, never with a traceback."""

import json
import math
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analyzer.horns.profiles import load_horn
from analyzer.plan.player import RATES, read_player
from analyzer.problem import Unreadable
from analyzer.section.section import read_section
from analyzer.toml_file import parse_table
from analyzer.tuning.readings import read_readings
from analyzer.tuning.sheet import sheet

_SETTINGS = settings(max_examples=120, deadline=None, derandomize=True,
                     suppress_health_check=[HealthCheck.function_scoped_fixture])
_VALUES = st.one_of(
    st.text(max_size=12).map(json.dumps), st.floats().map(lambda number: repr(number)),
    st.integers(-10**30, 10**30).map(str), st.sampled_from(("true", "[]", "[[[]]]", "{}", '["T"]', "nan", "-inf",
                                                            "1979-05-27", "9" * 400)))
_KEYS = st.sampled_from(("name", "reach_mm", "height_cm", "outermost_position", "learned", "secure", "level", "low",
                         "high", "cannot", "just_strength", "attachment_ceiling", "horns", "keeps", "bore_mm", *RATES))
_TABLES = st.lists(st.tuples(_KEYS, _VALUES), max_size=5, unique_by=lambda pair: pair[0])


def _one_line(refused: Unreadable) -> None:
    assert len(str(refused).splitlines()) == 1


@_SETTINGS
@given(_TABLES)
def test_any_player_file(tmp_path: Path, rows: list[tuple[str, str]]) -> None:
    path = tmp_path / "player.toml"
    path.write_text("[player]\n" + "".join(f"{key} = {value}\n" for key, value in rows), encoding="utf-8",
                    errors="replace")
    try:
        player = read_player(path)
    except Unreadable as refused:
        _one_line(refused)
        return
    numbers = (player.reach_mm, player.max_speed_mm_s, player.just_strength, player.just_from_s)
    assert all(number is None or math.isfinite(number) for number in numbers)
    assert len(player.name.splitlines()) == 1


@_SETTINGS
@given(_TABLES, st.sampled_from(("[[player]]", "[player]", "")))
def test_any_section_and_horn_file(tmp_path: Path, rows: list[tuple[str, str]], heading: str) -> None:
    path = tmp_path / "file.toml"
    path.write_text(f"{heading}\n" + "".join(f"{key} = {value}\n" for key, value in rows), encoding="utf-8",
                    errors="replace")
    for read in (read_section, lambda given_path: load_horn(str(given_path))):
        try:
            read(path)
        except Unreadable as refused:
            _one_line(refused)


@_SETTINGS
@given(st.one_of(st.text(max_size=200), st.text(alphabet="[]{}=.\"'#\n 1aé", max_size=200)))
def test_any_text_as_toml(text: str) -> None:
    try:
        parse_table(text, "x.toml")
    except Unreadable as refused:
        _one_line(refused)


@pytest.mark.parametrize("text", ["reach_mm = " + "9" * 6000, "a = " + "[" * 20_000, ".".join("a" * 20_000) + " = 1"])
def test_what_once_was_a_traceback_or_ran_on(text: str) -> None:
    with pytest.raises(Unreadable) as refused:
        parse_table(text, "x.toml").number("reach_mm", 50, 800)
    _one_line(refused.value)


@_SETTINGS
@given(st.binary(max_size=300), st.lists(st.tuples(st.integers(0, 30), st.text(max_size=12)), max_size=4))
def test_any_table_of_readings(data: bytes, changes: list[tuple[int, str]]) -> None:
    horn = load_horn("tenor-f")
    rows = sheet(horn).splitlines()
    for nth, text in changes:
        rows[nth % len(rows)] += text
    for content in (data, "\n".join(rows).encode("utf-8", "replace")):
        try:
            readings, _ = read_readings(content, "readings.csv", horn)
        except Unreadable as refused:
            _one_line(refused)
        else:
            assert all(math.isfinite(reading.cents) for reading in readings)
