"""Marks planned against marks that are there: in the score, on every form of page, and in what other programs save.

``python -m tests.marking.count [FOLDER ...] [--sample N] [--seed N] [--no-pdf]`` maps the low brass of every score that
other projects ship and of the folders (where a score has none, its lowest part) and prints one table. A row of the
table is a suite; differences are named below it.
"""

import argparse
import random
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from lxml import etree

from analyzer.analysis import Analysis, Planned, Request, analyse
from analyzer.engrave.copy import Copy, engraving_copy
from analyzer.engrave.engrave import PageOptions, engraved, pages_with, systems_with
from analyzer.engrave.pdf import pdf_of
from analyzer.engrave.svg import classes
from analyzer.marking.annotate import annotated, cleared
from analyzer.marking.mark import Mark
from analyzer.marking.which import WriteAs, marks
from analyzer.problem import Unreadable
from analyzer.score.document import Document, open_document, read_document
from analyzer.score.own_marks import is_ours, text_of
from analyzer.score.parts import find_parts
from tests.score.suites import suites

SCREEN = PageOptions(paper="screen", width_px=900, embed_fonts=False)
NARROW = PageOptions(paper="screen", width_px=360, embed_fonts=False, again=True)
PAPER = PageOptions(embed_fonts=False)


@dataclass(slots=True)
class Count:
    """Marks of one or more scores: planned, and found in each form."""

    name: str
    files: int = 0
    lines: int = 0
    planned: int = 0            # one a note of a line
    written: int = 0            # one a note and label: players who share both share a mark
    score: int = 0
    lyric: int = 0
    svg: int = 0
    narrow: int = 0
    paper: int = 0
    pdf: int = 0
    pdf_planned: int = 0
    wrong: list[str] = field(default_factory=list)

    def add(self, other: "Count") -> None:
        """Take over the figures of one score."""
        for name in ("files", "lines", "planned", "written", "score", "lyric", "svg", "narrow", "paper", "pdf",
                     "pdf_planned"):
            setattr(self, name, getattr(self, name) + getattr(other, name))
        self.wrong += other.wrong


def planned_lines(document: Document) -> Analysis | None:
    """Plan the low brass of a score, else its lowest part; None where it has no note to plan."""
    if document.root.find(".//note/pitch") is None:
        return None
    ours = tuple(part.id for part in find_parts(document)[0] if part.low_brass and document.part_measures(part.id))
    parts = ours or tuple(part_id for part_id in document.part_ids[::-1] if document.part_measures(part_id))[:1]
    return analyse(document, Request(parts=parts))


def visible_marks(document: Document, write_as: WriteAs = "fingering") -> Counter[str]:
    """Return the labels of our marks that a notation program shows."""
    if write_as == "lyric":
        return Counter(text_of(element) for element in document.root.iter("lyric") if is_ours(element))
    return Counter(text_of(element) for notations in document.root.iter("notations")
                   if notations.get("print-object") != "no"
                   for element in notations.iterfind("technical/fingering") if is_ours(element))


def tokens(svgs: Iterable[str], token: str) -> int:
    """Return how many marks pictures show, those of notes that cannot be played among them."""
    return sum(not {token, "unplayable"}.isdisjoint(classes(group)) for svg in svgs
               for group in etree.fromstring(svg.encode()).iter(etree.Element))


def copy_of(analysis: Analysis, one: Planned, wanted: Sequence[Mark]) -> Copy:
    """Return the music of one line with its marks, as the pages have it."""
    measures = one.plan.line.measures
    whole = len(measures) == len(analysis.document.part_measures(one.part.id))
    return engraving_copy(analysis.document, one.part.id, wanted, measures=None if whole or not measures else (
        measures[0].index, measures[-1].index))


def letters(pages: Sequence[str]) -> Counter[str]:
    """Return the characters of a PDF made of pictures, as pdftotext reads them."""
    with tempfile.NamedTemporaryFile(suffix=".pdf") as file:
        file.write(pdf_of(pages, PAPER))
        file.flush()
        read = subprocess.run(["pdftotext", file.name, "-"], capture_output=True, check=True)
    return Counter("".join(read.stdout.decode().split()))


def counted(path: Path, *, pdf: bool = False) -> Count:
    """Map one score and count what is there in each form; `pdf` by the characters that the marks add to its text."""
    count = Count(path.name)
    try:
        analysis = planned_lines(open_document(path))
    except Unreadable:
        return count
    if analysis is None or not any(one.plan.notes for one in analysis.lines):
        return count
    document = analysis.document
    wanted = marks(analysis.lines)
    count.files, count.lines, count.planned = 1, len(analysis.lines), len(wanted)
    count.written = len({(mark.part_id, mark.ref, mark.text) for mark in wanted})
    forms: tuple[WriteAs, ...] = ("fingering", "lyric")
    for write_as in forms:
        marked = read_document(annotated(document, wanted, write_as), path.name)
        found = visible_marks(marked, write_as)
        setattr(count, "score" if write_as == "fingering" else write_as, found.total())
        if write_as == "fingering" and found.total() != count.written:
            count.wrong.append(f"{path.name}: {count.written} written, {found.total()} visible in the score")
        if read_document(cleared(marked), path.name).xml != read_document(cleared(document), path.name).xml:
            count.wrong.append(f"{path.name}: cleared of {write_as}s it is not what it was")
    for one in analysis.lines:
        own = marks([one])
        if not own:
            continue
        copy = copy_of(analysis, one, own)
        try:
            sheets = engraved(copy, PAPER)
            pages = pages_with(sheets, copy)
            count.svg += tokens(pages_with(engraved(copy, SCREEN), copy), "mark")
            count.narrow += tokens(systems_with(engraved(copy, NARROW), copy), "mark-again")
            count.paper += tokens(pages, "mark")
        except (Unreadable, ValueError) as error:
            count.wrong.append(f"{path.name}, {one.part.name}: {error}")
            continue
        if pdf:
            added = letters(pages) - letters(pages_with(sheets, replace(copy, marks=())))
            labels = Counter("".join(mark.text for mark in own))
            count.pdf_planned += labels.total()
            count.pdf += (labels & added).total()
            if labels - added:
                count.wrong.append(f"{path.name}, {one.part.name}: a PDF lacks {dict(labels - added)}")
    return count


def table(rows: Sequence[Count]) -> str:
    """Return the figures as text, then every difference."""
    total = Count("all")
    for row in rows:
        total.add(row)
    heads = ("suite", "scores", "lines", "planned", "svg", "narrow", "paper", "in score", "visible", "syllables",
             "pdf signs", "of")
    out = [f"{heads[0]:<18}" + "".join(f"{head:>10}" for head in heads[1:])]
    for row in (*rows, total):
        figures = (row.files, row.lines, row.planned, row.svg, row.narrow, row.paper, row.written, row.score, row.lyric,
                   row.pdf, row.pdf_planned)
        out.append(f"{row.name[:17]:<18}" + "".join(f"{figure:>10}" for figure in figures))
    return "\n".join([*out, *(total.wrong or ["No difference."])])


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="*", type=Path)
    parser.add_argument("--sample", type=int, default=0, help="files of each suite, chosen by the seed; 0: all")
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--no-pdf", action="store_true")
    asked = parser.parse_args()
    rows = []
    for suite in suites(asked.folders):
        files = list(suite.files)
        if asked.sample:
            files = random.Random(asked.seed).sample(files, min(asked.sample, len(files)))
        row = Count(suite.name)
        for path in files:
            row.add(counted(path, pdf=not asked.no_pdf))
            if sys.stderr.isatty():
                print(path.name, file=sys.stderr)
        rows.append(row)
    print(table(rows))


if __name__ == "__main__":
    main()
