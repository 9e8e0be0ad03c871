"""Lines of real text in our pictures; accidentals are set in the music face, which has text forms of them."""

from html import escape

from analyzer.engrave.fonts import MUSIC_FAMILY, Face, runs, sign_scale

_MUSIC = f'font-family="{MUSIC_FAMILY}" font-weight="normal" font-style="normal"'


def words(text: str, size: float, face: Face) -> str:
    """Return the spans of a line, to stand within a `<text>` of that size and face."""
    spans = []
    for part, shown in runs(text, face):
        more = f' {_MUSIC} font-size="{size * sign_scale(part, shown):g}px"' if shown == "music" else ""
        spans.append(f"<tspan{more}>{escape(part, quote=False)}</tspan>")
    return "".join(spans)


def line_of(
    text: str, x: float, y: float, size: float, face: Face = "regular", *, anchor: str = "start",
) -> str:
    """Return a line of text as SVG; `y` is its base line."""
    more = f' text-anchor="{anchor}"' if anchor != "start" else ""
    more += ' font-weight="bold"' if face.startswith("bold") else ""
    more += ' font-style="italic"' if face.endswith("italic") else ""
    return f'<text x="{x:.0f}" y="{y:.0f}" font-size="{size:g}px"{more}>{words(text, size, face)}</text>'
