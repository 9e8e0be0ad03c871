"""What was supposed for one planned line (tempo, swing, transposition, horn, repeats, players), and what is doubtful.

One place for every door, so that text, JSON, page and paper say the same.
"""

from collections.abc import Iterator
from fractions import Fraction

from analyzer.assumption import Assumption
from analyzer.horns.profiles import load_horn
from analyzer.plan.solve import Planner
from analyzer.plan.weights import Weights, default_weights
from analyzer.problem import Problem
from analyzer.score.lines import Line
from analyzer.score.parts import PartInfo
from analyzer.score.timeline import Tempo
from analyzer.selection import DEFAULT_HORN


def assumptions_of(part: PartInfo, planner: Planner, *, assumed: bool) -> tuple[Assumption, ...]:
    """Return what was supposed for a line; `assumed` tells whether nobody named its horn."""
    horn = _horn(part, planner, assumed)
    return (*of_line(planner.line, planner.tempo_bpm, planner.weights), *((horn,) if horn else ()))


def of_line(line: Line, tempo_bpm: float | None = None, weights: Weights | None = None) -> tuple[Assumption, ...]:
    """Return what was supposed for a line whatever horn plays it; `tempo_bpm` is the tempo that was asked for."""
    tempo = () if tempo_bpm else tuple(_tempi(line, (weights or default_weights()).default_bpm))
    return (*tempo, *line.assumptions)


def doubts_of(line: Line, name: str, tempo_bpm: float | None = None,
              weights: Weights | None = None) -> tuple[Problem, ...]:
    """Return the doubtful assumptions of a line as problems; `name` is that of the score.

    What is doubtful about reading alone (swing, transposition) is a problem of the reading already.
    """
    if not line.notes:
        return (no_notes(line, name),)
    if tempo_bpm:
        return ()
    doubtful = [found for found in _tempi(line, (weights or default_weights()).default_bpm)
                if "playback" not in found.source]
    if not doubtful:
        return ()
    said = "; ".join(f"{found.value} ({found.source})" for found in doubtful[:3])
    return (Problem(severity="note", code="tempo-assumed", where=name, what=f"planned at {said}",
                    try_="Give --tempo to plan it at another."),)


def no_notes(line: Line, name: str) -> Problem:
    """Return what is said of a line without notes."""
    return Problem(severity="note", code="no-notes", where=f"{name}: {line.part_name}",
                   what=f"this part has no notes{_here(line)}", try_="Choose other parts or measures if it should.")


def _here(line: Line) -> str:
    numbers = [measure.number for measure in line.measures]
    return f" in measures {numbers[0]} to {numbers[-1]}" if len(numbers) > 1 else ""


def speed_text(bpm: float, line: Line, onset: Fraction) -> str:
    """Return a tempo in words, quarter notes first, then the printed beat where that is another."""
    beat = line.beat_at(onset)
    printed = "" if beat.quarters == 1 else f", {bpm / float(beat.quarters):.0f} {beat.text}s"
    return f"{bpm:.0f} quarter notes a minute{printed}"


def _tempi(line: Line, default_bpm: float) -> Iterator[Assumption]:
    """Return the tempi that no printed number tells, for as far as the line has notes."""
    if not line.notes:
        return
    start, end = line.notes[0].onset, line.notes[-1].onset
    numbers = {measure.onset: measure.number for measure in line.measures}

    def supposed(bpm: float, onset: Fraction, source: str) -> Assumption:
        return Assumption(about="tempo", value=speed_text(bpm, line, onset), source=source)

    if not line.tempi:
        yield supposed(default_bpm, start, "the score gives no tempo")
        return
    if line.tempi[0].onset > start:
        yield supposed(line.tempi[0].bpm, start, "from the first tempo mark, which comes later")
    seen: set[tuple[float, str]] = set()
    for k, tempo in enumerate(line.tempi):
        until = line.tempi[k + 1].onset if k + 1 < len(line.tempi) else None
        if tempo.onset > end or (until is not None and until <= start) or not _unprinted(tempo):
            continue
        if (tempo.bpm, tempo.word) in seen:
            continue
        seen.add((tempo.bpm, tempo.word))
        measure = max((onset for onset in numbers if onset <= tempo.onset), default=None)
        where = f" in measure {numbers[measure]}" if measure is not None else ""
        yield supposed(tempo.bpm, tempo.onset, f"from '{tempo.word}'{where}, no metronome mark" if tempo.word else
                       f"from the file's playback{where}, no metronome mark is printed")


def _unprinted(tempo: Tempo) -> bool:
    return bool(tempo.word) or tempo.playback


def _horn(part: PartInfo, planner: Planner, assumed: bool) -> Assumption | None:
    own = load_horn(part.horn or DEFAULT_HORN)
    if assumed:
        why = part.horn_reason or (f"usual for a {part.family} part" if part.horn else
                                   "the score does not say what this part is played on")
        against = [text for text in part.evidence if text.startswith("against it")]
        return Assumption(about="horn", value=planner.horn.name,
                          source="; ".join([why, *against[:1], "choose another with --horn"]))
    if part.low_brass and planner.horn.family != own.family:
        kinds = {"slide": "a slide", "valves": "valves"}
        return Assumption(about="horn", value=planner.horn.name,
                          source=f"named with --part and --horn: a {part.family} part, planned for "
                                 f"{kinds[planner.horn.family]} in place of {kinds[own.family]}")
    return None
