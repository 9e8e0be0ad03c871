"""The chart of a horn as text: a line for each note, lowest first."""

from textwrap import fill

from analyzer.horns.candidate import Candidate
from analyzer.horns.candidates import candidates, chart_choice, sounding_range
from analyzer.horns.horn import Horn
from analyzer.pitch import HEARD_CENTS, pitch_of
from analyzer.report.chart.document import above_ceiling
from analyzer.report.typical import cents_said
from analyzer.tuning.typical import typical_cents
from analyzer.words import shown, side, signed

_LEGEND = {
    "slide": "T, S: attachments held, each with its own scale of positions. ♯ ♭: slide a little in or out of the "
    "place. [ ]: above the attachment's usual ceiling, C3.",
    "valves": "0: no valve. Numbers in parentheses: cents sharp or flat, where more than 5.",
}


def chart_text(horn: Horn) -> str:
    """Return the chart as text, one line a note, lowest first."""
    low, high = sounding_range(horn)
    lines = [f"{horn.description} ({horn.name}), sounding pitch", ""]
    out = "  slide out" if horn.family == "slide" else ""
    lines.append(f"{'note':<5} {'usual':<8}{out}  {'tuning':<9}  other choices")
    for midi in range(low, high + 1):
        lines.append(_line(horn, midi).rstrip())
    return "\n".join([*lines, "", _LEGEND[horn.family], *fill(cents_said([horn]), 100).splitlines()])


def _line(horn: Horn, midi: int) -> str:
    usual = chart_choice(horn, midi)
    name = pitch_of(midi).pretty
    if usual is None:
        return f"{name:<5} none: this horn cannot play it"
    out = "" if usual.extension_mm is None else f"  {usual.extension_mm:>6.0f} mm"
    others = "  ".join(_other(choice) for choice in candidates(horn, midi) if choice != usual)
    real = typical_cents(horn, usual)
    range_said = f"  (real horns {signed(real[0])} to {signed(real[1])})" if real else ""
    return f"{name:<5} {shown(usual.label):<8}{out}  {(_tuning(usual) or 'in tune') + range_said:<9}  {others}"


def _other(choice: Candidate) -> str:
    tuning = _tuning(choice)
    text = f"{shown(choice.label)}{f' ({tuning})' if tuning else ''}"
    return f"[{text}]" if above_ceiling(choice) else text


def _tuning(choice: Candidate) -> str:
    """Words for a deviation that an ear would notice; empty where there is none."""
    cents = round(choice.off_cents)
    if abs(cents) <= HEARD_CENTS:
        return ""
    return f"{abs(cents)} {side(cents)}"
