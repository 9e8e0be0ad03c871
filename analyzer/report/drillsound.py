"""A practice sheet to listen to: its notes as MIDI, and reference pitches as a sound file."""

import importlib
import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analyzer.horns.candidate import shown
from analyzer.practice.drills import Drills
from analyzer.report.drillsheet import sheet_musicxml

RATE_HZ = 44100
TONE_S, GAP_S = 3.0, 1.0
_FADE_S = 0.05
# A soft brass-like tone: amplitudes of partials 1 to 6; judged, the ear wants some of them to hear beats.
_PARTIALS = (1.0, 0.6, 0.4, 0.25, 0.15, 0.1)
_LOUDNESS = 0.2                        # well below full scale: students turn it up, nobody is startled


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """One tone of the listening file: from `start_s` for `TONE_S` seconds; `cents` beside equal temperament."""

    start_s: float
    midi: int
    cents: float
    what: str

    @property
    def hz(self) -> float:
        """Frequency, A4 = 440 Hz."""
        return float(440.0 * 2 ** ((self.midi - 69 + self.cents / 100) / 12))


def tones(drills: Drills) -> tuple[Tone, ...]:
    """Return what to listen to: for each listening exercise the pitch in tune, then as each way of it speaks.

    A way within 1 cent of the pitch in tune adds no tone.
    """
    result: list[Tone] = []

    def add(midi: int, cents: float, what: str) -> None:
        result.append(Tone(start_s=len(result) * (TONE_S + GAP_S), midi=midi, cents=cents, what=what))

    for exercise in drills.exercises:
        if exercise.kind not in ("two-ways", "tuning"):
            continue
        choices = dict.fromkeys(one.choice for row in exercise.measures for one in row if one.choice is not None)
        for midi in dict.fromkeys(choice.midi for choice in choices):
            name = drills.kit.written(midi).pretty
            add(midi, 0.0, f"{name} in tune")
            for choice in choices:
                if choice.midi == midi and abs(choice.off_cents) >= 1:
                    add(midi, choice.off_cents, f"{name} as {shown(choice.label)} speaks")
    if not result:
        for midi in dict.fromkeys(one.choice.midi for exercise in drills.exercises for row in exercise.measures
                                  for one in row if one.choice is not None):
            add(midi, 0.0, f"{drills.kit.written(midi).pretty} in tune")
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

    pieces = []
    time_s = np.arange(round(TONE_S * RATE_HZ)) / RATE_HZ
    shape = np.minimum(1.0, np.minimum(time_s, time_s[::-1]) / _FADE_S)
    for tone in heard:
        wave = sum(loud * np.sin(2 * np.pi * tone.hz * number * time_s)
                   for number, loud in enumerate(_PARTIALS, 1))
        pieces += [_LOUDNESS * shape * wave / sum(_PARTIALS), np.zeros(round(GAP_S * RATE_HZ))]
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
    converter: Any = importlib.import_module("music21.converter")
    translate: Any = importlib.import_module("music21.midi.translate")
    score = converter.parseData(sheet_musicxml(drills).decode("utf-8"), format="musicxml").toSoundingPitch()
    data = translate.streamToMidiFile(score).writestr()
    assert isinstance(data, bytes)
    return data
