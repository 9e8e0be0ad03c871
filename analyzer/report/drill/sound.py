"""A practice sheet to listen to: its notes as MIDI, and reference pitches as a sound file."""

import importlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import log2
from typing import Any, Literal

from analyzer.guard import guarded
from analyzer.practice.drills import Drills
from analyzer.report.drill.sheet import sheet_musicxml
from analyzer.words import shown

RATE_HZ = 44100
TONE_S, GAP_S = 3.0, 1.0
_FADE_S = 0.05
# A soft brass-like tone: amplitudes of partials 1 to 6; judged, the ear wants some of them to hear beats.
_PARTIALS = (1.0, 0.6, 0.4, 0.25, 0.15, 0.1)
_LOUDNESS = 0.2                        # well below full scale: students turn it up, nobody is startled


Drone = Literal["equal", "just"]
# Pure ratios above a tonic, by semitones (H. Helmholtz, *On the Sensations of Tone*, 1877, tables of the just scales;
# the tritone and minor seventh have several, these are the diatonic ones).
_PURE = tuple(Fraction(*ratio) for ratio in (
    (1, 1), (16, 15), (9, 8), (6, 5), (5, 4), (4, 3), (45, 32), (3, 2), (8, 5), (5, 3), (9, 5), (15, 8)))
_DRONE_LOUD = 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """One tone of the listening file: from `start_s` for `TONE_S` seconds; `cents` beside equal temperament.

    `drone_midi` sounds below it, in equal temperament; None without.
    """

    start_s: float
    midi: int
    cents: float
    what: str
    drone_midi: int | None = None

    @property
    def hz(self) -> float:
        """Frequency, A4 = 440 Hz."""
        return _hz(self.midi + self.cents / 100)


def _hz(midi: float) -> float:
    return float(440.0 * 2 ** ((midi - 69) / 12))


def pure_cents(semitones: int) -> float:
    """How far a pure interval lies from its equal-tempered one. [cents, + is wider]

    Examples
    --------
    >>> [round(pure_cents(n), 1) for n in (4, 7, 12)]
    [-13.7, 2.0, 0.0]
    """
    return 1200 * log2(_PURE[semitones % 12]) - 100 * (semitones % 12)


def tones(drills: Drills, drone: Drone | None = None) -> tuple[Tone, ...]:
    """Return what to listen to: for each listening exercise the pitch in tune, then as each way of it speaks.

    A way within 1 cent of the pitch in tune adds no tone. With a drone, the tonic of the key signature (read as major)
    sounds below, and what is out of tune beats against it; in tune is then equal temperament or the pure interval.
    """
    result: list[Tone] = []
    tonic = 7 * drills.kit.fifths + drills.kit.transposition.chromatic

    def add(midi: int, cents: float, what: str) -> None:
        below = midi - ((midi - tonic) % 12 or 12) if drone else None
        result.append(Tone(start_s=len(result) * (TONE_S + GAP_S), midi=midi, cents=cents, what=what, drone_midi=below))

    def in_tune(midi: int) -> float:
        return pure_cents(midi - tonic) if drone == "just" else 0.0

    for exercise in drills.exercises:
        if exercise.kind not in ("two-ways", "tuning"):
            continue
        choices = dict.fromkeys(one.choice for row in exercise.measures for one in row if one.choice is not None)
        for midi in dict.fromkeys(choice.midi for choice in choices):
            name = drills.kit.written(midi).pretty
            add(midi, in_tune(midi), f"{name} in tune")
            for choice in choices:
                if choice.midi == midi and abs(choice.off_cents - in_tune(midi)) >= 1:
                    add(midi, choice.off_cents, f"{name} as {shown(choice.label)} speaks")
    if not result:
        for midi in dict.fromkeys(one.choice.midi for exercise in drills.exercises for row in exercise.measures
                                  for one in row if one.choice is not None):
            add(midi, in_tune(midi), f"{drills.kit.written(midi).pretty} in tune")
    return tuple(result)


def listening_wav(heard: Sequence[Tone]) -> bytes:
    """Return the tones as a WAV file (mono, 44.1 kHz, 16 bits).

    Raises
    ------
    ImportError
        If numpy or soundfile (extra `build`) is not installed.
    """
    np: Any = importlib.import_module("numpy")
    soundfile: Any = importlib.import_module("soundfile")

    time_s = np.arange(round(TONE_S * RATE_HZ)) / RATE_HZ
    shape = _LOUDNESS * np.minimum(1.0, np.minimum(time_s, time_s[::-1]) / _FADE_S) / sum(_PARTIALS)

    def wave(hz: float) -> Any:
        return shape * sum(loud * np.sin(2 * np.pi * hz * number * time_s) for number, loud in enumerate(_PARTIALS, 1))

    pieces = []
    for tone in heard:
        below = 0.0 if tone.drone_midi is None else _DRONE_LOUD * wave(_hz(tone.drone_midi))
        pieces += [wave(tone.hz) + below, np.zeros(round(GAP_S * RATE_HZ))]
    target = io.BytesIO()
    soundfile.write(target, np.concatenate(pieces), RATE_HZ, subtype="PCM_16", format="WAV")
    return target.getvalue()


def sheet_midi(drills: Drills) -> bytes:
    """Return the sheet at sounding pitch and its first tempi as a MIDI file.

    Raises
    ------
    ImportError
        If music21 (extra `build`) is not installed.
    """
    return guarded(_midi_of, sheet_musicxml(drills), where=drills.document.name, doing="writing the MIDI file")


def _midi_of(musicxml: bytes) -> bytes:
    """Turn a sheet into MIDI with music21; done in a worker process."""
    converter: Any = importlib.import_module("music21.converter")
    translate: Any = importlib.import_module("music21.midi.translate")
    score = converter.parseData(musicxml.decode("utf-8"), format="musicxml").toSoundingPitch()
    data = translate.streamToMidiFile(score).writestr()
    assert isinstance(data, bytes)
    return data
