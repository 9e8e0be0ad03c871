"""The fit of a section as data (the JSON document of the contract) and as text."""

from collections.abc import Sequence
from typing import Any

from analyzer.report.fit.text import verdict_said
from analyzer.review.findings import Finding
from analyzer.review.line import CODES
from analyzer.section.fit import Seat, SectionFit
from analyzer.section.proposals import Proposal
from analyzer.section.seating import Chair
from analyzer.supposed import of_line

SCHEMA = "lowbrass.fit/1"


def fit_document(fit: SectionFit) -> dict[str, Any]:
    """Return the JSON document of a fit."""
    return {
        "schema": SCHEMA,
        "score": {"file": fit.document.name, "title": fit.document.title},
        "verdict": fit.verdict,
        "about": fit.about,
        "said": verdict_said(fit),
        "reservations": [{"code": one.code, **_chair_json(one.chair), "player": one.player, "what": one.what}
                         for one in fit.reservations],
        "assignments": [_seat_json(one) for one in fit.seats],
        "unfilled": [{**_chair_json(one.chair), "why": one.why} for one in fit.unfilled],
        "changes": [_change_json(one) for one in fit.changes],
        "after_changes": [{**_chair_json(chair), "player": player, "horn": horn} for chair, player, horn in fit.after],
        **_told_json(fit.findings),
        "problems": [problem.as_json() for problem in fit.problems],
        "cautions": list(fit.cautions),
    }


def _chair_json(chair: Chair) -> dict[str, Any]:
    return {"part": {"id": chair.part.id, "name": chair.part.name}, "line": chair.line.number, "of": chair.line.of}


def _seat_json(seat: Seat) -> dict[str, Any]:
    burden = seat.burden
    return {
        **_chair_json(seat.chair), "player": seat.member.name, "horn": burden.horn.name, "doubling": seat.doubles,
        "cost": round(burden.cost, 3),
        "cost_items": {name: round(price, 3) for name, price in burden.items.items()},
        "unplayable": len(burden.unplayable), "out_of_range": len(burden.out_of_range),
        "too_fast": len(burden.too_fast),
        "assumptions": [found.as_json() for found in of_line(seat.chair.line, burden.planner.tempo_bpm)],
        "checked": list(seat.looked.checked), "not_told": list(seat.looked.not_told),
        "reach_estimated": seat.member.player.reach_estimated,
        **_told_json(seat.findings),
    }


def _told_json(told: Sequence[Finding]) -> dict[str, Any]:
    """Return `findings`, which speak of the music by the codes of a review, and `remarks`, which speak of players."""
    return {"findings": [one.as_json() for one in told if one.code in CODES],
            "remarks": [one.as_json() for one in told if one.code not in CODES]}


def _change_json(change: Proposal) -> dict[str, Any]:
    chair = _chair_json(change.chair) if change.chair else {"part": None, "line": None, "of": None}
    return {"kind": change.kind, "text": change.text, **chair, **change.data}
