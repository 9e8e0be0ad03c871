"""Other forms of score (ABC, Humdrum, MIDI), turned into MusicXML by music21.

music21 runs in a process of its own: a hostile file can then cost neither more time nor more memory than is allowed,
its settings and temporary files go when it ends, and a score that is MusicXML never pays for its import.
"""

import importlib
import os
import re
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path
from typing import Any, Literal

from lxml import etree

from analyzer.assumption import Assumption
from analyzer.problem import Problem, unreadable
from analyzer.score.counting import attacks_in_abc, attacks_in_kern, attacks_in_midi, attacks_in_musicxml

Form = Literal["abc", "humdrum", "midi"]

# Judged limits: the largest sample scores of music21's corpus in these forms stay below 0.3 MB and are read in seconds.
# A change of any limit by a factor of two accepts and refuses the same real files.
MAX_FOREIGN_BYTES = 2 * 2**20
_MAX_SECONDS = 90.0
_MAX_MEMORY_BYTES = 4 * 2**30
_MAX_QUARTERS = 50_000                 # seven hours at 120 quarter notes a minute
_HEAD_BYTES = 64 * 2**10

_ENDINGS: dict[str, Form] = {".abc": "abc", ".krn": "humdrum", ".mid": "midi", ".midi": "midi"}
_NAMES: dict[Form, str] = {"abc": "ABC", "humdrum": "Humdrum", "midi": "MIDI"}
_LACKS: dict[Form, str] = {
    "abc": "ABC seldom names instruments or clefs, and decorations may be lost: check the clef, and name the part "
           "with --part",
    "humdrum": "Humdrum **kern keeps pitches and durations; layout and some slurs, articulations and dynamics are "
               "lost, and every part stands at sounding pitch",
    "midi": "MIDI has no note spelling, slurs, articulations or clefs, and its durations are as played: they were "
            "rounded to sixteenths and triplet eighths, sharps and flats were guessed, and every part stands at "
            "sounding pitch",
}
_KERN = re.compile(rb"^(?:[^\n]*\t)?\*\*kern(?:[\t\r\n]|$)", re.MULTILINE)
_TUNE = re.compile(r"^X:", re.MULTILINE)
_SHIFT = re.compile(r"(?:^|\[)[KV]:[^\n\]]*(?:\b(?:octave|transpose|middle|[mt])=|[a-z\d][+-]8)", re.MULTILINE)
_SOUNDING: tuple[Form, ...] = ("humdrum", "midi")
_MISSING, _FAILED = 3, 4
_CHILD = ("import sys; sys.path[:] = sys.argv[2:]; from analyzer.score.foreign import convert_here; "
          "sys.exit(convert_here(sys.argv[1]))")


def foreign_form(data: bytes, name: str) -> Form | None:
    """Return the form of a score that is no MusicXML, from its content, else from its ending; None for any other file.

    Bytes that are plainly something else (an archive, a MusicXML score) are None whatever the ending.
    """
    head = data[:_HEAD_BYTES].removeprefix(b"\xef\xbb\xbf")
    if head.startswith(b"MThd"):
        return "midi"
    start = head.lstrip()
    if not start or start.startswith((b"<", b"PK", b"\x89PNG", b"%PDF", b"\xff\xd8\xff", b"GIF8", b"\x1f\x8b")):
        return None
    if b"\0" not in head:
        if _KERN.search(head):
            return "humdrum"
        first = next((line for line in start.splitlines() if line.strip() and not line.startswith(b"%")), b"")
        if first.startswith(b"X:"):
            return "abc"
    return _ENDINGS.get(Path(name).suffix.lower())


def to_musicxml(data: bytes, name: str, form: Form) -> tuple[bytes, tuple[Problem, ...]]:
    """Return the score as MusicXML, and notes on what its form does not carry. Equal bytes give equal bytes.

    Raises
    ------
    Unreadable
        If the file is larger than 2 MiB, damaged, holds no notes or takes too long, if a second count of its notes
        gives another number, or music21 is not installed.
    """
    if len(data) > MAX_FOREIGN_BYTES:
        raise unreadable("too-large", where=name, what=f"the {_NAMES[form]} file has {len(data) / 2**20:.1f} MiB, more "
                         f"than a score needs (limit {MAX_FOREIGN_BYTES // 2**20} MiB)", try_="Split it by movement.")
    problems = [Problem(severity="note", code="converted", where=name, what=f"read from {_NAMES[form]} as MusicXML; "
                        f"{_LACKS[form]}", try_="A written score is MusicXML: name it .musicxml.")]
    if form == "midi":
        _check_midi(data, name)
    else:
        text = _text(data, name, form)
        if form == "abc":
            text, tunes = _first_tune(text, name)
            if _SHIFT.search(text):
                problems.append(Problem(severity="warning", code="clef-shift", where=name, what="a K: or V: line moves "
                                        "the notes by an octave or another interval, which may not be followed",
                                        try_="Compare the lowest and highest note with the score."))
        else:
            tunes = _check_kern(text, name)
        if tunes > 1:
            problems.append(Problem(severity="warning", code="first-tune", where=name, what=f"the file holds {tunes} "
                                    "pieces; only the first is read", try_="Save the one you want in a file alone."))
        data = text.encode("utf-8")
    xml = _tidy(_run(data, name, form), name, form)
    _check_count(data, xml, name, form)
    return xml, tuple(problems)


def lost_in(form: Form) -> Assumption:
    """Return what a form does not carry, as something supposed that goes with every answer."""
    return Assumption(about="form", value=_NAMES[form], source=f"read through music21; {_LACKS[form]}")


def _check_count(data: bytes, xml: bytes, name: str, form: Form) -> None:
    """Refuse a score that has other notes after the reading than before: a plan of the rest would look whole."""
    read = attacks_in_musicxml(xml)
    if form == "midi":
        held = attacks_in_midi(data)
    else:
        held = (attacks_in_abc if form == "abc" else attacks_in_kern)(data.decode("utf-8"))
    if held is not None and held != read:
        raise unreadable("notes-differ", where=name, what=f"the {_NAMES[form]} file holds {held} notes, and {read} "
                         "came through the reading, so nothing is planned", try_="Export the score as MusicXML.")


def _check_midi(data: bytes, name: str) -> None:
    """Walk the chunks of a Standard MIDI File (MIDI Association, RP-001): lengths and division, not the events."""
    if not data.startswith(b"MThd"):
        raise _damaged(name, "midi", "it does not begin with the letters MThd")
    if len(data) < 14:
        raise _cut(name, "midi")
    if not 6 <= int.from_bytes(data[4:8]) <= 64:
        raise _damaged(name, "midi", "its header has a length that no header has")
    if data[12] & 0x80:
        raise unreadable("not-musicxml", where=name, what="this MIDI file counts time in film frames, not in beats",
                         try_="Export it again with beats (PPQ), or as MusicXML.")
    if data[8:10] == b"\0\2" or data[12:14] == b"\0\0":
        raise _damaged(name, "midi", "its header asks for a kind of timing that no score has")
    at, tracks = 8 + int.from_bytes(data[4:8]), 0
    while at + 8 <= len(data) and tracks < int.from_bytes(data[10:12]):
        kind, end = data[at:at + 4], at + 8 + int.from_bytes(data[at + 4:at + 8])
        if not kind.isalnum():
            raise _damaged(name, "midi", f"no track begins at byte {at}")
        if end > len(data):
            raise _cut(name, "midi")
        tracks += kind == b"MTrk"
        at = end
    if tracks < int.from_bytes(data[10:12]) or not tracks:
        raise _cut(name, "midi")


def _text(data: bytes, name: str, form: Form) -> str:
    if b"\0" in data and not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise _damaged(name, form, "it holds bytes that no text has")
    try:
        if data.startswith((b"\xff\xfe", b"\xfe\xff")):
            text = data.decode("utf-16")
        else:
            text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")      # older ABC and Humdrum files; only names and words can be outside ASCII
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _first_tune(text: str, name: str) -> tuple[str, int]:
    """Return a tune book as far as the end of its first tune, and how many tunes it has."""
    starts = [match.start() for match in _TUNE.finditer(text)]
    tune = text[:starts[1]] if len(starts) > 1 else text
    if not re.search(r"^K:", tune, re.MULTILINE):
        raise _damaged(name, "abc", "its header has no K: line, the key, which must end it")
    return tune, len(starts)


def _check_kern(text: str, name: str) -> int:
    """Return the number of pieces.

    A spine ends with ``*-`` (D. Huron, The Humdrum Toolkit: Reference Manual, 1994), so a file without is not whole.
    """
    if not _KERN.search(text.encode("utf-8")):
        raise _damaged(name, "humdrum", "it has no **kern column, the only kind with notes to read")
    lines = [line for line in text.split("\n") if line.strip() and not line.startswith("!")]
    if set(lines[-1].split("\t")) != {"*-"}:
        raise _cut(name, "humdrum")
    return sum(line.startswith("!!!!SEGMENT") for line in text.split("\n")) or 1


def _run(data: bytes, name: str, form: Form) -> bytes:
    """Run music21 in a process of its own, with a home and a folder for temporary files that go with it."""
    with tempfile.TemporaryDirectory(prefix="lowbrass-", ignore_cleanup_errors=True) as folder:
        places = dict.fromkeys(("HOME", "USERPROFILE", "APPDATA", "TMPDIR", "TMP", "TEMP", "XDG_CACHE_HOME",
                                "XDG_CONFIG_HOME", "MPLCONFIGDIR"), folder)
        steady = {"OPENBLAS_NUM_THREADS": "1", "PYTHONHASHSEED": "0", "PYTHONDONTWRITEBYTECODE": "1"}
        try:
            done = subprocess.run(
                [sys.executable, "-P", "-c", _CHILD, form, *sys.path], input=data, capture_output=True, check=False,
                timeout=_MAX_SECONDS, env={**os.environ, **places, **steady})
        except subprocess.TimeoutExpired:
            raise unreadable("too-long", where=name, what=f"reading the {_NAMES[form]} file took longer than "
                             f"{_MAX_SECONDS} seconds", try_="Export it again as MusicXML, or split it.") from None
        except OSError as error:
            raise unreadable("cannot-convert", where=name, what="the program that reads this form cannot be started "
                             f"({error.strerror or error})", try_="Export the score as MusicXML.") from None
    if done.returncode == 0:
        return done.stdout
    if done.returncode == _MISSING:
        raise unreadable("not-installed", where=name, what=f"reading {_NAMES[form]} needs music21, which is not "
                         "installed", try_="Install the extra: pip install 'lowbrass[build]'.")
    if done.returncode == _FAILED:
        raise _damaged(name, form, " ".join(done.stdout.decode("utf-8", "replace").split())[:200])
    raise _damaged(name, form, "reading it asks for more than a score needs")


def convert_here(form: str) -> int:
    """Turn standard input into MusicXML on standard output; what the process that `to_musicxml` starts does.

    Returns 0; 3 if music21 is not installed; 4 with a reason on standard output if it cannot read the score.
    """
    out, sys.stdout = sys.stdout.buffer, sys.stderr           # what a library prints must not mix with the score
    data = sys.stdin.buffer.read()
    try:
        resource: Any = importlib.import_module("resource")
        resource.setrlimit(resource.RLIMIT_AS, (_MAX_MEMORY_BYTES, _MAX_MEMORY_BYTES))
    except (ImportError, ValueError, OSError):
        pass                                                  # not every system has it; the time limit holds anyway
    warnings.simplefilter("ignore")
    try:
        converter: Any = importlib.import_module("music21.converter")
        exporter: Any = importlib.import_module("music21.musicxml.m21ToXml")
    except ModuleNotFoundError:
        return _MISSING
    try:
        if form == "midi":
            _check_length(data)
        elif form == "abc":
            _let_clefs_be_signs()
        score = converter.parseData(data if form == "midi" else data.decode("utf-8"), format=form)
        score = score.scores[0] if "Opus" in score.classes else score
        if score.duration.quarterLength > _MAX_QUARTERS:
            raise ValueError("it lasts longer than any score")
        if form == "abc":
            _count_from_one(score)
        if not score.recurse().notes:
            out.write(b"it holds no notes")
            return _FAILED
        out.write(exporter.GeneralObjectExporter(score).parse())
    except Exception as error:  # a parser fed with damaged music may raise anything
        text = re.sub(r"id\(\)=\d+|0x[0-9a-f]+", "", str(error)).strip()      # places in memory change from run to run
        out.write((text or type(error).__name__).encode())
        return _FAILED
    finally:
        out.flush()
    return 0


def _check_length(data: bytes) -> None:
    """Add up the waiting times of each track: music21 would make a measure of every four beats of silence."""
    midi: Any = importlib.import_module("music21.midi")
    file = midi.MidiFile()
    file.readstr(data)
    for track in file.tracks:
        if sum(event.time for event in track.events if event.isDeltaTime()) > _MAX_QUARTERS * file.ticksPerQuarterNote:
            raise ValueError("it lasts longer than any score")


def _let_clefs_be_signs() -> None:
    """Undo, in this process, that music21 lowers an ABC tune by two octaves where its key line names the bass clef.

    A clef alone moves no note; ``B,,`` is B2 in every clef (The ABC Music Standard 2.1, 2011, sections 4.1 and 4.6).
    """
    abc: Any = importlib.import_module("music21.abcFormat")
    original = abc.ABCMetadata.getClefObject

    def clef_only(self: Any) -> Any:
        clef, semitones = original(self)
        return clef, 0 if clef is not None and clef.octaveChange == 0 else semitones

    abc.ABCMetadata.getClefObject = clef_only


def _count_from_one(score: Any) -> None:
    """Call the first measure 1 where it is whole: music21 calls it 0, as if every ABC tune began with an upbeat."""
    for part in score.parts:
        measures = list(part.getElementsByClass("Measure"))
        first = measures[0] if measures else None
        if first is not None and first.number == 0 and first.duration.quarterLength >= first.barDuration.quarterLength:
            for measure in measures:
                measure.number += 1


def _tidy(xml: bytes, name: str, form: Form) -> bytes:
    """Take out what changes from run to run or is not in the source, and number the parts P1, P2, …"""
    try:
        root = etree.fromstring(xml, etree.XMLParser(resolve_entities=False, no_network=True, remove_comments=True,
                                                     remove_blank_text=True))
    except etree.XMLSyntaxError:
        raise _damaged(name, form, "it holds signs that no score may hold") from None
    gone = [*root.iterfind("identification/encoding/encoding-date"),
            *(one for path in ("work/work-title", "movement-title", "identification/creator")
              for one in root.iterfind(path) if (one.text or "").startswith("Music21"))]
    if form in _SOUNDING:
        # The pitches of these forms are those heard; music21 adds the transposition of an instrument by its name.
        gone += root.iterfind("part/measure/attributes/transpose")
    for element in gone:
        parent = element.getparent()
        assert parent is not None
        parent.remove(element)
    if not root.findall("part"):
        raise _damaged(name, form, "it holds no parts")
    new: dict[str, str] = {}
    for number, part in enumerate(root.iterfind("part-list/score-part"), 1):
        new[part.get("id", "")] = f"P{number}"
        for k, instrument in enumerate(part.iterfind("score-instrument"), 1):
            new[instrument.get("id", "")] = f"P{number}-I{k}"
    for element in root.iter():
        old = element.get("id")
        if old is not None:
            element.set("id", new.setdefault(old, f"x{len(new)}"))
    etree.indent(root)
    return etree.tostring(root.getroottree(), xml_declaration=True, encoding="UTF-8")


def _damaged(name: str, form: Form, why: str) -> Exception:
    return unreadable("damaged-score", where=name, what=f"the {_NAMES[form]} file cannot be read ({why})",
                      try_="Export the score again, best as MusicXML (.musicxml or .mxl).")


def _cut(name: str, form: Form) -> Exception:
    return unreadable("cut-off", where=name, what=f"the {_NAMES[form]} file stops before its end",
                      try_="Copy or export it again; the last copy was not complete.")
