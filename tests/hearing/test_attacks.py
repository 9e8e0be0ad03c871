"""How notes begin, of known truth: in time, late slide, smear, cracked, scooped; each told from the others."""

from collections import Counter

import numpy as np

from analyzer.hearing.hear import hear
from analyzer.hearing.sound import Sound
from analyzer.report.listen.text import heard_said

from .players import planned, slid_cents
from .synth import RATE, Tone, dressed, sounded

KINDS = ("clean", "late slide", "smear", "cracked", "scoop")


def test_late_smear_crack_and_scoop_are_told_apart() -> None:
    """The demand: late slides found in nine of ten, and on notes in time hardly any fault told."""
    rng = np.random.default_rng(41)
    one = planned("tenor", 1, 24)
    notes = one.plan.notes
    told: Counter[tuple[str, str]] = Counter()
    for dress in ("clean", "phone", "room"):
        for turn in range(3):
            tones: list[Tone] = []             # every other note, another fault in turn
            truth: dict[int, str] = {}
            for k, note in enumerate(notes):
                tone = Tone(note.note.midi, 0.4 + note.time.start_s, max(0.06, note.time.sounds_s))
                kind = KINDS[(k // 2 + 2 * turn) % len(KINDS)] if k % 2 else "clean"
                way = slid_cents(one, k, notes[k - 1].choice.extension_mm) if k else 0.0
                next_to = k and tone.start_s - tones[-1].start_s - tones[-1].lasts_s < 0.05
                if tone.lasts_s < 0.35 or (kind in ("late slide", "smear") and (abs(way) < 60 or not next_to)) or (
                        kind == "scoop" and way < -20):
                    kind = "clean"
                if kind in ("late slide", "smear"):
                    tone.glide_from, tone.glide_s = way, float(rng.uniform(0.13, 0.19))
                    tone.runs_on = kind == "smear"
                elif kind == "scoop":
                    tone.glide_from, tone.glide_s = float(rng.uniform(-150, -90)), float(rng.uniform(0.14, 0.18))
                elif kind == "cracked":
                    tone.crack = tone.midi + 12 * float(np.log2((note.choice.partial + 1) / note.choice.partial))
                if tones:
                    room = tone.start_s - tones[-1].start_s
                    tones[-1].lasts_s = room + 0.02 if tone.runs_on else min(tones[-1].lasts_s, room)
                truth[k] = kind
                tones.append(tone)
            sound = dressed(sounded(tones, rng), dress, rng)
            found = hear(Sound(samples=sound.astype(np.float32), rate=RATE, name="x"), one)
            told.update((truth[note.index], note.cause.attack) for note in found.notes
                        if note.cause.attack != "unknown")
    lines = [f"{kind:<11}" + "".join(f"{told[kind, other]:>11}" for other in KINDS) for kind in KINDS]
    text = "\n".join(["put in \\ told" + " " * 4 + "".join(f"{kind:>11}" for kind in KINDS), *lines])
    print(text)
    for kind in KINDS:
        count = sum(told[kind, other] for other in KINDS)
        assert count >= 8, text
        # Half of a smear is often the end of the note before: what is left of it may be in time.
        assert told[kind, kind] >= (0.5 if kind == "smear" else 0.9) * count, text


def test_a_players_own_rise_is_no_late_slide_but_being_late_on_every_move_is() -> None:
    """Every note rises by 45 cents within a tenth of a second: that is the player's way, said, and no late slide.

    Where moves of the slide come late on top of it, all of them, they are told: notes without a move show what is own.
    """
    one = planned("tenor", 20, 42)
    rng = np.random.default_rng(43)
    for late in (False, True):
        tones: list[Tone] = []
        moved: set[int] = set()
        for k, note in enumerate(one.plan.notes):
            tone = Tone(note.note.midi, 0.4 + note.time.start_s, max(0.06, note.time.sounds_s), glide_from=-45.0,
                        glide_s=0.12)
            way = slid_cents(one, k, one.plan.notes[k - 1].choice.extension_mm) if k else 0.0
            next_to = k and tone.start_s - tones[-1].start_s - tones[-1].lasts_s < 0.05
            if late and abs(way) > 90 and next_to and tone.lasts_s > 0.35:
                tone.glide_from, tone.glide_s = way - 20.0, 0.17
                moved.add(k)
            if tones:
                tones[-1].lasts_s = min(tones[-1].lasts_s, tone.start_s - tones[-1].start_s)
            tones.append(tone)
        sound = dressed(sounded(tones, rng), "room", rng)
        heard = hear(Sound(samples=sound.astype(np.float32), rate=RATE, name="x"), one)
        told = {note.index for note in heard.notes if note.cause.attack in ("late slide", "smear")}
        assert len(told - moved) <= 1, (told, moved)
        assert len(told & moved) >= 0.9 * len(moved)
        assert bool(moved) == late
        assert -50 < heard.own_attack.flat_cents < -15
        assert "how this player's notes begin" in heard_said(heard)
