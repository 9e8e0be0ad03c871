"""Pictures of a survey, drawn by matplotlib in the colours of our other pictures; every picture says itself in words.

Families and demands are told apart by shape, hatching and place too, so that a grey print and colour-blind readers
lose nothing.
"""

import io
import re
from collections.abc import Callable, Sequence
from html import escape
from typing import Any

from analyzer.library.demands import Demand, Saving, slide_demand
from analyzer.library.survey import Record
from analyzer.picture.drawing import FAINT, FONT, INK, RULE, USUAL
from analyzer.pitch import pitch_of
from analyzer.plan.difficulty import BEYOND, LEVELS
from analyzer.problem import unreadable

_FAMILIES = (("trombone", INK, "o"), ("bass trombone", INK, "s"), ("euphonium", USUAL, "^"), ("baritone", USUAL, "v"),
             ("other", FAINT, "D"))
_DEMANDS: dict[Demand, tuple[str, str, str]] = {
    "near": ("first to fifth position", "#b4c5df", ""), "far": ("only in sixth or seventh, or a pedal", USUAL, "///"),
    "beyond": ("no position of a plain slide", INK, "")}
_SHOWN_LINES = 18
_TOP = BEYOND                                 # what is harder stands at the top, too: nobody plays it as written
_MANY = 200                                   # lines from which the marks are small
_NAMED = (22, 29, 34, 41, 46, 53, 58, 65, 70, 77, 82)         # B flats and Fs


def _drawn(draw: Callable[[Any, Any], None], *, width: float, height: float, title: str, desc: str, name: str) -> str:
    """Return an SVG element. [inches]; `name` makes its ids unique."""
    try:
        import matplotlib as mpl
        from matplotlib.figure import Figure
    except ImportError as error:
        raise unreadable("not-installed", where="the page", what="this needs matplotlib, which is not installed",
                         try_="Install the extra: pip install 'lowbrass[survey]'.") from error
    style: dict[Any, Any] = {
        "text.parse_math": False, "svg.fonttype": "none", "svg.hashsalt": name, "font.size": 11,
        # Measured in the font that comes with matplotlib, so that every computer draws the same; ours is narrower.
        "font.family": "DejaVu Sans", "text.color": INK,
        "axes.edgecolor": FAINT, "axes.labelcolor": INK, "xtick.color": INK, "ytick.color": INK,
        "axes.spines.top": False, "axes.spines.right": False, "hatch.color": "white", "hatch.linewidth": 1.2}
    with mpl.rc_context(style):
        figure = Figure(figsize=(width, height), layout="constrained")
        axes = figure.subplots()
        draw(figure, axes)
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    svg = out.getvalue()
    svg = svg[svg.index("<svg"):].rstrip()
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = svg.replace("'DejaVu Sans'", FONT)
    # Ids of several pictures on one page must differ.
    svg = re.sub(r'(id="|href="#|url\(#)', rf"\g<1>{name}-", svg)
    return svg.replace("<svg ", f'<svg role="img" aria-labelledby="{name}-title {name}-desc" ', 1).replace(
        ">", f'><title id="{name}-title">{escape(title)}</title><desc id="{name}-desc">{escape(desc)}</desc>', 1)


def _pitch_axis(axis: Any, low: int, high: int) -> None:
    named = [midi for midi in _NAMED if low <= midi <= high]
    axis.set_ticks(named, [pitch_of(midi).pretty for midi in named])


def difficulty_plot(rows: Sequence[Record]) -> str:
    """Draw each line from its lowest to its highest note, at the height of its hardest measure's difficulty."""
    low, high = min(row["midi_low"] for row in rows), max(row["midi_high"] for row in rows)

    def draw(figure: Any, axes: Any) -> None:
        below = 0.0
        for top, word in (*LEVELS, (_TOP, "beyond")):
            axes.axhline(below, color=RULE, linewidth=0.8, zorder=0)
            axes.annotate(word, (1.005, (below + top) / 2), xycoords=("axes fraction", "data"), va="center",
                          color=FAINT)
            below = top
        clear = max(0.25, min(1.0, 40 / len(rows)))
        for family, color, marker in _FAMILIES:
            mine = [row for row in rows if row["family"] == family]
            if mine:
                heights = [min(row["difficulty"], _TOP) for row in mine]
                axes.hlines(heights, [row["midi_low"] for row in mine], [row["midi_high"] for row in mine],
                            color=color, alpha=clear, linewidth=1.4)
                # Nothing is said by the place of the mark but the family: it stands at the middle of the range.
                axes.plot([(row["midi_low"] + row["midi_high"]) / 2 for row in mine], heights, marker, color=color,
                          markerfacecolor="white", markersize=6 if len(rows) < _MANY else 3.5,
                          label=f"{family} ({len(mine)})", linestyle="none")
        axes.set_ylim(-0.03, _TOP + 0.05)
        axes.set_xlim(low - 1.5, high + 1.5)
        _pitch_axis(axes.xaxis, low, high)
        axes.set_xlabel("sounding range of the line")
        axes.set_ylabel("hardest measure (top: 2 and more)")
        figure.legend(loc="outside upper left", ncols=5, frameon=False)

    hard = sum(row["difficulty"] > 1 for row in rows)
    return _drawn(draw, width=9, height=5, name="difficulty", title="Difficulty against range",
                  desc=f"{len(rows)} lines between {pitch_of(low).pretty} and {pitch_of(high).pretty}; {hard} have a "
                       "measure beyond the limit. The table of the hardest lines follows below.")


def pitch_plot(pitches: dict[int, int]) -> str:
    """Draw how often each pitch stands in the lines for slides, by what it asks of a plain slide."""
    low, high = min(pitches), max(pitches)

    def draw(figure: Any, axes: Any) -> None:
        for demand, (words, color, hatch) in _DEMANDS.items():
            mine = [midi for midi in pitches if slide_demand(midi) == demand]
            axes.bar(mine, [pitches[midi] for midi in mine], color=color, hatch=hatch, label=words, width=0.85,
                     edgecolor="white", linewidth=0)
        axes.set_xlim(low - 1, high + 1)
        _pitch_axis(axes.xaxis, low, high)
        axes.set_xlabel("sounding pitch")
        axes.set_ylabel("notes")
        axes.yaxis.grid(visible=True, color=RULE, linewidth=0.8)
        axes.set_axisbelow(True)
        figure.legend(loc="outside upper left", ncols=3, frameon=False)

    parts = [f"{sum(n for midi, n in pitches.items() if slide_demand(midi) == demand)} {words}"
             for demand, (words, _, _) in _DEMANDS.items()]
    return _drawn(draw, width=9, height=3.4, name="pitches", title="Where the notes of the slide lines lie",
                  desc=f"Notes between {pitch_of(low).pretty} and {pitch_of(high).pretty}: {'; '.join(parts)}.")


def demand_plot(pieces: dict[Demand, int]) -> str:
    """Draw the share of pieces by the utmost that they ask of a plain slide, as one bar."""
    total = sum(pieces.values())

    def draw(figure: Any, axes: Any) -> None:
        left = 0.0
        for demand, (words, color, hatch) in _DEMANDS.items():
            share = 100 * pieces[demand] / total
            axes.barh(0, share, left=left, color=color, hatch=hatch, edgecolor="white", label=words)
            if share >= 6:
                axes.text(left + share / 2, 0, f"{share:.0f} %", ha="center", va="center",
                          color="white" if demand == "beyond" else INK, fontweight="bold",
                          bbox={"facecolor": "white", "edgecolor": "none", "pad": 2} if hatch else None)
            left += share
        axes.set_xlim(0, 100)
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.set_xlabel("share of the pieces with slide parts [%]")
        figure.legend(loc="outside upper left", ncols=3, frameon=False)

    return _drawn(draw, width=9, height=1.7, name="demand", title="How far out the pieces go",
                  desc="; ".join(f"{pieces[demand]} of {total} pieces: {words}"
                                 for demand, (words, _, _) in _DEMANDS.items()) + ".")


def saving_plot(found: Sequence[Saving]) -> str:
    """Draw, for the lines that gain most, cents off on average without and with compensation."""
    rows = list(found[:_SHOWN_LINES])[::-1]

    def draw(figure: Any, axes: Any) -> None:
        places = range(len(rows))
        axes.hlines(places, [one.with_cents for one in rows], [one.plain_cents for one in rows], color=RULE,
                    linewidth=4)
        axes.plot([one.plain_cents for one in rows], places, "o", color=USUAL, markerfacecolor="white", markersize=8,
                  markeredgewidth=1.8, linestyle="none", label="without")
        axes.plot([one.with_cents for one in rows], places, "o", color=INK, markersize=8, linestyle="none",
                  label="compensating")
        axes.set_yticks(list(places), [_short(one) for one in rows])
        axes.set_ylim(-0.7, len(rows) - 0.3)
        axes.set_xlim(left=0)
        axes.set_xlabel("cents off, mean of all notes")
        axes.xaxis.grid(visible=True, color=RULE, linewidth=0.8)
        axes.set_axisbelow(True)
        figure.legend(loc="outside upper left", ncols=2, frameon=False)

    best = found[0]
    return _drawn(draw, width=9, height=1.3 + 0.3 * len(rows), name="saving",
                  title="What a compensating horn saves",
                  desc=f"{len(found)} lines; the first gains {best.saved_cents:.1f} cents a note "
                       f"({best.plain_cents:.1f} without, {best.with_cents:.1f} with).")


def _short(one: Saving) -> str:
    name = f"{one.title or one.file}, {one.part}"
    return name if len(name) <= 44 else f"{name[:43]}…"
