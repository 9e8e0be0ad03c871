"""What lies in a folder: every file, and every file in its zip archives, told apart by content, not by ending."""

import hashlib
import io
import os
import stat
import zipfile
import zlib
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

from analyzer.problem import Problem, Unreadable, unreadable
from analyzer.score.archive import MAX_XML_BYTES
from analyzer.score.document import SCORE_ENDINGS, open_document, read_document
from analyzer.score.foreign import foreign_form

OTHER_FORM = "other-form"
"""Code of the problem of a file with music in a form that was not asked for."""

_HEAD_BYTES = 4096
_UTF16 = (b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<")
_CONTAINER = "META-INF/container.xml"
# Zip archives that are documents or programs: nothing in them is a score of its own.
_OTHER_ZIPS = ("[Content_Types].xml", "mimetype", "META-INF/MANIFEST.MF", "AndroidManifest.xml")
# Judged: far above any folder of scores in one archive, far below what would stall the list.
_MAX_MEMBERS = 20_000
# As for a compressed score: the largest honest ratio seen is below 55.
_MAX_RATIO, _RATIO_FROM_BYTES = 200, 2**20
_BAD_ZIP = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, UnicodeError,
            ValueError)


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One file of the folder. `status` ``score`` is work to be done; any other is final, with its `reason`.

    `name` is the path from the folder, with ``/``; inside an archive it goes on behind the archive's name.
    `at` is the file on disk (as text, a quarter of what a path takes), `member` the place in the archive. `sha256` is
    that of the file's bytes.
    """

    name: str
    at: str
    member: int | None = None
    size_bytes: int | None = None
    sha256: str = ""
    status: str = "score"
    reason: str = ""
    same_as: str | None = None
    problem: Problem | None = None

    @property
    def path(self) -> Path:
        """The file on disk."""
        return Path(self.at)

    @property
    def problem_json(self) -> dict[str, str] | None:
        """The problem as the data contract has it."""
        return self.problem.as_json() if self.problem else None


def find_entries(folder: Path, *, leave_out: Collection[Path] = (), foreign: bool = False,
                 seen: Callable[[int], None] = lambda _: None) -> list[Entry]:
    """List every file under a folder (or of one file or archive), sorted by name; nothing is left out silently.

    Parameters
    ----------
    folder : Path
        A folder, a zip archive, or a single file. Links to folders are named and not followed.
    leave_out : collection of Path
        Files that belong to the survey itself (its store, its output).
    foreign : bool
        Whether ABC, Humdrum and MIDI count as scores too (`score.foreign` reads them, slowly).
    seen : callable
        Told the number of files after each.

    Raises
    ------
    Unreadable
        If there is no such folder, or it cannot be listed.
    """
    if not folder.exists():
        raise unreadable("no-folder", where=str(folder), what="there is no such folder",
                         try_="Check the name, and give the folder that holds the scores.")
    ours = {one.resolve() for one in leave_out}
    entries: list[Entry] = []
    for name, path, trouble in _walk(folder):
        if trouble is not None:
            entries.append(_refused(name, path, "unreadable", trouble))
        elif path.resolve() not in ours:
            entries.extend(_entries_of(name, path, foreign))
        seen(len(entries))
    return _without_twins(sorted(entries, key=lambda one: one.name))


def _walk(folder: Path) -> Iterator[tuple[str, Path, str | None]]:
    """Yield (name, path, what is wrong or None)."""
    if not folder.is_dir():
        yield shown_name(folder.name), folder, None
        return
    waiting = [folder]
    while waiting:
        here = waiting.pop()
        try:
            found = sorted(os.scandir(here), key=lambda one: os.fsencode(one.name), reverse=True)
        except OSError as error:
            if here == folder:
                raise unreadable("no-folder", where=str(folder), what=f"cannot be listed ({error.strerror})",
                                 try_="Check that you may read it.") from error
            yield _name(folder, here), here, f"the folder cannot be listed ({error.strerror})"
            continue
        while found:                   # each is let go as its entry is made: a folder may hold ten thousand
            one = found.pop()
            path = Path(one.path)
            if one.is_dir(follow_symlinks=False):
                waiting.append(path)
            elif one.is_symlink() and path.is_dir():
                yield _name(folder, path), path, "this is a link to a folder, which is not followed"
            else:
                yield _name(folder, path), path, None


def _name(folder: Path, path: Path) -> str:
    return shown_name(path.relative_to(folder).as_posix())


def shown_name(name: str) -> str:
    """Return a file name as text that any file or table can hold (bytes that are no UTF-8 show as ``\\xNN``)."""
    return os.fsencode(name).decode("utf-8", "backslashreplace")


def _refused(name: str, path: Path, status: str, what: str, *, member: int | None = None, size: int | None = None,
             code: str = "no-file", try_: str = "Check the file and your right to read it.") -> Entry:
    problem = Problem(severity="error", code=code, where=name, what=what, try_=try_)
    return Entry(name=name, at=str(path), member=member, size_bytes=size, status=status, reason=what, problem=problem)


def _entries_of(name: str, path: Path, foreign: bool) -> Iterator[Entry]:
    try:
        facts = path.stat()
        if not stat.S_ISREG(facts.st_mode):
            yield _refused(name, path, "not a score", "this is a device, a pipe or a socket, not a file")
            return
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError as error:
        yield _refused(name, path, "unreadable", f"the file cannot be read ({error.strerror or error})")
        return
    if head.startswith(b"PK") and not name.lower().endswith(".mxl"):
        try:
            with zipfile.ZipFile(path) as pack:
                if _CONTAINER not in pack.namelist() or _is_other(pack):
                    yield from _pack(name, path, pack, facts.st_size, foreign)
                    return
        except _BAD_ZIP as error:
            yield _refused(name, path, "unreadable", f"the archive is damaged ({_reason(error)})", size=facts.st_size,
                           code="damaged-archive", try_="Copy or download it again.")
            return
    if not _may_be_score(name, head, foreign):
        yield _not_score(name, path, None, head, facts.st_size)
    elif facts.st_size > MAX_XML_BYTES:
        try:
            open_document(path)
        except Unreadable as error:
            yield Entry(name=name, at=str(path), size_bytes=facts.st_size, status="unreadable",
                        reason=error.problem.what, problem=error.problem)
    else:
        try:
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            yield _refused(name, path, "unreadable", f"the file cannot be read ({error.strerror or error})")
            return
        yield Entry(name=name, at=str(path), size_bytes=facts.st_size, sha256=digest)


def _is_other(pack: zipfile.ZipFile) -> bool:
    names = pack.namelist()
    if _CONTAINER in names and "mimetype" in names:
        # A compressed score may carry a mimetype; an electronic book does too, and says so there.
        return b"musicxml" not in pack.read("mimetype")[:200]
    return any(one in names for one in _OTHER_ZIPS)


def _pack(name: str, path: Path, pack: zipfile.ZipFile, size: int, foreign: bool) -> Iterator[Entry]:
    if _is_other(pack):
        yield _refused(name, path, "not a score", "this is a packed document or program, not MusicXML", size=size,
                       code="not-musicxml", try_="Export the score as MusicXML (.musicxml or .mxl).")
        return
    infos = pack.infolist()
    if len(infos) > _MAX_MEMBERS:
        yield _refused(name, path, "unreadable", f"the archive holds {len(infos)} files, more than {_MAX_MEMBERS}",
                       size=size, code="refused-archive", try_="Unpack it, and survey the folder.")
        return
    members = [(place, info) for place, info in enumerate(infos) if not info.is_dir()]
    yield Entry(name=name, at=str(path), size_bytes=size, status="archive", reason=f"its {len(members)} files follow")
    used = {name}
    for place, info in members:
        inner = f"{name}/{shown_name(info.filename.encode('utf-8', 'backslashreplace').decode())}"
        while inner in used:
            inner += " (again)"
        used.add(inner)
        yield _member(inner, path, pack, place, info, foreign)


def _member(name: str, path: Path, pack: zipfile.ZipFile, place: int, info: zipfile.ZipInfo,
            foreign: bool) -> Entry:
    def refused(status: str, what: str, code: str = "refused-archive") -> Entry:
        return _refused(name, path, status, what, member=place, size=info.file_size, code=code,
                        try_="Unpack the archive, and survey the folder.")

    if info.flag_bits & 0x1:
        return refused("unreadable", "the file is encrypted in its archive")
    try:
        with pack.open(info) as file:
            head = file.read(_HEAD_BYTES)
        if head.startswith(b"PK") and not name.lower().endswith(".mxl"):
            inside = zipfile.ZipFile(io.BytesIO(_read(pack, info))).namelist()
            if _CONTAINER not in inside:
                return refused("unreadable", "this is an archive within an archive, which is not opened")
        if not _may_be_score(name, head, foreign):
            return _not_score(name, path, place, head, info.file_size)
        digest = hashlib.sha256(_read(pack, info)).hexdigest()
    except _BAD_ZIP as error:
        return refused("unreadable", f"the file is damaged in its archive ({_reason(error)})", "damaged-archive")
    return Entry(name=name, at=str(path), member=place, size_bytes=info.file_size, sha256=digest)


def _read(pack: zipfile.ZipFile, info: zipfile.ZipInfo) -> bytes:
    if info.file_size > MAX_XML_BYTES:
        raise ValueError(f"it unpacks to more than {MAX_XML_BYTES // 2**20} MiB")
    if info.file_size > _RATIO_FROM_BYTES and info.file_size > _MAX_RATIO * max(1, info.compress_size):
        raise ValueError(f"it unpacks to more than {_MAX_RATIO} times its size")
    with pack.open(info) as file:
        return file.read(MAX_XML_BYTES + 1)


def _may_be_score(name: str, head: bytes, foreign: bool) -> bool:
    if foreign_form(head, name) is not None:
        return foreign
    start = head.lstrip(b"\xef\xbb\xbf \t\r\n")
    return (name.lower().endswith(SCORE_ENDINGS) or head.startswith((b"PK", *_UTF16)) or start.startswith(b"<")
            or (not start and len(head) == _HEAD_BYTES))


def _not_score(name: str, path: Path, member: int | None, head: bytes, size: int) -> Entry:
    """Return the entry of a file whose first bytes already tell that it is no score; the reader says what it is."""
    form = foreign_form(head, name)
    if form is not None:
        return _refused(name, path, "not a score", f"this is music in another form ({form}), which was not asked for",
                        member=member, size=size, code=OTHER_FORM, try_="Read it too with --foreign.")
    try:
        read_document(head, name)
    except Unreadable as error:
        return Entry(name=name, at=str(path), member=member, size_bytes=size, status="not a score",
                     reason=error.problem.what, problem=error.problem)
    return _refused(name, path, "not a score", "this is not MusicXML", member=member, size=size)


def _reason(error: Exception) -> str:
    text = str(error).strip().split("\n")[0]
    return text[:1].lower() + text[1:] if text else type(error).__name__


def _without_twins(entries: list[Entry]) -> list[Entry]:
    """Mark every score whose bytes an earlier one (by name) has too."""
    first: dict[str, str] = {}
    result = []
    for entry in entries:
        if entry.status == "score":
            earlier = first.setdefault(entry.sha256, entry.name)
            if earlier != entry.name:
                entry = Entry(name=entry.name, at=entry.at, member=entry.member, size_bytes=entry.size_bytes,
                              sha256=entry.sha256, status="duplicate", reason=f"the same file as {earlier}",
                              same_as=earlier)
        result.append(entry)
    return result


class Contents:
    """Gives the bytes of entries; keeps the archive that it read last open."""

    def __init__(self) -> None:
        self._path: Path | None = None
        self._pack: zipfile.ZipFile | None = None

    def read(self, entry: Entry) -> bytes:
        """Return the bytes of an entry, as they were when it was listed.

        Raises
        ------
        Unreadable
            If the file has gone or changed since.
        """
        try:
            data = entry.path.read_bytes() if entry.member is None else self._member(entry.path, entry.member)
        except (*_BAD_ZIP, IndexError) as error:
            raise unreadable("no-file", where=entry.name, what=f"the file cannot be read any more ({_reason(error)})",
                             try_="Run the survey again.") from error
        if hashlib.sha256(data).hexdigest() != entry.sha256:
            raise unreadable("file-changed", where=entry.name, what="the file changed while the survey ran",
                             try_="Run the survey again.")
        return data

    def _member(self, path: Path, place: int) -> bytes:
        if self._pack is None or self._path != path:
            self.close()
            self._pack, self._path = zipfile.ZipFile(path), path
        return _read(self._pack, self._pack.infolist()[place])

    def close(self) -> None:
        """Close the archive that is open."""
        if self._pack is not None:
            self._pack.close()
        self._pack = self._path = None
