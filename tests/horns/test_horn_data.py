"""The numbers of the profiles: every one has its origin, and derived ones come out again."""

import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from analyzer.horns.profiles import DATA, horn_names, load_horn

PROFILES = sorted(DATA.glob("*.toml"))
SOURCES = tomllib.loads((DATA.parents[1] / "sources.toml").read_text(encoding="utf-8"))


def read(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def tables(value: Any) -> Iterator[dict[str, Any]]:
    """Every table below the top of a profile."""
    if isinstance(value, dict):
        yield value
        for inner in value.values():
            yield from tables(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from tables(inner)


def test_one_file_for_each_name() -> None:
    assert {path.stem for path in PROFILES} == set(horn_names())
    assert all(read(path)["name"] == path.stem for path in PROFILES)


@pytest.mark.parametrize("path", PROFILES, ids=lambda path: path.stem)
def test_every_number_has_an_origin(path: Path) -> None:
    inner = [table for key, value in read(path).items() if key != "schema" for table in tables(value)]
    numbered = [
        table for table in inner
        if any(isinstance(value, (int, float)) and not isinstance(value, bool) for value in table.values())
    ]
    assert len(numbered) >= 5
    for table in numbered:
        assert table.get("kind") in ("cited", "derived", "judged"), table
        if table["kind"] == "cited":
            assert table["source"] in SOURCES
        else:
            assert table["why"], table
        assert table.get("source", "S01") in SOURCES


def test_derived_numbers_come_out_again() -> None:
    derived = {
        (path.stem, key) for path in PROFILES for key in ("tube", "slide")
        if read(path).get(key, {}).get("kind") == "derived"
    }
    tenor, alto = load_horn("tenor"), load_horn("alto")
    valved = {name for name in horn_names() if load_horn(name).family == "valves"}
    assert derived == {("alto", "tube"), ("alto", "slide"), *((name, "tube") for name in valved)}
    fourth = 2 ** (-5 / 12)
    assert alto.tube_mm == pytest.approx(tenor.tube_mm * fourth, abs=0.1)
    assert alto.slide_end_mm == pytest.approx(tenor.slide_end_mm * fourth, abs=0.5)
    assert all(load_horn(name).tube_mm == tenor.tube_mm for name in valved)


def test_derived_combinations_follow_the_rule_they_name() -> None:
    # From D2 down the combination is that of the note a half step lower; S16's for 9 and 10 semitones.
    printed = {entry.down: entry for entry in load_horn("euphonium-4").printed}
    compensating = {entry.down: entry.valves for entry in load_horn("euphonium-4-compensating").printed}
    derived = [down for down, entry in printed.items() if entry.evidence.kind == "derived"]
    assert derived == [8, 9]
    assert [printed[down].valves for down in derived] == [compensating[down + 1] for down in derived]


def test_horns_that_share_a_part_share_its_numbers() -> None:
    tenor = load_horn("tenor")
    for name in ("tenor-f", "bass-single", "bass-independent", "bass-dependent"):
        horn = load_horn(name)
        assert (horn.tube_mm, horn.slide_end_mm) == (tenor.tube_mm, tenor.slide_end_mm)
        assert horn.loops[0].share == load_horn("tenor-f").loops[0].share
        assert horn.offsets == load_horn("tenor-f").offsets
