"""One row of the valve picture: which valves are held, and how far each note lies off, ours against the usual chart."""

from analyzer.picture.drawing import FAINT, HELD, INK, RULE, USUAL
from analyzer.picture.lanes import Frame, draw_bars, draw_lanes, held_spans
from analyzer.pitch import HEARD_CENTS
from analyzer.words import signed

_PX_PER_CENT = 1.6


def valve_row(f: Frame) -> float:
    """Draw one row; return its height. [px]"""
    out, row, plan = f.out, f.row, f.one.plan
    top = draw_lanes(f, 2.0) + 4
    for valve in plan.horn.loop_names:
        out.text(row.left - 6, top + 11, f"valve {valve}", size=11, anchor="end", color=FAINT)
        out.rect(row.left, top, row.right - row.left, 14, fill="#ffffff", stroke=RULE, line=0.8)
        for a, b in held_spans(f, valve):
            out.rect(a + 0.5, top, b - a - 1, 14, fill=HELD[2], stroke=INK, line=0.8)
            if b - a > 12:
                out.text((a + b) / 2, top + 11, valve, size=11, bold=True, anchor="middle")
        top += 16
    most = max([15.0, *(abs(choice.off_cents) for note in plan.notes for choice in (note.choice, note.usual)
                        if choice)])
    limit = 10.0 * int((most + 17) / 10)   # at least 8 cents of room for the figures
    top += 10
    middle, bottom = top + limit * _PX_PER_CENT, top + 2 * limit * _PX_PER_CENT

    def y(cents: float) -> float:
        return middle - cents * _PX_PER_CENT

    out.rect(row.left, top, row.right - row.left, bottom - top, fill="#ffffff", stroke="#8a93a0")
    out.rect(row.left, y(HEARD_CENTS), row.right - row.left, 2 * HEARD_CENTS * _PX_PER_CENT, fill=HELD[1])
    step = 10 if limit <= 40 else 20
    for cents in range(-int(limit) + int(limit) % step, int(limit) + 1, step):
        out.line(row.left, y(cents), row.right, y(cents), color=INK if cents == 0 else RULE,
                 width=1.2 if cents == 0 else 0.8)
        out.text(row.right + 5, y(cents) + 4, signed(cents), size=10, color=FAINT)
    out.text(row.left - 6, y(limit) + 10, "sharp", size=11, anchor="end", color=FAINT)
    out.text(row.left - 6, middle + 4, "in tune", size=11, anchor="end", bold=True)
    out.text(row.left - 6, y(-limit), "flat", size=11, anchor="end", color=FAINT)
    out.text(row.right + 5, top - 4, "cents", size=10, color=FAINT)
    draw_bars(f, 2.0, bottom)
    for k in f.span:
        note = f.note(k)
        a, b = f.begins(k), max(f.sounds_to(k) - 2, f.begins(k) + 3)
        if note.choice is None:
            out.text(a + 3, middle - 4, "×", size=16, bold=True)
            continue
        at = y(note.choice.off_cents)
        if note.changed and note.usual:
            there = y(note.usual.off_cents)
            out.line(a, there, a, at, color=USUAL, width=1.4, dash="2 2")
            out.line(a, there, b, there, color=USUAL, width=2, dash="5 3")
            out.dot(a, there, 3.2, fill="#ffffff", stroke=USUAL)
        out.line(a, at, b, at, color=INK, width=4)
        out.dot(a, at, 3.6, stroke="#ffffff", line=1.0)
        off = note.choice.off_cents
        if abs(off) > 2 * HEARD_CENTS:
            out.text(a + 5, at + (-5 if off > 0 else 14), f"{off:+.0f}", size=11, bold=True)
    return bottom + 12
