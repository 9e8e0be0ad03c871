"""What every page of ours stands in: one self-contained HTML document with our style and a way past its head."""

from html import escape
from pathlib import Path

from analyzer.picture.drawing import clean


def safe(text: str) -> str:
    """Return text from a file as HTML may hold it: escaped, without control characters."""
    return escape(clean(text))


def shell(body: str, *, heading: str, lead: str, title: str = "", nav: str = "", style: str = "") -> str:
    """Return a whole HTML document.

    Parameters
    ----------
    body : str
        What stands in the main part, as HTML.
    heading, lead : str
        The heading and the line below it, as plain text.
    title : str
        The name in the browser's tab, as plain text; the heading where it is empty.
    nav : str
        What stands below the lead, as HTML.
    style : str
        CSS that comes after the style of every page.
    """
    css = Path(__file__).with_name("page.css").read_text(encoding="utf-8") + style
    return (
        '<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{safe(title or heading)}</title><style>{css}</style></head><body>"
        f'<a class="skip" href="#content">Skip to content</a><header><h1>{safe(heading)}</h1>'
        f'<p class="faint">{safe(lead)}</p>{nav}</header><main id="content">{body}</main></body></html>\n')


def figure(picture: str, label: str) -> str:
    """Return a wide picture (SVG) in a box that scrolls where a screen is narrower."""
    return (f'<div class="scroll picture chart" role="region" aria-label="{safe(label)}" tabindex="0">{picture}'
            "</div>")


def table(label: str, heads: tuple[str, ...], rows: str) -> str:
    """Return a table; `rows` are its finished rows."""
    head = "".join(f'<th scope="col">{safe(one)}</th>' for one in heads)
    return (f'<div class="scroll" role="region" aria-label="{safe(label)}" tabindex="0"><table><thead><tr>{head}'
            f"</tr></thead><tbody>{rows}</tbody></table></div>")


def row(first: str, *rest: str) -> str:
    """Return a row of a table from plain texts; the first names it."""
    return (f'<tr><th scope="row">{safe(first)}</th>'
            f'{"".join(f"<td>{safe(one)}</td>" for one in rest)}</tr>')
