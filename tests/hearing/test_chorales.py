"""Takes of an open chorale data set against its own pitches, notes and chords, where its folder is told (chorales.py).

Name the folder in LOWBRASS_CHORALES. The same checks run on a small chorale of our own, made in the same layout, so
that what reads the data set is really run.
"""

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analyzer.analysis import Request, analyse, with_notes
from analyzer.hearing.hear import hear
from analyzer.hearing.pitch import frames_of
from analyzer.hearing.sound import read_sound
from analyzer.intonation.sonority import Sonorities
from analyzer.pitch import parse_pitch
from analyzer.score.document import read_document

from .chorales import Take, chord_of_label, chords_of, f0_of, notes_of, score_of, takes
from .synth import RATE, Tone, sounded

FOLDER = os.environ.get("LOWBRASS_CHORALES", "")
TAKES = 12
"""Of the set, seeded; all of them would take a quarter of an hour."""
VOICES = {"1_S_tp": ("Trumpet", "D5 Eb5 D5 C5 D5 D5"), "2_A_hn": ("Horn", "F4 G4 F4 F4 F4 F4"),
          "3_T_tb": ("Trombone", "Bb3 Bb3 Bb3 A3 Bb3 Bb3"), "4_B_tba": ("Tuba", "Bb2 Eb3 Bb2 F2 Bb2 Bb1")}
CHORDS = ("Bb:maj", "Eb:maj/1", "Bb", "F", "Bb:maj", "Bb:maj")
LASTS_S = 1.6


@dataclass
class Found:
    """Of takes: how far our pitches lie from the published ones [cents], our beginnings from theirs [s], and so on."""

    cents: list[float]
    starts_s: list[float]
    notes: int
    heard: int
    chords: int
    agree: int


def compared(chosen: list[Take], every: list[Take]) -> Found:
    """Hold takes against their tables, the notes of all voices of a chorale together against its chords."""
    found = Found([], [], 0, 0, 0, 0)
    for take in chosen:
        if take.f0 is not None:
            frames = frames_of(read_sound(take.sound))
            times, hertz = f0_of(take.f0)
            ours = np.interp(times[hertz > 20], frames.times_s, frames.midi)
            off = 100 * (ours - (69 + 12 * np.log2(hertz[hertz > 20] / 440)))
            found.cents += list(np.abs(off[~np.isnan(off)]))
        if take.notes is None:
            continue
        voices = {"Trombone" if one is take else f"Voice {k}": notes_of(one.notes) for k, one in enumerate(every, 1)
                  if one.notes is not None and one.song == take.song and (one is take or _voice(one) != _voice(take))}
        document = read_document(score_of({"Trombone": voices.pop("Trombone"), **voices}), "chorale.musicxml")
        [planned] = with_notes(analyse(document, Request(horns=("tenor-f",), parts=("P1",)))).lines
        published = notes_of(take.notes)
        heard = hear(read_sound(take.sound), planned)
        found.notes += len(heard.notes)
        found.heard += sum(note.cause.heard for note in heard.notes)
        first = published[0].start_s
        played = [note for note in heard.notes if note.sound is not None and note.sound.midi is not None]
        lead = np.median([note.sound.start_s - planned.plan.notes[note.index].time.start_s for note in played]) - first
        found.starts_s += [abs(note.sound.start_s - planned.plan.notes[note.index].time.start_s - first - lead)
                           for note in played]
        if take.chords is not None:
            _chords(found, take, planned.plan.line, Sonorities(document))
    return found


def _voice(take: Take) -> str:
    """What tells voices of a chorale apart: several instruments may have played the same one."""
    return take.sound.stem.rsplit("_", 1)[0]


def _chords(found: Found, take: Take, line, sonorities: Sonorities) -> None:
    """Count where a note that lies within one published chord of a known kind is named by us as it is there."""
    labels = chords_of(take.chords)
    for index, note in enumerate(line.notes):
        middle_s = float(note.onset) + float(note.duration) / 2      # the quarter is a second
        label = next((one for one in labels if one.start_s <= middle_s < one.end_s), None)
        named = sonorities.chord(line, index)
        if label is not None and label.kind is not None and named is not None:
            found.chords += 1
            found.agree += (named.root_class, named.kind.name) == (label.root_class, label.kind)


@pytest.mark.skipif(not FOLDER, reason="LOWBRASS_CHORALES does not name the folder of the chorale data set")
def test_takes_of_the_data_set_are_heard_as_published() -> None:
    every = takes(Path(FOLDER))
    low = [take for take in every if take.low_brass and (take.f0 or take.notes)]
    assert low, f"no take of low brass with its tables under {FOLDER}"
    chosen = [low[place] for place in np.random.default_rng(2).permutation(len(low))[:TAKES]]
    found = compared(chosen, every)
    print(f"{len(low)} takes of low brass, {len(chosen)} heard: cents median {np.median(found.cents):.1f}, 95 % "
          f"{np.percentile(found.cents, 95):.0f}; {found.heard} of {found.notes} notes; beginnings median "
          f"{1000 * np.median(found.starts_s):.0f} ms; chords {found.agree} of {found.chords}")
    assert np.median(found.cents) <= 10
    assert found.heard >= 0.97 * found.notes
    assert np.median(found.starts_s) <= 0.05
    assert found.agree >= 0.8 * found.chords      # published names are analyses, ours are what sounds


def table(path: Path, head: str, rows: list[tuple], mark: str = ";") -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join([head, *(mark.join(map(str, row)) for row in rows)] if head else
                              [mark.join(map(str, row)) for row in rows]) + "\n", encoding="utf-8")


@pytest.fixture(scope="module")
def chorale(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A chorale of our own in the layout that chorales.py tells of."""
    root = tmp_path_factory.mktemp("chorales")
    song = root / "01_Evening"
    rng = np.random.default_rng(4)
    for name, (_, pitches) in VOICES.items():
        midi = [parse_pitch(word).midi for word in pitches.split()]
        tones = [Tone(key + float(rng.uniform(-0.15, 0.15)), 0.4 + LASTS_S * k, LASTS_S - 0.15)
                 for k, key in enumerate(midi)]
        stem = f"01_Evening_{name}"
        (song / "tracks").mkdir(parents=True, exist_ok=True)
        soundfile.write(song / "tracks" / f"{stem}.wav", sounded(tones, rng), RATE)
        rows = []
        for time in np.arange(0, 0.4 + LASTS_S * len(tones), 0.01):
            tone = next((one for one in tones if one.start_s + 0.1 < time < one.start_s + one.lasts_s - 0.1), None)
            rows.append((f"{time:.3f}", f"{440 * 2 ** ((tone.midi - 69) / 12) if tone else 0:.3f}"))
        table(song / "annotations" / "f0" / f"{stem}.csv", "time;f0", rows)
        spans = [(f"{tone.start_s:.3f}", f"{tone.start_s + tone.lasts_s:.3f}", key)
                 for tone, key in zip(tones, midi, strict=True)]
        table(song / "annotations" / "notes" / f"{stem}.csv", "t_start;t_end;pitch", spans)
    chords = [(f"{0.4 + LASTS_S * k:.3f}", f"{0.4 + LASTS_S * (k + 1):.3f}", label) for k, label in enumerate(CHORDS)]
    table(song / "annotations" / "chords" / "01_Evening.csv", "t_start;t_end;chord", chords)
    return root


def test_a_chorale_of_the_same_layout_is_read_whole(chorale: Path) -> None:
    every = takes(chorale)
    assert [take.sound.stem for take in every] == [f"01_Evening_{name}" for name in VOICES]
    low = [take for take in every if take.low_brass]
    assert [take.sound.stem[-3:].strip("_") for take in low] == ["tb", "tba"]
    for take in low:
        assert (take.f0.stem, take.notes.stem, take.chords.stem) == (take.sound.stem, take.sound.stem, "01_Evening")
    found = compared(low, every)
    assert np.median(found.cents) < 1
    assert (found.heard, found.notes) == (12, 12)
    assert np.median(found.starts_s) < 0.02
    assert (found.agree, found.chords) == (12, 12)


def test_what_is_wrong_in_a_table_is_seen(chorale: Path, tmp_path: Path) -> None:
    """The checks can fail: tables that are a semitone, a beat and a chord off are found out."""
    low = [take for take in takes(chorale) if take.low_brass]
    [tenor, _] = low
    spoiled = tmp_path / "chords.csv"
    spoiled.write_text(tenor.chords.read_text(encoding="utf-8").replace("Bb:maj", "G:min"), encoding="utf-8")
    f0 = tmp_path / "f0.csv"
    times, hertz = f0_of(tenor.f0)
    table(f0, "", [(f"{time:.3f}", f"{1.05946 * one:.3f}") for time, one in zip(times, hertz, strict=True)], ",")
    other = Take(song=tenor.song, sound=tenor.sound, f0=f0, notes=tenor.notes, chords=spoiled)
    found = compared([other], [other, *(take for take in takes(chorale) if take.sound != tenor.sound)])
    assert 95 < np.median(found.cents) < 105
    assert found.agree < found.chords


@pytest.mark.parametrize(("label", "named"), [("Bb:maj", (10, "major")), ("F#:min7/b3", (6, "minor seventh")),
                                              ("C", (0, "major")), ("G:7", (7, "dominant seventh")),
                                              ("E:sus4", (4, None)), ("N", (-1, None))])
def test_names_of_chords(label: str, named: tuple) -> None:
    assert chord_of_label(label) == named


@pytest.mark.parametrize("make", [
    lambda path: table(path, "onset,duration,midi", [(1.0, 0.5, 58), (0.25, 0.5, 50)], ","),
    lambda path: table(path, "", [(0.25, 0.75, "D3"), (1.0, 1.5, "Bb3")])])
def test_notes_by_duration_or_end_by_number_or_name(tmp_path: Path, make: Callable[[Path], None]) -> None:
    make(tmp_path / "notes.csv")
    assert [(note.start_s, note.end_s, note.midi) for note in notes_of(tmp_path / "notes.csv")] == [
        (0.25, 0.75, 50), (1.0, 1.5, 58)]
