"""A practice sheet in words: text and calendar."""

import datetime as dt
from collections.abc import Sequence

from analyzer.plan.progress import move_text
from analyzer.practice.builder import BEATS
from analyzer.practice.drills import RECALL_OFFER, WARM_UP, Drills
from analyzer.practice.moves import PracticeMove, hard_moves
from analyzer.practice.weeks import MINUTES, Day
from analyzer.report.blocks import Block, Cautions, Gap, Head, Said, as_text
from analyzer.report.drill.sheet import part_name, sheet_title
from analyzer.report.heading import supposed_text
from analyzer.words import cents_text, shown


def drill_text(drills: Drills, days: Sequence[Day] = ()) -> str:
    """Return the drills in words: the hard moves, the exercises, the weeks, the cautions."""
    return as_text(drill_blocks(drills, days))


def drill_blocks(drills: Drills, days: Sequence[Day] = ()) -> list[Block]:
    """Return the parts of the drills: hard moves, exercises, what comes from memory, weeks, cautions."""
    plan = drills.planned.plan
    out: list[Block] = [
        Said(f"{part_name(drills)}, {plan.horn.description}", strong=True),
        *([Said(supposed)] if (supposed := supposed_text(drills.planned)) else ()),
        Head("Hard moves" if any(move.kinds for move in drills.moves) else "No move is hard; the hardest are")]
    hard = [Said(_said(move), indent=2) for move in hard_moves(drills.moves)[:8]]
    out += hard or [Said("none", indent=2)]
    if drills.secure:
        out.append(Said(f"left out as secure: {', '.join(move_text(pair) for pair in drills.secure)}", indent=2))
    out.append(Head(f"Exercises ({WARM_UP[:1].lower()}{WARM_UP[1:].rstrip('.')})"))
    for place, exercise in enumerate(drills.exercises, 1):
        goal = f" to {exercise.steps[-1]}" if len(exercise.steps) > 1 else ""
        out.append(Said(f"{place}. {exercise.title} ({len(exercise.measures)} measures, "
                        f"{BEATS.get(exercise.beat, 'beat')} = {exercise.tempo_bpm}{goal})", indent=2))
    if drills.recall:
        after = ", ".join(str(day) for day in drills.recall[0].after_days)
        out += [Gap(), Said(f"From memory, after {after} days. {RECALL_OFFER}"),
                *(Said(one.ask, indent=2) for one in drills.recall)]
    for day in days:
        goals = "; ".join(title + (f" at {goal}" if goal else "")
                          for title, goal in zip(day.titles, day.tempi, strict=True))
        out += [*([Head("Weeks")] if day is days[0] else []),
                Said(f"week {day.week}, day {day.day % 7 + 1}: {goals}", indent=2)]
        out += [Said(f"from memory, if you like: {ask}", indent=6) for ask in day.recall]
    out += [Gap(), *map(Said, drills.remarks)] if drills.remarks else []
    return [*out, Cautions(drills.cautions)]


def _said(move: PracticeMove) -> str:
    facts = [f"{move.count}×", f"measure {move.measures[0]}" + (" and others" if len(move.measures) > 1 else "")]
    if move.distance_mm:
        facts.append(f"{move.distance_mm / 10:.0f} cm in {move.gap_s:.2f} s")
    if "tune" in move.kinds:
        facts.append(cents_text(move.off_cents))
    names = ", ".join({"tune": "out of tune"}.get(kind, kind) for kind in move.kinds)
    return (f"{move.before_pitch.pretty} ({shown(move.before.label)}) to {move.after_pitch.pretty} "
            f"({shown(move.after.label)}): {', '.join(facts)}{f' [{names}]' if names else ''}")


def calendar_ics(drills: Drills, days: Sequence[Day], start: dt.date) -> bytes:
    """Return the practice days from `start` on as a calendar; equal input gives equal bytes.

    Raises
    ------
    ImportError
        If icalendar (extra `build`) is not installed.
    """
    from icalendar import Calendar, Event

    calendar = Calendar()
    calendar.add("prodid", "-//lowbrass//drill//EN")
    calendar.add("version", "2.0")
    # The format wants the moment of making; there is no clock here, so the first day stands for it.
    stamp = dt.datetime(start.year, start.month, start.day, tzinfo=dt.UTC)
    for number, day in enumerate(days, 1):
        date = start + dt.timedelta(days=day.day)
        goals = [title + (f" (metronome {goal})" if goal else "")
                 for title, goal in zip(day.titles, day.tempi, strict=True)]
        event = Event()
        event.add("uid", f"{start:%Y%m%d}-{number}-{drills.planned.part.id}@lowbrass")
        event.add("dtstamp", stamp)
        event.add("dtstart", date)
        event.add("dtend", date + dt.timedelta(days=1))
        event.add("summary", f"{sheet_title(drills)}: week {day.week}, about {MINUTES} minutes")
        event.add("description", "\n".join([*goals, *(f"From memory, if you like: {ask}" for ask in day.recall),
                                            *drills.cautions]))
        calendar.add_component(event)
    return bytes(calendar.to_ical())
