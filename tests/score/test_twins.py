"""The comparison of twins itself: it sees a note, a tie and a slur that differ, and the samples have none."""

from pathlib import Path

import pytest

from analyzer.score.document import open_document, read_score
from tests.score.twins import compared, why

FORMS = Path(__file__).parent / "forms"
SAMPLES = Path(__file__).parents[2] / "sample_scores"


@pytest.mark.parametrize("version", ["2", "3", "4", "parts-4"])
def test_the_hymn_is_the_same_in_every_version(version: str) -> None:
    found = compared(open_document(FORMS / f"brass-band-hymn-{version}.mscz"),
                     open_document(SAMPLES / "brass-band-hymn.musicxml"), "hymn")
    assert (found.notes_differ, found.ties_differ, found.slurs_differ) == (0, 0, 0)
    assert found.notes > 300


def test_what_differs_is_counted() -> None:
    whole = (SAMPLES / "brass-band-hymn.musicxml").read_bytes()
    mine = open_document(FORMS / "brass-band-hymn-3.mscz")
    moved = compared(mine, read_score(whole.replace(b"<step>B</step>", b"<step>C</step>", 1), "moved.musicxml"), "a")
    assert moved.notes_differ == 2, "one of theirs, one of ours"
    loose = compared(mine, read_score(whole.replace(b'<slur type="start"', b'<slur type="continue"', 1), "b.xml"), "b")
    assert (loose.notes_differ, loose.slurs_differ > 0) == (0, True)


def test_reasons_are_found_by_the_beginning_of_the_name() -> None:
    assert "tuplets of 24" in why("orch-brahms-op-68-4.mxl.mscz")
    assert "metres" in why("0439-goldberg.mscx")
    assert why("hymn.mscz") == ""
