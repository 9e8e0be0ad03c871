"""The printable chart of a horn."""

import subprocess
import sys
from itertools import pairwise
from pathlib import Path

import pytest
from lxml import etree, html

from analyzer.horns.candidates import sounding_range
from analyzer.horns.profiles import load_horn
from analyzer.picture.horn_chart import chart_picture
from analyzer.pitch import pitch_of
from analyzer.report.chart.page import chart_page

SVG = "{http://www.w3.org/2000/svg}"
HORNS = ("tenor", "tenor-f", "bass-independent", "bass-dependent", "euphonium-3", "euphonium-4-compensating", "alto")


@pytest.mark.parametrize("name", HORNS)
def test_every_note_of_the_range_is_there(name: str) -> None:
    horn = load_horn(name)
    picture = chart_picture(horn)
    root = etree.fromstring(picture.svg("c").encode())
    texts = ["".join(element.itertext()) for element in root.iter(f"{SVG}text")]
    low, high = sounding_range(horn)
    for midi in range(low, high + 1):
        assert pitch_of(midi).pretty in texts
    tree = html.fromstring(chart_page(horn))
    assert [row.xpath("string(th)") for row in tree.xpath("//tbody/tr")] == [
        pitch_of(midi).pretty for midi in range(high, low - 1, -1)]
    assert tree.xpath("//script | //link | //img") == []


def test_positions_lie_to_scale() -> None:
    # Each equal semitone lengthens the tube by 2 ** (1 / 12), so each step of the slide is longer by that factor.
    root = etree.fromstring(chart_picture(load_horn("tenor")).svg("c").encode())
    ticks = [float(line.get("x1", "0")) for line in root.iter(f"{SVG}line") if line.get("stroke-width") == "1.6"]
    assert len(ticks) == 7
    steps = [b - a for a, b in pairwise(ticks)]
    # The first lies on the stop, or a little off it where the horn is tuned so; from second on the rule is exact.
    for a, b in pairwise(steps[1:]):
        assert b / a == pytest.approx(2 ** (1 / 12), abs=0.005)


@pytest.mark.parametrize(("horn", "note", "usual"), [
    # In the data contract and common practice: C3 T1, E2 T2, F2 open in 6; B flat 3 first; euphonium C3 with 4 for 1-3.
    ("tenor-f", "C3", "T1"), ("tenor-f", "E2", "T2"), ("tenor-f", "F2", "6"), ("tenor", "B♭3", "1"),
    ("euphonium-4-compensating", "C3", "4")])
def test_usual_choice_stands_beside_the_note(horn: str, note: str, usual: str) -> None:
    tree = html.fromstring(chart_page(load_horn(horn)))
    row = tree.xpath(f"//tbody/tr[th = '{note}']")[0]
    assert row.xpath("string(td[1])").split(" (")[0] == usual


def test_command_writes_the_chart(tmp_path: Path) -> None:
    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run([sys.executable, "-m", "analyzer", "chart", *words], capture_output=True, text=True)

    for ending in (".svg", ".html"):
        path = tmp_path / f"chart{ending}"
        done = run("tenor-f", "-o", str(path))
        assert done.returncode == 0
        assert str(path) in done.stderr
        again = path.read_bytes()
        run("tenor-f", "-o", str(path))
        assert path.read_bytes() == again
    etree.parse(tmp_path / "chart.svg")
    wrong = run("tenor-f", "-o", str(tmp_path / "chart.odt"))
    assert wrong.returncode == 2
    assert ".svg, .html or .pdf" in wrong.stderr
    assert not (tmp_path / "chart.odt").exists()
