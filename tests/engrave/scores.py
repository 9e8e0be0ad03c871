"""Short scores of our own for the tests of the pages, written so that much stands in the way of a mark."""

from analyzer.marking.mark import Mark
from analyzer.score.document import Document, read_document

ACCENT = ("<notations><articulations><accent placement='below'/><staccato placement='below'/></articulations>"
          "</notations>")
LABELS = ("1", "T2", "2♯", "1-2", "×", "7", "4♭", "3", "TS2", "0", "5", "6")


def note(pitch: str, duration: int, kind: str, *, more: str = "", before: str = "", chord: bool = False) -> str:
    """One <note>; `pitch` as ``Bb2``, ``R`` for a rest; `more` after the type, `before` in front of the pitch."""
    if pitch == "R":
        what = "<rest/>"
    else:
        alter = {"b": "<alter>-1</alter>", "#": "<alter>1</alter>"}.get(pitch[1:2], "")
        what = f"<pitch><step>{pitch[0]}</step>{alter}<octave>{pitch[-1]}</octave></pitch>"
    length = "" if before == "<grace/>" else f"<duration>{duration}</duration>"
    return f"<note>{before}{'<chord/>' if chord else ''}{what}{length}<voice>1</voice><type>{kind}</type>{more}</note>"


def beamed(pitches: str, more: str = "") -> str:
    """Four sixteenths under one beam (divisions 4)."""
    states = ("begin", "continue", "continue", "end")
    return "".join(note(pitch, 1, "16th", more=f"<beam number='1'>{state}</beam><beam number='2'>{state}</beam>{more}")
                   for pitch, state in zip(pitches.split(), states, strict=True))


def direction(inside: str, more: str = "", placement: str = "below") -> str:
    return f"<direction placement='{placement}'><direction-type>{inside}</direction-type>{more}</direction>"


METRONOME = direction("<metronome><beat-unit>quarter</beat-unit><per-minute>96</per-minute></metronome>",
                      "<sound tempo='96'/>", "above")
START = ("<attributes><divisions>4</divisions><key><fifths>-2</fifths></key><time><beats>4</beats><beat-type>4"
         "</beat-type></time><clef><sign>F</sign><line>4</line></clef></attributes>")
TENOR = "<attributes><clef><sign>C</sign><line>4</line></clef></attributes>"
LYRIC = "<lyric number='1'><syllabic>single</syllabic><text>Glo</text></lyric>"
SLUR = "<notations><slur type='{}' number='1' placement='below'/></notations>"
EMPTY = "<note><rest measure='yes'/><duration>16</duration><voice>1</voice></note>"
BUSY = (
    beamed("D3 Eb3 F3 G3") + beamed("A2 Bb2 C3 D3", ACCENT) + beamed("E2 F2 G2 A2", ACCENT) + beamed("Bb3 A3 G3 F3"),
    direction("<dynamics><ff/></dynamics>") + direction("<wedge type='crescendo'/>")
    + note("E2", 4, "quarter", more=SLUR.format("start")) + note("C2", 4, "quarter")
    + note("G2", 4, "quarter", more=SLUR.format("stop")) + direction("<wedge type='stop'/>")
    + note("Bb1", 4, "quarter", more=ACCENT),
    note("Bb2", 8, "half", more=LYRIC) + direction("<words>dolce, poco a poco</words>")
    + note("C3", 0, "eighth", before="<grace/>") + note("D3", 4, "quarter", more=LYRIC) + note("R", 4, "quarter"),
)


def part(measures: list[str], name: str = "Trombone 2", part_id: str = "P1") -> tuple[str, str]:
    """Return the part list entry and the part."""
    music = "".join(f"<measure number='{number}'>{content}</measure>" for number, content in enumerate(measures, 1))
    return (f"<score-part id='{part_id}'><part-name>{name}</part-name></score-part>",
            f"<part id='{part_id}'>{music}</part>")


def score(*parts: tuple[str, str]) -> Document:
    entries, music = "".join(entry for entry, _ in parts), "".join(found for _, found in parts)
    xml = ("<score-partwise version='4.0'><identification><creator type='composer'>A. Writer</creator>"
           f"</identification><part-list>{entries}</part-list>{music}</score-partwise>")
    return read_document(xml.encode(), "test.musicxml")


def busy(repeats: int = 4) -> Document:
    """A part of ``4 + 3 * repeats`` measures in which notes, slurs, wedges, words and lyrics stand below the staff."""
    opening = [START + METRONOME + BUSY[0], BUSY[1], BUSY[2]]
    return score(part([*opening, EMPTY, EMPTY, EMPTY, EMPTY, *list(BUSY) * repeats]))


def marks(document: Document, part_id: str = "P1", *, line: int = 1) -> tuple[Mark, ...]:
    """A mark for every note: the labels in turn, every third one changed, × for not playable."""
    found = []
    for ref, element in enumerate(document.notes(part_id)):
        if element.find("rest") is None:
            text = LABELS[len(found) % len(LABELS)]
            found.append(Mark(part_id=part_id, ref=ref, line=line, text=text, changed=len(found) % 3 == 0,
                              playable=text != "×"))
    return tuple(found)
