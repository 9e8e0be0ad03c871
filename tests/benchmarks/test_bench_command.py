"""Whole commands in processes of their own, as a user starts them, against processes that only parse the same file.

Print the table (Markdown; about two minutes)::

    python -m tests.benchmarks command

Processor time of every thread, from nothing to the end. *Beyond the start* means that what the same command takes for
a score of two measures is taken off, on both sides: what is left is the work on the score. Each of the four processes
runs several times, in turn, and its least time counts: what else the machine does only ever adds to it.
"""

import tempfile
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import pytest

from tests.benchmarks import making
from tests.benchmarks.measuring import Figure, cpu_of_process, shown_s

PARSE = "import sys; from lxml import etree; etree.fromstring(open(sys.argv[1], 'rb').read())"
ROUNDS = 9
SAMPLES = Path(__file__).parents[2] / "sample_scores"


def least_s(commands: Sequence[Sequence[str]], rounds: int = ROUNDS) -> list[float]:
    """Return the least processor time of each command, all of them run in turn. [s]"""
    for command in commands:
        cpu_of_process(*command)         # leaves the compiled modules and the file where a second start finds them
    runs = [[cpu_of_process(*command) for command in commands] for _ in range(rounds)]
    return [min(times) for times in zip(*runs, strict=True)]


def against_parse(what: str, data: bytes, command: Sequence[str], *, beyond: float, whole: float) -> list[Figure]:
    """Compare a command with lxml's parse of the same score: beyond each side's own start, and whole; with limits."""
    with tempfile.TemporaryDirectory() as folder:
        score, start = Path(folder) / "score.musicxml", Path(folder) / "start.musicxml"
        score.write_bytes(data)
        start.write_bytes(making.score(("Trombone",), 2))
        ours, ours_start, theirs, theirs_start = least_s([
            ("-m", "analyzer", command[0], str(score), *command[1:]),
            ("-m", "analyzer", command[0], str(start), *command[1:]),
            ("-c", PARSE, str(score)), ("-c", PARSE, str(start))])
    name = f"`lowbrass {' '.join(command)}`, {what}, {len(data) / 1e6:.1f} MB"
    starts = f"{shown_s(ours_start)} / lxml parse, beyond {shown_s(theirs_start)}"
    return [Figure(what=f"{name}, beyond its start of {starts}",
                   ours=shown_s(ours - ours_start), theirs=shown_s(theirs - theirs_start),
                   value=(ours - ours_start) / (theirs - theirs_start), limit=beyond),
            Figure(what=f"{name}, whole command / whole lxml parse", ours=shown_s(ours), theirs=shown_s(theirs),
                   value=ours / theirs, limit=whole)]


def against_import(what: str, score: Path, limit: float) -> Figure:
    """Compare a whole `map` with only loading the toolkit on which one might have built."""
    ours, theirs = least_s([("-m", "analyzer", "map", str(score)), ("-c", "import music21")], 5)
    return Figure(what=f"`lowbrass map`, cold, {what} / `import music21`", ours=shown_s(ours), theirs=shown_s(theirs),
                  value=ours / theirs, limit=limit)


@cache
def figures() -> tuple[Figure, ...]:
    with tempfile.TemporaryDirectory() as folder:
        study = Path(folder) / "study.musicxml"
        study.write_bytes(making.study())
        found = [against_import("the étude of the samples", SAMPLES / "attachment-etude.musicxml", 0.5),
                 against_import("200 measures, 1,600 notes", study, 1.0)]
    orchestra, large = making.orchestra(), making.orchestra(470)
    found += against_parse("one part of 1,600 notes", making.study(), ("map",), beyond=10, whole=8)
    found += against_parse("three trombones in an orchestral score", orchestra, ("map",), beyond=1.6, whole=3)
    found += against_parse("the same, longer", large, ("map",), beyond=1.6, whole=2.5)
    found += against_parse("an orchestral score", large, ("parts",), beyond=3, whole=3)
    found += against_parse("an orchestral score", large, ("parts", "--format", "json"), beyond=3, whole=3)
    return tuple(found)


def test_a_whole_process_is_measured_with_its_children_and_nothing_else() -> None:
    idle = cpu_of_process("-c", "import time; time.sleep(0.3)")
    busy = cpu_of_process("-c", "import time\nwhile time.process_time() < 0.3: pass")
    assert busy > 0.3 > idle


@pytest.mark.benchmark_suite
def test_commands_are_within_their_limits() -> None:
    for figure in figures():
        print(f"\n{figure.row()}")
    assert [figure.what for figure in figures() if figure.value > figure.limit] == []
