"""A survey on one page, for a screen and for paper: what the library asks for, in pictures, words and tables."""

from collections.abc import Sequence
from html import escape

from analyzer.library.demands import DEMANDS, easiest, pieces_by_demand, savings, slide_pitches
from analyzer.library.purchase import Case
from analyzer.library.survey import Record, Survey
from analyzer.pitch import pitch_of
from analyzer.report.shell import figure, row, shell, table
from analyzer.report.survey.document import cautions_of, summary
from analyzer.report.survey.plots import demand_plot, difficulty_plot, pitch_plot, saving_plot
from analyzer.report.survey.text import (
    bought_sentences,
    files_sentence,
    findings,
    horn_rows,
    lines_sentence,
    other_forms_sentence,
)
from analyzer.words import counted

_HARDEST = 20
_MOST_BAD = 100


def survey_page(survey: Survey, bought: Case | None = None) -> str:
    """Return the page as one HTML document without network or script.

    Raises
    ------
    Unreadable
        If matplotlib is not installed.
    """
    sums = summary(survey)
    body = [f"<p>{escape(f'{files_sentence(sums)} {other_forms_sentence(survey)}'.strip())}</p>"]
    if sums["lines"]:
        body += [f'<p class="lead">{escape(lines_sentence(sums))}</p>', _listed(findings(sums)),
                 _difficulty(survey), _slide(survey), _compensating(survey), _horns(sums)]
        if bought:
            body.append(f"<h2>What would open more music</h2>{_listed(bought_sentences(bought))}{_steps(bought)}")
    else:
        body.append('<p class="lead">No line to plan was found.</p>')
    body.append(_unread(survey))
    if sums["lines"]:
        body.append(f'<h2>Cautions</h2><div class="care">{_listed(cautions_of(survey))}</div>')
    return shell("".join(body), heading=f"Survey of {survey.folder}", title=f"Survey: {survey.folder}",
                 lead="What the low brass of this library asks of horns and players. For whoever buys horns and plans "
                      "a season.")


def _listed(sentences: Sequence[str]) -> str:
    return f"<ul>{''.join(f'<li>{escape(one)}</li>' for one in sentences)}</ul>" if sentences else ""


def _difficulty(survey: Survey) -> str:
    rows = easiest(survey)
    if not rows:
        return ""
    hardest = sorted(rows, key=lambda one: (-one["difficulty"], one["file"], one["part"]))[:_HARDEST]
    cells = "".join(row(_name(one), one["horn"],
                        f"{pitch_of(one['midi_low']).pretty} to {pitch_of(one['midi_high']).pretty}",
                        f"{one['difficulty']:.2f}", f"measure {one['hardest_measure']}: {one['hardest_why']}")
                    for one in hardest)
    return (
        "<h2>Difficulty against range</h2><p>One stroke a line, from its lowest to its highest sounding note, on that "
        "of the horns looked at which suits it best. Its height is the hardest measure: 1 is the player’s limit of "
        "slide or finger speed; reach, tuning and range count too.</p>"
        f"{figure(difficulty_plot(rows), 'Difficulty against range, a picture')}<h3>Hardest lines</h3>"
        f"{table('Hardest lines', ('Line', 'Horn', 'Range', 'Difficulty', 'Why'), cells)}")


def _slide(survey: Survey) -> str:
    pitches = slide_pitches(survey)
    if not pitches:
        return ""
    pieces = {one: len(files) for one, files in pieces_by_demand(survey).items()}
    total = sum(pieces.values())
    words = {"near": "every note in first to fifth position", "far": "some notes only in sixth or seventh, or pedals",
             "beyond": "some notes that no position of a plain slide sounds: these need an attachment"}
    shares = "".join(row(words[one], str(pieces[one]), f"{100 * pieces[one] / total:.0f} %") for one in DEMANDS)
    notes = "".join(row(pitch_of(midi).pretty, f"{count:,}") for midi, count in sorted(pitches.items()))
    return ("<h2>Who needs an attachment</h2><p>Each piece with slide parts by the utmost that any of its notes asks "
            "of a slide without attachment. Where notes are only far out on the slide, an attachment spares long "
            "reaches.</p>"
            f"{figure(demand_plot(pieces), 'How far out the pieces go, a picture')}"
            f"{table('Pieces by what they ask of the slide', ('The piece has', 'Pieces', 'Share'), shares)}"
            f"{figure(pitch_plot(dict(pitches)), 'Where the notes lie, a picture')}"
            "<details><summary>Notes by pitch as a table</summary>"
            f"{table('Notes by pitch', ('Pitch', 'Notes'), notes)}</details>")


def _compensating(survey: Survey) -> str:
    found = savings(survey)
    if not found:
        return ""
    cells = "".join(row(f"{one.title or one.file}, {one.part}", f"{one.notes:,}", f"{one.plain_cents:.1f}",
                        f"{one.with_cents:.1f}", f"{one.saved_cents:.1f}", f"{one.plain_out} / {one.with_out}")
                    for one in found[:_HARDEST])
    return ("<h2>What a compensating horn saves</h2><p>How far the notes of each line lie off on average as the valves "
            "give them, before lip or slide corrects it.</p>"
            f"{figure(saving_plot(found), 'What a compensating horn saves, a picture')}"
            + table("Lines that gain most", ("Line", "Notes", "Without [cents]", "With [cents]", "Saved [cents]",
                                             "Out of tune, without / with"), cells))


def _horns(sums: Record) -> str:
    heads, *rows = horn_rows(sums["horns"])
    return f"<h2>The horns looked at</h2>{table('The horns looked at', heads, ''.join(row(*one) for one in rows))}"


def _steps(bought: Case) -> str:
    if not bought.singles:
        return ""
    cells = "".join(row(step.text, f"{lines:,}") for step, lines in bought.singles)
    return table("What each step opens by itself", ("Step", "Lines that it opens"), cells)


def _unread(survey: Survey) -> str:
    bad = list(survey.files.having("unreadable"))
    if not bad:
        return ""
    cells = "".join(row(one["file"], one["reason"]) for one in bad[:_MOST_BAD])
    more = f"<p>And {counted(len(bad) - _MOST_BAD, 'file')} more.</p>" if len(bad) > _MOST_BAD else ""
    return f"<h2>Could not be read</h2>{table('Files that could not be read', ('File', 'Why'), cells)}{more}"


def _name(one: Record) -> str:
    player = f", player {one['line']} of {one['of']}" if one["of"] > 1 else ""
    return f"{one['title'] or one['file']}, {one['part']}{player}"
