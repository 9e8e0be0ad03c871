"""Horn names and parts are completed by the shell, as click asks for them."""

from pathlib import Path

import pytest
from click.shell_completion import ShellComplete

from analyzer.cli import cli
from analyzer.horns.profiles import horn_names

TRIO = str(Path(__file__).parents[2] / "sample_scores" / "harbour-march-trio.musicxml")


def completed(words: list[str], begun: str) -> list[str]:
    shell = ShellComplete(cli, {}, "lowbrass", "_LOWBRASS_COMPLETE")
    return [item.value for item in shell.get_completions(words, begun)]


@pytest.mark.parametrize("words", [["chart"], ["horns", "show"], ["map", TRIO, "--horn"], ["review", TRIO, "--horn"],
                                   ["chart", "tenor", "--from"], ["ready", TRIO, "--to"], ["tune", "sheet", "--horn"]])
def test_horns_are_completed(words: list[str]) -> None:
    assert set(horn_names()) <= set(completed(words, ""))
    assert completed(words, "bass-i") == ["bass-independent"]


def test_horns_to_compare_are_completed_one_after_the_other() -> None:
    assert completed(["compare", TRIO, "--horns"], "tenor,alt") == ["tenor,alto"]


def test_parts_of_the_score_are_completed() -> None:
    assert completed(["map", TRIO, "--part"], "euph") == ["Euphonium", "Euphonium T.C."]
    assert "P9" in completed(["map", TRIO, "--part"], "P")
    assert completed(["map", "nowhere.musicxml", "--part"], "") == []
    assert completed(["map", __file__, "--part"], "") == []
