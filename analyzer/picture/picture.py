"""The slide picture and, for valved horns, the valve picture: a passage as the player moves, one picture a row.

Time goes across in beats, as in the music. On a slide horn the height is how far the slide is out, in mm down: thick
where a note is held, thin where the slide moves (drawn for the time the plan allows, as a smooth move from rest to
rest). The ground shows the valve state, with the places of that state's own positions; the scales at the left show them
all, so that T4 is seen to lie elsewhere than 4. Everything said by colour is said by shape or word, too.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise

from analyzer.analysis import Planned
from analyzer.horns.candidate import Candidate, slide_mm
from analyzer.horns.candidates import position_place_mm, positions, states
from analyzer.horns.horn import Horn
from analyzer.picture.drawing import FAINT, HELD, INK, RULE, USUAL, Drawing, Picture, Strokes, num
from analyzer.picture.lanes import Frame, draw_bars, draw_lanes, held_spans, measures_of, words_of
from analyzer.picture.rows import row_of, rows_of, starts_of
from analyzer.picture.valves import valve_row
from analyzer.plan.limits import peak_mm_s

WIDE, NARROW = 900.0, 360.0
"""Widths of a row for a laptop or paper, and for a phone. [px]"""
LARGE = 1.5
"""How much larger everything is in large print, as in the engraved part."""
_SCALE_PX = 30.0                       # one position scale at the side
_PX_PER_MM, _SMALL_PX_PER_MM = 0.3, 0.21
_FAST_SHARE = 0.75
"""Moves at least this near the passage's greatest peak speed are marked, the greatest of each measure; judged."""


def pictures_of(one: Planned, *, width: float = WIDE, measures: tuple[int, int] | None = None) -> tuple[Picture, ...]:
    """Draw a planned line, one picture a row of measures; none for a line without notes.

    `measures` are the first and last measure index of the one row that is wanted, to stand beside its music: lower,
    and without the lanes that the music says already.
    """
    plan = one.plan
    if not plan.notes:
        return ()
    if plan.horn.family == "valves":
        left, right = 58.0, 34.0
    else:
        left, right = 12.0 + max(_SCALE_PX * len(_used_states(one)), 46.0), 30.0
    found = []
    starts = starts_of(plan.notes)
    setting = None if plan.horn.family == "valves" else _setting(one, measures is not None)
    # Rows with as many lanes have their scales in the same place.
    scales_at = cache(lambda top: _side_scales(plan.horn, setting, left=left, right=width - right, top=top)
                      if setting else "")
    wide = width - left - right
    rows = rows_of(plan, starts, left=left, width=wide) if measures is None else (
        row_of(plan, *measures, left=left, width=wide),)
    for row in rows:
        f = Frame(one=one, row=row, starts=starts, out=Drawing(), small=measures is not None)
        bottom, scales = (valve_row(f), "") if setting is None else _slide_row(f, setting, scales_at)
        kind = "Valve picture" if plan.horn.family == "valves" else "Slide picture"
        found.append(Picture(width=width, height=bottom, title=f"{kind}, {measures_of(row)}", desc=words_of(f),
                             body=f.out.body(), shared=scales))
    return tuple(found)


def key_of(one: Planned, *, width: float = WIDE) -> Picture:
    """Draw the key to the pictures of a line."""
    out = Drawing()
    x = y = 0.0
    notes = one.plan.notes
    changed = any(note.changed for note in notes)
    shows = {"ours": True, "usual": changed, "tray": changed, "fast": bool(fast_moves(one)),
             "held": any(note.choice and note.choice.valves for note in notes),
             "none": any(note.choice is None for note in notes)}
    items = [item for item in (_SLIDE_KEY if one.plan.horn.family == "slide" else _VALVE_KEY) if shows[item[0]]]
    for sign, words, wide in items:
        if x and x + wide > width - 8:
            x, y = 0.0, y + 20
        _key_sign(out, sign, x + 6, y + 12)
        out.text(x + 36, y + 16, words, size=11)
        x += wide
    return Picture(width=width, height=y + 26, title="Key to the picture",
                   desc="; ".join(words for _, words, _ in items), body=out.body())


_SLIDE_KEY = (
    ("ours", "our plan: thick held, thin moving", 216.0), ("usual", "usual chart, where it differs", 200.0),
    ("tray", "other than the usual chart", 190.0), ("held", "attachment held", 130.0),
    ("fast", "fastest moves, peak speed", 180.0), ("none", "cannot be played", 140.0))
_VALVE_KEY = (
    ("ours", "our plan, cents off", 150.0), ("usual", "usual chart, where it differs", 200.0),
    ("tray", "other than the usual chart", 190.0), ("held", "valve held", 110.0),
    ("none", "cannot be played", 140.0))


def _key_sign(out: Drawing, sign: str, x: float, y: float) -> None:
    if sign == "ours":
        out.line(x, y, x + 24, y, color=INK, width=4)
        out.dot(x, y, 3.4)
    elif sign == "usual":
        out.line(x, y, x + 24, y, color=USUAL, width=2, dash="5 3")
        out.dot(x + 1, y, 3.2, fill="#ffffff", stroke=USUAL)
    elif sign == "tray":
        out.rect(x + 2, y - 8, 20, 15, stroke=INK, line=1.2, radius=3)
        out.text(x + 12, y + 4, "T2", size=12, bold=True, anchor="middle")
    elif sign == "held":
        out.rect(x, y - 7, 24, 14, fill=HELD[2], stroke=INK, line=0.8)
    elif sign == "fast":
        out.polygon((x + 6, y + 6), (x + 18, y + 6), (x + 12, y - 6))
    else:
        out.text(x + 12, y + 5, "×", size=16, bold=True, anchor="middle")


# --- the slide --------------------------------------------------------------------------------------------------------

@dataclass(frozen=True, slots=True, kw_only=True)
class _Setting:
    """What all rows of one line share: valve states and loops used, the far end of the scale [mm], marked moves."""

    states: tuple[tuple[str, ...], ...]
    loops: tuple[str, ...]
    limit_mm: float
    fast: Mapping[int, float]
    px_per_mm: float = _PX_PER_MM


def _setting(one: Planned, small: bool) -> _Setting:
    used = {loop for note in one.plan.notes if note.choice for loop in note.choice.valves}
    return _Setting(states=tuple(_used_states(one)), limit_mm=_range_mm(one), fast=fast_moves(one),
                    px_per_mm=_SMALL_PX_PER_MM if small else _PX_PER_MM,
                    loops=tuple(loop for loop in one.plan.horn.loop_names if loop in used))


def _used_states(one: Planned) -> list[tuple[str, ...]]:
    used = {choice.valves for note in one.plan.notes for choice in (note.choice, note.usual) if choice}
    return [held for held in states(one.plan.horn) if held == () or held in used]


def _range_mm(one: Planned) -> float:
    plan = one.plan
    most = max((choice.out_mm for note in plan.notes for choice in (note.choice, note.usual) if choice),
               default=0.0)
    # Never less than fifth position, so that a calm line does not look wild.
    return min(plan.horn.slide_end_mm, max(most + 25.0, position_place_mm(plan.horn, (), min(
        5, positions(plan.horn))) + 10))


def _slide_row(f: Frame, setting: _Setting, scales_at: Callable[[float], str]) -> tuple[float, str]:
    """Draw one row; return its height [px] and its scales, which the other rows have, too.

    `scales_at` draws them from a height on.
    """
    out, row, horn = f.out, f.row, f.one.plan.horn
    top = draw_lanes(f, 2.0) + 4
    for loop in setting.loops:
        out.text(row.left - 6, top + 11, f"{loop} held" if len(setting.loops) == 1 else loop, size=11, anchor="end",
                 color=FAINT)
        out.rect(row.left, top, row.right - row.left, 14, fill="#ffffff", stroke=RULE, line=0.8)
        for a, b in held_spans(f, loop):
            out.rect(a, top, b - a, 14, fill=HELD[2], stroke=INK, line=0.8)
            if b - a > 14:
                out.text((a + b) / 2, top + 11, loop, size=11, bold=True, anchor="middle")
        top += 16
    top += 16
    limit = setting.limit_mm
    bottom = top + limit * setting.px_per_mm

    def y(choice: Candidate | None) -> float:
        return top + ((choice.extension_mm if choice else None) or 0.0) * setting.px_per_mm

    _ground(f, top, bottom, setting)
    scales = scales_at(top)
    out.parts.append(scales)
    draw_bars(f, 2.0, bottom)
    reach = f.one.plan.player.reach_on(horn)
    if reach < min(limit, horn.slide_end_mm) - 1:
        at = top + reach * setting.px_per_mm
        out.line(row.left, at, row.right, at, color=INK, width=1.4, dash="1 4", cap="round")
        out.text(row.right - 3, at - 3, "reach", size=11, italic=True, anchor="end")
    for usual in (True, False):
        strokes = Strokes()
        for k in range(max(0, row.first - 1), row.last):
            _way(f, strokes, k, y, usual=usual)
        strokes.onto(out)
    notes = {k: f.note(k) for k in f.span}
    # At the far end: off the slide, or out of this player's reach.
    out.texts(((f.begins(k) + 3, bottom - 4, "×") for k, note in notes.items() if note.choice is None), size=16,
              bold=True, anchor="middle")
    out.dots(((f.begins(k), y(note.usual)) for k, note in notes.items() if note.choice and note.changed and note.usual),
             3.4, fill="#ffffff", ring=USUAL, ring_width=1.5)
    out.dots(((f.begins(k), y(note.choice)) for k, note in notes.items() if note.choice), 3.8)
    _speeds(f, setting.fast, y, top, bottom)
    return bottom + 12, scales


def _ground(f: Frame, top: float, bottom: float, setting: _Setting) -> None:
    """Tint what is held, with the places of the positions that hold there."""
    out, row, horn, limit = f.out, f.row, f.one.plan.horn, setting.limit_mm
    spans: list[tuple[float, float, tuple[str, ...]]] = []
    at = row.left
    first = f.note(row.first - 1) if row.first else None
    state: tuple[str, ...] = first.choice.valves if first and first.choice else ()
    for k in f.span:
        choice = f.note(k).choice
        if choice and choice.valves != state:
            spans.append((at, f.begins(k), state))
            at, state = f.begins(k), choice.valves
    spans.append((at, row.right, state))
    places = Strokes()
    for a, b, held in spans:
        if held:
            out.rect(a, top - 8, b - a, bottom - top + 8, fill=HELD[min(len(held), 3)])
        for number in range(1, positions(horn, held) + 1):
            place = position_place_mm(horn, held, number)
            if place <= limit and b > a:
                at_y = top + place * setting.px_per_mm
                places.line(a, at_y, b, at_y, width=0.9, color="#8a93a0" if held else RULE, dash="5 3" if held else "")
    places.onto(out)
    out.rect(row.left, top - 8, row.right - row.left, bottom - top + 8, stroke="#8a93a0")


def _side_scales(horn: Horn, setting: _Setting, *, left: float, right: float, top: float) -> str:
    """Draw the places of all valve states at the left of a row, millimetres at its right. [px]"""
    out, limit = Drawing(), setting.limit_mm
    strokes = Strokes()
    for place, held in enumerate(setting.states):
        at = left - 4 - (len(setting.states) - 1 - place) * _SCALE_PX
        out.text(at - 10, top - 10, "".join(held) or "open", size=10, color=FAINT, bold=True, anchor="middle")
        strokes.line(at, top, at, top + min(limit, horn.slide_end_mm) * setting.px_per_mm, color="#8a93a0",
                     width=1.2 if not held else 1.0, dash="" if not held else "5 3")
        names = []
        for number in range(1, positions(horn, held) + 1):
            mm = position_place_mm(horn, held, number)
            if mm <= limit:
                y = top + mm * setting.px_per_mm
                strokes.line(at - 4, y, at, y, color=INK, width=1.2)
                names.append((at - 6, y + 4, f"{''.join(held)}{number}"))
        out.texts(names, anchor="end", bold=not held)
    depths = {mm: top + mm * setting.px_per_mm for mm in range(0, int(limit) + 1, 100)}
    for y in depths.values():
        strokes.line(right, y, right + 4, y, color=FAINT)
    strokes.onto(out)
    out.texts([*((right + 6, y + 4, str(mm)) for mm, y in depths.items()), (right + 6, top - 10, "mm")],
              size=10, color=FAINT)
    return out.body()


def _way(f: Frame, strokes: Strokes, k: int, y: object, *, usual: bool) -> None:
    """Draw note `k`, held, and the move to the next one; the usual way only where it differs."""
    assert callable(y)
    row, note = f.row, f.note(k)
    after = f.note(k + 1) if k + 1 < len(f.starts) else None
    if usual and not (note.changed or (after is not None and after.changed)):
        return
    choice = note.usual if usual else note.choice
    if choice is None or note.choice is None:
        return
    begin, sounds = f.begins(k), f.sounds_to(k)
    gap = f.gap(k)
    moves = min(note.time.move_s * note.time.bpm / 60, gap, 1.0) if after is not None else 0.0
    leave = row.x(f.starts[k] + gap - moves) if after is not None else sounds
    if after is not None:
        # Through folded rests a quarter note is no width at all: give the move some.
        leave = min(leave, max(sounds, row.x(f.starts[k + 1]) - 14))
    at = y(choice)
    color, dash = (USUAL, "5 3") if usual else (INK, "")
    if k < row.first:
        begin = sounds = row.left
        leave = max(leave, row.left)
        if f.starts[k] + gap - moves < row.columns[0].onset - 1e-9 and f.starts[k] + gap <= row.columns[0].onset:
            return
    if not usual or note.changed:
        held = max(min(sounds, leave), begin + 2)
        strokes.line(begin, at, held, at, color=color, width=2 if usual else 4, dash=dash)
        if leave > held:
            strokes.line(held, at, leave, at, color=color, width=1.6 if usual else 1.3, dash=dash or "1 3")
    if after is None or after.choice is None:
        return
    goal = after.usual if usual else after.choice
    if goal is None:
        return
    end, to = row.x(f.starts[k + 1]), y(goal)
    if end - leave < 0.3:
        strokes.line(leave, at, end, to, color=color, width=2, dash=dash)
        return
    bend = 0.45 * (end - leave)
    strokes.add(f"M{num(leave)} {num(at)}C{num(leave + bend)} {num(at)} {num(end - bend)} {num(to)} "
                f"{num(end)} {num(to)}",
                color=color, width=2 if usual else 1.8, dash=dash)


def peaks_mm_s(one: Planned) -> dict[int, float]:
    """Peak speed of each slide move, by the index of the note it leaves. [mm/s]; as the plan's totals have it."""
    if one.plan.horn.family != "slide":
        return {}
    return {
        k: peak_mm_s(slide_mm(a.choice, b.choice), a.time.move_s)
        for k, (a, b) in enumerate(pairwise(one.plan.notes)) if a.choice and b.choice
    }


def fast_moves(one: Planned) -> dict[int, float]:
    """Return the moves to mark: the greatest of a measure, if near the greatest of all. [mm/s]"""
    peaks = peaks_mm_s(one)
    most = max(peaks.values(), default=0.0)
    best: dict[int, int] = {}
    for k, speed in peaks.items():
        where = one.plan.notes[k].note.measure_index
        if speed > 0 and speed >= _FAST_SHARE * most and (where not in best or speed > peaks[best[where]]):
            best[where] = k
    return {k: peaks[k] for k in best.values()}


def _speeds(f: Frame, fast: Mapping[int, float], y: object, top: float, bottom: float) -> None:
    assert callable(y)
    for k, speed in fast.items():
        if not f.row.first <= k < f.row.last:
            continue
        a, b = f.note(k), f.note(k + 1)
        gap = f.gap(k)
        moves = min(a.time.move_s * a.time.bpm / 60, gap, 1.0)
        x = f.row.x(f.starts[k] + gap - moves / 2)
        middle = (y(a.choice) + y(b.choice)) / 2
        down = y(b.choice) > y(a.choice)
        tip = 6.0 if down else -6.0
        f.out.polygon((x - 6, middle - tip), (x + 6, middle - tip), (x, middle + tip))
        words = f"{speed / 1000:.1f} m/s"
        wide = 6.0 * len(words)
        left = x + 9 if x + 9 + wide < f.row.right - 2 else x - 11 - wide
        level = min(max(middle + 4, top + 8), bottom - 4)
        f.out.rect(left - 2, level - 10, wide + 4, 13, fill="#ffffff", stroke=RULE, line=0.6, radius=2)
        f.out.text(left, level, words, size=11, bold=True)
