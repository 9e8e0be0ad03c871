"""The strip of hard measures: its digits and grounds are the levels of the plans, in grey and in words."""

import re
from itertools import pairwise

import pytest
from lxml import etree

from analyzer.picture.heat import GROUNDS, LEVEL_WORDS, HeatRow, heat_pictures, level_of
from analyzer.plan.difficulty import MeasureDifficulty

NS = {"s": "http://www.w3.org/2000/svg"}


def measures(*shares: float | None) -> tuple[MeasureDifficulty, ...]:
    return tuple(MeasureDifficulty(measure=str(k), measure_index=k, share=share or 0.0, reason="", index=None,
                                   kind="rest" if share is None else "moving") for k, share in enumerate(shares))


def luminance(color: str) -> float:
    """Relative luminance (W3C, *Web Content Accessibility Guidelines 2.1*, definition of relative luminance)."""
    parts = [int(color[k:k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.03928 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return sum(share * one for share, one in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_grounds_darken_in_grey_and_digits_stand_out() -> None:
    """WCAG 2.1, success criterion 1.4.3: at least 4.5 to 1 for text."""
    steps = [luminance(one) for one in GROUNDS]
    assert all(a - b > 0.1 for a, b in pairwise(steps))
    drawn = heat_pictures([HeatRow(label="A", measures=measures(0.1, 0.3, 0.6, 0.9, 1.2))], width=900)
    root = etree.fromstring(drawn[0].svg("x").encode())
    digits = [one for one in root.iterfind(".//s:text", NS) if one.get("text-anchor") == "middle"]
    boxes = [one for one in root.iterfind(".//s:rect", NS) if one.get("stroke")]
    assert [one.text for one in digits] == list("12345")
    for digit, box in zip(digits, boxes, strict=True):
        high, low = sorted((luminance(digit.get("fill", "#14213d")), luminance(box.get("fill"))), reverse=True)
        assert (high + 0.05) / (low + 0.05) >= 4.5


@pytest.mark.parametrize(("share", "level"), [(None, 0), (0.0, 1), (0.25, 1), (0.26, 2), (0.5, 2), (0.75, 3), (1.0, 4),
                                              (1.01, 5), (2.0, 5)])
def test_levels(share: float | None, level: int) -> None:
    (one,) = measures(share)
    assert level_of(one) == level
    if level:
        assert LEVEL_WORDS[level - 1] == one.level


@pytest.mark.parametrize("width", [340, 900])
def test_every_measure_stands_once_and_empty_systems_are_left_out(width: int) -> None:
    silent = [None] * 200
    first, second = measures(*[0.3] * 90, *silent, *[0.9] * 10), measures(*[None] * 290, *[0.3] * 10)
    drawn = heat_pictures([HeatRow(label="A", measures=first), HeatRow(label="B", measures=second)], width=width)
    digits = [re.findall(r'text-anchor="middle"[^>]*>(\d)<', one.body) for one in drawn]
    assert all(digits)
    assert sum(len(one) for one in digits) == 110
    assert all(one.width == width for one in drawn)
    assert "B: rests." in drawn[0].desc
    assert "290 hard" in drawn[-1].desc


def test_nobody_is_no_picture() -> None:
    assert heat_pictures([], width=900) == ()
