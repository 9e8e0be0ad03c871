"""`lowbrass tune chords`: the chords that a section finds worst, as a document and in words."""

from collections.abc import Sequence
from typing import Any

from analyzer import cautions
from analyzer.analysis import Analysis
from analyzer.review.chord_map import Sonority, Voice
from analyzer.words import shown

SCHEMA = "lowbrass.tune-chords/1"
_HEARD_MM = 1.0


def chords_document(analysis: Analysis, chords: Sequence[Sonority]) -> dict[str, Any]:
    """Return the JSON document."""
    return {
        "schema": SCHEMA, "score": {"file": analysis.document.name, "title": analysis.document.title},
        "chords": [{
            "measure": chord.measure, "root": chord.root, "kind": chord.kind, "seconds": round(chord.seconds, 2),
            "before_cents": round(chord.before_cents, 1), "after_cents": round(chord.after_cents, 1),
            "shift_cents": round(chord.shift_cents, 1) + 0.0, "drone": chord.root,
            "players": [{
                "part": voice.part, "line": voice.line, "horn": voice.horn.name, "label": voice.choice.label,
                "sounding": voice.note, "member": voice.member, "target_cents": round(voice.target_cents, 1),
                "move_mm": None if voice.move_mm is None else round(voice.move_mm, 1) + 0.0,
                "left_cents": round(voice.left_cents, 1) + 0.0, "instead": list(voice.instead),
            } for voice in chord.voices],
        } for chord in chords],
        "problems": [problem.as_json() for problem in analysis.problems],
        "cautions": [*analysis.cautions, cautions.HEARING],
    }


def chords_text(analysis: Analysis, chords: Sequence[Sonority]) -> str:
    """Say which chords to tune, who moves by how much, and what nobody can mend."""
    title = analysis.document.title or analysis.document.name
    if not chords:
        return f"{title}: no long chord or unison of two players needs tuning beyond what they have."
    out = [f"{title}: the chords that need the most tuning, worst first. The pure place of a note is where to start; "
           "your ears decide.", ""]
    for chord in chords:
        name = f"{shown(chord.root)} {chord.kind}"
        out.append(f"m. {chord.measure}  {name}, {chord.seconds:.1f} s: {chord.before_cents:.0f} cents apart untuned, "
                   f"{chord.after_cents:.0f} tuned. Practice drone: {shown(chord.root)}.")
        out += [f"    {voice_said(voice)}" for voice in chord.voices]
        if abs(chord.shift_cents) >= 1:
            side = "higher" if chord.shift_cents > 0 else "lower"
            out.append(f"    The whole chord stands {abs(chord.shift_cents):.0f} cents {side} than the tuning note.")
    return "\n".join([*out, "", f"Caution: {analysis.cautions[0]}"])


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
        if abs(voice.left_cents) >= 3 else ""
    return f"{who} ({voice.member}): {todo}{left}"
