"""`lowbrass tune chords`: the chords that a section finds worst, as a document and in words."""

from collections.abc import Sequence
from textwrap import fill
from typing import Any

from analyzer import cautions
from analyzer.analysis import Analysis
from analyzer.horns.horn import Horn
from analyzer.pitch import parse_pitch
from analyzer.report.drill.sound import GAP_S, TONE_S, Tone
from analyzer.report.typical import cents_json, cents_said, slide_said
from analyzer.review.chord_map import Sonority, Voice
from analyzer.words import shown

SCHEMA = "lowbrass.tune-chords/1"
ROOT_RULE = ("Places count from the chord's root, which stays in equal temperament, so that nothing drifts. Studies of "
             "what ensembles do are few and differ: a pure place is where to start, your ears decide.")
SEVENTH = ("The seventh of a dominant chord is put at 7:4, 31 cents low, where it does not beat; that is disputed, and "
           "many take it 4 cents low (16:9).")
_HEARD_MM = 1.0
_LEFT_CENTS = 3.0                      # less beside the pure place is not said (judged)


def chords_document(analysis: Analysis, chords: Sequence[Sonority]) -> dict[str, Any]:
    """Return the JSON document."""
    return {
        "schema": SCHEMA, "score": {"file": analysis.document.name, "title": analysis.document.title},
        "chords": [chord_json(chord) for chord in chords],
        "cents": [cents_json(horn) | {"horn": horn.name} for horn in horns_of(chords)],
        "rules": [ROOT_RULE, SEVENTH],
        "problems": [problem.as_json() for problem in analysis.problems],
        "cautions": [*analysis.cautions, cautions.HEARING],
    }


def chord_json(chord: Sonority) -> dict[str, Any]:
    """Return one chord with what each player does in it."""
    return {
        "measure": chord.measure, "root": chord.root, "kind": chord.kind, "seconds": round(chord.seconds, 2),
        "before_cents": round(chord.before_cents, 1), "after_cents": round(chord.after_cents, 1),
        "shift_cents": round(chord.shift_cents, 1) + 0.0, "drone": chord.root,
        "players": [{
            "part": voice.part, "line": voice.line, "horn": voice.horn.name, "label": voice.choice.label,
            "sounding": voice.note, "member": voice.member, "target_cents": round(voice.target_cents, 1),
            "move_mm": None if voice.move_mm is None else round(voice.move_mm, 1) + 0.0,
            "left_cents": round(voice.left_cents, 1) + 0.0, "instead": list(voice.instead),
        } for voice in chord.voices],
    }


def chord_short(chord: Sonority) -> str:
    """Say a chord in one sentence: where, how far apart, who does what; who stays is not named."""
    told = [voice_said(voice) for voice in chord.voices
            if voice.move_mm is None or abs(voice.move_mm) >= _HEARD_MM or abs(voice.left_cents) >= _LEFT_CENTS]
    return (f"m. {chord.measure}, {shown(chord.root)} {chord.kind}: {chord.before_cents:.0f} cents apart untuned, "
            f"{chord.after_cents:.0f} tuned (drone {shown(chord.root)}). {'; '.join(told)}.")


def all_of_them(file: str) -> str:
    """Say where the rest is, with the drone to practise with."""
    return f"More, and a drone to hear: lowbrass tune chords {file} --tones FILE.wav"


def chord_tones(chords: Sequence[Sonority]) -> tuple[Tone, ...]:
    """Return what to practice with: each player's pure place, once, over the chord's root held below all of them."""
    found: list[Tone] = []
    for chord in chords:
        lowest = min(voice.choice.midi for voice in chord.voices)
        root = parse_pitch(f"{chord.root}2").midi
        drone = lowest - ((lowest - root) % 12)
        for voice in dict.fromkeys((voice.choice.midi, voice.target_cents, voice.note, voice.member)
                                   for voice in chord.voices):
            midi, cents, note, member = voice
            found.append(Tone(start_s=len(found) * (TONE_S + GAP_S), midi=midi, cents=cents, drone_midi=drone,
                              what=f"m. {chord.measure}, {shown(note)}, {member} of {shown(chord.root)} {chord.kind}"))
    return tuple(found)


def chords_text(analysis: Analysis, chords: Sequence[Sonority]) -> str:
    """Say which chords to tune, who moves by how much, and what nobody can mend."""
    title = analysis.document.title or analysis.document.name
    if not chords:
        return f"{title}: no long chord or unison of two players needs tuning beyond what they have."
    out = [f"{title}: the chords that need the most tuning, worst first. {ROOT_RULE}", ""]
    if any(chord.kind == "dominant seventh" for chord in chords):
        out.insert(1, SEVENTH)
    for chord in chords:
        name = f"{shown(chord.root)} {chord.kind}"
        out.append(f"m. {chord.measure}  {name}, {chord.seconds:.1f} s: {chord.before_cents:.0f} cents apart untuned, "
                   f"{chord.after_cents:.0f} tuned. Practice drone: {shown(chord.root)}.")
        out += [f"    {voice_said(voice)}" for voice in chord.voices]
        if abs(chord.shift_cents) >= 1:
            side = "higher" if chord.shift_cents > 0 else "lower"
            out.append(f"    The whole chord stands {abs(chord.shift_cents):.0f} cents {side} than the tuning note.")
    horns = horns_of(chords)
    asked = " ".join(filter(None, (cents_said(horns), slide_said(horns))))
    return "\n".join([*out, "", *fill(asked, 100).splitlines(), f"Caution: {analysis.cautions[0]}"])


def horns_of(chords: Sequence[Sonority]) -> list[Horn]:
    """Return the horns of these chords, each once."""
    return list(dict.fromkeys(voice.horn for chord in chords for voice in chord.voices))


def voice_said(voice: Voice) -> str:
    """Say what one player does in a chord."""
    player = f" {voice.line}" if voice.line > 1 else ""
    who = f"{voice.part}{player}, {shown(voice.note)} in {shown(voice.choice.label)}"
    if voice.move_mm is None:
        todo = "cannot move"
        if voice.instead:
            todo += f"; {shown(' or '.join(voice.instead))} lies nearer"
    elif abs(voice.move_mm) < _HEARD_MM:
        todo = "stays"
    else:
        todo = f"slide {abs(voice.move_mm):.0f} mm {'out' if voice.move_mm > 0 else 'in'}"
    left = f", {abs(voice.left_cents):.0f} cents {'sharp' if voice.left_cents > 0 else 'flat'} all the same" \
        if abs(voice.left_cents) >= _LEFT_CENTS else ""
    return f"{who} ({voice.member}): {todo}{left}"
