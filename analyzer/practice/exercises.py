"""The makers of exercises, one a kind: two ways, a new valve state's scale, moves by themselves and mixed, tuning."""

from collections import Counter
from collections.abc import Iterable, Sequence
from fractions import Fraction

from analyzer.horns.candidate import Candidate, shown
from analyzer.horns.candidates import candidates, chart_choice
from analyzer.horns.transition import beside_words, nearest_open
from analyzer.practice.kit import METRONOME, Exercise, Kit, Way, steps_to
from analyzer.practice.moves import Move, slur_of

SLOW_BPM = 60
_VALUES = ((Fraction(1, 4), "sixteenth"), (Fraction(1, 2), "eighth"), (Fraction(1), "quarter"), (Fraction(2), "half"))
_LEAST_MIXED = 3


def two_ways(kit: Kit, *, most: int = 2) -> list[Exercise]:
    """Return exercises on one pitch in two ways: with a valve state against open, or as planned against the usual."""
    wanted: Counter[tuple[Candidate, Candidate]] = Counter()
    for one in kit.plan.notes:
        if one.choice is None or not kit.can(one.choice):
            continue
        other = _other_way(kit, one.choice, one.usual)
        if other is not None:
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
            words=f"{a}, then {b}. Hum the pitch first. Listen: it must not move.",
            tempo_bpm=SLOW_BPM, steps=(),
            measures=kit.pair(kit.grammar.drawn("two-ways", kit.chance), Way(usual, _off(usual)),
                              Way(planned, _off(planned))),
            covers=(f"{planned.label} against {usual.label}",)))
    return result


def _other_way(kit: Kit, mine: Candidate, usual: Candidate | None) -> Candidate | None:
    """Return the way to compare with: the usual one where the plan leaves it, else open against a held valve."""
    if usual is not None and usual.label != mine.label and kit.can(usual):
        return usual
    if kit.horn.family != "slide" or not mine.valves:
        return None
    ways = [one for one in candidates(kit.horn, mine.midi) if not one.valves and one.advice is None and kit.can(one)]
    return min(ways, key=lambda one: one.extension_mm or 0.0, default=None)


def _off(choice: Candidate) -> str:
    return f"{choice.off_cents:+.0f} cents".replace("-", "−") if abs(choice.off_cents) >= 3 else ""


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
        label = "".join(valves) if kit.horn.family == "slide" else "-".join(valves)
        if kit.horn.family == "slide":
            words = "Each place is told against the open positions. Look at the slide, then do it unseen."
        else:
            words = "The cents tell how far the tube is off. Bring each note in by ear."
        result.append(Exercise(
            kind="scale", title=f"Where {label} lies" if kit.horn.family == "slide" else f"Every note of {label}",
            words=words, tempo_bpm=SLOW_BPM, steps=(), measures=kit.row("scale", ways), covers=(label,)))
    return result


def _slide_row(kit: Kit, valves: tuple[str, ...]) -> list[Way]:
    """The positions of a state on the partial that the music uses most: out one by one, then back in two steps."""
    partials = Counter(one.choice.partial for one in kit.plan.notes if one.choice and one.choice.valves == valves)
    best: list[Candidate] = []
    for partial, _ in partials.most_common():
        row = [one for midi in range(kit.high, kit.low - 1, -1) for one in candidates(kit.horn, midi)
               if one.valves == valves and one.partial == partial and one.advice is None and kit.can(one)]
        if len(row) > len(best) + 2 or not best:
            best = row
    ways = [Way(one, beside_words(*nearest_open(kit.horn, one.extension_mm or 0.0))) for one in best]
    back = [Way(best[k]) for k in (len(best) // 2 - 1, 0)] if len(best) > 2 else []
    return ways + back


def _valve_row(kit: Kit, valves: tuple[str, ...]) -> list[Way]:
    """The notes of a combination, up, then back in two steps."""
    row = [one for midi in range(kit.low, kit.high + 1) for one in candidates(kit.horn, midi)
           if one.valves == valves and (one.advice is None or one is chart_choice(kit.horn, midi))]
    row = [one for one in row if kit.can(one) and 2 <= one.partial <= 8 and one.partial != 7][:5]
    back = [Way(row[k]) for k in (len(row) // 2 - 1, 0)] if len(row) > 2 else [Way(one) for one in row[:1]]
    return [Way(one, _off(one)) for one in row] + back


def distinct_moves(kit: Kit, moves: Iterable[Move]) -> list[Move]:
    """Return the moves of the hand that this player can make, each once for both its directions, by rank."""
    pairs: dict[frozenset[tuple[int, str]], Move] = {}
    for move in moves:
        if move.moves_hand and kit.can(move.before) and kit.can(move.after):
            pairs.setdefault(move.pair, move)
    return list(pairs.values())


def move_drills(kit: Kit, moves: Sequence[Move], *, most: int = 3) -> list[Exercise]:
    """Return an exercise for each of the hardest moves, both directions, from slow to the music's tempo."""
    result: list[Exercise] = []
    for move in distinct_moves(kit, moves)[:most]:
        # Never faster than this player's slide: where the music is, the goal stays below it and the words say so.
        over = max(1.0, _over(kit, move))
        value, name = _value(move.gap_s * over)
        goal = 60 * float(value) / (move.gap_s * over)
        steps = steps_to(min(goal, 160.0))
        a, b = kit.written(move.before.midi).pretty, kit.written(move.after.midi).pretty
        result.append(Exercise(
            kind="move", title=f"Move {move.pretty}: {a}–{b}", words=_said(move, steps, over),
            tempo_bpm=steps[0], steps=steps,
            measures=kit.pair(kit.grammar.drawn(f"move-{name}", kit.chance), Way(move.before), Way(move.after)),
            covers=(move.name,)))
    return result


def mixed(kit: Kit, moves: Sequence[Move], *, most: int = 5) -> list[Exercise]:
    """Return the hardest moves a measure each, in an order drawn by chance; nothing where there are fewer than three.

    Never faster than this player's slide. Moves practised in turn are kept better than each by itself, though it feels
    harder (J. Shea and R. Morgan, *Contextual interference effects*, J. Exp. Psychol. Hum. Learn. Mem. 5, 1979; on
    clarinets C. Carter and J. Grahn, *Optimizing music learning*, Front. Psychol. 7, 2016).
    """
    chosen = distinct_moves(kit, moves)[:most]
    if len(chosen) < _LEAST_MIXED:
        return []
    kit.chance.shuffle(chosen)
    measures = tuple(row for move in chosen for row in kit.pair(
        kit.grammar.drawn("mixed", kit.chance), Way(move.before), Way(move.after)))
    return [Exercise(
        kind="mixed", title="Hard moves, mixed", words="No stop between measures: name the next place in the rest.",
        tempo_bpm=min([SLOW_BPM, *(_at_most(60 / least_s) for move in chosen
                                   if (least_s := move.gap_s * _over(kit, move)))]),
        steps=(), measures=measures, covers=tuple(move.name for move in chosen))]


def _over(kit: Kit, move: Move) -> float:
    """How many times the comfortable speed of this player's slide a move takes in the music; 0 on valves."""
    return (move.peak_speed_mm_s or 0.0) / kit.planner.costs.greatest


def _at_most(bpm: float) -> int:
    """Return the greatest number of a metronome that is not above `bpm`, else its least."""
    return max((number for number in METRONOME if number <= bpm), default=METRONOME[0])


def _value(gap_s: float) -> tuple[Fraction, str]:
    """Return the note value that brings the gap to a metronome number a band knows, and its name."""
    return next(((value, name) for value, name in _VALUES if 60 * value / Fraction(gap_s) >= 56), _VALUES[-1])


def _said(move: Move, steps: Sequence[int], over: float) -> str:
    where = f"As in measure {move.measures[0]}. " if move.measures else ""
    way = f"{move.distance_mm / 10:.0f} cm of slide" if move.distance_mm and move.distance_mm > 20 else ""
    how = ", ".join(text for text in (way, slur_of(move)) if text)
    how = f"{how[:1].upper()}{how[1:]}. " if how else ""
    ladder = f"Metronome {' – '.join(str(step) for step in steps)}"
    # Beyond the player's slide speed there is nothing to gain by haste.
    end = ", no faster even where the music is." if over > 1.05 else ", each clean three times."
    return where + how + ladder + end


def tuning(kit: Kit, *, most: int = 2) -> list[Exercise]:
    """Return exercises on notes whose usual fingering is out of tune: against an alternative, else an octave in tune.

    Only for horns with valves alone: a slide tunes itself.
    """
    if kit.horn.family == "slide":
        return []
    lip = kit.horn.lip_reach.value
    count = Counter(one.note.midi for one in kit.plan.notes if kit.can(one.usual))
    worst: list[tuple[float, Candidate]] = []
    for midi, times in count.items():
        usual = chart_choice(kit.horn, midi)
        if usual is not None and abs(usual.off_cents) > lip and kit.can(usual):
            worst.append((times * abs(usual.off_cents), usual))
    result: list[Exercise] = []
    for _, usual in sorted(worst, key=lambda item: (-item[0], item[1].midi)):
        if len(result) >= most:
            break
        better = min((one for one in candidates(kit.horn, usual.midi) if one.label != usual.label and kit.can(one)),
                     key=lambda one: abs(one.off_cents), default=None)
        name = kit.written(usual.midi).pretty
        side = "sharp" if usual.off_cents > 0 else "flat"
        if better is not None and abs(better.off_cents) < abs(usual.off_cents) - 3:
            words = (f"{shown(usual.label)} is {abs(usual.off_cents):.0f} cents {side}; {shown(better.label)} "
                     f"{_side(better)}. Hear the step, then match it.")
            covers = f"{kit.written(usual.midi).name} {usual.label} against {better.label}"
        else:
            better = next((one for midi in (usual.midi + 12, usual.midi - 12, usual.midi + 7)
                           if (one := chart_choice(kit.horn, midi)) is not None and abs(one.off_cents) <= lip
                           and kit.can(one)), None)
            if better is None:
                continue
            mend = "pull a slide or lip it down" if usual.off_cents > 0 else "lip it up"
            words = (f"{shown(usual.label)} is {abs(usual.off_cents):.0f} cents {side}, and nothing better sounds it: "
                     f"check it against {kit.written(better.midi).pretty}; {mend}.")
            covers = f"{kit.written(usual.midi).name} {usual.label} against {kit.written(better.midi).name}"
        result.append(Exercise(
            kind="tuning", title=f"In tune: {name}", words=words, tempo_bpm=SLOW_BPM, steps=(),
            measures=kit.pair(kit.grammar.drawn("tuning", kit.chance), Way(usual, _off(usual)),
                              Way(better, _off(better))), covers=(covers,)))
    return result


def _side(choice: Candidate) -> str:
    if abs(choice.off_cents) < 1:
        return "in tune"
    return f"{abs(choice.off_cents):.0f} {'sharp' if choice.off_cents > 0 else 'flat'}"
