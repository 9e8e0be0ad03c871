"""Ours beside general trackers and an aligner, where they are installed: none is better by what can be heard."""

import importlib.util

import numpy as np
import pytest

from .peers import ALIGNERS, TRACKERS, WAYS, aligned, tracked

THERE = [name for name, (module, _) in TRACKERS.items() if importlib.util.find_spec(module)]


def test_ours_hears_every_tone() -> None:
    [(_, off, astray, _)] = [row for row in tracked(step=8) if row[0] == "ours"]
    assert astray == 0
    assert np.median(off) <= 1


@pytest.mark.whole
@pytest.mark.filterwarnings("ignore")
@pytest.mark.skipif(len(THERE) < 2, reason="no other pitch tracker is installed (librosa, swift-f0, praat-parselmouth)")
def test_no_tracker_does_better() -> None:
    rows = {name: (off, astray) for name, off, astray, _ in tracked()}
    ours, lost = rows.pop("ours")
    for name, (off, astray) in rows.items():
        assert lost <= astray, name
        assert np.percentile(ours, 95) <= np.percentile(off, 95) + 0.1, name    # less than anybody can hear


BESIDE = [name for name, (module, _) in ALIGNERS.items() if importlib.util.find_spec(module)]


@pytest.mark.whole
@pytest.mark.filterwarnings("ignore")
@pytest.mark.skipif(not BESIDE, reason="no other aligner is installed (librosa, synctoolbox)")
def test_no_aligner_does_better() -> None:
    within = {(name, way): sum(value <= 0.05 for value in off) / count for name, way, off, count in aligned()}
    for way in WAYS:
        for name in BESIDE:
            assert within["ours", way] >= within[name, way], (name, way)
