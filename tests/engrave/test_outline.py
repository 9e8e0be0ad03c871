"""SVG paths as PDF operators, against fontTools' reader of SVG paths."""

import random

import pytest

from analyzer.engrave.outline import ellipse, number, operators, rectangle, rounded

pytest.importorskip("fontTools", reason="fontTools is not installed (pip install lowbrass[engrave])")


Steps = list[tuple[str, tuple[tuple[float, float], ...]]]


def theirs(outline: str) -> Steps:
    from fontTools.pens.recordingPen import RecordingPen
    from fontTools.svgLib.path import parse_path

    pen = RecordingPen()
    parse_path(outline, pen)
    names = {"moveTo": "m", "lineTo": "l", "curveTo": "c", "closePath": "h"}
    return _unclosed([(names[name], points) for name, points in pen.value if name in names])


def _unclosed(found: Steps) -> Steps:
    """Leave out a line back to the start before the path is closed: it says the same twice."""
    return [one for one, after in zip(found, [*found[1:], ("", ())], strict=True)
            if not (one[0] == "l" and after[0] == "h" and one[1][0] == pytest.approx(found[0][1][0]))]


def ours(outline: str) -> Steps:
    found, numbers = [], []
    for token in operators(outline).split():
        if token in "mlch":
            found.append((token, tuple(zip(numbers[::2], numbers[1::2], strict=True))))
            numbers = []
        else:
            numbers.append(float(token))
    return _unclosed(found)


def same(outline: str) -> None:
    mine, other = ours(outline), theirs(outline)
    assert [name for name, _ in mine] == [name for name, _ in other], outline
    for (_, points), (_, wanted) in zip(mine, other, strict=True):
        assert [value for point in points for value in point] == pytest.approx(
            [value for point in wanted for value in point], abs=0.001), outline


@pytest.mark.parametrize("outline", [
    "M0 0L10 5", "M1844 1005 L1844 1589.5", "M1 2 L3 4 L-5 6",
    "M0 990H9520M0 1170H9520", "M5 6V70H8", "M1,2 C3,4 5,6 7,8 C9,10 11,12 13,14", "M0 0 10 10 20 0Z",
    "M20 110c32 16 54 27 93 27s35 -3 54 -13l4 -25v-5h20z", "M-1.5 .5L2-3"])
def test_paths_of_every_kind(outline: str) -> None:
    same(outline)


def test_a_curve_of_second_degree_becomes_one_of_third() -> None:
    # By hand: the inner points lie two thirds of the way from each end to the one that was given.
    (_, start), (name, points) = ours("M0 0Q6 9 12 0")
    assert (name, start) == ("c", ((0.0, 0.0),))
    assert points == ((4.0, 6.0), (8.0, 6.0), (12.0, 0.0))


def test_random_paths_of_lines_and_curves() -> None:
    rng = random.Random(3)
    for _ in range(200):
        pieces = [f"M{rng.randint(-99, 99)} {rng.randint(-99, 99)}"]
        for _ in range(rng.randint(1, 6)):
            kind = rng.choice("LHVCM")
            count = {"L": 2, "H": 1, "V": 1, "C": 6, "M": 2}[kind]
            pieces.append(kind + " ".join(f"{rng.uniform(-99, 99):.1f}" for _ in range(count)))
        # A move at the end draws nothing; fontTools leaves it out.
        same("".join(pieces) + "L0 0")


def test_points_for_a_round_pen() -> None:
    assert operators("M1 2h0M3 4.5h0") == "1 2 m 1 2 l 3 4.5 m 3 4.5 l"


def test_boxes_and_rounds() -> None:
    assert rectangle(1, 2, 3, 4.25) == "1 2 3 4.25 re"
    circle = ellipse(10, 10, 5, 5)
    assert circle.count(" c") == 4
    # The curve passes the circle's four ends.
    for end in ("10 5", "15 10", "10 15", "5 10"):
        assert f"{end} " in circle
    assert rounded(0, 0, 10, 10, 99) == ellipse(5, 5, 5, 5)


@pytest.mark.parametrize(("value", "text"), [(1.0, "1"), (-0.0001, "0"), (0.1234, "0.123"), (1e6, "1000000"), (0, "0")])
def test_numbers(value: float, text: str) -> None:
    assert number(value) == text
