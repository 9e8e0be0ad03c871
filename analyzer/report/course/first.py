"""The first sheet: the new horn in hand. What changes to hold, what moves by millimeters or cents, how to tune it."""

from typing import Any

from analyzer.course.course import Course
from analyzer.course.skills import STAFF
from analyzer.horns.horn import Horn
from analyzer.horns.transition import Transition, beside_words, transition
from analyzer.paper_here import Paper
from analyzer.picture.transition import transition_picture
from analyzer.report.course.document import clef_said, course_cautions, title_of
from analyzer.report.course.music import flowable
from analyzer.report.paper import PT_PER_MM, built, forms, grid, safe
from analyzer.section.ready import physical
from analyzer.words import cents_text
from analyzer.writing.readers import Clef

_WHOM = ("Whom to ask: the teacher who is present, who hears and sees what no sheet can. For a horn that leaks, a "
         "valve that sticks or a slide that drags: the shop. For anything that hurts: a licensed health professional.")
_MOST_ROWS = 10


def first_sheet(course: Course, paper: Paper) -> bytes:
    """Return the sheet as a PDF."""
    from reportlab.platypus import PageBreak, Paragraph, Spacer, Table

    form = forms()
    before, after = course.goal.before, course.goal.after
    story: list[Any] = [Paragraph(safe(title_of(course)), form["title"]),
                        Paragraph("Before week 1, with the teacher present", form["text"]), Spacer(1, 2 * PT_PER_MM)]
    if before.name != after.name:
        story.append(Paragraph("The new horn in hand", form["head"]))
        rows: list[list[Any]] = [[Paragraph(f"<b>{head}</b>", form["cell"])
                                  for head in ("", "the old horn", "the new horn", "what it means")]]
        for change in physical(before, after):
            rows.append([Paragraph(safe(text), form["cell"]) for text in (
                change.what, change.before, change.after, change.meaning)])
        if len(rows) > 1:
            story.append(Table(rows, colWidths=[width * PT_PER_MM for width in (32, 46, 46, 56)], style=grid()))
        story += [Paragraph(safe(f"The left hand holds {after.handling.left_hand_carries.text}."), form["text"]),
                  Spacer(1, 2 * PT_PER_MM)]
    tuning = tuning_steps(before, after)
    if tuning:
        story.append(Paragraph("Tuning it, in this order", form["head"]))
        story += [Paragraph(safe(f"{nth}. {line}"), form["text"]) for nth, line in enumerate(tuning, 1)]
    change_ = transition(before, after) if before.family == after.family and before.name != after.name else None
    if change_ is not None:
        story.append(Paragraph("What the hand knows, and what has moved", form["head"]))
        story += [Paragraph(safe(line), form["text"]) for line in moved(change_)]
    elif before.family != after.family:
        story += [Paragraph("What the hand knows", form["head"]),
                  Paragraph("Seven lengths of tube, one after the other: open or first position; 2 or second; 1 or "
                            "third; 1-2 or fourth; 2-3 or fifth; 1-3 (4 on a fourth valve) or sixth; 1-2-3 (2-4) or "
                            "seventh. The lips keep their partials; the hand learns the lengths anew.", form["text"])]
    if course.goal.clef is not None:
        story.append(Paragraph("The clef", form["head"]))
        story += [Paragraph(safe(line), form["text"]) for line in clef_words(course.goal.clef)]
    story += [Spacer(1, 2 * PT_PER_MM), Paragraph(safe(_WHOM), form["text"]),
              Paragraph(safe(" ".join(course_cautions(course.goal))), form["small"])]
    if change_ is not None:
        picture = transition_picture(change_)
        svg = picture.svg("change")
        high = (297 if paper == "a4" else 279) - 34
        scale = min(180 * PT_PER_MM / picture.width, high * PT_PER_MM / picture.height)
        story += [PageBreak(), flowable(svg, picture.width * scale)]
    return built(story, paper, title_of(course))


def clef_words(clef: Clef) -> list[str]:
    """Say how a clef is read: its line, lines and spaces from below, and what a treble reader's notes are there."""
    bottom, home = STAFF[clef]

    def named(places: range) -> str:
        return ", ".join(f"{'CDEFGAB'[(bottom + place) % 7]}{(bottom + place) // 7}" for place in places)

    words = [f"The clef names its line: {named(range(home, home + 1))}. Read from there, not from the old clef. Lines "
             f"from below: {named(range(0, 9, 2))}; spaces: {named(range(1, 9, 2))}. Every excerpt of this course is "
             f"printed in {clef_said(clef)}."]
    if clef == "treble-b-flat":
        words.append("Written notes sound a major ninth lower: written C4 is B♭2, written G4 is F3.")
    elif clef == "bass":
        words.append("Who has read treble clef in B♭: the fingers stay, the names change. What was written C4, D4, E4, "
                     "F4, G4 is B♭2, C3, D3, E♭3, F3 here.")
    return words


def tuning_steps(before: Horn, after: Horn) -> list[str]:
    """Return how a horn with more valves is tuned, one slide after the other; nothing where it has no more than before.

    The order is that of D. Scott's convention handout (2017): the open horn, the first valve, the second.
    """
    if before.name == after.name:
        return []
    steps = ["Open horn first: B♭3, against a tuner or a drone, with the main slide."]
    if "T" in after.loop_names:
        steps.append("Then the attachment: play F2 or C3 on T1 and compare with the same note in sixth. Tune by one of "
                     "them; the other then lies a little off, and the slide or the lip brings it in.")
    if "S" in after.loop_names:
        steps.append("Then the second valve: D2 with both valves in first position (TS1), against D3.")
    if "4" in after.loop_names:
        steps.append("Then the fourth valve: C3 with 4 against a drone, then against 1-3, which is sharp.")
    elif after.family == "valves":
        steps.append("Then listen to D3 (1-2), C3 (1-3), B2 (1-2-3): each sharper than the one before; that is the "
                     "horn, not you.")
    return steps


def moved(change: Transition) -> list[str]:
    """Say what has moved: places of the slide beside the old open positions, or combinations in cents."""
    if change.after.family == "slide":
        new = [place for place in change.places if place.after_mm is not None and place.kind == "new"]
        rows = [f"{place.label} is {place.after_mm:.0f} mm out: {beside_words(place.near, place.beside_mm or 0.0)} of "
                "the old open slide" for place in new if place.near is not None and place.after_mm is not None]
        lead = ("With a valve held the tube is longer, so each position lies farther from the last: sixth with the "
                "valve is not the old sixth. Find each by ear, then look where the hand is.")
        same = [place.label for place in change.places if place.kind == "stays" and not place.valves]
        kept = f"Positions {', '.join(same)} of the open slide stay where they were." if same else ""
        return [lead, *([kept] if kept else []), *([f"{'; '.join(rows[:_MOST_ROWS])}."] if rows else [])]
    rows = []
    for tuning in change.tunings:
        if tuning.kind == "new" and tuning.after_cents is not None:
            rows.append(f"{tuning.label} is new, {cents_text(tuning.after_cents)}")
        elif tuning.kind == "moves" and tuning.before_cents is not None and tuning.after_cents is not None:
            rows.append(f"{tuning.label} was {cents_text(tuning.before_cents)}, now {cents_text(tuning.after_cents)}")
    stays = [tuning.label for tuning in change.tunings if tuning.kind == "stays"]
    return [f"These combinations sound as before: {', '.join(stays)}." if stays
            else "No combination sounds quite as before.",
            *([f"{'; '.join(rows[:_MOST_ROWS + 6])}."] if rows else []),
            "The fingers will reach for the old combination first: say the new one aloud before the note."]
