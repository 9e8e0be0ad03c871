"""What is found of the truth that was put into made-up recordings: ``python -m tests.hearing.measure`` prints it."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np

from analyzer.analysis import Planned
from analyzer.hearing.advice import advice_of
from analyzer.hearing.hear import Hearing, hear
from analyzer.hearing.sound import Sound

from .players import Faults, planned, played, recording
from .synth import RATE, Truth

KINDS = ("clean", "phone", "room", "clicks")
RANGES = {"tenor": (1, 24), "tenor-f": (1, 12), "bass-independent": (1, 14), "euphonium-4": (1, 16)}
WAYS = {
    "perfect": Faults(),
    "slips": Faults(slip_mm=25.0, reference_hz=442.0, tempo=1.08, drift=0.08, vibrato_cents=12.0, jitter_s=0.02),
    "faults": Faults(slip_mm=15.0, wrong=0.09, missing=0.04, late=0.35, cracked=0.06, reference_hz=438.0,
                     jitter_s=0.02),
    "restart": Faults(slip_mm=15.0, restart=True, wrong=0.05, late=0.15, tempo=0.92),
    "skip": Faults(skip=True, first=5, slip_mm=10.0, late=0.15, drift=-0.1, reference_hz=445.0),
}


@dataclass
class Score:
    """Sums over recordings."""

    played: int = 0
    matched: int = 0
    off: list[float] = field(default_factory=list)
    onset: list[float] = field(default_factory=list)
    slide: list[float] = field(default_factory=list)   # error over what is allowed
    wrong: int = 0
    wrong_found: int = 0
    right: int = 0
    wrong_false: int = 0
    late: int = 0
    late_found: int = 0
    late_false: int = 0
    on_time: int = 0
    cracked: int = 0
    cracked_found: int = 0
    missing: int = 0
    missing_found: int = 0
    advice: list[str] = field(default_factory=list)
    recordings: int = 0
    notes: list[str] = field(default_factory=list)

    def add(self, name: str, one: Planned, truth: Truth, heard: Hearing) -> None:
        self.recordings += 1
        for note in heard.notes:
            k = note.index
            if k in truth.missing:
                self.missing += 1
                self.missing_found += note.sound is None or note.sound.midi is None
                continue
            if k not in truth.starts_s:
                continue
            self.played += 1
            start = truth.starts_s[k]
            matched = note.sound is not None and note.sound.midi is not None and abs(note.sound.start_s - start) < 0.12
            self.matched += matched
            where = f"{name} {k} m{one.plan.notes[k].note.measure} {one.plan.notes[k].note.sounding.name}"
            if not matched:
                self.notes.append(f"{where}: not matched ({note.sound and note.sound.start_s} for {start:.2f})")
            else:
                self.onset.append(abs(note.sound.start_s - start))
                if self.onset[-1] > 0.02:
                    self.notes.append(f"{where}: onset {1000 * (note.sound.start_s - start):.0f} ms"
                                      f"{' late' if k in truth.late else ''}{' crack' if k in truth.cracked else ''}")
            if k in truth.wrong:
                self.wrong += 1
                found = note.cause.heard_as is not None and note.cause.heard_as.midi == truth.wrong[k]
                self.wrong_found += found
                if not found:
                    self.notes.append(f"{where}: wrong {truth.wrong[k]} not found: {note.cause}")
                continue
            self.right += 1
            false = note.cause.heard_as is not None
            self.wrong_false += false
            if false:
                self.notes.append(f"{where}: false {note.cause.what}")
            if note.cause.off_cents is not None:
                self.off.append(abs(note.cause.off_cents - truth.off_cents[k]))
                if self.off[-1] > 6:
                    self.notes.append(f"{where}: off {note.cause.off_cents:.1f} for {truth.off_cents[k]:.1f}"
                                      f"{' late' if k in truth.late else ''}{' crack' if k in truth.cracked else ''}")
                if k in truth.slide_mm and note.cause.slide_mm is not None:
                    choice = one.plan.notes[k].choice
                    a_cent_mm = (one.plan.horn.tube_mm / 2 + choice.extension_mm) * np.log(2) / 1200
                    self.slide.append(abs(note.cause.slide_mm - truth.slide_mm[k]) / (5 + 3 * a_cent_mm))
            late = note.cause.attack in ("late slide", "smear")
            if k in truth.late:
                self.late += 1
                self.late_found += late
                if not late:
                    self.notes.append(f"{where}: late missed: {note.cause} {note.sound}"[:400])
            elif k in truth.cracked:
                self.cracked += 1
                self.cracked_found += note.cause.attack == "cracked"
                if note.cause.attack != "cracked":
                    self.notes.append(f"{where}: crack missed: {note.cause} {note.sound}"[:400])
            else:
                self.on_time += 1
                self.late_false += late or note.cause.attack == "cracked"
                if late or note.cause.attack == "cracked":
                    self.notes.append(f"{where}: false {note.cause.attack} {note.sound}"[:400])

    def text(self) -> str:
        def share(a: int, b: int) -> str:
            return f"{a} of {b}" + (f" ({100 * a / b:.1f} %)" if b else "")

        off, onset = np.array(self.off or [0]), np.array(self.onset or [0])
        return "\n".join((
            f"{self.recordings} recordings, {self.played} notes played",
            f"matched {share(self.matched, self.played)}",
            f"cents: median {np.median(off):.2f}, 95 % within {np.percentile(off, 95):.2f}",
            f"onset: median {1000 * np.median(onset):.0f} ms, 95 % {1000 * np.percentile(onset, 95):.0f}, within 20 ms "
            f"{100 * (onset <= 0.02).mean():.1f} %",
            f"slide: greatest error over what is allowed {max(self.slide or [0]):.2f}; within "
            f"{100 * np.mean(np.array(self.slide or [0]) <= 1):.1f} %",
            f"wrong found {share(self.wrong_found, self.wrong)}, false {share(self.wrong_false, self.right)}",
            f"late found {share(self.late_found, self.late)}, false {share(self.late_false, self.on_time)}",
            f"cracked found {share(self.cracked_found, self.cracked)}",
            f"left out found {share(self.missing_found, self.missing)}",
            f"false advice on perfect recordings: {Counter(self.advice) if self.advice else 'none'}"))


def cases(seeds: int = 1) -> Iterator[tuple[str, str, str, int]]:
    """Horn, way, kind and seed of every recording."""
    for seed in range(seeds):
        for horn in RANGES:
            for way in WAYS:
                for kind in KINDS:
                    yield horn, way, kind, seed


def heard_case(horn: str, way: str, kind: str, seed: int) -> tuple[Planned, Truth, Hearing]:
    rng = np.random.default_rng([seed, *map(ord, horn + way + kind)])
    one = planned(horn, *RANGES[horn])
    truth = played(one, replace(WAYS[way]), rng)
    sound = recording(truth, kind, rng)
    return one, truth, hear(Sound(samples=sound.astype(np.float32), rate=RATE, name=f"{horn} {way} {kind}"), one)


def measured(chosen: Iterator[tuple[str, str, str, int]] | list[tuple[str, str, str, int]]) -> Score:
    total = Score()
    for horn, way, kind, seed in chosen:
        one, truth, heard = heard_case(horn, way, kind, seed)
        total.add(f"{horn} {way} {kind} {seed}", one, truth, heard)
        if way == "perfect":
            total.advice += [found.what for found in advice_of(heard)]
    return total


if __name__ == "__main__":
    import sys

    words = sys.argv[1:]
    chosen = [case for case in cases() if not words or any(word in case for word in words)]
    total = measured(chosen)
    print("\n".join(total.notes))
    print(total.text())
