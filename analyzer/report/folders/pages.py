"""The cover of a player's folder and the director's page, set by reportlab's page layout."""

from collections.abc import Sequence
from typing import Any

from analyzer import cautions
from analyzer.paper_here import Paper
from analyzer.report.folders.bound import Folders, Sheet, horn_changes
from analyzer.report.paper import MARGIN_MM, built, forms, grid, safe
from analyzer.report.paper import PT_PER_MM as _MM
from analyzer.report.tune_chords import chord_short
from analyzer.section.section import Section
from analyzer.words import counted


def cover_page(player: str, sheets: Sequence[Sheet], starts: Sequence[int], paper: Paper) -> bytes:
    """Return the cover of a player's folder: pieces, parts, horns and pages, and where the horn changes."""
    from reportlab.platypus import Paragraph, Spacer, Table

    form = forms()
    rows: list[list[Any]] = [[Paragraph(f"<b>{head}</b>", form["cell"]) for head in ("Piece", "Part", "Horn", "Page")]]
    for sheet, start in zip(sheets, starts, strict=True):
        part = sheet.part_name + (f", player {sheet.line} of {sheet.of}" if sheet.of > 1 else "")
        part += " (doubling)" if sheet.doubles else " (cover)" if sheet.covers else ""
        part += f"; {sheet.also}" if sheet.also else ""
        rows.append([Paragraph(safe(text), form["cell"]) for text in (sheet.title, part, sheet.horn_said, str(start))])
    story: list[Any] = [Paragraph(safe(player), form["title"]), Spacer(1, 6 * _MM),
                        Table(rows, colWidths=[58 * _MM, 45 * _MM, 60 * _MM, 15 * _MM], style=grid(), repeatRows=1)]
    changes = horn_changes(sheets)
    if changes:
        story += [Spacer(1, 5 * _MM), Paragraph(f"Bring another horn: {safe('; '.join(changes))}.", form["text"])]
    story += [Spacer(1, 8 * _MM),
              Paragraph(safe(f"{cautions.PAIN} {cautions.BREAKS} {cautions.WHO}"), form["small"])]
    return built(story, paper, player)


def director_page(answer: Folders, section: Section, paper: Paper) -> bytes:
    """Return the director's page: who plays what on which horn, empty chairs, what to rehearse first."""
    from reportlab.platypus import Paragraph, Spacer, Table

    form = forms()
    pieces = [*answer.pieces]
    hard_first = sorted(pieces, key=lambda piece: ("suits", "suits with changes", "does not suit",
                                                   "not read").index(piece.verdict), reverse=True)
    rows: list[list[Any]] = [[Paragraph("<b>Player</b>", form["cell"]),
                              *(Paragraph(f"<b>{safe(piece.title)}</b>", form["cell"]) for piece in pieces)]]
    for folder in answer.folders:
        cells = []
        for piece in pieces:
            mine = [sheet for sheet in folder.sheets if sheet.score == piece.score and sheet.title == piece.title]
            hows = {sheet: (" doubling" if sheet.doubles else ", cover" if sheet.covers else "")
                    + (f"; {safe(sheet.also)}" if sheet.also else "") for sheet in mine}
            cells.append(Paragraph("<br/>".join(
                f"{safe(sheet.part_name)}{f' ({sheet.line})' if sheet.of > 1 else ''}, {safe(sheet.horn)}, "
                f"{sheet.pages} p.{hows[sheet]}" for sheet in mine) or "–", form["cell"]))
        rows.append([Paragraph(safe(folder.player), form["cell"]), *cells])
    wide = (210 if paper == "a4" else 216) - 2 * MARGIN_MM
    first = min(35.0, wide / (len(pieces) + 1))
    widths = [first * _MM, *([(wide - first) / max(1, len(pieces)) * _MM] * len(pieces))]
    total = counted(sum(folder.pages for folder in answer.folders), "page")
    story: list[Any] = [
        Paragraph("Programme", form["title"]), Spacer(1, 3 * _MM),
        Paragraph(f"{counted(len(pieces), 'piece')}, {counted(len(section.members), 'player')}, {total} to print.",
                  form["text"]), Spacer(1, 3 * _MM),
        Table(rows, colWidths=widths, style=grid(), repeatRows=1)]
    if section.absent:
        away = [member.name for member in section.absent]
        story += [Spacer(1, 3 * _MM), Paragraph(f"Absent: {safe(', '.join(away))}.", form["text"])]
    if answer.unfilled:
        story += [Spacer(1, 4 * _MM), Paragraph("Chairs without a player", form["head"])]
        story += [Paragraph(f"{safe(piece.title)}, {safe(name)}{f', player {line}' if line > 1 else ''}: {safe(why)}.",
                            form["text"]) for piece, (_, name, line, why) in answer.unfilled]
    story += [Spacer(1, 4 * _MM), Paragraph("Piece by piece", form["head"])]
    for piece in hard_first:
        said = [f"<b>{safe(piece.title)}.</b> {safe(piece.said)}"]
        if piece.changes:
            said.append(f"To change: {safe(' '.join(piece.changes))}")
        if piece.first:
            said.append(f"Rehearse first: {safe('; '.join(piece.first))}.")
        if piece.supposed:
            said.append(f"Supposed: {safe('; '.join(piece.supposed))}.")
        story.append(Paragraph(" ".join(said), form["text"]))
        story += [Paragraph(f"{'Tune first: ' if nth == 0 else ''}{safe(chord_short(chord))}", form["text"])
                  for nth, chord in enumerate(piece.chords)]
    moves = [f"{folder.player}: {', '.join(changes)}" for folder in answer.folders
             if (changes := horn_changes(folder.sheets))]
    if moves:
        story += [Spacer(1, 3 * _MM), Paragraph("Changes of horn between pieces", form["head"]),
                  Paragraph(f"{safe('; '.join(moves))}.", form["text"])]
    story += [Spacer(1, 5 * _MM), Paragraph(safe(f"{cautions.PAIN} {cautions.WHO}"), form["small"])]
    return built(story, paper, "Director")
