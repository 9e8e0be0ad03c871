"""The page that a student takes home: built from a planned line, complete in one file."""

import json
import re
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from analyzer import cautions
from analyzer.analysis import Analysis, Planned, Request, analyse, with_notes
from analyzer.pitch import pitch_of
from analyzer.plan.plan import PlannedNote
from analyzer.problem import unreadable
from analyzer.report.folders.names import safe_name
from analyzer.report.map.pages import PageChoices, systems_of
from analyzer.report.map.printed import own_of
from analyzer.report.playing import playing_of
from analyzer.report.shell import safe
from analyzer.score.document import Document
from analyzer.words import shown

_HERE = Path(__file__).parent
_ENGINE = _HERE.parents[1] / "web" / "static"          # the player and the moving slide, shared with the local page
_SCRIPTS = (_HERE / "vendor" / "fft.js", _HERE / "vendor" / "pitchy.js", _ENGINE / "sound.js", _ENGINE / "slide.js",
            _ENGINE / "engine.js", _HERE / "tuner.js", _HERE / "sheet.js", _HERE / "take_home.js")
_SLOWEST, _FASTEST = 0.3, 1.3           # of the printed tempo
_LADDER_START = 0.6
_SIGNS = {"whole": "𝅝", "half": "𝅗𝅥", "quarter": "♩", "eighth": "♪"}


def take_home(document: Document, request: Request, *, line: int | None = None) -> tuple[bytes, Analysis]:
    """Return the page of one line as a file, and the analysis it shows.

    Parameters
    ----------
    document : Document
        The score.
    request : Request
        Part, horn, measures, tempo, player, pins and intonation.
    line : int, optional
        Which player's line, where several share the part.

    Raises
    ------
    Unreadable
        If there is no such line, several and none is named, no note in it, or the music cannot be engraved.
    """
    analysis = with_notes(analyse(document, request))
    wanted = [planned for planned in analysis.lines if line is None or planned.plan.line.number == line]
    if len(wanted) != 1:
        names = "; ".join(f"--part {planned.part.id}"
                          + (f" --line {planned.plan.line.number}" if planned.plan.line.of > 1 else "")
                          for planned in analysis.lines[:12])
        raise unreadable("several-lines", where=document.name,
                         what=f"{len(wanted) or 'no'} lines are meant, and a page is for one player",
                         try_=f"Choose one: {names}.")
    return page_of(analysis, wanted[0]).encode(), analysis


def page_of(analysis: Analysis, planned: Planned) -> str:
    """Return the page of one planned line."""
    plan, document = planned.plan, analysis.document
    narrow, wide, faces = systems_of(analysis, planned, PageChoices())
    playing = playing_of(planned)
    beat = _beat(planned)
    # The music may be that of the line alone: its notes bear the ordinals that they have there.
    drawn = own_of(document, planned).refs
    data = playing | {
        "id": f"{document.name} {planned.part.id} {plan.line.number} {plan.notes[0].note.measure}",
        "score": document.name, "title": document.title, "part": {"id": planned.part.id, "name": planned.part.name},
        "line": plan.line.number, "horn": plan.horn.name, "player": plan.player.name,
        "file": safe_name(f"{document.title or document.name} {planned.part.name}"),
        "end_s": _end_s(playing), "tonic_midi": _tonic(document, planned), "beat": beat,
        "notes": [tone | _note(planned, note, drawn) for tone, note in zip(playing["notes"], plan.notes, strict=True)]}
    chords = any(note["root_midi"] is not None for note in data["notes"])
    ceiling = plan.totals.tempo_ceiling_bpm
    top = round(ceiling / beat["quarters"]) if ceiling else None
    goal = min(beat["bpm"], top) if top else beat["bpm"]
    title = document.title or document.name
    supposed = "; ".join(f"{found.about} {found.value}" for found in planned.assumptions)
    lines = {
        "title": safe(f"{title}: {planned.part.name}"), "heading": safe(title),
        "lead": safe(" · ".join(word for word in (
            planned.part.full_name or planned.part.name, plan.line.whose,
            plan.player.name if plan.player.name != "player" else "", plan.horn.description, _span(planned)) if word)),
        "supposed": safe(f"The score does not say, so this was supposed: {supposed}." if supposed else ""),
        "faces": faces, "css": (_HERE / "take_home.css").read_text(encoding="utf-8"),
        "music": _sheet("narrow", narrow) + _sheet("wide", wide),
        "figure": "The slide, to scale" if playing["slide"] else "The valves", "tonic": _name(data["tonic_midi"]),
        "hands": "the slide" if playing["slide"] else "the fingers",
        "chord": '<option value="chord">on the root of the chosen note\'s chord</option>' if chords else "",
        "ladder_start": str(max(10, round(goal * _LADDER_START))), "ladder_goal": str(goal),
        "ceiling": safe(f"On this horn the passage goes up to about {beat['said']} = {top}." if top else ""),
        "cautions": "".join(f"<li>{safe(text)}</li>" for text in (*analysis.cautions, cautions.HEARING)),
        "words": "".join(f"<li>{safe(note['said'])}</li>" for note in data["notes"]),
        "slowest": str(max(5, round(beat["bpm"] * _SLOWEST))), "fastest": str(round(beat["bpm"] * _FASTEST)),
        "bpm": str(beat["bpm"]), "data": _json(data), "script": script(),
    }
    return re.sub(r"\{(\w+)\}", lambda slot: lines[slot[1]], (_HERE / "take_home.html").read_text(encoding="utf-8"))


def _sheet(form: str, systems: Sequence[str]) -> str:
    """Return the systems for one width of screen: text until the script takes it, music where scripts are off."""
    opening, defs, rest = re.split(r"(<defs>.*?</defs>)", systems[0], maxsplit=1, flags=re.DOTALL)
    boxes = []
    for svg in (opening + rest, *systems[1:]):
        box = re.search(r'viewBox="\S+ \S+ (\S+) (\S+)"', svg)
        assert box is not None
        boxes.append(f'<div class="system" style="aspect-ratio:{box[1]}/{box[2]}">{svg}</div>')
    glyphs = f'<svg class="hidden" aria-hidden="true">{defs}</svg>'
    return f'<noscript data-form="{form}"><div class="sheet {form}">{glyphs}{"".join(boxes)}</div></noscript>'


@cache
def script() -> str:
    """Return the script of the page: modules put together in order, without their imports and exports."""
    parts = []
    for path in _SCRIPTS:
        text = path.read_text(encoding="utf-8")
        if path.name == "fft.js":
            text = f"const FFT = (() => {{ const module = {{ exports: {{}} }};\n{text}\nreturn module.exports; }})();"
        text = re.sub(r"(?m)^import .*$", "", text)
        parts.append(re.sub(r"(?m)^export (?=class|function|const|async)", "", text))
    return "\n".join(parts).replace("</script", "<\\/script")


def _json(data: dict[str, Any]) -> str:
    """Return data that no text of a score can break out of: inside a script element only ``<`` could."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"), allow_nan=False).replace("<", "\\u003c")


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
    return 41 + (midi - 41) % 12


def _name(midi: int) -> str:
    return pitch_of(midi).pretty[:-1]


def _note(planned: Planned, note: PlannedNote, drawn: Mapping[int, int]) -> dict[str, Any]:
    target = planned.targets[note.index] if planned.targets else None
    choice = note.choice
    place = f"measure {note.note.measure}"
    how = "not on this horn" if choice is None else (
        f"position {shown(choice.label)}" if choice.position is not None else
        "open" if not choice.valves else f"valve{'s' if len(choice.valves) > 1 else ''} {shown(choice.label)}")
    beat = _beat_in(planned, note)
    root = None
    if target is not None:
        root = 41 + (target.chord.root_class - 41) % 12
    return {"refs": [drawn[ref] for ref in note.note.refs], "name": note.note.written.pretty, "place": place,
            "root_midi": root,
            "said": f"{place.capitalize()}, beat {beat}: {note.note.written.pretty}, {how}",
            "why": [*note.why, *([note.problem.what] if note.problem else [])]}


def _beat_in(planned: Planned, note: PlannedNote) -> str:
    """Return the beat of its measure on which a note begins, counted from 1."""
    line = planned.plan.line
    measure = next(found for found in line.measures if found.index == note.note.measure_index)
    place = (note.note.onset - measure.onset) / line.beat_at(measure.onset).quarters + 1
    return str(place) if place.denominator == 1 else f"{float(place):.2f}".rstrip("0").rstrip(".")


def _span(planned: Planned) -> str:
    measures = planned.plan.line.measures
    return f"measures {measures[0].number} to {measures[-1].number}" if len(measures) > 1 else \
        f"measure {measures[0].number}"
