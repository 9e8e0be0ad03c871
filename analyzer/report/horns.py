"""The horns that come with the project, and one horn with the origin of its numbers, told."""

from collections.abc import Iterator, Sequence
from typing import Any

from analyzer.evidence import Evidence
from analyzer.horns.candidates import candidates, sounding_range
from analyzer.horns.horn import Horn
from analyzer.pitch import pitch_of
from analyzer.tuning.retuned import EVERY_PARTIAL
from analyzer.words import counted, shown, side, valves_text

SCHEMA = "lowbrass.horns/1"
_ONE_SCHEMA = "lowbrass.horn/1"


def horns_document(horns: Sequence[Horn]) -> dict[str, Any]:
    """Return the JSON document of the list."""
    return {"schema": SCHEMA, "horns": [_row(horn) for horn in horns]}


def horns_text(horns: Sequence[Horn]) -> str:
    """Return a line for each horn: name, range, description, notes that it lacks."""
    lines = []
    for row in map(_row, horns):
        gaps = f"; no {_run(row['gaps'])}" if row["gaps"] else ""
        low, high = shown(row["low"]), shown(row["high"])
        lines.append(f"{row['name']:<25} {low:>4} to {high:<4} {row['description']}{gaps}")
    return "\n".join(lines)


def horn_document(horn: Horn) -> dict[str, Any]:
    """Return the JSON document of one horn: every number with its origin."""
    return {"schema": _ONE_SCHEMA, **_row(horn), "facts": list(_facts(horn))}


def horn_text(horn: Horn) -> str:
    """Return the same in words."""
    lines = [f"{horn.description} ({horn.name})"]
    for fact in _facts(horn):
        origin = [fact["kind"], fact["source"], fact["why"], f"range {fact['range']}" if fact["range"] else ""]
        lines += [f"  {fact['what']}: {fact['value']}", f"      {'; '.join(part for part in origin if part)}"]
    return "\n".join(lines)


def _row(horn: Horn) -> dict[str, Any]:
    low, high = sounding_range(horn)
    return {
        "name": horn.name,
        "family": horn.family,
        "instrument": horn.kind,
        "description": horn.description,
        "low": pitch_of(low).name,
        "high": pitch_of(high).name,
        "gaps": [pitch_of(midi).name for midi in range(low, high + 1) if not candidates(horn, midi)],
    }


def _run(gaps: list[str]) -> str:
    """A gap is one run of notes on every horn known so far; more than one note shows as its ends."""
    return shown(gaps[0] if len(gaps) == 1 else f"{gaps[0]} to {gaps[-1]}")


def _facts(horn: Horn) -> Iterator[dict[str, str]]:
    handling = horn.handling
    yield _fact("open tube", f"{horn.tube_mm:.5g} mm", horn.tube.evidence)
    if horn.slide_end:
        yield _fact("end of the slide", f"{horn.slide_end_mm:g} mm", horn.slide_end.evidence)
    for loop in horn.loops:
        flat = f", tuned {abs(loop.flat_cents):.3g} cents {side(-loop.flat_cents)}" if loop.flat_cents else ""
        needs = f", only with {loop.needs}" if loop.needs else ""
        value = f"{counted(loop.semitones, 'half step')}{flat}{needs}; {100 * loop.share:.1f} % of the open tube"
        yield _fact(f"valve {loop.name}", value, loop.evidence)
        if loop.second_share is not None:
            yield _fact(f"second loop of valve {loop.name}", f"{100 * loop.second_share:.1f} % of the open tube",
                        loop.evidence)
    if horn.master_evidence:
        yield _fact("compensating", f"the others lengthen while {horn.master} is held", horn.master_evidence)
    for offset in horn.offsets:
        held = "every state" if offset.valves is None else valves_text(offset.valves, "open")
        partials = f"partial{'s' if len(offset.partials) > 1 else ''} {', '.join(map(str, offset.partials))}"
        if offset.partials == EVERY_PARTIAL:
            partials = "every partial"
        yield _fact(f"{partials} ({held})", f"{offset.cents:+.3g} cents", offset.evidence)
    yield _fact("lip reach", f"{horn.lip_reach.value:g} cents", horn.lip_reach.evidence)
    for printed in horn.printed:
        value = valves_text(printed.valves)
        yield _fact(f"usual for {counted(printed.down, 'half step')} below a partial", value, printed.evidence)
    yield _fact("bore", f"{handling.bore_mm.value:g} mm", handling.bore_mm.evidence)
    yield _fact("weight", f"{handling.weight_kg.value:g} kg", handling.weight_kg.evidence)
    yield _fact("the left hand holds", handling.left_hand_carries.text, handling.left_hand_carries.evidence)
    yield _fact("the left hand works", handling.left_hand_works.text, handling.left_hand_works.evidence)
    if handling.fourth_valve:
        yield _fact("the fourth valve lies", handling.fourth_valve, handling.evidence)


def _fact(what: str, value: str, evidence: Evidence) -> dict[str, str]:
    return {"what": what, "value": value, **evidence.as_json()}
