"""The makers of exercises, one a kind: two ways, a new valve state's scale, moves by themselves and mixed, tuning."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import islice

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, chart_choice
from analyzer.horns.transition import beside_words, nearest_open
from analyzer.practice.builder import METRONOME, DrillNote, Exercise, Kit, PairEnd, paced, steps_to
from analyzer.practice.moves import PracticeMove, slur_of
from analyzer.problem import Problem
from analyzer.words import cents_text, shown, signed, valves_text

SLOW_BPM = 60
_VALUES = ((Fraction(1, 4), "sixteenth"), (Fraction(1, 2), "eighth"), (Fraction(1), "quarter"), (Fraction(2), "half"))
_LEAST_MIXED = 3
_PULSE_BPM = 56
"""A beat slower than this is hard to keep; a longer note value takes its place. Judged."""
_FASTEST_BPM = 160.0
EAR_SHARE = 2.0
"""Ear and lip mend this many times the cents that a player bends without harm, at the cost of some tone; beyond it only
a slide or another fingering does. Judged, as in `plan.difficulty`: 34 cents keep 1-3 (28 sharp) an ear exercise and
leave out 1-2-3 (51) and 1-2-3-4 without compensation (68)."""


def two_ways(kit: Kit, *, most: int = 2) -> list[Exercise]:
    """Return exercises on one pitch in two ways: with a valve state against open, or as planned against the usual."""
    wanted: Counter[tuple[Candidate, Candidate]] = Counter()
    for one in kit.plan.notes:
        if one.choice is None or not kit.can(one.choice):
            continue
        other = _other_way(kit, one.choice, one.usual)
        if other is not None and mends(kit, other) and mends(kit, one.choice):
            weight = 2 if not kit.learner.knows(one.choice.valves) else 1
            wanted[other, one.choice] += weight
    result: list[Exercise] = []
    pitches: set[int] = set()
    for (usual, planned), _ in sorted(wanted.items(), key=lambda item: -item[1]):
        if planned.midi in pitches or len(result) >= most:
            continue
        pitches.add(planned.midi)
        name = kit.written(planned.midi).pretty
        a, b = shown(usual.label), shown(planned.label)
        result.append(Exercise(
            kind="two-ways", title=f"Same pitch, two ways: {name}",
            task=f"{a}, then {b}. Hum the pitch first. Listen: the pitch must not move.",
            tempo_bpm=SLOW_BPM, steps=(),
            measures=kit.pair(kit.grammar.drawn("two-ways", kit.chance), PairEnd(usual, _off(usual)),
                              PairEnd(planned, _off(planned))),
            covers=(f"{planned.label} against {usual.label}",)))
    return result


def _other_way(kit: Kit, mine: Candidate, usual: Candidate | None) -> Candidate | None:
    """Return the way to compare with: the usual one where the plan leaves it, else open against a held valve."""
    if usual is not None and usual.label != mine.label and kit.can(usual):
        return usual
    if kit.horn.family != "slide" or not mine.valves:
        return None
    ways = [one for one in candidates(kit.horn, mine.midi) if not one.valves and one.advice is None and kit.can(one)]
    return min(ways, key=lambda one: one.out_mm, default=None)


def _off(choice: Candidate) -> str:
    return f"{signed(choice.off_cents, '−')} cents" if abs(choice.off_cents) >= 3 else ""


def state_scales(kit: Kit, *, most: int = 2) -> list[Exercise]:
    """Return the scale of each valve state that is new.

    Where the player file lists nothing, nothing is known to be new: then of the attachment that the music uses most,
    or of its combination with the most fingers.
    """
    used = Counter(one.choice.valves for one in kit.plan.notes if one.choice and one.choice.valves)
    new = [valves for valves, _ in used.most_common() if not kit.learner.knows(valves)]
    if not new and kit.learner.learned is None and used:
        slide = kit.horn.family == "slide"
        new = [max(used, key=lambda valves: (0 if slide else len(valves), used[valves]))]
    result: list[Exercise] = []
    for valves in new[:most]:
        ways = _slide_row(kit, valves) if kit.horn.family == "slide" else _valve_row(kit, valves)
        if len(ways) < 2:
            continue
        label = "".join(valves) if kit.horn.family == "slide" else valves_text(valves)
        if kit.horn.family == "slide":
            words = "Each position is given against the open ones. Look at the slide, then play without looking."
        else:
            words = "The cents say how far off the horn is. Bring each note in tune by ear."
        result.append(Exercise(
            kind="scale", title=f"{'Positions' if kit.horn.family == 'slide' else 'Every note'} with {label} held",
            task=words, tempo_bpm=SLOW_BPM, steps=(), measures=kit.row("scale", ways), covers=(label,)))
    return result


def _slide_row(kit: Kit, valves: tuple[str, ...]) -> list[PairEnd]:
    """The positions of a state on the partial that the music uses most: out one by one, then back in two steps."""
    partials = Counter(one.choice.partial for one in kit.plan.notes if one.choice and one.choice.valves == valves)
    best: list[Candidate] = []
    for partial, _ in partials.most_common():
        row = [one for midi in range(kit.high, kit.low - 1, -1) for one in candidates(kit.horn, midi)
               if one.valves == valves and one.partial == partial and one.advice is None and kit.can(one)]
        if len(row) > len(best) + 2 or not best:
            best = row
    ways = [PairEnd(one, beside_words(*nearest_open(kit.horn, one.out_mm))) for one in best]
    back = [PairEnd(best[k]) for k in (len(best) // 2 - 1, 0)] if len(best) > 2 else []
    return ways + back


def _valve_row(kit: Kit, valves: tuple[str, ...]) -> list[PairEnd]:
    """The notes of a combination, up, then back in two steps."""
    row = [one for midi in range(kit.low, kit.high + 1) for one in candidates(kit.horn, midi)
           if one.valves == valves and (one.advice is None or one is chart_choice(kit.horn, midi))]
    row = [one for one in row if kit.can(one) and mends(kit, one) and 2 <= one.partial <= 8 and one.partial != 7][:5]
    back = [PairEnd(row[k]) for k in (len(row) // 2 - 1, 0)] if len(row) > 2 else [PairEnd(one) for one in row[:1]]
    return [PairEnd(one, _off(one)) for one in row] + back


def distinct_moves(kit: Kit, moves: Iterable[PracticeMove]) -> list[PracticeMove]:
    """Return the moves of the hand that this player can make, each once for both its directions, by rank."""
    pairs: dict[frozenset[tuple[int, str]], PracticeMove] = {}
    for move in moves:
        if move.moves_hand and kit.can(move.before) and kit.can(move.after):
            pairs.setdefault(move.pair, move)
    return list(pairs.values())


def move_drills(kit: Kit, moves: Sequence[PracticeMove], *, most: int = 3) -> list[Exercise]:
    """Return an exercise for each of the hardest moves, both directions, from slow to the music's tempo.

    Where the music is above this player's ceiling, the ladder ends at the ceiling and the words say so; a move that
    even long notes leave no time for has none.
    """
    made = (_move_drill(kit, move) for move in distinct_moves(kit, moves))
    return list(islice((one for one in made if one is not None), most))


def _move_drill(kit: Kit, move: PracticeMove) -> Exercise | None:
    a, b = kit.written(move.before.midi).pretty, kit.written(move.after.midi).pretty
    found: Exercise | None = None
    values = _values(move.gap_s)
    for value, name in values:
        steps = steps_to(min(60 * float(value) / move.gap_s, _FASTEST_BPM))
        found = paced(Exercise(
            kind="move", title=f"Move {move.pretty}: {a}–{b}", task=_said(move), climb=", each clean three times.",
            tempo_bpm=steps[0], steps=steps,
            measures=kit.pair(kit.grammar.drawn(f"move-{name}", kit.chance), PairEnd(move.before), PairEnd(move.after)),
            covers=(move.name,)), kit)
        if found is not None and found.goal_bpm >= _PULSE_BPM:
            break
    if found is not None and float(value) * 60 / found.goal_bpm > 1.05 * move.gap_s and (
            value != values[0][0] or found.steps != steps):
        # Above the ceiling there is nothing to gain by haste.
        found = replace(found, climb=", no faster in the music.")
    return found


def mixed(kit: Kit, moves: Sequence[PracticeMove], *, most: int = 5) -> list[Exercise]:
    """Return the hardest moves a measure each, in an order drawn by chance; nothing where there are fewer than three.

    Moves practiced in turn are kept better than each by itself, though it feels
    harder (J. Shea and R. Morgan, *Contextual interference effects*, J. Exp. Psychol. Hum. Learn. Mem. 5, 1979; on
    clarinets C. Carter and J. Grahn, *Optimizing music learning*, Front. Psychol. 7, 2016).
    """
    def one(move: PracticeMove) -> tuple[tuple[DrillNote, ...], ...]:
        return kit.pair(kit.grammar.drawn("mixed", kit.chance), PairEnd(move.before), PairEnd(move.after))

    def exercise(chosen: Sequence[PracticeMove], measures: tuple[tuple[DrillNote, ...], ...]) -> Exercise:
        return Exercise(
            kind="mixed", title="Hard moves, mixed",
            task="Do not stop between measures: name the next position during the rest.",
            tempo_bpm=min(SLOW_BPM, *(_at_most(60 / move.gap_s) for move in chosen)),
            steps=(), measures=measures, covers=tuple(move.name for move in chosen))

    # A move that this player cannot make at the slowest beat would keep the others from being mixed.
    able = ((move, rows) for move in distinct_moves(kit, moves) if paced(exercise([move], rows := one(move)), kit))
    chosen = list(islice(able, most))
    if len(chosen) < _LEAST_MIXED:
        return []
    kit.chance.shuffle(chosen)
    return [exercise([move for move, _ in chosen], tuple(row for _, rows in chosen for row in rows))]


def _at_most(bpm: float) -> int:
    """Return the greatest number of a metronome that is not above `bpm`, else its least."""
    return max((number for number in METRONOME if number <= bpm), default=METRONOME[0])


def _values(gap_s: float) -> Sequence[tuple[Fraction, str]]:
    """Return the note values to try: the one that brings the gap to a number a band knows, then longer ones."""
    first = next((k for k, (value, _) in enumerate(_VALUES) if 60 * value / Fraction(gap_s) >= _PULSE_BPM),
                 len(_VALUES) - 1)
    return _VALUES[first:]


def _said(move: PracticeMove) -> str:
    where = f"As in measure {move.measures[0]}. " if move.measures else ""
    way = f"{move.distance_mm / 10:.0f} cm of slide" if move.distance_mm and move.distance_mm > 20 else ""
    how = ", ".join(text for text in (way, slur_of(move)) if text)
    return f"{where}{how[:1].upper()}{how[1:]}." if how else where.strip()


def mends(kit: Kit, choice: Candidate) -> bool:
    """Tell whether ear and lip bring a choice in tune; see `EAR_SHARE`."""
    return abs(choice.off_cents) <= EAR_SHARE * kit.horn.lip_reach.value


def out_of_tune(kit: Kit) -> list[Candidate]:
    """Return the usual fingerings of this music that the lip does not bring in without harm, the worst first."""
    if kit.horn.family == "slide":
        return []
    count = Counter(one.note.midi for one in kit.plan.notes if kit.can(one.usual))
    worst = [(times * abs(usual.off_cents), usual) for midi, times in count.items()
             if (usual := chart_choice(kit.horn, midi)) is not None
             and abs(usual.off_cents) > kit.horn.lip_reach.value and kit.can(usual)]
    return [usual for _, usual in sorted(worst, key=lambda item: (-item[0], item[1].midi))]


def tuning(kit: Kit, *, most: int = 2) -> list[Exercise]:
    """Return exercises on notes whose usual fingering is out of tune: against an alternate, else an octave in tune.

    Only for horns with valves alone: a slide tunes itself. What no ear mends is no ear exercise (`past_the_ear`).
    """
    lip = kit.horn.lip_reach.value
    result: list[Exercise] = []
    for usual in out_of_tune(kit):
        if len(result) >= most:
            break
        if not mends(kit, usual):
            continue
        better = _better(kit, usual)
        name = kit.written(usual.midi).pretty
        label, off = shown(usual.label), _cents(usual)
        if better is not None:
            words = f"{label} is {off}; {shown(better.label)} is {_cents(better)}. Hear the difference, then match it."
            covers = f"{kit.written(usual.midi).name} {usual.label} against {better.label}"
        else:
            better = next((one for midi in (usual.midi + 12, usual.midi - 12, usual.midi + 7)
                           if (one := chart_choice(kit.horn, midi)) is not None and abs(one.off_cents) <= lip
                           and kit.can(one)), None)
            if better is None:
                continue
            mend = "lip it down, or pull a slide" if usual.off_cents > 0 else "lip it up"
            words = (f"{label} is {off}, and no other fingering is better: check it against "
                     f"{kit.written(better.midi).pretty}; {mend}.")
            covers = f"{kit.written(usual.midi).name} {usual.label} against {kit.written(better.midi).name}"
        result.append(Exercise(
            kind="tuning", title=f"In tune: {name}", task=words, tempo_bpm=SLOW_BPM, steps=(),
            measures=kit.pair(kit.grammar.drawn("tuning", kit.chance), PairEnd(usual, _off(usual)),
                              PairEnd(better, _off(better))), covers=(covers,)))
    return result


def past_the_ear(kit: Kit) -> list[Problem]:
    """Say which fingerings of this music are further out than ear and lip can mend, and what does."""
    result = []
    for usual in out_of_tune(kit):
        if mends(kit, usual):
            continue
        better = _better(kit, usual)
        other = f"use {shown(better.label)} ({_cents(better)}), " if better is not None and mends(kit, better) else ""
        advice = f"{other}pull a slide for it, or take another horn."
        result.append(Problem(
            severity="warning", code="past-the-ear", where=kit.plan.line.part_name,
            what=f"{kit.written(usual.midi).pretty} with {shown(usual.label)} is {_cents(usual)}, more than ear and "
                 "lip can correct, so there is no exercise for it",
            try_=f"{advice[:1].upper()}{advice[1:]}"))
    return result


def _better(kit: Kit, usual: Candidate) -> Candidate | None:
    """Return the fingering that is least off, where it is better by more than 3 cents."""
    found = min((one for one in candidates(kit.horn, usual.midi) if one.label != usual.label and kit.can(one)),
                key=lambda one: abs(one.off_cents), default=None)
    return found if found is not None and abs(found.off_cents) < abs(usual.off_cents) - 3 else None


def _cents(choice: Candidate) -> str:
    if abs(choice.off_cents) < 1:
        return "in tune"
    return cents_text(choice.off_cents)
