"""The aid for a change of horn as data and as text."""

from collections.abc import Sequence
from itertools import groupby
from typing import Any

from analyzer.report.blocks import Block, Cautions, Finding, Findings, Gap, Head, Hint, Said, Title, as_text
from analyzer.section.ready import Difference, LineSum, Need, Place, Ready
from analyzer.words import first_few, shown

SCHEMA = "lowbrass.ready/1"
DECIDES = ("This is for a conversation between teacher, student and family. It decides nothing and rules nobody out: "
           "the teacher who is present decides.")
_MOST_MEASURES = 8                     # named in one line; JSON and paper have all


def ready_document(ready: Ready) -> dict[str, Any]:
    """Return the JSON document."""
    return {
        "schema": SCHEMA,
        "decides": DECIDES,
        "scores": [{"file": one.name, "title": one.title} for one in ready.documents],
        "player": ready.player.name, "from": ready.before.name, "to": ready.after.name,
        "physical": [_change_json(one) for one in ready.changes],
        "reach": {"reach_mm": _rounded(ready.reach_mm), "estimated": ready.reach_estimated, "text": reach_text(ready)},
        "places": [_place_json(one) for one in ready.places],
        "lines": [_line_json(one) for one in ready.lines],
        "needs": [_need_json(one) for one in ready.gains],
        "losses": [_need_json(one) for one in ready.losses],
        "neither": [_need_json(one) for one in ready.neither],
        "skills": [{"look": one.look, "where": list(one.where)} for one in ready.skills],
        "problems": [problem.as_json() for problem in ready.problems],
        "cautions": list(ready.cautions),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _change_json(one: Difference) -> dict[str, Any]:
    return {"what": one.what, "from": one.before, "to": one.after, "meaning": one.meaning,
            "origin": one.evidence.as_json() if one.evidence else None}


def _place_json(one: Place) -> dict[str, Any]:
    return {"label": one.label, "extension_mm": round(one.extension_mm, 1), "what": one.what,
            "beyond_reach_mm": _rounded(one.beyond_reach_mm)}


def _line_json(one: LineSum) -> dict[str, Any]:
    def side(k: int) -> dict[str, Any]:
        return {"unplayable": one.unplayable[k], "travel_mm": _rounded(one.travel_mm[k]),
                "cost_per_note": round(one.cost_per_note[k], 2)}

    return {"score": one.score, "part": {"id": one.part.id, "name": one.part.name}, "line": one.line.number,
            "of": one.line.of, "notes": len(one.line.notes), "from": side(0), "to": side(1)}


def _need_json(one: Need) -> dict[str, Any]:
    return {"score": one.score, "part": {"id": one.part.id, "name": one.part.name}, "line": one.line,
            "sounding": one.sounding, "midi": one.midi, "reason": one.reason, "lack": one.lack, "have": one.have,
            "measures": list(one.measures), "count": one.count}


def reach_text(ready: Ready) -> str:
    """Say what is known of the player's reach on the new horn, and how."""
    if ready.after.family != "slide":
        return "The new horn has no slide."
    if ready.reach_mm is None:
        return ("No reach is given: add reach_mm, outermost_position or height_cm to the player file, best measured "
                "with the horn in hand.")
    text = f"Comfortable reach {ready.reach_mm:.0f} mm"
    if ready.reach_estimated:
        return f"{text}: an estimate from height, kept low. Measure it with the horn in hand before it counts."
    if ready.reach_mm >= ready.after.slide_end_mm:
        return f"{text}: the whole slide."
    return f"{text}, from the player file."


def ready_text(ready: Ready) -> str:
    """Return the aid for a teacher: hands, slide, music, what to look at, cautions."""
    return as_text(ready_blocks(ready))


def ready_blocks(ready: Ready) -> list[Block]:
    """Return the parts of the aid: hands, slide, music, what to look at, cautions."""
    who = "A player" if ready.player.name == "player" else ready.player.name
    out: list[Block] = [Gap(), Title(f"{who}: from {ready.before.name} to {ready.after.name}"),
                        Said(f"{ready.before.description} -> {ready.after.description}", indent=2), Gap(),
                        Said(DECIDES, strong=True), Head("What changes in the hands"),
                        Findings(("What", ready.before.name, ready.after.name, "What it means"),
                                 [_change_told(change) for change in ready.changes])]
    if not ready.changes:
        out.append(Said("Nothing that the profiles of the two horns tell.", indent=2))
    if ready.after.family == "slide":
        out += [Head("The slide"), Said(reach_text(ready), indent=2),
                Findings(("Position", "From closed", "What"), [_place_told(place) for place in ready.places])]
    if ready.documents:
        out += [Head(f"Notes that get easier (or possible) on {ready.after.name}"), *(
            _needs(ready.gains, ready) or [Said("None: every note is as good on the current horn.", indent=2)])]
    if ready.losses:
        out += [Head(f"Notes that get harder (or impossible) compared with {ready.before.name}"),
                *_needs(ready.losses, ready)]
    if ready.neither:
        out += [Head("What this player cannot play on either horn"), *_needs(ready.neither, ready)]
    out += [Head("What to look at with the student present")]
    for number, skill in enumerate(ready.skills, 1):
        out.append(Said(f"{number}. {skill.look}", indent=2))
        if skill.where:
            out.append(Said(f"Try: {'; '.join(skill.where)}.", indent=5))
    if ready.before.name != ready.after.name:
        out += [Gap(), Hint("Week by week from a folder of scores: lowbrass course FOLDER --player FILE.toml "
                            f"--from {ready.before.name} --to {ready.after.name} -o FOLDER")]
    return [*out, Cautions(ready.cautions)]


def _change_told(change: Difference) -> Finding:
    kind = f" [{change.evidence.kind}]" if change.evidence else ""
    return Finding((change.what, change.before, f"{change.after}{kind}", f"{change.meaning}."),
                   (f"  {change.what}: {change.before} -> {change.after}{kind}; {change.meaning}.",))


def _place_told(place: Place) -> Finding:
    beyond = f", {place.beyond_reach_mm:.0f} mm beyond that reach" if place.beyond_reach_mm is not None else ""
    return Finding((place.label, f"{place.extension_mm:.0f} mm", f"{place.what}{beyond}"),
                   (f"  {place.label:<4} {place.extension_mm:4.0f} mm: {place.what}{beyond}",))


def _needs(needs: Sequence[Need], ready: Ready) -> list[Block]:
    """Return a table for each line with what it needs, under its name."""
    def title(need: Need) -> str:
        name = need.part.full_name or need.part.name or need.part.id
        score = f"{need.score}, " if len(ready.documents) > 1 else ""
        return f"{score}{name}{f' (player {need.line})' if need.line > 1 else ''}"

    out: list[Block] = []
    for line, found in groupby(needs, key=title):
        out += [Said(line, indent=2), Findings(("Note", "What", "Measures"), [_need_told(need) for need in found])]
    return out


def _need_told(need: Need) -> Finding:
    have = f"; there {need.have}" if need.have else ""
    note = f"{shown(need.sounding)}{f' ({need.count} notes)' if need.count > 1 else ''}"
    return Finding(
        (note, f"{need.lack}{have}.", ", ".join(need.measures)),
        (f"    {note}: {need.lack}{have}. "
         f"Measure{'s' if len(need.measures) > 1 else ''} {first_few(need.measures, _MOST_MEASURES)}.",))
