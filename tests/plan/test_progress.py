"""What a player has learned and made secure: read, written without loss, and followed by the plan."""

import itertools
import random
import tomllib

import pytest

from analyzer.plan.player import Player, player_of_file
from analyzer.plan.progress import move_text, parse_move, parse_state, recorded
from analyzer.plan.solve import Planner
from analyzer.problem import Unreadable
from analyzer.toml_file import parse_table
from tests.brute.test_plan import price, random_planner

FILE = """# A student.
[player]
name = "Player 1"   # invented
learned = [
    "T",            # since autumn
]
low = "E2"
"""


@pytest.mark.parametrize(("text", "pair"), [
    ("T1-4", ("T1", "4")), ("T1 to 4", ("T1", "4")), (" 2♯ – T2 ", ("2#", "T2")), ("T1 → 4", ("T1", "4")),
    ("1-3 to 0", ("1-3", "0")), ("1-2-3 - 4", ("1-2-3", "4")), ("TS2>6", ("TS2", "6")), ("0-2", ("0", "2")),
    ("1-3", ("1", "3"))])
def test_moves_are_read_as_teachers_write_them(text: str, pair: tuple[str, str]) -> None:
    assert parse_move(text) == pair
    assert parse_move(move_text(pair)) == pair


@pytest.mark.parametrize("text", ["", "T1", "T1-", "T1-T1", "1-2-3", "t1-4", "T1 to", "T1 to 4 to 5", "0-1-3", "9x-1"])
def test_what_is_no_move_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is no move"):
        parse_move(text)


@pytest.mark.parametrize("text", ["", "T1", "1-", "t", "T-S"])
def test_what_is_no_state_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is no valve state"):
        parse_state(text)


def read(text: str) -> Player:
    return player_of_file(parse_table(text, "p.toml"))


def test_every_line_that_stands_there_is_kept() -> None:
    pytest.importorskip("tomlkit")
    text = recorded(FILE, learned=["TS", "T"], secure=[("T1", "4"), ("4", "T1")])
    assert [line for line in FILE.splitlines() if line not in text.splitlines()] == []
    assert read(text).learned == ("T", "TS")
    assert read(text).secure == (("T1", "4"),)
    assert recorded(text, learned=["TS"], secure=[("T1", "4")]) == text
    back = recorded(text, again=["TS", "4-T1"])
    assert read(back).learned == ("T",)
    assert read(back).secure == ()
    assert "# since autumn" in back


@pytest.mark.parametrize("text", ["", "# nothing yet\n", "player = {name = 'A', learned = []}\n", FILE])
def test_any_player_file_can_be_added_to(text: str) -> None:
    pytest.importorskip("tomlkit")
    new = recorded(text, learned=["T"], secure=[("1-3", "0")])
    assert read(new).secure == (("1-3", "0"),)
    assert ("learned" in tomllib.loads(text).get("player", {})) == (read(new).learned is not None)


def test_what_is_not_there_cannot_be_taken_back() -> None:
    pytest.importorskip("tomlkit")
    with pytest.raises(ValueError, match="neither in learned nor in secure"):
        recorded(FILE, again=["TS"])
    both = '[player]\nlearned = ["1-3"]\nsecure = ["1 to 3"]\n'
    with pytest.raises(ValueError, match="write the move with 'to'"):
        recorded(both, again=["1-3"])
    assert read(recorded(both, again=["3 to 1"])).learned == ("1-3",)


@pytest.mark.parametrize(("line", "said"), [
    ('secure = "T1-4"', "secure is 'T1-4'"), ('secure = ["T1"]', "'T1' is no move"), ("secure = [4]", "secure is [4]")])
def test_a_wrong_list_is_told_with_its_line(line: str, said: str) -> None:
    with pytest.raises(Unreadable) as caught:
        read(f"[player]\nname = 'A'\n{line}\n")
    assert said in str(caught.value)
    assert "p.toml, line 3" in str(caught.value)


# --- the plan ----------------------------------------------------------------------------------------------------

def plain(seed: int) -> Planner:
    """A random short line with nothing secure."""
    base = random_planner(seed)
    return Planner(base.line, base.horn, weights=base.weights)


def secured(seed: int) -> Planner:
    """The same line with some of its possible moves secure."""
    base = plain(seed)
    rng = random.Random(seed)
    pairs = [(a.label, b.label) for before, after in itertools.pairwise(base.choices) for a in before for b in after
             if a.label != b.label and rng.random() < 0.5]
    return Planner(base.line, base.horn, Player(secure=tuple(pairs)), weights=base.weights)


@pytest.mark.parametrize("seed", range(900, 940))
def test_plan_with_secure_moves_is_the_least_of_all(seed: int) -> None:
    planner = secured(seed)
    least = min(price(planner, walk) for walk in itertools.product(*(one or (None,) for one in planner.choices)))
    assert planner.plan().cost == pytest.approx(least)
    assert planner.plan().cost <= plain(seed).plan().cost + 1e-9


def test_a_secure_move_costs_its_share_and_no_speed_is_gained() -> None:
    eased = 0
    for seed in range(900, 960):
        planner, base = secured(seed), plain(seed)
        for k, (before, after) in enumerate(itertools.pairwise(planner.choices)):
            for a, b in itertools.product(before, after):
                mine = planner.costs.move_items(a, b, planner.moves[k])
                usual = base.costs.move_items(a, b, base.moves[k])
                secure = (a.label, b.label) in planner.player.secure_ways
                for name, value in usual.items():
                    share = planner.weights.secure if secure and name not in ("over_speed", "gliss") else 1.0
                    assert mine[name] == pytest.approx(share * value)
                if secure and "over_speed" in usual:
                    way = abs((b.extension_mm or 0) - (a.extension_mm or 0))
                    assert way > planner.costs.reach_mm(planner.moves[k])
                eased += secure
    assert eased > 100
