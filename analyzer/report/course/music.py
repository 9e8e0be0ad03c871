"""The music of an excerpt on a sheet: engraved with its marks, broken into lines, and its tempo ladder."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from lxml import etree

from analyzer.analysis import Planned, Request, analyse
from analyzer.course.course import Excerpt
from analyzer.course.skills import Goal, learner_of
from analyzer.engrave.engrave import excerpt_svg
from analyzer.marking.which import marks
from analyzer.plan.solve import Planner
from analyzer.practice.builder import BEATS, metronome, steps_to
from analyzer.problem import Problem, Unreadable
from analyzer.report.take_home.page import take_home
from analyzer.score.document import Document
from analyzer.score.transposing import Reads
from analyzer.selection import Asked, asked_lines, chosen_parts
from analyzer.writing.readers import CLEFS, Clef, clef_named, clef_reader
from analyzer.writing.write import written_for

_WIDEST_PX = 1000.0
"""A line of music may be so wide before it is broken: 180 mm of paper hold 900 at full size. [px]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExcerptMusic:
    """The lines of music, each an SVG; the beat in words with the metronome numbers up to the printed tempo.

    `rewritten` tells that the clef is not the score's own; `assumed_tempo` that the score gives none. `document`,
    `planned` and `reads` are what was engraved. `problem` stands in place of music that could not be.
    """

    svgs: tuple[str, ...] = ()
    beat: str = ""
    ladder: tuple[int, ...] = ()
    rewritten: bool = False
    assumed_tempo: bool = False
    document: Document | None = None
    planned: Planned | None = None
    reads: Reads | None = None
    problem: Problem | None = None


def music_of(excerpt: Excerpt, goal: Goal, document: Document, clef: Clef | None, *,
             reads: Reads | None = None) -> ExcerptMusic:
    """Engrave an excerpt in a clef (None: as printed), on the new horn; what stands in the way is its problem."""
    try:
        return _music(excerpt, goal, document, clef, reads)
    except Unreadable as error:
        return ExcerptMusic(problem=error.problem)
    except ValueError as error:
        return ExcerptMusic(problem=Problem(
            severity="warning", code="not-engraved", where=f"{excerpt.score}, {excerpt.part}",
            what=f"the excerpt could not be engraved ({error})", try_="Play it from the score."))


def _music(excerpt: Excerpt, goal: Goal, document: Document, clef: Clef | None, reads: Reads | None) -> ExcerptMusic:
    parts, _ = chosen_parts(document, (excerpt.part_id,))
    lines, _ = asked_lines(document, parts, reads=reads)
    asked = next(one for one in lines if one.line.number == excerpt.line)
    here = [note for note in asked.line.notes if excerpt.start <= note.measure_index <= excerpt.stop]
    rewritten = clef is not None and any(
        note.clef != ("treble" if clef == "treble-b-flat" else clef) for note in here)
    if excerpt.of > 1 or rewritten:
        clef = clef or (clef_named(here[0].clef) if here[0].clef in CLEFS else "bass")
        document = written_for(document, asked, clef_reader(clef), reads=reads).document
        reads = "treble-b-flat" if clef == "treble-b-flat" else None
        parts, _ = chosen_parts(document, ("P1",))
        lines, _ = asked_lines(document, parts, reads=reads)
        asked = lines[0]
    planned, svgs = engraved(document, asked, goal, excerpt.start, excerpt.stop)
    beat, ladder = _ladder(asked, planned.planner, excerpt)
    return ExcerptMusic(svgs=svgs, beat=beat, ladder=ladder, rewritten=rewritten, assumed_tempo=not asked.line.tempi,
                        document=document, planned=planned, reads=reads)


def engraved(document: Document, asked: Asked, goal: Goal, start: int, stop: int,
             pins: Mapping[int, str] | None = None) -> tuple[Planned, tuple[str, ...]]:
    """Plan a line on the new horn and engrave some of its measures with their marks, broken to fit the paper."""
    planner = Planner(asked.line, goal.after, learner_of(goal.player))
    planned = Planned(part=asked.part, planner=planner, plan=planner.plan(pins), assumed=False)
    shown = [mark for mark in marks([planned]) if mark.part_id == asked.part.id]
    return planned, tuple(_lines(lambda first, last: excerpt_svg(document, asked.part.id, (first, last), shown),
                                 start, stop))


def phone_page(excerpt: Excerpt, music: ExcerptMusic, goal: Goal, horn: str) -> bytes | None:
    """Return an excerpt as a page for a phone, with the marks of the sheet; None where it could not be engraved.

    `horn` is the new horn's name or file.

    Raises
    ------
    Unreadable
        As for `take_home`.
    """
    if music.document is None or music.planned is None:
        return None
    request = Request(parts=(music.planned.part.id,), horns=(horn,), measures=(excerpt.first, excerpt.last),
                      player=learner_of(goal.player), reads=music.reads)
    number = music.planned.plan.line.number
    free = next(one.plan for one in analyse(music.document, request).lines if one.plan.line.number == number)
    labels = {note.note.refs: note.choice.label for note in music.planned.plan.notes if note.choice is not None}
    pins: dict[tuple[int | None, str, int], str] = {}
    nth: Counter[str] = Counter()
    for note in free.notes:
        nth[note.note.measure] += 1
        told = labels.get(note.note.refs)
        # The sheet is planned with the whole line around it; alone a note may come out otherwise.
        if told is not None and note.choice is not None and note.choice.label != told:
            pins[number, note.note.measure, nth[note.note.measure]] = told
    return take_home(music.document, replace(request, pins=pins), line=number)[0]


def _lines(engrave: Callable[[int, int], str], first: int, last: int) -> Sequence[str]:
    """Break measures into lines that fit the paper."""
    svg = engrave(first, last)
    if first == last or size_of(svg)[0] <= _WIDEST_PX:
        return [svg]
    middle = (first + last) // 2
    return [*_lines(engrave, first, middle), *_lines(engrave, middle + 1, last)]


def size_of(svg: str) -> tuple[float, float]:
    """Return width and height of a picture. [px]"""
    root = etree.fromstring(svg.encode())
    return float(root.get("width", "0").rstrip("px")), float(root.get("height", "0").rstrip("px"))


def _ladder(asked: Asked, planner: Planner, excerpt: Excerpt) -> tuple[str, tuple[int, ...]]:
    """Return the beat in words, and metronome numbers from three fifths of the printed tempo up to it, never above."""
    here = [(note, planner.times[k]) for k, note in enumerate(asked.line.notes)
            if excerpt.start <= note.measure_index <= excerpt.stop]
    quarters = asked.line.beat_at(here[0][0].onset).quarters
    goal = min(time.bpm for _, time in here) / float(quarters)
    numbers = [step for step in steps_to(goal) if step <= goal] or [metronome(goal)]
    return BEATS.get(Fraction(quarters), "beat"), tuple(numbers)


def flowable(svg: str, widest_pt: float, size: float = 1.0) -> Any:
    """Return a picture as a piece of a page, at 0.2 mm a pixel (a staff of 7.2 mm) times `size`, smaller to fit."""
    from reportlab.platypus import Flowable

    from analyzer.engrave.paint import Painter

    wide, high = size_of(svg)
    scale = min(size * 0.2 * 72 / 25.4, widest_pt / wide)

    class Picture(Flowable):                             # type: ignore[misc]
        def __init__(self) -> None:
            super().__init__()
            self.width, self.height = wide * scale, high * scale

        def draw(self) -> None:
            painter = Painter()
            drawn = painter.paint(svg, self.width, self.height)
            painter.whole_fonts()
            painter.onto(self.canv, drawn)

    return Picture()
