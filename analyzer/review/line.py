"""The note-by-note review of a planned line: what lies beyond the horn, at its edges, or beyond the player."""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import median

from analyzer.analysis import Analysis, Planned
from analyzer.horns.horn import Horn
from analyzer.pitch import pitch_of
from analyzer.plan.haste import haste_said
from analyzer.plan.loads import TOO_MUCH, Load
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner
from analyzer.plan.unplayable import broken_glissandi, whose, why_not
from analyzer.review.findings import Finding, finding_at
from analyzer.review.harmony import Harmony
from analyzer.review.limits import (
    FORGIVEN_S,
    HIGH_SEMITONES,
    LOW_SEMITONES,
    PASSING_S,
    REST_S,
    STRETCH_CARE_S,
    STRETCH_NOTE_S,
    above_ceiling,
    cramped,
    outside_range,
    room_mm,
    tense,
)
from analyzer.review.remedies import Remedies
from analyzer.words import cents_text, shown

_ORDER = {"stop": 0, "care": 1, "note": 2}

Rule = Callable[[Remedies], Iterable[Finding]]
"""Looks at a whole planned line and yields what it finds, in playing order."""
CODES: set[str] = set()
"""The codes of everything that a review finds in the music; a section has words of its own, about players and seats."""
_RULES: list[Rule] = []


def rule(*codes: str) -> Callable[[Rule], Rule]:
    """Make a function a rule of every review; its findings have one of `codes`.

    This is all that a new finding needs: text, JSON, schema, pages, fit and section take it from here. At one note and
    severity, findings stand in the order of their rules.
    """
    def kept(found: Rule) -> Rule:
        CODES.update(codes)
        _RULES.append(found)
        return found

    return kept


def findings(plan: Plan, planner: Planner, *, harmony: Harmony | None = None,
             horns: Sequence[Horn] | None = None, tried: Collection[int] | None = None,
             tempos: bool = True) -> tuple[Finding, ...]:
    """Review a plan note by note.

    Parameters
    ----------
    plan, planner
        A line's plan and the planner that made it.
    harmony : Harmony, optional
        The score, for chord tones as remedies; without it none are offered.
    horns : sequence of Horn, optional
        Other horns to try; by default those that come with the project, of the same family.
    tried : collection of int, optional
        Notes for whose moves tempos and horns are tried; by default all, which may take longer than the plan.
    tempos : bool
        Look for the tempo up to which a move can be played; without, a remedy says only that there is one.

    Returns
    -------
    tuple of Finding
        In playing order; at one note the gravest first.
    """
    remedies = Remedies(plan, planner, harmony, horns, tried, tempos=tempos)
    found = [finding for rule in _RULES for finding in rule(remedies)]
    found.sort(key=lambda finding: (-1 if finding.index is None else finding.index, _ORDER[finding.severity]))
    return tuple(found)


@rule("beyond-horn", "out-of-range", "long-reach")
def _cannot_be_played(remedies: Remedies) -> Iterator[Finding]:
    yield from (_unplayable(remedies, k) for k, note in enumerate(remedies.plan.notes) if note.choice is None)


@rule("end-of-slide", "long-reach")
def _far_out(remedies: Remedies) -> Iterator[Finding]:
    horn, player = remedies.horn, remedies.player
    for k, note in enumerate(remedies.line.notes):
        choices = remedies.planner.choices[k]
        if remedies.plan.notes[k].choice is None:
            continue
        nearest = min(choices, key=lambda choice: choice.out_mm)
        name = f"{note.sounding.pretty} is"
        if (left_mm := room_mm(horn, choices)) is not None:
            care = cramped(horn, choices)
            yield finding_at(
                remedies.line, k, "end-of-slide", "care" if care else "note",
                f"{name} only in {shown(nearest.label)}, {left_mm:.0f} mm from the end of the slide",
                (*remedies.other_horns(k, better=True), *(remedies.pitches(k) if care else ())))
        elif tense(horn, player, choices):
            yield finding_at(
                remedies.line, k, "long-reach", "care",
                f"{note.sounding.pretty} in {shown(nearest.label)} is {nearest.out_mm:.0f} mm out, close to "
                f"the limit of {whose(player)} reach, {player.reach_on(horn):.0f} mm",
                (*remedies.other_horns(k, better=True), *remedies.pitches(k)))


@rule("out-of-tune")
def _out_of_tune(remedies: Remedies) -> Iterator[Finding]:
    for k, note in enumerate(remedies.plan.notes):
        choices = remedies.planner.choices[k]
        forgiven = (remedies.planner.times[k].sounds_s < FORGIVEN_S
                    and any(choice.advice is None for choice in choices))
        if note.choice is not None and note.choice.advice is not None and not forgiven:
            yield finding_at(
                remedies.line, k, "out-of-tune", "care",
                f"{note.note.sounding.pretty} as {shown(note.choice.label)} is {cents_text(note.choice.off_cents)}, "
                "more than the lip can easily bend",
                (*remedies.in_tune(k), *remedies.other_horns(k, better=True), *remedies.pitches(k)))


@rule("above-ceiling")
def _above_the_ceiling(remedies: Remedies) -> Iterator[Finding]:
    horn, player = remedies.horn, remedies.player
    for k, note in enumerate(remedies.plan.notes):
        if note.choice is not None and player.ceiling_midi is not None and above_ceiling(horn, player, note.choice):
            yield finding_at(
                remedies.line, k, "above-ceiling", "care",
                f"{note.note.sounding.pretty} needs {shown(note.choice.label)}, the attachment above {whose(player)} "
                f"ceiling of {pitch_of(player.ceiling_midi).pretty}",
                (*remedies.other_horns(k, better=True), *remedies.pitches(k)),
                more=("Raise attachment_ceiling in the player file if the teacher agrees.",))


@rule("out-of-range")
def _outside_the_range(remedies: Remedies) -> Iterator[Finding]:
    player = remedies.player
    for k, note in enumerate(remedies.line.notes):
        if remedies.plan.notes[k].choice is None or not outside_range(player, note.midi):
            continue
        below = player.low is not None and note.midi < player.low
        edge = pitch_of(player.low if below and player.low is not None else player.high or 0).pretty
        yield finding_at(
            remedies.line, k, "out-of-range", "care",
            f"{note.sounding.pretty} is {'below' if below else 'above'} {whose(player)} "
            f"{'lowest' if below else 'highest'} note, {edge}",
            remedies.pitches(k), more=("Give the note to another player.",))


def _unplayable(remedies: Remedies, k: int) -> Finding:
    line = remedies.line
    reason = why_not(remedies.horn, remedies.player, line.notes[k].midi)
    assert reason is not None, "a note without a choice has a reason"
    what = f"{line.notes[k].sounding.pretty} {reason.how}"
    if reason.code == "beyond-horn":
        offered = (*remedies.pitches(k), *remedies.other_horns(k), *remedies.tune(k))
        more = () if offered else ("Check it against the score; it may be a misprint.",)
    elif reason.code == "out-of-range":
        offered, more = (*remedies.learn(k), *remedies.pitches(k)), ("Or give the note to another player.",)
    else:
        offered, more = (*remedies.learn(k), *remedies.other_horns(k), *remedies.pitches(k)), ("Never lunge for it.",)
    return finding_at(line, k, reason.code, "stop", what, offered, more=more)


@rule("too-fast")
def _moves(remedies: Remedies) -> Iterator[Finding]:
    loads = remedies.planner.loads_of(remedies.plan)
    for by, steps in groupby(range(len(loads)), key=lambda k: loads[k].by if loads[k].most > TOO_MUCH else None):
        if by is not None:
            run = list(steps)
            yield _too_fast(remedies, run, max(run, key=lambda k: loads[k].most), loads)


def _too_fast(remedies: Remedies, run: Sequence[int], worst: int, loads: Sequence[Load]) -> Finding:
    hardest = f" (hardest of {len(run)} in a row)" if len(run) > 1 else ""
    offered = (*remedies.tempo(worst), *remedies.quicker_horns(worst))
    return finding_at(remedies.line, worst, "too-fast", "care",
                      haste_said(remedies.planner, remedies.plan.picked, worst, loads[worst]) + hardest, offered,
                      more=() if offered else ("Leave out a note before or after it, or share the passage.",))


@rule("gliss")
def _glissandi(remedies: Remedies) -> Iterator[Finding]:
    line = remedies.line
    for k in broken_glissandi(remedies.horn, line.notes, [one.choice for one in remedies.plan.notes]):
        note, after = line.notes[k], line.notes[k + 1]
        step = abs(after.midi - note.midi)
        name = f"the glissando from {note.sounding.pretty} to {after.sounding.pretty} ({step} half steps)"
        if remedies.horn.family == "slide":
            yield finding_at(line, k, "gliss", "stop",
                             f"{name} does not stay on one partial with one valve combination",
                             remedies.gliss(k), more=("Or write out the notes between, with a legato tongue.",))
        else:
            yield finding_at(line, k, "gliss", "care",
                             f"{name} has no slide to make it; valves break it into steps or a half-valve smear",
                             more=("Give it to a trombone, or write out the notes between.",))


@rule("tiring")
def _stretches(remedies: Remedies) -> Iterator[Finding]:
    pedal = remedies.horn.fundamental_midi
    yield from _zone(remedies, "low", [note.midi <= pedal + LOW_SEMITONES for note in remedies.line.notes])
    yield from _zone(remedies, "high", [note.midi >= pedal + HIGH_SEMITONES for note in remedies.line.notes])


def _zone(remedies: Remedies, name: str, inside: Sequence[bool]) -> Iterator[Finding]:
    times = remedies.planner.times
    run: list[int] = []
    passing_s = 0.0
    for k in range(len(inside) + 1):
        rested = 0 < k < len(inside) and times[k].start_s - times[k - 1].start_s - times[k - 1].sounds_s >= REST_S
        if k < len(inside) and not rested:
            if inside[k]:
                run.append(k)
                passing_s = 0.0
                continue
            passing_s += times[k].sounds_s
            if passing_s <= PASSING_S:
                continue
        if run:
            yield from _tiring(remedies, name, run)
        run = [k] if k < len(inside) and inside[k] else []
        passing_s = 0.0


def _tiring(remedies: Remedies, name: str, run: Sequence[int]) -> Iterator[Finding]:
    times, line = remedies.planner.times, remedies.line
    first, last = run[0], run[-1]
    length_s = times[last].start_s + times[last].sounds_s - times[first].start_s
    if length_s < STRETCH_NOTE_S:
        return
    centre_s = times[first].start_s + length_s / 2
    middle = min(run, key=lambda k: abs(times[k].start_s - centre_s))
    middle_pitch = pitch_of(round(median(line.notes[k].midi for k in run))).pretty
    yield finding_at(
        line, first, "tiring", "care" if length_s >= STRETCH_CARE_S else "note",
        f"{length_s:.0f} s of {name} playing (around {middle_pitch}) with no rest of {REST_S:.0f} s, through m. "
        f"{line.notes[last].measure}",
        more=(f"Rest {REST_S:.0f} s near m. {line.notes[middle].measure}, or have two players take "
              "turns.", "Practice it in two halves with a rest between."))


@dataclass(frozen=True, slots=True, kw_only=True)
class Reviewed:
    """One planned line and what was found in it."""

    planned: Planned
    findings: tuple[Finding, ...]

    @property
    def beyond(self) -> bool:
        """Whether a note lies beyond the horn."""
        return any(one.code == "beyond-horn" for one in self.findings)


def review(analysis: Analysis, horns: Sequence[Horn] | None = None) -> tuple[Reviewed, ...]:
    """Review every line of an analysis; the other parts of the score are read only if a remedy asks for its chords."""
    harmony = Harmony(analysis.document)
    return tuple(
        Reviewed(planned=one, findings=findings(one.plan, one.planner, harmony=harmony, horns=horns))
        for one in analysis.lines)
