"""The map as text: one paragraph for the whole score, a few sentences a line, and every note where it is asked for."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import groupby
from textwrap import fill

from analyzer import cautions
from analyzer.analysis import Analysis, Planned
from analyzer.marking.which import aim_said
from analyzer.plan.axes import axes
from analyzer.plan.difficulty import MeasureDifficulty, difficulties
from analyzer.plan.plan import AlternateGroup, PlannedNote
from analyzer.plan.slurs import slurs_said
from analyzer.plan.summary import missing, sentences, tempo_text, too_fast
from analyzer.plan.variants import pins_of, variants
from analyzer.report.heading import heading, supposed_text
from analyzer.report.map.document import MOST_VARIANTS, what_differs
from analyzer.report.typical import cents_said, slide_said
from analyzer.words import counted, first_few, measures_named, shown

_MOST_LINES = 4
"""Lines that the paragraph names for one thing; the lines themselves name all."""


def map_text(analysis: Analysis, *, notes: bool = False, width: int = 100, plans: int = 0) -> str:
    """Return the answer first: the score in a paragraph, then its lines; with `notes`, every note and every caution.

    With `plans`, up to that many plans of another pattern follow each line.
    """
    hard = [difficulties(one.planner, one.plan) for one in analysis.lines]
    horns = list(dict.fromkeys(one.plan.horn for one in analysis.lines if one.plan.notes))
    asked = " ".join(filter(None, (slide_said(horns), cents_said(horns) if notes and horns else "")))
    out = [fill(_score_paragraph(analysis, hard), width), *fill(asked, width).splitlines(),
           *(_line_text(one, found, notes, width, plans) for one, found in zip(analysis.lines, hard, strict=True))]
    if notes:
        out += [f"Caution: {line}" for line in analysis.cautions]
    else:
        out += [f"Caution: {cautions.IN_SHORT} {counted(len(analysis.cautions), 'caution')} in all, and every note: "
                "add --notes, or write a page with -o FILE.html."]
    return "\n".join(out)


def _score_paragraph(analysis: Analysis, hard: Sequence[Sequence[MeasureDifficulty]]) -> str:
    """Return the whole score in a paragraph; `hard` holds the measures of each line.

    Title, tempo asked, what cannot be played where, what is too fast where, top tempo in the printed beat.
    """
    lines = [one for one in analysis.lines if one.plan.notes]
    title = analysis.document.title or analysis.document.name
    total = sum(len(one.plan.notes) for one in lines)
    said = [f"{title}: {counted(len(analysis.lines), 'line')} with {counted(total, 'note')}."]
    if not lines:
        return f"{said[0]} There is nothing to play here."
    said.append(f"Tempo: {_tempo_asked(lines)}.")
    gone = [(one, found) for one in lines if (found := missing(one.plan))]
    said.append(f"Cannot be played: {_by_line(gone, len(lines))}." if gone else "Every note can be played.")
    fast = [(one, measures_named(hasty, 6)) for one, found in zip(analysis.lines, hard, strict=True)
            if one.plan.notes and (hasty := too_fast(found))]
    said.append(f"Too fast at this tempo: {_by_line(fast, len(lines))}." if fast else "Nothing is too fast.")
    return " ".join([*said, _top_tempo(lines)])


def _by_line(found: Sequence[tuple[Planned, str]], of: int) -> str:
    """Name what was found with its line, where the score has several."""
    return first_few([f"{_short(one)} {what}" if of > 1 else what for one, what in found], _MOST_LINES, mark="; ")


def _short(one: Planned) -> str:
    """Return the name of a line without its horn."""
    whose = f" ({one.plan.line.whose})" if one.plan.line.whose else ""
    return f"{one.part.full_name or one.part.name or one.part.id}{whose}"


def _tempo_asked(lines: Sequence[Planned]) -> str:
    """Return the tempo in the printed beat, from the slowest to the fastest where it changes."""
    tempi: dict[str, tuple[float, str]] = {}
    for one in lines:
        for bpm, group in groupby(one.plan.notes, key=lambda note: note.time.bpm):
            told = tempo_text(one.plan.line, next(group).note.onset, bpm)
            tempi.setdefault(told, (bpm, told))
    ranked = [told for _, told in sorted(tempi.values())]
    supposed = " (assumed)" if any(found.about == "tempo" for one in lines for found in one.assumptions) else ""
    first, last = ranked[0], ranked[-1]
    if first.split(" = ")[0] == last.split(" = ")[0]:
        last = last.split(" = ")[1]
    return (first if len(ranked) == 1 else f"{first} to {last}") + supposed


def _top_tempo(lines: Sequence[Planned]) -> str:
    """Say up to which tempo the line that gives in first can be played, and where."""
    held = [(ceiling_bpm / one.plan.notes[one.plan.hardest[0]].time.bpm, k, ceiling_bpm) for k, one in enumerate(lines)
            if one.plan.hardest and (ceiling_bpm := one.plan.totals.tempo_ceiling_bpm) is not None]
    if not held:
        return "Nothing limits the tempo."
    _, k, ceiling_bpm = min(held)
    plan = lines[k].plan
    note = plan.notes[plan.hardest[0]].note
    where = f"{_short(lines[k])}, m. {note.measure}" if len(lines) > 1 else f"m. {note.measure}"
    return f"Top tempo: about {tempo_text(plan.line, note.onset, ceiling_bpm)} ({where})."


def _line_text(one: Planned, hard: Sequence[MeasureDifficulty], notes: bool, width: int, plans: int) -> str:
    plan = one.plan
    out = ["", heading(one), "=" * min(width, len(heading(one))), *fill(supposed_text(one), width).splitlines(),
           *fill(" ".join(sentences(plan, hard)), width).splitlines(),
           *fill(slurs_said(plan), width).splitlines(), *([] if notes else _problems(one, width)), ""]
    if notes:
        begins = {group.first: group for group in plan.groups}
        for _, measure in groupby(plan.notes, key=lambda note: note.note.measure_index):
            out += _measure_text(list(measure), begins, width)
        if any(aim_said(note) for note in plan.notes):
            out += fill("In, out: how far the slide moves from its usual place for the chord, in mm.",
                        width).splitlines()
        out += ["", *_axes_text(one, width)]
    if plans > 1:
        out += _variants_text(one, plans, width)
    return "\n".join(out)


def _axes_text(one: Planned, width: int) -> list[str]:
    """What makes the line hard, axis by axis: where, how near the player's limit, and why; never one grade."""
    out = ["What it asks for (100 % is this player's limit):"] if one.plan.notes else []
    for axis in axes(one.planner, one.plan):
        share = "" if axis.share is None else f", {100 * axis.share:.0f} %"
        out += fill(f"{axis.axis}, m. {axis.measure}{share}: {axis.reason}", width, initial_indent="  ",
                    subsequent_indent="    ").splitlines()
    return [*out, ""] if out else []


def _problems(one: Planned, width: int) -> list[str]:
    """Say each problem of the notes once, with its measures."""
    places: dict[tuple[str, str], list[str]] = defaultdict(list)
    for note in one.plan.notes:
        if note.problem:
            places[note.problem.what, note.problem.try_].append(note.note.measure)
    out = []
    for (what, way), where in places.items():
        named = list(dict.fromkeys(where))
        lead = f"! {'m.' if len(named) == 1 else 'mm.'} {first_few(named, 8)}"
        out += fill(f"{lead}: {what}. {way}", width, initial_indent="  ", subsequent_indent="    ").splitlines()
    return out


def _variants_text(one: Planned, plans: int, width: int) -> list[str]:
    others = variants(one.planner, min(plans, MOST_VARIANTS), pins_of(one.plan))[1:]
    if not others:
        return ["No other plan really differs: there is no other way, or it is pinned.", ""]
    out = []
    for number, other in enumerate(others, 2):
        slide = f", slide travel {other.travel_mm / 1000:.1f} m" if other.travel_mm is not None else ""
        said = (f"Plan {number}: cost {other.cost:.1f}, {other.cost - one.plan.cost:.1f} more than the best{slide}, "
                f"valve changes {other.valve_changes}. {what_differs(one.plan, other)}")
        out.append(fill(said, width, subsequent_indent="        "))
    return [*out, ""]


def _measure_text(notes: Sequence[PlannedNote], begins: Mapping[int, AlternateGroup], width: int) -> list[str]:
    cells = []
    for note in notes:
        label = shown(note.choice.label) if note.choice else "×"
        aim = aim_said(note)
        cells.append((note.note.written.pretty, f"{label}{'*' if note.changed else ''}{f' {aim}' if aim else ''}"))
    lead = f"m. {notes[0].note.measure}"
    out: list[str] = []
    upper, lower = f"{lead:<8}", " " * 8
    for name, label in cells:
        wide = max(len(name), len(label)) + 2
        if len(upper) + wide > width:
            out += [upper.rstrip(), lower.rstrip()]
            upper, lower = " " * 8, " " * 8
        upper += f"{name:<{wide}}"
        lower += f"{label:<{wide}}"
    out += [upper.rstrip(), lower.rstrip()]
    for number, note in enumerate(notes, 1):
        if note.problem:
            out.append(f"        ! note {number}: {note.problem.what}. {note.problem.try_}")
        if group := begins.get(note.index):
            out += fill(f"* {_members(notes, number, group)}: {group.why}", width, initial_indent=" " * 8,
                        subsequent_indent=" " * 10).splitlines()
    return out


def _members(notes: Sequence[PlannedNote], number: int, group: AlternateGroup) -> str:
    """Name the notes of a group that begins with the note `number` (from 1) of a measure, and their labels."""
    labels = " ".join(shown(label) for label in group.labels)
    first, last = notes[number - 1], number + group.last - group.first
    if last == number:
        how = "in" if first.choice and first.choice.position is not None else "with"
        return f"note {number}, {first.note.written.pretty} {how} {labels}"
    if last <= len(notes):
        return f"notes {number} to {last}, {labels}"
    return f"note {number} to m. {group.measures[1]}, {labels}"
