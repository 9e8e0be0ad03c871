"""Recordings with known faults: what is found of them. The players and their physics are in players.py, synth.py."""

import numpy as np
import pytest

from analyzer.hearing.advice import advice_of
from analyzer.hearing.hear import hear
from analyzer.hearing.pitch import frames_of
from analyzer.hearing.sound import Sound
from analyzer.problem import Unreadable

from .measure import KINDS, WAYS, Score, cases, measured
from .players import Faults, planned, played, recording
from .synth import RATE, Tone, dressed, sounded

SEEDED = 10
"""Recordings in the plain run; `-m whole` takes all 80."""


def asked(total: Score) -> None:
    """The demands: published nowhere, they are what makes the answer useful to a teacher."""
    found = total.text() + "\n" + "\n".join(total.notes)
    assert total.matched >= 0.97 * total.played, found
    assert np.median(total.off) <= 2, found
    assert np.percentile(total.off, 95) <= 8, found
    assert np.percentile(total.onset, 97) <= 0.02, found
    assert np.percentile(total.slide, 98) <= 1, found
    assert total.wrong_found >= 0.95 * total.wrong, found
    assert total.wrong_false <= 0.03 * total.right, found
    assert total.late_found >= 0.9 * total.late, found
    assert not total.advice, found


def test_what_is_found_of_a_seeded_sample() -> None:
    chosen = list(cases())
    places = np.random.default_rng(11).permutation(len(chosen))[:SEEDED]
    asked(measured([chosen[k] for k in places]))


@pytest.mark.whole
def test_what_is_found_of_all_recordings() -> None:
    total = measured(cases())
    assert total.recordings >= 40
    assert total.late >= 30
    assert total.wrong >= 30
    print(total.text())
    asked(total)


@pytest.mark.parametrize("kind", KINDS)
def test_the_pitch_of_a_tone_is_the_one_that_was_made(kind: str) -> None:
    rng = np.random.default_rng(1)
    errors = []
    for midi in range(22, 71, 4):      # B flat 0 to B flat 4
        bend = float(rng.uniform(-0.3, 0.3))
        sound = dressed(sounded([Tone(midi + bend, 0.2, 0.9)], rng), kind, rng)
        frames = frames_of(Sound(samples=sound.astype(np.float32), rate=RATE, name="tone"))
        middle = frames.midi[(frames.times_s > 0.4) & (frames.times_s < 0.9)]
        errors.append(100 * abs(np.nanmedian(middle) - midi - bend))
    assert max(errors) < 2, errors


def test_a_position_that_is_always_short_is_the_first_advice() -> None:
    rng = np.random.default_rng(5)
    one = planned("tenor", 1, 24)
    truth = played(one, Faults(), rng)
    for tone, note in zip(truth.tones, one.plan.notes, strict=True):
        if note.choice.label == "3":
            tone.midi -= 0.15
    heard = hear(Sound(samples=recording(truth, "phone", rng).astype(np.float32), rate=RATE, name="x"), one)
    advice = advice_of(heard)
    assert "Position 3" in advice[0].what
    assert "too far out" in advice[0].what
    third = next(note.choice for note in one.plan.notes if note.choice.label == "3")
    expected_mm = (one.plan.horn.tube_mm / 2 + third.extension_mm) * (2 ** (15 / 1200) - 1)
    told_mm = float(advice[0].what.split(" mm")[0].split()[-1])
    assert told_mm == pytest.approx(expected_mm, abs=2)
    assert len(advice) == 1


def test_slide_places_follow_the_tube() -> None:
    """Ten cents are 8.6 mm at the half length of first, 10.2 in fourth, 12.1 in seventh, on a tube of 2.96 m."""
    from analyzer.hearing.causes import slide_off_mm

    one = planned("tenor", 1, 24)
    for label, expected_mm in (("1", 8.6), ("4", 10.2)):
        choice = next(note.choice for note in one.plan.notes if note.choice.label == label)
        assert slide_off_mm(one.plan.horn, choice, -10) == pytest.approx(expected_mm, abs=0.15)
    first = next(note.choice for note in one.plan.notes if note.choice.label == "1")
    assert slide_off_mm(one.plan.horn, first, 25) is None, "sharp in first: no slide can have been there"


def test_several_tries_are_told_apart_and_the_last_complete_one_counts() -> None:
    rng = np.random.default_rng(8)
    one = planned("tenor-f", 1, 8)
    first, second = played(one, Faults(slip_mm=30), rng), played(one, Faults(), rng)
    later = max(tone.start_s + tone.lasts_s for tone in first.tones) + 1.0
    for tone in second.tones:
        tone.start_s += later
    first.tones += second.tones
    heard = hear(Sound(samples=recording(first, "clean", rng).astype(np.float32), rate=RATE, name="x"), one)
    assert len(heard.passes) == 2
    assert heard.passes[0].median_off_cents >= heard.passes[1].median_off_cents
    assert all(note.sound is not None and note.sound.start_s > later for note in heard.notes)


@pytest.mark.parametrize("hz", [430.0, 440.0, 447.0])
def test_the_reference_is_estimated_or_told(hz: float) -> None:
    rng = np.random.default_rng(9)
    one = planned("euphonium-4", 1, 8)
    truth = played(one, Faults(reference_hz=hz), rng)
    sound = Sound(samples=recording(truth, "room", rng).astype(np.float32), rate=RATE, name="x")
    assert hear(sound, one).reference_hz == pytest.approx(hz, abs=0.3)
    told = hear(sound, one, reference_hz=440.0)
    offs = [note.cause.off_cents for note in told.notes if note.cause.off_cents is not None]
    assert np.median(offs) == pytest.approx(1200 * np.log2(hz / 440), abs=1)


def test_something_else_and_nobody_are_refused() -> None:
    rng = np.random.default_rng(10)
    one = planned("tenor-f", 1, 12)
    other = played(planned("bass-independent", 1, 14), Faults(), rng)
    noise = rng.normal(0, 0.1, 20 * RATE)
    for samples, code in ((recording(other, "clean", rng), "other-music"), (noise, "nobody-plays")):
        with pytest.raises(Unreadable) as found:
            hear(Sound(samples=samples.astype(np.float32), rate=RATE, name="x"), one)
        assert found.value.problem.code == code
        assert "\n" not in str(found.value)


def test_every_way_of_playing_is_in_the_cases() -> None:
    assert {way for _, way, _, _ in cases()} == set(WAYS)
    assert len(list(cases())) == 80
