"""The paper that is supposed: that of the country of the computer's or the browser's language, and it is said."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from pypdf import PdfReader

from analyzer.cli import cli
from analyzer.paper_here import LETTER_COUNTRIES, paper_accepted, paper_here

SAMPLES = Path(__file__).parents[2] / "sample_scores"
LOCALES = Path("/usr/share/i18n/locales")
SIZES = {"a4": (595, 842), "letter": (612, 792)}          # ISO 216: 210 x 297 mm; ANSI A: 8.5 x 11 inches [points]


def height_mm(name: str) -> int | None:
    """Height of paper as the C library's locale has it."""
    found = re.search(r"^LC_PAPER$(.*?)^END LC_PAPER", (LOCALES / name).read_text("utf-8", "replace"), re.S | re.M)
    if found is None:
        return None
    same, told = re.search(r'^copy\s+"([^"]+)"', found[1], re.M), re.search(r"height\s+(\d+)", found[1])
    return height_mm(same[1]) if same else int(told[1]) if told else None


@pytest.mark.skipif(not (LOCALES / "en_US").is_file(), reason="the C library's locales are not installed")
def test_the_countries_are_those_of_the_c_library() -> None:
    told = {path.name: height_mm(path.name) for path in LOCALES.glob("*_[A-Z][A-Z]*")}
    known = {name: height for name, height in told.items() if height is not None}
    assert len(known) > 150
    for name, height in known.items():
        assert paper_here({"LANG": f"{name}.UTF-8"}) == ("letter" if height == 279 else "a4"), name
    assert {name.split("_")[1][:2] for name, height in known.items() if height == 279} == LETTER_COUNTRIES


@pytest.mark.parametrize(("environ", "paper"), [
    ({}, "a4"), ({"LANG": "C.UTF-8"}, "a4"), ({"LANG": "en_US.UTF-8"}, "letter"), ({"LANG": "en"}, "a4"),
    ({"LANG": "en_US.UTF-8", "LC_PAPER": "de_DE.UTF-8"}, "a4"), ({"LC_PAPER": "es_MX", "LANG": "de_DE"}, "letter"),
    ({"LC_ALL": "en_GB", "LC_PAPER": "en_US", "LANG": "en_US"}, "a4"), ({"LC_ALL": "", "LANG": "fr_CA"}, "letter"),
    ({"LANG": "nonsense-_!"}, "a4"),
])
def test_lc_all_outweighs_lc_paper_and_that_lang(environ: dict[str, str], paper: str) -> None:
    # POSIX.1-2017, environment variables, 8.2: LC_ALL, then the category's own, then LANG; empty is as not set.
    assert paper_here(environ) == paper


@pytest.mark.parametrize(("header", "paper"), [
    ("en-US,en;q=0.9", "letter"), ("en;q=0.9,de-AT;q=0.8,en-US;q=0.1", "a4"), ("es-419,es-MX;q=0.9", "letter"),
    ("zh-Hant-TW", "a4"), ("*", "a4"), ("", "a4"), ("en-us", "letter"),
])
def test_the_first_language_with_a_country_counts(header: str, paper: str) -> None:
    assert paper_accepted(header) == paper


@pytest.mark.parametrize(("language", "given", "paper"), [
    ("en_US.UTF-8", [], "letter"), ("de_DE.UTF-8", [], "a4"), ("en_US.UTF-8", ["--paper", "a4"], "a4")])
@pytest.mark.parametrize("command", [
    ["map", str(SAMPLES / "attachment-etude.musicxml"), "--measures", "9-11"], ["chart", "tenor"],
    ["fit", str(SAMPLES / "attachment-etude.musicxml"), "--section", str(SAMPLES / "section.toml")],
], ids=lambda command: command[0])
def test_a_pdf_is_on_that_paper_and_says_so(command: list[str], language: str, given: list[str], paper: str,
                                            tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LC_PAPER", language)
    target = tmp_path / "out.pdf"
    done = CliRunner().invoke(cli, [*command, *given, "-o", str(target)])
    assert done.exit_code in (0, 3), done.output
    box = PdfReader(target).pages[0].mediabox
    # A chart lies on its side.
    assert sorted(round(float(side)) for side in (box.width, box.height)) == sorted(SIZES[paper])
    other = {"a4": "letter", "letter": "a4"}[paper]
    name = {"a4": "A4", "letter": "Letter"}
    said = f"Wrote {target} on {name[paper]} paper; --paper {other} prints on {name[other]}."
    assert (said in done.stderr) == (not given)
    assert f"Wrote {target}" in done.stderr
