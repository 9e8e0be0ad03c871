"""Which pieces suit a player, a horn or a section, and what they would teach.

What a line teaches are the hard moves that a drill would be made of (`practice.moves`): those into a valve state that
is not learned, far, fast or out of tune ones, as far as the player's file does not call them secure. A piece with a few
of them teaches; one with none is for reading and pleasure; one with many asks for all at once.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Literal

from analyzer.horns.horn import Horn
from analyzer.library.survey import Record, Survey, asked_parts, read_record, recorded
from analyzer.plan.difficulty import difficulties
from analyzer.plan.plan import Plan
from analyzer.plan.player import Player
from analyzer.plan.progress import move_text
from analyzer.plan.solve import Planner
from analyzer.practice.moves import PracticeMove, ranked_moves
from analyzer.score.document import Document
from analyzer.score.transposing import Reads
from analyzer.section.burden import Burden, burden_of
from analyzer.section.fit import fit
from analyzer.section.section import Member, Section
from analyzer.selection import asked_lines

A_FEW = 6
"""Up to so many different new moves are a lesson's worth. Judged: a week's practice sheet holds as many; a teacher who
takes more at once would change it. From 4 to 8 the same pieces of the samples come first."""

Band = Literal["teaches", "nothing new", "too much at once"]
BANDS: tuple[Band, ...] = ("teaches", "nothing new", "too much at once")
_SUITS = ("suits", "suits with changes", "does not suit")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is looked for: pieces for a `section`, or lines for one `player`.

    With `horns` only lines of their families are looked at, each on the nearest of them; without, on the assumed one.
    """

    player: Player = field(default_factory=Player)
    section: Section | None = None
    horns: tuple[Horn, ...] = ()
    parts: tuple[str, ...] = ()
    bass_clef: bool = False
    tempo_bpm: float | None = None
    reads: Reads | None = None


def search_bytes(name: str, data: bytes, wanted: Wanted) -> Record:
    """Look at one score; as `survey_bytes`, with a row for each line (for a section: one for the piece).

    Raises
    ------
    MemoryError
        If there is not enough memory; nothing else is raised.
    """
    return recorded(name, data, partial(_piece_row if wanted.section else _line_rows, wanted=wanted),
                    glance=not (wanted.parts or wanted.bass_clef))


def _line_rows(document: Document, wanted: Wanted) -> Record:
    parts, problems = asked_parts(document, wanted.parts, bass_clef=wanted.bass_clef)
    rows: list[Record] = []
    lines, more = asked_lines(document, parts, reads=wanted.reads)
    for asked in lines:
        line = asked.line
        horn, assumed = asked.horn(wanted.horns)
        # Who asks for a trombone looks for no euphonium part.
        if line.notes and not (wanted.horns and assumed):
            rows.append({"part_id": line.part_id, "part": line.part_name, "line": line.number, "of": line.of,
                         **line_row(burden_of(line, _learner(wanted.player, horn), horn,
                                              tempo_bpm=wanted.tempo_bpm), wanted.player)})
    return read_record(document, rows, [*problems, *more])


def _learner(player: Player, horn: Horn) -> Member:
    """Return the player with every valve state learned: what the piece asks, not what it leaves undone."""
    return Member(player=replace(player, learned=None), horns=(horn,))


def line_row(burden: Burden, player: Player) -> Record:
    """Say whether a line suits a player, and what it teaches; `burden` is the player's with all states learned."""
    counts = {"unplayable": len(burden.unplayable), "out of range": len(burden.out_of_range),
              "too fast": len(burden.too_fast), "broken glissandi": len(burden.gliss)}
    against = [f"{count} {what}" for what, count in counts.items() if count]
    return {
        "horn": burden.horn.name, "horn_family": burden.horn.family, "reach_estimated": player.reach_estimated,
        "notes": len(burden.plan.notes), "verdict": _SUITS[2] if against else _SUITS[0],
        "against": against,
        "difficulty": max((one.share for one in difficulties(burden.planner, burden.plan)), default=0.0),
        "teaches": taught(burden.planner, burden.plan, player),
    }


def taught(planner: Planner, plan: Plan, player: Player) -> list[Record]:
    """Return the hard moves of the hand that a plan holds and the player has not made secure, the hardest first.

    One row a move in either direction, told by its two labels; `count` is how often it comes.
    """
    found: dict[frozenset[str], list[PracticeMove]] = {}
    for move in ranked_moves(planner, plan, player):
        if move.kinds and move.moves_hand:
            found.setdefault(frozenset((move.before.label, move.after.label)), []).append(move)
    return [{"move": move_text((moves[0].before.label, moves[0].after.label)),
             "kinds": sorted({kind for one in moves for kind in one.kinds}), "count": sum(one.count for one in moves),
             "measure": moves[0].measures[0]} for moves in found.values()]


def _piece_row(document: Document, wanted: Wanted) -> Record:
    assert wanted.section is not None
    answer = fit(document, wanted.section, parts=wanted.parts, tempo_bpm=wanted.tempo_bpm, reads=wanted.reads)
    seats = [{"player": seat.member.name, "part": seat.chair.title, "horn": seat.played,
              "horn_family": seat.horn.family if seat.horn is not None else None,
              "teaches": taught(seat.burden.planner, seat.burden.plan, seat.member.player) if seat.burden else []}
             for seat in answer.seats if not seat.doubles]
    row = {"part_id": "", "line": 1, "verdict": answer.verdict, "against": [one.why for one in answer.unfilled],
           "changes": [one.text for one in answer.changes], "seats": seats,
           "reach_estimated": any(one.player.reach_estimated for one in wanted.section.members),
           "difficulty": max((one.share for seat in answer.seats if seat.burden is not None
                              for one in difficulties(seat.burden.planner, seat.burden.plan)), default=0.0)}
    return read_record(document, [row], answer.problems)


def lessons(row: Record) -> Sequence[Sequence[Record]]:
    """Return what a row teaches, player by player."""
    return [seat["teaches"] for seat in row["seats"]] if "seats" in row else [row["teaches"]]


def band_of(row: Record) -> Band:
    """Say whether a row teaches a few things, nothing, or too many to one player at once."""
    most = max((len(one) for one in lessons(row)), default=0)
    return BANDS[1] if not most else BANDS[0] if most <= A_FEW else BANDS[2]


def sorted_rows(survey: Survey) -> tuple[Record, ...]:
    """Return the rows of a search in the order in which a teacher would look at them.

    Those that suit come first, then those with changes. Among equals: those that teach a few moves (the more players
    learn something and the more moves there are, the better, then the easier piece), then those with nothing new,
    then those that teach too much at once (the fewest first). Ties go by file and line.
    """

    def place(row: Record) -> tuple[int, int, int, int, float, str, str, int]:
        taught_to = [len(one) for one in lessons(row)]
        band = band_of(row)
        learning, moves = sum(count > 0 for count in taught_to), sum(taught_to)
        more = (-learning, -moves) if band == BANDS[0] else (max(taught_to, default=0), moves)
        return (_SUITS.index(row["verdict"]), BANDS.index(band), *more, row["difficulty"], row["file"],
                row["part_id"], row["line"])

    return tuple(sorted(survey.lines, key=place))
