"""The compressed form of MusicXML: a zip archive read with care, and written back with one member changed."""

import io
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from lxml import etree

from analyzer.problem import Unreadable, unreadable

# Judged limits. The largest honest score seen unpacks to 18 MB, at a ratio below 55; a change of any limit by a factor
# of two accepts and refuses the same real files.
MAX_ARCHIVE_BYTES = 20 * 2**20
MAX_XML_BYTES = 32 * 2**20
_MAX_MEMBERS = {"": 64, ".mscx": 1024}   # version 4 of .mscz has two files for every part inside, and pictures
_MAX_SUM_BYTES = 64 * 2**20
_MAX_RATIO = 200
_RATIO_FROM_BYTES = 2**20
_MAX_CONTAINER_BYTES = 2**20
_PIECE_BYTES = 64 * 2**10
_CONTAINER = "META-INF/container.xml"
_AGAIN = "Export the score again as MusicXML (.musicxml or .mxl)."


def score_member(data: bytes, name: str, parser: etree.XMLParser, ending: str = "") -> tuple[str, bytes]:
    """Return name and bytes of the member that holds the score.

    The container file names it (W3C MusicXML 4.0, "Compressed .MXL Files": the first rootfile is the score). Without
    a container the only .musicxml or .xml file outside META-INF is taken. With an `ending` (.mscx) the first file of
    that ending counts, in the container, else in the archive.

    Raises
    ------
    Unreadable
        If the archive is damaged, hostile, too large, or does not say which member is the score.
    """
    with _damage_told(name), zipfile.ZipFile(io.BytesIO(data)) as archive:
        infos = archive.infolist()
        _check(infos, name, ending)
        member = _root_file(archive, name, parser, ending)
        return member, _read(archive, member, MAX_XML_BYTES, name)


@contextmanager
def _damage_told(name: str) -> Iterator[None]:
    """Turn what the zip library raises about a damaged archive into a problem of ours."""
    try:
        yield
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, UnicodeError,
            ValueError) as error:
        raise unreadable("damaged-archive", where=name, what=f"the compressed score is damaged ({_reason(error)})",
                         try_="Copy or export the file again.") from None


def other_members(data: bytes, name: str, but: str) -> dict[str, bytes]:
    """Return the .mscx members of an archive without the one named; with the care of `score_member`.

    Raises
    ------
    Unreadable
        If the archive is damaged or hostile.
    """
    with _damage_told(name), zipfile.ZipFile(io.BytesIO(data)) as archive:
        infos = archive.infolist()
        _check(infos, name, ".mscx")
        return {info.filename: _read(archive, info.filename, MAX_XML_BYTES, name) for info in infos
                if info.filename.lower().endswith(".mscx") and info.filename != but}


def with_members(data: bytes, contents: Mapping[str, bytes], name: str) -> bytes:
    """Return the archive with the bytes of some members replaced; all else keeps its order, name, date and content.

    Raises
    ------
    Unreadable
        If another member is damaged, so that it cannot be written back as it was.
    """
    out = io.BytesIO()
    with _damage_told(name), zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        new.comment = old.comment
        for info in old.infolist():
            body = contents.get(info.filename)
            new.writestr(info, old.read(info) if body is None else body)
    return out.getvalue()


def _check(infos: list[zipfile.ZipInfo], name: str, ending: str) -> None:
    if len(infos) > _MAX_MEMBERS[ending]:
        raise _refused(name, f"it holds {len(infos)} files, more than {_MAX_MEMBERS[ending]}")
    seen: set[str] = set()
    for info in infos:
        path = info.filename
        parts = path.split("/")
        if path.startswith("/") or ".." in parts or "\\" in path or ":" in path or "\0" in path:
            raise _refused(name, "one of its files has a path that leaves the archive")
        if path in seen:
            raise _refused(name, f"it holds {path!r} twice")
        seen.add(path)
        if info.flag_bits & 0x1:
            raise _refused(name, "it is encrypted")
        if (info.external_attr >> 16) & 0o170000 == 0o120000:
            raise _refused(name, "it holds a symbolic link")
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise _refused(name, "it is packed in a way that MusicXML does not use")
        if info.file_size > _RATIO_FROM_BYTES and info.file_size > _MAX_RATIO * max(1, info.compress_size):
            raise _refused(name, f"{path!r} unpacks to more than {_MAX_RATIO} times its size")
    if sum(info.file_size for info in infos) > _MAX_SUM_BYTES:
        raise _refused(name, f"it unpacks to more than {_MAX_SUM_BYTES // 2**20} MiB")


def _root_file(archive: zipfile.ZipFile, name: str, parser: etree.XMLParser, ending: str) -> str:
    names = [info.filename for info in archive.infolist() if not info.is_dir()]
    if ending and _CONTAINER not in names:
        scores = sorted((path for path in names if path.lower().endswith(ending)), key=lambda path: path.count("/"))
        if scores:
            return scores[0]
    if _CONTAINER not in names:
        scores = [path for path in names
                  if not path.startswith(("META-INF/", "__MACOSX/")) and path.lower().endswith((".musicxml", ".xml"))]
        if len(scores) == 1:
            return scores[0]
        if scores:
            raise unreadable("no-container", where=name, what=f"it is an archive of {len(scores)} scores",
                             try_="Unpack it and choose one of them.")
        raise unreadable("no-container", where=name, what="it is an archive without a score in it", try_=_AGAIN)
    try:
        root = etree.fromstring(_read(archive, _CONTAINER, _MAX_CONTAINER_BYTES, name), parser)
    except etree.XMLSyntaxError:
        raise unreadable("wrong-container", where=name, what=f"{_CONTAINER} is not readable as XML",
                         try_=_AGAIN) from None
    plain = {_plain(info): info.filename for info in archive.infolist()}
    for element in root.iter("{*}rootfile"):
        path = (element.get("full-path") or "").removeprefix("./")
        if ending and not path.lower().endswith(ending):
            continue
        if path in names:
            return path
        if path in plain:
            return plain[path]
        raise unreadable("wrong-container", where=name,
                         what=f"{_CONTAINER} points to {path!r}, which the archive does not hold", try_=_AGAIN)
    raise unreadable("wrong-container", where=name, what=f"{_CONTAINER} names no score", try_=_AGAIN)


def _plain(info: zipfile.ZipInfo) -> str:
    """Return a name whose letters are UTF-8 though the archive does not say so (APPNOTE 6.3, bit 11)."""
    try:
        return info.filename.encode("cp437").decode("utf-8")
    except UnicodeError:
        return info.filename


def _read(archive: zipfile.ZipFile, member: str, limit: int, name: str) -> bytes:
    pieces: list[bytes] = []
    size = 0
    with archive.open(member) as stream:
        while piece := stream.read(_PIECE_BYTES):
            size += len(piece)
            if size > limit:
                raise _refused(name, f"{member!r} unpacks to more than {limit // 2**20} MiB")
            pieces.append(piece)
    return b"".join(pieces)


def _reason(error: Exception) -> str:
    text = str(error).strip().split("\n")[0]
    return text[:1].lower() + text[1:] if text else type(error).__name__


def _refused(name: str, why: str) -> Unreadable:
    return unreadable("refused-archive", where=name, what=f"the compressed score is refused because {why}",
                      try_="Export the score again, or unpack it and give the .musicxml file inside.")


def new_archive(xml: bytes, member: str = "score.musicxml") -> bytes:
    """Return a compressed score (.mxl) that holds one plain score; same bytes for the same score.

    MusicXML 4.0, "Compressed .MXL files": a zip with META-INF/container.xml that names the score.
    """
    container = ('<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
                 f'<rootfile full-path="{member}" media-type="application/vnd.recordare.musicxml+xml"/>'
                 "</rootfiles></container>\n")
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in (("META-INF/container.xml", container.encode()), (member, xml)):
            archive.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return whole.getvalue()
