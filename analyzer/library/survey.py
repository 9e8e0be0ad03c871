"""One score of many: bytes and options in, a plain record out; and many records put together.

`survey_bytes` reads no file, no clock and no state, so any process or machine may do it, in any order.
"""

import hashlib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache
from pathlib import Path

from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn
from analyzer.horns.profiles import load_horn
from analyzer.library.assembled import Record as Record  # what a survey is belongs to the same door
from analyzer.library.assembled import Survey as Survey
from analyzer.library.assembled import assemble as assemble
from analyzer.library.files import Contents, find_entries
from analyzer.library.glance import without_low_brass
from analyzer.pitch import pitch_of
from analyzer.plan.ceiling import Ceiling, ceiling_tempo
from analyzer.plan.difficulty import hardest_measure
from analyzer.plan.player import Player
from analyzer.plan.solve import Planner, Shared
from analyzer.plan.timing import note_times
from analyzer.plan.weights import default_weights
from analyzer.problem import Problem, Unreadable
from analyzer.score.document import SCORE_ENDINGS, Document, read_score
from analyzer.score.lines import Line
from analyzer.score.parts import PartInfo, find_parts
from analyzer.score.transposing import Reads
from analyzer.selection import asked_lines, chosen_parts, horn_for

COMPARED: Mapping[str, tuple[str, ...]] = {
    "trombone": ("tenor", "tenor-f"),
    "bass trombone": ("bass-single", "bass-independent"),
    "euphonium": ("euphonium-4", "euphonium-4-compensating"),
    "baritone": ("baritone-3",),
}
"""Horns for each family of part where none is asked: the plainer one, then the one that `map` assumes."""

OF_THE_MOMENT = ("too-slow", "out-of-memory", "worker-died", "no-file", "file-changed")
"""Codes of problems that lie in the machine or the moment, not in the score: another run may do better."""

_WRONG_KIND = "not-musicxml"
_NO_PART = ("no-low-brass", "no-such-part")


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What is asked of every score: as in `analysis.Request`. Empty `horns`: those of `COMPARED`.

    `bass_clef`: besides low brass, every part on one staff that begins in bass clef.
    """

    horns: tuple[Horn, ...] = ()
    parts: tuple[str, ...] = ()
    bass_clef: bool = False
    player: Player = field(default_factory=Player)
    tempo_bpm: float | None = None
    reads: Reads | None = None


def survey_bytes(name: str, data: bytes, options: Options) -> Record:
    """Survey one score; whatever is wrong with it becomes part of the record.

    Parameters
    ----------
    name : str
        The file's name, for the words of problems; its ending tells whether it was meant to be a score.
    data : bytes
        The whole file.
    options : Options
        Horns, parts, player, tempo.

    Returns
    -------
    Record
        `status` is ``read``, ``no low brass``, ``not a score`` or ``unreadable``; `content` the SHA-256 of the score
        inside (the same for a compressed and a plain copy), None where there is none.

    Raises
    ------
    MemoryError
        If there is not enough memory for it; nothing else is raised.
    """
    return recorded(name, data, lambda document: lines_record(document, options),
                    glance=not (options.parts or options.bass_clef))


def survey_folder(folder: Path, options: Options, *, foreign: bool = False) -> Survey:
    """Survey every file of a folder one after the other in this process, without limits of time or memory.

    `foreign` reads ABC, Humdrum and MIDI too. A library of thousands wants `library.run` instead.

    Raises
    ------
    Unreadable
        If there is no such folder, or it cannot be listed.
    """
    entries = find_entries(folder, foreign=foreign)
    records: dict[str, Record] = {}
    contents = Contents()
    try:
        for entry in entries:
            if entry.status == "score":
                try:
                    records[entry.name] = survey_bytes(entry.name, contents.read(entry), options)
                except Unreadable as error:
                    records[entry.name] = failed(entry.name, error.problem)
    finally:
        contents.close()
    return assemble(str(folder), entries, records)


def recorded(name: str, data: bytes, read: Callable[[Document], Record], *, glance: bool) -> Record:
    """Return what `read` makes of a score, or the record of what is wrong with it.

    With `glance` the part list alone may tell that there is no low brass; `read` then gets a score without music.

    Raises
    ------
    MemoryError
        If there is not enough memory; nothing else is raised.
    """
    try:
        return read((without_low_brass(data, name) if glance else None) or read_score(data, name))
    except Unreadable as error:
        return failed(name, error.problem)
    except MemoryError:
        raise                               # how much there is, is not known here
    except Exception as error:
        # One file that meets a fault of ours must not end the survey of the others; the record says so.
        return failed(name, Problem(
            severity="error", code="inner-fault", where=name,
            what=f"the score led to a fault in this program ({type(error).__name__}: {error})",
            try_="Please report it with the file; the other files are not affected."))


def failed(name: str, problem: Problem) -> Record:
    """Return the record of a file that gave no lines."""
    status = "unreadable"
    if problem.code in _NO_PART:
        status = "no low brass"
    elif problem.code == _WRONG_KIND and not name.lower().endswith(SCORE_ENDINGS):
        # A file named as a score that cannot be read is unreadable; any other was never one.
        status = "not a score"
    return {"status": status, "reason": problem.what, "problem": problem.as_json(), "title": "", "content": None,
            "problems": [], "lines": []}


def lines_record(document: Document, options: Options) -> Record:
    """Return the record of a score: a row for each line on each horn."""
    parts, problems = asked_parts(document, options.parts, bass_clef=options.bass_clef)
    rows: list[Record] = []
    lines, more = asked_lines(document, parts, reads=options.reads)
    for asked in lines:
        if not asked.line.notes:
            continue                   # its problem says so; a row of noughts would count among the lines
        times = note_times(asked.line, default_weights(), options.tempo_bpm)
        for horn, assumed in _horns(asked.played, options.horns):
            horn = _same(horn)
            planner = Planner(asked.line, horn, options.player, tempo_bpm=options.tempo_bpm, times=times,
                              shared=_shared(horn, options.player))
            rows.append(_row(asked.played, asked.line, planner, assumed))
    return read_record(document, rows, [*problems, *more])


def read_record(document: Document, lines: list[Record], problems: Iterable[Problem]) -> Record:
    """Return the record of a score that was read."""
    return {
        "status": "read", "reason": "", "problem": None, "title": document.title,
        "content": hashlib.sha256(document.xml).hexdigest(), "problems": [one.as_json() for one in problems],
        "lines": lines,
    }


def asked_parts(document: Document, asked: Sequence[str], *, bass_clef: bool) -> tuple[list[PartInfo], list[Problem]]:
    """Return the asked parts that this score has: of many scores, few have every part.

    Nothing asked means every low-brass part, and with `bass_clef` those that stand on one staff in bass clef.

    Raises
    ------
    Unreadable
        If the score has none of them.
    """
    if bass_clef:
        return _bass_clef_parts(document)
    if not asked:
        return chosen_parts(document, ())
    parts: list[PartInfo] = []
    problems: list[Problem] = []
    missing: Unreadable | None = None
    for name in asked:
        try:
            found, problems = chosen_parts(document, (name,))
        except Unreadable as error:
            missing = error
            continue
        parts += [part for part in found if part not in parts]
    if not parts and missing is not None:
        raise missing
    return parts, problems


def _bass_clef_parts(document: Document) -> tuple[list[PartInfo], list[Problem]]:
    """Return the low-brass parts and those that stand on one staff and begin in bass clef."""
    found, problems = find_parts(document)
    parts = [part for part in found if part.low_brass or _in_bass_clef(document, part.id)]
    return (parts, list(problems)) if parts else chosen_parts(document, ())


def _in_bass_clef(document: Document, part_id: str) -> bool:
    measures = document.part_measures(part_id)
    first = measures[0].find("attributes") if measures else None
    return first is not None and first.findtext("clef/sign") == "F" and (first.findtext("staves") or "1") == "1"


def _horns(part: PartInfo, asked: Sequence[Horn]) -> list[tuple[Horn, bool]]:
    """Return the horns for a part's lines, each with whether it was assumed: all asked ones of the part's family."""
    horn, assumed = horn_for(part, asked)
    if not assumed:
        return [(one, False) for one in asked if part.horn is None or one.family == horn.family]
    if asked:
        return [(horn, True)]
    return [(load_horn(name), True) for name in COMPARED.get(part.family, (horn.name,))]


@lru_cache(maxsize=8)
def _shared(horn: Horn, player: Player) -> Shared:
    """Return what the lines of all scores share on a horn; within a worker, and of no meaning to any result."""
    return Shared()


@cache
def _same(horn: Horn) -> Horn:
    """Return one object for equal horns: a horn that came from another process is new each time, and caches ask."""
    return horn


def _row(part: PartInfo, line: Line, planner: Planner, assumed: bool) -> Record:
    # The choices alone: reasons, alternatives and plans of their own are for whoever opens one score.
    picked, horn = planner.picked(), planner.horn
    loads = planner.loads.walk(picked)
    ceiling_bpm, there_bpm = ceiling_tempo(planner.loads, planner.choices, planner.times)
    totals = planner.totals(picked, Ceiling(bpm=ceiling_bpm))
    hardest = hardest_measure(planner, picked, loads)
    midis = [note.midi for note in line.notes]
    written = sorted((note.written.midi, note.written.name) for note in line.notes)
    choices = [one for one in picked if one is not None]
    off = [abs(choice.off_cents) for choice in choices]
    by_position = Counter(str(one.position) for one in choices if one.position is not None)
    by_valves = Counter(_state(one.valves, horn) for one in choices)
    slide = horn.family == "slide"
    least = [_fewest(horn, midi) or 0 for midi in midis]
    return {
        "part_id": part.id, "part": part.full_name or part.name or part.id, "family": part.family,
        "line": line.number, "of": line.of, "horn": horn.name, "horn_family": horn.family, "horn_kind": horn.kind,
        "horn_assumed": assumed, "horn_valves": len(horn.loops), "horn_compensating": bool(horn.master),
        "clefs": sorted({note.clef for note in line.notes}), "measures": len(line.measures),
        "notes": totals.notes, "unplayable": totals.unplayable,
        "written_low": written[0][1] if written else None, "written_high": written[-1][1] if written else None,
        "sounding_low": pitch_of(min(midis)).name if midis else None,
        "sounding_high": pitch_of(max(midis)).name if midis else None,
        "midi_low": min(midis, default=None), "midi_high": max(midis, default=None),
        "notes_by_pitch": {str(midi): count for midi, count in sorted(Counter(midis).items())},
        "notes_by_position": dict(sorted(by_position.items())), "notes_by_valves": dict(sorted(by_valves.items())),
        # Notes that this slide horn has only with a valve, and only with two: what an attachment is needed for.
        "needs_valve": sum(one > 0 for one in least) if slide else None,
        "needs_two_valves": sum(one > 1 for one in least) if slide else None,
        "changed": sum(usual is not None and one is not None and one.label != usual.label
                       for one, usual in zip(picked, planner.usual, strict=True)),
        "travel_mm": _rounded(totals.travel_mm), "chart_travel_mm": _rounded(totals.chart_travel_mm),
        "valve_changes": totals.valve_changes, "peak_speed_mm_s": _rounded(totals.peak_speed_mm_s),
        "tempo_ceiling_bpm": _rounded(ceiling_bpm), "tempo_there_bpm": _rounded(there_bpm),
        # How near the hardest measure comes to the player's limit: see `plan.difficulty`.
        "difficulty": hardest.share if hardest else 0.0, "hardest_measure": hardest.measure if hardest else None,
        "hardest_why": hardest.reason if hardest else None,
        # Out of tune: farther off than the profile says a player bends without harm to the tone.
        "out_of_tune": sum(cents > horn.lip_reach.value for cents in off),
        "off_sum_cents": round(sum(off), 1), "off_worst_cents": round(max(off, default=0.0), 1),
    }


@cache
def _fewest(horn: Horn, midi: int) -> int | None:
    """Least number of valves that sounds a pitch (by what is recommended, if anything is), None where nothing does."""
    ways = candidates(horn, midi)
    return min((len(one.valves) for one in [one for one in ways if one.advice is None] or ways), default=None)


def _state(valves: tuple[str, ...], horn: Horn) -> str:
    return ("" if horn.family == "slide" else "-").join(valves) or "open"


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
