"""A MusicXML file in memory: parsed with care, and kept whole so that it can be written back unchanged."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from lxml import etree

from analyzer.assumption import Assumption
from analyzer.files import read_file
from analyzer.plain import one_line as visible_line
from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.score.archive import MAX_ARCHIVE_BYTES, MAX_XML_BYTES, score_member
from analyzer.score.damage import AGAIN, damaged, wrong_letters
from analyzer.score.own_marks import sign
from analyzer.score.shared_bars import share_bars
from analyzer.score.source import Form, Source
from analyzer.score.vocabulary import one_line

SCORE_ENDINGS = (".musicxml", ".mxl", ".xml")
"""How files of MusicXML are named."""
OWN_FORM_ENDINGS = (".mscz", ".mscx", ".mei")
"""How files of other forms are named that have a reader of their own here, and take marks."""

_MAGIC = (
    (b"\x89PNG", "a PNG picture"), (b"\xff\xd8\xff", "a JPEG picture"), (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"), (b"MThd", "a MIDI file"), (b"\x1f\x8b", "a gzip archive"),
    (b"RIFF", "a sound or picture file"), (b"ID3", "a sound file"), (b"OggS", "a sound file"),
    (b"\xd0\xcf\x11\xe0", "an old Office document"), (b"7z\xbc\xaf", "a 7z archive"), (b"Rar!", "a RAR archive"),
)
_LIST_END = b"</part-list>"
# Endings of files that notation programs keep for themselves.
_OWN = frozenset((".mus", ".musx", ".sib", ".dorico", ".enc", ".nwc", ".ove", ".cap", ".capx", ".ly",
                  ".gp", ".gpx", ".gp5"))
_HEAD_BYTES = 64 * 2**10
_MEI = re.compile(rb"<(?:[A-Za-z_][\w.-]*:)?mei[\s>]")
_BARE_AND = re.compile(rb"&(?!(?:#\d+|#x[\da-fA-F]+|[A-Za-z]\w*);)")
_UTF16 = (b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<")
_LESS = "Export only the low-brass parts, or split the score by movement."
_ENTITY = re.compile(rb"&(?!amp;|lt;|gt;|quot;|apos;|#)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A score as it came: `xml` are the bytes of the score, `archive` those of the .mxl around it (None without).

    `root` is the parsed tree and must not be changed. `member` is the score's name inside the archive. `source` is the
    file of another form that the score was read from; `xml` then is what it became. `lost` says what a form does not
    carry that another library read. `bars_from` leads from the parts whose repeats and endings stand in another part
    alone to that part: in `root` they have them, in `xml` not. `memo` holds what is worth finding only once for all
    parts.
    """

    name: str
    xml: bytes
    root: etree._Element
    timewise: bool
    archive: bytes | None = None
    member: str | None = None
    problems: tuple[Problem, ...] = ()
    source: Source | None = None
    lost: Assumption | None = None
    bars_from: Mapping[str, str] = field(default_factory=dict, compare=False)
    memo: dict[str, Any] = field(default_factory=dict, compare=False, repr=False)

    def __repr__(self) -> str:
        """Return one short line: the score is shown by its name."""
        return f"Document({self.name!r}, {len(self.xml)} bytes)"

    @property
    def title(self) -> str:
        """Work or movement title, else the first credit marked as a title, else nothing."""
        root = self.root
        work = one_line(root.findtext("work/work-title"))
        movement = one_line(root.findtext("movement-title"))
        if work and movement and movement.casefold() not in work.casefold():
            return f"{work}: {movement}"
        if work or movement:
            return work or movement
        for credit in root.findall("credit"):
            if credit.findtext("credit-type") == "title":
                return one_line(credit.findtext("credit-words"))
        return ""

    @property
    def ending(self) -> str:
        """Ending of a file in the same form: ``.mxl`` where the score came in an archive, else ``.musicxml``."""
        return ".musicxml" if self.archive is None else ".mxl"

    @property
    def part_ids(self) -> tuple[str, ...]:
        """Ids in the order of the part list, then those that have music and no entry there."""
        listed = [element.get("id", "") for element in self.root.iterfind("part-list/score-part")]
        seen = set(listed)
        body = self.root.iterfind("measure/part") if self.timewise else self.root.iterchildren("part")
        for element in body:
            part_id = element.get("id", "")
            if part_id not in seen:
                seen.add(part_id)
                listed.append(part_id)
        return tuple(listed)

    def part_measures(self, part_id: str) -> list[etree._Element]:
        """Return the elements that hold the music of one part, measure by measure.

        ``<measure>`` elements of a partwise score, ``<part>`` elements (inside measures) of a timewise one. Empty if
        the part has no music. A part that stands in several ``<part>`` elements of a partwise score is joined.
        """
        if self.timewise:
            return [part for measure in self.root.iterchildren("measure") for part in measure.iterchildren("part")
                    if part.get("id", "") == part_id]
        return [measure for part in self.root.iterchildren("part") if part.get("id", "") == part_id
                for measure in part.iterchildren("measure")]

    def notes(self, part_id: str) -> Iterator[etree._Element]:
        """Yield the ``<note>`` elements of one part in document order; the place in this order is a note's `ref`."""
        for measure in self.part_measures(part_id):
            yield from measure.iterchildren("note")

    def measure_element(self, music: etree._Element) -> etree._Element:
        """Return the ``<measure>`` (with number and attributes) of an element from `part_measures`."""
        if not self.timewise:
            return music
        parent = music.getparent()
        return music if parent is None else parent


def open_document(path: Path) -> Document:
    """Read a score from disk; other forms become MusicXML, and `problems` say what that leaves out.

    Raises
    ------
    Unreadable
        If there is no such file, or `read_document` or `to_musicxml` refuses its content.
    """
    name = visible_line(path.name or str(path))
    data = read_file(path, MAX_XML_BYTES, where=name, large=_LESS,
                     folder="Name one file in it; `lowbrass survey` reads a whole folder.")
    return read_score(data, name)


def read_score(data: bytes, name: str) -> Document:
    """Read a score of any known form from bytes: as `open_document` without the disk.

    Raises
    ------
    Unreadable
        If `read_document` or `to_musicxml` refuses the content.
    """
    if b"<score-" in data[:4096]:
        return read_document(data, name)
    own = own_form(data)
    if own is not None:
        return _converted(data, name, own)
    if not data.startswith(b"PK"):
        from analyzer.score.foreign import foreign_form, lost_in, to_musicxml  # not paid for by a plain score

        form = foreign_form(data, name)
        if form is not None:
            xml, problems = to_musicxml(data, name, form)
            return replace(read_document(xml, name), problems=problems, lost=lost_in(form))
    return read_document(data, name)


def own_form(data: bytes) -> Form | None:
    """Return the form other than MusicXML that has a reader of its own here, from the content; None for any other."""
    if data.startswith(b"PK"):
        return "mscx" if b".mscx" in data else None      # names of members stand in the clear
    head = data[:_HEAD_BYTES]
    if b"<museScore" in head:
        return "mscx"
    return "mei" if _MEI.search(head) and head.lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"<") else None


def _converted(data: bytes, name: str, form: Form) -> Document:
    """Read a score of a form with a reader of its own, with the care that MusicXML gets."""
    archive = member = None
    xml = data
    if data.startswith(b"PK"):
        if len(data) > MAX_ARCHIVE_BYTES:
            raise _too_large(name, len(data))
        archive = data
        member, xml = score_member(data, name, _parser(), ".mscx")
    elif len(data) > MAX_XML_BYTES:
        raise _too_large(name, len(data))
    root, problems = _source_tree(xml, form, name)
    if etree.QName(root).localname != ("mei" if form == "mei" else "museScore"):
        raise unreadable("not-musicxml", where=name, what="this is no score: its outermost element is "
                         f"<{one_line(etree.QName(root).localname)}>", try_=AGAIN)
    if form == "mei":                  # neither is paid for by a plain score
        from analyzer.score.mei import to_musicxml
    else:
        from analyzer.score.mscx import to_musicxml
    converted, origins, found = to_musicxml(root, name)
    document = read_document(converted, name)
    return replace(document, problems=(*problems, *found), source=Source(
        form=form, xml=xml, origins=origins, archive=archive, member=member))


def source_tree(xml: bytes, form: Form, name: str) -> etree._Element:
    """Return the tree of a score that is no MusicXML, parsed with the care that MusicXML gets.

    Raises
    ------
    Unreadable
        If it is damaged or hostile.
    """
    return _source_tree(xml, form, name)[0]


def _source_tree(xml: bytes, form: Form, name: str) -> tuple[etree._Element, tuple[Problem, ...]]:
    # Version 2 of the .mscx form writes "1 & 2" into names as it stands; elements keep their places all the same.
    return _tree(_BARE_AND.sub(b"&amp;", xml) if form == "mscx" else xml, name)


def read_document(data: bytes, name: str) -> Document:
    """Read a score from bytes: plain or compressed MusicXML, partwise or timewise.

    Raises
    ------
    Unreadable
        If the bytes are no MusicXML score, are damaged, or ask for more than a score needs.
    """
    if not data or data.isspace():
        raise unreadable("empty-file", where=name, what="the file is empty", try_=AGAIN)
    if Path(name).suffix.lower() in _OWN and b"<score-" not in data[:4096]:
        raise unreadable("not-musicxml", where=name, what="this is the own file of a notation program, not MusicXML",
                         try_="Open it in that program and export MusicXML (.musicxml or .mxl).")
    if data.startswith(b"PK"):
        if len(data) > MAX_ARCHIVE_BYTES:
            raise _too_large(name, len(data))
        member, xml = score_member(data, name, _parser())
        return replace(_document(xml, name), archive=data, member=member)
    if len(data) > MAX_XML_BYTES:
        raise _too_large(name, len(data))
    return _document(data, name)


def _document(xml: bytes, name: str) -> Document:
    root, problems = _root(xml, name)
    return Document(name=name, xml=xml, root=root, timewise=root.tag == "score-timewise", problems=problems,
                    bars_from=share_bars(root, xml))


def read_head(data: bytes, name: str) -> Document | None:
    """Read a partwise score only to the end of its part list; the parts that the list names have no music.

    None where the list cannot be told from the rest without a whole parse (timewise scores, UTF-16, oddities). What is
    wrong behind the list is not noticed.

    Raises
    ------
    Unreadable
        If an archive is refused or damaged.
    """
    if own_form(data) is not None:
        return None
    packed = data.startswith(b"PK")
    xml = score_member(data, name, _parser())[1] if packed else data
    end = xml.find(_LIST_END)
    if end < 0 or b"<score-partwise" not in xml[:end]:
        return None
    try:
        root, problems = _root(xml[:end + len(_LIST_END)] + b"<part/></score-partwise>", name)
    except Unreadable:
        return None
    root.remove(root[-1])
    return Document(name=name, xml=xml, root=root, timewise=False, problems=problems)


def _parser(encoding: str | None = None) -> etree.XMLParser:
    return etree.XMLParser(encoding=encoding, resolve_entities=False, no_network=True, load_dtd=False,
                           dtd_validation=False, attribute_defaults=False, huge_tree=False, recover=False)


def _root(xml: bytes, name: str) -> tuple[etree._Element, tuple[Problem, ...]]:
    """Parse MusicXML with care, and sign the marks that the record knows."""
    root, problems = _tree(xml, name)
    score = _score(root, name)
    sign(score)
    return score, problems


def _tree(xml: bytes, name: str) -> tuple[etree._Element, tuple[Problem, ...]]:
    """Parse XML with care: no entities, no other files, nothing that only looks like a score."""
    start = xml.lstrip(b"\xef\xbb\xbf \t\r\n")
    for magic, kind in _MAGIC:
        if xml.startswith(magic):
            raise unreadable("not-musicxml", where=name, what=f"this is {kind}, not MusicXML", try_=AGAIN)
    if start[:100].lower().startswith((b"<!doctype html", b"<html")):
        raise unreadable("not-musicxml", where=name, what="this is a web page, not MusicXML",
                         try_="Download the score file itself, not the page that shows it.")
    if not start:
        raise unreadable("empty-file", where=name, what="the score in the file is empty", try_=AGAIN)
    if not start.startswith(b"<") and not xml.startswith(_UTF16):
        raise unreadable("not-musicxml", where=name, what="this is not MusicXML: it does not start with <", try_=AGAIN)
    problems: tuple[Problem, ...] = ()
    try:
        # Blanks before the XML declaration are none of the music's fault.
        root, problems = _parsed(start if start.startswith(b"<?xml") else xml, name)
    except etree.XMLSyntaxError as error:
        raise damaged(error, xml, name) from None
    except (ValueError, LookupError, AssertionError) as error:
        raise unreadable("not-xml", where=name, what=f"the XML cannot be read ({error})", try_=AGAIN) from None
    dtd: Any = root.getroottree().docinfo.internalDTD    # the stubs know no iterentities
    if dtd is not None and (next(dtd.iterentities(), None) is not None
                            or (_may_hold_entities(xml) and next(root.iter(etree.Entity), None) is not None)):
        raise unreadable("refused-xml", where=name, what="the score defines or uses XML entities, which MusicXML does "
                         "not need and which can hide other files", try_=AGAIN)
    return root, problems


def _parsed(xml: bytes, name: str) -> tuple[etree._Element, tuple[Problem, ...]]:
    """Parse; where the letters are not in the encoding that the file names, take them as Western European."""
    try:
        return etree.fromstring(xml, _parser()), ()
    except etree.XMLSyntaxError as error:
        if not wrong_letters(error) or b"\0" in xml[:200]:
            raise
        try:
            root = etree.fromstring(xml, _parser("windows-1252"))
        except etree.XMLSyntaxError:
            raise error from None
    return root, (Problem(
        severity="warning", code="wrong-encoding", where=name, what="the letters of the file are not in the encoding "
        "that it names; they are read as Western European", try_="Check names with accents, and export the score again "
        "as UTF-8."),)


def _may_hold_entities(xml: bytes) -> bool:
    """Tell whether a walk of the whole tree in search of entities is needed (it costs a fifth of the parse)."""
    return _ENTITY.search(xml) is not None or xml.startswith(_UTF16) or b"encoding" in xml[:200].lower().replace(
        b'encoding="utf-8"', b"").replace(b"encoding='utf-8'", b"")


def _score(root: etree._Element, name: str) -> etree._Element:
    tag = root.tag
    if tag not in ("score-partwise", "score-timewise"):
        plain = etree.QName(root).localname
        if plain.lower() == "html":
            raise unreadable("not-musicxml", where=name, what="this is a web page, not MusicXML",
                             try_="Download the score file itself, not the page that shows it.")
        if plain == "opus":
            raise unreadable("not-musicxml", where=name, what="this is an opus, a list of scores",
                             try_="Give one of the scores that it lists.")
        shown = plain if plain == tag else f"{plain} in a namespace of its own"
        raise unreadable("not-musicxml", where=name,
                         what=f"this is XML, but not a MusicXML score: its outermost element is <{shown}>", try_=AGAIN)
    if next(root.iter("part"), None) is None:
        raise unreadable("no-music", where=name, what="the score has no parts", try_=AGAIN)
    return root


def _too_large(name: str, size: int) -> Unreadable:
    return unreadable("too-large", where=name, what=f"the file has {size / 2**20:.0f} MiB, more than a score needs "
                      f"(limit {MAX_ARCHIVE_BYTES // 2**20} MiB compressed, {MAX_XML_BYTES // 2**20} MiB plain)",
                      try_=_LESS)
