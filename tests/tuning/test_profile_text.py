"""A horn written as a profile is the horn that was read."""

from dataclasses import replace

import pytest

from analyzer.evidence import Evidence
from analyzer.horns.horn import Offset
from analyzer.horns.profiles import horn_from_text, horn_names, load_horn
from analyzer.horns.tubing import lowered_cents, tube_ratio
from analyzer.problem import Unreadable
from analyzer.tuning.profile_text import profile_text


@pytest.mark.parametrize("name", horn_names())
def test_what_is_written_reads_back_whole(name: str) -> None:
    horn = load_horn(name)
    assert horn_from_text(profile_text(horn, "two lines\nof remark"), "own.toml") == horn


def test_measured_numbers_and_odd_texts_read_back() -> None:
    horn = load_horn("euphonium-4-compensating")
    odd = Evidence(kind="measured", why='6" pulled \\ out\tB♭ \x7f', range="±2 cents")
    first = replace(horn.loops[0], share=0.1312345, second_share=0.0419, evidence=odd)
    own = replace(horn, name="my-horn", loops=(first, *horn.loops[1:]),
                  offsets=(Offset(valves=None, partials=(5,), cents=-3.25, evidence=odd),))
    again = horn_from_text(profile_text(own), "own.toml")
    assert again.loops[0].evidence == odd
    assert again.offsets == own.offsets
    assert lowered_cents(tube_ratio(again, ("1", "4"))) == pytest.approx(
        lowered_cents(tube_ratio(own, ("1", "4"))), abs=0.001)


def test_a_second_loop_of_given_length_adds_up() -> None:
    horn = load_horn("euphonium-4-compensating")
    first = replace(horn.loops[0], second_share=0.05)
    own = replace(horn, loops=(first, *horn.loops[1:]))
    # By hand: 1 + 0.124 + 0.338 + 0.05, and in proportion 1.124 * 1.338.
    assert tube_ratio(own, ("1", "4")) == pytest.approx(1.512)
    assert tube_ratio(horn, ("1", "4")) == pytest.approx(1.124 * 1.338)
    assert tube_ratio(own, ("1",)) == pytest.approx(1.124)


@pytest.mark.parametrize(("name", "old", "new", "words"), [
    ("euphonium-4", 'adds_percent = 6.0\n', 'adds_percent = 6.0\nsecond_percent = 2\n',
     "valve 2 has a second loop, but nothing compensates. Add [compensation]"),
    ("euphonium-4-compensating", 'adds_percent = 33.8\n', 'adds_percent = 33.8\nsecond_percent = 2\n',
     "valve 4 has second_percent, but the second loops are the others'"),
    ("euphonium-4-compensating", 'adds_percent = 6.0\n', 'adds_percent = 6.0\nsecond_percent = 60\n',
     "second_percent is 60 in [valve]. Give a number from 0 to 50."),
])
def test_a_second_loop_in_the_wrong_place_is_one_line(name: str, old: str, new: str, words: str) -> None:
    text = profile_text(load_horn(name)).replace(old.replace(".0\n", "\n"), new.replace(".0\n", "\n"))
    with pytest.raises(Unreadable) as caught:
        horn_from_text(text, "own.toml")
    assert words in str(caught.value)
    assert "own.toml, line " in str(caught.value)
