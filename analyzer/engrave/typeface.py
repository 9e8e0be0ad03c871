"""A typeface cut down to the characters that a page shows, as TrueType or WOFF2, without unpacking the rest.

A general font library reads every outline of a WOFF2 file before it can take one out, half a second a page; here the
streams of the glyphs that are not wanted are only stepped over. Hints and layout tables are left out. After the
OpenType specification (ISO/IEC 14496-22: cmap, glyf, loca, hmtx) and the W3C Recommendation "WOFF File Format 2.0"
(2018), sections 4 (the file) and 5.1 (transformed glyphs).
"""

import struct
from array import array
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

_KNOWN_TAGS = ("cmap", "head", "hhea", "hmtx", "maxp", "name", "OS/2", "post", "cvt ", "fpgm", "glyf", "loca", "prep",
               "CFF ", "VORG", "EBDT", "EBLC", "gasp", "hdmx", "kern", "LTSH", "PCLT", "VDMX", "vhea", "vmtx", "BASE",
               "GDEF", "GPOS", "GSUB")
_NULL_TRANSFORM = 3                    # of glyf and loca; of other tables 0 is none
# How many bytes of the glyph stream a point takes, by its flag.
_POINT_BYTES = bytes(1 if flag & 127 < 84 else 2 if flag & 127 < 120 else 3 if flag & 127 < 124 else 4
                     for flag in range(256))
_ON_CURVE, _SHORT_X, _SHORT_Y, _PLUS_OR_SAME_X, _PLUS_OR_SAME_Y = 1, 2, 4, 16, 32
_WORDS, _SCALE, _MORE, _TWO_SCALES, _MATRIX, _INSTRUCTED = 1, 8, 32, 64, 128, 256
_LONGEST_NAME = 6                      # ids above that are licence and sample texts
_NOTDEF = 0


@dataclass(frozen=True, slots=True)
class _Outline:
    """A glyph as TrueType writes it, without hints; `parts` are the glyphs of a composite, by their place in `data`."""

    data: bytes
    parts: tuple[tuple[int, int], ...] = ()


class Typeface:
    """A typeface file in memory, TrueType or WOFF2 with TrueType outlines.

    Raises
    ------
    ValueError
        If it is neither, or uses a part of those forms that no face here uses.
    """

    def __init__(self, data: bytes) -> None:
        self._packed_glyphs = False
        self._tables: dict[str, bytes] = _unpacked(data, self) if data[:4] == b"wOF2" else _listed(data)
        self.em = struct.unpack_from(">H", self._tables["head"], 18)[0]
        self._count = struct.unpack_from(">H", self._tables["maxp"], 4)[0]

    @cached_property
    def glyphs(self) -> Mapping[int, int]:
        """The number of the glyph of each character. [code point]"""
        table = self._tables["cmap"]
        for k in range(struct.unpack_from(">H", table, 2)[0]):
            platform, encoding, place = struct.unpack_from(">HHI", table, 4 + 8 * k)
            if (platform, encoding) in ((3, 1), (0, 3)) and table[place:place + 2] == b"\0\4":
                return _by_segments(table[place:])
        raise ValueError("the typeface lists no characters in a form that is read here")

    @cached_property
    def _metrics(self) -> tuple[tuple[int, int], ...]:
        """Advance and left side bearing of every glyph."""
        full = struct.unpack_from(">H", self._tables["hhea"], 34)[0]
        table = self._tables["hmtx"]
        numbers = struct.unpack(f">{'Hh' * full}{self._count - full}h", table[:2 * (full + self._count)])
        pairs = list(zip(numbers[:2 * full:2], numbers[1:2 * full:2], strict=True))
        return (*pairs, *((pairs[-1][0], left) for left in numbers[2 * full:]))

    def width(self, code: int) -> int:
        """How far a character goes, in units of which `em` make an em; KeyError where the face has no glyph for it."""
        return self._metrics[self.glyphs[code]][0]

    def cut(self, characters: Iterable[str]) -> dict[str, bytes]:
        """Return the tables of the face with the glyphs of these characters alone, for `truetype` or `woff2`."""
        wanted = {ord(one): self.glyphs[ord(one)] for one in characters if ord(one) in self.glyphs}
        outlines = self._outlines({_NOTDEF, *wanted.values()})
        order = sorted(outlines)
        places = {old: new for new, old in enumerate(order)}
        glyf, loca, hmtx = bytearray(), [0], bytearray()
        for old in order:
            one = outlines[old]
            written = bytearray(one.data)
            for at, part in one.parts:
                struct.pack_into(">H", written, at, places[part])
            hmtx += struct.pack(">Hh", *self._metrics[old])
            glyf += written
            loca.append(len(glyf))
        own = self._tables
        head = bytearray(own["head"])
        struct.pack_into(">H", head, 50, 1)                                      # loca in long form
        found = {
            "OS/2": own["OS/2"], "cmap": _character_map({code: places[glyph] for code, glyph in wanted.items()}),
            "glyf": bytes(glyf), "head": bytes(head), "hhea": own["hhea"][:34] + struct.pack(">H", len(order)),
            "hmtx": bytes(hmtx), "loca": struct.pack(f">{len(loca)}I", *loca),
            "maxp": own["maxp"][:4] + struct.pack(">H", len(order)) + own["maxp"][6:], "name": _names(own["name"]),
            "post": b"\0\3\0\0" + own["post"][4:32]}
        return dict(sorted(found.items()))

    def _outlines(self, wanted: set[int]) -> dict[int, _Outline]:
        """Return the glyphs asked for, and those that they are put together from."""
        found: dict[int, _Outline] = {}
        missing = set(wanted)
        read = self._from_streams if self._packed_glyphs else self._from_table
        while missing:
            found |= read(missing)
            missing = {part for one in found.values() for _, part in one.parts} - found.keys()
        return found

    def _from_table(self, wanted: set[int]) -> dict[int, _Outline]:
        long = struct.unpack_from(">H", self._tables["head"], 50)[0]
        loca, glyf = self._tables["loca"], self._tables["glyf"]
        found = {}
        for glyph in wanted:
            begin, end = struct.unpack_from(">II", loca, 4 * glyph) if long else (
                2 * place for place in struct.unpack_from(">HH", loca, 2 * glyph))
            data = glyf[begin:end]
            if not data:
                found[glyph] = _Outline(b"")
            elif data[0] & 0x80:
                found[glyph] = _composite(data[:10], data, 10)[0]
            else:
                ends = 10 + 2 * struct.unpack_from(">h", data)[0]
                hints = struct.unpack_from(">H", data, ends)[0]
                found[glyph] = _Outline(data[:ends] + b"\0\0" + data[ends + 2 + hints:])
        return found

    def _from_streams(self, wanted: set[int]) -> dict[int, _Outline]:
        table = self._tables["glyf"]
        _, options, count, _, *sizes = struct.unpack_from(">HHHH7I", table)
        if options:
            raise ValueError("the typeface marks overlapping outlines, which is not read here")
        streams, at = [], 36
        for size in sizes:
            streams.append(table[at:at + size])
            at += size
        contours, points, flags, glyphs, composites, boxes, _ = streams
        shapes = array("h", contours)
        shapes.byteswap()
        bitmap = ((count + 31) >> 5) << 2
        found: dict[int, _Outline] = {}
        point_at = flag_at = glyph_at = composite_at = 0
        box_at = bitmap
        for glyph, shape in enumerate(shapes):
            box = None
            if boxes[glyph >> 3] & (0x80 >> (glyph & 7)):
                box = boxes[box_at:box_at + 8]
                box_at += 8
            if not shape:
                if glyph in wanted:
                    found[glyph] = _Outline(b"")
                continue
            if shape < 0:
                assert box is not None, "a composite has its box"
                one, composite_at, instructed = _composite(b"\xff\xff" + box, composites, composite_at)
                if instructed:
                    _, glyph_at = _short(glyphs, glyph_at)
                if glyph in wanted:
                    found[glyph] = one
                continue
            ends, last = [], -1
            for _ in range(shape):
                number, point_at = _short(points, point_at)
                last += number
                ends.append(last)
            kinds = flags[flag_at:flag_at + last + 1]
            flag_at += last + 1
            begin = glyph_at
            glyph_at += sum(kinds.translate(_POINT_BYTES))
            if glyph in wanted:
                found[glyph] = _simple(ends, kinds, glyphs[begin:glyph_at], box)
            _, glyph_at = _short(glyphs, glyph_at)                               # its hints are in a stream of theirs
        return found


def truetype(tables: Mapping[str, bytes]) -> bytes:
    """Return tables as a TrueType file."""
    power = 1 << (len(tables).bit_length() - 1)
    head = struct.pack(">IHHHH", 0x00010000, len(tables), 16 * power, power.bit_length() - 1,
                       16 * (len(tables) - power))
    listed, bodies = b"", b""
    begin = 12 + 16 * len(tables)
    for tag, data in tables.items():
        if tag == "head":
            data = data[:8] + b"\0\0\0\0" + data[12:]                            # the sum of all comes here, last
            place = begin + len(bodies)
        listed += struct.pack(">4sIII", tag.encode(), _sum(data), begin + len(bodies), len(data))
        bodies += data + b"\0" * (-len(data) % 4)
    file = bytearray(head + listed + bodies)
    struct.pack_into(">I", file, place + 8, (0xB1B0AFBA - _sum(bytes(file))) & 0xFFFFFFFF)
    return bytes(file)


def woff2(tables: Mapping[str, bytes]) -> bytes:
    """Return tables as a WOFF2 file, glyphs as they are: of a few, the transform would save little."""
    import brotli

    listed, bodies = b"", b""
    for tag, data in tables.items():
        if tag == "head":
            flags = struct.unpack_from(">H", data, 16)[0] | 0x0800               # "has been through a compressor"
            data = data[:16] + struct.pack(">H", flags) + data[18:]
        kind = _NULL_TRANSFORM if tag in ("glyf", "loca") else 0
        listed += bytes((_KNOWN_TAGS.index(tag) | kind << 6,)) + _base128(len(data))
        bodies += data
    packed: bytes = brotli.compress(bodies, mode=brotli.MODE_FONT)
    whole = 12 + 16 * len(tables) + sum(len(data) + -len(data) % 4 for data in tables.values())
    length = 48 + len(listed) + len(packed)
    padding = b"\0" * (-length % 4)
    head = struct.pack(">4sIIHHIIHHIIIII", b"wOF2", 0x00010000, length + len(padding), len(tables), 0, whole,
                       len(packed), 1, 0, 0, 0, 0, 0, 0)
    return head + listed + packed + padding


def _listed(data: bytes) -> dict[str, bytes]:
    """Return the tables of a TrueType file."""
    if data[:4] != b"\0\1\0\0":
        raise ValueError("this is no TrueType file")
    found = {}
    for k in range(struct.unpack_from(">H", data, 4)[0]):
        tag, _, place, length = struct.unpack_from(">4sIII", data, 12 + 16 * k)
        found[tag.decode("latin-1")] = data[place:place + length]
    return found


def _unpacked(data: bytes, face: Typeface) -> dict[str, bytes]:
    """Return the tables of a WOFF2 file; glyphs stay transformed."""
    import brotli

    flavour, _, count = struct.unpack_from(">IIH", data, 4)
    packed = struct.unpack_from(">I", data, 20)[0]
    if flavour != 0x00010000:
        raise ValueError("the typeface has no TrueType outlines")
    at = 48
    sizes: list[tuple[str, int]] = []
    for _ in range(count):
        flags = data[at]
        at += 1
        if flags & 63 == 63:
            tag, at = data[at:at + 4].decode("latin-1"), at + 4
        else:
            tag = _KNOWN_TAGS[flags & 63]
        length, at = _from_base128(data, at)
        kind = flags >> 6
        if tag in ("glyf", "loca"):
            face._packed_glyphs = kind == 0
            if kind == 0:
                length, at = _from_base128(data, at)
        elif kind:
            raise ValueError(f"the typeface has a table '{tag}' in a form that is not read here")
        sizes.append((tag, length))
    bodies = brotli.decompress(data[at:at + packed])
    found, begin = {}, 0
    for tag, length in sizes:
        found[tag] = bodies[begin:begin + length]
        begin += length
    return found


def _base128(value: int) -> bytes:
    out = [value & 127]
    while value := value >> 7:
        out.insert(0, value & 127 | 128)
    return bytes(out)


def _from_base128(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    while True:
        byte = data[at]
        at += 1
        value = value << 7 | byte & 127
        if byte < 128:
            return value, at


def _short(data: bytes, at: int) -> tuple[int, int]:
    """Read a number of one to three bytes (255UInt16)."""
    first = data[at]
    if first < 253:
        return first, at + 1
    if first == 253:
        return data[at + 1] << 8 | data[at + 2], at + 3
    return data[at + 1] + (253 if first == 255 else 506), at + 2


def _simple(ends: list[int], kinds: bytes, triplets: bytes, box: bytes | None) -> _Outline:
    """Write a glyph of contours as TrueType does."""
    flags, across, up = bytearray(), bytearray(), bytearray()
    x = y = at = 0
    left, low, right, high = 1 << 15, 1 << 15, -1 << 15, -1 << 15
    for kind in kinds:
        flag = kind & 127
        a = triplets[at]
        if flag < 10:
            dx, dy = 0, (flag & 14) << 7 | a
        elif flag < 20:
            dx, dy = (flag - 10 & 14) << 7 | a, 0
        elif flag < 84:
            dx, dy = 1 + (flag - 20 & 0x30) + (a >> 4), 1 + ((flag - 20 & 0x0C) << 2) + (a & 15)
        elif flag < 120:
            dx, dy = 1 + ((flag - 84) // 12 << 8) + a, 1 + ((flag - 84) % 12 >> 2 << 8) + triplets[at + 1]
        elif flag < 124:
            b = triplets[at + 1]
            dx, dy = a << 4 | b >> 4, (b & 15) << 8 | triplets[at + 2]
        else:
            dx, dy = a << 8 | triplets[at + 1], triplets[at + 2] << 8 | triplets[at + 3]
        at += _POINT_BYTES[kind]
        if flag < 10:
            dy = dy if flag & 1 else -dy
        elif flag < 20:
            dx = dx if flag & 1 else -dx
        else:
            dx, dy = dx if flag & 1 else -dx, dy if flag & 2 else -dy
        x, y = x + dx, y + dy
        left, low, right, high = min(left, x), min(low, y), max(right, x), max(high, y)
        flags.append((0 if kind & 128 else _ON_CURVE) | _delta(dx, across, _SHORT_X, _PLUS_OR_SAME_X)
                     | _delta(dy, up, _SHORT_Y, _PLUS_OR_SAME_Y))
    return _Outline(struct.pack(">h", len(ends)) + (box or struct.pack(">4h", left, low, right, high))
                    + struct.pack(f">{len(ends)}H", *ends) + b"\0\0" + flags + across + up)


def _delta(step: int, out: bytearray, short: int, plus_or_same: int) -> int:
    """Write how far a point lies from the one before; return what its flag says of it."""
    if not step:
        return plus_or_same
    if -256 < step < 256:
        out.append(abs(step))
        return short | (plus_or_same if step > 0 else 0)
    out += struct.pack(">h", step)
    return 0


def _composite(head: bytes, data: bytes, at: int) -> tuple[_Outline, int, bool]:
    """Read a glyph put together of others, without hints; return also where it ends and whether it had some."""
    out = bytearray(head)
    parts = []
    flags = _MORE
    instructed = False
    while flags & _MORE:
        flags, part = struct.unpack_from(">HH", data, at)
        size = 4 + (4 if flags & _WORDS else 2) + (
            2 if flags & _SCALE else 4 if flags & _TWO_SCALES else 8 if flags & _MATRIX else 0)
        parts.append((len(out) + 2, part))
        out += struct.pack(">H", flags & ~_INSTRUCTED) + data[at + 2:at + size]
        instructed = instructed or bool(flags & _INSTRUCTED)
        at += size
    return _Outline(bytes(out), tuple(parts)), at, instructed


def _by_segments(table: bytes) -> dict[int, int]:
    """Read a character map of format 4."""
    count = struct.unpack_from(">H", table, 6)[0] // 2
    ends = struct.unpack_from(f">{count}H", table, 14)
    starts = struct.unpack_from(f">{count}H", table, 16 + 2 * count)
    deltas = struct.unpack_from(f">{count}H", table, 16 + 4 * count)
    offsets = struct.unpack_from(f">{count}H", table, 16 + 6 * count)
    found = {}
    for k, (start, end, delta, offset) in enumerate(zip(starts, ends, deltas, offsets, strict=True)):
        for code in range(start, min(end, 0xFFFE) + 1):
            glyph = code
            if offset:
                glyph = struct.unpack_from(">H", table, 16 + 6 * count + 2 * k + offset + 2 * (code - start))[0]
                if not glyph:
                    continue
            if glyph := glyph + delta & 0xFFFF:
                found[code] = glyph
    return found


def _character_map(glyphs: Mapping[int, int]) -> bytes:
    """Write a character map of format 4, a segment a character."""
    codes = sorted(glyphs)
    count = len(codes) + 1
    power = 1 << (count.bit_length() - 1)
    body = struct.pack(">HHHH", 2 * count, 2 * power, power.bit_length() - 1, 2 * (count - power))
    body += struct.pack(f">{count}H", *codes, 0xFFFF) + b"\0\0" + struct.pack(f">{count}H", *codes, 0xFFFF)
    body += struct.pack(f">{count}H", *(glyphs[code] - code & 0xFFFF for code in codes), 1) + bytes(2 * count)
    return struct.pack(">HHHHI", 0, 1, 3, 1, 12) + struct.pack(">HHH", 4, 6 + len(body), 0) + body


def _names(table: bytes) -> bytes:
    """Return the names of the face in English, as Windows and PDF readers take them."""
    _, count, texts = struct.unpack_from(">HHH", table)
    kept = []
    for k in range(count):
        platform, encoding, language, name, length, place = struct.unpack_from(">6H", table, 6 + 12 * k)
        if (platform, language) == (3, 0x409) and name <= _LONGEST_NAME:
            kept.append((encoding, name, table[texts + place:texts + place + length]))
    out, body = struct.pack(">HHH", 0, len(kept), 6 + 12 * len(kept)), b""
    for encoding, name, text in kept:
        out += struct.pack(">6H", 3, encoding, 0x409, name, len(text), len(body))
        body += text
    return out + body


def _sum(data: bytes) -> int:
    data += b"\0" * (-len(data) % 4)
    words: tuple[int, ...] = struct.unpack(f">{len(data) // 4}I", data)
    return sum(words) & 0xFFFFFFFF
