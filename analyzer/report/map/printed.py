"""A line as a printed part: what stands at its head, the tempo it was planned at, its own notes and marks alone.

Headings, running heads and measure numbers follow *Guidelines for Music Preparation* (Major Orchestra Librarians'
Association); what it leaves open is common practice, no source.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from analyzer.analysis import Analysis, Planned
from analyzer.engrave.copy import Copy, engraving_copy
from analyzer.engrave.tempo import METRONOME_DOT, METRONOME_NOTES
from analyzer.marking.mark import Mark
from analyzer.marking.which import Which, marks
from analyzer.report.map.page import name_of
from analyzer.score.document import Document
from analyzer.score.timeline import Beat
from analyzer.score.vocabulary import one_line
from analyzer.writing.sheet import Own, own_sheet

_SHORT = 48
"""Letters of a title in a running head; judged: with part and page it fits one line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """What stands at the head of a part: `below` small under its name, `running` on its further pages."""

    title: str
    movement: str
    part: str
    below: str
    running: str


def part_copy(analysis: Analysis, one: Planned, which: Which, *, measures: tuple[int, int] | None = None,
              plain: bool = False, notice: str = "") -> Copy:
    """Return a line ready to be engraved as its player reads it: nobody else's notes, its tempo, its heading.

    Parameters
    ----------
    analysis, one : Analysis, Planned
        The line, of that analysis.
    which : str
        Which notes are marked.
    measures : (int, int), optional
        First and last measure index; those of the line where left out.
    plain : bool
        Without heading and tempo, for excerpts.
    notice : str
        Printed at the foot of the first page.
    """
    own = own_of(analysis.document, one)
    wanted: Sequence[Mark] = marks([one], which)
    if own.document is not analysis.document:
        wanted = [replace(mark, part_id=own.part_id, ref=own.refs[mark.ref]) for mark in wanted]
    told = one.plan.line.measures
    if measures is None and told and len(told) < len(analysis.document.part_measures(one.part.id)):
        measures = told[0].index, told[-1].index
    tempo, throughout = tempo_of(one)
    if plain:
        return engraving_copy(own.document, own.part_id, wanted, measures=measures, own_tempo=throughout)
    head = head_of(analysis.document, one)
    return engraving_copy(own.document, own.part_id, wanted, measures=measures, title=head.title, part=head.part,
                          movement=head.movement, subtitle=head.below, running=head.running, tempo=tempo,
                          own_tempo=throughout, notice=notice)


def own_of(document: Document, one: Planned) -> Own:
    """Return the score that a line is engraved from, and where its notes stand in it."""
    line = one.plan.line
    span = (line.measures[0].index, line.measures[-1].index) if line.measures else ()
    key = f"own sheet {line.part_id} {line.number} {line.of} {line.player} {span} {len(line.notes)}"
    if key not in document.memo:
        document.memo[key] = own_sheet(document, line)
    found: Own = document.memo[key]
    return found


def head_of(document: Document, one: Planned) -> Head:
    """Return the heading of a part: title and movement, part, horn and player, and what was supposed."""
    root = document.root
    work, movement = one_line(root.findtext("work/work-title")), one_line(root.findtext("movement-title"))
    if not (work and movement and movement.casefold() not in work.casefold()):
        work, movement = document.title, ""
    title = work or Path(document.name).stem
    plan, player = one.plan, one.plan.player
    name = player.name if player.name != "player" else ""
    kind = "Positions" if plan.horn.family == "slide" else "Valves"
    said = [f"{kind} for: {plan.horn.description}", *([f"for {name}"] if name else [])]
    assumed = []
    for found in one.assumptions:
        if found.about == "transposition":
            assumed.append("concert pitch" if found.value == "concert" else "treble clef in B♭")
        elif found.about == "horn":
            assumed.append("horn")
        elif found.about == "players":
            assumed.append("who plays which note")
        elif found.about == "swing":
            assumed.append(found.value)
    if assumed:
        said.append(f"supposed: {', '.join(dict.fromkeys(assumed))}")
    if not work:
        said.append("no title in the score, this is the file's name")
    part = name_of(one)
    short = title if len(title) <= _SHORT else f"{title[:_SHORT].rsplit(' ', 1)[0]} …"
    return Head(title=title, movement=movement, part=part, below=" · ".join(said),
                running=" · ".join(text for text in (short, part, name) if text))


def tempo_of(one: Planned) -> tuple[str, bool]:
    """Return the tempo to print over the first measure, and whether it holds throughout.

    Nothing where the score prints the tempo that the line was planned at.
    """
    line = one.plan.line
    if not line.notes:
        return "", False
    start = line.notes[0].onset
    first = min(start, line.measures[0].onset) if line.measures else start
    beat = line.beat_at(first)
    before = [tempo for tempo in line.tempi if tempo.onset <= start]
    asked = one.planner.tempo_bpm
    if asked:
        told = before[-1] if before else line.tempi[0] if line.tempi else None
        if told and round(told.bpm) == round(asked):
            alike = all(round(tempo.bpm) == round(asked) for tempo in line.tempi)
            return ("", False) if alike else (f"{sign_of(beat)} = {asked / float(beat.quarters):.0f} throughout", True)
        score = f"score: {told.bpm / float(beat.quarters):.0f}" if told else "score: none"
        return f"{sign_of(beat)} = {asked / float(beat.quarters):.0f} ({score})", True
    if before and not before[-1].playback and not before[-1].word:
        return "", False
    bpm = before[-1].bpm if before else line.tempi[0].bpm if line.tempi else one.planner.weights.default_bpm
    return f"({sign_of(beat)} = {bpm / float(beat.quarters):.0f} supposed)", False


def sign_of(beat: Beat) -> str:
    """Return a beat as metronome marks show it."""
    return METRONOME_NOTES.get(beat.unit, METRONOME_NOTES["quarter"]) + METRONOME_DOT * beat.dots
