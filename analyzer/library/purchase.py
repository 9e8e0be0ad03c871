"""What a section would gain by one more horn: the survey's lines on the horns it has, and on each it has not."""

from collections import defaultdict
from collections.abc import Collection

from analyzer.horns.horn import Horn
from analyzer.horns.profiles import horn_names, load_horn
from analyzer.library.survey import Record, Survey
from analyzer.section.section import Section


def horns_of(section: Section) -> tuple[Horn, ...]:
    """Return the section's horns, each once: its players' in order, then those that could be lent."""
    found = {horn.name: horn for member in section.members for horn in member.horns}
    return tuple((found | {horn.name: horn for horn in section.spare if horn.name not in found}).values())


def with_others(owned: tuple[Horn, ...]) -> tuple[Horn, ...]:
    """Return the section's horns and every other one that is known, so that a survey can compare them."""
    names = {horn.name for horn in owned}
    return (*owned, *(load_horn(name) for name in horn_names() if name not in names))


def purchase(survey: Survey, owned: Collection[str]) -> Record:
    """Say what one more horn would bring, the most useful first.

    A horn covers a line if it sounds every note and none is out of tune. A line counts as covered if any horn of the
    section covers it, whoever holds it; `lowbrass fit` says who could.

    Returns
    -------
    Record
        `lines`, `covered` (by what is owned), and `horns`: for each not owned `adds_lines` and `adds_notes` (notes
        that it sounds in tune and the best owned horn for that line does not).
    """
    lines: dict[tuple[str, str, int], dict[str, int]] = defaultdict(dict)
    for row in survey.lines:
        lines[row["file"], row["part_id"], row["line"]][row["horn"]] = row["unplayable"] + row["out_of_tune"]
    notes = {(row["file"], row["part_id"], row["line"]): row["notes"] for row in survey.lines}
    # A line for which nothing is owned lacks all its notes.
    lacking = {key: min((bad for horn, bad in faults.items() if horn in owned), default=notes[key])
               for key, faults in lines.items()}
    adds: dict[str, list[int]] = defaultdict(lambda: [0, 0])
    for key, faults in lines.items():
        for horn, bad in faults.items():
            if horn not in owned:
                adds[horn][0] += bad == 0 < lacking[key]
                adds[horn][1] += max(0, lacking[key] - bad)
    return {
        "owned": sorted(owned), "lines": len(lines), "covered": sum(bad == 0 for bad in lacking.values()),
        "horns": [{"horn": horn, "adds_lines": more, "adds_notes": sounds}
                  for horn, (more, sounds) in sorted(adds.items(), key=lambda one: (-one[1][0], -one[1][1], one[0]))],
    }
