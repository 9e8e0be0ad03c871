"""Every choice for a pitch against a slide that is moved through its whole length, and the order of choices."""

from math import log2

import pytest

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import (
    DEFAULT_CEILING_MIDI,
    candidates,
    chart_choice,
    position_place_mm,
    positions,
    sounding_range,
    states,
)
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import DATA, horn_from_text, horn_names, load_horn

SLIDES = [name for name in horn_names() if load_horn(name).family == "slide"]
VALVES = [name for name in horn_names() if load_horn(name).family == "valves"]


def whole_range(horn: Horn) -> range:
    low, high = sounding_range(horn)
    return range(low, high + 1)


def tube_by_hand(horn: Horn, held: tuple[str, ...]) -> float:
    """Tube over the open tube, from the tuning that the profiles state, without the code of the model."""
    fourth = 2 ** (505 / 1200)
    if horn.name == "bass-dependent" and held == ("T", "S"):
        return float(fourth * 2 ** (3 / 12))
    return float(1 + (fourth - 1) * ("T" in held) + (2 ** (4 / 12) - 1) * ("S" in held))


def offset_by_hand(held: tuple[str, ...], partial: int) -> float:
    return -12.0 if held == ("T",) and partial <= 2 else 0.0


STATES: dict[str, list[tuple[str, ...]]] = {
    "alto": [()], "tenor": [()], "tenor-f": [(), ("T",)], "bass-single": [(), ("T",)],
    "bass-independent": [(), ("T",), ("S",), ("T", "S")], "bass-dependent": [(), ("T",), ("T", "S")],
}


@pytest.mark.parametrize("name", SLIDES)
def test_moving_the_slide_finds_the_same_choices(name: str) -> None:
    # Frequency is partial times fundamental over tube; the slide moves in steps of one millimetre.
    horn = load_horn(name)
    assert list(states(horn)) == STATES[name]
    steps = range(int(horn.slide_end_mm) + 1)
    for held in STATES[name]:
        for partial in range(1, 13):
            heard = [
                100 * horn.fundamental_midi + offset_by_hand(held, partial)
                + 1200 * log2(partial / (tube_by_hand(horn, held) + 2 * out / horn.tube_mm)) for out in steps
            ]
            for midi in whole_range(horn):
                best = min(steps, key=lambda out: abs(heard[out] - 100 * midi))
                error = heard[best] - 100 * midi
                at_stop = best == 0 and -40 <= error < 0
                found = [c for c in candidates(horn, midi) if c.valves == held and c.partial == partial]
                if at_stop or (abs(error) < 0.6 and best < steps[-1] - 1):
                    assert len(found) == 1, (held, partial, midi)
                    assert found[0].extension_mm == pytest.approx(best, abs=0.51)
                    assert found[0].off_cents == pytest.approx(error if at_stop else 0, abs=0.01)
                elif abs(error) > 2:
                    assert found == [], (held, partial, midi, error)


@pytest.mark.parametrize("name", horn_names())
def test_one_usual_choice_where_there_is_any(name: str) -> None:
    horn = load_horn(name)
    for midi in whole_range(horn):
        choices, usual = candidates(horn, midi), chart_choice(horn, midi)
        assert (usual is None) == (not choices)
        assert choices == () or choices[0] == usual
        assert len({(c.valves, c.partial) for c in choices}) == len(choices)
        assert all(c.midi == midi for c in choices)
    assert candidates(horn, whole_range(horn)[0] - 1) == ()
    assert candidates(horn, whole_range(horn)[-1] + 1) == ()


@pytest.mark.parametrize("name", SLIDES)
def test_no_two_choices_share_a_label(name: str) -> None:
    horn = load_horn(name)
    for midi in whole_range(horn):
        labels = [c.label.rstrip("#b") for c in candidates(horn, midi)]
        assert len(set(labels)) == len(labels)


@pytest.mark.parametrize("name", SLIDES)
def test_slide_choices_stay_on_the_slide_and_in_their_scale(name: str) -> None:
    horn = load_horn(name)
    for midi in whole_range(horn):
        for choice in candidates(horn, midi):
            assert choice.extension_mm is not None
            assert choice.position is not None
            assert 0 <= choice.extension_mm <= horn.slide_end_mm
            assert 1 <= choice.position <= positions(horn, choice.valves)
            assert -40 <= choice.off_cents <= 0
            assert choice.off_cents == 0 or choice.extension_mm == 0
            assert (choice.advice is not None) == (choice.off_cents < -15)
            # Beyond the place before it, whatever the partial.
            if choice.position > 1:
                assert choice.extension_mm > position_place_mm(horn, choice.valves, choice.position - 1)


@pytest.mark.parametrize("name", VALVES)
def test_valve_choices_have_no_slide_and_stay_within_their_limits(name: str) -> None:
    horn = load_horn(name)
    for midi in whole_range(horn):
        for choice in candidates(horn, midi):
            assert (choice.position, choice.extension_mm, choice.shade) == (None, None, "")
            assert -40 <= choice.off_cents <= 80
            assert (choice.advice is not None) == (abs(choice.off_cents) > 17)
            assert list(choice.valves) == sorted(choice.valves)


def labelled(horn: Horn, midi: int, label: str) -> Candidate:
    return next(c for c in candidates(horn, midi) if c.label == label)


def test_shades_follow_from_twenty_cents() -> None:
    tenor = load_horn("tenor")
    # Partial 7 is 31.2 cents flat, so the slide stands in; partial 5 is 13.7 flat and bears no sign.
    assert labelled(tenor, 67, "2#").partial == 7
    assert labelled(tenor, 60, "3").partial == 5
    shades = {(c.partial, c.shade) for midi in whole_range(tenor) for c in candidates(tenor, midi) if c.extension_mm}
    assert {partial for partial, shade in shades if shade == "#"} == {7, 11}
    assert {shade for _, shade in shades} == {"", "#"}


def test_sharp_partials_go_out_from_first() -> None:
    # Partial 3 is 1.955 cents sharp: 1480.1 mm * (2 ** (1.955 / 1200) - 1) is 1.67 mm.
    f3 = labelled(load_horn("tenor"), 53, "1")
    assert f3.extension_mm == pytest.approx(1.67, abs=0.01)
    assert f3.off_cents == 0


def test_the_ceiling_moves_the_usual_choice_and_not_the_list() -> None:
    horn = load_horn("tenor-f")

    def label(midi: int, ceiling: int | None) -> str | None:
        choice = chart_choice(horn, midi, ceiling)
        return choice.label if choice else None

    assert DEFAULT_CEILING_MIDI == 48
    assert [label(48, ceiling) for ceiling in (48, None, 47)] == ["T1", "T1", "6"]
    assert [label(47, ceiling) for ceiling in (48, None, 46)] == ["T2", "T2", "7"]
    # Notes that only the attachment has keep it under any ceiling.
    assert label(36, 30) == "T6"
    # Above the ceiling the attachment's choices are possible all the same.
    assert "T4" in {c.label for c in candidates(horn, 62)}


def test_usual_comes_first_then_what_is_in_tune() -> None:
    choices = candidates(load_horn("bass-independent"), 41)
    assert [c.label for c in choices] == ["6", "S2", "TS5", "T1"]
    assert [bool(c.advice) for c in choices] == [False, False, False, True]


def test_positions_and_their_places() -> None:
    bass = load_horn("bass-independent")
    assert [positions(bass, held) for held in states(bass)] == [7, 6, 6, 5]
    assert position_place_mm(bass, (), 1) == 0
    assert position_place_mm(bass, ("T",), 1) == 0
    # By hand: 1480.1 mm * (2 ** (6 / 12) - 1).
    assert position_place_mm(bass, (), 7) == pytest.approx(613.08, abs=0.01)
    # Equal temperament puts T6 at 655.9 mm; the slide ends before.
    assert position_place_mm(bass, ("T",), 6) == 650
    for bad in (0, 8):
        with pytest.raises(ValueError, match="has no position"):
            position_place_mm(bass, (), bad)
    with pytest.raises(ValueError, match="no valve state"):
        positions(load_horn("tenor"), ("T",))
    assert positions(load_horn("euphonium-3")) == 0


HIGHEST_FLAT = {"tenor-f": 16, "bass-single": 16, "bass-independent": 8, "bass-dependent": 14}  # as the profiles say


@pytest.mark.parametrize(("name", "flat", "offset"), [
    (name, *tuning) for name, most in HIGHEST_FLAT.items() for tuning in ((4, -12), (most, -12), (5, -19), (5, -11))
])
def test_attachment_tuning_within_what_is_judged_possible(name: str, flat: float, offset: float) -> None:
    assert load_horn(name).loops[0].evidence.range.startswith(f"flat 4 to {HIGHEST_FLAT[name]}:")
    text = (DATA / f"{name}.toml").read_text(encoding="utf-8")
    text = text.replace("flat_cents = 5\n", f"flat_cents = {flat}\n").replace("cents = -12\n", f"cents = {offset}\n")
    horn = horn_from_text(text, "tuned.toml")
    low = whole_range(load_horn(name))[0]
    usual = [chart_choice(horn, midi) for midi in range(low, 49)]
    assert [c and c.label for c in usual] == [
        c and c.label for c in (chart_choice(load_horn(name), midi) for midi in range(low, 49))
    ]
    assert labelled(horn, 41, "T1").advice
    assert labelled(horn, 48, "T1").advice is None
    assert "T6" in {c.label for c in candidates(horn, 36)}
