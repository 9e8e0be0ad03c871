"""Recordings whose truth is known: brass-like tones with bends, slips, late slides, cracks; clean, phone, room, clicks.

Written for the tests alone; nothing in here knows the code that listens.
"""

from dataclasses import dataclass, field

import numpy as np

RATE = 22050
RNG = np.random.Generator


@dataclass
class Tone:
    """One tone: `midi` is its steady pitch (fractions allowed) from `start_s`, for `lasts_s`.

    `glide_from` [cents, added at the start, gone after `glide_s`]: a slide that arrives late; `crack` begins for 60 ms
    on this other pitch (midi); `tied` starts without a dip of the level (slurred from the tone before); `runs_on`
    takes over the tone before without a seam, as a slide does that moves on one breath.
    """

    midi: float
    start_s: float
    lasts_s: float
    glide_from: float = 0.0
    glide_s: float = 0.0
    crack: float | None = None
    vibrato_cents: float = 0.0
    tied: bool = False
    runs_on: bool = False


@dataclass
class Truth:
    """What was put into a recording, by index of note in its last pass."""

    tones: list[Tone] = field(default_factory=list)
    starts_s: dict[int, float] = field(default_factory=dict)
    off_cents: dict[int, float] = field(default_factory=dict)
    slide_mm: dict[int, float] = field(default_factory=dict)
    wrong: dict[int, int] = field(default_factory=dict)
    late: set[int] = field(default_factory=set)
    cracked: set[int] = field(default_factory=set)
    missing: set[int] = field(default_factory=set)


def still_to_go(t: np.ndarray | float, glide_s: float) -> np.ndarray:
    """Return what is left of a glide at the times `t` [s], 1 to 0: a hand that starts and stops without a jerk."""
    share = np.clip(t / glide_s, 0, 1)
    return 1 - (10 * share**3 - 15 * share**4 + 6 * share**5)


def sounded(tones: list[Tone], rng: RNG, *, tail_s: float = 0.5, rate: int = RATE) -> np.ndarray:
    """Return the tones as sound: harmonics that fall off, a brighter attack, phase running on through slurs."""
    end = max(tone.start_s + tone.lasts_s for tone in tones) + tail_s
    out = np.zeros(int(end * rate) + 1)
    ran, since = np.zeros(1), 0
    for tone in tones:
        count = int(tone.lasts_s * rate)
        if count < 10:
            continue
        start = int(tone.start_s * rate)
        t = np.arange(count) / rate
        cents = np.zeros(count)
        if tone.glide_s:
            cents += tone.glide_from * still_to_go(t, tone.glide_s)
        cents += tone.vibrato_cents * np.sin(2 * np.pi * 5.2 * t) * np.clip((t - 0.25) / 0.2, 0, 1)
        midi = np.full(count, tone.midi) + cents / 100
        if tone.crack is not None:
            midi[:int(0.06 * rate)] = tone.crack
        phase = 2 * np.pi * np.cumsum(440 * 2 ** ((midi - 69) / 12)) / rate + rng.uniform(0, 6.28)
        if tone.runs_on:
            phase += ran[min(start - since, len(ran) - 1)] - phase[0]
        ran, since = phase, start
        base_hz = 440 * 2 ** ((tone.midi - 69) / 12)
        wave = np.zeros(count)
        for number in range(1, 1 + int(min(24, 0.45 * rate / base_hz))):
            strength = 1 / (1 + (number * base_hz / 550) ** 1.6) * (0.55 if number == 1 else 1.0)
            rise = 1.0 if tone.runs_on else 1 - np.exp(-t / (0.006 + 0.0025 * number))
            wave += strength * rise * np.sin(number * phase)
        attack = 0.02 if tone.runs_on else 0.006 if tone.tied else 0.018
        envelope = np.clip(t / attack, 0, 1) * np.clip((tone.lasts_s - t) / 0.02, 0, 1)
        envelope *= 0.75 + 0.25 * np.exp(-t / 0.12) * (not tone.runs_on)
        out[start:start + count] += (wave * envelope)[:len(out) - start]
    return 0.25 * out / max(1e-9, np.sqrt((out**2).mean()) * 4)


def dressed(sound: np.ndarray, kind: str, rng: RNG, *, beat_s: float = 0.5, rate: int = RATE) -> np.ndarray:
    """Return a clean sound as a phone, a room or a metronome in the room would have it."""
    sound = sound + rng.normal(0, 10 ** (-65 / 20), len(sound))
    if kind == "phone":
        spectrum, hz = np.fft.rfft(sound), np.fft.rfftfreq(len(sound), 1 / rate)
        spectrum *= 1 / np.sqrt(1 + (150 / np.maximum(hz, 1)) ** 4) / np.sqrt(1 + (hz / 7000) ** 6)
        sound = np.fft.irfft(spectrum, len(sound)) + rng.normal(0, 10 ** (-52 / 20), len(sound))
        size = int(0.2 * rate)       # loudness control: slow gain towards one level
        power = np.convolve(sound**2, np.ones(size) / size, "same")
        sound = sound * np.minimum(8, (0.08 / np.sqrt(power + 1e-6)) ** 0.6)
    elif kind == "room":
        t = np.arange(int(0.45 * rate)) / rate
        echo = rng.normal(0, 1, len(t)) * np.exp(-t / 0.09)
        echo *= 0.35 / np.sqrt((echo**2).sum())
        size = 1 << (len(sound) + len(echo)).bit_length()
        sound = sound + np.fft.irfft(np.fft.rfft(sound, size) * np.fft.rfft(echo, size), size)[:len(sound)]
    elif kind == "clicks":
        sound = sound.copy()
        t = np.arange(int(0.02 * rate)) / rate
        click = 0.25 * np.sin(2 * np.pi * 2100 * t) * np.exp(-t / 0.004)
        for start in np.arange(0, len(sound) / rate - 0.05, beat_s):
            at = int(start * rate)
            sound[at:at + len(click)] += click
    elif kind != "clean":
        raise ValueError(kind)
    return np.clip(sound / max(1.0, np.abs(sound).max() / 0.95), -1, 1)
