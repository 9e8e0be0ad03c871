"""The report: one HTML page that needs no network and no script, for a phone, a laptop, a screen reader and paper."""

from collections.abc import Callable, Iterable, Sequence

from analyzer.analysis import Analysis, Planned
from analyzer.marking.which import aim_said
from analyzer.picture.picture import LARGE, NARROW, WIDE, key_of, pictures_of
from analyzer.plan.axes import axes
from analyzer.plan.difficulty import LEVELS, MeasureDifficulty, difficulties, hardest
from analyzer.plan.plan import Plan
from analyzer.plan.summary import sentences
from analyzer.report.shell import safe, shell
from analyzer.report.typical import cents_said, slide_said
from analyzer.words import shown

Engraver = Callable[[Planned, str], Sequence[str]]
"""Engraves a line for a ``narrow`` page (a phone) or a ``wide`` one (a laptop, paper): one SVG a system."""
Each = Callable[[Iterable[Planned]], Iterable[Planned]]
"""Goes through the lines, perhaps showing progress."""


def page_html(analysis: Analysis, engrave: Engraver, *, each: Each = iter, large: bool = False,
              faces: Callable[[], str] = str) -> str:
    """Return the report as one HTML document; all text from the score is escaped.

    `large` sets large print. `faces` gives the style sheet with the faces of the engraved music; it is asked last.
    """
    document = analysis.document
    title = document.title or document.name
    several = len(analysis.lines) > 1
    sections = [_section(one, number, engrave, large) for number, one in enumerate(each(analysis.lines), 1)]
    style = "html { font-size: 125%; } @media print { html { font-size: 15pt; } }" if large else ""
    nav = ""
    if several:
        items = "".join(f'<li><a href="#line-{number}">{safe(name_of(one))}</a></li>'
                        for number, one in enumerate(analysis.lines, 1))
        nav = f'<nav aria-label="Lines of this report"><ul>{items}</ul></nav>'
    what = ("For each note of the trombone and euphonium lines: the slide position or valves that suit the whole "
            "passage best, and why. Written for players and their teacher.")
    return shell(f"{''.join(sections)}{_cautions(analysis)}{_problems(analysis)}", heading=title,
                 lead=f"{what} From the file {document.name}.", title=f"{title}: positions and valves", nav=nav,
                 style=style + faces())


def name_of(one: Planned) -> str:
    """Return part and player of a line for a heading."""
    line = one.plan.line
    player = f", {line.whose}" if line.whose else ""
    return f"{one.part.full_name or one.part.name or one.part.id}{player}"


def subtitle_of(one: Planned) -> str:
    """Return what stands under the title of a printed line: whose it is, the horn, and in short what was assumed."""
    said = []
    for found in one.assumptions:
        if found.about == "tempo":
            said.append(f"tempo {found.value.split()[0]}")
        elif found.about == "transposition":
            said.append("concert pitch" if found.value == "concert" else "treble clef in B♭")
        elif found.about in ("horn", "swing"):
            said.append("horn" if found.about == "horn" else found.value)
    assumed = f" · assumed: {', '.join(dict.fromkeys(said))}" if said else ""
    return f"{name_of(one)} · {one.plan.horn.description}{assumed}"


def _section(one: Planned, number: int, engrave: Engraver, large: bool) -> str:
    plan = one.plan
    found = difficulties(one.planner, plan)
    prefix = f"l{number}"
    facts = [("Horn", plan.horn.description + (" (assumed)" if one.assumed else "")),
             ("Player", _player(one)), ("Measures", _measures(plan)),
             *([("Assumed", "; ".join(found.line() for found in one.assumptions))] if one.assumptions else []),
             *([("Slide", slide)] if (slide := slide_said([plan.horn]).removeprefix("Slide: ")) else []),
             ("Cents", cents_said([plan.horn]).removeprefix("Cents are "))]
    listed = "".join(f"<dt>{safe(name)}</dt><dd>{safe(text)}</dd>" for name, text in facts)
    body = [f'<section class="line" id="line-{number}" aria-labelledby="{prefix}-h">'
            f'<h2 id="{prefix}-h">{safe(name_of(one))}</h2><dl class="facts">{listed}</dl>']
    if not plan.notes:
        return "".join([*body, "<p>This line has no notes here.</p></section>"])
    body.append(f'<p class="lead">{" ".join(safe(text) for text in sentences(one.plan, found))}</p>')
    body.append(_practice(found))
    body.append(_axes(one))
    body.append(_strip(found))
    body.append(_music(one, engrave))
    body.append(_pictures(one, prefix, large))
    body.append(_changes(one, prefix))
    body.append(_all_notes(plan))
    return "".join([*body, "</section>"])


def _player(one: Planned) -> str:
    player, horn = one.plan.player, one.plan.horn
    said = [player.name if player.name != "player" else "no player file: whole range, whole slide"]
    if horn.family == "slide" and player.reach_on(horn) < horn.slide_end_mm:
        about = "estimated from height, " if player.reach_estimated else ""
        said.append(f"reach {about}{player.reach_on(horn) / 10:.0f} cm of slide")
    if horn.family == "slide" and player.max_speed_mm_s:
        said.append(f"slide up to {player.max_speed_mm_s / 1000:.1f} m/s")
    return "; ".join(said)


def _measures(plan: Plan) -> str:
    measures = plan.line.measures
    if not measures:
        return "none"
    return measures[0].number if len(measures) == 1 else f"{measures[0].number} to {measures[-1].number}"


def _practice(found: Sequence[MeasureDifficulty]) -> str:
    worst = hardest(tuple(found))
    if not worst:
        return "<h3>What to practice first</h3><p>No measure comes near a limit: practice for sound and time.</p>"
    items = "".join(f"<li><strong>Measure {safe(one.measure)}</strong> ({one.level}). {safe(one.reason)}</li>"
                    for one in worst)
    change = (" What is beyond a limit is not for practice as it stands: take a slower tempo, another horn, or a "
              "change that the teacher agrees to.") if any(one.level == "beyond" for one in worst) else ""
    return (f'<h3>What to practice first</h3><p class="faint">Hardest first; begin slowly, and stop before it tires.'
            f"{change}</p><ol>{items}</ol>")


def _axes(one: Planned) -> str:
    """What makes the line hard, axis by axis; never one grade."""
    items = "".join(
        f"<li><strong>{safe(axis.axis.capitalize())}</strong>, measure {safe(axis.measure)}"
        f"{'' if axis.share is None else f' ({100 * axis.share:.0f} %)'}: {safe(axis.reason)}</li>"
        for axis in axes(one.planner, one.plan))
    return (f'<h3>What it asks for</h3><p class="faint">Where each is hardest; 100 % is this player’s limit.</p>'
            f"<ul>{items}</ul>")


def _music(one: Planned, engrave: Engraver) -> str:
    words = (f"Engraved music of {name_of(one)} with a mark under each note. The same in words: under All notes in "
             "words.")
    aimed = " In or out, small: the slide’s move for the chord, in mm." if any(map(aim_said, one.plan.notes)) else ""
    out = ["<h3>The part with its marks</h3>"
           f'<p class="faint">Bold, bracketed: alternates, one bracket a group. ×: cannot be played.{aimed}</p>']
    for form in ("narrow", "wide"):
        systems = "".join(engrave(one, form))
        out.append(f'<div class="sheet {form}" role="img" aria-label="{safe(words)}">{systems}</div>')
    return "".join(out)


def _pictures(one: Planned, prefix: str, large: bool) -> str:
    slide = one.plan.horn.family == "slide"
    name = "The slide picture" if slide else "The valve picture"
    explained = (
        "Time goes across; down is how far the slide is out. The scales at the left show where the positions lie, for "
        "each valve state its own." if slide else
        "Time goes across; the lanes show which valves are held, the curve below how far each note lies from in tune.")
    out = [f'<h3>{name}</h3><p class="faint">{explained}</p>']
    for form, width in (("narrow", NARROW), ("wide", WIDE / LARGE if large else WIDE)):
        drawn = [key_of(one, width=width), *pictures_of(one, width=width)]
        shared: dict[str, str] = {}
        svgs = "".join(picture.svg(f"{prefix}-{form}-{k}", shared) for k, picture in enumerate(drawn))
        out.append(f'<div class="picture {form}">{svgs}</div>')
    return "".join(out)


def _strip(found: Sequence[MeasureDifficulty]) -> str:
    cells = []
    for one in found:
        high = min(100, round(100 * one.share))
        over = one.level in ("hard", "beyond")
        word = "rest" if one.kind == "rest" else one.level
        cells.append(
            f'<li{" class=over" if over else ""}><b><span class="hidden">measure </span>{safe(one.measure)}</b>'
            f'<span class="bar" aria-hidden="true"><span style="height:{high}%"></span></span>{word}</li>')
    scale = ", ".join(f"{word} up to {100 * end:.0f} %" for end, word in LEVELS)
    return ('<h3>How hard each measure is</h3><p class="faint">How near the measure comes to a limit of this player, '
            f"by its quickest move, farthest reach or worst tuning: {scale}, beyond above.</p>"
            f'<ol class="strip">{"".join(cells)}</ol>')


def _changes(one: Planned, prefix: str) -> str:
    plan = one.plan
    told = [(group.first, group.measures, group.labels, group.chart_labels, group.why) for group in plan.groups]
    told += [(note.index, (note.note.measure,) * 2, (note.choice.label,),
              (note.usual.label,) if note.usual else ("none",), " ".join(note.why))
             for note in plan.notes if note.choice and not note.changed and (note.pinned or note.usual is None)]
    rows = [
        f'<tr><td>{safe("–".join(dict.fromkeys(measures)))}</td>'
        f'<td>{safe(" ".join(note.note.written.pretty for note in plan.notes[first:first + len(labels)]))}</td>'
        f'<td class="play">{safe(" ".join(map(shown, labels)))}</td>'
        f'<td class="usual">{safe(" ".join(map(shown, usual)))}</td><td>{safe(why)}</td></tr>'
        for first, measures, labels, usual, why in sorted(told, key=lambda row: row[0])]
    broken = [
        f'<tr><td>{safe(note.note.measure)}</td><td>{safe(note.note.written.pretty)}</td><td class="play">'
        f'{safe(shown(note.choice.label)) if note.choice else "×"}</td><td class="usual">'
        f'{safe(shown(note.usual.label)) if note.usual else "none"}</td>'
        f"<td>{safe(note.problem.what)}. {safe(note.problem.try_)}</td></tr>" for note in plan.notes if note.problem]
    out = "<h3>What differs from the usual chart, and why</h3>"
    if not rows and not broken:
        return out + "<p>Nothing: the usual choice is the best one at every note.</p>"
    head = ('<thead><tr><th scope="col">Measure</th><th scope="col">Note</th><th scope="col">Play</th>'
            '<th scope="col">Usual</th><th scope="col">Why</th></tr></thead>')
    return (f'{out}<div class="scroll" role="region" aria-labelledby="{prefix}-c" tabindex="0"><table>'
            f'<caption id="{prefix}-c">{safe(name_of(one))}: written notes, where the choice is not the usual</caption>'
            f"{head}<tbody>{''.join(broken + rows)}</tbody></table></div>")


def _all_notes(plan: Plan) -> str:
    measures: dict[int, list[str]] = {}
    numbers: dict[int, str] = {}
    for one in plan.notes:
        label = shown(one.choice.label) if one.choice else "cannot be played"
        measures.setdefault(one.note.measure_index, []).append(f"{one.note.written.pretty} {label}")
        numbers[one.note.measure_index] = one.note.measure
    items = "".join(f"<li>Measure {safe(numbers[index])}: {safe(', '.join(said))}.</li>"
                    for index, said in measures.items())
    return f"<details><summary>All notes in words</summary><ul>{items}</ul></details>"


def _cautions(analysis: Analysis) -> str:
    items = "".join(f"<li>{safe(line)}</li>" for line in analysis.cautions)
    return f'<section class="care" aria-labelledby="care"><h3 id="care">Cautions</h3><ul>{items}</ul></section>'


def _problems(analysis: Analysis) -> str:
    if not analysis.problems:
        return ""
    items = "".join(f"<li>{safe(problem.line())}</li>" for problem in analysis.problems)
    return f"<h3>Found while reading the score</h3><ul>{items}</ul>"
