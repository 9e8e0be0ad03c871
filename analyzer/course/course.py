"""A course from the music at hand: skills over weeks, stretches to practice each, what is missing and why."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil

from analyzer.course.skills import Goal, RoadSkill, rules
from analyzer.course.weeks import Offer, Road, least_road
from analyzer.library.survey import Record
from analyzer.plan.practiced import Practiced
from analyzer.words import counted, listed

TICKED = 1.5
"""Price of a stretch that the student has ticked clean at its goal: another is taken where there is one. Judged; any
above `weeks.AN_EXCERPT` does the same."""
OPEN_SHEET = 20.0
"""Price of a stretch from a sheet that comes along; it teaches only what the school's own music cannot. Judged: a piece
of the school's own is worth any price, so that a sheet comes back, too, only where nothing else does."""
ALIKE = 0.35
"""Up to so much dearer, a stretch from a piece that was not used yet goes before one that was. Judged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """Measures of one line, `first` to `last` as printed; `start` and `stop` are their places in the part.

    `skills` are the ids it asks for, `new` those it is here for, `again` those of earlier weeks. `open_sheet` tells
    that the piece is not the school's: none of its scores has what is new here.
    """

    score: str
    title: str
    part_id: str
    part: str
    line: int
    of: int
    first: str
    last: str
    start: int
    stop: int
    clefs: tuple[str, ...]
    skills: tuple[str, ...]
    new: tuple[str, ...]
    again: tuple[str, ...]
    counts: dict[str, int]
    why: str
    open_sheet: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """One week: what is new, what comes back, and the excerpts."""

    number: int
    new: tuple[RoadSkill, ...]
    again: tuple[RoadSkill, ...]
    excerpts: tuple[Excerpt, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The whole: every skill of the goal is new in one week or `missing` (with why); `exact`: surely the best."""

    goal: Goal
    weeks: tuple[Week, ...]
    missing: tuple[tuple[RoadSkill, str], ...]
    exact: bool


def course_of(goal: Goal, lines: Sequence[Record], *, weeks: int | None = None,
              practiced: Iterable[Practiced] = ()) -> Course:
    """Return the course that these lines give; `lines` are the rows of `course_bytes`, with `file` and `title`."""
    offers = _offers(goal, lines, tuple(practiced))
    bit = {skill.id: 1 << nth for nth, skill in enumerate(goal.skills)}
    own: dict[int, float] = {}
    sheets: dict[int, float] = {}
    for mask, cost, line, _ in offers:                   # the cheapest first
        (sheets if "open_sheet" in line else own).setdefault(mask, cost)
    choices = [Offer(needs=mask, cost=cost) for mask, cost in own.items()]
    road = _road(goal, choices, weeks)
    if sheets:
        had = road.covered if road else 0
        choices += [Offer(needs=mask, cost=cost, teaches=mask & ~had) for mask, cost in sheets.items()]
        road = _road(goal, choices, weeks)
    covered = road.covered if road else 0
    missing = tuple((skill, _why_missing(goal, skill, lines, offers, covered, bit)) for skill in goal.skills
                    if not covered & bit[skill.id])
    return Course(goal=goal, weeks=_weeks(goal, road, choices, offers) if road else (), missing=missing,
                  exact=road is None or road.exact)


_Found = tuple[int, float, Record, Record]            # mask, price, line, stretch


def _offers(goal: Goal, lines: Sequence[Record], practiced: Sequence[Practiced]) -> list[_Found]:
    bit = {skill.id: 1 << nth for nth, skill in enumerate(goal.skills)}
    found = []
    for line in lines:
        for stretch in line["stretches"]:
            mask = sum(bit[one] for one in stretch["needs"])
            price = (stretch["cost"] + OPEN_SHEET * ("open_sheet" in line)
                     + TICKED * any(_ticked(line, stretch, one) for one in practiced))
            found.append((mask, max(0.0, price + 0.5), line, stretch))
    return sorted(found, key=lambda one: (one[1], one[2]["file"], one[2]["part_id"], one[2]["line"], one[3]["from"]))


def _ticked(line: Record, stretch: Record, ticks: Practiced) -> bool:
    """Tell whether a stretch was ticked clean at its goal, all of it."""
    if ticks.bpm < ticks.goal_bpm or ticks.part != line["part"] or ticks.score not in (line["file"], line["title"]):
        return False
    first, last = ticks.measures
    if (first, last) == (stretch["first"], stretch["last"]):
        return True
    numbers = (first, last, stretch["first"], stretch["last"])
    return all(one.isdigit() for one in numbers) and int(first) <= int(stretch["first"]) and (
        int(stretch["last"]) <= int(last))


def _road(goal: Goal, choices: Sequence[Offer], weeks: int | None) -> Road | None:
    """Choose; without a number of weeks as many as two new things a week want, with one as few a week as it allows."""
    told = rules()
    levels = [skill.level for skill in goal.skills]
    bit = {skill.id: 1 << nth for nth, skill in enumerate(goal.skills)}
    needs = [sum(bit[one] for one in goal.needs(skill)) for skill in goal.skills]
    # A skill that nothing offers can never be new; without it the sets are fewer.
    there = sum(1 << nth for nth in range(len(levels)) if any(one.needs >> nth & 1 for one in choices))
    reachable = there.bit_count()
    number = weeks or max(1, ceil(reachable / told.usual_a_week))
    best = least_road(levels, needs, choices, number, told.most_a_week)
    if best is None:
        return None
    count = best.covered.bit_count()
    if weeks is None:
        number = max(1, ceil(count / told.usual_a_week))
    for most in range(max(1, ceil(count / number)), told.most_a_week):
        spread = least_road(levels, needs, choices, number, most)
        if spread is not None and spread.covered.bit_count() == count:
            return spread
    return best if weeks is not None else least_road(levels, needs, choices, number, told.most_a_week)


def _weeks(goal: Goal, road: Road, choices: Sequence[Offer], offers: Sequence[_Found]) -> tuple[Week, ...]:
    names = [skill.id for skill in goal.skills]
    taken: list[tuple[Record, Record]] = []
    used: Counter[str] = Counter()
    week_of: dict[str, int] = {}
    last_seen: dict[str, int] = {}
    result = []
    there = 0
    for number, (new, places) in enumerate(road.weeks, 1):
        before, there = there, there | new
        for nth, name in enumerate(names):
            if new >> nth & 1:
                week_of[name] = number
        picked = [_pick(choices[place].needs, offers, taken, used, new) for place in places]
        back = _coming_back(before, there, offers, taken, used, last_seen, names, number)
        if back is not None:
            picked.append(back)
        excerpts = tuple(_excerpt(line, stretch, goal, week_of, number) for line, stretch in picked)
        shown_now = {one for excerpt in excerpts for one in excerpt.skills}
        last_seen.update(dict.fromkeys(shown_now, number))
        result.append(Week(
            number=number, excerpts=excerpts,
            new=tuple(skill for nth, skill in enumerate(goal.skills) if new >> nth & 1),
            again=tuple(skill for nth, skill in enumerate(goal.skills) if before >> nth & 1 and skill.id in shown_now)))
    return tuple(result)


def _pick(mask: int, offers: Sequence[_Found], taken: list[tuple[Record, Record]], used: Counter[str],
          new: int) -> tuple[Record, Record]:
    """Return a stretch of just these skills, from a piece not used yet where one is hardly dearer."""
    every = [(cost, line, stretch) for needs, cost, line, stretch in offers if needs == mask]
    same = [one for one in every if "open_sheet" not in one[1]] or every
    fresh = [one for one in same if not _overlaps(one[1], one[2], taken)] or same
    least = min(cost for cost, *_ in fresh)
    _, line, stretch = min((one for one in fresh if one[0] <= least + ALIKE),
                           key=lambda one: (used[one[1]["file"]], one[0]))
    taken.append((line, stretch))
    used[line["file"]] += 1
    return line, stretch


def _coming_back(before: int, there: int, offers: Sequence[_Found], taken: list[tuple[Record, Record]],
                 used: Counter[str], last_seen: dict[str, int], names: Sequence[str], number: int,
                 ) -> tuple[Record, Record] | None:
    """Return a stretch for what came earlier, the longest ago first; None where nothing came, or none is left."""
    if not before:
        return None
    best = None
    for needs, cost, line, stretch in offers:
        if needs & ~there or not needs & before or _overlaps(line, stretch, taken):
            continue
        away = sum(number - last_seen.get(names[nth], number) for nth in range(len(names))
                   if (needs & before) >> nth & 1)
        key = (-away + 0.5 * used[line["file"]] + cost, line["file"], stretch["from"])
        if best is None or key < best[0]:
            best = (key, line, stretch)
    if best is None:
        return None
    taken.append(best[1:])
    used[best[1]["file"]] += 1
    return best[1:]


def _overlaps(line: Record, stretch: Record, taken: Iterable[tuple[Record, Record]]) -> bool:
    return any(line is other and stretch["from"] <= had["to"] and had["from"] <= stretch["to"] for other, had in taken)


def _excerpt(line: Record, stretch: Record, goal: Goal, week_of: dict[str, int], number: int) -> Excerpt:
    new = tuple(one for one in stretch["needs"] if week_of.get(one) == number)
    again = tuple(one for one in stretch["needs"] if week_of.get(one, number) < number)
    return Excerpt(
        score=line["file"], title=line["title"] or line["file"], part_id=line["part_id"], part=line["part"],
        line=line["line"], of=line["of"], first=stretch["first"], last=stretch["last"], start=stretch["from"],
        stop=stretch["to"], clefs=tuple(line["clefs"]), skills=tuple(stretch["needs"]), new=new, again=again,
        counts=stretch["counts"], open_sheet="open_sheet" in line,
        why=_why(goal, new, again, stretch["counts"], week_of))


def _why(goal: Goal, new: Sequence[str], again: Sequence[str], counts: dict[str, int], week_of: dict[str, int]) -> str:
    """Say what an excerpt is for."""
    names = {skill.id: skill.short for skill in goal.skills}
    said = []
    if new:
        said.append("new: " + "; ".join(f"{names[one]} ({counted(counts[one], 'time')})" for one in new))
    if again:
        weeks = sorted({week_of[one] for one in again})
        said.append(f"returns to {'; '.join(names[one] for one in again)} (week"
                    f"{'s' if len(weeks) > 1 else ''} {listed([str(week) for week in weeks])})")
    if not said:
        said.append("for the sound of the new horn: nothing in it is new for the hand")
    return "; ".join(said)


def _why_missing(goal: Goal, skill: RoadSkill, lines: Sequence[Record], offers: Sequence[_Found], covered: int,
                 bit: dict[str, int]) -> str:
    if skill.id in goal.barred:
        return goal.barred[skill.id]
    with_it = [mask for mask, *_ in offers if mask & bit[skill.id]]
    if not with_it:
        places = [(line, *line["seen"][skill.id]) for line in lines if skill.id in line["seen"]]
        if not places:
            return "no score of this folder has it"
        line, number, against = next((one for one in places if one[2]), places[0])
        return (f"no passage with it can be given to this player; the first is {line['file']}, {line['part']}, "
                f"measure {number}" + (f": {against}" if against else ""))
    lacking = [need for need in goal.needs(skill) if not covered & bit[need]]
    names = {one.id: one.short for one in goal.skills}
    if lacking:
        return f"it builds on what is missing itself: {listed([names[need] for need in lacking])}"
    if any(not mask & ~(covered | bit[skill.id]) for mask in with_it):
        return "no week is left for it"
    beside = min((mask & ~(covered | bit[skill.id]) for mask in with_it), key=lambda mask: mask.bit_count())
    others = [names[one.id] for one in goal.skills if beside & bit[one.id]]
    return f"every excerpt with it also asks for {listed(others)}, which is missing"
