"""Damaged scores through every command, pages and sheets included: no traceback, no death, no run past its limit.

``python -m tests.borders.fuzz [--count 3000] [--seed 1] [--keep FOLDER]`` prints the table; what falls is kept in the
folder, for tests/borders/crashers once it is made small.
"""

import argparse
import os
import random
import re
import resource
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from lxml import etree

from tests.borders.running import TRACEBACK
from tests.score.test_fuzz import BASE, _mutated

TIME_LIMIT_S, MEMORY_LIMIT_MIB = 10, 1024
PATIENCE_S = 3.0 * TIME_LIMIT_S
"""Longest run of a command: reading and planning, and a limit's worth of foreign work for a page and for a sheet."""
CRASHERS = Path(__file__).with_name("crashers")
STEERING = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")

COMMANDS: tuple[tuple[str, ...], ...] = (
    ("parts", "{score}", "--format", "json"),
    ("map", "{score}", "--format", "json"),
    ("map", "{score}", "--notes"),
    ("map", "{score}", "--format", "csv"),
    ("map", "{score}", "-o", "{out}.musicxml"),
    ("map", "{score}", "-o", "{out}.mxl"),
    ("map", "{score}", "-o", "{out}.svg"),
    ("map", "{score}", "-o", "{out}.pdf"),
    ("map", "{score}", "-o", "{out}.html"),
    ("map", "{score}", "--plans", "3", "--intonation", "just"),
    ("map", "{score}", "--clear", "-o", "{out}.musicxml"),
    ("review", "{score}", "--format", "json"),
    ("review", "{score}", "--ossia", "-o", "{out}.musicxml"),
    ("review", "{score}", "-o", "{out}.pdf"),
    ("compare", "{score}", "--horn", "tenor", "--horn", "tenor-f"),
    ("ready", "{score}", "--from", "tenor", "--to", "tenor-f"),
    ("ready", "{score}", "--from", "tenor", "--to", "tenor-f", "-o", "{out}.pdf"),
    ("write", "{score}", "--part", "P1", "--clef", "tenor", "-o", "{out}.musicxml"),
    ("write", "{score}", "--part", "P1", "--for", "euphonium-4", "-o", "{out}.pdf"),
    ("drill", "{score}", "--format", "json"),
    ("drill", "{score}", "-o", "{out}.musicxml"),
    ("drill", "{score}", "-o", "{out}.pdf"),
    ("drill", "{score}", "-o", "{out}.html"),
    ("drill", "{score}", "--midi", "{out}.mid", "--tones", "{out}.wav"),
    ("fit", "{score}", "--section", "{band}", "--format", "json"),
    ("fit", "{score}", "--section", "{band}", "-o", "{out}.html"),
    ("learn", "{score}", "-o", "{out}.toml"),
    ("search", "{folder}", "--horn", "tenor", "--jobs", "1"),
    ("survey", "{folder}", "--jobs", "1", "--format", "json"),
)
_BAND = '[[player]]\nname = "Chair 1"\nhorns = ["tenor"]\n\n[[player]]\nname = "Chair 2"\nhorns = ["tenor-f"]\n'
_NUMBERS = ("0", "-1", "9999999", "1e9", "1/3", "0.0001", "9" * 20, "NaN", "", " 7 ", "2147483648", "٣")
_TEXTS = ("\u009b2J", "\u202egnp.exe", "=1+1", "a\nerror: b", "x" * 5000, "<script>", "&amp;amp;", "", "♭♯𝄫", "-")


def _numbers(root: etree._Element) -> list[etree._Element]:
    return list(root.iter(
        "duration", "divisions", "octave", "alter", "beats", "beat-type", "fifths", "line", "actual-notes",
        "normal-notes", "voice", "staff", "chromatic", "diatonic", "octave-change", "per-minute", "multiple-rest"))


def _a_number(root: etree._Element, chance: random.Random) -> None:
    found = _numbers(root)
    if found:
        chance.choice(found).text = chance.choice(_NUMBERS)


def _a_text(root: etree._Element, chance: random.Random) -> None:
    found = list(root.iter("part-name", "words", "work-title", "creator", "text", "instrument-name", "rights"))
    if found:
        chance.choice(found).text = chance.choice(_TEXTS)


def _an_attribute(root: etree._Element, chance: random.Random) -> None:
    found = [one for one in root.iter(etree.Element) if one.attrib]
    if found:
        one = chance.choice(found)
        one.set(chance.choice(list(one.attrib)), chance.choice((*_NUMBERS, *_TEXTS)))


def _inserted(text: str) -> Callable[[etree._Element, random.Random], None]:
    def change(root: etree._Element, chance: random.Random) -> None:
        measures = list(root.iter("measure"))
        if measures:
            measure = chance.choice(measures)
            measure.insert(chance.randrange(len(measure) + 1),
                           etree.fromstring(text.replace("?", chance.choice(_NUMBERS))))
    return change


def _moved(root: etree._Element, chance: random.Random) -> None:
    """Put an element into another place: structure as the standard names it, where it does not allow it."""
    every = [one for one in root.iter(etree.Element) if one.getparent() is not None]
    one, place = chance.choice(every), chance.choice(every)
    if one is not place and all(one is not above for above in place.iterancestors()):
        place.append(one)


def _doubled(root: etree._Element, chance: random.Random) -> None:
    measures = list(root.iter("measure"))
    if measures:
        measure = chance.choice(measures)
        for _ in range(chance.choice((1, 3, 40))):
            measure.addnext(etree.fromstring(etree.tostring(measure, with_tail=False)))


def _dropped(root: etree._Element, chance: random.Random) -> None:
    every = [one for one in root.iter(etree.Element) if one.getparent() is not None]
    one = chance.choice(every)
    parent = one.getparent()
    assert parent is not None
    parent.remove(one)


STRUCTURAL: tuple[Callable[[etree._Element, random.Random], None], ...] = (
    _a_number, _a_number, _a_number, _a_text, _an_attribute, _moved, _doubled, _dropped,
    _inserted("<forward><duration>?</duration></forward>"), _inserted("<backup><duration>?</duration></backup>"),
    _inserted('<direction><direction-type><wedge type="crescendo"/></direction-type></direction>'),
    _inserted('<direction><sound tempo="?"/></direction>'),
    _inserted('<barline><repeat direction="backward" times="?"/></barline>'),
    _inserted('<barline><ending number="?" type="start"/></barline>'),
    _inserted("<attributes><divisions>?</divisions></attributes>"),
    _inserted("<attributes><time><beats>?</beats><beat-type>?</beat-type></time></attributes>"),
    _inserted("<attributes><clef><sign>F</sign><line>?</line></clef></attributes>"),
    _inserted("<attributes><measure-style><multiple-rest>?</multiple-rest></measure-style></attributes>"),
    _inserted("<attributes><transpose><chromatic>?</chromatic></transpose></attributes>"),
    _inserted("<note><pitch><step>B</step><alter>?</alter><octave>?</octave></pitch><duration>?</duration></note>"),
    _inserted('<note><pitch><step>C</step><octave>3</octave></pitch><duration>4</duration><notations><slide '
              'type="start" number="?"/></notations></note>'),
    _inserted("<note><pitch><step>C</step><octave>3</octave></pitch><duration>4</duration><time-modification>"
              "<actual-notes>?</actual-notes><normal-notes>?</normal-notes></time-modification></note>"),
)


def mutated(seed: int, base: bytes = BASE) -> bytes:
    """Return a damaged score: half of the seeds change its structure, half its bytes."""
    chance = random.Random(seed)
    if seed % 2:
        return _mutated(seed, base)
    root = etree.fromstring(base)
    for _ in range(chance.choice((1, 1, 2, 4))):
        chance.choice(STRUCTURAL)(root, chance)
    return etree.tostring(root, encoding="UTF-8", xml_declaration=True)


@dataclass(slots=True)
class Row:
    """What the runs of one command came to."""

    ended: Counter[str] = field(default_factory=Counter)
    longest_s: float = 0.0
    most_mib: float = 0.0
    fallen: list[str] = field(default_factory=list)


def run(arguments: Sequence[str], data: bytes, folder: Path, limit_s: float = TIME_LIMIT_S) -> tuple[str, float, float]:
    """Run a command on a score in a forked process; return how it ended, its seconds, and its peak memory [MiB].

    ``done``, ``refused`` (exit code 1 to 3 with a line), or how it fell: ``traceback``, ``fault``, ``signal 11``,
    ``past its limit``, ``silent`` (refused without a word), ``steering`` (a control code among what it said).
    """
    for old in folder.iterdir():
        if old.is_file():
            old.unlink()
    scores = folder / "scores"
    scores.mkdir(exist_ok=True)
    (scores / "fuzz.musicxml").write_bytes(data)
    (folder / "band.toml").write_text(_BAND, encoding="utf-8")
    places = {"score": scores / "fuzz.musicxml", "out": folder / "out", "band": folder / "band.toml", "folder": scores}
    asked = [one.format(**places) for one in arguments]
    said = folder / "said.txt"
    begin = time.monotonic()
    child = os.fork()
    if child == 0:
        try:
            _in_child(asked, said, limit_s)
        finally:
            os._exit(99)
    status, used = _waited(child, begin + PATIENCE_S)
    seconds, mib = time.monotonic() - begin, used / 1024
    if status is None:
        return "past its limit", seconds, mib
    if os.WIFSIGNALED(status):
        return f"signal {os.WTERMSIG(status)}", seconds, mib
    code, text = os.waitstatus_to_exitcode(status), said.read_text(encoding="utf-8", errors="replace")
    if TRACEBACK in text:
        return "traceback", seconds, mib
    if STEERING.search(text):
        return "steering", seconds, mib
    if code == 0:
        return "done", seconds, mib
    if code in (1, 2, 3):
        return ("refused" if text.strip() else "silent"), seconds, mib
    return "fault", seconds, mib


def _waited(child: int, until: float) -> tuple[int | None, int]:
    while True:
        found, status, used = os.wait4(child, os.WNOHANG)
        if found:
            return status, used.ru_maxrss
        if time.monotonic() > until:
            os.killpg(child, signal.SIGKILL)
            _, _, used = os.wait4(child, 0)
            return None, used.ru_maxrss
        time.sleep(0.005)


def _in_child(asked: list[str], said: Path, limit_s: float) -> None:
    os.setpgid(0, 0)
    out = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(out, 1)
    os.dup2(out, 2)
    os.environ.update(LOWBRASS_TIME_LIMIT=str(limit_s), LOWBRASS_MEMORY_LIMIT=str(MEMORY_LIMIT_MIB),
                      LOWBRASS_STATE=str(said.parent / "state"))
    # What the process itself may write to; the worker of the guard has its own limit.
    resource.setrlimit(resource.RLIMIT_DATA, (2 * MEMORY_LIMIT_MIB * 2**20, resource.RLIM_INFINITY))
    sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.stderr = open(2, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    sys.argv = ["lowbrass", *asked]
    from analyzer import guard
    from analyzer.cli import main

    code = 99
    try:
        main()
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 0
    finally:
        guard._end_all()
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(code)


def warm_up() -> None:
    """Load what all commands load, so that forked processes have it."""
    import importlib

    from analyzer.cli import COMMANDS

    for name in COMMANDS:
        importlib.import_module(f"analyzer.commands.{name.replace('-', '_')}")


def table(seeds: Sequence[int], keep: Path | None = None, bases: Sequence[bytes] = (BASE,),
          commands: Sequence[tuple[str, ...]] = COMMANDS) -> dict[str, Row]:
    """Run seed after seed, each through one command in turn; what falls is kept in a folder."""
    warm_up()
    rows: dict[str, Row] = {}
    with tempfile.TemporaryDirectory() as folder:
        for number, seed in enumerate(seeds):
            command = commands[number % len(commands)]
            data = mutated(seed, bases[number // len(commands) % len(bases)])
            name = " ".join(one.replace("{score}", "S").replace("{out}", "out").strip("{}") for one in command)
            ended, seconds, mib = run(command, data, Path(folder))
            row = rows.setdefault(name, Row())
            row.ended[ended] += 1
            row.longest_s, row.most_mib = max(row.longest_s, seconds), max(row.most_mib, mib)
            if ended not in ("done", "refused"):
                row.fallen.append(f"seed {seed}: {ended}")
                if keep is not None:
                    keep.mkdir(parents=True, exist_ok=True)
                    (keep / f"{command[0]}-{seed}.musicxml").write_bytes(data)
    return rows


def lines(rows: dict[str, Row]) -> Iterator[str]:
    """Yield the table as text."""
    yield f"{'command':<66} {'runs':>5} {'done':>5} {'refused':>7} {'fell':>5} {'longest s':>9} {'MiB':>6}"
    for name, row in rows.items():
        yield (f"{name[:66]:<66} {row.ended.total():>5} {row.ended['done']:>5} {row.ended['refused']:>7} "
               f"{len(row.fallen):>5} {row.longest_s:>9.2f} {row.most_mib:>6.0f}")
    total = sum((row.ended for row in rows.values()), Counter())
    yield (f"{'all':<66} {total.total():>5} {total['done']:>5} {total['refused']:>7} "
           f"{sum(len(row.fallen) for row in rows.values()):>5} {max(row.longest_s for row in rows.values()):>9.2f} "
           f"{max(row.most_mib for row in rows.values()):>6.0f}")
    for name, row in rows.items():
        for fallen in row.fallen:
            yield f"fell: {name}: {fallen}"


def _bases() -> list[bytes]:
    samples = sorted((Path(__file__).parents[2] / "sample_scores").glob("*.musicxml"))
    return [BASE, *(etree.tostring(etree.fromstring(path.read_bytes(), etree.XMLParser(remove_comments=True)))
                    for path in samples)]


def main() -> int:
    """Run many and print the table; exit code 1 if anything fell."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path)
    asked = parser.parse_args()
    rows = table(range(asked.seed, asked.seed + asked.count), asked.keep, _bases())
    print("\n".join(lines(rows)))
    return int(any(row.fallen for row in rows.values()))


if __name__ == "__main__":
    sys.exit(main())
