"""A horn written as the TOML profile that `profiles.horn_from_text` reads back."""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from analyzer.evidence import Evidence
from analyzer.horns.horn import Horn, Loop, Quantity, Statement, Valves
from analyzer.horns.profiles import SCHEMA
from analyzer.pitch import pitch_of
from analyzer.toml_file import toml_value
from analyzer.words import valves_text


def profile_text(horn: Horn, remark: str = "") -> str:
    """Return the TOML text of a horn, every number with its origin; `remark` stands above it as comment lines.

    Numbers keep six digits: a share of the tube is then true to a thousandth of a cent.
    """
    return "\n\n".join(_blocks(horn, remark)) + "\n"


def own_name(path: Path) -> str:
    """Return the name of a horn whose profile is written to `path`: its stem, in signs that a name may have."""
    return re.sub(r"[^\w.+-]+", "-", path.stem) or "my-horn"


def _blocks(horn: Horn, remark: str) -> Iterator[str]:
    head = [f"# {line}" for line in remark.splitlines()]
    yield "\n".join([
        *head, f"schema = {SCHEMA}", *_pairs(
            name=horn.name, family=horn.family, instrument=horn.kind, description=horn.description,
            fundamental=pitch_of(horn.fundamental_midi).name)])
    yield _quantity("[tube]", "length_mm", horn.tube)
    if horn.slide_end:
        yield _quantity("[slide]", "end_mm", horn.slide_end)
    yield _block("[lip]", _pairs(
        reach_cents=horn.lip_reach.value, flat_limit_cents=horn.flat_limit.value,
        sharp_limit_cents=horn.sharp_limit.value or None), horn.lip_reach.evidence)
    for loop in horn.loops:
        yield _attachment(loop) if horn.family == "slide" else _valve(loop)
    if horn.master_evidence:
        yield _block("[compensation]", _pairs(valve=horn.master), horn.master_evidence)
    for offset in horn.offsets:
        held = "every" if offset.valves is None else _held(offset.valves)
        yield _block("[[offset]]", [*_pairs(valves=held), f"partials = {list(offset.partials)}",
                                    *_pairs(cents=offset.cents)], offset.evidence)
    for printed in horn.printed:
        yield _block("[[printed]]", _pairs(down=printed.down, valves=_held(printed.valves)), printed.evidence)
    handling = horn.handling
    yield _quantity("[handling.bore]", "mm", handling.bore_mm)
    yield _quantity("[handling.weight]", "kg", handling.weight_kg)
    yield _statement("[handling.left_hand_carries]", handling.left_hand_carries)
    yield _statement("[handling.left_hand_works]", handling.left_hand_works)
    yield _block("[handling.layout]", _pairs(
        fourth_valve=handling.fourth_valve, valve_type=handling.valve_type,
        main_slide_trigger=handling.main_slide_trigger or None), handling.evidence)


def _attachment(loop: Loop) -> str:
    return _block("[[attachment]]", _pairs(
        name=loop.name, semitones=loop.semitones, flat_cents=loop.flat_cents, needs=loop.needs), loop.evidence)


def _valve(loop: Loop) -> str:
    second = None if loop.second_share is None else 100 * loop.second_share
    return _block("[[valve]]", _pairs(
        name=loop.name, adds_percent=100 * loop.share, semitones=loop.semitones, second_percent=second), loop.evidence)


def _held(valves: Valves) -> str:
    return valves_text(valves)


def _quantity(heading: str, key: str, quantity: Quantity) -> str:
    return _block(heading, _pairs(**{key: quantity.value}), quantity.evidence)


def _statement(heading: str, statement: Statement) -> str:
    return _block(heading, _pairs(text=statement.text), statement.evidence)


def _block(heading: str, pairs: Iterable[str], evidence: Evidence) -> str:
    origin = _pairs(kind=evidence.kind, source=evidence.source, why=evidence.why, range=evidence.range)
    return "\n".join([heading, *pairs, *origin])


def _pairs(**values: str | float | None) -> list[str]:
    """Return ``key = value`` lines; what is None or an empty text is left out."""
    return [f"{key} = {_value(value)}" for key, value in values.items() if value is not None and value != ""]


def _value(value: str | float) -> str:
    if isinstance(value, bool | str):
        return toml_value(value)
    return f"{value:.6g}"
