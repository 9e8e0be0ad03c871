"""Lines that nobody has alone, shared out: a line without a player, or one whose cover loses notes.

Who rests while a phrase sounds takes it, on the horn in hand; who has no line takes what is nearest. Lines are shared
one after the other, those dearest empty first: what somebody took of one is not free for the next. Each is split
exactly (`split`); over several lines together it need not be the least.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from analyzer.horns.horn import Horn
from analyzer.score.cues import small_notes
from analyzer.score.lines import Line
from analyzer.score.sounding import moment_of
from analyzer.section.cover import COVER_PRICES, Cover, Music, cover_of, is_cover, music_of
from analyzer.section.seating import Chair, Desk, Offer
from analyzer.section.section import Member
from analyzer.section.split import Piece, Split, Taker, busy_in, ended, place, span_of, split
from analyzer.words import counted, first_few

Placed = Sequence[tuple[int, Offer] | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What one player takes of a shared line: `pieces` in order, on a horn or on the instrument (`horn` None).

    `sits` is the index of the chair that the player holds beside it, None where there is none; `holder` where it is
    this line itself, which the player keeps but for what others take.
    """

    member: Member
    cover: Cover
    horn: Horn | None
    pieces: tuple[Piece, ...]
    sits: int | None
    holder: bool

    @property
    def played(self) -> str:
        """Name of the horn or instrument in hand."""
        return self.horn.name if self.horn is not None else self.member.plays[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A line shared out. `nth` is its chair's index; `left` are the phrases that nobody plays, first and last note."""

    nth: int
    chair: Chair
    parts: tuple[Part, ...]
    split: Split
    left: tuple[tuple[int, int], ...]

    @property
    def whole(self) -> bool:
        """Whether every note of the line is played."""
        return not self.left and not any(piece.missing for piece in self.split.taken)

    @property
    def said(self) -> str:
        """Who plays what of the line, what is lost of it, and what nobody plays."""
        told = [f"{part.member.name} on {part.played} {self.spans_said(part)}" for part in self.parts]
        missing = [k for piece in self.split.taken for k in piece.missing]
        moved = sum(piece.phrase.last - piece.phrase.first + 1 for piece in self.split.taken if piece.phrase.octaves)
        broken = sum(len(piece.broken) for piece in self.split.taken)
        names = list(dict.fromkeys(self.chair.line.notes[k].sounding.pretty for k in missing))
        lost = [f"{counted(len(missing), 'note')} left out ({first_few(names, 6)})" if missing else "",
                f"{counted(moved, 'note')} in another octave" if moved else "",
                f"{counted(broken, 'glissando')} played as separate notes" if broken else "",
                f"nobody plays {self._spans(self.left)}" if self.left else ""]
        more = "; ".join(filter(None, lost))
        return f"{'; '.join(told)}{f'; {more}' if more else ''}"

    def spans_said(self, part: Part) -> str:
        """Name the measures of what one player takes."""
        return self._spans([(piece.phrase.first, piece.phrase.last) for piece in part.pieces])

    def _spans(self, spans: Sequence[tuple[int, int]]) -> str:
        """Name spans of notes by their measures, neighbours together."""
        notes, whole = self.chair.line.notes, {span: k for k, span in enumerate(self.split.spans)}
        runs: list[list[tuple[int, int]]] = []
        for span in spans:
            if runs and whole[span] == whole[runs[-1][-1]] + 1:
                runs[-1].append(span)
            else:
                runs.append([span])
        said = []
        for run in runs:
            first, last = notes[run[0][0]].measure, notes[run[-1][1]].measure
            said.append(first if first == last else f"{first}-{last}")
        return f"{'m.' if said == [said[0]] and '-' not in said[0] else 'mm.'} {', '.join(said)}"

    def measures(self, spans: Collection[tuple[int, int]]) -> list[str]:
        """Return the measures of spans of notes, as numbered in the score."""
        notes = self.chair.line.notes
        return list(dict.fromkeys(notes[k].measure for first, last in spans for k in range(first, last + 1)))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Source:
    """A taker before it is one: who, with what, and what this player has to play besides."""

    j: int
    horn: Horn | None
    cover: Cover
    sits: int | None
    holder: bool
    taker: Taker


def shares_of(desk: Desk, placed: Placed, doubling: Collection[int] = ()) -> tuple[Share, ...]:
    """Share out every line that has no player, or whose cover leaves notes out or moves them; lines that nobody could
    help with are not among them. `doubling` are members who double a line and stay with it.
    """
    order = sorted(range(len(desk.chairs)), key=lambda i: (-desk.empty()[i], i))
    taken: dict[int, list[tuple[int, int, int]]] = {}      # member -> (chair, first, last)
    found: list[Share] = []
    for i in order:
        chair, now = desk.chairs[i], placed[i]
        if chair.same_as is not None:
            continue
        if now is not None and (now[1].cover is None or not (now[1].cover.missing or now[1].cover.moved)):
            continue
        share = _share(desk, placed, i, taken, doubling)
        if share is None:
            continue
        found.append(share)
        for part in share.parts:
            if not part.holder:
                mine = taken.setdefault(desk.members.index(part.member), [])
                mine += [(i, piece.phrase.first, piece.phrase.last) for piece in part.pieces]
    return tuple(sorted(found, key=lambda share: share.nth))


def _share(desk: Desk, placed: Placed, i: int, taken: dict[int, list[tuple[int, int, int]]],
           doubling: Collection[int]) -> Share | None:
    chair = desk.chairs[i]
    music = music_of(chair.line, desk.document)
    sources = [source for j in range(len(desk.members)) if j not in doubling
               for source in [_source(desk, placed, i, j, music, taken.get(j, ()))] if source is not None]
    spans = [(phrase.first, phrase.last) for phrase in sources[0].cover.phrases] if sources else []
    got = split(chair.line, spans, [source.taker for source in sources])
    parts = []
    for nth, source in enumerate(sources):
        pieces = tuple(piece for piece in got.taken if piece.taker == nth)
        if pieces:
            parts.append(Part(member=desk.members[source.j], cover=source.cover, horn=source.horn, pieces=pieces,
                              sits=source.sits, holder=source.holder))
    if not any(not part.holder for part in parts):
        return None
    if len(parts) == 1 and parts[0].sits is None and len(parts[0].pieces) == len(got.spans):
        return None                     # one free player with the whole line is a seat, and was judged as one
    left = tuple(span for span, piece in zip(got.spans, got.pieces, strict=True) if piece is None)
    return Share(nth=i, chair=chair, parts=tuple(parts), split=got, left=left)


def _source(desk: Desk, placed: Placed, i: int, j: int, music: Music, also: Sequence[tuple[int, int, int]],
            ) -> _Source | None:
    """Return what member `j` could make of line `i` beside what he or she plays already."""
    member, line = desk.members[j], desk.chairs[i].line
    seats = [(k, now[1]) for k, now in enumerate(placed) if now is not None and now[0] == j]
    holder = any(k == i for k, _ in seats)
    bar = desk.bars(i, j)
    if bar == "beginner" and not seats:
        return None
    if seats:
        offer = next((offer for k, offer in seats if k == i), seats[0][1])
        horns: list[Horn | None] = [offer.burden.horn if offer.burden is not None else None]
    else:
        horns = [*member.horns, *([None] if member.instrument is not None else [])]
    covers = [(horn, cover_of(line, music, member, horn, tempo_bpm=desk.tempo_bpm))
              for horn in horns]
    horn, cover = min(covers, key=lambda one: (len(one[1].missing), len(one[1].moved), one[1].cost))
    own = [desk.chairs[k].line for k, _ in seats if k != i]
    busy = [span for one in own for span in busy_in(line, one)]
    busy += [_elsewhere(desk, line, *span) for span in also]
    notes = [note.midi for one in own for note in one.notes]
    burden = cover.burden
    broken = {k for k, note in enumerate(line.notes) if note.gliss_after and not cover.glides}
    kin = horn is not None and not is_cover(horn, line.family)
    taker = Taker(
        name=member.name, phrases=cover.phrases, blend=0.0 if kin else cover.items.get("blend", COVER_PRICES["blend"]),
        busy=tuple(sorted(busy)), home=sum(notes) / len(notes) if notes else None,
        lost=frozenset(cover.missing), fast=frozenset(burden.too_fast if burden else ()),
        broken=frozenset({*broken, *(burden.gliss if burden else ())}), holder=holder,
        cued=frozenset(k for one in own for k in _cued(desk, line, one)))
    return _Source(j=j, horn=horn, cover=cover, sits=seats[0][0] if seats and not holder else None, holder=holder,
                   taker=taker)


def _cued(desk: Desk, line: Line, own: Line) -> Iterator[int]:
    """Yield the notes of a line that the part of another line prints as a cue, in any octave."""
    if desk.document is None or not own.notes:
        return
    above = own.notes[0].written.midi - own.notes[0].sounding.midi      # a cue stands in the reader's own notation
    cues = {(note.at, (note.written.midi - above) % 12) for note in small_notes(desk.document, own.part_id)
            if note.silent}
    yield from (k for k, note in enumerate(line.notes) if cues and (moment_of(line, k), note.midi % 12) in cues)


def _elsewhere(desk: Desk, line: Line, k: int, first: int, last: int) -> tuple[Fraction, Fraction]:
    """Return when notes of another chair's line sound, in the time of this one."""
    other = desk.chairs[k].line
    begin, end = span_of(other, first, last)
    return place(line, ended(other, begin)), place(line, ended(other, end))
