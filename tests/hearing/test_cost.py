"""What listening costs: work grows with the length of the sound, and nothing is loaded before it is asked for."""

import subprocess
import sys
import time

import numpy as np
import pytest

from analyzer.hearing.hear import hear
from analyzer.hearing.sound import Sound
from analyzer.problem import Unreadable

from .players import Faults, planned, played, recording
from .synth import RATE


def work_s(samples: np.ndarray) -> float:
    """Processor time of hearing the first eight measures in a sound, the better of two runs. [s]"""
    one = planned("tenor-f", 1, 8)
    best = np.inf
    for _ in range(2):
        begin = time.process_time()
        hear(Sound(samples=samples, rate=RATE, name="x"), one)
        best = min(best, time.process_time() - begin)
    return float(best)


def test_work_grows_with_the_length() -> None:
    """Four times the sound is at most 4.6 times the work: a ratio of one run, whatever the machine."""
    rng = np.random.default_rng(51)
    once = recording(played(planned("tenor-f", 1, 8), Faults(), rng), "clean", rng).astype(np.float32)
    work_s(once[:8 * RATE])            # what is loaded once is not counted
    assert work_s(np.concatenate([once] * 4)) <= 4.6 * work_s(once)


def test_a_long_noise_is_refused_after_a_look_here_and_there() -> None:
    """Half an hour, the longest that is heard, costs hardly more than a minute: only so much is looked at."""
    one = planned("tenor-f", 1, 8)
    rng = np.random.default_rng(52)
    spent = []
    for minutes in (5, 25):
        noise = rng.normal(0, 0.1, minutes * 60 * 11025).astype(np.float32)
        begin = time.process_time()
        with pytest.raises(Unreadable, match="no instrument is heard"):
            hear(Sound(samples=noise, rate=11025, name="x"), one)
        spent.append(time.process_time() - begin)
    assert spent[1] <= 3 * spent[0]


def test_nothing_is_loaded_before_it_is_asked_for() -> None:
    code = ("import sys; import analyzer.commands.listen, analyzer.report.listen.document; "
            "print([name for name in ('numpy', 'soundfile', 'scipy', 'verovio', 'tomlkit') if name in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
