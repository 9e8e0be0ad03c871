"""A recording that breaks off anywhere, in the middle of a note too, is heard as far as it goes."""

import numpy as np
import pytest

from analyzer.hearing.hear import hear
from analyzer.hearing.sound import Sound

from .players import Faults, planned, played, recording
from .synth import RATE


@pytest.fixture(scope="module")
def lesson() -> np.ndarray:
    """The recording at whose three quarters the walk ran past the end."""
    rng = np.random.default_rng(21)
    return recording(played(planned("tenor-f", 1, 8), Faults(slip_mm=30.0, wrong=0.1, missing=0.05), rng), "clean", rng)


@pytest.mark.parametrize("share", [0.75, 0.5, 0.667, 0.9])
def test_a_recording_that_breaks_off_is_heard_to_its_end(lesson: np.ndarray, share: float) -> None:
    samples = lesson[:int(share * len(lesson))].astype(np.float32)
    heard = hear(Sound(samples=samples, rate=RATE, name="lesson"), planned("tenor-f", 1, 8))
    sounds = [note.sound for note in heard.notes if note.sound is not None and note.sound.midi is not None]
    assert len(sounds) >= 0.8 * share * len(heard.notes)
    assert max(sound.end_s for sound in sounds) <= len(samples) / RATE + 0.02
