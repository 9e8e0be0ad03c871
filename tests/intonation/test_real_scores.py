"""Chords of real scores against music21's: every difference is decided, and the recorded table holds."""

from pathlib import Path

import pytest

from tests.intonation.real_scores import SAMPLES, SHARED, Difference, compare, decided, reason, recorded, row

pytest.importorskip("music21")
_FOREIGN = sorted(name for name in recorded() if not (SAMPLES / name).exists())


@pytest.mark.parametrize("name", ["quiet-chorale-trombones.mxl", "evening-song-euphonium.musicxml"])
def test_chords_of_our_samples(name: str) -> None:
    _held(SAMPLES / name)


@pytest.mark.whole
@pytest.mark.parametrize("name", _FOREIGN)
def test_chords_of_real_scores(name: str) -> None:
    path = SHARED / "scores" / name
    if not path.exists():
        pytest.skip(f"{name} is not beside the project")
    _held(path)


def _held(path: Path) -> None:
    found = compare(path)
    assert [one.where for one in found.differences if not reason(one)] == []
    assert row(found) == recorded()[path.name]
    assert found.same + found.both_unnamed + len(found.differences) == found.long_notes


def test_a_wrong_name_is_not_decided_by_itself() -> None:
    """C major heard all the time: neither another name nor none would have a reason."""
    heard = ((1.0, frozenset({"C", "E", "G"})),)
    for ours in (("A", "minor"), ("C", "minor"), None):
        assert decided(Difference(score="", part="", line=1, measure="1", note="C3", seconds=2.0, ours=ours,
                                  theirs=("C", "major"), heard=heard)) == ""
