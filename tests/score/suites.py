"""Scores that other projects ship with their packages, and how this project's reading of them compares with music21's.

``python -m tests.score.suites [FOLDER ...]`` reads all of them (and every score in the folders) and prints one table.
"""

import random
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path

from analyzer.problem import Unreadable
from tests.score.known import DIFFERENT, UNREADABLE
from tests.score.second_reading import compare

ENDINGS = frozenset((".xml", ".mxl", ".musicxml"))
# Name of the suite, the package it comes with, the folders in it. (verovio ships no scores.)
_SHIPPED = (
    ("LilyPond suite", "music21", ("musicxml/lilypondTestSuite",)),
    ("music21 corpus", "music21", ("corpus", "omr", "stream", "figuredBass", "musicxml")),
    ("musicscore", "musicscore", (".",)),
    ("musicxml", "musicxml", (".",)),
    ("partitura", "partitura", (".",)),
    ("maialib", "maialib", (".",)),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Suite:
    """Scores of one origin, in the order of their paths; none where the package is not installed."""

    name: str
    package: str
    files: tuple[Path, ...]


def suites(folders: Sequence[Path] = ()) -> tuple[Suite, ...]:
    """Return every suite, installed or not, then the folders; a file is in the first suite that has it."""
    seen: set[Path] = set()
    result = []
    for name, package, places in _SHIPPED:
        spec = find_spec(package)
        homes = [] if spec is None or spec.origin is None else [Path(spec.origin).parent / place for place in places]
        result.append(Suite(name=name, package=package, files=tuple(_scores(homes, seen))))
    result += [Suite(name=folder.name, package="", files=tuple(_scores([folder], seen))) for folder in folders]
    return tuple(result)


def every_file() -> tuple[Path, ...]:
    """Return the files of all suites that are installed."""
    return tuple(path for suite in suites() for path in suite.files)


def sample(files: Sequence[Path], count: int, seed: int, *, most_bytes: int = 120_000) -> list[Path]:
    """Return a seeded choice of the smaller files, at most `count`."""
    small = [path for path in files if path.stat().st_size < most_bytes]
    return random.Random(seed).sample(small, min(count, len(small)))


def _scores(homes: Sequence[Path], seen: set[Path]) -> Iterator[Path]:
    found = {path for home in homes for path in home.rglob("*") if path.suffix in ENDINGS and path.is_file()}
    for path in sorted(found - seen):
        seen.add(path)
        yield path


@dataclass(slots=True)
class Row:
    """What the two readings of one suite amount to."""

    name: str
    files: int = 0
    refused: list[str] = field(default_factory=list)     # files that we do not read, with the reason
    peer_failed: list[str] = field(default_factory=list)
    notes: int = 0                                        # of files that both read
    differ: dict[str, int] = field(default_factory=dict)  # file -> notes
    slowest: tuple[float, str] = (0.0, "")                # our own reading [s]

    @property
    def unexplained(self) -> list[str]:
        """Files that differ or fail for a reason that nobody has found."""
        return [name for name in self.differ if name not in DIFFERENT] + [
            line for line in self.refused if line.partition(":")[0] not in UNREADABLE]


def measured(suite: Suite) -> Row:
    """Read every file of a suite twice."""
    row = Row(suite.name, files=len(suite.files))
    for path in suite.files:
        begin = time.perf_counter()
        try:
            found = compare(path)
        except Unreadable as error:
            row.refused.append(f"{path.name}: {error.problem.what} [{error.problem.code}]")
            continue
        if found.ours_s > row.slowest[0]:
            row.slowest = (found.ours_s, path.name)
        if found.peer_error:
            row.peer_failed.append(f"{path.name}: {found.peer_error}")
            continue
        row.notes += found.notes
        if found.where:
            row.differ[path.name] = row.differ.get(path.name, 0) + found.differ
        if sys.stderr.isatty():
            print(f"{suite.name}: {path.name} {time.perf_counter() - begin:.1f} s", file=sys.stderr)
    return row


def table(rows: Sequence[Row]) -> str:
    """Return the rows as text, then every exception with its reason."""
    total = Row("all")
    for row in rows:
        total.files += row.files
        total.notes += row.notes
        total.refused += row.refused
        total.peer_failed += row.peer_failed
        total.differ |= row.differ
        total.slowest = max(total.slowest, row.slowest)
    lines = [f"{'suite':<18}{'files':>7}{'opened':>8}{'peer fails':>12}{'notes':>10}{'differ':>8}{'equal %':>10}"
             f"{'unexplained':>13}{'slowest':>10}"]
    for row in (*rows, total):
        if not row.files:
            lines.append(f"{row.name:<18}  not installed")
            continue
        differ = sum(row.differ.values())
        equal = f"{100 * (1 - differ / row.notes):.3f}" if row.notes else "-"
        lines.append(f"{row.name:<18}{row.files:>7}{row.files - len(row.refused):>8}{len(row.peer_failed):>12}"
                     f"{row.notes:>10}{differ:>8}{equal:>10}{len(row.unexplained):>13}{row.slowest[0]:>8.2f} s")
    lines += ["", "Files that differ:"]
    for name, count in sorted(total.differ.items()):
        known = DIFFERENT.get(name)
        lines.append(f"  {name}: {count} notes; " + (
            f"{known.why} (MusicXML 4.0, {known.element}: \"{known.says}\")" if known else "NOT EXPLAINED"))
    lines += ["Files that we do not read:", *(f"  {line}; {UNREADABLE.get(line.partition(':')[0], 'NOT EXPLAINED')}"
                                              for line in total.refused)]
    lines += ["Files that music21 does not read:", *(f"  {line}" for line in total.peer_failed)]
    return "\n".join(lines)


if __name__ == "__main__":
    print(table([measured(suite) for suite in suites([Path(each) for each in sys.argv[1:]])]))
