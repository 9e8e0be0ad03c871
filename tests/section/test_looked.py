"""A verdict says what it looked at, what nobody told it, and what a director would object to, in the same breath."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.cli import cli
from analyzer.report.fit.document import fit_document
from analyzer.report.fit.page import section_html
from analyzer.report.fit.text import fit_text, verdict_said
from analyzer.section.fit import SectionFit, fit
from tests.section.test_fit import member, section, small

HIGH = {"Trombone": ["Bb3"] * 6 + ["Bb4"] * 2}


def answer(parts: dict[str, list[str]], *members: object) -> SectionFit:
    return fit(small(parts), section(*members))  # type: ignore[arg-type]


def everywhere(found: SectionFit) -> list[str]:
    """The verdict where a user meets it: text, page, JSON."""
    page = section_html(found, lambda seat, first, last: "")
    return [" ".join(fit_text(found).split()), page, fit_document(found)["said"]]


def test_a_section_of_horns_alone_is_not_said_to_suit_as_players() -> None:
    """A part up to B flat 4 and two players of whom the file tells nothing but the horn."""
    found = answer(HIGH, member("Ann", "tenor-f"))
    document = fit_document(found)
    assert (document["verdict"], document["about"]) == ("suits", "horns")
    seat = document["assignments"][0]
    assert seat["checked"] == ["horn"]
    assert seat["not_told"] == ["range", "reach", "speed", "states", "clefs", "endurance"]
    for said in everywhere(found):
        assert "as far as the horns go: the section file gives neither range nor reach for Ann." in said


def test_one_player_who_told_nothing_makes_it_about_horns() -> None:
    two = {"Trombone 1": ["F3"] * 4, "Trombone 2": ["Bb2"] * 4}
    told = member("Ann", "tenor", low="E2", high="F4", outermost_position=6)
    assert answer(two, told, member("Ben", "tenor")).about == "horns"
    both = answer(two, told, member("Ben", "tenor", low="E2", high="D4"))
    assert both.about == "horns and players"
    assert "as far as the horns go" not in verdict_said(both)
    assert "reach (Ben)" in verdict_said(both)


@pytest.mark.parametrize(("told", "item"), [
    ({"low": "E2", "high": "F4"}, "range"), ({"reach_mm": 500.0}, "reach"), ({"outermost_position": 6}, "reach"),
    ({"max_speed_mm_s": 1500.0}, "speed"), ({"learned": ("T",)}, "states"), ({"cannot": ("T",)}, "states"),
    ({"clefs": ("bass",)}, "clefs"), ({"endurance_s": 600.0}, "endurance")])
def test_what_is_told_is_checked_and_only_that(told: dict[str, object], item: str) -> None:
    seat = answer({"Trombone": ["F3"] * 4}, member("Ann", "tenor-f", **told)).seats[0].looked
    assert seat.checked == ("horn", item)
    assert item not in seat.not_told


def test_half_a_range_is_said_to_be_half() -> None:
    seat = answer({"Trombone": ["F3"] * 4}, member("Ann", "tenor-f", low="E2")).seats[0].looked
    assert "range" in seat.checked
    assert "highest note" in seat.not_told


def test_reach_is_no_question_on_valves() -> None:
    seat = answer({"Euphonium": ["F3"] * 4}, member("Eve", "euphonium-4")).seats[0].looked
    assert "reach" not in (*seat.checked, *seat.not_told)


SMALL_SECTION = {"Trombone 1": ["F3"] * 4, "Trombone 2": ["D3"] * 4, "Bass Trombone": ["Bb2"] * 4}
RANGE = {"low": "E1", "high": "F4"}


@pytest.mark.parametrize(("members", "code", "words"), [
    # Three tenors: the bass trombone part has no bass trombone.
    ((("Ann", "tenor"), ("Ben", "tenor"), ("Cy", "tenor")), "no-bass-trombone",
     "Bass Trombone is a bass trombone part, and"),
    # A beginner is not put there, so the part has no player at all.
    ((("Ann", "tenor"), ("Ben", "tenor"), ("Beg", "tenor", "beginner")), "no-bass-trombone",
     "Bass Trombone, a bass trombone part, has no player"),
])
def test_a_bass_trombone_part_without_its_player_is_in_the_verdict(
        members: tuple[tuple[str, ...], ...], code: str, words: str) -> None:
    people = [member(name, horn, **RANGE, **({"level": level[0]} if level else {})) for name, horn, *level in members]
    if code == "no-bass-trombone" and "no player" in words:
        people = people[2:]
    found = answer(SMALL_SECTION, *people)
    assert code in [one.code for one in found.reservations]
    for said in everywhere(found):
        assert words in said


def test_a_bass_trombonist_on_the_first_part_is_in_the_verdict() -> None:
    found = answer({"Trombone 1": ["F3"] * 4}, member("Bo", "bass-independent", **RANGE))
    assert [one.code for one in found.reservations] == ["bass-on-first"]
    for said in everywhere(found):
        assert "Bo, a bass trombonist, plays the first part (Trombone 1)" in said


def test_a_horn_that_is_not_the_kind_of_the_part_is_in_the_verdict() -> None:
    found = answer({"Euphonium": ["F3"] * 4}, member("Eve", "baritone-3", **RANGE))
    assert [(one.code, one.player) for one in found.reservations] == [("not-its-kind", "Eve")]
    for said in everywhere(found):
        assert "Euphonium is a euphonium part, and Eve plays it on a baritone (baritone-3)" in said


def test_who_sits_where_the_parts_ask_has_no_reservation() -> None:
    found = answer(SMALL_SECTION, member("Ann", "tenor", **RANGE), member("Ben", "tenor-f", **RANGE),
                   member("Bo", "bass-independent", **RANGE))
    assert found.reservations == ()
    assert " But " not in verdict_said(found)


def test_on_the_command_line(tmp_path: Path) -> None:
    file = tmp_path / "section.toml"
    file.write_text('[[player]]\nname = "Chair 1"\nhorns = ["tenor-f"]\n', encoding="utf-8")
    music = tmp_path / "high.musicxml"
    music.write_bytes(small(HIGH).xml)
    told = CliRunner().invoke(cli, ["fit", str(music), "--section", str(file), "--format", "json"])
    document = json.loads(told.stdout)
    assert (told.exit_code, document["about"], document["assignments"][0]["checked"]) == (0, "horns", ["horn"])
