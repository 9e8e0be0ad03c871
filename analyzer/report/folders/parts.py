"""What one player of a seated piece reads: the own line, a cover, or phrases of a line that is shared out."""

from collections.abc import Collection, Iterator
from dataclasses import replace

from analyzer.score.lines import Line
from analyzer.score.sounding import Moment, moment_of
from analyzer.score.transposing import Reads
from analyzer.section.fit import Seat, SectionFit
from analyzer.section.seating import Chair
from analyzer.section.section import Member
from analyzer.section.shares import Part, Share
from analyzer.section.split import ended
from analyzer.selection import Asked
from analyzer.words import listed
from analyzer.writing.inserted import Passage, with_passages
from analyzer.writing.readers import CLEFS, Reader, clef_named, horn_reader, printed_clef
from analyzer.writing.write import Written, written_for


def seat_part(answer: SectionFit, seat: Seat, reads: Reads | None = None) -> Written:
    """Return what who sits there reads: the line, and in its rests what this player takes of others'.

    The printed octave stays for the line's own kind of horn; a cover has the octaves and the clef that fit said.
    """
    chair = seat.chair
    part = cover_part(answer, seat, reads) if seat.cover is not None else written_for(
        answer.document, Asked(part=chair.part, line=chair.line), _own_reader(seat), reads=reads,
        name=chair.part.full_name or chair.part.name)
    if seat.doubles:
        return part
    passages = [passage for share, mine in taken_by(answer, seat.member) if mine.sits == _nth(answer, chair)
                for passage in _passages(share, mine, _written(answer, share, replace(
                    mine.cover.reader, clef=part.reader.clef), reads, glides=mine.cover.glides))]
    passages += [passage for share in answer.shares if share.chair is chair
                 for passage in _gone(share, seat.member.name)]
    return with_passages(part, passages)


def share_part(answer: SectionFit, share: Share, part: Part, reads: Reads | None = None) -> Written:
    """Return the shared line for somebody who has no other: his or her phrases of it, and rests."""
    name = f"{share.chair.title}, shared"
    whole = _written(answer, share, part.cover.reader, reads, glides=part.cover.glides, name=name)
    return with_passages(whole, list(_gone(share, part.member.name)))


def cover_part(answer: SectionFit, seat: Seat, reads: Reads | None = None) -> Written:
    """Return the part of a seat that is a cover, as it is written for the covering player.

    Raises
    ------
    ValueError
        If the seat is no cover.
    """
    chair, cover = seat.chair, seat.cover
    if cover is None:
        raise ValueError(f"{seat.member.name} covers nothing on {chair.title}")
    name = chair.part.full_name or chair.part.name or chair.part.id
    return written_for(answer.document, Asked(part=chair.part, line=chair.line), cover.reader, reads=reads,
                       name=name if seat.horn is not None else f"{name}, for {in_hand(seat.member, seat.played)}",
                       glides=cover.glides)


def taken_by(answer: SectionFit, member: Member) -> Iterator[tuple[Share, Part]]:
    """Yield what a member takes of lines that are not his or her own."""
    for share in answer.shares:
        for part in share.parts:
            if part.member.name == member.name and not part.holder:
                yield share, part


def in_hand(member: Member, played: str) -> str:
    """Name what is in hand for a person; `played` is the name of the horn or instrument."""
    for horn in member.horns:
        if horn.name == played:
            return horn.description
    return member.instrument.spoken if member.instrument is not None else played


def _nth(answer: SectionFit, chair: Chair) -> int:
    return next(nth for nth, priced in enumerate(answer.priced) if priced.chair is chair)


def _own_reader(seat: Seat) -> Reader:
    """Return the reader of a line on a horn of its kind: the printed clef where it is read, no note moved."""
    horn, member = seat.horn, seat.member
    assert horn is not None, "only a cover has no horn"
    written = printed_clef(seat.chair.line)
    clefs = tuple(clef_named(text) for text in member.clefs) if member.clefs else CLEFS if written else ()
    reader = horn_reader(horn, member.player, clefs=clefs, name=member.name, written=written)
    return replace(reader, low=None, high=None)


def _written(answer: SectionFit, share: Share, reader: Reader, reads: Reads | None, *, glides: bool,
             name: str = "") -> Written:
    chair = share.chair
    return written_for(answer.document, Asked(part=chair.part, line=chair.line), reader, reads=reads, name=name,
                       glides=glides)


def _passages(share: Share, part: Part, written: Written) -> Iterator[Passage]:
    """Yield a player's phrases of a shared line, neighbours together."""
    for first, last in _runs(share, {piece.phrase.first for piece in part.pieces}):
        yield Passage(begin=_begin(share.chair.line, first), end=_end(share.chair.line, last), written=written,
                      said=f"Play {share.chair.title}")


def _gone(share: Share, name: str) -> Iterator[Passage]:
    """Yield the phrases of a shared line that somebody of this name does not play, and say who does."""
    for part in share.parts:
        if part.member.name != name:
            for first, last in _runs(share, {piece.phrase.first for piece in part.pieces}):
                yield Passage(begin=_begin(share.chair.line, first), end=_end(share.chair.line, last),
                              said=f"{part.member.name} plays")
    for first, last in _runs(share, {first for first, _ in share.left}):
        yield Passage(begin=_begin(share.chair.line, first), end=_end(share.chair.line, last), said="nobody plays")


def _runs(share: Share, firsts: Collection[int]) -> Iterator[tuple[int, int]]:
    """Join phrases that follow each other; `firsts` are their first notes."""
    run: tuple[int, int] | None = None
    for first, last in share.split.spans:
        if first in firsts:
            run = (run[0] if run else first, last)
        elif run:
            yield run
            run = None
    if run:
        yield run


def _begin(line: Line, k: int) -> Moment:
    return moment_of(line, k)


def _end(line: Line, k: int) -> Moment:
    return ended(line, line.notes[k].onset + line.notes[k].duration)


def shared_said(answer: SectionFit, member: Member) -> str:
    """Say what of others' lines stands in a member's part; empty where nothing does."""
    return listed([f"{share.chair.title} in {share.spans_said(part)}" for share, part in taken_by(answer, member)])
