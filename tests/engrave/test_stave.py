"""Sizes that a player asks for, measured in the PDF: height of staves, weight of lines, distances, words."""

import io
import re
from collections import Counter
from itertools import pairwise
from pathlib import Path

import pytest

from analyzer.engrave.engrave import PageOptions, engraved_pages, engraving_copy
from analyzer.engrave.pdf import pdf_of
from analyzer.engrave.tailored import dynamics_above
from analyzer.marking.mark import Mark
from analyzer.plan.player import player_of, read_player
from analyzer.problem import Unreadable
from analyzer.score.document import Document, open_document
from analyzer.selection import asked_lines, chosen_parts
from analyzer.stave import USUAL_STAVE, Stave
from tests.engrave.scores import busy, marks

pytest.importorskip("verovio", reason="the engraver is not installed")
pytest.importorskip("reportlab", reason="the PDF writer is not installed")
pypdf = pytest.importorskip("pypdf", reason="pypdf, which reads the PDF back, is not installed")

SONG = Path(__file__).parents[2] / "sample_scores" / "evening-song-euphonium.musicxml"
_MM = 25.4 / 72


class Measured:
    """Straight level lines (left, right, height, weight) and texts (words, size, height) of a PDF's first page. [mm]"""

    def __init__(self, pdf: bytes) -> None:
        reader = pypdf.PdfReader(io.BytesIO(pdf))
        self.pages = len(reader.pages)
        self.lines: list[tuple[float, float, float, float]] = []
        self.texts: list[tuple[str, float]] = []
        ctm, weight, held, start = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0), 1.0, [], None
        waiting: list[tuple[tuple[float, float], tuple[float, float]]] = []
        size = 0.0
        page = reader.pages[0]
        for operands, operator in pypdf.generic.ContentStream(page.get_contents(), reader).operations:
            name = operator.decode()
            values = [float(value) for value in operands if isinstance(value, int | float)] if operands else []
            if name == "q":
                held.append((ctm, weight))
            elif name == "Q":
                ctm, weight = held.pop()
            elif name == "cm":
                a, b, c, d, e, f = values
                o = ctm
                ctm = (a * o[0] + b * o[2], a * o[1] + b * o[3], c * o[0] + d * o[2], c * o[1] + d * o[3],
                       e * o[0] + f * o[2] + o[4], e * o[1] + f * o[3] + o[5])
            elif name == "w":
                weight = values[0]
            elif name == "m":
                start = (values[0], values[1])
            elif name == "l" and start is not None:
                waiting.append((start, (values[0], values[1])))
                start = (values[0], values[1])
            elif name in ("S", "s", "B", "f", "n"):
                for one, two in waiting:
                    if one[1] == two[1] and name in ("S", "B"):
                        y = (ctm[3] * one[1] + ctm[5]) * _MM
                        ends = sorted((ctm[0] * x + ctm[4]) * _MM for x in (one[0], two[0]))
                        self.lines.append((ends[0], ends[1], y, weight * abs(ctm[3]) * _MM))
                waiting, start = [], None
            elif name == "Tf":
                size = values[-1] * abs(ctm[3])
                self.texts.append(("", size * _MM))

    @property
    def staves(self) -> list[tuple[float, float]]:
        """Lowest and highest line of each staff, from the top: five level lines of one length, evenly apart."""
        heights = sorted({round(y, 2) for left, right, y, _ in self.lines if right - left > 15}, reverse=True)
        found, here = [], heights[:1]
        for above, y in pairwise(heights):
            if len(here) > 1 and abs((above - y) - (here[0] - here[1])) > 0.05:
                here = [y]
            else:
                here = [*here, y]
            if len(here) == 5:
                found.append((here[-1], here[0]))
                here = []
        return found

    @property
    def line_mm(self) -> float:
        """Weight of a staff line: that of most level lines."""
        weights = Counter(round(weight, 3) for left, right, _, weight in self.lines if right - left > 15)
        return weights.most_common(1)[0][0]


def measured(stave: Stave, *, hard: bool = False) -> tuple[Measured, tuple[str, ...]]:
    """Engrave a part: a song of 48 measures, or measures full of sixteenths with long marks (`hard`)."""
    document = busy(6) if hard else open_document(SONG)
    labels = marks(document) if hard else [Mark(
        part_id="P1", ref=ref, line=1, text="1-2", changed=False, playable=True, joins=False) for ref in refs(document)]
    options = PageOptions(stave=stave)
    svgs = engraved_pages(engraving_copy(document, "P1", labels, title="Study"), options)
    return Measured(pdf_of(svgs, options)), svgs


def refs(document: Document) -> list[int]:
    """Return the ordinals of the notes of the part."""
    lines, _ = asked_lines(document, chosen_parts(document, ("P1",))[0])
    return [ref for note in lines[0].line.notes for ref in note.refs[:1]]


@pytest.mark.parametrize("staff_mm", [5.5, 8.0, 10.0, 14.0])
def test_the_staff_is_as_high_as_was_asked(staff_mm: float) -> None:
    """From the lowest to the highest line, between the middles of both, within 3 %."""
    found, _ = measured(Stave(staff_mm=staff_mm))
    assert found.staves
    for low, high in found.staves:
        assert high - low == pytest.approx(staff_mm, rel=0.03)


@pytest.mark.parametrize("lines", [0.8, 1.5, 2.0])
def test_lines_are_as_heavy_as_was_asked(lines: float) -> None:
    """13.5 of the 720 units of a staff, the engraver's own default of 0.15 half spaces, times what was asked."""
    found, _ = measured(Stave(lines=lines))
    low, high = found.staves[0]
    assert found.line_mm == pytest.approx((high - low) * 13.5 / 720 * lines, rel=0.03)


def test_systems_stand_farther_apart() -> None:
    def apart(stave: Stave) -> float:
        staves = measured(stave)[0].staves
        return min(above[0] - below[1] for above, below in pairwise(staves))

    usual, wide = apart(USUAL_STAVE), apart(Stave(systems=2))
    assert wide > 1.3 * usual


@pytest.mark.parametrize(("text", "staff_mm"), [(0.8, 7.2), (1.3, 7.2), (2.0, 7.2), (1.3, 12.0)])
def test_marks_are_as_large_against_the_staff_as_was_asked(text: float, staff_mm: float) -> None:
    """As many texts as notes have the size of a mark, 357 of the 720 units of a staff, times what was asked."""
    found, svgs = measured(Stave(text=text, staff_mm=staff_mm))
    wanted = staff_mm * 357 / 720 * text
    count = sum(size == pytest.approx(wanted, rel=0.03) for _, size in found.texts)
    assert count >= svgs[0].count('class="mark ') > 10


def test_more_room_makes_fewer_measures_a_line() -> None:
    def systems(stave: Stave) -> int:
        return sum(page.count('class="system') for page in measured(stave)[1])

    assert systems(Stave(room=2.5)) > 1.2 * systems(USUAL_STAVE)


def test_a_measure_too_full_is_set_smaller_and_that_is_said() -> None:
    found, svgs = measured(Stave(staff_mm=14, text=1.5), hard=True)
    low, high = found.staves[0]
    assert high - low < 13.5
    assert f"Staff of {high - low:.1f} mm, not 14" in " ".join(re.sub(r"<[^>]+>", " ", svgs[0]).split())


def test_dynamics_stand_above_where_that_is_asked() -> None:
    xml = ('<direction placement="below"><direction-type><dynamics><p/></dynamics></direction-type></direction>'
           '<direction placement="below"><direction-type><words>dolce</words></direction-type></direction>'
           '<direction><direction-type><wedge type="stop"/></direction-type></direction>')
    moved = dynamics_above(xml)
    assert moved.count('placement="above"') == 2
    assert '<direction placement="below"><direction-type><words>' in moved


def test_every_mark_is_there_in_a_tailored_part() -> None:
    stave = Stave(staff_mm=12, lines=1.6, systems=1.6, text=1.5, room=1.8, dynamics="above")
    _, svgs = measured(stave, hard=True)
    assert sum(page.count('class="mark ') for page in svgs) == sum(mark.playable for mark in marks(busy(6)))


def test_a_player_file_tells_them(tmp_path: Path) -> None:
    path = tmp_path / "player.toml"
    path.write_text('[player]\nname = "A"\n[stave]\nstaff_mm = 11\ndynamics = "above"\n', encoding="utf-8")
    assert read_player(path).stave == Stave(staff_mm=11, dynamics="above")
    assert player_of({"stave": {"text": 1.5}}).stave == Stave(text=1.5)
    for wrong, what in (("staff_mm = 60", "staff_mm"), ("lines = nan", "lines"), ('dynamics = "left"', "dynamics"),
                        ("size = 3", "size")):
        path.write_text(f"[player]\n[stave]\n{wrong}\n", encoding="utf-8")
        with pytest.raises(Unreadable, match=what):
            read_player(path)
