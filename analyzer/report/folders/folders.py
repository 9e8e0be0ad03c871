"""`lowbrass folders`: a programme's music for every player, and a page for the director.

Each score is read, seated and engraved once, in a process of its own; then every player's parts are bound in programme
order. A piece begins on a right-hand page. Unchanged inputs give the same bytes.
"""

import io
import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from analyzer import cautions
from analyzer.analysis import Request
from analyzer.files import write_file
from analyzer.paper_here import Paper
from analyzer.problem import Unreadable, unreadable
from analyzer.report.fit.text import verdict_said
from analyzer.report.folders.bound import Folder, Folders, Piece, Sheet, horn_changes
from analyzer.report.folders.names import file_name, stale
from analyzer.report.folders.pages import cover_page, director_page
from analyzer.report.folders.parts import in_hand, seat_part, share_part, shared_said
from analyzer.report.take_home.page import page_of
from analyzer.report.tune_chords import chord_json
from analyzer.report.write import planned, write_bytes
from analyzer.score.document import open_document
from analyzer.section.fit import Seat, SectionFit, fit
from analyzer.section.in_tune import section_chords
from analyzer.section.seating import Chair
from analyzer.section.section import Member, Section
from analyzer.words import measures_named
from analyzer.writing.write import Written

SCHEMA = "lowbrass.folders/1"
_MOST_FIRST = 3                         # hard measures of a piece that the director's page names


@dataclass(frozen=True, slots=True, kw_only=True)
class _Order:
    """What is asked of one score; it goes to the process that does it."""

    path: str
    section: Section
    tempo_bpm: float | None
    paper: Paper
    large: bool
    reads: Any
    phone: bool
    scores: bool


def make_folders(paths: Sequence[Path], section: Section, target: Path, *, tempo_bpm: float | None = None,
                 paper: Paper = "a4", large: bool = False, reads: Any = None, jobs: int | None = None,
                 phone: bool = False, scores: bool = False, told: Callable[[str], None] = lambda text: None) -> Folders:
    """Seat a section for every score and write each player's folder and the director's page into `target`.

    Parameters
    ----------
    paths : sequence of Path
        The programme, in order.
    section : Section
        Who plays.
    target : Path
        Folder to write into; made where it is missing. Only files of ours are replaced or taken away.
    tempo_bpm, paper, large, reads
        As for a single part.
    phone : bool
        Write a page to take home beside each part that has slide or valves.
    scores : bool
        Write each part as a score, too, with its marks.
    jobs : int, optional
        Processes at once; one a core where left out.
    told : callable
        Is told what has been done, in words.

    Raises
    ------
    Unreadable
        If no score can be read, or the folder cannot be written.
    """
    _ready(target)
    orders = [_Order(path=str(path), section=section, tempo_bpm=tempo_bpm, paper=paper, large=large, reads=reads,
                     phone=phone, scores=scores) for path in paths]
    pieces = _pieces(orders, jobs or min(len(orders), os.cpu_count() or 1), told)
    if not any(piece.sheets or piece.unfilled for piece in pieces):
        raise Unreadable(next(problem for piece in pieces for problem in piece.problems))
    folders: list[Folder] = []
    files: dict[str, bytes] = {}
    for number, member in enumerate(section.members, 1):
        sheets = tuple(sheet for piece in pieces for sheet in piece.sheets if sheet.player == member.name)
        if not sheets:
            folders.append(Folder(player=member.name, file=None, pages=0, sheets=()))
            continue
        horns = list(dict.fromkeys(sheet.horn_said for sheet in sheets))
        name = file_name(number, f"{member.name} – {' and '.join(horns[:2])}", ".pdf",
                         [folder.file for folder in folders if folder.file])
        content, pages = _bound(member, sheets, paper)
        files[name] = content
        for sheet in sheets:
            if sheet.phone is not None:
                files[file_name(number, f"{member.name} – {sheet.title}", ".html", files)] = sheet.phone
            if sheet.file is not None:
                files[file_name(number, f"{member.name} – {sheet.title}", ".musicxml", files)] = sheet.file
        folders.append(Folder(player=member.name, file=name, pages=pages, sheets=sheets))
    answer = Folders(folders=tuple(folders), pieces=tuple(pieces),
                     problems=tuple(dict.fromkeys(problem for piece in pieces for problem in piece.problems)))
    files[file_name(0, "Director", ".pdf", [])] = director_page(answer, section, paper)
    for name, content in files.items():                  # only now, when all of it is made
        write_file(target / name, content)
    return answer


def _ready(target: Path) -> None:
    """Make the folder, and take away what an earlier run of ours left half-written."""
    try:
        target.mkdir(parents=True, exist_ok=True)
        for left in stale(target):
            left.unlink(missing_ok=True)
    except OSError as error:
        raise unreadable("cannot-write", where=str(target), what=f"the folder cannot be made ({error.strerror})",
                         try_="Choose another folder.") from error


def _pieces(orders: Sequence[_Order], jobs: int, told: Callable[[str], None]) -> list[Piece]:
    """Do every score, several at once; one that cannot be read does not stop the others."""
    done: dict[int, Piece] = {}
    if jobs <= 1 or len(orders) == 1:
        for nth, order in enumerate(orders):
            done[nth] = _piece(order)
            told(f"{nth + 1} of {len(orders)}: {Path(order.path).name}")
        return [done[nth] for nth in range(len(orders))]
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(max_workers=jobs, mp_context=context) as pool:
        waiting = {pool.submit(_piece, order): nth for nth, order in enumerate(orders)}
        for count, future in enumerate(as_completed(waiting), 1):
            nth = waiting[future]
            done[nth] = future.result()
            told(f"{count} of {len(orders)}: {Path(orders[nth].path).name}")
    return [done[nth] for nth in range(len(orders))]


def _piece(order: _Order) -> Piece:
    """Read, seat and engrave one score; what stands in the way is a problem of the piece."""
    path = Path(order.path)
    try:
        document = open_document(path)
        answer = fit(document, order.section, tempo_bpm=order.tempo_bpm, reads=order.reads)
        sheets = (*(_sheet(answer, seat, order) for seat in answer.seats), *_shared_sheets(answer, order))
    except Unreadable as error:
        return Piece(score=path.name, title=path.stem, verdict="not read", said=f"{error.problem.what}.",
                     problems=(error.problem,))
    return Piece(
        score=path.name, title=document.title or path.stem, verdict=answer.verdict, said=verdict_said(answer),
        sheets=sheets, changes=tuple(change.text for change in answer.changes), first=tuple(_first(answer)),
        unfilled=tuple((one.chair.part.id, one.chair.part.full_name or one.chair.part.name, one.chair.line.number,
                        one.why) for one in answer.unfilled if one.chair.same_as is None),
        chords=section_chords(answer),
        supposed=tuple(problem.what for problem in answer.problems if problem.code in (
            "tempo-assumed", "swing-straight", "transposition-doubt")),
        problems=tuple(problem for problem in answer.problems if problem.severity != "note"))


def _first(answer: SectionFit) -> list[str]:
    """Name what to rehearse first: the gravest findings, in measures."""
    found = []
    for seat in answer.seats:
        for severity in ("stop", "care"):
            places = [finding.measure for finding in seat.findings
                      if finding.severity == severity and finding.measure is not None]
            if places:
                found.append((severity != "stop", -len(places), f"{seat.chair.title} ({seat.member.name}): "
                              f"{measures_named(list(dict.fromkeys(places)), 6)}"))
                break
    return [said for _, _, said in sorted(found)[:_MOST_FIRST]]


def _sheet(answer: SectionFit, seat: Seat, order: _Order) -> Sheet:
    """Write a seat's line for its player, plan it on the horn in hand, and print it."""
    chair, member = seat.chair, seat.member
    return _printed(answer, order, seat_part(answer, seat, order.reads), chair, member, seat.played,
                    doubles=seat.doubles, covers=seat.cover is not None,
                    also="" if seat.doubles or seat is not _first_seat(answer, member) else shared_said(answer, member))


def _first_seat(answer: SectionFit, member: Member) -> Seat:
    return next(seat for seat in answer.seats if seat.member.name == member.name)


def _shared_sheets(answer: SectionFit, order: _Order) -> Iterator[Sheet]:
    """Yield what is for players who sit nowhere and take phrases of a line that is shared out."""
    for share in answer.shares:
        for part in share.parts:
            if part.sits is None and not part.holder:
                yield _printed(answer, order, share_part(answer, share, part, order.reads), share.chair, part.member,
                               part.played, covers=True, also=f"its {share.spans_said(part)} only")


def _printed(answer: SectionFit, order: _Order, part: Written, chair: Chair, member: Member, played: str, *,
             doubles: bool = False, covers: bool = False, also: str = "") -> Sheet:
    analysis = planned(part, Request(player=member.player, tempo_bpm=order.tempo_bpm))
    pdf = write_bytes(part, analysis, ".pdf", marked=True, paper=order.paper, large=order.large)
    phone = None
    if order.phone and analysis is not None:
        phone = page_of(analysis, analysis.lines[0], large=order.large, reads=order.reads).encode()
    score = write_bytes(part, analysis, ".musicxml", marked=True) if order.scores else None
    return Sheet(phone=phone, file=score, score=answer.document.name,
                 title=answer.document.title or Path(order.path).stem, part_id=chair.part.id,
                 part_name=chair.part.full_name or chair.part.name, line=chair.line.number, of=chair.line.of,
                 player=member.name, horn=played, horn_said=in_hand(member, played), doubles=doubles, covers=covers,
                 also=also, pdf=pdf, pages=_count(pdf))


def _count(pdf: bytes) -> int:
    from pypdf import PdfReader

    return len(PdfReader(io.BytesIO(pdf)).pages)


def _bound(member: Member, sheets: Sequence[Sheet], paper: Paper) -> tuple[bytes, int]:
    """Bind a cover and the parts; every piece begins on a right-hand page."""
    from pypdf import PdfReader, PdfWriter

    starts: list[int] = []
    page = 2                                             # the cover is page 1
    for sheet in sheets:
        page += page % 2 == 0
        starts.append(page)
        page += sheet.pages
    writer = PdfWriter()
    writer.append(PdfReader(io.BytesIO(cover_page(member.name, sheets, starts, paper))), import_outline=False)
    for sheet, start in zip(sheets, starts, strict=True):
        while len(writer.pages) < start - 1:
            writer.add_blank_page()
        writer.append(PdfReader(io.BytesIO(sheet.pdf)), import_outline=False)
        writer.add_outline_item(title=sheet.title, page_number=start - 1)
    writer.add_metadata({"/Title": member.name, "/Creator": "lowbrass", "/Producer": "lowbrass"})
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue(), len(writer.pages)


def folders_document(answer: Folders) -> dict[str, Any]:
    """Return the JSON document."""
    return {
        "schema": SCHEMA,
        "players": [{"player": folder.player, "file": folder.file, "pages": folder.pages,
                     "pieces": [{"score": sheet.score, "part": {"id": sheet.part_id, "name": sheet.part_name},
                                 "line": sheet.line, "horn": sheet.horn, "doubling": sheet.doubles,
                                 "cover": sheet.covers, "also": sheet.also or None}
                                for sheet in folder.sheets]} for folder in answer.folders],
        "pieces": [{"score": piece.score, "title": piece.title, "verdict": piece.verdict, "said": piece.said,
                    "tuning": [chord_json(chord) for chord in piece.chords]}
                   for piece in answer.pieces],
        "unfilled": [{"score": piece.score, "part": {"id": part_id, "name": name}, "line": line, "why": why}
                     for piece, (part_id, name, line, why) in answer.unfilled],
        "problems": [problem.as_json() for problem in answer.problems],
        "cautions": [cautions.PAIN, cautions.BREAKS, cautions.WHO],
    }


def folders_text(answer: Folders) -> str:
    """Say what was printed for whom, and what has no player."""
    out: list[str] = []
    for piece in answer.pieces:
        out.append(f"{piece.title}: {piece.said}")
    out.append("")
    for folder in answer.folders:
        if folder.file is None:
            out.append(f"{folder.player}: no part in this programme")
        else:
            out.append(f"{folder.file}: {folder.pages} pages, {len(folder.sheets)} "
                       f"part{'s' if len(folder.sheets) > 1 else ''}")
        out += [f"  {said}" for said in horn_changes(folder.sheets)]
    if answer.unfilled:
        out += ["", "Without a player"]
        out += [f"  {piece.title}, {name}{f', player {line}' if line > 1 else ''}: {why}."
                for piece, (_, name, line, why) in answer.unfilled]
    return "\n".join([*out, "", f"Caution: {cautions.PAIN}"])
