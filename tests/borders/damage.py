"""Ways to damage what a command is given: scores by their structure, tables by their rows, sound by its bytes."""

import json
import random
import re
import struct
from collections.abc import Callable
from typing import Any

from lxml import etree

from tests.score.test_fuzz import _mutated

Change = Callable[[etree._Element, random.Random], None]
NUMBERS = ("0", "-1", "9999999", "1e9", "1/3", "0.0001", "9" * 20, "NaN", "", " 7 ", "2147483648", "٣")
TEXTS = ("\u009b2J", "\u202egnp.exe", "=1+1", "a\nerror: b", "x" * 5000, "<script>", "&amp;amp;", "", "♭♯𝄫", "-")


# --- scores ----------------------------------------------------------------------------------------------------------

def _a_number(root: etree._Element, chance: random.Random) -> None:
    found = list(root.iter(
        "duration", "divisions", "octave", "alter", "beats", "beat-type", "fifths", "line", "actual-notes",
        "normal-notes", "voice", "staff", "chromatic", "diatonic", "octave-change", "per-minute", "multiple-rest"))
    if found:
        chance.choice(found).text = chance.choice(NUMBERS)


def _a_text(root: etree._Element, chance: random.Random) -> None:
    found = list(root.iter("part-name", "words", "work-title", "creator", "text", "instrument-name", "rights"))
    if found:
        _set(lambda text: setattr(chance.choice(found), "text", text), chance.choice(TEXTS))


def _an_attribute(root: etree._Element, chance: random.Random) -> None:
    found = [one for one in root.iter(etree.Element) if one.attrib]
    if found:
        one = chance.choice(found)
        name = chance.choice(list(one.attrib))
        _set(lambda text: one.set(name, text), chance.choice((*NUMBERS, *TEXTS)))


def _set(put: Callable[[str], None], text: str) -> None:
    """Put a text in; what no XML may hold comes as a number."""
    try:
        put(text)
    except ValueError:
        put("1e99")


def _inserted(text: str) -> Change:
    def change(root: etree._Element, chance: random.Random) -> None:
        measures = list(root.iter("measure"))
        if measures:
            measure = chance.choice(measures)
            measure.insert(chance.randrange(len(measure) + 1),
                           etree.fromstring(text.replace("?", chance.choice(NUMBERS))))
    return change


def _moved(root: etree._Element, chance: random.Random) -> None:
    """Put an element into another place: structure as the standard names it, where it does not allow it."""
    every = [one for one in root.iter(etree.Element) if one.getparent() is not None]
    one, place = chance.choice(every), chance.choice(every)
    if one is not place and all(one is not above for above in place.iterancestors()):
        place.append(one)


def _doubled(root: etree._Element, chance: random.Random) -> None:
    measures = list(root.iter("measure"))
    if measures:
        measure = chance.choice(measures)
        for _ in range(chance.choice((1, 3, 40))):
            measure.addnext(etree.fromstring(etree.tostring(measure, with_tail=False)))


def _dropped(root: etree._Element, chance: random.Random) -> None:
    one = chance.choice([one for one in root.iter(etree.Element) if one.getparent() is not None])
    parent = one.getparent()
    assert parent is not None
    parent.remove(one)


STRUCTURAL: tuple[Change, ...] = (
    _a_number, _a_number, _a_number, _a_text, _an_attribute, _moved, _doubled, _dropped,
    _inserted("<forward><duration>?</duration></forward>"), _inserted("<backup><duration>?</duration></backup>"),
    _inserted('<direction><direction-type><wedge type="crescendo"/></direction-type></direction>'),
    _inserted('<direction><sound tempo="?"/></direction>'),
    _inserted('<barline><repeat direction="backward" times="?"/></barline>'),
    _inserted('<barline><ending number="?" type="start"/></barline>'),
    _inserted("<attributes><divisions>?</divisions></attributes>"),
    _inserted("<attributes><time><beats>?</beats><beat-type>?</beat-type></time></attributes>"),
    _inserted("<attributes><clef><sign>F</sign><line>?</line></clef></attributes>"),
    _inserted("<attributes><measure-style><multiple-rest>?</multiple-rest></measure-style></attributes>"),
    _inserted("<attributes><transpose><chromatic>?</chromatic></transpose></attributes>"),
    _inserted("<note><pitch><step>B</step><alter>?</alter><octave>?</octave></pitch><duration>?</duration></note>"),
    _inserted('<note><pitch><step>C</step><octave>3</octave></pitch><duration>4</duration><notations><slide '
              'type="start" number="?"/></notations></note>'),
    _inserted("<note><pitch><step>C</step><octave>3</octave></pitch><duration>4</duration><time-modification>"
              "<actual-notes>?</actual-notes><normal-notes>?</normal-notes></time-modification></note>"),
)


def score(data: bytes, seed: int) -> bytes:
    """Return a damaged score: half of the seeds change its structure, half its bytes."""
    chance = random.Random(seed)
    if chance.random() < 0.5:
        return _mutated(seed, data)
    root = etree.fromstring(data)
    for _ in range(chance.choice((1, 1, 2, 4))):
        chance.choice(STRUCTURAL)(root, chance)
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True)


# --- bytes of any file -----------------------------------------------------------------------------------------------

_PIECES = (b"\0", b"\xff\xfe", b"\n", b"\xc2\x9b2J", b"\xe2\x80\xaegnp", b"[" * 500, b"=1+1", b"9" * 400, b"\x1b[2J")


def raw(data: bytes, seed: int) -> bytes:
    """Return bytes with some flipped, cut, doubled or put in; now and then no bytes at all."""
    chance = random.Random(seed)
    for _ in range(chance.choice((1, 1, 2, 5))):
        at, to = sorted((chance.randrange(len(data) + 1), chance.randrange(len(data) + 1)))
        way = chance.randrange(12)
        if way < 4 and data:
            at = min(at, len(data) - 1)
            data = data[:at] + bytes([chance.randrange(256)]) + data[at + 1:]
        elif way < 6:
            data = data[:at] + chance.choice(_PIECES) + data[at:]
        elif way < 8:
            data = data[:at]
        elif way < 10:
            data = data[:at] + data[to:]
        elif way < 11:
            data = data[:to] + data[at:to] * chance.choice((1, 2, 50)) + data[to:]
        else:
            data = chance.choice((b"", b"\0" * 5000, b"PK\x03\x04zz", b"<a>" * 3000))
    return data


# --- tables of a teacher: TOML, CSV, JSON ----------------------------------------------------------------------------

_VALUES = ("nan", "-inf", "1e400", "-1", "0", '""', "true", "[]", "[[[]]]", "{}", '["T"]', "1979-05-27", "9" * 400,
           '"\\u009b2J"', '"a\\nerror: b"', '"\\u202egnp"', '"=1+1"', "'" + "x" * 5000 + "'", '"\\u0000"', "1e-300")
_LINE = re.compile(r"^(\s*)([\w.\"-]+)(\s*=\s*)(.*)$")
_KEYS = ("name", "low", "high", "learned", "horns", "length_mm", "reach_mm", "level", "kind", "player", "pins", "x.y.z")


def toml(data: bytes, seed: int) -> bytes:
    """Return a damaged TOML file: another value, another key, a line twice or gone, a table in another's place."""
    chance = random.Random(seed)
    if chance.random() < 0.2:
        return raw(data, seed)
    rows = data.decode("utf-8").splitlines()
    for _ in range(chance.choice((1, 1, 2, 4))):
        at = chance.randrange(len(rows))
        keyed = [k for k, row in enumerate(rows) if _LINE.match(row)]
        way = chance.randrange(8)
        if way < 4 and keyed:
            at = chance.choice(keyed)
            found = _LINE.match(rows[at])
            assert found is not None
            rows[at] = f"{found[1]}{found[2]}{found[3]}{chance.choice(_VALUES)}"
        elif way == 4 and keyed:
            at = chance.choice(keyed)
            rows[at] = _LINE.sub(rf"\1{chance.choice(_KEYS)}\3\4", rows[at])
        elif way == 5:
            rows.insert(at, rows[chance.randrange(len(rows))])
        elif way == 6 and len(rows) > 1:
            del rows[at]
        else:
            rows.insert(at, chance.choice(("[player]", "[[player]]", "[[part]]", "[tube]", "]", "a = [" * 300, "= 1",
                                           f"{chance.choice(_KEYS)} = {chance.choice(_VALUES)}")))
    return "\n".join(rows).encode("utf-8", "replace")


def csv(data: bytes, seed: int) -> bytes:
    """Return a damaged table: another cell, other separators, a row twice or gone, a wide or a long row."""
    chance = random.Random(seed)
    if chance.random() < 0.2:
        return raw(data, seed)
    rows = [row.split(",") for row in data.decode("utf-8").splitlines()]
    for _ in range(chance.choice((1, 1, 2, 4))):
        row = chance.choice(rows)
        way = chance.randrange(7)
        if way < 4:
            row[chance.randrange(len(row))] = chance.choice((*NUMBERS, *TEXTS, "inf", "-", "T9", "H4", '"', "Bb3;4"))
        elif way == 4:
            rows.insert(chance.randrange(len(rows)), list(row))
        elif way == 5:
            row.extend(chance.choice(NUMBERS) for _ in range(chance.choice((1, 40))))
        elif len(rows) > 1:
            rows.remove(row)
    return "\n".join(chance.choice((",", ",", ",", ";", "\t")).join(row) if chance.random() < 0.1 else ",".join(row)
                     for row in rows).encode("utf-8", "replace")


_ODD: tuple[Any, ...] = (None, True, -1, 10**400, 1e308, "", "x" * 5000, [], {}, [[]], "\u009b2J", "a\nerror: b", "NaN",
                         "2026-02-30", 0)


def json_document(data: bytes, seed: int) -> bytes:
    """Return a damaged JSON document: another value somewhere, something gone, and its bytes."""
    chance = random.Random(seed)
    if chance.random() < 0.3:
        return raw(data, seed)
    document = json.loads(data)
    for _ in range(chance.choice((1, 1, 2, 4))):
        places: list[tuple[Any, Any]] = []
        _walk(document, places)
        if not places:
            break
        holder, key = chance.choice(places)
        if chance.random() < 0.25:
            del holder[key]
        else:
            holder[key] = chance.choice(_ODD)
    text = json.dumps(document, ensure_ascii=False)
    return (text.replace(': 96', ': NaN', 1) if chance.random() < 0.1 else text).encode("utf-8", "replace")


def _walk(holder: Any, places: list[tuple[Any, Any]]) -> None:
    keys = list(holder) if isinstance(holder, dict) else range(len(holder)) if isinstance(holder, list) else ()
    for key in keys:
        places.append((holder, key))
        _walk(holder[key], places)


# --- sound -----------------------------------------------------------------------------------------------------------

def sound(data: bytes, seed: int) -> bytes:
    """Return a damaged WAV file: a lying header, samples of nothing or of noise, cut or silent sound."""
    chance = random.Random(seed)
    way = chance.randrange(8)
    if way < 2:
        return raw(data, seed)
    if way < 5:                     # fields of the header: sizes, form, channels, rate, bytes a frame, bits
        at, form = chance.choice(((4, "<I"), (16, "<I"), (20, "<H"), (22, "<H"), (24, "<I"), (28, "<I"), (32, "<H"),
                                  (34, "<H"), (40, "<I")))
        most = 2 ** (16 if form == "<H" else 32) - 1
        changed = bytearray(data)
        struct.pack_into(form, changed, at, chance.choice((0, 1, 2, 3, 7, 255, 384_000, most // 2, most)) & most)
        return bytes(changed)
    head, body = data[:44], data[44:]
    if way == 5:
        return head + bytes(len(body))
    if way == 6:
        return head + chance.randbytes(len(body))
    return head + body[:chance.choice((0, 1, 2, 100, 2001))]


# --- what stands on the command line ---------------------------------------------------------------------------------

WORDS: dict[str, tuple[str, ...]] = {
    "date": ("2026-02-30", "0001-01-01", "9999-12-31", "2026-13-01", "tomorrow", "", "٢٠٢٦-٠١-٠١", "2026-1-1", "nan",
             "99999-01-01", "2026-01-01T10:00", "-2026-01-01", "1900-01-01"),
    "tempo": ("nan", "inf", "-1", "0", "1e400", "9" * 400, "", "10", "600", "x", "٩٦"),
    "measures": ("0-0", "9-1", "-", "1-", "x-y", "1-99999999999999999999", "", "1-\x1b[2J", "--", "=1+1", "1-2-3"),
    "pin": ("1:1=9", "1:99=1", "1:1=", ":=", "99999999999:1=1", "1:0=1", "1:1=\x1b[2J", "1:9.1=1", "", "1:1=T99"),
    "state": ("Q", "", "T-T", "1-2-3-4-5", "\x1b[2J", "=1+1", "T\nerror: x", "x" * 5000, "-"),
    "known": ("C3 6 nanmm", "C3 6 496", "H9 6 496mm", "C3 99 496mm", "C3 6 1e400mm", "", "C3 6 -5mm", "C3 6 0mm",
              "C3 6 5000mm", "C3 6 20in", "\x1b[2J"),
    "part": ("P9", "", "\x1b[2J", "x" * 5000, "Trombone\nerror: x", "P1"),
}
"""What may stand for an argument, by its kind; what is right is in the good inputs."""
