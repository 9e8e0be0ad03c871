"""What a take-home page knows of its music: the notes to play and tell, chords and their roots, beat, key note."""

from collections.abc import Mapping
from typing import Any

from analyzer.analysis import Planned
from analyzer.horns.tubing import state
from analyzer.intonation.sonority import Sonorities
from analyzer.intonation.targets import Target, targets
from analyzer.pitch import pitch_of
from analyzer.plan.plan import PlannedNote
from analyzer.report.folders.names import safe_name
from analyzer.report.map.printed import own_of
from analyzer.report.playing import playing_of
from analyzer.score.document import Document
from analyzer.score.timeline import Measure
from analyzer.score.transposing import Reads
from analyzer.words import shown

_SIGNS = {"whole": "𝅝", "half": "𝅗𝅥", "quarter": "♩", "eighth": "♪"}
_LOWEST_DRONE = 41                      # F2: low enough to tune to, high enough for the loudspeaker of a phone; judged


def content_of(document: Document, planned: Planned, reads: Reads | None) -> dict[str, Any]:
    """Return what the page plays, listens for and tells, ready for JSON; notes are those of `playing_of`, with more.

    `reads` is how treble-clef low brass was asked to be read: the chords are those of the whole score.
    """
    plan = planned.plan
    playing = playing_of(planned)
    # The music may be that of the line alone: its notes bear the ordinals that they have there.
    drawn = own_of(document, planned).refs
    chords = _chords(document, planned, reads)
    measures = {measure.index: measure for measure in plan.line.measures}
    return playing | {
        "id": f"{document.name} {planned.part.id} {plan.line.number} {plan.notes[0].note.measure}",
        "score": document.name, "title": document.title, "part": {"id": planned.part.id, "name": planned.part.name},
        "line": plan.line.number, "horn": plan.horn.name, "player": plan.player.name,
        "file": safe_name(f"{document.title or document.name} {planned.part.name}"), "master": plan.horn.master,
        "end_s": _end_s(playing), "tonic_midi": _tonic(document, planned), "beat": _beat(planned),
        "notes": [tone | _note(planned, note, drawn, chord, _beat_in(planned, note, measures[note.note.measure_index]))
                  for tone, note, chord in zip(playing["notes"], plan.notes, chords, strict=True)]}


def name_of(midi: int) -> str:
    """Return the name of a pitch without its octave."""
    return pitch_of(midi).pretty[:-1]


def _chords(document: Document, planned: Planned, reads: Reads | None) -> tuple[Target | None, ...]:
    """Return the chord that each note stands in, short ones too, with its pure place there."""
    if len(document.part_ids) == 1 and planned.plan.line.of == 1:
        return (None,) * len(planned.plan.notes)
    memo = document.memo.setdefault(f"sonorities {reads}", Sonorities(document, reads))
    return targets(planned.plan.line, [note.time.sounds_s for note in planned.plan.notes], memo, from_s=0)


def _beat(planned: Planned) -> dict[str, Any]:
    """Return the printed beat at the start, with the tempo asked for."""
    line, times = planned.plan.line, planned.planner.times
    beat = line.beat_at(line.measures[0].onset)
    quarters = float(beat.quarters)
    bpm = max(1, round(times[0].bpm / quarters))
    return {"unit": beat.unit, "dots": beat.dots, "bpm": bpm, "quarters": quarters,
            "said": _SIGNS.get(beat.unit, beat.unit) + "." * beat.dots}


def _end_s(playing: dict[str, Any]) -> float:
    """Where the last measure ends, as far as its beats tell. [s]"""
    beats, notes = playing["beats"], playing["notes"]
    last = max(note["start_s"] + note["sounds_s"] for note in notes)
    step = beats[-1][0] - beats[-2][0] if len(beats) > 1 else 0.0
    return float(round(max(last, beats[-1][0] + step if beats else 0.0), 4))


def _tonic(document: Document, planned: Planned) -> int:
    """Return the key note at the beginning, sounding, from F2 to E3 [MIDI]; the last note's where no key is told."""
    line = planned.plan.line
    found: int | None = None
    for music in document.part_measures(line.part_id)[:line.measures[0].index + 1]:
        for key in music.iterfind("attributes/key"):
            fifths = key.findtext("fifths") or ""
            if fifths.strip().lstrip("-").isdecimal():
                found = 7 * int(fifths) + (9 if (key.findtext("mode") or "").strip() == "minor" else 0)
    first = line.notes[0]
    midi = line.notes[-1].midi if found is None else found + first.sounding.midi - first.written.midi
    return _drone_midi(midi)


def _drone_midi(midi: int) -> int:
    return _LOWEST_DRONE + (midi - _LOWEST_DRONE) % 12


def _note(planned: Planned, note: PlannedNote, drawn: Mapping[int, int], chord: Target | None,
          beat: str) -> dict[str, Any]:
    plan, choice = planned.plan, note.choice
    place = f"measure {note.note.measure}"
    how = "not on this horn" if choice is None else (
        f"position {shown(choice.label)}" if choice.position is not None else
        "open" if not choice.valves else f"valve{'s' if len(choice.valves) > 1 else ''} {shown(choice.label)}")
    usual = f", where the chart has {shown(note.usual.label)}" if note.changed and note.usual else ""
    long = note.time.sounds_s >= plan.player.just_from_s
    found: dict[str, Any] = {
        "refs": [drawn[ref] for ref in note.note.refs], "name": note.note.written.pretty, "place": place,
        "root_midi": None if chord is None else _drone_midi(chord.chord.root_class),
        "pure_cents": None if chord is None or not long else round(chord.cents, 2),
        "said": f"{place.capitalize()}, beat {beat}: {note.note.written.pretty}, {how}{usual}",
        "why": [*note.why, *([note.problem.what] if note.problem else [])]}
    if choice is not None and choice.extension_mm is None:
        # A slide of a valve is pulled on both legs too: the same half of the sounding tube.
        found["half_mm"] = round(state(plan.horn, choice.valves).ratio * plan.horn.tube_mm / 2, 1)
    return found


def _beat_in(planned: Planned, note: PlannedNote, measure: Measure) -> str:
    """Return the beat of its measure on which a note begins, counted from 1."""
    place = (note.note.onset - measure.onset) / planned.plan.line.beat_at(measure.onset).quarters + 1
    return str(place) if place.denominator == 1 else f"{float(place):.2f}".rstrip("0").rstrip(".")
