"""A horn fitted to a tuner, and slides to pull, said to people and as data."""

from collections.abc import Iterable, Sequence
from typing import Any

from analyzer.horns.horn import Horn
from analyzer.horns.tubing import lowered_cents, nominal_semitones, state, tube_ratio
from analyzer.pitch import pitch_of
from analyzer.report.blocks import Block, Gap, Said, Table, as_text
from analyzer.review.pulls import Advice, Played, Retuned
from analyzer.tuning.retuned import MAIN
from analyzer.tuning.tuner import CONFIDENCE, FittedHorn, Found, JudgedReading, per_cent
from analyzer.words import listed, shown, signed

CARE = ("Pull a slide only as far as it stays tight, and never force one that is stuck: see a repair technician.",
        "Let your ears decide: try it with a tuner and with the band; the teacher who is present has the last word.")
SHOWN_CENTS = 5.0
"""Notes nearer than this before and after are left out of the text (judged: 5 cents are heard by nobody in a line)."""
_ORDINALS = {"1": "first", "2": "second", "3": "third", "4": "fourth"}


# --- a fit ------------------------------------------------------------------------------------------------------------


def fit_document(fit: FittedHorn, profile: Horn, file: str, empty: int) -> dict[str, Any]:
    """Return the JSON document of a fit."""
    return {
        "schema": "lowbrass.tune-fit/1", "horn": fit.horn.name, "profile": profile.name, "file": file,
        "confidence": CONFIDENCE, "noise_cents": round(fit.noise_cents, 2),
        "found": [{
            "what": one.unknown.what, "name": one.unknown.name, "unit": _unit(one), "change": round(one.change, 2),
            "plus_minus": round(one.plus_minus, 2), "sounds_plus_minus": round(one.sounds_plus_minus, 2),
            "readings": one.readings, "state": one.state,
        } for one in fit.found],
        "readings": [{
            "line": one.reading.line, "note": pitch_of(one.reading.midi).name, "midi": one.reading.midi,
            "label": one.reading.label, "partial": one.reading.partial, "read_cents": one.reading.cents,
            "profile_cents": round(one.before_cents, 2), "fitted_cents": round(one.after_cents, 2),
            "outlier": one.outlier,
        } for one in fit.readings],
        "rows_without_reading": empty,
        "cautions": list(CARE),
    }


def fit_text(fit: FittedHorn, profile: Horn) -> str:
    """Return a fit for a director: what was measured and how sure it is, what was not, which readings to take again."""
    return as_text(fit_blocks(fit, profile))


def fit_blocks(fit: FittedHorn, profile: Horn) -> list[Block]:
    """Return the parts of a fit."""
    used = len(fit.readings) - len(fit.outliers)
    told = [one for one in fit.found if one.state != "kept"]
    heads = ("", "profile", "yours", f"give or take ({CONFIDENCE:.0%} sure)", "readings")
    out: list[Block] = [
        Said(f"{fit.horn.name}: {profile.name} fitted to {used} readings; they vary by {fit.noise_cents:.1f} cents."),
        Gap(), Table([heads, *(_found_row(one, profile, fit.horn) for one in told)], right=True, indent=2)]
    whole = next((one for one in told if one.unknown.what == "horn"), None)
    if whole and whole.change - whole.plus_minus > 0:
        pull_mm = profile.tube_mm / 2 * (2 ** (whole.change / 1200) - 1)
        out += [Gap(), Said(f"The whole horn stands {whole.change:.0f} cents sharp: pull the main tuning slide out "
                            f"another {pull_mm:.0f} mm, then it stands right.")]
    elif whole and whole.change + whole.plus_minus < 0:
        push_mm = profile.tube_mm / 2 * (1 - 2 ** (whole.change / 1200))
        out += [Gap(), Said(f"The whole horn stands {-whole.change:.0f} cents flat: push the main tuning slide in by "
                            f"{push_mm:.0f} mm if it can, then it stands right.")]
    leaning = [_name(one) for one in told if one.state == "leans"]
    if leaning:
        out += [Gap(), Said(f"Few readings, so these rely on the profile: {', '.join(leaning)}.")]
    kept = [_name(one) for one in fit.found if one.state == "kept"]
    if kept:
        out += [Gap(), Said(f"Too few readings to tell, so these stay as {profile.name} has them: {', '.join(kept)}.")]
    if fit.outliers:
        out += [Gap(), Said("Left out because they disagree with the other readings; measure them again:"),
                *(Said(_outlier(one), indent=2) for one in fit.outliers)]
    return out


def _unit(one: Found) -> str:
    return "per cent" if one.unknown.what == "tube" else "cents"


def _name(one: Found) -> str:
    what, name = one.unknown.what, one.unknown.name
    if what == "horn":
        return "the whole horn"
    if what == "tube":
        return "tube"
    if what == "partial":
        return f"partial {name}"
    valve = f"valve {name}" if name in _ORDINALS else f"attachment {name}"
    return valve if what == "loop" else f"compensating loop of valve {name}"


def _found_row(one: Found, before: Horn, after: Horn) -> tuple[str, ...]:
    what, name = one.unknown.what, one.unknown.name
    said, sure = _name(one), f"{one.sounds_plus_minus:.1f} cents"
    numbers = "0.0", f"{one.change:+.1f}"
    if what == "tube":
        sure = f"{one.plus_minus / 100 * before.tube_mm:.0f} mm"
        numbers = f"{before.tube_mm:.0f} mm", f"{after.tube_mm:.0f} mm"
    elif what == "loop":
        # What the loop alone lowers: a player knows a whole step as 200 cents.
        longer_mm = one.change * per_cent(before, one.unknown) * before.tube_mm / 2
        said = f"{said} alone lowers by (slide {abs(longer_mm):.0f} mm {'out' if longer_mm >= 0 else 'in'})"
        numbers = f"{_lowers(before, name):.1f}", f"{_lowers(after, name):.1f}"
    elif what == "partial":
        midi = before.fundamental_midi + nominal_semitones(int(name))
        said = f"open {pitch_of(midi).pretty} ({said})"
        numbers = f"{_open(before, name):+.1f}", f"{_open(after, name):+.1f}"
    return said, *numbers, sure, str(one.readings)


def _open(horn: Horn, partial: str) -> float:
    """How far an open partial lies from its note. [cents]"""
    return state(horn, ()).partial_cents[int(partial) - 1] - 100 * nominal_semitones(int(partial))


def _columns(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Return rows as lines: the first column to the left, the others to the right, two blanks between."""
    wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = []
    for first, *rest in rows:
        cells = [first.ljust(wide[0]), *(cell.rjust(width) for cell, width in zip(rest, wide[1:], strict=True))]
        lines.append(f"  {'  '.join(cells)}".rstrip())
    return lines


def _lowers(horn: Horn, name: str) -> float:
    needs = next(loop.needs for loop in horn.loops if loop.name == name)
    held = (needs, name) if needs else (name,)
    return lowered_cents(tube_ratio(horn, held) / tube_ratio(horn, (needs,) if needs else ()))


def _outlier(one: JudgedReading) -> str:
    reading = one.reading
    return (f"line {reading.line}: {reading.shown} read {reading.cents:+.0f} cents, where {one.after_cents:+.0f} was "
            "to be expected")


# --- slides to pull --------------------------------------------------------------------------------------------------


def pull_document(advice: Advice, scores: Sequence[str], *, worst: bool, cautions: Iterable[str],
                  problems: Iterable[dict[str, str]]) -> dict[str, Any]:
    """Return the JSON document of an advice."""
    return {
        "schema": "lowbrass.tune-pull/1", "horn": advice.horn.name, "scores": list(scores),
        "aim": "worst" if worst else "rms",
        "slides": [{"slide": slide, "pull_mm": pull_mm, "limit_mm": advice.limits_mm[slide]}
                   for slide, pull_mm in advice.pulls_mm.items()],
        "rms_cents": {"before": round(advice.rms_cents[0], 2), "after": round(advice.rms_cents[1], 2)},
        "worst": {"before": _worst_json(advice.worst[0], advice.worst[0].before),
                  "after": _worst_json(advice.worst[1], advice.worst[1].after)},
        "refingered_share": round(advice.refingered, 4),
        "notes": [{
            "midi": one.midi, "note": pitch_of(one.midi).name, "uses": one.uses, "sounds_s": round(one.sounds_s, 2),
            "before": _played_json(one.before), "after": _played_json(one.after),
        } for one in advice.notes],
        "beyond": [pitch_of(midi).name for midi in advice.beyond],
        "problems": list(problems),
        "cautions": [*CARE, *cautions],
    }


def _worst_json(note: Retuned, played: Played) -> dict[str, Any]:
    return {"note": pitch_of(note.midi).name, "off_cents": round(played.farthest_cents, 2)}


def _played_json(played: Played) -> dict[str, Any]:
    known = played.label is not None
    return {"label": played.label, "labels": list(played.labels),
            "off_cents": round(played.off_cents, 2) if known else None}


def pull_text(advice: Advice, scores: Sequence[str]) -> str:
    """Return an advice for a player: what to pull, what it brings, which notes stay off, which fingerings change."""
    seconds = sum(one.sounds_s for one in advice.notes) or 1.0
    uses = sum(one.uses for one in advice.notes)
    first, last = advice.worst
    lines = [f"{advice.horn.name} on {', '.join(scores)}: {uses} notes, {seconds:.0f} s of sound.", "",
             _what_to_pull(advice), ""]
    if any(advice.pulls_mm.values()):
        lines += _columns([("slide", "pull out", "at most"), *(
            (slide_name(slide), f"{pull_mm} mm" if pull_mm else "-", f"{advice.limits_mm[slide]} mm")
            for slide, pull_mm in advice.pulls_mm.items())])
        lines += ["  From where the slide stands now, measured on one leg: that much more bare tube shows.", ""]
    lines += _columns([
        ("", "before", "after"),
        ("all notes, weighted by time (rms)", f"{advice.rms_cents[0]:.1f} cents", f"{advice.rms_cents[1]:.1f} cents"),
        ("worst note", _far(first, first.before), _far(last, last.after))])
    rows = [one for one in advice.notes if _worth_telling(one)]
    if rows:
        lines += ["", *_columns([("note", "of the time", "before", "after", ""), *(
            (pitch_of(one.midi).pretty, f"{100 * one.sounds_s / seconds:.0f} %", _told(one.before), _told(one.after),
             "other fingering" if one.before.label != one.after.label else "")
            for one in rows)])]
    rest = len(advice.notes) - len(rows)
    if rest:
        lines.append(f"  {'The other ' if rows else 'All '}{rest} pitches keep their fingering and lie within "
                     f"{SHOWN_CENTS:.0f} cents, before and after.")
    if advice.horn.family == "slide":
        lines.append("  The hand slide corrects what it can; only what is left counts here.")
    return "\n".join([*lines, *_afterwards(advice), "", *(f"Caution: {line}" for line in CARE)])


def slide_name(slide: str) -> str:
    """Return a tuning slide's name as a player says it."""
    if slide == MAIN:
        return "main tuning slide"
    return f"{_ORDINALS[slide]} valve slide" if slide in _ORDINALS else f"attachment slide {slide}"


def _what_to_pull(advice: Advice) -> str:
    pulls = [f"the {slide_name(slide)} {pull_mm} mm" for slide, pull_mm in advice.pulls_mm.items() if pull_mm]
    if not pulls:
        return "Leave every slide where it is: no slide change improves the tuning of this music."
    still = [f"the {slide_name(slide)}" for slide, pull_mm in advice.pulls_mm.items() if not pull_mm]
    return f"Pull out {listed(pulls)}{f'; leave {listed(still)}' if still else ''}."


def _worth_telling(one: Retuned) -> bool:
    far = max(abs(one.before.farthest_cents), abs(one.after.farthest_cents))
    return far >= SHOWN_CENTS or one.before.labels != one.after.labels


def _far(note: Retuned, played: Played) -> str:
    said = "missing" if played.label is None else f"{signed(played.farthest_cents)} cents"
    return f"{pitch_of(note.midi).pretty} {said}"


def _told(played: Played) -> str:
    if played.label is None:
        return "no fingering"
    also = " or ".join(shown(label) for label in (played.label, *(one for one in played.labels if one != played.label)))
    return f"{also} {signed(played.off_cents)}"


def _afterwards(advice: Advice) -> list[str]:
    """Return what the player still has to do or know once the slides are pulled."""
    lines: list[str] = []
    reach = advice.horn.lip_reach.value
    left = [one for one in advice.notes if abs(one.after.farthest_cents) > reach and one.after.label is not None]
    if left:
        told = listed([f"{pitch_of(one.midi).pretty} ({signed(one.after.farthest_cents)})" for one in left])
        lines += ["", f"Still more than {reach:.0f} cents off; use the lip or another fingering: {told}."]
    if advice.refingered >= 0.005:
        lines += ["", f"With these slides the plan uses other fingerings for {100 * advice.refingered:.0f} % of the "
                      "time; lowbrass map with the pulled horn (-o FILE.toml) marks them."]
    if advice.beyond:
        names = listed([pitch_of(midi).pretty for midi in advice.beyond])
        lines += ["", f"Not on this horn with any slide pulled, and not counted: {names}."]
    return lines
