"""One sheet of hard spots behind a part: music, slide or valves, why, what to try, and up to which tempo it works."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from analyzer.analysis import Analysis, Planned
from analyzer.engrave.fonts import width_em
from analyzer.picture.drawing import BASE, FAINT, Drawing, num
from analyzer.picture.picture import key_of, pictures_of
from analyzer.plan.difficulty import MeasureDifficulty, difficulties, hardest
from analyzer.report.map.printed import head_of, part_copy, sign_of
from analyzer.report.plain import plain
from analyzer.review.line import findings

MOST = 5
UNITS_PER_MM = 3.5
"""Units of a picture in a millimetre of paper: its smallest letters, of 10 units, become 8.1 points high."""
_MARGIN_MM = 12.0
_STAFF_PX_PER_MM = 5.0               # of an excerpt: a staff 36 px high becomes 7.2 mm
_TEXT, _LEAD = 11.5, 14.5            # [units] 9.3 points
_LEFT = 0.54                         # share of the width for music and words, the picture has the rest
_LEAST_WIDTH = 500.0                 # [units] of a sheet with two columns; judged by eye
_LEAST_SHRINK = 0.8                  # music that would be smaller than this goes across the sheet
_SPEED = frozenset({"slide", "valves", "tongue", "lip"})
_SIZED = re.compile(r'<svg [^>]*? width="([\d.]+)px" height="([\d.]+)px"')


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One hard spot: the measures shown (indices), what is told of it as (head, sentence)."""

    first: int
    last: int
    heading: str
    told: tuple[tuple[str, str], ...]


def spots_of(one: Planned) -> tuple[Spot, ...]:
    """Return the hardest spots of a line, hardest first: three to five where so many come near a limit."""
    plan = one.plan
    places = _places(one)
    # Only for the moves told of are other horns tried, and tempos not at all: `_works` says up to which one it goes.
    near = {measure for _, first, here in places for measure in range(first, here + 1)}
    found = findings(plan, one.planner, tempos=False, tried={
        note.index for note in plan.notes if note.note.measure_index in near}) if places else ()
    number = {measure.index: measure.number for measure in plan.line.measures}
    spots: list[Spot] = []
    for hard, first, here in places:
        where = f"m. {number[here]}" if first == here else f"mm. {number[first]}–{number[here]}"
        told = [("Why", plain(hard.reason))]
        told += [("These positions" if plan.horn.family == "slide" else "These valves", group.why)
                 for group in plan.groups
                 if any(first <= plan.notes[note].note.measure_index <= here
                        for note in range(group.first, group.last + 1))][:1]
        slower = {remedy.text for finding in found for remedy in finding.remedies if remedy.kind == "tempo"}
        tries = [text for finding in found if finding.index is not None and finding.severity != "note"
                 and first <= plan.notes[finding.index].note.measure_index <= here
                 for text in finding.try_ if text not in slower]
        told.append(("Try", " ".join([*(plain(text) for text in tries[:1]), _practice(one, hard)])))
        told.append(("Tempo", _works(one, hard)))
        spots.append(Spot(first=first, last=here, heading=f"{where} · {hard.level}", told=tuple(told)))
    return tuple(spots)


def _places(one: Planned) -> list[tuple[MeasureDifficulty, int, int]]:
    """Return the measures of the hardest spots, first and last index of each, hardest first; none meets another."""
    plan = one.plan
    found: list[tuple[MeasureDifficulty, int, int]] = []
    for hard in hardest(difficulties(one.planner, plan), 2 * MOST):
        k = hard.index or 0
        here = plan.notes[k].note.measure_index
        # A step into the first note of a measure begins in the one before.
        first = plan.notes[k - 1].note.measure_index if k and hard.kind in _SPEED else here
        first = first if here - first <= 1 else here
        if not any(begin <= here and first <= end for _, begin, end in found):
            found.append((hard, first, here))
    return found[:MOST]


def _limit(one: Planned, hard: MeasureDifficulty) -> float | None:
    """Return the tempo at which a spot reaches its limit, in the beat printed there."""
    if hard.kind not in _SPEED or hard.index is None or hard.share <= 0:
        return None
    step = one.plan.notes[max(0, hard.index - 1)]
    beat = one.plan.line.beat_at(step.note.onset)
    return step.time.bpm / float(beat.quarters) / hard.share


def _works(one: Planned, hard: MeasureDifficulty) -> str:
    limit = _limit(one, hard)
    if limit is None:
        return "hard at any speed: it is not the tempo here."
    step = one.plan.notes[max(0, (hard.index or 0) - 1)]
    beat = one.plan.line.beat_at(step.note.onset)
    now = step.time.bpm / float(beat.quarters)
    return (f"works up to about {sign_of(beat)} = {limit:.0f}; the part is planned at {now:.0f}." if limit < now else
            f"works at {sign_of(beat)} = {now:.0f}, where the part is planned; it stops at about {limit:.0f}.")


def _practice(one: Planned, hard: MeasureDifficulty) -> str:
    """Say how to begin.

    Two thirds of the limit (or of the tempo, if that is less) is judged: slow enough to be right at once, near enough
    to be the same movement.
    """
    limit = _limit(one, hard)
    if limit is None:
        return {"tuning": "Play it long against a tuner or drone, then in the line.",
                "reach": "Play the two notes slowly, arm and shoulder loose; stop before it tires.",
                }.get(hard.kind, "Ask the teacher for a change that suits this horn.")
    step = one.plan.notes[max(0, (hard.index or 0) - 1)]
    beat = one.plan.line.beat_at(step.note.onset)
    slow = min(limit, step.time.bpm / float(beat.quarters)) * 2 / 3
    return (f"Begin at {sign_of(beat)} = {slow:.0f}; go up by 4 once it was right three times. Stop before it "
            "tires.")


def hard_sheet(analysis: Analysis, one: Planned, size_mm: tuple[float, float], *, scale: float = 1.0) -> str | None:
    """Return one sheet of paper with the hardest spots as SVG, None where nothing comes near a limit.

    `size_mm` is the sheet; `scale` above 1 draws everything larger, so that fewer spots stand on it.

    Raises
    ------
    ValueError
        If the engraver cannot read the music.
    """
    spots = spots_of(one)
    if not spots:
        return None
    units = UNITS_PER_MM / scale
    wide, high, margin = size_mm[0] * units, size_mm[1] * units, _MARGIN_MM * units
    width = wide - 2 * margin
    head = head_of(analysis.document, one)
    care = [line for text in (analysis.cautions[0], analysis.cautions[-1]) for line in _lines(text, width, 11.0)]
    top = Drawing()
    top.text(margin, margin + 15, f"Hard spots · {head.title}", size=17, bold=True)
    said = _lines(f"{head.part} · {head.below}", width, _TEXT)
    for nth, line in enumerate(said):
        top.text(margin, margin + 33 + nth * _LEAD, line, size=_TEXT, color=FAINT)
    key = key_of(one, width=width)
    foot = len(care) * 14.0 + key.height + 4
    y, room = margin + 44 + (len(said) - 1) * _LEAD, high - margin - foot
    parts = []
    for number, spot in enumerate(spots):
        drawn, tall = _spot(analysis, one, spot, margin, y, width, f"h{number}-")
        if y + tall > room and number:
            break
        parts.append(drawn)
        y += tall + 8
    end = Drawing()
    for nth, line in enumerate(care):
        end.text(margin, high - margin - (len(care) - 1 - nth) * 14.0, line, size=11)
    parts.append(key.placed(margin, high - margin - foot + 2))
    return (f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
            f'viewBox="0 0 {num(wide)} {num(high)}"><g {BASE}>{top.body()}</g>{"".join(parts)}'
            f'<g {BASE}>{end.body()}</g></svg>')


def _spot(analysis: Analysis, one: Planned, spot: Spot, x: float, y: float, width: float, prefix: str,
          ) -> tuple[str, float]:
    """Draw one spot, and return its height: music at the left (or across, if long), what is told below, the picture."""
    from analyzer.engrave.engrave import engraved_excerpt
    from analyzer.engrave.options import PageOptions

    out = Drawing()
    out.line(x, y, x + width, y, color=FAINT, width=0.8)
    out.text(x, y + 16, spot.heading, size=13, bold=True)
    copy = part_copy(analysis, one, "all", measures=(spot.first, spot.last), plain=True)
    music = engraved_excerpt(copy, PageOptions(paper="screen", id_prefix=prefix, embed_fonts=False))
    sized = _SIZED.match(music)
    assert sized is not None
    per_px = UNITS_PER_MM / _STAFF_PX_PER_MM
    broad, tall = float(sized[1]) * per_px, float(sized[2]) * per_px
    # In print for eyes that need it large everything stands below each other.
    narrow = width < _LEAST_WIDTH
    half = width if narrow else width * _LEFT - 8
    shrink = min(1.0, half / broad)
    long = shrink < _LEAST_SHRINK
    shrink = min(1.0, width / broad) if long else shrink
    parts = [_nested(music, x, y + 28, broad * shrink, tall * shrink)]
    below = y + 28 + tall * shrink
    picture, = pictures_of(one, width=width if narrow else width - half - 8, measures=(spot.first, spot.last))
    beside = below + 2 if long else y + 6
    for head, sentence in spot.told:
        indent = (width_em(f"{head}: ", "bold")) * _TEXT
        for nth, line in enumerate(_lines(f"{head}: {sentence}", half, _TEXT)):
            below += _LEAD
            if nth == 0:
                out.text(x, below, f"{head}:", size=_TEXT, bold=True)
                out.text(x + indent, below, line.removeprefix(f"{head}: "), size=_TEXT)
            else:
                out.text(x, below, line, size=_TEXT)
    beside = below + 8 if narrow else beside
    parts.append(picture.placed(x if narrow else x + half + 8, beside))
    bottom = max(below + 4, beside + picture.height)
    return f'<g {BASE}>{out.body()}</g>{"".join(parts)}', bottom - y


def _nested(svg: str, x: float, y: float, width: float, height: float) -> str:
    opening, rest = svg.split(">", 1)
    opening = re.sub(r' (?:width|height)="[^"]*"', "", opening)
    return f'{opening} x="{num(x)}" y="{num(y)}" width="{num(width)}" height="{num(height)}">{rest}'


def _lines(text: str, width: float, size: float) -> Sequence[str]:
    from analyzer.engrave.svg import wrap

    return wrap(text, size, width, "regular")
