"""The page that a student takes home: built from a planned line, complete in one file."""

import json
import re
import zlib
from base64 import b64encode
from collections.abc import Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from analyzer import cautions
from analyzer.analysis import Analysis, Planned, Request, analyse, with_notes
from analyzer.plan.plan import Plan
from analyzer.problem import unreadable
from analyzer.report.map.pages import systems_of
from analyzer.report.shell import safe
from analyzer.report.take_home.content import content_of, name_of
from analyzer.score.document import Document
from analyzer.score.transposing import Reads

_HERE = Path(__file__).parent
_ENGINE = _HERE.parents[1] / "web" / "static"          # the player and the moving slide, shared with the local page
_SCRIPTS = (*(_HERE / "vendor" / name for name in ("fft.js", "pitchy.js")),
            *(_ENGINE / name for name in ("sound.js", "slide.js", "engine.js")),
            *(_HERE / f"{name}.js" for name in ("tuner", "sheet", "kept", "ladder", "listening", "take_home")))
_TRANSPOSED = {"concert": "it sounds as printed", "treble-b-flat": "it sounds a major ninth below the print"}
_SLOWEST, _FASTEST = 0.3, 1.3           # of the printed tempo
_LADDER_START = 0.6
FORMS = {"narrow": 360, "wide": 900, "large": 240}
"""Widths that the music is engraved for [px]: a phone, anything wider, a phone in large print (staves half as large
again); a wider screen shows the phone's music in large print. Without scripts the first stands in the page."""
_UNITS_PER_PX = 20


def take_home(document: Document, request: Request, *, line: int | None = None, large: bool = False,
              ) -> tuple[bytes, Analysis]:
    """Return the page of one line as a file, and the analysis it shows.

    Parameters
    ----------
    document : Document
        The score.
    request : Request
        Part, horn, measures, tempo, player, pins and intonation.
    line : int, optional
        Which player's line, where several share the part.
    large : bool
        Opens in large print.

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
    return page_of(analysis, wanted[0], large=large, reads=request.reads).encode(), analysis


def page_of(analysis: Analysis, planned: Planned, *, large: bool = False, reads: Reads | None = None) -> str:
    """Return the page of one planned line.

    `large` opens it in large print, to which it can also be switched; `reads` is as it was asked for the analysis.
    """
    plan, document = planned.plan, analysis.document
    systems, faces = systems_of(analysis, planned, FORMS)
    data = content_of(document, planned, reads)
    notes, beat = data["notes"], data["beat"]
    title = document.title or document.name
    lines = {
        "title": safe(f"{title}: {planned.part.name}"), "heading": safe(title),
        "large": " class=large" if large else "",
        "lead": " · ".join(f"<bdi>{safe(word)}</bdi>" for word in (
            planned.part.full_name or planned.part.name, plan.line.whose,
            plan.player.name if plan.player.name != "player" else "", plan.horn.description, _span(planned)) if word),
        "supposed": safe(_supposed(planned)),
        "faces": faces, "css": (_HERE / "take_home.css").read_text(encoding="utf-8"),
        "music": "".join(_sheet(form, systems[form]) for form in FORMS), "legend": safe(_legend(plan)),
        "figure": "The slide, to scale" if data["slide"] else "The valves", "tonic": name_of(data["tonic_midi"]),
        "hands": "the slide" if data["slide"] else "the fingers",
        "chord": '<option value="chord">on the root of each chord, moving with the music</option>' if any(
            note["root_midi"] is not None for note in notes) else "",
        "planned": "as planned, long notes pure in their chords" if planned.targets else "as this horn plays it",
        "pure": '<option value="pure">pure in the chords, long notes</option>' if any(
            note["pure_cents"] for note in notes) and not planned.targets else "",
        "cautions": "".join(f"<li>{safe(text)}</li>" for text in (*analysis.cautions, cautions.HEARING)),
        "words": "".join(f"<li>{safe(note['said'])}</li>" for note in notes),
        "slowest": str(max(5, round(beat["bpm"] * _SLOWEST))), "fastest": str(round(beat["bpm"] * _FASTEST)),
        "bpm": str(beat["bpm"]), "data": _json(data), "script": script()} | _ladder(plan, beat)
    return re.sub(r"\{(\w+)\}", lambda slot: lines[slot[1]], (_HERE / "take_home.html").read_text(encoding="utf-8"))


def _supposed(planned: Planned) -> str:
    """Say what the score did not say, in words; the horn is named above."""
    said = ["the horn" if found.about == "horn" else
            _TRANSPOSED.get(found.value, f"{found.about} {found.value}") for found in planned.assumptions]
    return f"The score does not say, so this was supposed: {'; '.join(said)}." if said else ""


def _ladder(plan: Plan, beat: Mapping[str, Any]) -> dict[str, str]:
    """Return where the tempo ladder begins and ends: at the printed tempo, or what the passage goes up to."""
    ceiling = plan.totals.tempo_ceiling_bpm
    top = round(ceiling / beat["quarters"]) if ceiling else None
    goal = min(beat["bpm"], top) if top else beat["bpm"]
    return {"ladder_start": str(max(10, round(goal * _LADDER_START))), "ladder_goal": str(goal),
            "ceiling": safe(f"On this horn the passage goes up to about {beat['said']} = {top}." if top else "")}


def _legend(plan: Plan) -> str:
    """Say what the marks mean that are not the chart's."""
    said = []
    if any(note.changed for note in plan.notes):
        said.append("Bold in a tray: another choice than the chart's; tap the note for the reason.")
    if any(note.choice is None for note in plan.notes):
        said.append("×: this horn cannot play the note; tap it for the reason.")
    return " ".join(said)


def _sheet(form: str, systems: Sequence[str]) -> str:
    """Return the systems for one width of screen: text until the script takes it.

    The narrow ones stand in the page where scripts are off; the others are packed, a fifth of their size. In large
    print a measure that is wider than the screen is not made smaller: the music goes sideways.
    """
    opening, defs, rest = re.split(r"(<defs>.*?</defs>)", systems[0], maxsplit=1, flags=re.DOTALL)
    boxes = []
    for svg in (opening + rest, *systems[1:]):
        box = re.search(r'viewBox="\S+ \S+ (\S+) (\S+)"', svg)
        assert box is not None
        wide = int(box[1]) / (FORMS[form] * _UNITS_PER_PX) if form == "large" else 1.0
        style = f"aspect-ratio:{box[1]}/{box[2]}" + (f";width:{wide:.0%}" if wide > 1 else "")
        boxes.append(f'<div class="row" style="{style}">{svg}</div>')
    glyphs = f'<svg class="hidden" aria-hidden="true">{defs}</svg>'
    text = f'<div class="sheet {form}">{glyphs}{"".join(boxes)}</div>'
    if form == "narrow":
        return f'<noscript data-form="{form}">{text}</noscript>'
    packed = b64encode(zlib.compress(text.encode(), 9)).decode()
    return f'<script type="text/plain" data-form="{form}">{packed}</script>'


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


def _span(planned: Planned) -> str:
    measures = planned.plan.line.measures
    return f"measures {measures[0].number} to {measures[-1].number}" if len(measures) > 1 else \
        f"measure {measures[0].number}"
