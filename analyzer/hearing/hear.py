"""A recording held against the plan of a line: who played which note when, how far off, and why."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

from analyzer.analysis import Planned
from analyzer.hearing.aims import target_cents, wanted_of
from analyzer.hearing.arrival import OwnAttack, with_arrivals
from analyzer.hearing.causes import Cause, cause_of
from analyzer.hearing.follow import Loudness, Visit, Wanted, follow, loudness
from analyzer.hearing.lengths import laid_anew
from analyzer.hearing.notes import Sounded, sounded
from analyzer.hearing.passes import Pass, Timing, chosen, passes_of, timing_of
from analyzer.hearing.pitch import HOP_S, Frames, frames_of
from analyzer.hearing.places import Place, places_of
from analyzer.hearing.sound import Sound
from analyzer.problem import Problem, Unreadable, unreadable

USUAL_HZ = 440.0
_NOISE_PROBES = 400                    # frames looked at before a long recording is heard whole
_LEAST_VOICED = 0.04                   # share of the frames; below that nobody plays. Judged
_LEAST_EXPLAINED = 0.55                # share of the sound that lies at notes of the line
_LEAST_ROW = 2.5                       # notes in a row, on average, without a leap
_AS_TUNED_CENTS = 3.0                  # nearer to 440 Hz the reference is taken to be that
_ABOVE = 5.0                           # semitones above the highest note of the line: nobody plays there by mistake
# Up to which share of the work each step goes, measured: pitch, the first walk, the second.
_SHARES = (0.42, 0.62, 0.82)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeardNote:
    """A note of the plan and what was heard of it, None where it was left out; `late_s` against the steady beat.

    `place` tells where the slide was, or that it cannot be known; None on valves and for notes that were not heard.
    """

    index: int
    sound: Sounded | None
    cause: Cause
    late_s: float | None
    place: Place | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Hearing:
    """A recording held against the plan of a line.

    `notes` has one entry a note of the plan; `passes` every pass in the order of playing, the one that counts for most
    notes among them; `stays` every note that was played, in the order of playing, those of earlier passes too; `extra`
    counts notes that are not in the line; `own_attack` is how the player's notes begin; `reference_hz` was told
    (`told`) or estimated.
    """

    planned: Planned
    sound_name: str
    reference_hz: float
    told: bool
    notes: tuple[HeardNote, ...]
    passes: tuple[Pass, ...]
    stays: tuple[Sounded, ...]
    timing: Timing
    extra: int
    own_attack: OwnAttack
    problems: tuple[Problem, ...]

    def __repr__(self) -> str:
        """Return one short line."""
        return f"Hearing({self.sound_name!r}, {len(self.notes)} notes)"


def hear(sound: Sound, planned: Planned, *, reference_hz: float | None = None,
         told_share: Callable[[float], None] | None = None) -> Hearing:
    """Hold a recording against the plan of a line.

    Parameters
    ----------
    sound : Sound
        The recording.
    planned : Planned
        The line with its plan; it has notes.
    reference_hz : float, optional
        The A that was tuned to; estimated where it is None.
    told_share : function, optional
        Is called again and again with the share of the work that is done, 0 to 1.

    Raises
    ------
    Unreadable
        If nobody plays in it, or something else than this line.
    ImportError
        If numpy is not installed.
    """
    wanted = wanted_of(planned)
    lowest = min(note.midi for note in wanted)
    _refuse_noise(sound)
    frames = frames_of(sound, lowest_hz=440 * 2 ** ((lowest - 8 - 69) / 12), told=_part(told_share, 0.0, _SHARES[0]))
    frames = _brought_back(frames, wanted)
    loud = loudness(frames)
    _refuse_silence(sound, loud)
    told = reference_hz is not None
    jumps = planned.plan.line.jumps
    tuning = _semitones(reference_hz) if reference_hz else _scale_of(frames, loud, wanted)
    visits = follow(frames, wanted, loud, tuning=tuning, scale=1.0, jumps=jumps,
                    told=_part(told_share, _SHARES[0], _SHARES[1]))
    scale = _scale(visits, wanted)
    visits = follow(frames, wanted, loud, tuning=tuning, scale=scale, jumps=jumps,
                    told=_part(told_share, _SHARES[1], _SHARES[2]))
    visits = laid_anew(frames, loud, visits, wanted, tuning=tuning, scale=scale)
    aims = [note.midi for note in wanted]
    pedals = frozenset(k for k, note in enumerate(planned.plan.notes) if note.choice and note.choice.partial == 1)
    found = sounded(frames, visits, aims, loud.heard, tuning=tuning, pedals=pedals)
    if not told:
        tuning = _reference(found, planned, tuning)
        found = sounded(frames, visits, aims, loud.heard, tuning=tuning, pedals=pedals)
    _refuse_other_music(sound, planned, found, visits, loud, frames, aims, tuning)
    passes = passes_of(found, planned, tuning)
    counting = chosen(found, passes, len(wanted))
    timing = timing_of(counting, planned)
    indexes = {id(one): index for index, one in counting.items()}
    counting, own_attack = with_arrivals(counting, planned)
    found = tuple(counting[indexes[id(one)]] if id(one) in indexes else one for one in found)
    places = places_of(counting, planned)
    notes = []
    before: Sounded | None = None
    for index in range(len(wanted)):
        one = counting.get(index)
        notes.append(HeardNote(index=index, sound=one, late_s=timing.late_s.get(index), place=places.get(index),
                               cause=cause_of(one, before, planned, index, tuning, places)))
        before = one
    extra = sum(one.extra + one.again for one in found)
    if told_share is not None:
        told_share(1.0)
    problems = [Problem(severity="warning", code="cut-sound", where=sound.name,
                        what="the file breaks off; what is there was heard",
                        try_="Record it again if the end is missing.")] if sound.cut else []
    return Hearing(planned=planned, sound_name=sound.name, reference_hz=440 * 2 ** (tuning / 12), told=told,
                   notes=tuple(notes), passes=passes, stays=found, timing=timing, extra=extra, own_attack=own_attack,
                   problems=tuple(problems))


def _brought_back(frames: Frames, wanted: Sequence[Wanted]) -> Frames:
    """Return the frames, pitches far above the line taken for overtones of its notes where they are just that.

    A small room may lift a third or fifth partial over the tone itself for as long as a note lasts.
    """
    import numpy as np

    aims = np.unique([note.midi for note in wanted])
    steps = 12 * np.log2(np.arange(2.0, 6.0))
    midi = frames.midi.copy()
    far = np.flatnonzero(midi > aims[-1] + _ABOVE)
    if len(far):
        lower = midi[far, None] - steps
        beside = np.abs(lower[:, :, None] - aims).min(axis=2)
        best = beside.argmin(axis=1)
        rows = np.arange(len(far))
        midi[far] = np.where(beside[rows, best] < 1.0, lower[rows, best], midi[far])
    return replace(frames, midi=midi)


def _part(told: Callable[[float], None] | None, first: float, last: float) -> Callable[[float], None] | None:
    """Return what tells the share of one step as that of the whole."""
    return None if told is None else lambda share: told(first + (last - first) * share)


def _semitones(reference_hz: float) -> float:
    from math import log2

    return 12 * log2(reference_hz / USUAL_HZ)


def _refuse_noise(sound: Sound) -> None:
    """Look into a long recording here and there before all of it is heard."""
    import numpy as np

    if sound.seconds < 240:
        return
    size = int(0.2 * sound.rate)
    starts = np.linspace(0, len(sound.samples) - size - 1, _NOISE_PROBES).astype(int)
    probes = Sound(samples=np.concatenate([sound.samples[start:start + size] for start in starts]), rate=sound.rate,
                   name=sound.name)
    frames = frames_of(probes)
    if (~np.isnan(frames.midi[20::40])).mean() < _LEAST_VOICED / 2:
        raise _nobody(sound)


def _nobody(sound: Sound) -> Unreadable:
    return unreadable("nobody-plays", where=sound.name, what="no instrument is heard in this recording",
                      try_="Record nearer to the horn, and listen to the recording first.")


def _refuse_silence(sound: Sound, loud: Loudness) -> None:
    if float((loud.heard > 0.3).mean()) < _LEAST_VOICED and float((loud.heard > 0.3).sum()) * HOP_S < 2.0:
        raise _nobody(sound)


def _scale_of(frames: Frames, loud: Loudness, wanted: Sequence[Wanted]) -> float:
    """Return where the semitones of a recording lie, by the steps that its pitches keep to. [semitones, -0.5 to 0.5]"""
    import numpy as np

    here = frames.midi[(loud.heard > 0.5)]
    if len(here) < 10:
        return 0.0
    aims = np.array([note.midi for note in wanted])
    parts = np.mod(here - np.median(np.mod(aims + 0.5, 1) - 0.5), 1)
    counts, _ = np.histogram(parts, bins=100, range=(0, 1))
    smooth = np.convolve(np.tile(counts, 3), np.hanning(25), "same")[100:200]
    place = (int(smooth.argmax()) + 0.5) / 100
    return float(place if place < 0.5 else place - 1)


def _scale(visits: Sequence[Visit], wanted: Sequence[Wanted]) -> float:
    """Return how many seconds of the recording go to one of the plan."""
    import numpy as np

    ratios = [(b.first - a.first) * HOP_S / (wanted[b.index].start_s - wanted[a.index].start_s)
              for a, b in pairwise(visits)
              if a.run == b.run and b.index == a.index + 1 and wanted[b.index].start_s > wanted[a.index].start_s]
    return float(np.clip(np.median(ratios), 0.2, 5.0)) if ratios else 1.0


def _reference(found: Sequence[Sounded], planned: Planned, tuning: float) -> float:
    """Return the scale of a recording by its steady notes: where most of them lie close together. [semitones]

    Not their mean: notes that are out of tune are not evenly so. The plan's own cents are reckoned in where the notes
    then lie closer together (a player who lets a valve note lie), else not (one who lips it in tune).
    """
    import numpy as np

    plain, owned = [], []
    for one in found:
        if one.midi is None or not one.near or one.short:
            continue
        note = planned.plan.notes[one.index]
        off = 100 * (one.midi - note.note.midi) - target_cents(planned, one.index)
        plain.append(off)
        owned.append(off - (note.choice.off_cents if note.choice else 0.0))
    if len(plain) < 3:
        return tuning
    peaks = [_densest(np.array(values)) for values in (plain, owned)]
    values, (centre, _) = max(zip((plain, owned), peaks, strict=True), key=lambda pair: pair[1][1])
    inside = np.abs(np.array(values) - centre) < 25
    doubt = 1.5 * float(np.std(np.array(values)[inside])) / np.sqrt(max(1, int(inside.sum())))
    return 0.0 if abs(centre) <= max(_AS_TUNED_CENTS, doubt) else centre / 100


def _densest(values: Any) -> tuple[float, float]:
    """Return where values lie closest together, and how close. [cents]"""
    import numpy as np

    density = np.exp(-0.5 * ((values[:, None] - values[None, :]) / 4.0) ** 2).sum(axis=1)
    best = int(density.argmax())
    weights = np.exp(-0.5 * ((values - values[best]) / 4.0) ** 2)
    return float((weights * values).sum() / weights.sum()), float(density[best])


def _refuse_other_music(sound: Sound, planned: Planned, found: Sequence[Sounded], visits: Sequence[Visit],
                        loud: Loudness, frames: Frames, aims: Sequence[float], tuning: float) -> None:
    """Refuse a recording of which too little lies at the notes of the line, or only in shreds."""
    import numpy as np

    heard = loud.heard > 0.4
    at_note = np.zeros(len(heard), bool)
    for visit in visits:
        span = slice(visit.first, visit.last)
        at_note[span] = np.abs(frames.midi[span] - tuning - aims[visit.index]) < 0.7
    explained = float((at_note & heard).sum()) / max(1, int(heard.sum()))
    near = [one for one in found if one.near]
    rows = len({one.run for one in near})
    row = len(near) / max(1, rows)
    most = len(planned.plan.notes)
    if not near or explained < _LEAST_EXPLAINED or row < min(_LEAST_ROW, most):
        line = planned.plan.line
        raise unreadable("other-music", where=sound.name,
                         what=f"this does not sound like {line.part_name or line.part_id}: "
                              f"{100 * explained:.0f} % of what is heard lies at its notes",
                         try_="Check part, measures and clef (--part, --line, --measures, --reads), or the recording.")
