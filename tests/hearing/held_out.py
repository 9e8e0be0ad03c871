"""Recordings by makers that nothing was tuned on: ``python -m tests.hearing.held_out`` prints what is found of them.

The sounds are those of `fonts` (real players' samples) and of `pulsed` below (a pulse bent by its own strength, as a
tube's wave steepens, with breath noise and an unsteady lip); the rooms are boxes by the image method (J. B. Allen and
D. A. Berkley, *Image method for efficiently simulating small-room acoustics*, J. Acoust. Soc. Am. 65, 1979); the phone
is a band from 200 Hz with a compressor; then MP3 at a low rate or Opus. Seeds, passages and shares of faults are others
than those of `measure`.
"""

import io
import sys
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import soundfile

from analyzer.analysis import Planned
from analyzer.hearing.advice import advice_of
from analyzer.hearing.hear import Hearing, hear
from analyzer.hearing.sound import Sound

from . import fonts
from .measure import Score
from .players import Faults, planned, played
from .synth import RNG, Tone, Truth

RATE = 44100
SEED = 1977
RANGES = {"tenor": (20, 42), "tenor-f": (9, 28), "bass-independent": (10, 30), "euphonium-4": (12, 32)}
WAYS = {
    "perfect": Faults(tempo=1.05, jitter_s=0.01),
    "out of tune": Faults(slip_mm=30.0, reference_hz=443.0, drift=-0.06, vibrato_cents=15.0, jitter_s=0.025),
    "careless": Faults(slip_mm=12.0, wrong=0.12, missing=0.05, late=0.3, cracked=0.05, reference_hz=437.0, tempo=0.95),
    "third try": Faults(slip_mm=20.0, restart=True, wrong=0.06, late=0.25, tempo=1.1, jitter_s=0.015),
    "from the middle": Faults(skip=True, first=4, slip_mm=12.0, late=0.2, drift=0.1, reference_hz=441.0),
}
DRESSES = ("hall", "small room", "phone", "mp3", "opus phone")
PROGRAMS = {"tenor": fonts.TROMBONE, "tenor-f": fonts.TROMBONE, "bass-independent": fonts.TROMBONE,
            "euphonium-4": fonts.TUBA}


def pulsed(tones: list[Tone], rng: RNG) -> np.ndarray:
    """Return tones as a steepened wave: sin(p + b sin(p)), b by the strength; bell, breath, an unsteady lip."""
    out = np.zeros(int((max(tone.start_s + tone.lasts_s for tone in tones) + 0.6) * RATE))
    for tone in tones:
        count = int(tone.lasts_s * RATE)
        t = np.arange(count) / RATE
        wander = np.interp(t, np.arange(0, tone.lasts_s + 0.2, 0.1),
                           rng.normal(0, 1.2, len(np.arange(0, tone.lasts_s + 0.2, 0.1))))
        cents = wander - wander.mean() + tone.vibrato_cents * np.sin(2 * np.pi * 5.8 * t) * np.clip(t / 0.4 - 0.6, 0, 1)
        if tone.glide_s:
            cents += tone.glide_from * (0.5 + 0.5 * np.cos(np.pi * np.clip(t / tone.glide_s, 0, 1)))
        midi = tone.midi + cents / 100
        if tone.crack is not None:
            midi[:int(0.06 * RATE)] = tone.crack
        phase = 2 * np.pi * np.cumsum(440 * 2 ** ((midi - 69) / 12)) / RATE + float(rng.uniform(0, 6))
        rise = 0.012 if tone.tied else float(rng.uniform(0.015, 0.03))
        strength = np.clip(t / rise, 0, 1) ** 1.5 * np.clip((tone.lasts_s - t) / 0.03, 0, 1)
        strength *= (1 + 0.15 * np.sin(2 * np.pi * 0.7 * t + float(rng.uniform(0, 6)))) * float(rng.uniform(0.6, 1))
        bend = 0.35 + 1.1 * strength
        wave = np.sin(phase + bend * np.sin(phase) + 0.3 * bend * np.sin(2 * phase))
        wave += 0.02 * rng.normal(0, 1, count) * (1 + 3 * np.exp(-t / 0.02))
        at = int(tone.start_s * RATE)
        out[at:at + count] += (strength * wave)[:len(out) - at]
    spectrum, hz = np.fft.rfft(out), np.fft.rfftfreq(len(out), 1 / RATE)
    bell = hz / np.sqrt(hz**2 + 180**2) / (1 + (hz / 3500) ** 2)
    return np.fft.irfft(spectrum * bell, len(out))


def pulsed_start_s(tone: Tone) -> float:
    """Return when a tone of `pulsed` is heard (a tenth of its strength; the rise is 23 ms in the middle). [s]"""
    return 0.1 ** (1 / 1.5) * (0.012 if tone.tied else 0.0225)


def in_a_box(sound: np.ndarray, sides_m: tuple[float, float, float], reflects: float, rng: RNG) -> np.ndarray:
    """Return a sound as a microphone on the music stand hears it, a step or two away, in a box-shaped room."""
    sides = np.array(sides_m)
    horn, way = sides * rng.uniform(0.3, 0.5, 3), rng.uniform(-1, 1, 3) * (1, 1, 0.3)
    ear = np.clip(horn + way / np.linalg.norm(way) * rng.uniform(1.0, 1.8), 0.3, sides - 0.3)
    near = np.linalg.norm(horn - ear)
    echo = np.zeros(int(0.9 * RATE))
    reach = range(-8, 9)
    for x in reach:
        for y in reach:
            for z in range(-6, 7):
                cell = np.array((x, y, z))
                image = cell * sides + np.where(cell % 2, sides - horn, horn)
                away = float(np.linalg.norm(image - ear))
                at = int((away - near) / 343 * RATE)
                if 0 <= at < len(echo):
                    echo[at] += reflects ** int(np.abs(cell).sum()) * near / away
    size = 1 << (len(sound) + len(echo)).bit_length()
    return np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(echo, size), size)[:len(sound) + RATE // 2]


def by_phone(sound: np.ndarray, rng: RNG) -> np.ndarray:
    """Return a sound as a phone takes it: no lows, a compressor that grips in 5 ms and lets go in 150, a hiss."""
    spectrum, hz = np.fft.rfft(sound), np.fft.rfftfreq(len(sound), 1 / RATE)
    high, low = (1j * hz / 200) ** 2, 1 + 1.414j * hz / 200 + (1j * hz / 200) ** 2
    sound = np.fft.irfft(spectrum * high / low / (1 + (hz / 6000) ** 4), len(sound))
    sound /= np.abs(sound).max()
    step = RATE // 1000
    level = np.abs(sound[:len(sound) // step * step]).reshape(-1, step).max(axis=1)
    grip, held = 0.0, np.empty(len(level))
    for place, now in enumerate(level):
        grip += (now - grip) * (1 - np.exp(-1 / (5 if now > grip else 150)))
        held[place] = grip
    gain = np.minimum(12.0, (0.25 / np.maximum(held, 1e-3)) ** 0.75)
    sound = sound * np.interp(np.arange(len(sound)), np.arange(len(gain)) * step, gain)
    return sound + rng.normal(0, 0.003, len(sound))


def coded(sound: np.ndarray, form: str) -> np.ndarray:
    """Return a sound after a coder of few bits (MP3 at the poorest level, Opus at 48 kHz)."""
    kept = io.BytesIO()
    sound = 0.9 * sound / np.abs(sound).max()
    if form == "mp3":
        soundfile.write(kept, sound, RATE, format="MP3", compression_level=0.99)
    else:
        count = int(len(sound) * 48000 / RATE)
        twice = np.interp(np.arange(count) * RATE / 48000, np.arange(len(sound)), sound)
        soundfile.write(kept, twice, 48000, format="OGG", subtype="OPUS", compression_level=0.99)
    kept.seek(0)
    data, rate = soundfile.read(kept)
    return data if rate == RATE else np.interp(np.arange(int(len(data) * RATE / rate)) * rate / RATE,
                                               np.arange(len(data)), data)


def dressed(sound: np.ndarray, dress: str, rng: RNG) -> np.ndarray:
    sound = sound / np.abs(sound).max()
    if dress == "hall":
        sound = in_a_box(sound, (16.0, 11.0, 6.0), 0.75, rng)
    else:
        sound = in_a_box(sound, (4.2, 3.1, 2.5), 0.7, rng)
    sound = sound / np.abs(sound).max() + rng.normal(0, 0.001, len(sound))
    if "phone" in dress:
        sound = by_phone(sound, rng)
    if dress == "mp3" or "opus" in dress:
        sound = coded(sound, dress.split()[0])
    return 0.8 * sound / np.abs(sound).max()


def makers() -> list[str]:
    """Return who makes the sounds here: `pulsed`, and the fonts that are there."""
    return ["pulsed", *fonts.installed()]


def cases(repeats: int = 1) -> Iterator[tuple[str, str, str, str, int]]:
    """Horn, way, maker, dress and seed: every maker plays every way on every horn, the dresses in turn."""
    turn = 0
    for seed in range(SEED, SEED + repeats):
        for maker in makers():
            for horn in RANGES:
                for way in WAYS:
                    yield horn, way, maker, DRESSES[turn % len(DRESSES)], seed
                    turn += 1
                turn += 1


def made(horn: str, way: str, maker: str, dress: str, seed: int) -> tuple[Planned, Truth, Sound]:
    """Return the plan, what was put in, and the recording."""
    rng = np.random.default_rng([seed, *map(ord, horn + way + maker + dress)])
    one = planned(horn, *RANGES[horn])
    truth = played(one, replace(WAYS[way]), rng)
    if maker == "pulsed":
        sound = pulsed(truth.tones, rng)
        by_start = {tone.start_s: tone for tone in truth.tones}
        truth.starts_s = {k: start + pulsed_start_s(by_start[start]) for k, start in truth.starts_s.items()}
    else:
        sound = fonts.sampled(truth, maker, PROGRAMS[horn], rng)
    samples = dressed(sound, dress, rng).astype(np.float32)
    half = samples[:len(samples) // 2 * 2].reshape(-1, 2).mean(axis=1)
    return one, truth, Sound(samples=half, rate=RATE / 2, name=f"{horn} {way} {maker} {dress}")


def heard_case(case: tuple[str, str, str, str, int]) -> tuple[Planned, Truth, Hearing]:
    one, truth, sound = made(*case)
    return one, truth, hear(sound, one)


def measured(chosen: list[tuple[str, str, str, str, int]], total: Score | None = None) -> Score:
    total = total or Score()
    for case in chosen:
        one, truth, heard = heard_case(case)
        total.add(" ".join(map(str, case)), one, truth, heard)
        if case[1] == "perfect":
            total.advice += [found.what for found in advice_of(heard)]
    return total


if __name__ == "__main__":
    words = sys.argv[1:]
    chosen = [case for case in cases() if all(word in case for word in words)]
    total = measured(chosen)
    print("\n".join(total.notes))
    print(f"makers: {', '.join(makers())}")
    print(total.text())
