"""An open chorale data set read: takes of one wind instrument each, with published pitches, notes and chords.

The set: S. Balke, A. Berndt, M. Mueller, *ChoraleBricks: A Modular Multitrack Dataset for Wind Music Research*, Trans.
Int. Soc. Music Information Retrieval 8, 2025. What is said of it here comes from memory, for it is not at hand: a
folder a chorale; takes named by chorale, voice and instrument (``tp``, ``hn``, ``tb`` trombone, ``bar``, ``tba`` tuba
and others); tables (CSV, by semicolons or commas, with a head or without) of fundamental frequencies (time, frequency)
and of notes (begin, end or duration, pitch as a MIDI number or a name), one a take, and of chords (begin, end, a name
as C. Harte and others write them, *Symbolic representation of musical chords*, ISMIR 2005: ``Bb:maj``, ``C:min7/b3``),
one a chorale. Because the letters of names are from memory, a table is known by a word of its path (f0 or pitch; note;
chord) and belongs to the take with which it shares the longest beginning of a name within the same chorale.
"""

import csv
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analyzer.hearing.sound import ENDINGS
from analyzer.pitch import parse_pitch

LOW_BRASS = ("trombone", "baritone", "euphonium", "tuba", "tb", "tbn", "bar", "bt", "euph", "eu", "tba", "tu")
_KINDS = {"f0": ("f0", "pitch", "fundamental"), "notes": ("note",), "chords": ("chord",)}
_QUALITIES = {"maj": "major", "min": "minor", "dim": "diminished", "aug": "augmented", "7": "dominant seventh",
              "min7": "minor seventh", "maj7": "major seventh", "hdim7": "half-diminished seventh",
              "dim7": "diminished seventh"}
"""Harte's shorthands and what a textbook calls them; a name without a shorthand is major."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A published note: begin and end [s], pitch (midi)."""

    start_s: float
    end_s: float
    midi: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChordLabel:
    """A published chord: begin and end [s], pitch class of its root (C = 0), its kind; None where none sounds."""

    start_s: float
    end_s: float
    root_class: int
    kind: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """One take of one player, and where its tables lie; None where there is none. `song` is the chorale's folder."""

    song: Path
    sound: Path
    f0: Path | None
    notes: Path | None
    chords: Path | None

    @property
    def low_brass(self) -> bool:
        """Whether its name says that it is of a trombone, baritone, euphonium or tuba."""
        return bool(_words(self.sound) & set(LOW_BRASS))


def _words(path: Path) -> set[str]:
    return set(path.stem.lower().replace("-", "_").split("_"))


def takes(root: Path) -> list[Take]:
    """Return the takes under a folder; what lies deeper than a chorale's folder belongs to the chorale."""
    found = []
    songs = [path for path in sorted(root.iterdir()) if path.is_dir() and not _named(path.name)]
    if not songs or any(path.suffix.lower() in ENDINGS for path in root.iterdir()):
        songs = [root]                 # a chorale's own folder, or everything in one
    for song in songs:
        tables: dict[str, list[Path]] = {kind: [] for kind in _KINDS}
        for path in sorted(song.rglob("*.csv")):
            kind = _named(str(path.relative_to(song)))
            if kind:
                tables[kind].append(path)
        for path in sorted(song.rglob("*")):
            if path.suffix.lower() in ENDINGS:
                found.append(Take(song=song, sound=path, f0=_own(path, tables["f0"]), notes=_own(path, tables["notes"]),
                                  chords=_own(path, tables["chords"], whole=False)))
    return found


def _named(text: str) -> str:
    return next((kind for kind, words in _KINDS.items() if any(word in text.lower() for word in words)), "")


def _own(sound: Path, tables: list[Path], *, whole: bool = True) -> Path | None:
    """Return the table of a take: the one that shares most of its name, all of it where it is `whole`."""
    def shared(path: Path) -> int:
        one, other = sound.stem.lower(), path.stem.lower()
        return next((k for k, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))

    fitting = [path for path in tables if not whole or shared(path) == len(sound.stem)]
    return max(fitting, key=shared, default=None)


def _rows(path: Path) -> tuple[list[str], list[list[str]]]:
    """Return the head of a table in small letters (empty if it has none) and its rows."""
    text = path.read_text(encoding="utf-8-sig")
    mark = max(";,\t", key=text.count)
    rows = [[cell.strip() for cell in row] for row in csv.reader(text.splitlines(), delimiter=mark) if row]
    if not rows:
        raise ValueError(f"{path.name} is empty")
    try:
        float(rows[0][0])
    except ValueError:
        return [cell.lower() for cell in rows[0]], rows[1:]
    return [], rows


def _place(head: list[str], words: tuple[str, ...], otherwise: int) -> int:
    """Return the column whose head has one of the words."""
    return next((k for k, name in enumerate(head) if any(word in name for word in words)), otherwise)


def f0_of(path: Path) -> tuple[np.ndarray, np.ndarray]:
    """Return times [s] and frequencies [Hz], 0 where nothing sounds."""
    head, rows = _rows(path)
    time, hertz = _place(head, ("time", "start"), 0), _place(head, ("freq", "f0", "hz", "pitch", "value"), 1)
    numbers = []
    for row in rows:
        try:
            numbers.append((float(row[time]), float(row[hertz])))
        except (ValueError, IndexError):
            continue
    if not numbers:
        raise ValueError(f"{path.name} holds no times and frequencies")
    times, frequencies = np.array(numbers).T
    return times, np.nan_to_num(frequencies)


def _spans(head: list[str], row: list[str]) -> tuple[float, float]:
    first = float(row[_place(head, ("start", "onset", "begin"), 0)])
    last = float(row[_place(head, ("end", "offset", "dur"), 1)])
    lasts = any("dur" in name for name in head) and not any("end" in name or "offset" in name for name in head)
    return first, first + last if lasts else last


def notes_of(path: Path) -> list[Note]:
    """Return the notes of a table: begin, end or duration [s], pitch as a MIDI number or a name."""
    head, rows = _rows(path)
    pitch = _place(head, ("pitch", "midi", "note"), 2)
    found = []
    for row in rows:
        start_s, end_s = _spans(head, row)
        try:
            midi = float(row[pitch])
        except ValueError:
            midi = float(parse_pitch(row[pitch]).midi)
        found.append(Note(start_s=start_s, end_s=end_s, midi=midi))
    if not found:
        raise ValueError(f"{path.name} holds no notes")
    return sorted(found, key=lambda note: note.start_s)


def chords_of(path: Path) -> list[ChordLabel]:
    """Return the chords of a table: begin, end or duration [s], name."""
    head, rows = _rows(path)
    place = _place(head, ("chord", "label", "value", "name"), 2)
    found = []
    for row in rows:
        start_s, end_s = _spans(head, row)
        root_class, kind = chord_of_label(row[place])
        found.append(ChordLabel(start_s=start_s, end_s=end_s, root_class=root_class, kind=kind))
    if not found:
        raise ValueError(f"{path.name} holds no chords")
    return found


def chord_of_label(label: str) -> tuple[int, str | None]:
    """Return the pitch class of the root and the kind of a chord as Harte writes it; ``N`` is none, and -1."""
    root, _, rest = label.partition(":")
    root, _, _ = root.partition("/")
    if root in ("", "N", "X"):
        return -1, None
    root_class = ({"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}[root[0].upper()]
                  + root.count("#") - root.count("b")) % 12
    short = rest.partition("/")[0].partition("(")[0]
    return root_class, "major" if not short else _QUALITIES.get(short)


def score_of(parts: dict[str, list[Note]], *, tick_s: float = 0.01) -> bytes:
    """Return published notes as a score whose quarter note is a second: a part a take, in one long measure.

    `parts` by its name; a name with ``trombone`` or ``tuba`` in it is read as such by the project.
    """
    listed = "".join(f'<score-part id="P{k}"><part-name>{name}</part-name></score-part>'
                     for k, name in enumerate(parts, 1))
    last = max(note.end_s for notes in parts.values() for note in notes)
    bodies = []
    for k, notes in enumerate(parts.values(), 1):
        music, now = [], 0
        for note, after in zip(notes, [*notes[1:], None], strict=True):
            start = max(now, round(note.start_s / tick_s))
            end = round((note.end_s if after is None else min(note.end_s, after.start_s)) / tick_s)
            if start > now:
                music.append(f"<note><rest/><duration>{start - now}</duration></note>")
            if end > start:
                music.append(f"<note>{_spelled(round(note.midi))}<duration>{end - start}</duration></note>")
            now = max(now, end)
        if (rest := round(last / tick_s) - now) > 0:
            music.append(f"<note><rest/><duration>{rest}</duration></note>")
        head = (f"<attributes><divisions>{round(1 / tick_s)}</divisions><time><senza-misura/></time><clef>"
                '<sign>F</sign><line>4</line></clef></attributes><direction><sound tempo="60"/></direction>')
        bodies.append(f'<part id="P{k}"><measure number="1">{head}{"".join(music)}</measure></part>')
    return (f'<score-partwise version="4.0"><part-list>{listed}</part-list>{"".join(bodies)}</score-partwise>').encode()


def _spelled(midi: int) -> str:
    """Return a pitch with flats, but for F sharp and C sharp: chords in flat keys, as wind players' chorales have."""
    step, alter = (("C", 0), ("C", 1), ("D", 0), ("E", -1), ("E", 0), ("F", 0), ("F", 1), ("G", 0), ("A", -1), ("A", 0),
                   ("B", -1), ("B", 0))[midi % 12]
    sign = f"<alter>{alter}</alter>" if alter else ""
    return f"<pitch><step>{step}</step>{sign}<octave>{midi // 12 - 1}</octave></pitch>"
