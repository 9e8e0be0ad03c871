"""The aid for a change of horn as data and as text."""

from collections.abc import Iterable, Sequence
from typing import Any

from analyzer.section.ready import Difference, LineSum, Need, Place, Ready
from analyzer.words import first_few, shown

SCHEMA = "lowbrass.ready/1"
DECIDES = ("This is for a conversation between teacher, student and family. It decides nothing and rules nobody out: "
           "the teacher who is present decides.")
_MOST_MEASURES = 8                     # named in one line; the JSON has all


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
    who = "A player" if ready.player.name == "player" else ready.player.name
    out = ["", f"{who}: from {ready.before.name} to {ready.after.name}",
           f"  {ready.before.description} -> {ready.after.description}", "", DECIDES, "", "What changes in the hands"]
    for change in ready.changes:
        kind = f" [{change.evidence.kind}]" if change.evidence else ""
        out.append(f"  {change.what}: {change.before} -> {change.after}{kind}; {change.meaning}.")
    if not ready.changes:
        out.append("  Nothing that the profiles of the two horns tell.")
    if ready.after.family == "slide":
        out += ["", "The slide", f"  {reach_text(ready)}"]
        for place in ready.places:
            beyond = f", {place.beyond_reach_mm:.0f} mm beyond that reach" if place.beyond_reach_mm is not None else ""
            out.append(f"  {place.label:<4} {place.extension_mm:4.0f} mm: {place.what}{beyond}")
    out += ["", f"Notes that get easier (or possible) on {ready.after.name}"]
    out += _needs_text(ready.gains, ready) or ["  None: every note is as good on the current horn."]
    if ready.losses:
        out += ["", f"Notes that get harder (or impossible) compared with {ready.before.name}",
                *_needs_text(ready.losses, ready)]
    if ready.neither:
        out += ["", "What this player cannot play on either horn", *_needs_text(ready.neither, ready)]
    out += ["", "What to look at with the student present"]
    for number, skill in enumerate(ready.skills, 1):
        out.append(f"  {number}. {skill.look}")
        if skill.where:
            out.append(f"     Try: {'; '.join(skill.where)}.")
    if ready.before.name != ready.after.name:
        out += ["", "Week by week from a folder of scores: lowbrass course FOLDER --player FILE.toml "
                    f"--from {ready.before.name} --to {ready.after.name} -o FOLDER"]
    return "\n".join([*out, "", *(f"Caution: {line}" for line in ready.cautions)])


def _needs_text(needs: Sequence[Need], ready: Ready) -> list[str]:
    return list(_each(needs, several=len(ready.documents) > 1))


def _each(needs: Sequence[Need], *, several: bool) -> Iterable[str]:
    last = ""
    for one in needs:
        name = one.part.full_name or one.part.name or one.part.id
        title = f"{one.score}, {name}, line {one.line}" if several else f"{name}, line {one.line}"
        if title != last:
            last = title
            yield f"  {title}"
        have = f"; there {one.have}" if one.have else ""
        times = f" ({one.count} notes)" if one.count > 1 else ""
        yield (f"    {shown(one.sounding)}{times}: {one.lack}{have}. "
               f"Measure{'s' if len(one.measures) > 1 else ''} {first_few(one.measures, _MOST_MEASURES)}.")
