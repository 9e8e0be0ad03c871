"""Low brass found in every score that music21 brings (its corpus and the LilyPond suite), against a list made by hand.

The list was made from the names of all parts of all files: the parts that a musician would call trombone, euphonium or
baritone horn are the two trombones of one LilyPond file, and the lower part of a Kyrie whose file has no part name but
names its instrument ``Trombone``. ``Tenor``, ``Contratenor``, ``Baritone`` sing.
"""

import random
from pathlib import Path

import pytest

from analyzer.score.document import open_document
from analyzer.score.parts import find_parts

music21 = pytest.importorskip("music21", reason="the scores come with music21")
ROOT = Path(music21.__file__).parent
FILES = sorted(path for path in ROOT.rglob("*") if path.suffix in (".mxl", ".xml", ".musicxml") and path.is_file())
KYRIE = "PMFC_13_01-Kyrie-Summe-Clementissime"
OURS = {("41c-StaffGroups.xml", "P17", "trombone"), ("41c-StaffGroups.xml", "P18", "trombone"),
        (f"{KYRIE}.mxl", "P2", "trombone"), (f"{KYRIE}.xml", "P2", "trombone")}


def found(paths: list[Path]) -> set[tuple[str, str, str]]:
    return {(path.name, part.id, part.family) for path in paths for part in find_parts(open_document(path))[0]
            if part.low_brass}


def test_a_sample_and_the_hard_ones() -> None:
    hard = [path for path in FILES if path.name in {name for name, _, _ in OURS}]
    assert len(hard) == 3
    assert found([*hard, *random.Random(3).sample(FILES, 40)]) == OURS


@pytest.mark.whole
def test_every_file() -> None:
    assert len(FILES) > 700
    assert found(FILES) == OURS
