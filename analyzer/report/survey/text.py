"""A survey in plain sentences, for whoever buys horns and plans a season."""

from collections.abc import Sequence

from analyzer.library.files import OTHER_FORM
from analyzer.library.purchase import Case
from analyzer.library.survey import Record, Survey
from analyzer.report.blocks import Block, Cautions, Finding, Findings, Gap, Head, Said, Table, Title, as_text
from analyzer.report.survey.document import cautions_of, summary
from analyzer.words import counted, listed

_SAID = {
    "read": "read", "no low brass": "without the parts asked for", "duplicate": "the same as another",
    "archive": "zip (its files are counted one by one)", "not a score": "no score", "unreadable": "not readable",
}
_SHOWN = 20
_STEPS_SHOWN = 8
_COLUMNS = ("Not playable: notes, and in how many lines. Out of tune: notes farther off than a player can bend with a "
            "good tone. Too fast: lines whose hardest move leaves less time than the player needs at the tempo in "
            "force.")
_WORDS = ("no", "one", "two", "three")


def survey_text(survey: Survey, bought: Case | None = None) -> str:
    """Return the summary for a person, with what one more horn would bring if that was asked."""
    return as_text(survey_blocks(survey, bought))


def survey_blocks(survey: Survey, bought: Case | None = None, *, every: bool = False) -> list[Block]:
    """Return the parts of the summary; with `every` file that could not be read, else the first of them."""
    sums = summary(survey)
    out: list[Block] = [Title(f"Survey of {survey.folder}"), Gap(),
                        _said(f"{files_sentence(sums)} {other_forms_sentence(survey)}".rstrip())]
    if sums["lines"]:
        said = findings(sums)
        if bought:
            said += bought_sentences(bought)
            each = "; ".join(f"{step.text} ({lines:,})" for step, lines in bought.singles[:_STEPS_SHOWN])
            said += [f"Lines that each step opens by itself: {each}."] if each else []
        out += [_said(lines_sentence(sums)), Gap(), Table(horn_rows(sums["horns"]), right=True),
                Said(_COLUMNS, wide=110), Gap(), *map(_said, said)]
    else:
        out.append(Said("No line to plan was found. Name parts with --part, or give the folder that holds the scores."))
    bad = list(survey.files.having("unreadable"))
    if bad:
        shown = len(bad) if every else _SHOWN
        out += [Head("Could not be read:"), Findings(("File", "Why"), [
            Finding((row["file"], row["reason"]), (f"  {row['file']}: {row['reason']}",)) for row in bad[:shown]])]
        if len(bad) > shown:
            out.append(Said(f"and {len(bad) - shown} more; --format json names them all.", indent=2))
    return [*out, Cautions(cautions_of(survey))] if sums["lines"] else out


def files_sentence(sums: Record) -> str:
    """Return how many files there are of each sort."""
    said = "; ".join(f"{count} {_SAID[one]}" for one, count in sums["files"].items() if count)
    return f"{counted(sum(sums['files'].values()), 'file')}{': ' if said else ''}{said}."


def other_forms_sentence(survey: Survey) -> str:
    """Return how many files hold music in another form that was not asked for; empty where none does."""
    count = sum((row["problem"] or {}).get("code") == OTHER_FORM for row in survey.files.having("not a score"))
    return f"Music in MIDI, ABC or Humdrum is skipped: {counted(count, 'file')}; add --foreign to read it." \
        if count else ""


def lines_sentence(sums: Record) -> str:
    """Return how many lines there are of each family."""
    families = ", ".join(f"{count} {family}" for family, count in sums["lines_by_family"].items())
    return (f"{counted(sums['lines'], 'line')} ({families}), {sums['notes']:,} notes; a line is what one player plays.")


def _said(text: str) -> Said:
    return Said(text, hang=2, wide=100)


def horn_rows(horns: Sequence[Record]) -> list[tuple[str, ...]]:
    """Return the table of horns, heads first."""
    heads = ("Horn", "lines", "notes", "not playable", "travel", "usual chart", "valve changes", "out of tune",
             "too fast")
    return [heads, *((
        one["horn"], str(one["lines"]), f"{one['notes']:,}",
        f"{one['unplayable']:,} in {one['lines_with_unplayable']}" if one["unplayable"] else "0",
        "-" if one["travel_m"] is None else f"{one['travel_m']:,.0f} m",
        "-" if one["chart_travel_m"] is None else f"{one['chart_travel_m']:,.0f} m",
        f"{one['valve_changes']:,}", f"{one['out_of_tune']:,}", str(one["lines_too_fast"])) for one in horns)]


def findings(sums: Record) -> list[str]:
    """Return what the sums say of attachments, second valves and compensation, a sentence each."""
    out = []
    one, two, loops = sums["attachment"], sums["second_valve"], sums["compensating"]
    if one:
        out.append(f"Attachment: {one['lines_needing']} of {counted(one['lines'], 'slide line')} "
                   f"({100 * one['share']:.0f} %) {'has' if one['lines_needing'] == 1 else 'have'} notes that no "
                   f"position without it sounds in tune; {counted(one['notes_needing'], 'note')} in all.")
    if two:
        out.append(f"Second valve: {two['lines_needing']} of {counted(two['lines'], 'line')} planned with two valves "
                   f"({100 * two['share']:.0f} %); {counted(two['notes_needing'], 'note')} in all.")
    if loops:
        plain, with_loops = loops["plain"], loops["compensating"]
        out.append(f"Compensating: on {counted(loops['lines'], 'line')} the notes lie {plain['off_mean_cents']:.1f} "
                   f"cents off on average without it and {with_loops['off_mean_cents']:.1f} with it; the worst note "
                   f"{plain['off_worst_cents']:.0f} and {with_loops['off_worst_cents']:.0f} cents; out of tune "
                   f"{plain['out_of_tune']:,} and {with_loops['out_of_tune']:,} notes.")
    return out


def bought_sentences(case: Case) -> list[str]:
    """Return what is open to the section, and the next steps that would open more."""
    out = [f"Purchase: with the section's horns ({', '.join(case.owned)}) and what its players have learned, "
           f"{case.open_now} of {counted(case.lines, 'line')} are playable: somebody can play every note in tune, "
           "within range, and reads the clef."]
    if not case.together:
        return [*out, "No purchase and no lesson within three steps would open more."]
    for number, one in enumerate(case.together):
        what = listed([step.text for step in one.steps])
        sure = "" if one.exact else f"; found step by step, and no set of that size opens more than {one.bound}"
        lead = f"Best {_WORDS[len(one.steps)]} together"
        if not number:
            bought = one.steps[0].kind == "buy"
            lead, what = f"Best next {'purchase' if bought else 'step'}", one.steps[0].what if bought else what
        out.append(f"{lead}: {what} (then {one.met} of {counted(case.lines, 'line')} are playable{sure}).")
    return [*out, "Speed is not checked here, nor whether two parts need the same player: see lowbrass fit."]
