"""A score with some notes at another pitch, or without a glissando, notated rightly; other bytes stay as they were.

A changed note gets its new ``<pitch>``, and the accidental that the key and the measure so far ask for. Where a later
note of the measure now needs an accidental that it could do without before, that note gets it printed.
"""

import re
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from xml.sax.saxutils import escape

from lxml import etree

from analyzer.marking.splice import NOTE, NOTE_END, part_starts, rewritten, visible_bytes
from analyzer.pitch import Pitch, signature
from analyzer.score.document import Document

_PITCH = re.compile(rb"<pitch[\s>].*?</pitch\s*>", re.DOTALL)
_STEP = re.compile(rb"(<step[^>]*>)\s*[A-G]\s*(</step\s*>)")
_ALTER = re.compile(rb"\s*<alter[^>]*>[^<]*</alter\s*>")
_OCTAVE = re.compile(rb"(<octave[^>]*>)\s*-?\d+\s*(</octave\s*>)")
_ACCIDENTAL = re.compile(rb"\s*<accidental(?:\s[^>]*)?(?:/>|>[^<]*</accidental\s*>)")
_AFTER = re.compile(
    rb"\s*<(?:time-modification|stem|notehead|notehead-text|staff|beam|notations|lyric|play|listen)[\s>/]")
_GLIDE = re.compile(rb"\s*<(glissando|slide)\b([^>]*?)(?:/>|>.*?</\1\s*>)", re.DOTALL)
_TYPE = re.compile(rb"""\btype\s*=\s*["'](\w+)["']""")
_EMPTY = re.compile(rb"\s*<notations\s*>\s*</notations\s*>")
_SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


@dataclass(frozen=True, slots=True)
class _Edit:
    """What to do with one ``<note>``.

    A new pitch (None: keep), its accidental (empty: none; None: keep), the ends of glissandi that go, and a direction
    to print over it.
    """

    pitch: Pitch | None = None
    sign: str | None = None
    glides: frozenset[str] = frozenset()
    words: bytes = b""


Glides = Mapping[str, Mapping[int, frozenset[str]]]


Words = Mapping[str, Mapping[int, str]]


def repitched(document: Document, changes: Mapping[str, Mapping[int, Pitch]], glides: Glides | None = None,
              words: Words | None = None) -> bytes:
    """Return the file, in the form in which it came, with other written pitches and without some glissandi.

    Parameters
    ----------
    document : Document
        The score; it is not changed.
    changes : mapping
        Part id to ref of a ``<note>`` to its new written pitch.
    glides : mapping, optional
        Part id to ref of a ``<note>`` to the ends of glissandi that go there: ``start``, ``stop``.
    words : mapping, optional
        Part id to ref of a ``<note>`` to what is printed over it (ASCII), so that a reader sees the change.

    Raises
    ------
    ValueError
        If a change names a part or note that is not there, or a note without a pitch.
    Unreadable
        If the file is in an encoding that cannot be written back.
    """
    edits = {part_id: _edits(document, part_id, wanted) for part_id, wanted in changes.items() if wanted}
    for part_id, ends in (glides or {}).items():
        mine = edits.setdefault(part_id, {})
        mine.update({ref: replace(mine.get(ref, _Edit()), glides=which) for ref, which in ends.items()})
    for part_id, told in (words or {}).items():
        mine = edits.setdefault(part_id, {})
        for ref, direction in _directions(document, part_id, told).items():
            mine[ref] = replace(mine.get(ref, _Edit()), words=direction)
    return rewritten(document, lambda xml: _changed(document, xml, edits))


def _directions(document: Document, part_id: str, told: Mapping[int, str]) -> dict[int, bytes]:
    """Return ref to the ``<direction>`` that goes before that note; a note of a chord has it before the chord."""
    found: dict[int, list[str]] = defaultdict(list)
    places: dict[int, bytes] = {}
    ref = head = -1
    for measure in document.part_measures(part_id):
        for note in measure.iterchildren("note"):
            ref += 1
            head = head if note.find("chord") is not None else ref
            if ref not in told:
                continue
            found[head].append(told[ref])
            where = "".join(f"<{tag}>{escape(text)}</{tag}>" for tag in ("voice", "staff")
                            for text in [note.findtext(tag)] if text)
            places[head] = where.encode("ascii", "xmlcharrefreplace")
    return {head: b'<direction placement="above"><direction-type><words font-style="italic">'
                  + escape("; ".join(texts)).encode("ascii", "xmlcharrefreplace") + b"</words></direction-type>"
                  + places[head] + b"</direction>" for head, texts in found.items()}


def _edits(document: Document, part_id: str, wanted: Mapping[int, Pitch]) -> dict[int, _Edit]:
    edits: dict[int, _Edit] = {}
    missing = set(wanted)
    keys: dict[int, dict[str, int]] = {}
    ref = -1
    for measure in document.part_measures(part_id):
        before: dict[tuple[int, str, int], int] = {}       # what the reader's eye has seen, as printed now
        after: dict[tuple[int, str, int], int] = {}        # the same with our changes
        for child in measure:
            if child.tag == "attributes":
                keys.update(_keys(child))
                continue
            if child.tag != "note":
                continue
            ref += 1
            old = _pitch(child)
            if old is None:
                continue
            missing.discard(ref)
            staff = int(child.findtext("staff") or "1")
            key = keys.get(staff, keys.get(0, {}))
            new = wanted.get(ref)
            tied = any(tie.get("type") == "stop" for tie in child.iterchildren("tie"))
            printed = child.find("accidental") is not None
            needed_before = _needs(before, key, staff, old) and not tied
            needed = _needs(after, key, staff, new or old) and not tied
            if new is not None:
                edits[ref] = _Edit(pitch=new, sign=_SIGNS[new.alter] if needed else "")
            elif needed and not printed and not needed_before:
                edits[ref] = _Edit(sign=_SIGNS.get(old.alter))
            before[staff, old.step, old.octave] = old.alter
            shown = new or old
            after[staff, shown.step, shown.octave] = shown.alter
    if missing:
        raise ValueError(f"the part '{part_id}' has no pitched note {min(missing)}")
    return edits


def _needs(seen: Mapping[tuple[int, str, int], int], key: Mapping[str, int], staff: int, pitch: Pitch) -> bool:
    return seen.get((staff, pitch.step, pitch.octave), key.get(pitch.step, 0)) != pitch.alter


def _keys(attributes: etree._Element) -> dict[int, dict[str, int]]:
    """Return staff (0: all) to letter to alteration, as the key signature has it."""
    found: dict[int, dict[str, int]] = {}
    for key in attributes.iterchildren("key"):
        fifths = int(float(key.findtext("fifths") or "0"))
        signs = signature(fifths)
        steps = [element.text or "" for element in key.iterchildren("key-step")]
        alters = [round(float(element.text or "0")) for element in key.iterchildren("key-alter")]
        signs.update(zip(steps, alters, strict=False))
        found[int(key.get("number") or "0")] = signs
    return found


def _pitch(note: etree._Element) -> Pitch | None:
    pitch = note.find("pitch")
    if pitch is None:
        return None
    return Pitch((pitch.findtext("step") or "").strip(), round(float(pitch.findtext("alter") or "0")),
                 int(pitch.findtext("octave") or "0"))


def _changed(document: Document, xml: bytes, edits: Mapping[str, Mapping[int, _Edit]]) -> bytes:
    visible = visible_bytes(xml)
    pieces: list[bytes] = []
    at = 0
    for start, stop, edit in _places(document, visible, edits):
        before = xml[at:start]
        indent = before[len(before.rstrip()):]
        pieces += (before, *((edit.words, indent) if edit.words else ()),
                   _note(xml[start:stop], visible[start:stop], edit))
        at = stop
    pieces.append(xml[at:])
    return b"".join(pieces)


def _places(document: Document, visible: bytes,
            edits: Mapping[str, Mapping[int, _Edit]]) -> Iterator[tuple[int, int, _Edit]]:
    """Yield begin, end and edit of every ``<note>`` to change, in file order."""
    starts = part_starts(visible)
    elements = document.root.iterfind("measure/part") if document.timewise else document.root.iterchildren("part")
    seen: dict[str, int] = defaultdict(int)
    for index, element in enumerate(elements):
        part_id = element.get("id", "")
        wanted = edits.get(part_id)
        if wanted is None:
            continue
        notes = [match.start() for match in NOTE.finditer(visible, starts[index], starts[index + 1])]
        first = seen[part_id]
        seen[part_id] += len(notes)
        for place, start in enumerate(notes):
            if first + place in wanted:
                yield start, _end_of(visible, start), wanted[first + place]


def _note(raw: bytes, visible: bytes, edit: _Edit) -> bytes:
    """Return the bytes of a note up to its end tag, edited from the back so that places before stay right."""
    for glide in reversed(list(_GLIDE.finditer(visible)) if edit.glides else []):
        kind = _TYPE.search(glide[2])
        if kind is not None and kind[1].decode() in edit.glides:
            raw, visible = (one[:glide.start()] + one[glide.end():] for one in (raw, visible))
    if edit.glides and (bare := _EMPTY.search(visible)) is not None:
        raw, visible = (one[:bare.start()] + one[bare.end():] for one in (raw, visible))
    if edit.sign is not None:
        old = _ACCIDENTAL.search(visible)
        sign = b"<accidental>" + edit.sign.encode() + b"</accidental>" if edit.sign else b""
        if old is not None:
            lead = raw[old.start():old.end()].split(b"<", 1)[0] if sign else b""
            begin, end = old.start(), old.end()
        else:
            later = _AFTER.search(visible)
            begin = end = later.start() if later else len(visible.rstrip())
            lead = _space(visible[begin:]) if sign else b""
        raw = raw[:begin] + (lead + sign if sign else b"") + raw[end:]
        visible = visible[:begin] + (lead + sign if sign else b"") + visible[end:]
    if edit.pitch is not None:
        place = _PITCH.search(visible)
        assert place is not None, "only pitched notes are edited"
        raw = raw[:place.start()] + _repitch(raw[place.start():place.end()], edit.pitch) + raw[place.end():]
    return raw


def _space(after: bytes) -> bytes:
    return after[:len(after) - len(after.lstrip())]


def _repitch(pitch: bytes, new: Pitch) -> bytes:
    pitch = _STEP.sub(lambda m: m[1] + new.step.encode() + m[2], pitch, count=1)
    pitch = _OCTAVE.sub(lambda m: m[1] + str(new.octave).encode() + m[2], pitch, count=1)
    pitch = _ALTER.sub(b"", pitch, count=1)
    if new.alter:
        step = _STEP.search(pitch)
        assert step is not None, "the step has just been written"
        alter = _space(pitch[step.end():]) + b"<alter>" + str(new.alter).encode() + b"</alter>"
        pitch = pitch[:step.end()] + alter + pitch[step.end():]
    return pitch


def _end_of(visible: bytes, start: int) -> int:
    """Return where the note that begins at `start` closes (``</notehead>`` is not its end)."""
    closing = NOTE_END.search(visible, start)
    return closing.start() if closing else len(visible)
