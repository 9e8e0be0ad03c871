"""The listening file with a drone: both pitches true, what is out of tune beats, pure intervals stand still."""

import io
import math

import pytest

from analyzer.report.drill.sound import listening_wav, pure_cents, tones
from tests.practice.test_drills import SAMPLES, made, run

np = pytest.importorskip("numpy")
soundfile = pytest.importorskip("soundfile")


def pieces(heard) -> list:
    data, rate = soundfile.read(io.BytesIO(listening_wav(heard)))
    assert rate == 44100
    assert np.abs(data).max() < 0.5
    return [data[round(tone.start_s * rate):][:3 * rate] for tone in heard]


def peak_hz(piece, expected_hz: float) -> float:
    """The peak of a long spectrum near a frequency; a Gaussian window makes its logarithm a parabola."""
    rate, size = 44100, 2 ** 20
    steady = piece[rate // 4:rate // 4 + 5 * rate // 2]
    window = np.exp(-0.5 * ((np.arange(len(steady)) - len(steady) / 2) / (len(steady) / 10)) ** 2)
    spectrum = np.log(np.abs(np.fft.rfft(steady * window, size)) + 1e-12)
    low, high = (round(expected_hz * ratio * size / rate) for ratio in (0.97, 1.03))
    top = low + int(spectrum[low:high].argmax())
    left, mid, right = spectrum[top - 1:top + 2]
    return float((top + (left - right) / (2 * (left - 2 * mid + right))) * rate / size)


@pytest.mark.parametrize(("case", "drone"), [
    ("euphonium-3", "equal"), pytest.param("euphonium-3", "just", marks=pytest.mark.whole),
    pytest.param("treble", "just", marks=pytest.mark.whole)])
def test_tone_and_drone_are_true_to_a_tenth_of_a_cent(case: str, drone) -> None:
    heard = tones(made(case), drone)
    checked = 0
    for tone, piece in zip(heard, pieces(heard), strict=True):
        below = 440 * 2 ** ((tone.drone_midi - 69) / 12)
        assert 1 <= tone.midi - tone.drone_midi <= 12
        assert abs(1200 * math.log2(peak_hz(piece, below) / below)) < 0.1
        hz = 440 * 2 ** ((tone.midi + tone.cents / 100 - 69) / 12)
        # Where a partial of the drone lies beside the tone, the two make one peak: that is what beats.
        if all(abs(hz / (below * k) - 1) > 0.03 for k in range(1, 7)):
            assert abs(1200 * math.log2(peak_hz(piece, hz) / hz)) < 0.1
            checked += 1
    assert checked or drone == "just"


def test_pure_intervals_are_whole_ratios() -> None:
    # Third, fifth, sixth: 5/4, 3/2, 5/3 (published often; here from the ratios themselves).
    for semitones, ratio in ((4, 5 / 4), (7, 3 / 2), (9, 5 / 3), (5, 4 / 3), (12, 1.0), (3, 6 / 5)):
        assert pure_cents(semitones) == pytest.approx(1200 * math.log2(ratio) - 100 * (semitones % 12))


def unsteadiness(piece, hz: float) -> float:
    """How far the partial near a frequency waxes and wanes: what a listener hears as beats. [ratio]"""
    rate = 44100
    steady = piece[rate // 2:rate // 2 + 2 * rate]
    turned = steady * np.exp(-2j * np.pi * hz * np.arange(len(steady)) / rate)
    # A tenth of a second at a time, every fiftieth of a second; the other partials, 87 Hz apart, fall out.
    loud = np.array([abs((turned[at:at + 4410] * np.hanning(4410)).sum()) for at in range(0, len(turned) - 4410, 882)])
    return float(loud.std() / loud.mean())


def test_what_is_out_of_tune_beats_and_what_is_pure_stands_still() -> None:
    heard = tones(made("euphonium-3"), "just")
    # C3 lies a pure fifth above F2: its second partial is the drone's third, 261.9 Hz.
    assert {tone.drone_midi for tone in heard if tone.midi == 48} == {41}
    shared_hz = 3 * 440 * 2 ** ((41 - 69) / 12)
    measured = {tone.what: unsteadiness(piece, shared_hz) for tone, piece in zip(heard, pieces(heard), strict=True)}
    assert measured["C3 in tune"] < 0.02
    assert measured["C3 as 1-3 speaks"] > 0.2


def test_the_key_of_a_transposed_part_is_that_of_the_sound() -> None:
    drills = made("treble")
    tonic = {tone.drone_midi % 12 for tone in tones(drills, "equal")}
    # B flat treble clef: written two flats more than sounds is the tonic a major second lower.
    assert tonic == {(7 * drills.kit.fifths - 14) % 12}


def test_drone_needs_a_sound_file() -> None:
    done = run("drill", SAMPLES / "evening-song-euphonium.musicxml", "--drone", "just")
    assert done.returncode == 2
    assert "--drone is for the sound file; add --tones FILE.wav." in done.stderr
