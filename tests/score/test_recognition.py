"""Low brass found in every score that other projects ship, against a list made by hand.

The list was made from the names of all parts of all files, by what a musician would call trombone, euphonium or
baritone horn. ``Tenor``, ``Contratenor``, ``Baritone`` and Mahler's ``Solo Baritone & Bass`` sing. A Kyrie of music21's
corpus has no part name, but names its instrument ``Trombone``; Mozart's third trombone is a bass by its instrument.
"""

import random
from pathlib import Path

import pytest

from analyzer.score.document import open_document
from analyzer.score.parts import find_parts
from tests.score.known import UNREADABLE
from tests.score.suites import every_file

pytest.importorskip("music21", reason="most of the scores come with music21")
FILES = [path for path in every_file() if path.name not in UNREADABLE]
KYRIE = "PMFC_13_01-Kyrie-Summe-Clementissime"
MAHLER, DVORAK, MOZART, STRAUSS = ("Mahler_Symphony_8_Finale.mxl", "Dvorak_Symphony_9_mov_4.mxl",
                                   "Mozart_Requiem_Introitus.mxl", "Strauss_Also_Sprach_Zarathustra.mxl")
OURS = {
    ("41c-StaffGroups.xml", "P17", "trombone"), ("41c-StaffGroups.xml", "P18", "trombone"),
    (f"{KYRIE}.mxl", "P2", "trombone"), (f"{KYRIE}.xml", "P2", "trombone"),
    ("test_41c_StaffGroups.xml", "p18", "trombone"), ("test_41c_StaffGroups.xml", "p19", "trombone"),
    (DVORAK, "P8", "trombone"), (DVORAK, "P9", "trombone"),
    *((MAHLER, f"P{number}", "trombone") for number in (39, 40, 41, 42, 43, 44, 54, 56)),
    (MOZART, "P5", "trombone"), (MOZART, "P6", "trombone"), (MOZART, "P7", "bass trombone"),
    (STRAUSS, "P17", "trombone"), (STRAUSS, "P18", "trombone"),
}


def found(paths: list[Path]) -> set[tuple[str, str, str]]:
    return {(path.name, part.id, part.family) for path in paths for part in find_parts(open_document(path))[0]
            if part.low_brass}


def test_a_sample_and_the_hard_ones() -> None:
    hard = [path for path in FILES if path.name in {name for name, _, _ in OURS}]
    here = {path.name for path in hard}
    assert len(hard) >= 3
    assert found([*hard, *random.Random(3).sample(FILES, 40)]) == {one for one in OURS if one[0] in here}


@pytest.mark.whole
def test_every_file() -> None:
    here = {path.name for path in FILES}
    assert len(FILES) > 700
    assert found(FILES) == {one for one in OURS if one[0] in here}
