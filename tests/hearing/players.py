"""Made-up players: a plan played with known faults, as tones. The physics is written anew, from the tube alone."""

from dataclasses import dataclass
from math import log2
from pathlib import Path

import numpy as np

from analyzer.analysis import Planned, Request, analyse
from analyzer.horns.tubing import state
from analyzer.score.document import open_document

from .synth import RNG, Tone, Truth, dressed, sounded

SAMPLES = Path(__file__).parents[2] / "sample_scores"
PASSAGES = {
    "tenor": ("harbour-march-trio.musicxml", ("tenor",), None),
    "tenor-f": ("attachment-etude.musicxml", ("tenor-f",), None),
    "bass-independent": ("deep-water-bass-trombone.musicxml", ("bass-independent",), None),
    "euphonium-4": ("evening-song-euphonium.musicxml", ("euphonium-4",), None),
}


@dataclass
class Faults:
    """How often, and how much."""

    slip_mm: float = 0.0               # most; every third note
    wrong: float = 0.0
    missing: float = 0.0
    late: float = 0.0
    cracked: float = 0.0
    tempo: float = 1.0
    drift: float = 0.0
    reference_hz: float = 440.0
    restart: bool = False
    skip: bool = False
    first: int = 0
    vibrato_cents: float = 0.0
    jitter_s: float = 0.0


def planned(name: str, first: int, last: int) -> Planned:
    score, horns, _ = PASSAGES[name]
    document = open_document(SAMPLES / score)
    analysis = analyse(document, Request(horns=horns, measures=(str(first), str(last))))
    return next(line for line in analysis.lines if line.plan.horn.name == name and line.plan.notes)


def slid_cents(one: Planned, index: int, place_mm: float) -> float:
    """How far the note sounds above its plan with the slide at a place: the tube grows by twice the way. [cents]"""
    plan = one.plan
    choice = plan.notes[index].choice
    tube = plan.horn.tube_mm * state(plan.horn, choice.valves).ratio
    return -1200 * log2((tube + 2 * place_mm) / (tube + 2 * choice.extension_mm))


def played(one: Planned, faults: Faults, rng: RNG) -> Truth:
    plan = one.plan
    truth = Truth()
    notes = plan.notes
    tuning = 12 * log2(faults.reference_hz / 440)
    order = list(range(faults.first, len(notes)))
    if faults.restart:                 # breaks off in the middle, goes back eight notes, once more
        stop = faults.first + (len(notes) - faults.first) * 2 // 3
        order = [*range(faults.first, stop), *range(max(faults.first, stop - 9), len(notes))]
    if faults.skip:                    # a whole measure forgotten
        gone = notes[len(notes) // 3].note.measure
        order = [k for k in order if notes[k].note.measure != gone]
        truth.missing |= {n.index for n in notes if n.note.measure == gone}
    truth.missing |= set(range(faults.first))
    clock = 0.4
    before: Tone | None = None
    for place, index in enumerate(order):
        note = notes[index]
        time = note.time
        previous = order[place - 1] if place else None
        if previous is not None and index == previous + 1:
            gap = time.start_s - notes[previous].time.start_s
            clock += gap * faults.tempo * (1 + faults.drift * place / len(order))
        elif previous is not None:
            clock += notes[previous].time.sounds_s * faults.tempo + (0.8 if index <= previous else 0.0)
        if rng.random() < faults.missing and 0 < place < len(order) - 1:
            truth.missing.add(index)
            before = None
            continue
        truth.missing.discard(index)
        for known in (truth.wrong, truth.off_cents, truth.slide_mm, truth.starts_s):
            known.pop(index, None)
        truth.late.discard(index)
        truth.cracked.discard(index)
        start = clock + float(rng.uniform(-1, 1)) * faults.jitter_s
        lasts = time.sounds_s * faults.tempo
        if index + 1 < len(notes) and place + 1 < len(order) and order[place + 1] == index + 1:
            lasts = min(lasts, (notes[index + 1].time.start_s - time.start_s) * faults.tempo)
        tied = bool(index and previous == index - 1 and notes[index - 1].note.slur_after
                    and notes[index - 1].note.midi != note.note.midi)
        choice = note.choice
        off = 0.0
        if choice is not None and choice.extension_mm is not None and faults.slip_mm and index % 3 == 0:
            place_mm = choice.extension_mm + float(rng.uniform(-1, 1)) * faults.slip_mm
            place_mm = min(max(place_mm, 0.0), plan.horn.slide_end_mm)
            off = slid_cents(one, index, place_mm)
            truth.slide_mm[index] = place_mm - choice.extension_mm
        elif choice is not None and choice.extension_mm is None and faults.slip_mm and index % 3 == 0:
            off = float(rng.uniform(-30, 30))
        else:
            truth.slide_mm[index] = 0.0
        tone = Tone(midi=note.note.midi + tuning + off / 100, start_s=start, lasts_s=max(lasts, 0.06), tied=tied,
                    vibrato_cents=faults.vibrato_cents if lasts > 0.7 else 0.0)
        draw = rng.random()
        if draw < faults.wrong and time.sounds_s * faults.tempo > 0.2:
            # As high as a neighbour it could not be told from that one held or begun early.
            near = {notes[k].note.midi for k in range(max(0, index - 2), min(len(notes), index + 3))}
            wrong = int(rng.choice([midi for step in (-5, -4, -3, -2, 2, 3, 4, 5)
                                    if (midi := note.note.midi + step) not in near]))
            tone.midi = wrong + tuning
            truth.wrong[index] = wrong
        elif draw < faults.wrong + faults.late and lasts > 0.35 and not tied and index and choice is not None \
                and choice.extension_mm is not None and notes[index - 1].choice is not None and previous == index - 1:
            dev = slid_cents(one, index, notes[index - 1].choice.extension_mm)
            if abs(dev) > 60:
                tone.glide_from, tone.glide_s = dev, float(rng.uniform(0.13, 0.2))
                truth.late.add(index)
        elif draw < faults.wrong + faults.late + faults.cracked and lasts > 0.3 and choice is not None and not tied:
            tone.crack = tone.midi + 12 * log2((choice.partial + 1) / choice.partial)
            truth.cracked.add(index)
        if before is not None:         # one player, one tone at a time
            room = start - before.start_s
            before.lasts_s = room + 0.012 if tied else min(before.lasts_s, room)
        truth.tones.append(tone)
        truth.starts_s[index] = start
        if index not in truth.wrong:
            truth.off_cents[index] = off
        before = tone
    return truth


def recording(truth: Truth, kind: str, rng: RNG, *, beat_s: float = 0.5) -> np.ndarray:
    return dressed(sounded(truth.tones, rng), kind, rng, beat_s=beat_s)
