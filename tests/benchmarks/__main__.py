"""All figures of speed and memory in one run.

Print the tables (about ten minutes), of all benchmarks or of the named ones::

    python -m tests.benchmarks [weight command map score report home pin section survey]

With ``--write`` they go into DEVELOPERS.md too, between the marks that stand there; with ``--whole`` the survey takes
every score of every suite and ten thousand files, in place of a seeded sample.
"""

import argparse
import platform
import re
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from pathlib import Path

from tests.benchmarks import (
    test_bench_command,
    test_bench_home,
    test_bench_map,
    test_bench_pin,
    test_bench_report,
    test_bench_score,
    test_bench_section,
    test_bench_survey,
    test_bench_weight,
)
from tests.benchmarks.measuring import HEAD, Figure

PAGE = Path(__file__).parents[2] / "DEVELOPERS.md"
BEGIN, END = "<!-- figures: python -m tests.benchmarks --write -->", "<!-- end of figures -->"

def _first_answer() -> Sequence[Figure]:
    from tests.web import measure_long  # needs a browser

    return measure_long.figures()


GROUPS: dict[str, tuple[str, Callable[[bool], Iterable[Figure]]]] = {
    "weight": ("Weight", lambda whole: test_bench_weight.figures()),
    "command": ("Whole commands", lambda whole: test_bench_command.figures()),
    "map": ("One score", lambda whole: test_bench_map.figures()),
    "score": ("Reading and marking", lambda whole: test_bench_score.figures()),
    "report": ("Pages", lambda whole: (*test_bench_report.figures(), *_first_answer())),
    "home": ("A take-home page", lambda whole: test_bench_home.figures()),
    "pin": ("A pin", lambda whole: test_bench_pin.figures()),
    "section": ("A section", lambda whole: test_bench_section.figures()),
    "survey": ("A library", lambda whole: test_bench_survey.measured(whole=whole)),
}


def tables(names: Sequence[str], *, whole: bool, say: Callable[[str], None] = str) -> dict[str, str]:
    """Return the table of each group, under its heading; `say` hears each line as soon as it is there."""
    found = {}
    for name in names:
        lines = []
        for line in (f"**{GROUPS[name][0]}**", "", HEAD):
            lines.append(line)
            say(line)
        for figure in GROUPS[name][1](whole):
            lines.append(figure.row())
            say(lines[-1])
        found[name] = "\n".join(lines)
    return found


def inserted(page: str, new: dict[str, str]) -> str:
    """Return the page with these tables in place of its own of the same groups.

    Raises
    ------
    ValueError
        If the page lacks the marks.
    """
    before, begin, rest = page.partition(BEGIN)
    old, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError(f"the page has no lines '{BEGIN}' and '{END}'")
    kept = {found[1]: found[0].strip() for found in re.finditer(r"\*\*(.+?)\*\*\n.*?(?=\n\*\*|\Z)", old, re.DOTALL)}
    shown = [new.get(name) or kept.get(title, "") for name, (title, _) in GROUPS.items()]
    return f"{before}{BEGIN}\n\n" + "\n\n".join(one for one in shown if one) + f"\n\n{END}{after}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", choices=[*GROUPS, []], metavar="NAME", help=", ".join(GROUPS))
    parser.add_argument("--write", action="store_true", help="write them into DEVELOPERS.md")
    parser.add_argument("--whole", action="store_true", help="every score, ten thousand files")
    asked = parser.parse_args()
    print(f"Python {platform.python_version()}, {platform.system()} on {platform.machine()}\n", flush=True)
    new = {}
    for name in asked.names or list(GROUPS):
        new |= tables([name], whole=asked.whole, say=partial(print, flush=True))
        print(flush=True)
        if asked.write:
            PAGE.write_text(inserted(PAGE.read_text(encoding="utf-8"), new), encoding="utf-8")


if __name__ == "__main__":
    main()
