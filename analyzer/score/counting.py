"""How many attacks a file in another form holds, counted without the library that reads it.

A second count by other means: where the two differ, notes were lost on the way (an ending skipped, a voice dropped),
and a plan of what is left would look whole. Ties are one attack, each note of a chord is one, grace notes count.
"""

import re

from lxml import etree

_MIDI_DATA = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
_KERN_NOTE = re.compile(r"[a-gA-G]")
_ABC_FIELD = re.compile(r"^(?:[A-Za-z+]:|%)")
_ABC_NO_NOTES = re.compile(r'"[^"]*"|![^!\n]*!|\+[a-z]+\+|\[[A-Za-z]:[^\]]*\]|%.*')


def attacks_in_midi(data: bytes) -> int | None:
    """Count the note-on events with a velocity (MIDI Association, RP-001); None where the bytes cannot be followed."""
    at, found = 8 + int.from_bytes(data[4:8]), 0
    while at + 8 <= len(data):
        end = at + 8 + int.from_bytes(data[at + 4:at + 8])
        if data[at:at + 4] == b"MTrk":
            count = _attacks_in_track(data[at + 8:end])
            if count is None:
                return None
            found += count
        at = end
    return found


def _attacks_in_track(track: bytes) -> int | None:
    at = found = status = 0
    try:
        while at < len(track):
            while track[at] & 0x80:        # the time, of variable length
                at += 1
            at += 1
            first = track[at]
            if first & 0x80:
                at += 1
                status = first if first < 0xF0 else status
            if first in (0xFF, 0xF0, 0xF7):
                at += first == 0xFF
                size = 0
                while track[at] & 0x80:
                    size = size << 7 | track[at] & 0x7F
                    at += 1
                at += 1 + (size << 7 | track[at])
                continue
            kind = status & 0xF0
            found += kind == 0x90 and track[at + 1] > 0
            at += _MIDI_DATA[kind]
    except (IndexError, KeyError):
        return None
    return found


def attacks_in_kern(text: str) -> int:
    """Count the notes of all ``**kern`` columns; ``_`` and ``]`` go on with a tie (D. Huron, Humdrum manual, 1994)."""
    found = 0
    kinds: list[str] = []
    for line in text.split("\n"):
        if line.startswith("!") or not line.strip():
            continue
        fields = line.split("\t")
        if line.startswith("**"):
            kinds = fields
        elif line.startswith("*"):
            kinds = _columns(kinds, fields)
        elif not line.startswith("="):
            for kind, field in zip(kinds, fields, strict=False):
                if kind == "**kern" and field != ".":
                    found += sum(1 for token in field.split(" ") if _KERN_NOTE.search(token) and "r" not in token
                                 and "_" not in token and "]" not in token)
    return found


def _columns(kinds: list[str], fields: list[str]) -> list[str]:
    """Follow the columns that split, join, end or change places."""
    result: list[str] = []
    joining = False
    for place, field in enumerate(fields):
        kind = kinds[place] if place < len(kinds) else ""
        if field == "*^":
            result += [kind, kind]
        elif field == "*v":
            if not joining:
                result.append(kind)
        elif field == "*x" and place + 1 < len(fields) and fields[place + 1] == "*x" and place + 1 < len(kinds):
            result.append(kinds[place + 1])
        elif field.startswith("**"):
            result.append(field)
        elif field == "*+":
            result += [kind, ""]
        elif field != "*-":
            result.append(kind)
        joining = field == "*v"
    return result


def attacks_in_abc(tune: str) -> int:
    """Count the note letters of a tune, ties taken off (The ABC Music Standard 2.1, 2011, section 4)."""
    found = 0
    body = tune.partition("\nK:")[2].partition("\n")[2]
    for line in body.split("\n"):
        if _ABC_FIELD.match(line):
            continue
        plain = _ABC_NO_NOTES.sub(" ", line)
        found += len(re.findall(r"[A-Ga-g]", plain)) - len(re.findall(r"(?<=[A-Ga-g,'\d/])-", plain))
        for chord in re.findall(r"\[([^\]|:]*)\][\d/]*-", plain):
            found -= len(re.findall(r"[A-Ga-g]", chord))
    return found


def attacks_in_musicxml(xml: bytes) -> int:
    """Count the notes of a partwise score that do not only go on with a tie."""
    root = etree.fromstring(xml, etree.XMLParser(resolve_entities=False, no_network=True))
    return sum(1 for note in root.iterfind("part/measure/note") if note.find("rest") is None
               and not any(tie.get("type") == "stop" for tie in note.iterfind("tie")))
