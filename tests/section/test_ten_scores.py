"""Ten public scores with invented sections, each read beside the score: verdict, seats, changes and findings.

The scores are not ours and not part of the project: set ``LOWBRASS_SCORES`` to a folder that holds them. The files
``orch-*.mxl`` are from the repository MarkGotham/Hauptstimme (data/, CC0), ``orch-dvorak9-mvt2.xml`` from
iis-mctl/mctl-symphony-dataset (MIT), ``bigband-preludius-maximus.mxl`` from rob-mosher/musicxml-to-png (MIT).

Print what is said of each::

    LOWBRASS_SCORES=FOLDER python -m tests.section.test_ten_scores
"""

import os
import tomllib
from pathlib import Path
from typing import Any

import pytest

from analyzer.report.fit.text import fit_text
from analyzer.score.document import open_document
from analyzer.section.fit import SectionFit, fit
from analyzer.section.section import section_of

PIECES = tomllib.loads(Path(__file__).with_name("ten_scores.toml").read_text(encoding="utf-8"))["piece"]
SCORES = Path(os.environ.get("LOWBRASS_SCORES", "."))


def answer(piece: dict[str, Any]) -> SectionFit:
    players = {key: piece[key] for key in ("player", "spare") if key in piece}
    section, problems = section_of(players, "ten_scores.toml")
    assert problems == ()
    assert section is not None
    return fit(open_document(SCORES / piece["file"]), section)


def test_there_are_ten_and_each_was_judged() -> None:
    assert len({piece["file"] for piece in PIECES}) == 10
    for piece in PIECES:
        assert piece["judged"].startswith("right")
        assert section_of({"player": piece["player"]}, "ten_scores.toml")[1] == ()


@pytest.mark.whole
@pytest.mark.parametrize("piece", PIECES, ids=lambda piece: piece["file"])
def test_what_is_said_is_what_a_reader_of_the_score_says(piece: dict[str, Any]) -> None:
    if not (SCORES / piece["file"]).exists():
        pytest.skip(f"{piece['file']} is not in the folder that LOWBRASS_SCORES names")
    one = answer(piece)
    assert one.verdict == piece["verdict"]
    assert [change.kind for change in one.changes] == piece["changes"]
    assert {seat.chair.title: f"{seat.member.name} on {seat.burden.horn.name}" for seat in one.seats
            if not seat.doubles} == piece["seats"]
    said = [(seat.chair.title, finding.measure or "", finding.code, finding.what) for seat in one.seats
            for finding in seat.findings]
    for line, measure, code, words in piece["finds"]:
        assert any(found[:3] == (line, measure, code) and words in found[3] for found in said), (line, measure, code)
    # Nobody is called too short, too slow or too young for good: every stop and care names a way out.
    for seat in one.seats:
        for finding in seat.findings:
            assert finding.severity == "note" or finding.try_


if __name__ == "__main__":
    for each in PIECES:
        print(f"##### {each['file']}: {each['judged']}\n{fit_text(answer(each))}")
