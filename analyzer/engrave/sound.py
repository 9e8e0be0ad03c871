"""The sound of a part, and when each of its notes starts."""

from dataclasses import dataclass

from analyzer.engrave import native
from analyzer.engrave.copy import engraving_copy
from analyzer.engrave.layout import LAYOUT, engraver
from analyzer.score.document import Document


@dataclass(frozen=True, slots=True, kw_only=True)
class SoundTime:
    """When the note with ordinal `ref` starts in the sound of `midi_of`. [s]"""

    ref: int
    onset_s: float


def midi_of(
    document: Document, part_id: str, *, measures: tuple[int, int] | None = None, tempo_bpm: float | None = None,
) -> bytes:
    """Return one part, or some measures of it, as a Standard MIDI File, without our marks.

    `tempo_bpm` [quarter notes a minute] holds throughout, in place of the score's own tempi.
    """
    import base64

    copy = engraving_copy(document, part_id, measures=measures, fold=False)
    music = copy.musicxml if tempo_bpm is None else _at_tempo(copy.musicxml, tempo_bpm)
    return base64.b64decode(engraver(native.midi, music, {**LAYOUT, "breaks": "none"}, where=document.name))


def _at_tempo(musicxml: str, tempo_bpm: float) -> str:
    """Return music with one tempo from its first measure on."""
    from lxml import etree

    root = etree.fromstring(musicxml.encode())
    for sound in root.iterfind(".//sound[@tempo]"):
        del sound.attrib["tempo"]
    for holder in root.iterfind(".//direction-type[metronome]"):
        for printed in holder.findall("metronome"):
            # A direction-type must hold something; empty words print nothing.
            holder.replace(printed, etree.Element("words"))
    first = root.find("part/measure")
    if first is not None:
        direction = etree.Element("direction")
        etree.SubElement(etree.SubElement(direction, "direction-type"), "words")
        etree.SubElement(direction, "sound", tempo=f"{tempo_bpm:g}")
        attributes = first.find("attributes")
        first.insert(0 if attributes is None else first.index(attributes) + 1, direction)
    return etree.tostring(root, encoding="unicode")


def note_times(document: Document, part_id: str, *, measures: tuple[int, int] | None = None) -> tuple[SoundTime, ...]:
    """Return when each note of `midi_of` starts, by time; a note that a repeat brings again comes again."""
    copy = engraving_copy(document, part_id, measures=measures, fold=False)
    times = []
    for event in engraver(native.times, copy.musicxml, {**LAYOUT, "breaks": "none"}, where=document.name):
        for name in event.get("on", ()):
            # A repeated note has the id with a suffix.
            plain = str(name).split("-rend")[0]
            if plain[:1] == "n" and plain[1:].isdigit():
                times.append(SoundTime(ref=int(plain[1:]), onset_s=float(event["tstamp"]) / 1000))
    return tuple(times)
