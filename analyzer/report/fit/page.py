"""The page of a section: does the piece suit it, who plays what, how hard each measure is for whom, what to mend.

One HTML file without network or script, for a phone, a laptop, a screen reader and paper.
"""

from collections.abc import Callable, Collection, Sequence
from itertools import count
from pathlib import Path

from analyzer.analysis import Planned
from analyzer.marking.which import marks
from analyzer.picture.heat import LEVEL_WORDS, HeatRow, heat_pictures, level_of
from analyzer.picture.picture import NARROW, WIDE
from analyzer.plan.difficulty import LEVELS, MeasureDifficulty
from analyzer.report.fit.rehearse import Hard, hard_measures, rehearsal_lead, rehearse_first
from analyzer.report.fit.text import severe, told, verdict_said
from analyzer.report.review import HEADINGS
from analyzer.report.shell import safe, shell
from analyzer.report.tune_chords import all_of_them, chord_short
from analyzer.review.findings import Finding, FindingGroup, grouped
from analyzer.section.fit import Seat, SectionFit
from analyzer.section.in_tune import section_chords
from analyzer.section.seating import Chair
from analyzer.words import agreeing, counted, measures_named

Excerpt = Callable[[Seat, int, int], str]
"""Engraves the measures from one index to another (both included) of a seat's line: an SVG, or nothing."""

_MOST_EXCERPTS = 6
"""So many findings of one line are shown in notes; the others in words. Judged: a page that opens fast on a phone."""
_MOST_MEASURES = 12


def section_page(fit: SectionFit) -> bytes:
    """Return the page of a fit as a file, with the measures of its findings engraved where verovio is installed."""
    try:
        from analyzer.engrave.engrave import PageOptions, excerpt_svg
    except ModuleNotFoundError as error:
        return section_html(fit, lambda seat, first, last: "", note=(
            f"Without music: {error.name} is not installed (pip install 'lowbrass[engrave]').")).encode()

    drawn = count(1)

    def excerpt(seat: Seat, first: int, last: int) -> str:
        burden, part = seat.burden, seat.chair.part
        if burden is None or seat.cover is not None:     # what this player reads is another part than the printed one
            return ""
        planned = Planned(part=part, planner=burden.planner, plan=burden.plan, assumed=False)
        options = PageOptions(paper="screen", embed_fonts=False, id_prefix=f"x{next(drawn)}-")
        try:
            return excerpt_svg(fit.document, part.id, (first, last), marks([planned]), options=options)
        except ValueError:
            return ""                  # the finding stands there in words all the same

    return section_html(fit, excerpt).encode()


def section_html(fit: SectionFit, excerpt: Excerpt, *, note: str = "") -> str:
    """Return the page of a fit as one HTML document; all text from score and section file is escaped.

    `note` is told beside the findings, for instance why there is no music.
    """
    title = fit.document.title or fit.document.name
    hard = hard_measures(fit)
    body = [_verdict(fit), _who(fit), _heat(fit, hard), _first(fit, rehearse_first(hard)),
            f"<h2>Line by line</h2>{_paragraph(note, 'faint')}",
            *(_line(seat, number, excerpt) for number, seat in enumerate(fit.seats, 1)),
            _in_tune(fit),
            _to_know(fit), _listed("Cautions", fit.cautions, care=True),
            _listed("Found while reading the score", [one.line() for one in fit.problems])]
    return shell("".join(body), heading=title, title=f"{title}: does it suit the section?",
                 lead=("Does this piece suit the section, who plays what, and what to rehearse or rewrite. For the "
                       f"director; from the file {fit.document.name}."),
                 style=Path(__file__).with_name("fit.css").read_text(encoding="utf-8"))


def _in_tune(fit: SectionFit) -> str:
    chords = section_chords(fit)
    return _listed("In tune together: the chords that will be worst",
                   [*map(chord_short, chords), all_of_them(fit.document.name)]) if chords else ""


def _paragraph(text: str, kind: str = "") -> str:
    return f'<p{f" class={kind}" if kind else ""}>{safe(text)}</p>' if text else ""


def _listed(title: str, items: Sequence[str], *, care: bool = False) -> str:
    if not items:
        return ""
    listed = f"<h2>{safe(title)}</h2><ul>{''.join(f'<li>{safe(one)}</li>' for one in items)}</ul>"
    return f'<section class="care">{listed}</section>' if care else listed


# --- the answer ------------------------------------------------------------------------------------------------------


def _verdict(fit: SectionFit) -> str:
    """Say the verdict first, then what would have to change, most telling words first."""
    out = [f'<p class="verdict">{safe(verdict_said(fit))}</p>']
    if fit.verdict == "does not suit":
        out.append(f"<ul>{''.join(f'<li>{safe(told(one))}</li>' for one in severe(fit))}</ul>")
    if fit.changes:
        title = "What to change" if fit.verdict != "does not suit" else "The changes that it would take"
        out.append(f"<h2>{title}</h2><ol>{''.join(f'<li>{safe(one.text)}</li>' for one in fit.changes)}</ol>")
    return "".join(out)


def _who(fit: SectionFit) -> str:
    later = {(chair.part.id, chair.line.number): f"{player} on {horn}" for chair, player, horn in fit.after}
    blocked = {(one.part_id, one.line) for one in severe(fit)}
    rows = []
    for number, seat in enumerate(fit.seats, 1):
        doubling = ' <span class="faint">doubles</span>' if seat.doubles else ""
        covering = ' <span class="faint">covers</span>' if seat.cover is not None else ""
        then = "" if seat.doubles else later.get((seat.chair.part.id, seat.chair.line.number), "")
        rows.append(f'<tr><th scope="row"><a href="#seat-{number}">{safe(seat.chair.title)}</a></th>'
                    f"<td>{safe(seat.member.name)}{doubling}</td><td>{safe(seat.played)}{covering}</td>"
                    f"<td>{safe(_state(seat, blocked))}{f'; then {safe(then)}' if then else ''}</td></tr>")
    empty = [f'<tr><th scope="row">{safe(one.chair.title)}</th><td colspan="2">'
             f"{_then_or_nobody(one.chair, later)}</td><td>{safe(one.why)}</td></tr>" for one in fit.unfilled]
    before = ", before these changes" if fit.after else ""
    head = "".join(f'<th scope="col">{name}</th>' for name in ("Line", "Player", "Horn", "How it suits"))
    return ('<h2>Who plays what</h2><div class="scroll" role="region" aria-labelledby="who" tabindex="0"><table '
            f'class="who"><caption id="who">Each line with its player and horn{before}</caption>'
            f"<thead><tr>{head}</tr></thead>"
            f"<tbody>{''.join(rows + empty)}</tbody></table></div>"
            + _listed("Phrases handed over", [f"{share.chair.title}: {share.said}." for share in fit.relieved]))


def _then_or_nobody(chair: Chair, later: dict[tuple[str, int], str]) -> str:
    then = later.get((chair.part.id, chair.line.number))
    return f"nobody; then {safe(then)}" if then else "nobody"


def _state(seat: Seat, blocked: Collection[tuple[str, int | None]]) -> str:
    """Say in a few words how a line suits its player; `blocked` are parts and lines that stand in the way."""
    stops = sum(one.severity == "stop" for one in seat.findings)
    cares = sum(one.severity == "care" for one in seat.findings)
    if stops:
        return f"{_places(stops)} cannot be played as written" + (f", {cares} more need care" if cares else "")
    if not seat.doubles and (seat.chair.part.id, seat.chair.line.number) in blocked:
        return f"does not suit; {_places(cares)} {agreeing(cares, 'ask')} for care"
    return f"suits; {_places(cares)} {agreeing(cares, 'ask')} for care" if cares else "suits"


def _places(count: int) -> str:
    return counted(count, 'place')


# --- how hard it is --------------------------------------------------------------------------------------------------

def _label(seat: Seat) -> str:
    return f"{seat.member.name}, {seat.chair.title}"


def _heat(fit: SectionFit, hard: Hard) -> str:
    rows = [HeatRow(label=_label(seat), measures=hard[place]) for place, seat in enumerate(fit.seats) if hard[place]]
    if not rows:
        return ""
    ends = "; ".join(f"{nth} {word}, up to {100 * end:.0f} %" for nth, (end, word) in enumerate(LEVELS, 1))
    out = [f'<h2>How hard each measure is, line by line</h2><p class="faint">How near a measure comes to a limit of '
           f"its player: {ends}; {len(LEVEL_WORDS)} {LEVEL_WORDS[-1]} it. A dash is a rest. Measures in which nobody "
           "plays may be left out.</p>"]
    for form, width in (("narrow", NARROW), ("wide", WIDE)):
        drawn = heat_pictures(rows, width=width)
        svgs = "".join(picture.svg(f"heat-{form}-{k}") for k, picture in enumerate(drawn))
        out.append(f'<div class="picture {form}">{svgs}</div>')
    items = "".join(f"<li>{safe(row.label)}: {safe(_by_level(row.measures))}.</li>" for row in rows)
    return "".join([*out, f"<details><summary>The same in words</summary><ul>{items}</ul></details>"])


def _by_level(measures: Sequence[MeasureDifficulty]) -> str:
    """Name the measures of each level, hardest first, and count the calm ones."""
    said = []
    for level in range(len(LEVEL_WORDS), 1, -1):
        found = [one.measure for one in measures if level_of(one) == level]
        if found:
            said.append(f"{LEVEL_WORDS[level - 1]} {', '.join(found)}")
    calm = sum(level_of(one) == 1 for one in measures)
    return "; ".join([*said, f"{calm} calm"])


def _first(fit: SectionFit, found: Sequence[tuple[int, MeasureDifficulty]]) -> str:
    """Name the places to rehearse first over all lines, hardest first, one entry a measure and line."""
    lead = safe(rehearsal_lead(found))
    if not found:
        return f"<h2>What to rehearse first</h2><p>{lead}</p>"
    items = "".join(f"<li><strong>Measure {safe(one.measure)}</strong>, {safe(_label(fit.seats[place]))} "
                    f"({one.level}). {safe(one.reason)}</li>" for place, one in found)
    return f'<h2>What to rehearse first</h2><p class="faint">{lead}</p><ol>{items}</ol>'


# --- what was found --------------------------------------------------------------------------------------------------


def _line(seat: Seat, number: int, excerpt: Excerpt) -> str:
    doubling = ", doubling" if seat.doubles else ""
    out = [f'<section class="seat" id="seat-{number}" aria-labelledby="seat-{number}-h">'
           f'<h3 id="seat-{number}-h">{safe(seat.chair.title)}: {safe(seat.member.name)} on '
           f"{safe(seat.played)}{', a cover' if seat.cover else ''}{doubling}</h3>"]
    groups = grouped(seat.findings)
    if not groups:
        out.append("<p>Nothing found: every note and move lies within this horn and player.</p>")
    shown = 0
    for one in groups:
        music = ""
        if one.first.severity != "note" and one.first.index is not None and shown < _MOST_EXCERPTS:
            music = excerpt(seat, *_span(seat, one.first))
            shown += bool(music)
        out.append(_group(seat, one, music))
    return "".join([*out, "</section>"])


def _span(seat: Seat, finding: Finding) -> tuple[int, int]:
    """Return the first and last measure index to show for a finding at a note: a move takes its next note in."""
    assert finding.index is not None
    notes = seat.chair.line.notes
    stop = finding.index + (finding.code in ("gliss", "too-fast"))
    return notes[finding.index].measure_index, notes[min(stop, len(notes) - 1)].measure_index


def _group(seat: Seat, one: FindingGroup, music: str) -> str:
    what = one.first.what
    measures = measures_named(one.places, _MOST_MEASURES)
    figure = ""
    if music:
        words = f"Music of {seat.chair.title} at measure {one.first.measure}, with what to play under each note."
        figure = f'<div class="excerpt" role="img" aria-label="{safe(words)}">{music}</div>'
    ways = "".join(f"<li>{safe(f'{measures_named(where, _MOST_MEASURES)}: {way}' if where else way)}</li>"
                   for way, where in one.ways)
    return (f'<div class="finding is-{one.first.severity}"><p><strong>{HEADINGS[one.first.severity]}'
            f"{f', {safe(measures)}' if measures else ''}.</strong> {safe(what[0].upper() + what[1:].rstrip('.'))}.</p>"
            f"{figure}{f'<ul>{ways}</ul>' if ways else ''}</div>")


def _to_know(fit: SectionFit) -> str:
    stops = severe(fit) if fit.verdict == "does not suit" else []
    return _listed("Notes", [told(one) for one in fit.findings if one not in stops])
