"""Made-up recordings by others' means: sampled brass of openly licensed sound fonts, played by FluidSynth.

Debian's packages of the fonts (none is part of this project; what is not installed is left out):

* fluid-soundfont-gm: *FluidR3 GM*, F. Wen, 2000-2008, MIT licence
* timgm6mb-soundfont: *TimGM6mb*, T. Brechbill, 2004, GPL-2
* csound-soundfont: *sf_GMbank*, public domain by its own licence field

(A fourth there, musescore-general-soundfont, has the trombone of the first.) FluidSynth (LGPL-2.1) is a program beside
us: it is given a MIDI file, written here, and gives a sound file. What a note then sounds like is not taken from the
bend that was asked for: `measured_midi` looks at the dry sound, by its spectrum, which shares nothing with the way the
project finds a pitch.
"""

import shutil
import struct
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import soundfile

from .synth import RNG, Tone, Truth, still_to_go

FOLDER = Path("/usr/share/sounds/sf2")
FONTS = {"FluidR3": "FluidR3_GM.sf2", "TimGM6mb": "TimGM6mb.sf2", "GMbank": "sf_GMbank.sf2"}
TROMBONE, TUBA, HORN = 57, 58, 60      # General MIDI, counted from 0
FONT_RATE = 44100
_RANGE = 12                            # of a bend, semitones
_CHANNELS = [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15]


def installed() -> list[str]:
    """Names of the fonts that are there, if FluidSynth is there too."""
    return [name for name, file in FONTS.items() if (FOLDER / file).is_file()] if shutil.which("fluidsynth") else []


def _varint(value: int) -> bytes:
    out = [value & 0x7F]
    while value := value >> 7:
        out.append(0x80 | value & 0x7F)
    return bytes(reversed(out))


def midi_file(events: list[tuple[float, bytes]]) -> bytes:
    """Return a MIDI file of one track of (seconds, message), a tick a millisecond."""
    track, now = b"\x00\xff\x51\x03\x07\xa1\x20", 0
    for at_s, message in sorted(events, key=lambda event: event[0]):
        tick = max(now, round(1000 * at_s))
        track += _varint(tick - now) + message
        now = tick
    track += b"\x00\xff\x2f\x00"
    return b"MThd" + struct.pack(">IHHH", 6, 0, 1, 500) + b"MTrk" + struct.pack(">I", len(track)) + track


def _bend(channel: int, semitones: float) -> bytes:
    value = int(np.clip(round(8192 + 8192 * semitones / _RANGE), 0, 16383))
    return bytes([0xE0 | channel, value & 0x7F, value >> 7])


def events(tones: list[Tone], program: int, astray: list[float], rng: RNG) -> list[tuple[float, bytes]]:
    found = []
    for channel in _CHANNELS:
        found += [(0.0, bytes(message)) for message in (
            (0xC0 | channel, program), (0xB0 | channel, 101, 0), (0xB0 | channel, 100, 0), (0xB0 | channel, 6, _RANGE),
            (0xB0 | channel, 38, 0), (0xB0 | channel, 101, 127), (0xB0 | channel, 100, 127))]
    for place, tone in enumerate(tones):
        channel = _CHANNELS[place % len(_CHANNELS)]
        key = round(tone.midi)
        steady = tone.midi - key - astray[place]
        last = None
        for t in np.arange(0, tone.lasts_s, 0.004):
            bend = steady
            if tone.glide_s:
                bend += tone.glide_from / 100 * still_to_go(t, tone.glide_s)
            if tone.crack is not None and t < 0.06:
                bend = tone.crack - key
            bend += tone.vibrato_cents / 100 * np.sin(2 * np.pi * 4.7 * t) * min(1.0, max(0.0, (t - 0.3) / 0.2))
            message = _bend(channel, bend)
            if message != last:
                found.append((tone.start_s + t - 0.001 * (t == 0), message))
            last = message
        found.append((tone.start_s, bytes([0x90 | channel, key, int(rng.integers(72, 112))])))
        # One horn, one tone: it is let go for the tongue, and its tail is gone when the next one begins.
        after = tones[place + 1] if place + 1 < len(tones) else None
        end_s = tone.start_s + tone.lasts_s
        if after is not None and after.start_s - end_s < 0.3:
            found.append((after.start_s + 0.012 * after.tied, bytes([0xB0 | channel, 120, 0])))
            end_s = min(end_s, after.start_s - (0.0 if after.tied else min(0.05, 0.2 * tone.lasts_s)))
        found.append((end_s, bytes([0x80 | channel, key, 64])))
    return found


def rendered(events: list[tuple[float, bytes]], font: str, *, room: bool = False) -> np.ndarray:
    """Return the events as FluidSynth plays them, in one channel."""
    with tempfile.TemporaryDirectory() as folder:
        score, sound = Path(folder, "a.mid"), Path(folder, "a.wav")
        score.write_bytes(midi_file(events))
        subprocess.run(["fluidsynth", "-ni", "-g", "0.5", "-r", str(FONT_RATE), "-R", str(int(room)), "-C", "0", "-F",
                        str(sound), str(FOLDER / FONTS[font]), str(score)], check=True, capture_output=True)
        data, rate = soundfile.read(sound, dtype="float64", always_2d=True)
        assert rate == FONT_RATE
    return data.mean(axis=1)


def measured_midi(sound: np.ndarray, rate: int, near: float) -> float:
    """Return the pitch of a stretch of sound near a known one (midi scale), by the sum of its partials' spectrum."""
    window = sound * np.hanning(len(sound))
    size = 1 << (8 * len(window) - 1).bit_length()
    spectrum = np.abs(np.fft.rfft(window, size))
    cents = np.arange(-70, 70.01, 0.25)
    hz = 440 * 2 ** ((near - 69 + cents / 100) / 12)
    total = np.zeros(len(cents))
    for number in range(1, 13):
        if number * hz[-1] > min(4000, 0.45 * rate):
            break
        at = number * hz * size / rate
        low = at.astype(int)
        total += np.sqrt(spectrum[low] + (at - low) * (spectrum[low + 1] - spectrum[low]))
    best = int(np.clip(total.argmax(), 1, len(cents) - 2))
    before, here, after = total[best - 1:best + 2]
    return near + (cents[best] + 0.25 * 0.5 * (before - after) / (before - 2 * here + after)) / 100


@cache
def keys(font: str, program: int, low: int = 22, high: int = 72) -> dict[int, tuple[float, float]]:
    """Return how far each key of a font is from its name [semitones], and how long it takes to be heard [s].

    A note is heard when its sound reaches a tenth of its strength (20 dB below): a player's breath takes some time.
    """
    rng = np.random.default_rng(0)
    tones = [Tone(key, 0.2 + 1.6 * place, 1.2) for place, key in enumerate(range(low, high))]
    sound = rendered(events(tones, program, [0.0] * len(tones), rng), font)
    found = {}
    for tone in tones:
        middle = sound[int((tone.start_s + 0.3) * FONT_RATE):int((tone.start_s + 1.0) * FONT_RATE)]
        head = np.abs(sound[int(tone.start_s * FONT_RATE):int((tone.start_s + 0.3) * FONT_RATE)])
        found[int(tone.midi)] = (measured_midi(middle, FONT_RATE, tone.midi) - tone.midi,
                                 float(np.argmax(head > 0.1 * head.max())) / FONT_RATE)
    return found


def sampled(truth: Truth, font: str, program: int, rng: RNG) -> np.ndarray:
    """Play a truth with a font; the truth then tells the pitches and the beginnings that the dry sound has.

    A sample drifts as its player did. So it is played twice, the second time with each note's middle brought to the
    pitch that was asked for.
    """
    known = keys(font, program)
    seed = int(rng.integers(1 << 30))
    astray = [known[round(tone.midi)][0] for tone in truth.tones]
    dry = rendered(events(truth.tones, program, astray, np.random.default_rng(seed)), font)
    astray = [before + _middle_cents(dry, tone) / 100 for before, tone in zip(astray, truth.tones, strict=True)]
    dry = rendered(events(truth.tones, program, astray, np.random.default_rng(seed)), font)
    by_start = {round(tone.start_s, 6): tone for tone in truth.tones}
    for index, start_s in list(truth.starts_s.items()):
        tone = by_start[round(start_s, 6)]
        truth.starts_s[index] += known[round(tone.midi)][1]
        if index in truth.off_cents:
            truth.off_cents[index] += _middle_cents(dry, tone)
    return dry


def _middle_cents(dry: np.ndarray, tone: Tone) -> float:
    """Return how far the middle of a note is from what was asked for, 0 where it is too short to tell. [cents]"""
    first, last = (int((tone.start_s + share * tone.lasts_s) * FONT_RATE) for share in (0.35, 0.85))
    if last - first < 0.08 * FONT_RATE or tone.glide_s > 0.3 * tone.lasts_s:
        return 0.0
    return 100 * (measured_midi(dry[first:last], FONT_RATE, tone.midi) - tone.midi)
