"""A part of a hundred measures with everything that band parts print: an own composition for the tests, CC0.

`PROFILES` are three ways to print it for eyes that differ. All pages of the three (7, 6 and 7 with the sheet of hard
spots) were looked at, one by one, as pictures of 90 dots an inch. Found and mended then: the running head on measure
numbers and on rehearsal marks; words that grew over high notes, and numbers of endings through their brackets; tempo
words that ran into their metronome note; a long rest without width after a change of key and time; a stem right behind
a barline, that looked like a second one; a last measure alone in its line; headings, feet and the sheet of hard spots
too small for the reader of the part. Left: figures under sixteenths are narrower where two such measures share a line.
"""

from analyzer.score.document import Document
from analyzer.stave import Stave
from tests.engrave.scores import ACCENT, METRONOME, SLUR, START, TENOR, beamed, direction, note, part, score

MEASURES = 100
PROFILES = {"large and heavy": Stave(staff_mm=12, lines=1.6),
            "wide, large words": Stave(room=1.8, text=1.5, systems=1.6),
            "dynamics above, large text": Stave(staff_mm=9, text=1.6, dynamics="above")}
_FLAT_KEY = "<attributes><key><fifths>-3</fifths></key></attributes>"
_SHARP_KEY = "<attributes><key><fifths>2</fifths></key></attributes>"
_HOME_KEY = "<attributes><key><fifths>-2</fifths></key></attributes>"
_BASS = "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>"
_WALTZ = "<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>"
_COMMON = "<attributes><time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
_FERMATA = "<notations><fermata/></notations>"
_TENUTO = "<notations><articulations><tenuto/></articulations></notations>"
_TIE = "<tie type='{0}'/>", "<notations><tied type='{0}'/></notations>"


def rest(quarters: int = 4) -> str:
    return f"<note><rest measure='yes'/><duration>{4 * quarters}</duration><voice>1</voice></note>"


def dynamics(sign: str) -> str:
    return direction(f"<dynamics><{sign}/></dynamics>")


def wedge(kind: str) -> str:
    return direction(f"<wedge type='{kind}'/>")


def words(text: str) -> str:
    return direction(f"<words>{text}</words>", placement="above")


def rehearsal(letter: str) -> str:
    return direction(f"<rehearsal>{letter}</rehearsal>", placement="above")


def tempo(text: str, bpm: int) -> str:
    return (f"<direction placement='above'><direction-type><words font-weight='bold'>{text}</words></direction-type>"
            "<direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>"
            f"{bpm}</per-minute></metronome></direction-type><sound tempo='{bpm}'/></direction>")


def bar(where: str, inside: str) -> str:
    return f"<barline location='{where}'>{inside}</barline>"


def tied(pitch: str, kind: str, which: str) -> str:
    head = note(pitch, 16, kind, more=_TIE[1].format(which))
    return head.replace("<voice>", _TIE[0].format(which) + "<voice>", 1)


def _quarters(pitches: str, more: str = "") -> str:
    return "".join(note(pitch, 4, "quarter", more=more) for pitch in pitches.split())


def _slurred(pitches: str) -> str:
    heads = pitches.split()
    forms = {0: SLUR.format("start"), len(heads) - 1: SLUR.format("stop")}
    return "".join(note(pitch, 4, "quarter", more=forms.get(place, "")) for place, pitch in enumerate(heads))


def _phrase(down: int) -> list[str]:
    """Eight measures of a march, a third lower or not."""
    low = ("Bb2", "F2", "D3", "Eb3", "C3", "G2") if down else ("D3", "Bb2", "F3", "G3", "Eb3", "C3")
    a, b, c, d, e, f = low
    return [
        dynamics("f") + _quarters(f"{a} {b} {c} {b}", ACCENT),
        _slurred(f"{d} {c} {e} {a}"),
        wedge("crescendo") + beamed(f"{a} {e} {c} {d}") + beamed(f"{c} {d} {e} {c}") + _quarters(f"{d} {f}")
        + wedge("stop"),
        dynamics("ff") + note(b, 8, "half", more=ACCENT) + note(a, 8, "half", more=ACCENT),
        dynamics("mp") + words("cantabile") + _slurred(f"{c} {d} {c} {e}"),
        _quarters(f"{a} {e} {f} {e}", _TENUTO),
        wedge("diminuendo") + tied(d, "whole", "start") + wedge("stop"),
        tied(d, "whole", "stop"),
    ]


def hundred() -> Document:
    """Return the part: 100 measures, marches, rests, a waltz in another key, clefs, two endings."""
    music: list[str] = [START + METRONOME + words("Alla marcia") + _phrase(0)[0], *_phrase(0)[1:]]            # 8
    music += [rehearsal("A") + _phrase(1)[0], *_phrase(1)[1:]]                                                # 16
    music += [rehearsal("B") + rest(), *[rest() for _ in range(10)]]                                          # 27
    music += [words("Cue: cornets") + dynamics("p") + _slurred("F3 Eb3 D3 C3")]                               # 28
    music += [rehearsal("C") + bar("left", "<repeat direction='forward'/>") + _phrase(0)[0], *_phrase(0)[1:6]]  # 34
    music += [bar("left", "<ending number='1' type='start'/>") + _quarters("Bb2 A2 G2 F2")
              + bar("right", "<ending number='1' type='stop'/><repeat direction='backward'/>")]              # 35
    music += [bar("left", "<ending number='2' type='start'/>") + note("Bb2", 16, "whole")
              + bar("right", "<ending number='2' type='discontinue'/>")]                                     # 36
    music += [rehearsal("D") + _FLAT_KEY + TENOR + tempo("Meno mosso", 72) + dynamics("pp")
              + _slurred("Bb3 C4 D4 Eb4")]                                                                   # 37
    music += [_slurred("F4 Eb4 D4 C4"), wedge("crescendo") + _quarters("Bb3 D4 F4 Ab4") + wedge("stop"),
              dynamics("f") + note("G4", 16, "whole", more=_FERMATA)]                                        # 40
    music += [rest() for _ in range(3)] + [_BASS + words("poco a poco accelerando") + _quarters("Eb3 Eb3 R Eb3")]  # 44
    music += [beamed("Eb3 F3 G3 Ab3") + beamed("Bb3 Ab3 G3 F3") + beamed("Eb3 D3 C3 Bb2") + beamed("C3 D3 Eb3 F3")
              for _ in range(4)]                                                                             # 48
    music += [rehearsal("E") + _SHARP_KEY + _WALTZ + tempo("Tempo di valzer", 152) + dynamics("mf")
              + note("D3", 12, "half").replace("</type>", "</type><dot/>")]                                  # 49
    waltz = ["F#3 A3 D4", "C#4 A3 F#3", "G3 B3 E3", "A2 C#3 E3"]
    for turn in range(4):
        music += [_slurred(one) if turn % 2 else _quarters(one, _TENUTO) for one in waltz]                   # 65
    music += [rest(3) for _ in range(6)]                                                                     # 71
    music += [words("pesante") + _quarters("F#2 G#2 A2", ACCENT), _quarters("Bb2 B2 C3", ACCENT)]            # 73
    music += [rehearsal("F") + _HOME_KEY + _COMMON
              + tempo("Tempo I", 96) + _phrase(1)[0], *_phrase(1)[1:]]                                       # 81
    music += [rehearsal("G") + _phrase(0)[0], *_phrase(0)[1:]]                                               # 89
    music += [rest() for _ in range(2)]                                                                      # 91
    music += [rehearsal("H") + words("Più mosso, con fuoco e sempre crescendo") + wedge("crescendo")
              + _quarters("F2 F2 A2 A2"), _quarters("Bb2 Bb2 D3 D3"), _quarters("Eb3 Eb3 F3 F3") + wedge("stop")]  # 94
    music += [dynamics("fff") + beamed("G3 F3 Eb3 D3") + beamed("C3 Bb2 A2 G2") + _quarters("F2 C2", ACCENT),
              note("Bb1", 16, "whole", more=ACCENT), _quarters("Bb3 R Bb3 R", ACCENT), _quarters("F3 R D3 R", ACCENT),
              wedge("diminuendo") + note("Bb2", 8, "half") + note("F2", 8, "half") + wedge("stop")]          # 99
    music += [dynamics("sfz") + note("Bb1", 16, "whole", more=_FERMATA)
              + bar("right", "<bar-style>light-heavy</bar-style>")]                                          # 100
    assert len(music) == MEASURES, len(music)
    return score(part(music, "Bass Trombone"))
