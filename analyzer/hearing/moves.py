"""A player's own limits from recorded two-note alternations: how fast the slide moves, or the valves.

The slide's law is the one that the plan holds against a player (plan/limits): the least time of a move grows with the
root of its length, ``T = sqrt(5.77 D / a)``, so each alternation tells the acceleration ``a = 5.77 D / T^2``.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, log, sqrt
from statistics import mean, median, stdev

from analyzer.hearing.pitch import HOP_S, frames_of
from analyzer.hearing.sound import Sound
from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import chart_choice
from analyzer.horns.horn import Horn
from analyzer.pitch import pitch_of
from analyzer.plan.limits import PEAK_ACCELERATION
from analyzer.problem import unreadable
from analyzer.words import counted

LEAST_NOTES = 8
"""Notes of an alternation without a slip; fewer tell no speed. Judged."""
_FEWEST_MOVES = 2                      # alternations of different lengths that a law wants
_LEAST_S, _MOST_S = 0.05, 0.9          # from attack to attack: quicker is no alternation, slower no limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternation:
    """Two notes to be played in turn, as fast as clean; `distance_mm` is the slide's way, 0 on valves."""

    first: Candidate
    second: Candidate
    distance_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """An alternation as it was played: `count` notes in its best runs, `move_s` from attack to attack."""

    what: Alternation
    count: int
    move_s: float
    spread_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves:
    """What a recording tells of a player: `key` of the player file, its value, and between what it lies (95 %)."""

    horn: Horn
    timed: tuple[Timed, ...]
    key: str
    value: float
    low: float
    high: float


def alternations(horn: Horn) -> tuple[Alternation, ...]:
    """Return what to play: from B flat 3 (or the horn's fourth partial) to the notes below it, one by one."""
    top = horn.fundamental_midi + 24
    first = chart_choice(horn, top)
    if first is None:
        return ()
    found = []
    for down in (1, 2, 3, 4):
        second = chart_choice(horn, top - down)
        if second is None or second.partial != first.partial or (horn.family == "slide" and second.valves):
            continue
        way_mm = abs((second.extension_mm or 0.0) - (first.extension_mm or 0.0))
        found.append(Alternation(first=first, second=second, distance_mm=way_mm))
    return tuple(found)


def measure_moves(sound: Sound, horn: Horn) -> Moves:
    """Fit a player's limit from a recording of `alternations`.

    Raises
    ------
    Unreadable
        If too few alternations are heard in it.
    """
    wanted = {frozenset((one.first.midi, one.second.midi)): one for one in alternations(horn)}
    timed = []
    for pair, gaps in _runs(sound, {midi for one in wanted for midi in one}).items():
        if pair in wanted and len(gaps) + 1 >= LEAST_NOTES:
            timed.append(Timed(what=wanted[pair], count=len(gaps) + 1, move_s=median(gaps),
                               spread_s=stdev(gaps) / sqrt(len(gaps))))
    timed.sort(key=lambda one: one.what.distance_mm)
    if len(timed) < _FEWEST_MOVES:
        raise unreadable("few-moves", where=sound.name,
                         what=f"{counted(len(timed), 'alternation')} of at least {LEAST_NOTES} notes heard, and two or "
                              "more are needed",
                         try_="Play the alternations of lowbrass tune moves --sheet, each for some seconds.")
    if horn.family == "slide":
        logs = [log(PEAK_ACCELERATION * one.what.distance_mm / 1000 / one.move_s**2) for one in timed]
        key = "slide_acceleration_m_s2"
    else:
        logs = [log(1 / one.move_s) for one in timed]
        key = "valve_notes_s"
    half = _student_t(len(logs)) * max(stdev(logs), 0.02) / sqrt(len(logs))
    middle = mean(logs)
    return Moves(horn=horn, timed=tuple(timed), key=key, value=exp(middle), low=exp(middle - half),
                 high=exp(middle + half))


def _student_t(count: int) -> float:
    """Return Student's t for 95 per cent, two-sided, of so many values (tables of the distribution)."""
    return {2: 12.71, 3: 4.30, 4: 3.18}.get(count, 2.78)


def _runs(sound: Sound, midis: set[int]) -> dict[frozenset[int], Sequence[float]]:
    """Return for each pair of notes the times from attack to attack in its longest run of turns. [s]"""
    import numpy as np

    frames = frames_of(sound, lowest_hz=440 * 2 ** ((min(midis) - 5 - 69) / 12))
    known = ~np.isnan(frames.midi) & (frames.rough < 0.25)
    if known.sum() < 20:
        raise unreadable("nobody-plays", where=sound.name, what="no instrument is heard in this recording",
                         try_="Record nearer to the horn.")
    near = np.mod(frames.midi[known] + 0.5, 1) - 0.5
    tuning = float(np.angle(np.exp(2j * np.pi * near).mean()) / (2 * np.pi))
    played: list[tuple[int, int]] = []             # note, first frame
    last, since = None, 0
    for place in np.flatnonzero(known):
        off = frames.midi[place] - tuning
        note = round(float(off))
        if abs(off - note) > 0.35 or note not in midis:
            continue
        if note != last:
            last, since = note, int(place)
        # A note is one that holds for some frames; what a glide passes on its way is none.
        if int(place) - since == 5 and (not played or played[-1][0] != note):
            played.append((note, since))
    runs: dict[frozenset[int], list[float]] = defaultdict(list)
    begin = 0
    for at in range(1, len(played) + 1):
        ended = at == len(played) or (at - begin >= 2 and played[at][0] != played[at - 2][0]) or (
            (played[at][1] - played[at - 1][1]) * HOP_S > _MOST_S)
        if not ended:
            continue
        gaps = [(b[1] - a[1]) * HOP_S for a, b in zip(played[begin:at - 1], played[begin + 1:at], strict=True)]
        pair = frozenset(note for note, _ in played[begin:at])
        good = [gap for gap in gaps if gap >= _LEAST_S]
        if len(pair) == 2 and len(good) > len(runs[pair]):
            runs[pair] = good
        begin = at - 1 if at < len(played) and (played[at][1] - played[at - 1][1]) * HOP_S <= _MOST_S else at
    return dict(runs)


def sheet_text(horn: Horn) -> str:
    """Return what to play, in words."""
    lines = [f"For {horn.description}: play each pair in turn, tongued, as fast as it stays clean, for about four",
             "seconds (at least eight notes); rest between the pairs. Record all of them into one file.", ""]
    for number, one in enumerate(alternations(horn), 1):
        way = f"   {one.distance_mm:.0f} mm of slide" if one.distance_mm else ""
        lines.append(f"{number}. {pitch_of(one.first.midi).pretty} ({one.first.label}) and "
                     f"{pitch_of(one.second.midi).pretty} ({one.second.label}), over and over{way}")
    return "\n".join([*lines, "", "Stop before it tires; if it hurts or tingles, stop and rest."])
