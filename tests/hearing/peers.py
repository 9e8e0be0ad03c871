"""General pitch trackers and an aligner beside ours, in one run: ``python -m tests.hearing.peers`` prints the table.

The peers are no part of the project and are installed by whoever wants to compare (``pip install librosa swift-f0
praat-parselmouth synctoolbox``); one that is not there is left out, and said so:

* librosa (ISC licence): pyin (M. Mauch and S. Dixon, *pYIN*, ICASSP 2014), yin, and dynamic time warping of chroma
* swift-f0 (MIT): a small neural tracker
* praat-parselmouth (GPL-3, so only ever compared with): the autocorrelation tracker of Praat
* synctoolbox (MIT; M. Mueller and others, *Sync Toolbox*, J. Open Source Software 6, 2021): chroma and onsets, warped
  in several resolutions from the notes of the line themselves

Trackers hear tones B flat 0 to B flat 4 of known pitch by two makers (`synth`, `held_out.pulsed`), clean, by phone, in
a room, with clicks. Aligners hold recordings of known players against the line: how far the beginning of a note is from
where it was put. A warp is given what it wants, a plain rendering of the line at its tempo or its notes; it has no
notion of a note left out or of a restart, so those stand in rows of their own.
"""

import contextlib
import importlib.util
import io
import time
import warnings
from collections.abc import Callable, Iterator
from datetime import date
from importlib.metadata import version

import numpy as np

from analyzer.hearing.hear import hear
from analyzer.hearing.pitch import frames_of
from analyzer.hearing.sound import Sound

from .held_out import RATE as PULSED_RATE
from .held_out import pulsed
from .players import Faults, planned, played, recording
from .synth import RATE, Tone, dressed, sounded

Track = Callable[[np.ndarray], tuple[np.ndarray, np.ndarray]]
"""From samples at `RATE` to times [s] and pitches (midi scale, NaN where none is heard)."""
_PACKAGES = {"parselmouth": "praat-parselmouth", "swift_f0": "swift-f0"}
"""Names of modules' packages, where they differ."""
HEARD = 50.0                           # cents: farther off is misheard


def _midi(hertz: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        midi = 69 + 12 * np.log2(np.asarray(hertz, float) / 440)
    midi[~np.isfinite(midi)] = np.nan
    return midi


def _ours(sound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    frames = frames_of(Sound(samples=sound.astype(np.float32), rate=RATE, name="tone"))
    return frames.times_s, frames.midi


def _pyin(sound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    import librosa

    hertz, _, _ = librosa.pyin(sound, fmin=27, fmax=1000, sr=RATE, frame_length=4096, hop_length=256)
    return librosa.times_like(hertz, sr=RATE, hop_length=256), _midi(hertz)


def _yin(sound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    import librosa

    hertz = librosa.yin(sound, fmin=27, fmax=1000, sr=RATE, frame_length=4096, hop_length=256)
    return librosa.times_like(hertz, sr=RATE, hop_length=256), _midi(hertz)


def _swift(sound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    from swift_f0 import SwiftF0

    found = SwiftF0().detect(sound.astype(np.float32), RATE)
    hertz = np.where(np.asarray(found.confidence) > 0.3, found.pitch_hz, np.nan)
    return np.asarray(found.timestamps), _midi(hertz)


def _praat(sound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    import parselmouth

    found = parselmouth.Sound(sound, RATE).to_pitch_ac(time_step=0.01, pitch_floor=27, pitch_ceiling=1000)
    hertz = found.selected_array["frequency"]
    return found.xs(), _midi(np.where(hertz > 0, hertz, np.nan))


TRACKERS: dict[str, tuple[str, Track]] = {
    "ours": ("numpy", _ours), "librosa pyin": ("librosa", _pyin), "librosa yin": ("librosa", _yin),
    "swift-f0": ("swift_f0", _swift), "praat ac": ("parselmouth", _praat)}


def tones(step: int = 2) -> Iterator[tuple[float, np.ndarray]]:
    """Tones of known pitch, a second each, by two makers and four ways of recording."""
    rng = np.random.default_rng(17)
    for midi in range(22, 71, step):
        for kind in ("clean", "phone", "room", "clicks"):
            true = midi + float(rng.uniform(-0.4, 0.4))
            tone = [Tone(true, 0.2, 0.9)]
            if midi % (2 * step) < step:
                sound = sounded(tone, rng)
            else:
                sound = pulsed(tone, rng)[::PULSED_RATE // RATE]
                sound = 0.25 * sound / np.abs(sound).max()
            yield true, dressed(sound, kind, rng)


def tracked(step: int = 2) -> list[tuple[str, list[float], int, float]]:
    """Return of every tracker that is there: name, errors [cents], tones astray, seconds of work to one of sound."""
    chosen = list(tones(step))
    rows = []
    for name, (module, track) in TRACKERS.items():
        if importlib.util.find_spec(module) is None:
            continue
        track(chosen[0][1])            # what is loaded once is not counted
        begin, off, astray = time.process_time(), [], 0
        for true, sound in chosen:
            times, midi = track(sound)
            middle = midi[(times > 0.5) & (times < 0.95)]
            middle = middle[~np.isnan(middle)]
            cents = 100 * abs(float(np.median(middle)) - true) if len(middle) > 5 else np.inf
            if cents > HEARD:
                astray += 1
            else:
                off.append(cents)
        spent = (time.process_time() - begin) / sum(len(sound) / RATE for _, sound in chosen)
        rows.append((name, off, astray, spent))
    return rows


WAYS = {"as written": Faults(jitter_s=0.02, tempo=1.08, drift=0.08),
        "wrong and left-out notes": Faults(wrong=0.1, missing=0.08, jitter_s=0.02, tempo=0.95),
        "a restart": Faults(restart=True, jitter_s=0.02)}


def _warped(one, sound: np.ndarray) -> dict[int, float]:
    """Return where librosa's warp of chroma puts the beginning of each note. [s]"""
    import librosa

    hop = 512
    plain = sounded([Tone(note.note.midi, 0.1 + note.time.start_s, note.time.sounds_s) for note in one.plan.notes],
                    np.random.default_rng(0))
    score, heard = (librosa.feature.chroma_stft(y=part, sr=RATE, hop_length=hop) + 1e-6     # silence has no direction
                    for part in (plain, sound))
    _, path = librosa.sequence.dtw(X=score, Y=heard, metric="cosine")
    path = path[::-1]
    places = np.searchsorted(path[:, 0], [int((0.1 + note.time.start_s) * RATE / hop) for note in one.plan.notes])
    return {k: float(path[min(at, len(path) - 1), 1]) * hop / RATE for k, at in enumerate(places)}


def _synced(one, sound: np.ndarray) -> dict[int, float]:
    """Return where synctoolbox puts the beginning of each note, by its own recipe for score and sound. [s]"""
    import pandas
    from synctoolbox.dtw.mrmsdtw import sync_via_mrmsdtw
    from synctoolbox.dtw.utils import make_path_strictly_monotonic
    from synctoolbox.feature import chroma, csv_tools, dlnco, pitch, pitch_onset

    rate = 50
    rows = [{"start": 0.1 + note.time.start_s, "duration": note.time.sounds_s, "pitch": note.note.midi, "velocity": 0.8,
             "instrument": "trombone"} for note in one.plan.notes]
    frame = pandas.DataFrame([{**row, "end": row["start"] + row["duration"]} for row in rows])
    with contextlib.redirect_stdout(io.StringIO()):      # a dot for each pitch
        spectra = (csv_tools.df_to_pitch_features(frame, feature_rate=rate),
                   pitch.audio_to_pitch_features(f_audio=sound, Fs=RATE, feature_rate=rate))
        begun = (csv_tools.df_to_pitch_onset_features(frame),
                 pitch_onset.audio_to_pitch_onset_features(f_audio=sound, Fs=RATE))
    chromas = [chroma.quantize_chroma(f_chroma=chroma.pitch_to_chroma(f_pitch=spectrum)) for spectrum in spectra]
    onsets = [dlnco.pitch_onset_features_to_DLNCO(f_peaks=peaks, feature_rate=rate,
                                                  feature_sequence_length=heard.shape[1])
              for peaks, heard in zip(begun, chromas, strict=True)]
    path = make_path_strictly_monotonic(sync_via_mrmsdtw(
        f_chroma1=chromas[0], f_chroma2=chromas[1], f_onset1=onsets[0], f_onset2=onsets[1], input_feature_rate=rate,
        step_weights=np.array([1.5, 1.5, 2.0])))
    starts = np.interp([row["start"] for row in rows], path[0] / rate, path[1] / rate)
    return dict(enumerate(map(float, starts)))


ALIGNERS: dict[str, tuple[str, Callable[..., dict[int, float]]]] = {
    "librosa dtw of chroma": ("librosa", _warped), "synctoolbox": ("synctoolbox", _synced)}


def aligned(step: int = 1) -> list[tuple[str, str, list[float], int]]:
    """Return of each way of playing and aligner: errors of the beginnings found [s], notes that were played."""
    rows = []
    others = {name: align for name, (module, align) in ALIGNERS.items() if importlib.util.find_spec(module) is not None}
    for way, faults in WAYS.items():
        ours: list[float] = []
        theirs: dict[str, list[float]] = {name: [] for name in others}
        count = 0
        for horn, measures in (("tenor", (1, 24)), ("euphonium-4", (1, 16)), ("tenor-f", (1, 8)))[::step]:
            for kind in ("clean", "room"):
                rng = np.random.default_rng([5, *map(ord, horn + kind)])
                one = planned(horn, *measures)
                truth = played(one, faults, rng)
                sound = recording(truth, kind, rng)
                found = hear(Sound(samples=sound.astype(np.float32), rate=RATE, name="x"), one)
                count += len(truth.starts_s)
                ours += [abs(note.sound.start_s - truth.starts_s[note.index]) for note in found.notes
                         if note.sound is not None and note.sound.midi is not None and note.index in truth.starts_s]
                for name, align in others.items():
                    starts = align(one, sound)
                    theirs[name] += [abs(starts[k] - start_s) for k, start_s in truth.starts_s.items()]
        rows.append(("ours", way, ours, count))
        rows += [(name, way, off, count) for name, off in theirs.items()]
    return rows


def table(step: int = 1) -> str:
    """Return both tables as text."""
    out = [f"{'tracker':<22}{'median':>8}{'95 %':>8}{'astray':>10}{'CPU s / s':>11}   cents, B flat 0 to B flat 4"]
    for name, off, astray, spent in tracked(2 * step):
        out.append(f"{name:<22}{np.median(off):>8.2f}{np.percentile(off, 95):>8.2f}"
                   f"{f'{astray} of {len(off) + astray}':>10}{spent:>11.3f}")
    out.append(f"\n{'aligner':<22}{'way of playing':<26}{'median':>9}{'95 %':>9}{'within 50 ms':>14}")
    for name, way, off, count in aligned(step):
        good = sum(value <= 0.05 for value in off)
        out.append(f"{name:<22}{way:<26}{1000 * np.median(off):>6.0f} ms{1000 * np.percentile(off, 95):>6.0f} ms"
                   f"{f'{100 * good / count:.1f} %':>14}")
    modules = {module for module, _ in (*TRACKERS.values(), *ALIGNERS.values())}
    absent = sorted(module for module in modules if importlib.util.find_spec(module) is None)
    if absent:
        out.append(f"\nnot installed, so not compared: {', '.join(absent)}")
    packages = sorted({_PACKAGES.get(module, module) for module in modules if module not in absent})
    out.append(f"\n{', '.join(f'{name} {version(name)}' for name in packages)}; {date.today().isoformat()}")
    return "\n".join(out)


if __name__ == "__main__":
    import sys

    warnings.simplefilter("ignore")
    print(table(int(sys.argv[1]) if len(sys.argv) > 1 else 1))       # 2: every second tone and line
