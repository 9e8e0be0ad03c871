"""The note-by-note review of a planned line: what lies beyond the horn, at its edges, or beyond the player."""

from collections.abc import Iterator, Sequence
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
    END_CARE_MM,
    FORGIVEN_S,
    HIGH_SEMITONES,
    LOW_SEMITONES,
    PASSING_S,
    REST_S,
    STRETCH_CARE_S,
    STRETCH_NOTE_S,
    above_ceiling,
    outside_range,
    room_mm,
    tense,
)
from analyzer.review.remedies import Remedies
from analyzer.words import cents_text, shown

_ORDER = {"stop": 0, "care": 1, "note": 2}


def findings(plan: Plan, planner: Planner, *, harmony: Harmony | None = None,
             horns: Sequence[Horn] | None = None) -> tuple[Finding, ...]:
    """Review a plan note by note.

    Parameters
    ----------
    plan, planner
        A line's plan and the planner that made it.
    harmony : Harmony, optional
        The score, for chord tones as remedies; without it none are offered.
    horns : sequence of Horn, optional
        Other horns to try; by default those that come with the project, of the same family.

    Returns
    -------
    tuple of Finding
        In playing order; at one note the gravest first.
    """
    ways = Remedies(plan, planner, harmony, horns)
    found = [*_notes(ways), *_moves(ways), *_glissandi(ways), *_stretches(ways)]
    found.sort(key=lambda one: (-1 if one.index is None else one.index, _ORDER[one.severity]))
    return tuple(found)


def _notes(ways: Remedies) -> Iterator[Finding]:
    for k in range(len(ways.line.notes)):
        yield from _note(ways, k)


def _note(ways: Remedies, k: int) -> Iterator[Finding]:
    plan, horn, player, line = ways.plan, ways.horn, ways.player, ways.line
    note, choices = line.notes[k], ways.planner.choices[k]
    name = note.sounding.pretty
    planned = plan.notes[k].choice
    outside = outside_range(player, note.midi)
    if planned is None:
        yield _unplayable(ways, k)
    elif (left_mm := room_mm(horn, choices)) is not None:
        nearest = min(choices, key=lambda one: one.out_mm)
        yield finding_at(
            line, k, "end-of-slide", "care" if left_mm < END_CARE_MM else "note",
            f"{name} lies only in {shown(nearest.label)}, with {left_mm:.0f} mm of slide left beyond it",
            (*ways.other_horns(k, better=True), *(ways.pitches(k) if left_mm < END_CARE_MM else ())))
    elif tense(horn, player, choices):
        nearest = min(choices, key=lambda one: one.out_mm)
        yield finding_at(
            line, k, "long-reach", "care",
            f"{name} in {shown(nearest.label)} takes the slide {nearest.out_mm:.0f} mm out, the last bit of "
            f"{whose(player)} comfortable {player.reach_on(horn):.0f} mm",
            (*ways.other_horns(k, better=True), *ways.pitches(k)))
    forgiven = ways.planner.times[k].sounds_s < FORGIVEN_S and any(one.advice is None for one in choices)
    if planned is not None and planned.advice is not None and not forgiven:
        yield finding_at(
            line, k, "out-of-tune", "care",
            f"{name} as {shown(planned.label)} is {cents_text(planned.off_cents)}, more than the lip bends "
            "with ease", (*ways.in_tune(k), *ways.other_horns(k, better=True), *ways.pitches(k)))
    if planned is not None and player.ceiling_midi is not None and above_ceiling(horn, player, planned):
        yield finding_at(
            line, k, "above-ceiling", "care",
            f"{name} needs {shown(planned.label)}, the attachment above {whose(player)} ceiling of "
            f"{pitch_of(player.ceiling_midi).pretty}", (*ways.other_horns(k, better=True), *ways.pitches(k)),
            more=("Raise attachment_ceiling in the player file if the teacher agrees.",))
    if outside and planned is not None:
        low, high = player.low, player.high
        below = low is not None and note.midi < low
        edge = pitch_of(low if below and low is not None else high or 0).pretty
        yield finding_at(
            line, k, "out-of-range", "care",
            f"{name} is {'below' if below else 'above'} {whose(player)} {'lowest' if below else 'highest'} note, "
            f"{edge}", ways.pitches(k), more=("Give the note to another player.",))


def _unplayable(ways: Remedies, k: int) -> Finding:
    line = ways.line
    reason = why_not(ways.horn, ways.player, line.notes[k].midi)
    assert reason is not None, "a note without a choice has a reason"
    what = f"{line.notes[k].sounding.pretty} {reason.how}"
    if reason.code == "beyond-horn":
        remedies = (*ways.pitches(k), *ways.other_horns(k), *ways.tune(k))
        more = () if remedies else ("Check it against the score; it may be a misprint.",)
    elif reason.code == "out-of-range":
        remedies, more = (*ways.learn(k), *ways.pitches(k)), ("Or give the note to another player.",)
    else:
        remedies, more = (*ways.learn(k), *ways.other_horns(k), *ways.pitches(k)), ("Never lunge for it.",)
    return finding_at(line, k, reason.code, "stop", what, remedies, more=more)


def _moves(ways: Remedies) -> Iterator[Finding]:
    loads = ways.planner.loads_of(ways.plan)
    for by, steps in groupby(range(len(loads)), key=lambda k: loads[k].by if loads[k].most > TOO_MUCH else None):
        if by is not None:
            run = list(steps)
            yield _too_fast(ways, run, max(run, key=lambda k: loads[k].most), loads)


def _too_fast(ways: Remedies, run: Sequence[int], worst: int, loads: Sequence[Load]) -> Finding:
    hardest = f" (hardest of {len(run)} in a row)" if len(run) > 1 else ""
    remedies = (*ways.tempo(worst), *ways.quicker_horns(worst))
    return finding_at(ways.line, worst, "too-fast", "care",
                      haste_said(ways.planner, ways.plan, worst, loads[worst]) + hardest, remedies,
                      more=() if remedies else ("Leave out a note before or after it, or share the passage.",))


def _glissandi(ways: Remedies) -> Iterator[Finding]:
    line = ways.line
    for k in broken_glissandi(ways.horn, line.notes, [one.choice for one in ways.plan.notes]):
        note, after = line.notes[k], line.notes[k + 1]
        step = abs(after.midi - note.midi)
        name = f"the glissando from {note.sounding.pretty} to {after.sounding.pretty} ({step} semitones)"
        if ways.horn.family == "slide":
            yield finding_at(line, k, "gliss", "stop", f"{name} does not stay on one partial and one valve state",
                             ways.gliss(k), more=("Or write the notes between, to be tongued softly.",))
        else:
            yield finding_at(line, k, "gliss", "care",
                             f"{name} has no slide to make it; valves break it into steps or smear it half-pressed",
                             more=("Give it to a trombone, or write the notes between.",))


def _stretches(ways: Remedies) -> Iterator[Finding]:
    pedal = ways.horn.fundamental_midi
    yield from _zone(ways, "low", [note.midi <= pedal + LOW_SEMITONES for note in ways.line.notes])
    yield from _zone(ways, "high", [note.midi >= pedal + HIGH_SEMITONES for note in ways.line.notes])


def _zone(ways: Remedies, name: str, inside: Sequence[bool]) -> Iterator[Finding]:
    times = ways.planner.times
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
            yield from _tiring(ways, name, run)
        run = [k] if k < len(inside) and inside[k] else []
        passing_s = 0.0


def _tiring(ways: Remedies, name: str, run: Sequence[int]) -> Iterator[Finding]:
    times, line = ways.planner.times, ways.line
    first, last = run[0], run[-1]
    length_s = times[last].start_s + times[last].sounds_s - times[first].start_s
    if length_s < STRETCH_NOTE_S:
        return
    centre_s = times[first].start_s + length_s / 2
    middle = min(run, key=lambda k: abs(times[k].start_s - centre_s))
    middle_pitch = pitch_of(round(median(line.notes[k].midi for k in run))).pretty
    yield finding_at(
        line, first, "tiring", "care" if length_s >= STRETCH_CARE_S else "note",
        f"{length_s:.0f} seconds {name} (about {middle_pitch}) without a rest of {REST_S:.0f} seconds, to measure "
        f"{line.notes[last].measure}",
        more=(f"Leave {REST_S:.0f} seconds out about measure {line.notes[middle].measure}, or let two players take "
              "turns.", "Practise it in halves, with rests between."))


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
