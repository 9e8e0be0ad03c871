"""What is published of players: height for age, arms over height, ranges by grade; against what we take of a player."""

import pytest

from analyzer.horns.candidates import position_place_mm
from analyzer.horns.profiles import load_horn
from analyzer.pitch import parse_pitch
from analyzer.plan.player import ARM_SHARE, player_of, reach_from_height_mm
from analyzer.review.limits import HIGH_SEMITONES, LOW_SEMITONES
from tests.published.horn_tables import rows

HEIGHTS = rows("height_for_age_s27.csv")
LIMBS = rows("limb_over_height_s28.csv")
GRADES = rows("grade_ranges_s25.csv")


def arm(row: dict[str, str]) -> float:
    return float(row["upper_arm"]) + float(row["forearm_to_thumb"])


def test_sources_are_whole() -> None:
    assert (len(HEIGHTS), len(LIMBS), len(GRADES)) == (11, 4, 4)


def test_the_arm_is_the_published_one_for_school_ages_and_within_a_twentieth_for_all() -> None:
    school = [row for row in LIMBS if row["ages"] in ("5-10", "11-20")]
    assert [arm(row) for row in school] == pytest.approx([ARM_SHARE] * 2)
    for row in LIMBS:
        assert arm(row) == pytest.approx(ARM_SHARE, rel=0.05)


@pytest.mark.parametrize("row", [row for row in HEIGHTS if row["age_years"] in ("9", "10", "11")],
                         ids=lambda row: row["age_years"])
@pytest.mark.parametrize("who", ["boys_cm", "girls_cm"])
def test_average_fourth_and_fifth_graders_reach_six_of_seven_positions(row: dict[str, str], who: str) -> None:
    """J. Wright, "Little trombonists: can it work for them?" (2013, jwright781.blogspot.com); heights: WHO 2007."""
    reach = reach_from_height_mm(float(row[who]))
    tenor = load_horn("tenor")
    assert position_place_mm(tenor, (), 6) <= reach < position_place_mm(tenor, (), 7)


def test_grown_players_of_median_height_reach_seventh() -> None:
    """Common practice, no source: the straight tenor is made for seven positions. Heights at 18: WHO 2007."""
    seventh = position_place_mm(load_horn("tenor"), (), 7)
    grown = next(row for row in HEIGHTS if row["age_years"] == "18")
    assert seventh < reach_from_height_mm(float(grown["girls_cm"])) < reach_from_height_mm(float(grown["boys_cm"]))


@pytest.mark.parametrize("row", HEIGHTS, ids=lambda row: row["age_years"])
def test_reach_by_height_stays_below_the_arm_at_every_age(row: dict[str, str]) -> None:
    for who in ("boys_cm", "girls_cm"):
        height_cm = float(row[who])
        assert 0.5 < reach_from_height_mm(height_cm) / (ARM_SHARE * height_cm * 10) < 0.95


def test_reach_grows_with_every_year_and_is_never_taken_for_measured() -> None:
    reaches = [reach_from_height_mm(float(row["boys_cm"])) for row in HEIGHTS]
    assert reaches == sorted(reaches)
    for row in HEIGHTS:
        assert player_of({"height_cm": float(row["girls_cm"])}).reach_estimated


@pytest.mark.parametrize("row", GRADES, ids=lambda row: row["grade"])
def test_nothing_of_a_young_band_s_range_is_called_low_or_high(row: dict[str, str]) -> None:
    """Grades 0.5 to 2: stretches that tire begin outside the published range of each."""
    pedal = load_horn("tenor").fundamental_midi
    assert pedal + LOW_SEMITONES < parse_pitch(row["low"]).midi
    assert parse_pitch(row["high"]).midi < pedal + HIGH_SEMITONES
