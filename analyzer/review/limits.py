"""Where a review begins to speak: judged limits, and the questions of one note that need no neighbours."""

from collections.abc import Sequence

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import position_place_mm, positions
from analyzer.horns.horn import Horn
from analyzer.plan.player import Player

END_CARE_MM = 20.0
"""A note with less slide than this beyond it has no room to be tuned lower: a fifth of a semitone there. [mm]
Judged; from 15 to 30 the same notes of the horns that come with the project are meant (C2 in T6)."""
TENSE_MM = 20.0
"""The last part of a player's reach, where the wrist is no longer loose. [mm] Judged: a shade, as for positions."""
FORGIVEN_S = 0.8
"""A note shorter than this that could be in tune elsewhere may be taken a little out of tune for the sake of the hand.
[s] Judged: shorter notes are not tuned to a chord either; a teacher who hears them would change our mind."""
LOW_SEMITONES = 7
"""Up to here above the pedal a note is low: F2 on a horn in B flat. [semitone] Judged: band parts of grade 2 go down to
G2 (*Grading system* of a band-music publisher, https://www.nemusicpub.com/grading; letters published, octaves
inferred); players' own reports of tired lips would decide."""
HIGH_SEMITONES = 31
"""From here above the pedal a note is high: F4 on a horn in B flat. [semitone] Judged: grade 2 goes up to D4; the rest
as for `LOW_SEMITONES`."""
REST_S = 2.0
"""A silence from here on is a rest for the lip: a full breath, horn down. [s] Judged: nothing changes from 1.5 to 3
in the samples."""
PASSING_S = 0.6
"""Notes outside the low or high region that last no longer together do not end a stretch. [s] Judged."""
STRETCH_NOTE_S = 15.0
"""A stretch of this length is mentioned, of `STRETCH_CARE_S` it needs care. [s] Judged: a few long breaths, and
about the time a school player keeps a good sound there; a trial with players would decide."""
STRETCH_CARE_S = 30.0


def near_end_mm(horn: Horn) -> float:
    """From here on a slide stands in its last position. [mm; the last open position, less a shade]"""
    last = positions(horn)
    if last < 2:
        return horn.slide_end_mm
    before, place = position_place_mm(horn, (), last - 1), position_place_mm(horn, (), last)
    return place - 0.2 * (place - before)


def room_mm(horn: Horn, choices: Sequence[Candidate]) -> float | None:
    """Slide that is left beyond the nearest of the choices where all lie at the end of the slide, else None. [mm]"""
    if horn.family != "slide" or not choices:
        return None
    nearest = min(one.out_mm for one in choices)
    return horn.slide_end_mm - nearest if nearest >= near_end_mm(horn) else None


def cramped(horn: Horn, choices: Sequence[Candidate]) -> bool:
    """Whether all choices lie so near to the end of the slide that the note cannot be tuned lower."""
    left_mm = room_mm(horn, choices)
    return left_mm is not None and left_mm < END_CARE_MM


def above_ceiling(horn: Horn, player: Player, choice: Candidate) -> bool:
    """Whether a choice holds an attachment above the player's ceiling."""
    return (horn.family == "slide" and bool(choice.valves) and player.ceiling_midi is not None
            and choice.midi > player.ceiling_midi)


def outside_range(player: Player, midi: int) -> bool:
    """Whether a sounding pitch lies outside the range that the player's file gives."""
    return (player.low is not None and midi < player.low) or (player.high is not None and midi > player.high)


def at_ease(horn: Horn, player: Player, midi: int, choices: Sequence[Candidate]) -> bool:
    """Whether a review asks for no care with a single note like this one, whatever its neighbours.

    The last position is no reason for care where there is room beyond it: a straight tenor has B2 nowhere else.
    `choices` are those that the plan may take for it (`allowed_choices`).
    """
    return (
        any(one.advice is None for one in choices)
        and not any(above_ceiling(horn, player, one) for one in choices)
        and not cramped(horn, choices)
        and not outside_range(player, midi)
        and not tense(horn, player, choices)
    )


def tense(horn: Horn, player: Player, choices: Sequence[Candidate]) -> bool:
    """Whether every choice lies in the last bit of a reach in millimetres that is shorter than the slide.

    An outermost position in the player's file is one that the player does reach, so there is no such bit.
    """
    reach_mm = player.reach_on(horn)
    if horn.family != "slide" or player.reach_mm is None or reach_mm >= horn.slide_end_mm or not choices:
        return False
    return min(one.out_mm for one in choices) > reach_mm - TENSE_MM
