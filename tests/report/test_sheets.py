"""Answers on paper: each command's PDF says what its text says, read back by another library."""

import io
import json
import re
import textwrap
from pathlib import Path

import pytest

from analyzer.problem import Problem
from analyzer.report.blocks import Cautions, Finding, Findings, Gap, Head, Said, Table, Title, as_text
from analyzer.report.paper import sheet
from tests.commands.test_map import SAMPLES, run

pypdf = pytest.importorskip("pypdf")
pytest.importorskip("reportlab")

ETUDE, DEEP, MARCH = (SAMPLES / f"{name}.musicxml" for name in (
    "attachment-etude", "deep-water-bass-trombone", "harbour-march-trio"))
STUDENT, SECTION = SAMPLES / "student.toml", SAMPLES / "section.toml"
COMMANDS = {
    "review": ("review", MARCH, "--horn", "tenor", "--ossia"),
    "review bass": ("review", DEEP, "--horn", "tenor"),
    "compare": ("compare", MARCH, "--horns", "tenor,tenor-f,bass-independent"),
    "ready": ("ready", ETUDE, DEEP, "--player", STUDENT, "--from", "tenor", "--to", "tenor-f"),
    "fit": ("fit", MARCH, "--section", SECTION),
    "fit bass": ("fit", DEEP, "--section", SECTION),
}
OVER_A_FOLDER = {
    "compare": ("compare", "--horns", "tenor,tenor-f"),
    "search": ("search", "--player", STUDENT),
    "search section": ("search", "--section", SECTION),
    "survey": ("survey", "--section", SECTION),
}


def words_of(text: str) -> list[str]:
    return re.findall(r"\w+", text)


def pages_of(content: bytes) -> str:
    return "\n".join(page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages)


def sizes_of(content: bytes) -> set[float]:
    """Sizes of print of all text, from the text matrix that pypdf hands on. [pt]"""
    sizes: set[float] = set()

    def visit(text: str, _cm: list[float], matrix: list[float], _font: object, size: float) -> None:
        if text.strip():
            sizes.add(round(size * abs(matrix[3]), 2))

    for page in pypdf.PdfReader(io.BytesIO(content)).pages:
        page.extract_text(visitor_text=visit)
    return sizes


def says_all(printed: str, text: str) -> None:
    """Every word and number of the text stands on paper; order and line ends differ in tables."""
    # Heads over columns carry what a line of a terminal repeats, and paper names every measure.
    on_heads = {"Measure", "Measures", "and", "more", "mm", "m", "STOP", "CARE", "lowbrass"}
    found, flat = set(words_of(printed)), "".join(printed.split())
    for line in text.splitlines():
        if "--format json" in line:                    # what a terminal leaves out stands on paper
            continue
        for word in words_of(line):
            seen = word in on_heads or word in found or (not word.isdigit() and word in flat)
            assert seen, f"{word!r} of {line!r} is not on paper"


@pytest.mark.parametrize("command", COMMANDS.values(), ids=COMMANDS)
def test_a_sheet_says_what_the_text_says(command: tuple[object, ...], tmp_path: Path) -> None:
    first, again = tmp_path / "first.pdf", tmp_path / "again.pdf"
    done = run(*command, "-o", first)
    assert done.returncode in (0, 3), done.stderr
    assert f"Wrote {first} on A4 paper; --paper letter prints on Letter." in done.stderr
    assert run(*command, "-o", again, "--format", "json").returncode == done.returncode
    assert first.read_bytes() == again.read_bytes(), "equal input gives equal bytes"
    printed = pages_of(first.read_bytes())
    says_all(printed, done.stdout)
    assert min(sizes_of(first.read_bytes())) >= 8


@pytest.mark.parametrize("command", OVER_A_FOLDER.values(), ids=OVER_A_FOLDER)
def test_a_sheet_over_a_folder_says_what_the_text_says(command: tuple[object, ...], tmp_path: Path) -> None:
    folder, target = tmp_path / "library", tmp_path / "out.pdf"
    folder.mkdir()
    for path in (ETUDE, MARCH):
        (folder / path.name).write_bytes(path.read_bytes())
    (folder / "broken.musicxml").write_text("<score-partwise><part")
    name, *more = command
    done = run(name, folder, *more, "-o", target, "--paper", "letter")
    assert done.returncode in (0, 3), done.stderr
    says_all(pages_of(target.read_bytes()), done.stdout)
    assert [float(side) for side in pypdf.PdfReader(target).pages[0].mediabox[2:]] == [612, 792]
    assert min(sizes_of(target.read_bytes())) >= 8


def test_every_measure_of_a_finding_is_on_paper(tmp_path: Path) -> None:
    target = tmp_path / "review.pdf"
    done = run("review", DEEP, "--horn", "tenor", "-o", target, "--format", "json")
    data = json.loads(done.stdout)
    printed = set(words_of(pages_of(target.read_bytes())))
    assert len(data["findings"]) > 15
    assert {found["measure"] for found in data["findings"]} <= printed
    ready = tmp_path / "ready.pdf"
    done = run(*COMMANDS["ready"], "-o", ready, "--format", "json")
    needs = json.loads(done.stdout)["needs"]
    assert max(len(need["measures"]) for need in needs) > 8, "a terminal names eight"
    printed_text = " ".join(pages_of(ready.read_bytes()).split())
    for need in needs:
        assert ", ".join(need["measures"]) in printed_text


def test_the_verdict_of_a_folder_stands_first_on_paper(tmp_path: Path) -> None:
    target = tmp_path / "compare.pdf"
    run("compare", SAMPLES, "--horns", "tenor,tenor-f", "-o", target)
    printed = pages_of(target.read_bytes())
    assert 0 < printed.index("Verdict") < printed.index("Notes that cannot be played")


@pytest.mark.parametrize("command", ["review", "compare", "ready", "search", "survey", "fit"])
def test_a_wrong_ending_is_refused_before_work(command: str, tmp_path: Path) -> None:
    asked = {"review": COMMANDS["review"], "compare": COMMANDS["compare"], "ready": COMMANDS["ready"],
             "fit": COMMANDS["fit"], "search": ("search", SAMPLES), "survey": ("survey", SAMPLES)}[command]
    done = run(*asked, "-o", tmp_path / "out.docx")
    assert done.returncode == 2
    assert "end" in done.stderr
    assert not list(tmp_path.iterdir())


HOSTILE = ("<b>&amp;</para>", "x" * 700, "\x00\x1b[31mred", "𝄞 ♭♯ \u202eabc", "Ж中😀", "</table>\n<img src='file:///etc/passwd'/>",
           "", " ", "one two " * 2000)


def test_hostile_names_and_very_long_cells_are_set(tmp_path: Path) -> None:
    for name in HOSTILE:
        blocks = [Title(name), Gap(), Said(name, strong=True), Head(name, ruled=True), Table([["", name], [name, "1"]]),
                  Findings((name, "What"), [Finding((name, name), (name,))]), Cautions([name])]
        problem = Problem(severity="note", code="x", where=name, what=name, try_="")
        content = sheet(blocks, "a4", [problem])
        assert content == sheet(blocks, "a4", [problem])
        assert pypdf.PdfReader(io.BytesIO(content)).pages
        assert min(sizes_of(content)) >= 8


def test_many_columns_go_below_beside_the_first() -> None:
    heads = [f"horn-number-{k}" for k in range(24)]
    content = sheet([Table([["", *heads], ["travel", *(f"{k}.5 m" for k in range(24))]])])
    printed = pages_of(content)
    flat = "".join(printed.split())
    for k, head in enumerate(heads):
        assert head in flat
        assert f"{k}.5 m" in printed
    assert printed.count("travel") > 1
    ends = []
    for page in pypdf.PdfReader(io.BytesIO(content)).pages:
        page.extract_text(visitor_text=lambda text, cm, tm, font, size: ends.append(cm[4] + tm[4]))
    assert max(ends) < 595


def test_pages_say_their_number_and_the_title_again() -> None:
    content = sheet([Title("March for a Rainy Day"), *(Said(f"Line {k}.") for k in range(150))])
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(content)).pages]
    assert len(pages) > 1
    for nth, page in enumerate(pages, 1):
        assert f"Page {nth} of {len(pages)}" in page
        assert "March for a Rainy Day" in page
    assert "Page 1" not in pages_of(sheet([Title("Short"), Said("One line.")]))


def test_blocks_are_lines_in_a_terminal() -> None:
    blocks = [Title("Seen", paper=True), Title("Named"), Head("Head", ruled=True), Table([["a", "b"], ["ccc", "1"]]),
              Table([["a", "bbb"], ["c", "1"]], right=True), Findings(("x",), [Finding(("y",), ("  y: z.",))]),
              Said("long words here", indent=2, hang=1, wide=9), Gap(), Cautions(["rest."])]
    assert as_text(blocks) == textwrap.dedent("""\
        Named

        Head
        ====
        a    b
        ccc  1
        a  bbb
        c    1
          y: z.
          long
           words
           here


        Caution: rest.""")
