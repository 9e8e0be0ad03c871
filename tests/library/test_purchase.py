"""The purchase case against every set of steps, carried out on the section and looked at anew."""

import random
from collections import Counter
from dataclasses import replace
from itertools import chain, combinations
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analyzer.horns.profiles import load_horn
from analyzer.library.best_sets import Alternatives, best_set, met_by, minimal
from analyzer.library.purchase import WIDEN_SEMITONES, Asked, Case, Step, lines_asked, purchase
from analyzer.library.survey import Options, Survey
from analyzer.plan.player import Player
from analyzer.plan.solve import allowed_choices
from analyzer.section.burden import takes
from analyzer.section.section import Member, Section
from tests.library.test_survey import score_of, surveyed

# --- best sets -------------------------------------------------------------------------------------------------------

STEPS = "abcdefg"
NEEDS = st.dictionaries(
    st.frozensets(st.frozensets(st.sampled_from(STEPS), max_size=3), max_size=4), st.integers(1, 9), max_size=12)


def most(needs: dict[Alternatives[str], int], size: int) -> int:
    return max(met_by(needs, frozenset(one)) for k in range(size + 1) for one in combinations(STEPS, k))


@given(NEEDS, st.integers(1, 4))
@settings(max_examples=150, deadline=None)
def test_best_set_is_the_best_of_all_sets(needs: dict[Alternatives[str], int], size: int) -> None:
    best = best_set(needs, STEPS, size)
    assert best.exact
    assert best.met == best.bound == met_by(needs, frozenset(best.steps)) == most(needs, size)
    assert len(best.steps) <= size


@given(NEEDS, st.integers(1, 4))
@settings(max_examples=150, deadline=None)
def test_greedy_stays_below_its_bound_and_the_bound_above_the_best(needs: dict[Alternatives[str], int],
                                                                   size: int) -> None:
    greedy = best_set(needs, STEPS, size, most_sets=0)
    true = most(needs, size)
    assert greedy.met == met_by(needs, frozenset(greedy.steps)) <= true <= greedy.bound
    assert not greedy.exact or greedy.met == true


def test_steps_come_in_the_order_of_their_use() -> None:
    needs = {frozenset({frozenset("a")}): 1, frozenset({frozenset("b")}): 5, frozenset({frozenset("bc")}): 3}
    assert best_set(needs, STEPS, 3).steps == ("b", "c", "a")
    assert best_set(needs, STEPS, 1).steps == ("b",)
    assert best_set({}, STEPS, 2).steps == ()


@given(st.lists(st.frozensets(st.sampled_from(STEPS), max_size=4), max_size=8), st.integers(0, 4))
def test_minimal_alternatives_meet_what_all_of_them_meet(ways: list[frozenset[str]], size: int) -> None:
    kept = minimal(ways, size)
    for taken in map(frozenset, chain.from_iterable(combinations(STEPS, k) for k in range(size + 1))):
        assert any(way <= taken for way in ways) == any(way <= taken for way in kept)


# --- a section -------------------------------------------------------------------------------------------------------


def carried_out(section: Section, steps: tuple[Step, ...]) -> Section:
    """The section after the steps: a bought horn lies in the band room for all."""
    members = list(section.members)
    for step in steps:
        for k, member in enumerate(members):
            player = member.player
            if step.player != member.name:
                continue
            if step.kind == "learn":
                player = replace(player, learned=(*(player.learned or ()), step.what))
            elif step.kind == "lower" and player.low is not None:
                player = replace(player, low=player.low - WIDEN_SEMITONES)
            elif step.kind == "higher" and player.high is not None:
                player = replace(player, high=player.high + WIDEN_SEMITONES)
            clefs = (*(member.clefs or ()), step.what) if step.kind == "read" else member.clefs
            members[k] = replace(member, player=player, clefs=clefs)
    bought = tuple(load_horn(step.what) for step in steps if step.kind == "buy")
    return Section(members=tuple(members), spare=(*section.spare, *bought))


def is_open(line: Asked, section: Section) -> bool:
    """The definition, looked at anew: somebody has a horn that sounds all of it in tune, within range and clefs."""
    for member in section.members:
        player = member.player
        if member.clefs is not None and not set(line.clefs) <= set(member.clefs):
            continue
        if any((player.low is not None and midi < player.low) or (player.high is not None and midi > player.high)
               for midi in line.midis):
            continue
        for horn in (*member.horns, *(one for one in section.spare if one.family == member.horns[0].family)):
            if takes(horn, line.family) and all(
                    any(abs(one.off_cents) <= horn.lip_reach.value for one in allowed_choices(horn, player, midi))
                    for midi in line.midis):
                return True
    return False


def opened(asked: Counter[Asked], section: Section, steps: tuple[Step, ...] = ()) -> int:
    after = carried_out(section, steps)
    return sum(count for line, count in asked.items() if is_open(line, after))


def case_of(folder: Path, section: Section) -> tuple[Survey, Case]:
    survey = surveyed(folder, Options(horns=(load_horn("tenor"), load_horn("euphonium-4"))))
    return survey, purchase(survey, section)


def member(name: str, *horns: str, clefs: tuple[str, ...] | None = None, **player: object) -> Member:
    return Member(player=Player(name=name, **player), horns=tuple(map(load_horn, horns)), clefs=clefs)


@pytest.mark.parametrize("seed", range(4))
def test_purchase_equals_every_set_carried_out(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    names = ("C2", "D2", "Eb2", "E2", "F2", "A2", "Bb2", "C3", "F3", "Bb3", "D4", "F4", "G4", "A4", "Bb1", "B1")
    for number in range(12):
        part = rng.choice(("Trombone", "Trombone", "Euphonium"))
        data = score_of(*rng.choices(names, k=rng.randint(1, 5)), name=part)
        if rng.random() < 0.3:
            data = data.replace(b"<sign>F</sign><line>4<", b"<sign>C</sign><line>4<")
        (tmp_path / f"{number}.xml").write_bytes(data)
    section = Section(members=(
        member("First", "tenor", low=40, high=rng.choice((65, 67)), clefs=("bass",)),
        member("Second", "tenor-f", learned=(), high=60, clefs=("bass", "tenor")),
        member("Third", "euphonium-3", low=rng.choice((39, 40)))))
    survey, case = case_of(tmp_path, section)
    asked = lines_asked(survey)
    assert case.lines == len({row["file"] for row in survey.lines}) == sum(asked.values())
    assert case.open_now == opened(asked, section)
    steps = [*(Step(kind="buy", what=name) for name in (
        "tenor", "tenor-f", "bass-single", "bass-independent", "bass-dependent", "euphonium-3", "euphonium-4",
        "euphonium-3-compensating", "euphonium-4-compensating", "baritone-3")),
        Step(kind="learn", what="T", player="Second"), Step(kind="learn", what="S", player="Second"),
        Step(kind="learn", what="TS", player="Second"), Step(kind="read", what="tenor", player="First"),
        Step(kind="lower", what="", player="First"), Step(kind="lower", what="", player="Third"),
        Step(kind="higher", what="", player="First"), Step(kind="higher", what="", player="Second")]
    singles = {(step.kind, step.what if step.kind in ("buy", "learn", "read") else "", step.player): gain
               for step, gain in case.singles}
    for step in steps:
        gain = opened(asked, section, (step,)) - case.open_now
        assert singles.pop((step.kind, step.what, step.player), 0) == gain, step.text
    assert not singles
    best = case.open_now
    for size in (1, 2):
        best = max(opened(asked, section, one) for one in combinations(steps, size))
        assert max((one.met for one in case.together if len(one.steps) <= size), default=case.open_now) == best
    for one in case.together:
        assert one.exact
        assert opened(asked, section, one.steps) == one.met


def test_a_horn_and_its_learning_may_only_be_of_use_together(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_bytes(score_of("Bb2", "C2"))         # C2 needs the attachment (OEIS A309909)
    section = Section(members=(member("First", "tenor", learned=()),))
    _, case = case_of(tmp_path, section)
    assert (case.lines, case.open_now, case.singles) == (1, 0, ())
    pair, = case.together
    assert {step.text for step in pair.steps} >= {"First learns T"}
    assert pair.met == 1
