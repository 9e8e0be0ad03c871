"""Small MusicXML scores made in the test itself."""

import re

from analyzer.score.document import Document, read_document
from analyzer.score.lines import lines_of
from analyzer.score.reader import read_part
from analyzer.score.timeline import Part

_STEPS = "CDEFGAB"


def note(pitch: str = "", ticks: int | str | None = 4, inner: str = "", before: str = "", voice: str = "1",
         after: str = "", attributes: str = "") -> str:
    """Return a <note>: pitch such as Bb3 (nothing: a rest), duration in divisions (None: no duration element)."""
    if pitch:
        alter = pitch.count("#") - pitch[1:].count("b")
        what = f"<pitch><step>{pitch[0]}</step>" + (f"<alter>{alter}</alter>" if alter else "")
        what += f"<octave>{pitch[-1]}</octave></pitch>"
    else:
        what = "<rest/>"
    duration = "" if ticks is None else f"<duration>{ticks}</duration>"
    return f"<note{attributes}>{before}{what}{duration}{inner}<voice>{voice}</voice>{after}</note>"


def chord(*pitches: str, ticks: int = 4, voice: str = "1") -> str:
    """Return the notes of a chord."""
    return "".join(note(pitch, ticks, before="<chord/>" if index else "", voice=voice)
                   for index, pitch in enumerate(pitches))


def backup(ticks: int) -> str:
    return f"<backup><duration>{ticks}</duration></backup>"


def forward(ticks: int) -> str:
    return f"<forward><duration>{ticks}</duration></forward>"


def words(text: str, extra: str = "") -> str:
    return f"<direction><direction-type><words>{text}</words></direction-type>{extra}</direction>"


def attributes(divisions: int = 4, clef: str = "F4", more: str = "", time: str = "4/4") -> str:
    beats, unit = time.split("/")
    return (f"<attributes><divisions>{divisions}</divisions><time><beats>{beats}</beats><beat-type>{unit}</beat-type>"
            f"</time><clef><sign>{clef[0]}</sign><line>{clef[1]}</line></clef>{more}</attributes>")


def score(*measures: str, name: str = "Trombone", entry: str = "", head: str = "", first: str | None = None) -> bytes:
    """Return a partwise score with one part P1; divisions are 4 unless `first` has other attributes."""
    body = "".join(f'<measure number="{number}">{(attributes() if first is None else first) if number == 1 else ""}'
                   f"{measure}</measure>" for number, measure in enumerate(measures, start=1))
    return (f'<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">{head}<part-list>'
            f'<score-part id="P1"><part-name>{name}</part-name>{entry}</score-part></part-list>'
            f'<part id="P1">{body}</part></score-partwise>').encode()


def listed(*entries: str, bodies: dict[str, str] | None = None) -> Document:
    """Return a score whose part list holds these entries; every part has one measure."""
    text = "".join(entries)
    ids = re.findall(r'<score-part id="([^"]*)"', text)
    rest = "<note><rest/><duration>4</duration></note>"
    parts = "".join(f'<part id="{each}"><measure number="1">{(bodies or {}).get(each, rest)}</measure></part>'
                    for each in ids)
    return read_document(f"<score-partwise><part-list>{text}</part-list>{parts}</score-partwise>".encode(), "list.xml")


def entry(part_id: str, name: str, abbreviation: str = "", instrument: str = "", sound: str = "",
          program: int | None = None) -> str:
    """Return a <score-part>."""
    text = f'<score-part id="{part_id}"><part-name>{name}</part-name>'
    if abbreviation:
        text += f"<part-abbreviation>{abbreviation}</part-abbreviation>"
    if instrument or sound:
        text += f'<score-instrument id="{part_id}-I1"><instrument-name>{instrument}</instrument-name>'
        text += (f"<instrument-sound>{sound}</instrument-sound>" if sound else "") + "</score-instrument>"
    if program is not None:
        text += f'<midi-instrument id="{part_id}-I1"><midi-program>{program}</midi-program></midi-instrument>'
    return text + "</score-part>"


def group(name: str, *entries: str, number: int = 1) -> str:
    return (f'<part-group type="start" number="{number}"><group-name>{name}</group-name></part-group>{"".join(entries)}'
            f'<part-group type="stop" number="{number}"/>')


def part(data: bytes) -> Part:
    """Return part P1 of a score."""
    return read_part(read_document(data, "test.musicxml"), "P1")[0]


def codes(data: bytes) -> list[str]:
    """Return the codes of the problems in part P1."""
    return [problem.code for problem in read_part(read_document(data, "test.musicxml"), "P1")[1]]


def lines(data: bytes, family: str = "trombone") -> list[list[str]]:
    """Return the written notes of each line of part P1, with the onset: ``Bb3@0``."""
    return [[f"{note.written.name}@{note.onset}" for note in line.notes] for line in lines_of(part(data), family)[0]]
