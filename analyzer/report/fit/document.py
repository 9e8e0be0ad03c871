"""The fit of a section as data (the JSON document of the contract) and as text."""

from collections.abc import Sequence
from typing import Any

from analyzer.report.fit.text import verdict_said
from analyzer.report.tune_chords import chord_json
from analyzer.report.write import phrases_json
from analyzer.review.findings import Finding
from analyzer.review.line import CODES
from analyzer.section.fit import Seat, SectionFit
from analyzer.section.in_tune import section_chords
from analyzer.section.proposals import Proposal
from analyzer.section.seating import Chair
from analyzer.section.shares import Part, Share
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
        "assignments": [_seat_json(seat) for seat in fit.seats if not seat.doubles],
        "doublings": [_seat_json(seat) for seat in fit.seats if seat.doubles],
        "unfilled": [{**_chair_json(one.chair), "why": one.why} for one in fit.unfilled],
        "absent": list(fit.absent),
        "lines": [{**_chair_json(line.chair), "role": line.role, "empty_price": line.empty_price}
                  for line in fit.priced],
        "prices": [{**_chair_json(line.chair), "player": player, "horn": offer.played, "price": offer.price,
                    "why": list(offer.why), "cover": offer.cover is not None}
                   for line in fit.priced for player, offer in line.offers],
        "shares": [_share_json(share) for share in fit.shares],
        "changes": [_change_json(one) for one in fit.changes],
        "after_changes": [{**_chair_json(chair), "player": player, "horn": horn} for chair, player, horn in fit.after],
        "tuning": [chord_json(chord) for chord in section_chords(fit)],
        **_told_json(fit.findings),
        "problems": [problem.as_json() for problem in fit.problems],
        "cautions": list(fit.cautions),
    }


def _chair_json(chair: Chair) -> dict[str, Any]:
    return {"part": {"id": chair.part.id, "name": chair.part.name}, "line": chair.line.number, "of": chair.line.of}


def _seat_json(seat: Seat) -> dict[str, Any]:
    burden, cover = seat.burden, seat.cover
    items = cover.items if cover is not None else burden.items if burden is not None else {}
    return {
        **_chair_json(seat.chair), "player": seat.member.name, "horn": seat.played, "doubling": seat.doubles,
        "cost": round(sum(items.values()), 3), "price": seat.price,
        "cost_items": {name: round(price, 3) for name, price in items.items()},
        "unplayable": len(burden.unplayable) if burden is not None else len(cover.missing) if cover is not None else 0,
        "out_of_range": len(burden.out_of_range) if burden is not None else 0,
        "too_fast": len(burden.too_fast) if burden is not None else 0,
        "cover": _cover_json(seat),
        "assumptions": [found.as_json() for found in of_line(
            seat.chair.line, burden.planner.tempo_bpm if burden is not None else None)],
        "checked": list(seat.looked.checked), "not_told": list(seat.looked.not_told),
        "reach_estimated": seat.member.player.reach_estimated,
        **_told_json(seat.findings),
    }


def _cover_json(seat: Seat) -> dict[str, Any] | None:
    """Return what a cover keeps and loses, None on a horn of the line's own kind."""
    cover, notes = seat.cover, seat.chair.line.notes
    if cover is None:
        return None
    return {"of": cover.of, "by": cover.by, "clef": cover.reader.clef, "octaves": phrases_json(cover.phrases, notes),
            "lost": [{"code": loss.code, "what": loss.what, "measures": list(loss.measures)} for loss in cover.lost],
            "price": seat.price}


def _share_json(share: Share) -> dict[str, Any]:
    """Return who plays which phrase of a shared line, and what nobody plays."""
    notes = share.chair.line.notes
    parts = {piece.phrase.first: part for part in share.parts for piece in part.pieces}
    pieces = [{"player": part.member.name, "horn": part.played, "clef": part.cover.reader.clef,
               **phrases_json([piece.phrase], notes)[0],
               "missing": [{"index": k, "measure": notes[k].measure, "sounding": notes[k].sounding.name}
                           for k in piece.missing],
               "beside": share_beside(part), "price": round(piece.price, 3)}
              for piece in share.split.taken for part in [parts[piece.phrase.first]]]
    return {**_chair_json(share.chair), "pieces": pieces, "handovers": share.split.handovers, "whole": share.whole,
            "left": [{"first": first, "last": last, "measures": [notes[first].measure, notes[last].measure]}
                     for first, last in share.left],
            "price": round(share.split.price, 3), "said": share.said}


def share_beside(part: Part) -> str:
    """Say where the phrases stand: ``own line`` of who keeps the rest, ``rests`` of another line, or ``alone``."""
    return "own line" if part.holder else "rests" if part.sits is not None else "alone"


def _told_json(told: Sequence[Finding]) -> dict[str, Any]:
    """Return `findings`, which speak of the music by the codes of a review, and `remarks`, which speak of players."""
    return {"findings": [one.as_json() for one in told if one.code in CODES],
            "remarks": [one.as_json() for one in told if one.code not in CODES]}


def _change_json(change: Proposal) -> dict[str, Any]:
    chair = _chair_json(change.chair) if change.chair else {"part": None, "line": None, "of": None}
    return {"kind": change.kind, "text": change.text, **chair, **change.data}
