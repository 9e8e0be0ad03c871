"""What can be done about a glissando that does not stay on one partial with one valve combination.

One partial of one valve state is one sweep of the slide: six semitones open at most, fewer with an attachment. From the
notes that a sweep holds follows where a longer one can begin later, end sooner, or be parted.
"""

from collections.abc import Sequence

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates
from analyzer.horns.horn import Horn, Valves
from analyzer.pitch import pitch_of
from analyzer.words import shown

_Sweep = tuple[int, Valves]            # partial and valve state


def sweeps(horn: Horn, midi: int, reach_mm: float) -> dict[_Sweep, Candidate]:
    """Return the sweeps of the slide that a pitch lies on, within reach, with the choice that plays it there."""
    return {(choice.partial, choice.valves): choice for choice in candidates(horn, midi) if choice.out_mm <= reach_mm}


def parts_of(horn: Horn, start: int, stop: int, reach_mm: float) -> list[list[Candidate]] | None:
    """Return the fewest sweeps that make the way from `start` to `stop` [MIDI], each semitone by semitone.

    None where a pitch between cannot be played at all. Greedy, each sweep as long as it can be: no other way of
    parting the same row of pitches needs fewer.
    """
    step = 1 if stop >= start else -1
    pitches = list(range(start, stop + step, step))
    parts: list[list[Candidate]] = []
    at = 0
    while at < len(pitches):
        best: list[Candidate] = []
        for sweep, first in sweeps(horn, pitches[at], reach_mm).items():
            run = [first]
            for midi in pitches[at + 1:]:
                one = sweeps(horn, midi, reach_mm).get(sweep)
                if one is None:
                    break
                run.append(one)
            if len(run) > len(best):
                best = run
        if not best:
            return None
        parts.append(best)
        at += len(best)
    return parts


def advice(horn: Horn, start: int, stop: int, reach_mm: float) -> str:
    """Say what can be done about a glissando from `start` to `stop` [MIDI] that the plan does not keep.

    Pitches are named as they sound.
    """
    if horn.family != "slide":
        return "Valves cannot slide: half-press them and bend with the lip, or write the notes between."
    parts = parts_of(horn, start, stop, reach_mm)
    if parts is None:
        return "Write the notes between where they can be played, or leave the glissando out."
    if len(parts) == 1:
        return f"It goes {_way(parts[0])}; free both notes for that."
    said = []
    later = (parts_of(horn, stop, start, reach_mm) or [[]])[0]
    if len(later) > 1:
        said.append(f"begin it later, {_way(later[::-1])}")
    if len(parts[0]) > 1:
        said.append(f"end it sooner, {_way(parts[0])}")
    if all(len(part) > 1 for part in parts):
        said.append(f"part it: {', then '.join(_way(part) for part in parts)}")
    if not said:
        return "Play the two notes apart: no sweep of the slide leads from one toward the other."
    text = "; ".join(said)
    return f"{text[:1].upper()}{text[1:]}."


def _way(part: Sequence[Candidate]) -> str:
    first, last = part[0], part[-1]
    return (f"from {pitch_of(first.midi).pretty} in {shown(first.label)} to {pitch_of(last.midi).pretty} in "
            f"{shown(last.label)}")
