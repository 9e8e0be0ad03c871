"""The name of a line and its horn, and what was assumed of it, as every answer begins."""

from collections.abc import Iterable

from analyzer.analysis import Planned
from analyzer.assumption import Assumption


def heading(one: Planned) -> str:
    """Return the name of a line and its horn, for a person; that a horn is assumed is said once, by `supposed_text`."""
    plan = one.plan
    whose = f", {plan.line.whose}" if plan.line.whose else ""
    return f"{one.part.full_name or one.part.name or one.part.id}{whose} - {plan.horn.description}"


def supposed_text(one: Planned) -> str:
    """Return in one line what the score did not say and was supposed; empty where nothing was."""
    return assumed_text(one.assumptions)


def assumed_text(assumptions: Iterable[Assumption]) -> str:
    """Return assumptions in one line; empty where there are none."""
    said = "; ".join(f"{found.about} {found.value} ({found.source})" for found in assumptions)
    return f"Assumed: {said}." if said else ""
