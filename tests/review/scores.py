"""Two small scores for reviews, made by hand, with parts beside the trombone."""

from pathlib import Path

SAMPLES = Path(__file__).resolve().parents[2] / "sample_scores"


def note(step: str, octave: int, alter: int = 0, quarters: int = 4, more: str = "") -> str:
    """Return one <note> over several lines, as notation programs write it."""
    sign = f"\n          <alter>{alter}</alter>" if alter else ""
    return (f"\n      <note>\n        <pitch>\n          <step>{step}</step>{sign}\n          <octave>{octave}</octave>"
            f"\n        </pitch>\n        <duration>{quarters}</duration>\n        <voice>1</voice>"
            f"{more}\n      </note>")


def part(part_id: str, *measures: str, clef: str = "F4", fifths: int = 0, more: str = "") -> str:
    """Return one <part> with a quarter note as division."""
    first = (f"\n      <attributes><divisions>1</divisions><key><fifths>{fifths}</fifths></key><time><beats>4</beats>"
             f"<beat-type>4</beat-type></time><clef><sign>{clef[0]}</sign><line>{clef[1]}</line></clef>{more}"
             "</attributes>")
    body = "".join(f'\n    <measure number="{k}">{first if k == 1 else ""}{measure}\n    </measure>'
                   for k, measure in enumerate(measures, 1))
    return f'\n  <part id="{part_id}">{body}\n  </part>'


def score(parts: dict[str, str]) -> bytes:
    """Return a score of parts P1, P2, ... by name."""
    listed = "".join(f'<score-part id="P{k}"><part-name>{name}</part-name></score-part>'
                     for k, name in enumerate(parts, 1))
    return (f'<?xml version="1.0" encoding="UTF-8"?>\n<!-- <note> kept -->\n<score-partwise version="4.0">\n  '
            f'<part-list>{listed}</part-list>{"".join(parts.values())}\n</score-partwise>\n').encode()


def chord_score() -> bytes:
    """An E flat chord: flute G4, a B flat clarinet that reads C5 and sounds B flat 4, the trombone E flat 2."""
    return score({
        "Flute": part("P1", note("G", 4), note("G", 4), clef="G2"),
        "Clarinet in Bb": part("P2", note("C", 5), note("C", 5), clef="G2",
                               more="<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"),
        "Trombone": part("P3", note("E", 2, -1), note("B", 2, -1), fifths=-3),
    })
