"""Slide positions against published tables (sources in the first lines of each CSV)."""

from dataclasses import replace

import pytest

from analyzer.horns.candidates import (
    candidates,
    chart_choice,
    position_place_mm,
    positions,
    sounding_range,
)
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.horns.tubing import extension_mm, loop_share, nominal_semitones, partial_deviation_cents, state
from analyzer.pitch import parse_pitch
from tests.published.horn_tables import rows

OEIS = rows("oeis_a309909.csv")
WIKIBOOKS = rows("wikibooks_positions.csv")
CHART = rows("slide_chart_s09.csv")
SLIDE_HORNS = ("alto", "tenor", "tenor-f", "bass-single", "bass-independent", "bass-dependent")
F_SHARE_S09 = 0.3363  # the valve loop that S09's F rows fit, over the open tube (derived from its numbers)


def usual(horn: Horn, note: str) -> str | None:
    choice = chart_choice(horn, parse_pitch(note).midi)
    return choice.label if choice else None


def test_the_tables_are_whole() -> None:
    # The sequence's first 42 terms: seven pedals, then E2 to D5.
    assert [row["zone"] for row in OEIS] == ["pedal"] * 7 + ["core"] * 35
    assert (len(WIKIBOOKS), len(CHART)) == (35, 108)


@pytest.mark.parametrize("row", OEIS, ids=lambda row: row["note"])
def test_usual_position_of_the_straight_tenor(row: dict[str, str]) -> None:
    choice = chart_choice(load_horn("tenor"), int(row["midi"]))
    assert choice is not None
    assert choice.position == int(row["position"])


@pytest.mark.parametrize("reach", [14, 20, 31])
def test_any_lip_reach_that_the_sequence_allows_gives_it(reach: float) -> None:
    # The sequence takes D4 in 1 (13.7 cents flat) and refuses A flat 4 in 1 (31.2): all between is left to judge.
    horn = load_horn("tenor")
    horn = replace(horn, name=f"reach-{reach}", lip_reach=replace(horn.lip_reach, value=float(reach)))
    chosen = [chart_choice(horn, int(row["midi"])) for row in OEIS]
    assert [c and c.position for c in chosen] == [int(row["position"]) for row in OEIS]


@pytest.mark.parametrize("reach", [13, 32])
def test_a_lip_reach_outside_contradicts_the_sequence(reach: float) -> None:
    horn = load_horn("tenor")
    horn = replace(horn, name=f"reach-{reach}", lip_reach=replace(horn.lip_reach, value=float(reach)))
    chosen = [chart_choice(horn, int(row["midi"])) for row in OEIS]
    assert [c and c.position for c in chosen] != [int(row["position"]) for row in OEIS]


@pytest.mark.parametrize("row", WIKIBOOKS, ids=lambda row: f"{row['note']}-{row['position']}")
def test_main_and_alternate_positions_are_in_tune(row: dict[str, str]) -> None:
    found = {choice.label: choice for choice in candidates(load_horn("tenor"), int(row["midi"]))}
    assert found[row["position"]].advice is None


def test_f_attachment_replaces_sixth_and_seventh() -> None:
    horn = load_horn("tenor-f")
    for row in rows("wikibooks_f_attachment.csv"):
        # C3 and B2, partial 3: what is in 6th and 7th open is in first and second with the attachment.
        midi = 46 + 7 - int(row["replaces_open_position"]) + 1
        assert {row["replaces_open_position"], f"T{row['valve_position']}"} <= {c.label for c in candidates(horn, midi)}


@pytest.mark.parametrize("row", CHART, ids=lambda row: f"{row['valve']}-{row['note']}-{row['partial']}")
def test_extensions_of_a_published_chart(row: dict[str, str]) -> None:
    partial, midi = int(row["partial"]), int(row["midi"])
    lowered = 100 * nominal_semitones(partial) + partial_deviation_cents(partial) - 100 * (midi - 34)
    ratio = 1 + F_SHARE_S09 * (row["valve"] == "F")
    found = extension_mm(lowered, ratio=ratio, tube_mm=load_horn("tenor").tube_mm)
    assert found == pytest.approx(10 * float(row["slide_cm_from_1st"]), abs=0.51)  # printed to 1 mm


def s09_horn() -> Horn:
    """The tenor with F attachment with the loop of S09, and no tendencies of partials."""
    horn = load_horn("tenor-f")
    return replace(horn, name="s09", loops=(replace(horn.loops[0], share=F_SHARE_S09),), offsets=())


def test_candidates_stand_where_the_published_chart_has_them() -> None:
    horn, checked = s09_horn(), 0
    for row in CHART:
        place = 10 * float(row["slide_cm_from_1st"])
        if int(row["partial"]) > 12 or not 0 <= place <= horn.slide_end_mm:
            continue
        valves = ("T",) if row["valve"] == "F" else ()
        found = [
            c for c in candidates(horn, int(row["midi"])) if (c.partial, c.valves) == (int(row["partial"]), valves)
        ]
        assert len(found) == 1, row
        assert found[0].extension_mm == pytest.approx(place, abs=0.51)
        checked += 1
    assert checked == 48  # rows of the table on partials 7 to 12, from 0 to 65 cm


@pytest.mark.parametrize("row", rows("harmonic_deviation_s11.csv"), ids=lambda row: row["partial"])
def test_deviation_of_partials(row: dict[str, str]) -> None:
    partial = int(row["partial"])
    assert nominal_semitones(partial) == int(row["semitones_above_fundamental"])
    # The page prints a tenth of a cent, but 5 for partial 17 (4.96) and 2 for partials 3, 6, 12 (1.96).
    assert partial_deviation_cents(partial) == pytest.approx(float(row["cents_page"]), abs=0.051)


def test_slide_distances_of_an_old_tutor_book() -> None:
    # Inches of S08 against 2960 mm of tube: the book's horn is shorter, as 269 to 296 cm by the sources allow.
    tenor = load_horn("tenor")
    for row in rows("slide_inches_s08.csv"):
        place = position_place_mm(tenor, (), int(row["position"]))
        clean = row["basis"] == "published"
        assert 25.4 * float(row["inches_from_1st"]) == pytest.approx(place, rel=0.05 if clean else 0.08)


def test_tube_grows_as_published_from_first_to_seventh() -> None:
    # "Tenorposaune: Tonerzeugung", Vienna Symphonic Library (S04): 2.90 m to 4.10 m, so the arm moves about 60 cm.
    tenor = load_horn("tenor")
    seventh = position_place_mm(tenor, (), 7)
    assert (tenor.tube_mm + 2 * seventh) / tenor.tube_mm == pytest.approx(4.10 / 2.90, rel=0.002)
    assert seventh == pytest.approx(600, rel=0.03)


def test_f_attachment_tubing_and_spacing() -> None:
    # S12, "Types of trombone: F attachment", liquisearch.com: about 1 m of tubing.
    # S13, "Valve attachment in a sentence", englishpedia.net: a third longer, and so each step.
    horn = load_horn("tenor-f")
    assert horn.loops[0].share * horn.tube_mm == pytest.approx(1000, rel=0.02)
    for low in range(2, 5):
        held = position_place_mm(horn, ("T",), low + 1) - position_place_mm(horn, ("T",), low)
        plain = position_place_mm(horn, (), low + 1) - position_place_mm(horn, (), low)
        assert held / plain == pytest.approx(4 / 3, rel=0.005)


def test_six_positions_with_the_attachment_and_low_c_but_no_low_b() -> None:
    # S56, "The trombone trigger makes it longer", playingbrass.com: only six fit; low C, not B natural.
    horn = load_horn("tenor-f")
    assert positions(horn, ("T",)) == 6
    assert positions(horn) == 7
    assert [usual(horn, note) for note in ("E2", "Eb2", "D2", "C#2", "C2")] == ["T2", "T3", "T4", "T5", "T6"]
    assert candidates(horn, parse_pitch("B1").midi) == ()
    c2 = chart_choice(horn, parse_pitch("C2").midi)
    assert c2 is not None
    assert c2.extension_mm is not None
    assert 635 <= c2.extension_mm <= 650


def test_tuning_decides_whether_low_c_fits() -> None:
    # A true fourth puts C2 at 661.5 mm, by hand: 1480.1 mm * (2 ** (10 / 12) - 2 ** (5 / 12)).
    horn = load_horn("tenor-f")
    true = replace(horn, name="true-f", loops=(replace(horn.loops[0], share=loop_share(5)),), offsets=())
    assert candidates(true, parse_pitch("C2").midi) == ()
    assert extension_mm(1000, ratio=2 ** (5 / 12), tube_mm=2960.2) == pytest.approx(661.5, abs=0.1)


def test_low_b_with_two_valves() -> None:
    # S14, "Bass trombone", indianmusicschool.com: F and G flat, both D; common practice, no source: B1 is TS4.
    horn = load_horn("bass-independent")
    assert [usual(horn, note) for note in ("Eb2", "D2", "C#2", "C2", "B1")] == ["T3", "TS1", "TS2", "TS3", "TS4"]
    assert state(horn, ("S",)).cents == pytest.approx(400)
    # The loops add up to a little more than a D: 2 ** (5 / 12) + 2 ** (4 / 12) - 1 is 808 cents, T's tuning 4 more.
    assert state(horn, ("T", "S")).semitones == 8
    assert 800 < state(horn, ("T", "S")).cents < 815


@pytest.mark.parametrize(("instrument", "name"), [
    ("tenor trombone", "tenor"), ("tenor trombone, F attachment", "tenor-f"), ("bass trombone", "bass-independent"),
    ("euphonium", "euphonium-4-compensating"),
])
def test_published_ranges_have_choices(instrument: str, name: str) -> None:
    ranges = [row for row in rows("ranges.csv") if row["instrument"] == instrument and "-" not in row["high"]]
    assert ranges
    horn = load_horn(name)
    for row in ranges:
        low, high = parse_pitch(row["low"]).midi, parse_pitch(row["high"]).midi
        assert [midi for midi in range(low, high + 1) if not candidates(horn, midi)] == [], row


def test_the_straight_tenor_ends_and_gaps_as_published() -> None:
    # S22: pedals E1 to B flat 1, then E2; S04: partial 12, F5, for very good players. Gap: common practice.
    horn = load_horn("tenor")
    low, high = sounding_range(horn)
    assert (low, high) == (parse_pitch("E1").midi, parse_pitch("F5").midi)
    assert [midi for midi in range(low, high + 1) if not candidates(horn, midi)] == list(range(35, 40))


def test_b_flat_scale_in_every_beginners_book() -> None:
    # Common practice, no source.
    scale = ("Bb2", "C3", "D3", "Eb3", "F3", "G3", "A3", "Bb3")
    assert [usual(load_horn("tenor"), note) for note in scale] == ["1", "6", "4", "3", "1", "4", "2", "1"]


def test_attachment_as_common_practice_has_it() -> None:
    # Common practice, no source.
    for name in ("tenor-f", "bass-single", "bass-independent", "bass-dependent"):
        horn = load_horn(name)
        assert [usual(horn, note) for note in ("F2", "E2", "C3", "B2", "Bb1", "F#1")] == [
            "6", "T2", "T1", "T2", "1", "5",
        ], name


def test_f2_in_first_of_the_attachment_is_flat_and_c3_is_not() -> None:
    # Common practice, no source: F2 speaks 10 to 30 cents flat there; C3 is usable.
    horn = load_horn("tenor-f")
    f2 = next(c for c in candidates(horn, 41) if c.label == "T1")
    c3 = next(c for c in candidates(horn, 48) if c.label == "T1")
    assert -30 <= f2.off_cents <= -10
    assert f2.advice
    assert abs(c3.off_cents) < 5
    assert c3.advice is None


@pytest.mark.parametrize(("note", "label"), [
    ("Bb3", "5"), ("D4", "4"), ("F3", "6"), ("A3", "6"), ("C4", "6"), ("G4", "2#"), ("F#4", "3#"), ("F4", "4#"),
])
def test_fast_alternates(note: str, label: str) -> None:
    # Common practice, no source (most rows in S02); F4 in 4: a published diary of Mozart's Tuba mirum.
    assert label in {c.label for c in candidates(load_horn("tenor"), parse_pitch(note).midi) if c.advice is None}


@pytest.mark.parametrize("name", SLIDE_HORNS)
@pytest.mark.parametrize("end", [640.0, 660.0])
def test_usual_choices_hold_for_any_slide_end_judged_possible(name: str, end: float) -> None:
    horn = load_horn(name)
    assert horn.slide_end is not None
    share = end / 650
    other = replace(
        horn, name=f"{name}-{end}", slide_end=replace(horn.slide_end, value=horn.slide_end.value * share)
    )
    low, high = sounding_range(horn)
    for midi in range(low, high + 1):
        one, two = chart_choice(horn, midi), chart_choice(other, midi)
        assert (one and one.label) == (two and two.label), midi


def test_all_names_load() -> None:
    assert [load_horn(name).name for name in horn_names()] == list(horn_names())
