"""One line split among several players: each phrase to who has it best, exactly, with a price for every handover.

A phrase goes whole, in one octave, to one player who is free for it: with a breath's time between it and what that
player has to play there anyway. Prices are those of a cover, a note or a phrase at a time, so that a line that one
player takes whole costs what it costs as that player's cover.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise

from analyzer.score.lines import Line
from analyzer.score.sounding import Moment
from analyzer.section.assignment import INF
from analyzer.section.burden import PRICES
from analyzer.section.cover import COVER_PRICES
from analyzer.writing.phrases import Phrase

SPLIT_PRICES = {
    "handover": 50.0,                  # each time another player takes the line over
    "register": 0.5,                   # each semitone between the phrase and where the player has been playing
    "cold": 5.0,                       # a player who has had nothing to play for a while, horn down
}
"""Judged, in the unit of a cover: a handover weighs half of a change of color (100) or two or three moved notes; the
other two only decide between players who lose nothing. Directors' own splits would change our mind; what composers do
who double a line, `python -m tests.section.doublings` measures."""

BREATH_S = 0.75
"""Time between a player's own notes and a phrase of another's line: a breath, and the eye at the new place. [s] Judged;
a sight-reading trial would decide."""
COLD_S = 12.0
"""Silence from which a player is no longer in the music. [s] Judged: about six measures of a march."""
MOST_LOST_SHARE = 0.5
"""A phrase of which a player lacks more than this share is not taken. Judged, as a line is not (`MOST_BLOCKED_SHARE`).
"""

CUED_SHARE = 0.8
"""Who has so much of a phrase printed as a cue is asked for it first where nobody loses less: neither register nor a
long rest speaks against somebody whom the arranger has chosen. Judged; no printed cue was found to try it on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Taker:
    """Somebody who could take phrases of a line.

    `phrases` are those of the line as this player would have them: octave and notes outside; `lost` further notes that
    cannot be played, `fast` those from which a move is too fast, `broken` those whose glissando goes. `busy` are spans
    of the line's own time in which the player has notes [quarter notes], `home` the mean of these notes [MIDI], None
    for who has none. `blend` is the price of the color, for the whole line. The `holder` has the line anyway and
    needs no breath.
    """

    name: str
    phrases: tuple[Phrase, ...]
    blend: float = 0.0
    busy: tuple[tuple[Fraction, Fraction], ...] = ()
    home: float | None = None
    lost: frozenset[int] = field(default_factory=frozenset)
    fast: frozenset[int] = field(default_factory=frozenset)
    broken: frozenset[int] = field(default_factory=frozenset)
    cued: frozenset[int] = field(default_factory=frozenset)
    holder: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A phrase in one player's hands; `items` are the parts of `price` by name, without handovers."""

    taker: int
    phrase: Phrase
    missing: tuple[int, ...]
    broken: tuple[int, ...]
    items: dict[str, float]

    @property
    def price(self) -> float:
        """What this player makes of the phrase. [as a cover's]"""
        return sum(self.items.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """A line split: a piece for each phrase, None where nobody takes it; `price` is of it all, handovers with it."""

    spans: tuple[tuple[int, int], ...]
    pieces: tuple[Piece | None, ...]
    handovers: int
    price: float

    @property
    def taken(self) -> tuple[Piece, ...]:
        """The pieces that somebody plays."""
        return tuple(piece for piece in self.pieces if piece is not None)


def place(line: Line, at: Moment) -> Fraction:
    """Return a moment in the time of a line [quarter notes]; one past its last measure is the end of that."""
    index = at[0] - line.measures[0].index
    if index >= len(line.measures):
        return line.measures[-1].onset + line.measures[-1].duration
    measure = line.measures[max(0, index)]
    return measure.onset + min(at[1], measure.duration)


def ended(line: Line, onset: Fraction) -> Moment:
    """Return the moment of an onset of a line, or of an end, which may lie measures behind its note's beginning."""
    at = line.measures[max(0, bisect_right(line.measures, onset, key=lambda measure: measure.onset) - 1)]
    return at.index, onset - at.onset


def busy_in(line: Line, own: Line) -> tuple[tuple[Fraction, Fraction], ...]:
    """Return when the notes of another line sound, in the time of this one, notes without a gap together."""
    found: list[tuple[Fraction, Fraction]] = []
    for note in own.notes:
        begin, end = (place(line, ended(own, onset)) for onset in (note.onset, note.onset + note.duration))
        if found and begin <= found[-1][1]:
            found[-1] = (found[-1][0], max(end, found[-1][1]))
        else:
            found.append((begin, end))
    return tuple(found)


def span_of(line: Line, first: int, last: int) -> tuple[Fraction, Fraction]:
    """Return where notes begin and end. [quarter notes of the line]"""
    return line.notes[first].onset, max(note.onset + note.duration for note in line.notes[first:last + 1])


def quarter_s(line: Line, onset: Fraction) -> float:
    """Return the length of a quarter note at an onset. [s; 0.5 where the score gives no tempo]"""
    told = [tempo.bpm for tempo in line.tempi if tempo.onset <= onset]
    return 60 / float(told[-1]) if told and told[-1] else 0.5


def pieces_of(line: Line, taker: Taker, nth: int) -> list[Piece | None]:
    """Return each phrase as a taker would have it, None where he or she plays, or lacks too much of it."""
    return [_piece(line, taker, nth, phrase) for phrase in taker.phrases]


def _piece(line: Line, taker: Taker, nth: int, phrase: Phrase) -> Piece | None:
    which = range(phrase.first, phrase.last + 1)
    begin, end = span_of(line, phrase.first, phrase.last)
    beat_s = quarter_s(line, begin)
    before = min((float(begin - other) for _, other in taker.busy if other <= begin), default=None)
    after = min((float(other - end) for other, _ in taker.busy if other >= end), default=None)
    if not taker.holder:
        breath = BREATH_S / beat_s
        if any(other < end and begin < until for other, until in taker.busy):
            return None
        if any(gap is not None and gap < breath for gap in (before, after)):
            return None
    missing = tuple(k for k in which if k in phrase.outside or k in taker.lost)
    if len(missing) > MOST_LOST_SHARE * len(which):
        return None
    broken = tuple(k for k in which if k in taker.broken)
    items = {"lost": COVER_PRICES["lost"] * len(missing),
             "moved": COVER_PRICES["moved"] * len(which) if phrase.octaves else 0.0,
             "gliss": COVER_PRICES["gliss"] * len(broken),
             "too_fast": PRICES["too_fast"] * sum(k in taker.fast for k in which),
             "blend": taker.blend * len(which) / max(1, len(line.notes))}
    if sum(k in taker.cued for k in which) >= CUED_SHARE * len(which):
        return Piece(taker=nth, phrase=phrase, missing=missing, broken=broken,
                     items={name: price for name, price in items.items() if price})
    if taker.home is not None:
        mean = sum(line.notes[k].midi + 12 * phrase.octaves for k in which) / len(which)
        items["register"] = SPLIT_PRICES["register"] * abs(mean - taker.home)
    near = [gap for gap in (before, after) if gap is not None]
    if taker.busy and min(near, default=INF) * beat_s > COLD_S:
        items["cold"] = SPLIT_PRICES["cold"]
    return Piece(taker=nth, phrase=phrase, missing=missing, broken=broken,
                 items={name: price for name, price in items.items() if price})


def split(line: Line, spans: Sequence[tuple[int, int]], takers: Sequence[Taker]) -> Split:
    """Split a line among takers at the least price: what each phrase costs, and each handover.

    Parameters
    ----------
    line : Line
        The line; it has notes.
    spans : sequence of (int, int)
        First and last note of each phrase; they cover the line. Every taker has the same phrases.
    takers : sequence of Taker
        Who could play; the earlier one where all is alike.

    Returns
    -------
    Split
        Exact: a phrase is left out only where nobody has it, for each of its notes costs as one that is lost.
    """
    offers = [pieces_of(line, taker, nth) for nth, taker in enumerate(takers)]
    prices = [[piece.price if piece is not None else INF for piece in row] for row in offers]
    empty = [COVER_PRICES["lost"] * (last - first + 1) for first, last in spans]
    chosen, price = walked(prices, empty, SPLIT_PRICES["handover"])
    taken = [nth for nth in chosen if nth is not None]
    return Split(spans=tuple(spans), price=price,
                 pieces=tuple(None if nth is None else offers[nth][k] for k, nth in enumerate(chosen)),
                 handovers=sum(a != b for a, b in pairwise(taken)))


def walked(prices: Sequence[Sequence[float]], empty: Sequence[float], handover: float,
           ) -> tuple[tuple[int | None, ...], float]:
    """Give every phrase to one taker or none, at the least sum of prices and handovers; return who has it, and the sum.

    ``prices[j][k]`` is phrase k with taker j (inf: cannot), ``empty[k]`` without anybody. A handover is paid where the
    next phrase that is played has another player than the one that was played last.
    """
    # For each last player (None: nobody yet) the least price so far, and how it came about.
    best: dict[int | None, tuple[float, tuple[int | None, ...]]] = {None: (0.0, ())}
    for k, nobody in enumerate(empty):
        after: dict[int | None, tuple[float, tuple[int | None, ...]]] = {}
        for last, (price, chosen) in best.items():
            ways: list[tuple[int | None, int | None, float]] = [(last, None, price + nobody)]
            ways += [(j, j, price + row[k] + (handover if last not in (None, j) else 0.0))
                     for j, row in enumerate(prices) if row[k] < INF]
            for state, who, total in ways:
                if state not in after or total < after[state][0]:
                    after[state] = (total, (*chosen, who))
        best = after
    price, chosen = min(best.values(), key=lambda way: way[0])
    return chosen, price
