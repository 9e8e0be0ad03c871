"""The documentation says what the program does: the generated pages are as made, and the README's example runs."""

import re

import pytest

from analyzer.schemas import schema_names
from tests.docs.making import FOLDER, PAGES, ROOT, readme

README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", PAGES)
def test_generated_pages_are_as_made(name: str) -> None:
    if name == "python.md":
        for package in ("pandas", "nlopt", "music21"):
            pytest.importorskip(package, reason="the tour needs the extra all")
    assert (FOLDER / name).read_text(encoding="utf-8") == PAGES[name](), "run: python -m tests.docs"


def test_every_document_is_described() -> None:
    text = (FOLDER / "json.md").read_text(encoding="utf-8")
    assert {name for name in schema_names() if f"`lowbrass.{name}/1`" not in text} == set()


def test_links_of_the_pages_lead_somewhere() -> None:
    pages = sorted(FOLDER.glob("*.md"))
    assert len(pages) == 6
    for page in pages:
        for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).is_file(), f"{page.name}: {target}"


def test_the_example_of_the_readme_runs_and_gives_what_stands_there() -> None:
    assert readme() == README, "run: python -m tests.docs"
