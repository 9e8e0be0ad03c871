"""What real horns do, beside what a profile says: ranges, their origin, one measured place."""

import json

import pytest

from analyzer.horns.candidates import candidates, position_place_mm
from analyzer.horns.profiles import load_horn
from analyzer.plan.player import Player, player_of, read_player
from analyzer.problem import Unreadable
from analyzer.report.typical import basis, cents_said, slide_said
from analyzer.tuning.calibrate import parse_measured
from analyzer.tuning.sheet import sheet
from analyzer.tuning.typical import published_sevenths, seventh_mm, spreads, typical_cents
from tests.commands.test_map import SAMPLES, run

MINE = """note,position,mm,cents
Bb2,1,0,1
F3,1,0,2
Bb3,1,0,-1
D4,1,0,4
D4,1,0,6
F4,1,0,3
Bb4,1,0,-2
"""


def test_the_fifth_partial_of_trombones_is_a_range() -> None:
    """The fifth partial of the series is 13.7 cents flat (S11); measured trombones were told up to 13 sharp."""
    (fifth,) = spreads("slide")
    assert (fifth.partial, fifth.low, fifth.high) == (5, -14, 13)
    assert fifth.evidence.kind == "judged"
    assert "second hand" in fifth.stands_on
    horn = load_horn("tenor")
    first = next(choice for choice in candidates(horn, 62) if choice.label == "1")
    low, high = typical_cents(horn, first) or (0.0, 0.0)
    assert (round(low), round(high)) == (-14, 13)
    out = next(choice for choice in candidates(horn, 62) if choice.label == "4")
    assert typical_cents(horn, out) is None, "a slide that is out goes where the note is in tune"


def test_cents_are_those_of_the_series_until_a_horn_is_read(tmp_path) -> None:  # type: ignore[no-untyped-def]
    horn = load_horn("tenor")
    assert basis(horn) == "harmonic series"
    said = cents_said([horn])
    assert all(word in said for word in ("harmonic series", "14 cents flat", "13 cents sharp", "not given", "judged"))
    readings, mine = tmp_path / "read.csv", tmp_path / "mine.toml"
    readings.write_text(MINE, encoding="utf-8")
    assert run("tune", "fit", readings, "--horn", "tenor", "-o", mine).returncode == 0
    own = load_horn(str(mine))
    assert basis(own) == "your horn"
    assert "your horn" in cents_said([own])
    first = next(choice for choice in candidates(own, 62) if choice.label == "1")
    assert typical_cents(own, first) is None
    chart = json.loads(run("chart", mine, "--format", "json").stdout)
    assert chart["cents"]["from"] == "your horn"


def test_the_sheet_goes_to_the_twelfth_partial() -> None:
    """Partials of a horn in B flat (any textbook): 2 B flat 2, 3 F 3, 4 B flat 3, 5 D 4, 6 F 4, 7 A flat 4, 8 B flat 4,
    9 C 5, 10 D 5, 12 F 5; the 11th lies between E flat and E and can be read as either."""
    rows = [line.split(",") for line in sheet(load_horn("tenor")).splitlines() if not line.startswith("#")]
    assert [row[0] for row in rows if row[1] == "1"] == [
        "Bb2", "F3", "Bb3", "D4", "F4", "Ab4", "Bb4", "C5", "D5", "F5"]


def test_every_row_of_the_sheet_can_be_read_back(tmp_path) -> None:  # type: ignore[no-untyped-def]
    for name in ("tenor-f", "euphonium-4-compensating", "bass-independent"):
        filled = tmp_path / f"{name}.csv"
        head, *rows = [line for line in sheet(load_horn(name)).splitlines() if not line.startswith("#")]
        # What a tuner would show of the seventh partial: 31 cents flat (S11).
        filled.write_text("\n".join([head, *(f"{line}{-31 if line.startswith('Ab4,1') else 0}" for line in rows)]),
                          encoding="utf-8")
        done = run("tune", "fit", filled, "--horn", name, "--format", "json")
        assert done.returncode == 0, done.stderr
        assert {12, 10, 9} <= {row["partial"] for row in json.loads(done.stdout)["readings"]}


def test_published_sevenths() -> None:
    """23 inches (S08), about 60 cm (S04), and the chart that the profiles follow (S09)."""
    tenor = load_horn("tenor")
    assert published_sevenths(tenor) == (584, 613)
    assert published_sevenths(load_horn("alto")) is None
    assert seventh_mm(tenor) == pytest.approx(613, abs=0.5)
    assert pytest.approx(584, abs=0.5) == 23 * 25.4


def test_one_measured_place_moves_every_position(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """A tube is stretched in proportion: seventh at 584 in place of 613 mm, and every place by the same share."""
    tenor = load_horn("tenor")
    player = player_of({"measured": "E3 7 584mm"})
    own = player.own(tenor)
    assert own.name == tenor.name
    for position in range(2, 8):
        share = position_place_mm(own, (), position) / position_place_mm(tenor, (), position)
        assert share == pytest.approx(584 / 613, abs=0.005)
    assert slide_said([tenor]).count("measured = ") == 1
    assert slide_said([own]) == ""
    assert player.own(load_horn("euphonium-4")) == load_horn("euphonium-4")
    assert player.own(load_horn("alto")) == load_horn("alto"), "an alto has places of its own"
    file = tmp_path / "player.toml"
    file.write_text('[player]\nmeasured = "E3 7 584mm"\n', encoding="utf-8")
    assert read_player(file).measured == parse_measured("E3 7 584 mm")
    data = json.loads(run("map", SAMPLES / "quiet-chorale-trombones.mxl", "--player", file, "--format", "json").stdout)
    assert {line["slide"]["measured"] for line in data["lines"]} == {True}
    assert data["lines"][0]["slide"]["seventh_mm"] == pytest.approx(584, abs=0.5)
    plain = run("map", SAMPLES / "quiet-chorale-trombones.mxl").stdout
    assert "Slide: not measured" in plain
    assert "584 to 613" in " ".join(plain.split())
    assert "not measured" not in run("map", SAMPLES / "quiet-chorale-trombones.mxl", "--player", file).stdout


@pytest.mark.parametrize("told", ["seventh", "E3 7", "E3 7 5840mm"])
def test_a_wrong_measurement_is_one_clear_line(told: str, tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = tmp_path / "player.toml"
    file.write_text(f'[player]\nmeasured = "{told}"\n', encoding="utf-8")
    done = run("map", SAMPLES / "quiet-chorale-trombones.mxl", "--player", file)
    assert done.returncode == 1
    assert "5840 mm" in done.stderr or "measured is" in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1


def test_nothing_told_is_the_profile() -> None:
    assert Player().own(load_horn("tenor")) is load_horn("tenor")
    with pytest.raises(Unreadable):
        player_of({"measured": 7})
