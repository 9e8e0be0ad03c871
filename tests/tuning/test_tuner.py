"""Horns fitted to tuner readings: made-up horns with reading noise are found again as surely as the fit says."""

import random
from collections.abc import Mapping
from dataclasses import replace

import pytest

from analyzer.evidence import Evidence
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, sounding_range
from analyzer.horns.horn import Horn, Quantity
from analyzer.horns.profiles import horn_from_text, load_horn
from analyzer.horns.tubing import loop_share, lowered_cents, second_share, state, tube_ratio
from analyzer.pitch import pitch_of
from analyzer.problem import Unreadable
from analyzer.tuning import tuner
from analyzer.tuning.profile_text import profile_text
from analyzer.tuning.readings import read_readings
from analyzer.tuning.retuned import EVERY_PARTIAL, with_loops, with_offset
from analyzer.tuning.tuner import SPREAD, FittedHorn, Unknown, fit

MADE = Evidence(kind="judged", why="made up")
Truth = Mapping[tuple[str, str], float]


def made_up(horn: Horn, rng: random.Random) -> tuple[Horn, dict[tuple[str, str], float]]:
    """A horn off the profile by draws from the stated spreads, built from the formulas of the tube alone."""
    # A profile holds 60 cents at most.
    truth = {("horn", ""): max(-50.0, min(50.0, rng.gauss(0, SPREAD["horn"] / 2)))}
    shares = {loop.name: loop.share for loop in horn.loops}
    loops = []
    for loop in horn.loops:
        cents = truth["loop", loop.name] = rng.gauss(0, SPREAD["loop"])
        on = shares[loop.needs] if loop.needs else 0.0
        alone = lowered_cents((1 + on + loop.share) / (1 + on))
        share, second = loop_share(0, alone + cents, on_share=on), second_share(horn, loop)
        if second:
            cents = truth["second loop", loop.name] = rng.gauss(0, SPREAD["second loop"])
            on = shares[horn.master]
            # Its cents count on the tube it is added to, as the loop's own do.
            second = loop_share(0, lowered_cents((1 + on + loop.share + second) / (1 + on + loop.share)) + cents,
                                on_share=on + loop.share)
        loops.append(replace(loop, share=share, second_share=second or None))
    own = with_loops(horn, loops)
    if horn.family == "slide":
        truth["tube", ""] = rng.gauss(0, SPREAD["tube"] / 2)
        own = replace(own, tube=Quantity(value=horn.tube_mm * (1 + truth["tube", ""] / 100), evidence=MADE))
    own = with_offset(own, EVERY_PARTIAL, truth["horn", ""], MADE)
    for partial in EVERY_PARTIAL:
        truth["partial", str(partial)] = rng.gauss(0, SPREAD["partial"])
        own = with_offset(own, (partial,), truth["partial", str(partial)], MADE)
    return own, truth


def sounds(horn: Horn, choice: Candidate, place_mm: float) -> float:
    """How far a made-up horn lies from the note, worked out from tube and partial. [cents]"""
    tube = tube_ratio(horn, choice.valves) + 2 * place_mm / horn.tube_mm
    partial = state(horn, choice.valves).partial_cents[choice.partial - 1]
    return partial - lowered_cents(tube) - 100 * (choice.midi - horn.fundamental_midi)


def table(profile: Horn, true: Horn, rng: random.Random, count: int, noise: float) -> bytes:
    """A tuner's table: notes and fingerings as the profile knows them, cents as the made-up horn sounds them."""
    low, high = sounding_range(profile)
    # No tuner shows a note by 90 cents: it would show its neighbour.
    pool = [one for midi in range(low, min(high, 70) + 1) for one in candidates(profile, midi)
            if abs(sounds(true, one, round(one.extension_mm or 0.0))) < 80]
    lines = ["note;valves;cents;mm"]
    for one in rng.sample(pool, min(count, len(pool))):
        held = "-".join(one.valves) or "0" if one.position is None else f"{''.join(one.valves)}{one.position}"
        place = round(one.extension_mm or 0.0)
        cents = sounds(true, one, place) + rng.gauss(0, noise)
        mm = "" if one.position is None else f"{place}"
        lines.append(f"{pitch_of(one.midi).name};{held};{cents:.1f};{mm}".replace(".", ","))
    return "\n".join(lines).encode()


def fitted(profile: Horn, data: bytes) -> FittedHorn:
    readings, _ = read_readings(data, "tuner.csv", profile)
    return fit(profile, readings, name="own", origin="tuner.csv")


def covered(names: tuple[str, ...], horns: int, *, count: int, seed: int) -> tuple[int, int, int]:
    """How many intervals held the truth, how many there were, how many readings were called outliers."""
    rng = random.Random(seed)
    inside = total = outliers = 0
    for nth in range(horns):
        profile = load_horn(names[nth % len(names)])
        true, truth = made_up(profile, rng)
        found = fitted(profile, table(profile, true, rng, count, rng.uniform(2, 5)))
        outliers += len(found.outliers)
        truth = as_told(truth, found)
        for one in found.found:
            if one.state != "kept":
                total += 1
                inside += abs(one.change - truth[one.unknown.what, one.unknown.name]) <= one.plus_minus
    return inside, total, outliers


def as_told(truth: Truth, found: FittedHorn) -> dict[tuple[str, str], float]:
    """The truth as a fit tells it: the whole horn with the mean of the partials that sounded."""
    partials = [("partial", one.unknown.name) for one in found.found if one.unknown.what == "partial"]
    mean = sum(truth[key] for key in partials) / len(partials)
    return {**truth, ("horn", ""): truth["horn", ""] + mean, **{key: truth[key] - mean for key in partials}}


ALL = ("euphonium-3", "euphonium-4", "euphonium-3-compensating", "euphonium-4-compensating", "tenor-f",
       "bass-independent", "bass-dependent", "tenor")


def test_made_up_horns_lie_within_the_stated_intervals() -> None:
    inside, total, outliers = covered(ALL, 40, count=36, seed=20)
    assert total > 600
    # 95 per cent are meant. The intervals of one horn go together: twenty horns alone scatter by 2.5 per cent.
    assert 0.90 <= inside / total <= 0.99, f"{inside} of {total}"
    assert outliers <= 3


@pytest.mark.whole
@pytest.mark.parametrize("count", [12, 24, 40])
def test_the_intervals_hold_at_their_rate_over_many_horns(count: int) -> None:
    inside, total, outliers = covered(ALL, 400, count=count, seed=count)
    print(f"{count} readings: {inside / total:.3f} of {total} intervals hold; {outliers / 400:.3f} outliers a fit")
    assert 0.93 <= inside / total <= 0.99
    # A sound set gives an outlier once in a hundred by level; the small ones are never called.
    assert outliers / 400 <= 0.05


def test_without_noise_the_horn_itself_comes_back() -> None:
    profile = load_horn("euphonium-4-compensating")
    rng = random.Random(3)
    true, truth = made_up(profile, rng)
    found = fitted(profile, table(profile, true, rng, 400, 0.0))
    for valves in ((), ("1",), ("1", "2", "3"), ("1", "4"), ("1", "2", "3", "4")):
        ours, theirs = state(found.horn, valves), state(true, valves)
        for partial in (2, 3, 4, 5, 6, 8):
            sounding = ours.partial_cents[partial - 1] - ours.cents
            assert sounding == pytest.approx(theirs.partial_cents[partial - 1] - theirs.cents, abs=0.6)
    first = next(one for one in found.found if one.unknown == Unknown(what="loop", name="1"))
    assert first.change == pytest.approx(truth["loop", "1"], abs=0.6)
    assert found.noise_cents < 1.0


def test_the_fitted_horn_survives_its_file() -> None:
    profile = load_horn("bass-dependent")
    rng = random.Random(8)
    true, _ = made_up(profile, rng)
    own = fitted(profile, table(profile, true, rng, 30, 3.0)).horn
    again = horn_from_text(profile_text(own, "fitted"), "own.toml")
    for valves in ((), ("T",), ("T", "S")):
        assert state(again, valves).cents == pytest.approx(state(own, valves).cents, abs=0.01)
        assert state(again, valves).partial_cents == pytest.approx(state(own, valves).partial_cents, abs=0.01)
    assert again.tube_mm == pytest.approx(own.tube_mm, abs=0.1)
    kinds = {loop.name: loop.evidence.kind for loop in again.loops}
    assert kinds == {"T": "measured", "S": "measured"}
    assert "tuner.csv" in again.loops[0].evidence.why
    assert "95% confidence" in again.loops[0].evidence.range


def test_an_outlier_is_named_and_does_no_harm() -> None:
    profile = load_horn("euphonium-4")
    rng = random.Random(5)
    true, truth = made_up(profile, rng)
    lines = table(profile, true, rng, 40, 2.0).decode().split("\n")
    note, held, cents, mm = lines[17].split(";")
    lines[17] = f"{note};{held};{float(cents.replace(',', '.')) + 30:.1f};{mm}"
    found = fitted(profile, "\n".join(lines).encode())
    assert [one.reading.line for one in found.outliers] == [18]
    assert found.outliers[0].reading.cents - found.outliers[0].after_cents == pytest.approx(30, abs=8)
    truth = as_told(truth, found)
    for one in found.found:
        if one.state == "measured":
            assert abs(one.change - truth[one.unknown.what, one.unknown.name]) <= 1.6 * one.plus_minus


def test_two_outliers_do_not_hide_each_other() -> None:
    profile = load_horn("euphonium-3")
    rng = random.Random(6)
    true, _ = made_up(profile, rng)
    lines = table(profile, true, rng, 30, 2.0).decode().split("\n")
    for row in (4, 9):
        note, held, cents, mm = lines[row].split(";")
        lines[row] = f"{note};{held};{float(cents.replace(',', '.')) - 35:.1f};{mm}"
    assert [one.reading.line for one in fitted(profile, "\n".join(lines).encode()).outliers] == [5, 10]


def test_what_nothing_tells_stays_as_it_was_and_says_so() -> None:
    profile = load_horn("euphonium-4")
    data = b"note,valves,cents\nBb2,0,12\nF3,0,13\nBb3,0,11\nF4,0,12\nAb3,1,15\nEb3,1,14\nAb2,1,16\n"
    found = {(one.unknown.what, one.unknown.name): one for one in fitted(profile, data).found}
    assert found["loop", "3"].state == found["loop", "4"].state == "kept"
    assert found["loop", "3"].change == 0.0
    assert found["horn", ""].change == pytest.approx(12, abs=3)
    own = fitted(profile, data).horn
    assert own.loops[2] == profile.loops[2]
    assert own.loops[0].evidence.kind == "measured"
    # Only ever together, two loops share what was seen: each leans on the profile.
    pair = b"note,valves,cents\nBb2,0,0\nF3,0,0\nBb3,0,0\nC3,1-3,20\nF3,1-3,22\nA3,1-3,0\n"
    both = {(one.unknown.what, one.unknown.name): one for one in fitted(profile, pair).found}
    assert both["loop", "1"].state == both["loop", "3"].state == "leans"


def test_a_position_without_a_place_tells_nothing_of_the_tube() -> None:
    profile = load_horn("tenor-f")
    data = b"note,position,cents\nBb2,1,0\nBb3,1,0\nC3,6,10\nG3,4,-3\nD3,4,5\nC3,T1,8\nC4,T1,9\nF3,T1,8\n"
    found = {(one.unknown.what, one.unknown.name): one for one in fitted(profile, data).found}
    assert ("tube", "") not in found
    assert found["loop", "T"].change == pytest.approx(-8, abs=6)
    assert found["loop", "T"].readings == 3


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_the_stated_spreads_hardly_matter_where_there_are_readings(
    factor: float, monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With three readings or more of each unknown, half or double the spread moves less than the stated interval."""
    profile = load_horn("euphonium-4-compensating")
    rng = random.Random(11)
    true, _ = made_up(profile, rng)
    data = table(profile, true, rng, 60, 3.0)
    usual = fitted(profile, data)
    monkeypatch.setattr(tuner, "SPREAD", {what: factor * spread for what, spread in SPREAD.items()})
    other = {one.unknown: one for one in fitted(profile, data).found}
    told = [one for one in usual.found if one.readings >= 3]
    assert len(told) > 12
    for one in told:
        assert abs(other[one.unknown].change - one.change) <= one.plus_minus


def test_readings_that_do_not_fit_together_are_refused() -> None:
    profile = load_horn("euphonium-4")
    rng = random.Random(2)
    lines = table(profile, profile, rng, 24, 1.0).decode().split("\n")
    for row in range(1, 20, 2):
        note, held, _, mm = lines[row].split(";")
        lines[row] = f"{note};{held};{rng.choice((-70, 70))};{mm}"
    with pytest.raises(Unreadable, match=r"the readings do not fit together, .*\(the farthest on lines \d"):
        fitted(profile, "\n".join(lines).encode())
    with pytest.raises(Unreadable, match=r"2 readings say too little of a horn"):
        fitted(profile, b"note,valves,cents\nBb2,0,1\nBb3,0,1\n")
    far = "note,valves,cents\n" + "".join(f"{note},0,75\n" for note in ("Bb2", "F3", "Bb3", "D4", "F4", "Bb4"))
    with pytest.raises(Unreadable, match=r"the horn would stand \+\d+ cents off"):
        fitted(profile, far.encode())


def test_second_loops_stay_where_only_the_master_was_measured() -> None:
    profile = load_horn("euphonium-4-compensating")
    data = b"note,valves,cents\nBb2,0,0\nF3,0,2\nBb3,0,0\nF2,4,-24\nC3,4,-22\nF3,4,-24\n"
    own = fitted(profile, data).horn
    assert own.loops[3].share > profile.loops[3].share + 0.01
    for before, after in zip(profile.loops[:3], own.loops[:3], strict=True):
        assert second_share(own, after) == pytest.approx(second_share(profile, before))
