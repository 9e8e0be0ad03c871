"""The picture of the music: whole, however long."""

import re

import pytest

from analyzer.engrave.copy import engraving_copy
from analyzer.score.document import read_document
from analyzer.web.engraver import ID_PREFIX, engrave
from tests.benchmarks import making


def test_music_longer_than_the_engravers_longest_page_stays_whole() -> None:
    pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")
    copy = engraving_copy(read_document(making.study(300), "study.musicxml"), "P1")
    assert len(re.findall(rf'id="{ID_PREFIX}m\d+"', engrave(copy, 300)[0])) == 300
