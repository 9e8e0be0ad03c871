"""The three sentences of a plan, word for word: they are read aloud."""

import re

from analyzer.horns.profiles import load_horn
from analyzer.plan.difficulty import difficulties
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner
from analyzer.plan.summary import sentences
from tests.lines import line_of


def said(names: str, horn: str, seconds: float = 1.0, player: Player | None = None) -> tuple[str, ...]:
    planner = Planner(line_of(names, seconds), load_horn(horn), player)
    plan = planner.plan()
    return sentences(plan, difficulties(planner, plan))


def test_a_calm_line_is_said_to_be_one() -> None:
    assert said("Bb3 A3 Bb3", "tenor") == (
        "All 3 notes can be played; none uses an alternate.",
        "Slide travel: 0.2 m, the same as the usual chart.",
        "There is time for every move at the written tempo; no measure comes near a limit.")


def test_what_is_saved_and_where_it_is_hard() -> None:
    first, second, third = said("Eb4 D4 Eb4 D4 Eb4", "tenor", 0.12, Player(max_speed_mm_s=1500))
    assert first == "All 5 notes can be played; 2 use an alternate."
    # 3 4 3 4 3 is 4 moves of 8.9 to 11 cm in place of 4 of 18: about 45 to 51 per cent less.
    assert second.startswith("Slide travel: 0.4 m, ")
    assert 40 <= int(second.split("m, ")[1].split()[0]) <= 55
    assert re.match(r"Top tempo: about quarter note = \d+ \(m\. 1\); ", third)
    assert third.endswith("; hardest measure: 1.")


def test_what_cannot_be_played_and_valves() -> None:
    assert said("B1 C2", "tenor-f")[0] == (
        "1 of 2 notes cannot be played on this horn by this player: B1 (measure 1); none uses an alternate.")
    assert said("Bb2 C3 D3", "euphonium-4")[1].startswith("The fingers change 2 times; farthest out of tune: ")
    assert said("C3 B2", "tenor-f")[1].endswith("m, the same as the usual chart.")
    assert "The attachment changes 1 time." in said("D3 C3", "tenor-f")[1]


def test_the_note_farthest_off_is_named_with_its_side() -> None:
    # 1-2-3 is sharp and the fifth partial is flat: common practice, no source.
    assert re.search(r"; farthest out of tune: B2 in measure 1, \d\d cents sharp\.$",
                     said("Bb2 B2 D4", "euphonium-3")[1])
    assert re.search(r": D4 in measure 1, 1\d cents flat\.$", said("Bb2 D4", "euphonium-3")[1])
    assert said("Bb2 Bb2", "euphonium-3")[1] == "The fingers change 0 times; every note is in tune."


def test_an_empty_line_has_one_sentence() -> None:
    assert said("", "tenor") == ("There are no notes here.",)
