"""The chords of a piece that this section on these horns finds worst, and who moves by how much to mend each.

Every player of a chord has a pure place in it. A slide can go there, unless it is all the way in or at its end; valves
cannot move. Unisons and octaves come first, as their beats are heard before those of any other interval: players of
one pitch class meet where they can, so that a slide joins the valves beside it rather than the pure place. The chord as
a whole may stand a little high or low of the pitch it was tuned to: the shift that leaves the least squared deviations
is found exactly (a convex piecewise quadratic in one unknown).
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from math import log2, sqrt

from analyzer.analysis import Planned
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn
from analyzer.horns.tubing import state
from analyzer.intonation.targets import Target

MOST = 10
_STAYS = 1e-3
"""Weight of staying at the pitch that was tuned to, beside 1 for each player's deviation: it only breaks ties."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Voice:
    """One player in a chord.

    `target_cents` is the pure place above equal temperament; from `low_cents` to `high_cents` is what the player can
    reach there (the same twice with valves); `before_cents` where the note stands without tuning. `move_mm` is the
    slide's way from its usual place (+ out), None with valves; `left_cents` what stays beside the pure place.
    """

    part: str
    line: int
    horn: Horn
    choice: Candidate
    note: str
    member: str
    target_cents: float
    low_cents: float
    high_cents: float
    before_cents: float
    move_mm: float | None = None
    left_cents: float = 0.0
    instead: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sonority:
    """A chord or unison of at least two players.

    `root` is its name without octave, `kind` that of the chord or ``unison``; `before_cents` and `after_cents` are the
    root mean square of the deviations from a pure chord, without tuning and at best; `shift_cents` is how far the
    whole chord then stands from equal temperament.
    """

    measure: str
    root: str
    kind: str
    seconds: float
    voices: tuple[Voice, ...]
    before_cents: float
    after_cents: float
    shift_cents: float


def worst_chords(lines: Sequence[Planned], most: int = MOST) -> tuple[Sonority, ...]:
    """Return the chords and unisons that are worst without tuning, worst first, each kind of chord once.

    Parameters
    ----------
    lines : sequence of Planned
        Lines of one score that sound together, planned with the aims of their chords.
    most : int
        How many at most.
    """
    found: dict[object, Sonority] = {}
    for voices, measure, root, kind, seconds in _together(lines):
        key = (root, kind, tuple((voice.part, voice.line, voice.choice.label, voice.note) for voice in voices))
        tuned = _tuned(voices, measure, root, kind, seconds)
        if key not in found or found[key].seconds < seconds:
            found[key] = tuned
    ranked = sorted(found.values(), key=lambda chord: (-chord.before_cents, -chord.seconds))
    return tuple(chord for chord in ranked if chord.before_cents > 1.0)[:most]


def _together(lines: Sequence[Planned]) -> Iterable[tuple[tuple[Voice, ...], str, str, str, float]]:
    """Yield every chord or unison of at least two players, where the last of them has come in."""
    starts: dict[Fraction, list[tuple[int, int]]] = defaultdict(list)
    for number, planned in enumerate(lines):
        for note in planned.plan.notes:
            if note.choice is not None and note.note.duration and _long(planned, note.index):
                starts[note.note.onset].append((number, note.index))
    holding: dict[int, tuple[Fraction, int]] = {}                # line -> end and index of the note it holds
    for onset in sorted(starts):
        holding = {number: held for number, held in holding.items() if held[0] > onset}
        for number, index in starts[onset]:
            held_note = lines[number].plan.notes[index].note
            holding[number] = (held_note.onset + held_note.duration, index)
        fresh = {number for number, _ in starts[onset]}
        for group in _groups(lines, [(number, index) for number, (_, index) in sorted(holding.items())]):
            if len(group) > 1 and fresh & {number for number, _, _ in group}:
                yield _voices(lines, group)


_Member = tuple[int, int, Target | None]


def _groups(lines: Sequence[Planned], held: Sequence[tuple[int, int]]) -> Iterable[list[_Member]]:
    """Part the notes that sound at a moment: those of one named chord together, else those of one pitch class."""
    groups: dict[object, list[_Member]] = defaultdict(list)
    for number, index in held:
        planned = lines[number]
        target = planned.targets[index] if planned.targets else None
        key: object = planned.plan.notes[index].note.midi % 12 if target is None else (
            target.chord.root, target.chord.kind.name)
        groups[key].append((number, index, target))
    return groups.values()


def _voices(lines: Sequence[Planned], group: Sequence[_Member]) -> tuple[tuple[Voice, ...], str, str, str, float]:
    """Return the voices of a group, with its measure, root, kind and length."""
    number, index, target = max(group, key=lambda member: lines[member[0]].plan.notes[member[1]].note.onset)
    last = lines[number].plan.notes[index]
    voices = tuple(_voice(lines[other], k, "unison" if theirs is None else theirs.member,
                          0.0 if theirs is None else theirs.cents) for other, k, theirs in group)
    root, kind = (last.note.sounding.pretty[:-1], "unison") if target is None else (
        target.chord.root, target.chord.kind.name)
    return voices, last.note.measure, root, kind, last.time.sounds_s


def _long(planned: Planned, index: int) -> bool:
    return planned.planner.times[index].sounds_s >= planned.plan.player.just_from_s


def _voice(planned: Planned, index: int, member: str, target_cents: float) -> Voice:
    note = planned.plan.notes[index]
    chosen = note.choice
    assert chosen is not None, "only playable notes are asked about"
    horn = planned.plan.horn
    usual = next(choice for choice in candidates(horn, note.note.midi) if choice.label == chosen.label)
    low, high = reachable_cents(horn, usual)
    # Other fingerings of a valved horn that lie nearer to the pure place than this one.
    others = [choice for choice in candidates(horn, note.note.midi)
              if usual.extension_mm is None and choice.advice is None and choice.label != usual.label
              and abs(choice.off_cents - target_cents) + 2 < abs(usual.off_cents - target_cents)]
    return Voice(part=planned.part.full_name or planned.part.name, line=planned.plan.line.number, horn=horn,
                 choice=usual, note=note.note.sounding.name, member=member, target_cents=target_cents,
                 low_cents=low, high_cents=high, before_cents=usual.off_cents,
                 instead=tuple(choice.label for choice in others[:2]))


def reachable_cents(horn: Horn, choice: Candidate) -> tuple[float, float]:
    """Return how low and how high a choice can be brought against equal temperament. [cents]

    The same value twice with valves. Derived: the pitch of a tube is as one over its length, and a slide has two legs.
    """
    if choice.extension_mm is None:
        return choice.off_cents, choice.off_cents
    in_mm = state(horn, choice.valves).ratio * horn.tube_mm / 2
    here = in_mm + choice.out_mm
    return (choice.off_cents + 1200 * log2(here / (in_mm + horn.slide_end_mm)),
            choice.off_cents + 1200 * log2(here / in_mm))


def _tuned(voices: Sequence[Voice], measure: str, root: str, kind: str, seconds: float) -> Sonority:
    spans = meeting([(voice.choice.midi % 12, voice.low_cents, voice.high_cents) for voice in voices])
    shift = best_shift([(voice.target_cents, *span) for voice, span in zip(voices, spans, strict=True)])
    done = []
    for voice, (low, high) in zip(voices, spans, strict=True):
        place = voice.target_cents + shift
        reached = min(max(place, low), high)
        move = None
        if voice.low_cents != voice.high_cents:
            move = _move_mm(voice, reached)
        done.append(replace(voice, move_mm=move, left_cents=reached - place))
    return Sonority(measure=measure, root=root, kind=kind, seconds=seconds, voices=tuple(done),
                    before_cents=_spread([voice.before_cents - voice.target_cents for voice in voices]),
                    after_cents=sqrt(sum(voice.left_cents**2 for voice in done) / len(done)), shift_cents=shift)


def meeting(voices: Sequence[tuple[int, float, float]]) -> list[tuple[float, float]]:
    """Return where each player may go so that those of one pitch class agree.

    Parameters
    ----------
    voices : sequence of (pitch class, low, high)
        What each can reach. [cents above equal temperament]

    Returns
    -------
    list of (float, float)
        What the most players of the pitch class can reach together, for those who can; for the others their own span.
    """
    spans = [(low, high) for _, low, high in voices]
    for pitch_class in {one for one, _, _ in voices}:
        same = [(low, high) for one, low, high in voices if one == pitch_class]
        there = max(([span for span in same if span[0] <= place <= span[1]] for place, _ in same), key=len)
        if len(there) > 1:
            meet = max(low for low, _ in there), min(high for _, high in there)
            spans = [meet if voice[0] == pitch_class and voice[1:] in there else span
                     for voice, span in zip(voices, spans, strict=True)]
    return spans


def _move_mm(voice: Voice, reached_cents: float) -> float:
    """How far the slide goes for a pitch: from its own in and end, whose pitches are known. [mm, + out]"""
    choice = voice.choice
    here = state(voice.horn, choice.valves).ratio * voice.horn.tube_mm / 2 + choice.out_mm
    return float(here * (2 ** ((choice.off_cents - reached_cents) / 1200) - 1))


def _spread(deviations: Sequence[float]) -> float:
    """Root mean square about their mean: how impure a chord is, wherever it stands. [cents]"""
    mean = sum(deviations) / len(deviations)
    return sqrt(sum((deviation - mean)**2 for deviation in deviations) / len(deviations))


def best_shift(voices: Sequence[tuple[float, float, float]]) -> float:
    """Return the shift of a whole chord that leaves the least squared deviations. [cents]

    Parameters
    ----------
    voices : sequence of (target, low, high)
        Pure place, and what can be reached, of each player. [cents above equal temperament]

    Notes
    -----
    Between the shifts at which a player comes to an end of the slide the sum is one parabola, so the best lies at the
    vertex of one of them or at an end; all are tried.
    """
    edges = sorted({edge for target, low, high in voices for edge in (low - target, high - target)})
    spans = [(float("-inf"), edges[0]), *pairwise(edges), (edges[-1], float("inf"))]
    places = [0.0, *edges]
    for left, right in spans:
        inside = max(left, edges[0] - 2) / 2 + min(right, edges[-1] + 2) / 2
        ends = [low - target if target + inside < low else high - target
                for target, low, high in voices if not low <= target + inside <= high]
        vertex = sum(ends) / (len(ends) + _STAYS)
        places.append(min(max(vertex, left), right))
    return min(places, key=lambda shift: (shift_cost(voices, shift), abs(shift)))


def shift_cost(voices: Sequence[tuple[float, float, float]], shift: float) -> float:
    """Sum of squared deviations of a chord at a shift, with the small price of the shift itself. [cents squared]"""
    left = sum((min(max(target + shift, low), high) - target - shift)**2 for target, low, high in voices)
    return left + _STAYS * shift**2
