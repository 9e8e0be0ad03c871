"""Small notes: what a part prints of other parts, as cues, or as notes of its own in cue size."""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from analyzer.pitch import Pitch
from analyzer.score.document import Document
from analyzer.score.sounding import Moment


@dataclass(frozen=True, slots=True)
class SmallNote:
    """One small note at the pitch that is written. `silent` tells a cue from a small note that is to be played."""

    at: Moment
    measure: str
    written: Pitch
    silent: bool


def small_notes(document: Document, part_id: str) -> Iterator[SmallNote]:
    """Yield the small notes of a part, in the order of the file; grace notes are not among them.

    What cannot be read of a note (a damaged length or pitch) leaves that note out.
    """
    divisions = Fraction(1)
    for index, measure in enumerate(document.part_measures(part_id)):
        at = begun = Fraction(0)
        for child in measure:
            if child.tag == "attributes":
                divisions = _number(child.findtext("divisions")) or divisions
            elif child.tag in ("backup", "forward", "note"):
                length = (_number(child.findtext("duration")) or Fraction(0)) / divisions
                chord = child.find("chord") is not None
                if child.tag == "backup":
                    at = max(Fraction(0), at - length)
                elif not chord:
                    begun, at = at, at + length
                kind, pitch = child.find("type"), child.find("pitch")
                silent = child.find("cue") is not None
                if pitch is None or child.find("grace") is not None:
                    continue
                if not silent and (kind is None or kind.get("size") != "cue"):
                    continue
                step, octave = (pitch.findtext("step") or "").strip(), _number(pitch.findtext("octave"))
                alter = _number(pitch.findtext("alter") or "0")
                if step in tuple("CDEFGAB") and octave is not None and alter is not None:
                    yield SmallNote((index, begun), document.measure_element(measure).get("number") or "",
                                    Pitch(step, round(alter), round(octave)), silent)


def _number(text: str | None) -> Fraction | None:
    """Return a number of the file, None where there is none above or below all that music has."""
    try:
        number = Fraction((text or "").strip())
    except (ValueError, ZeroDivisionError):
        return None
    return number if abs(number) < 10**9 else None
