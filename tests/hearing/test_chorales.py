"""Takes of an open chorale data set against their own published notes and pitches, where its folder is told.

The set: S. Balke, A. Berndt, M. Mueller, *ChoraleBricks: A Modular Multitrack Dataset for Wind Music Research*, Trans.
Int. Soc. Music Information Retrieval 8, 2025 (recordings, fundamental frequencies, notes; title and authors from
memory). Name its folder in LOWBRASS_CHORALES. Read are pairs of a sound file and a CSV of the same stem whose columns
hold a time [s] and a frequency [Hz]; nothing of it is part of this project.
"""

import csv
import os
from pathlib import Path

import numpy as np
import pytest

from analyzer.hearing.pitch import frames_of
from analyzer.hearing.sound import ENDINGS, read_sound

FOLDER = os.environ.get("LOWBRASS_CHORALES", "")
LOW_BRASS = ("trombone", "baritone", "euphonium", "tuba", "tb", "bar", "euph", "tba")
TAKES = 12
"""Of the set, seeded; all of them would take a quarter of an hour."""


def published(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Times [s] and frequencies [Hz] of a CSV with or without a head, by commas or semicolons; 0 where unvoiced."""
    text = path.read_text(encoding="utf-8-sig")
    rows = list(csv.reader(text.splitlines(), delimiter=";" if text.count(";") > text.count(",") else ","))
    numbers = []
    for row in rows:
        try:
            numbers.append((float(row[0]), float(row[1])))
        except (ValueError, IndexError):
            continue
    if not numbers:
        raise ValueError(f"{path.name} holds no times and frequencies")
    times, hertz = np.array(numbers).T
    return times, hertz


def takes(folder: Path) -> list[tuple[Path, Path]]:
    """Pairs of a low-brass recording and the CSV of its fundamental frequency."""
    tables = {path.stem.lower(): path for path in folder.rglob("*.csv")
              if any(word in str(path.relative_to(folder)).lower() for word in ("f0", "pitch"))}
    found = []
    for path in sorted(folder.rglob("*")):
        stem = path.stem.lower()
        words = set(stem.replace("-", "_").split("_"))
        if path.suffix.lower() not in ENDINGS or not words & set(LOW_BRASS):
            continue
        table = tables.get(stem) or next((other for name, other in tables.items() if name.startswith(stem)), None)
        if table is not None:
            found.append((path, table))
    return found


def error_cents(sound: Path, table: Path) -> np.ndarray:
    """How far our pitch is from the published one, where both hear one. [cents]"""
    frames = frames_of(read_sound(sound))
    times, hertz = published(table)
    voiced = hertz > 20
    ours = np.interp(times[voiced], frames.times_s, frames.midi)
    off = 100 * (ours - (69 + 12 * np.log2(hertz[voiced] / 440)))
    return np.abs(off[~np.isnan(off)])


@pytest.mark.skipif(not FOLDER, reason="LOWBRASS_CHORALES does not name the folder of the chorale data set")
def test_pitches_of_chorale_takes_are_the_published_ones() -> None:
    found = takes(Path(FOLDER))
    assert found, f"no pair of a low-brass recording and a table of its pitch under {FOLDER}"
    places = np.random.default_rng(2).permutation(len(found))[:TAKES]
    errors = [error_cents(*found[place]) for place in places]
    for place, off in zip(places, errors, strict=True):
        print(f"{found[place][0].name}: median {np.median(off):.1f} cents, 95 % {np.percentile(off, 95):.0f}")
    assert np.median(np.concatenate(errors)) <= 10


def test_the_loader_reads_what_it_is_made_for(tmp_path: Path) -> None:
    import soundfile

    from .synth import RATE, Tone, sounded

    tones = [Tone(50, 0.2, 0.8), Tone(53.2, 1.1, 0.8)]
    soundfile.write(tmp_path / "01_tb_take1.wav", sounded(tones, np.random.default_rng(1)), RATE)
    (tmp_path / "01_tp_take1.wav").write_bytes(b"")
    (tmp_path / "f0").mkdir()
    rows = ["time;frequency"]
    for time in np.arange(0, 2, 0.01):
        tone = next((one for one in tones if one.start_s + 0.1 < time < one.start_s + one.lasts_s - 0.1), None)
        rows.append(f"{time:.3f};{440 * 2 ** ((tone.midi - 69) / 12) if tone else 0:.3f}")
    (tmp_path / "f0" / "01_tb_take1.csv").write_text("\n".join(rows))
    [(sound, table)] = takes(tmp_path)
    assert np.median(error_cents(sound, table)) < 1
