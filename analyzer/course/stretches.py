"""Stretches of 2 to 8 measures of a line, by what the plan on the new horn asks there.

A stretch is offered only where this player can play all of it: every note within range and reach, every step within the
player's speed, every valve state brought along or a skill of the goal, no broken glissando.
"""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from analyzer.course.skills import Goal, learner_of, state_of
from analyzer.horns.candidate import Candidate
from analyzer.library.survey import Record, read_record, recorded
from analyzer.pitch import Pitch
from analyzer.plan.difficulty import difficulties
from analyzer.plan.loads import TOO_MUCH
from analyzer.plan.plan import Plan
from analyzer.plan.solve import Planner
from analyzer.plan.unplayable import broken_glissandi
from analyzer.score.document import Document
from analyzer.score.lines import Line
from analyzer.score.transposing import Reads
from analyzer.section.burden import for_alto, is_alto, takes
from analyzer.selection import Asked, asked_lines, chosen_parts

SHORTEST, LONGEST = 2, 8
"""Measures of a stretch; the contract of the course."""
FEWEST_NOTES = 4
"""Notes of a stretch at least; judged: fewer are no music."""
KEPT = 2
"""Stretches kept for each set of skills of a line; judged: the best, and one to come back to."""
COST = {
    "share": 1.0,                       # how near its hardest measure comes to the limit, 0 to 1 (a note that is
                                        # out of tune on the horn itself comes last, yet is not refused)
    "measure": 0.06,                    # each measure more or less than four: a line of print, one or two breaths
    "torn": 0.2,                        # a slur or tie cut at either end
    "note": 0.1,                        # each time of its rarest skill, up to four: less to pay for more to practice
    "section": 0.4,                     # a change of tempo or a fermata within: two ideas in one excerpt
    "other_family": 0.6,                # a line printed for another horn
    "empty": 0.5,                       # as a share of the measures without a note
}
"""Judged: prices of a stretch beside 1 for having one more on the sheet. Half or twice any of them gives the same
coverage, as coverage comes first; a teacher who would choose otherwise would change them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseWanted:
    """What is looked for in every score: a goal; and how treble-clef low brass is read."""

    goal: Goal
    reads: Reads | None = None
    parts: tuple[str, ...] = ()


@dataclass(slots=True)
class _Bar:
    """One measure: skills of its notes and moves within, of moves into it, and what stands against it."""

    inside: Counter[int] = field(default_factory=Counter)
    entering: Counter[int] = field(default_factory=Counter)
    notes: int = 0
    share: float = 0.0
    against: str = ""
    against_entering: str = ""
    torn: bool = False                  # its last note is slurred or held into the next measure
    bpm: float = 0.0                    # tempo of its first note [quarter notes a minute]
    fermata: bool = False


def course_bytes(name: str, data: bytes, wanted: CourseWanted) -> Record:
    """Look at one score; as `survey_bytes`, with a row for each line: its stretches, and skills seen at all.

    Raises
    ------
    MemoryError
        If there is not enough memory; nothing else is raised.
    """
    return recorded(name, data, lambda document: _record(document, wanted), glance=not wanted.parts)


def _record(document: Document, wanted: CourseWanted) -> Record:
    parts, problems = chosen_parts(document, wanted.parts)
    lines, more = asked_lines(document, parts, reads=wanted.reads)
    rows = [line_row(asked, wanted.goal) for asked in lines
            if asked.line.notes and not (for_alto(asked.line) and not is_alto(wanted.goal.after))]
    return read_record(document, rows, [*problems, *more])


def line_row(asked: Asked, goal: Goal) -> Record:
    """Plan a line on the new horn and return its row: `stretches` and, in `seen`, skills with the first place."""
    line = asked.line
    planner = Planner(line, goal.after, learner_of(goal.player))
    plan = planner.outline()
    bars, seen = _bars(planner, plan, goal)
    own = takes(goal.after, line.family)
    return {"part_id": line.part_id, "part": line.part_name, "line": line.number, "of": line.of,
            "family": line.family, "clefs": sorted({note.clef for note in line.notes}),
            "seen": {goal.skills[k].id: _place(line, bars, where) for k, where in seen.items()},
            "stretches": _stretches(line, bars, goal, own)}


def _place(line: Line, bars: dict[int, _Bar], index: int) -> list[str]:
    """Return the number of a measure, and what stands against playing it or the ones beside it."""
    number = next((measure.number for measure in line.measures if measure.index == index), "")
    against = [bars[near].against or bars[near].against_entering for near in (index, index - 1, index + 1)
               if near in bars]
    return [number, next((why for why in against if why), "")]


def staff_step(written: Pitch, sounding: Pitch, goal: Goal) -> int | None:
    """Return where a note stands on the staff of the clef to be learned, 0 the bottom line; None without one."""
    if goal.clef is None:
        return None
    names = "CDEFGAB"
    here = sounding.octave * 7 + names.index(sounding.step) + (8 if goal.clef == "treble-b-flat" else 0)
    return goal.step(here)


def _bars(planner: Planner, plan: Plan, goal: Goal) -> tuple[dict[int, _Bar], dict[int, int]]:
    line, player = planner.line, goal.player
    bars: dict[int, _Bar] = defaultdict(_Bar)
    seen: dict[int, int] = {}
    loads = planner.loads_of(plan)
    shares = {one.measure_index: one.share for one in difficulties(planner, plan)}
    broken = set(broken_glissandi(planner.horn, line.notes, [one.choice for one in plan.notes]))
    steps = [staff_step(note.written, note.sounding, goal) for note in line.notes]
    for k, one in enumerate(plan.notes):
        bar = bars[one.note.measure_index]
        bar.notes += 1
        bar.bpm = bar.bpm or one.time.bpm
        bar.fermata = bar.fermata or one.note.fermata
        bar.share = shares.get(one.note.measure_index, 0.0)
        bar.torn = one.note.slur_after or (
            one.note.onset + one.note.duration > line.measures[0].onset and _held_over(line, k))
        if one.choice is None:
            bar.against = bar.against or "a note there cannot be played"
            continue
        found = [nth for nth, skill in enumerate(goal.skills) if skill.has_note(one.note.midi, one.choice, steps[k])]
        if state_of(one.choice) not in goal.known and not any(
                goal.skills[nth].road != "clef" for nth in found) and not _was_done(goal, one.note.midi, one.choice):
            bar.against = bar.against or f"{one.choice.label} there is neither learned nor part of this course"
        if (player.low is not None and one.note.midi < player.low) or (
                player.high is not None and one.note.midi > player.high):
            bar.against = bar.against or "a note there lies outside this player's range"
        if k in broken:
            bar.against = bar.against or "a glissando there breaks on this horn"
        for nth in found:
            bar.inside[nth] += 1
            seen.setdefault(nth, one.note.measure_index)
    for k, (before, after) in enumerate(pairwise(plan.notes)):
        if before.choice is None or after.choice is None:
            continue
        bar = bars[after.note.measure_index]
        same = before.note.measure_index == after.note.measure_index
        gap_s = planner.times[k].next_s
        here, there = steps[k], steps[k + 1]
        leap = None if here is None or there is None else there - here
        for nth, skill in enumerate(goal.skills):
            if skill.has_move(before.choice, after.choice, gap_s, leap):
                (bar.inside if same else bar.entering)[nth] += 1
                seen.setdefault(nth, after.note.measure_index)
        if loads[k].most > TOO_MUCH:
            if same:
                bar.against = bar.against or "a move there is faster than this player's limit"
            else:
                bar.against_entering = "a move there is faster than this player's limit"
    return bars, seen


def _held_over(line: Line, k: int) -> bool:
    """Tell whether a note sounds into the next measure."""
    note = line.notes[k]
    measure = next((one for one in line.measures if one.index == note.measure_index), None)
    return measure is not None and note.onset + note.duration > measure.onset + measure.duration


def _was_done(goal: Goal, midi: int, choice: Candidate) -> bool:
    return any(skill.has_note(midi, choice, None) for skill in goal.done if skill.road != "clef")


def _stretches(line: Line, bars: dict[int, _Bar], goal: Goal, own: bool) -> list[Record]:
    numbers = Counter(measure.number for measure in line.measures)
    empty = _Bar()
    best: dict[tuple[int, ...], list[tuple[float, int, Record]]] = defaultdict(list)
    for start, first in enumerate(line.measures):
        opening = bars.get(first.index, empty)
        if not opening.notes or numbers[first.number] > 1:
            continue
        torn_in = start > 0 and bars.get(line.measures[start - 1].index, empty).torn
        counts: Counter[int] = Counter()
        notes, silent, share, parted, rests_on = 0, 0, 0.0, False, False
        for place in range(start, min(start + LONGEST, len(line.measures))):
            measure = line.measures[place]
            bar = bars.get(measure.index, empty)
            if bar.against or (place > start and bar.against_entering):
                break
            counts.update(bar.inside)
            if place > start:
                counts.update(bar.entering)
                parted = parted or rests_on or (bar.notes > 0 and bar.bpm != opening.bpm)
            rests_on = bar.fermata
            notes += bar.notes
            silent += not bar.notes
            share = max(share, bar.share)
            count = place - start + 1
            if (count < SHORTEST or notes < FEWEST_NOTES or not bar.notes or numbers[measure.number] > 1
                    or 2 * silent > count):
                continue
            needs = tuple(sorted(nth for nth, times in counts.items() if times))
            cost = (COST["share"] * min(share, 1.0) + COST["measure"] * abs(count - 4)
                    + COST["torn"] * (torn_in + bar.torn) + COST["empty"] * silent / count
                    + COST["section"] * parted + COST["other_family"] * (not own)
                    - COST["note"] * min((min(4, counts[nth]) for nth in needs), default=0))
            best[needs].append((round(cost, 4), start, {
                "first": first.number, "last": measure.number, "from": first.index, "to": measure.index,
                "needs": [goal.skills[nth].id for nth in needs],
                "counts": {goal.skills[nth].id: counts[nth] for nth in needs}, "notes": notes,
                "share": round(share, 3), "cost": round(cost, 4)}))
            if len(best[needs]) > 40:
                best[needs] = _apart(best[needs])
    return [record for needs in sorted(best) for _, _, record in _apart(best[needs])]


def _apart(found: Sequence[tuple[float, int, Record]]) -> list[tuple[float, int, Record]]:
    """Return the cheapest, and the next that does not overlap it."""
    kept: list[tuple[float, int, Record]] = []
    for one in sorted(found, key=lambda one: one[:2]):
        if all(one[2]["from"] > other[2]["to"] or one[2]["to"] < other[2]["from"] for other in kept):
            kept.append(one)
        if len(kept) == KEPT:
            break
    return kept
