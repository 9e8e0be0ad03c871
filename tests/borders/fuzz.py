"""Damaged input through every command, pages and sheets included: no traceback, no death, no run past its limit.

``python -m tests.borders.fuzz [--count 3000] [--seed 1] [--jobs 2] [--keep FOLDER] [--only WORD] [--log FILE]`` prints
the table; what falls is kept in the folder, for tests/borders/crashers once it is made small. ``--only`` takes the
commands whose row holds the word; every seed does the same as without it. With ``--log`` a run that was broken off goes
on where it stopped.
"""

import argparse
import json
import os
import random
import re
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from tests.borders import damage, paging
from tests.borders.inputs import INSIDE, KINDS, RIGHT, bases, put
from tests.borders.running import TRACEBACK

TIME_LIMIT_S, MEMORY_LIMIT_MIB = 10, 1024
PATIENCE_S = 3.0 * TIME_LIMIT_S
"""Most processor time of a run: reading and planning, and a limit's worth of foreign work for page and sheet each."""
_WALL_S = 4 * PATIENCE_S
"""A run that waits for something does not use its processor time up: it is ended by the clock."""
MOST_MIB = MEMORY_LIMIT_MIB + 256
"""What one process of a run may take: the limit, and what all the libraries take that it finds loaded."""
CRASHERS = Path(__file__).with_name("crashers")
STEERING = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")
_KIND = re.compile(r"\{(\w+)\}")

COMMANDS: tuple[tuple[str, ...], ...] = tuple(tuple(row.split()) for row in """
parts {score} --format json
parts {mei} --format csv
parts {mscz}
parts {midi}
map {score} --format json
map {score} --notes
map {score} --format csv
map {solo} --measures {measures} --part {part} --tempo {tempo} --pin {pin}
map {solo} --pins {pins} --player {player} --prefer {prefer} --format json
map {score} --horn {horn} --notes
map {score} -o {out}.musicxml
map {score} -o {out}.mxl
map {score} -o {out}.svg
map {score} -o {out}.pdf
map {score} -o {out}.html
map {score} --plans 3 --intonation just
map {score} --clear -o {out}.musicxml
map {mei} -o {out}.mei
map {mscz} -o {out}.mscz
map {mxl} -o {out}.mxl
map {abc} --part P1 --format json
map {kern} --part P1 --format json
chart {horn} --format json
chart tenor --from {horn} -o {out}.pdf
horns show {horn}
horns calibrate --horn {horn} --known {known} -o {out}.toml
review {score} --format json
review {score} --ossia -o {out}.musicxml
review {score} --player {player} -o {out}.pdf
compare {score} --horn tenor --horn {horn}
compare {folder} --horn tenor --horn tenor-f --format json
ready {score} --from tenor --to tenor-f --player {player}
ready {score} --from tenor --to tenor-f -o {out}.pdf
write {solo} --part P1 --clef tenor -o {out}.musicxml
write {solo} --part P1 --for euphonium-4 -o {out}.pdf
write {solo} --part P1 --section {band} --for Chair_1 -o {out}.mxl
drill {score} --format json
drill {score} --player {player} -o {out}.musicxml
drill {score} -o {out}.pdf
drill {score} -o {out}.html
drill {score} --midi {out}.mid --tones {out}.wav
drill {score} --weeks 3 --start {date} --calendar {out}.ics
fit {score} --section {band} --format json
fit {score} --section {band} -o {out}.html
fit {score} --section {band} --absent Chair_2 -o {out}.pdf
learn {solo} -o {out}.toml
learn {solo} --pins {pins} --horn {horn} -o {out}.toml
search {folder} --horn tenor --jobs 1 --store {store}
search {folder} --section {band} --jobs 1 -o {out}.pdf
survey {folder} --jobs 1 --store {store} --format json
survey {folder} --jobs 1 --section {band} -o {out}.html
survey {folder} --jobs 1 --bass-clef -o {out}.csv
section check {band}
section new {out}.toml
tune sheet --horn {horn} -o {out}.csv
tune fit {readings} --horn tenor-f -o {out}.toml
tune pull {score} --horn {horn} --format json
tune chords {score} --format json
tune moves {moves} --horn tenor -o {player}
listen {solo} {recording} --player {player} --keep --format json
listen {solo} {recording} --pins {pins} -o {out}.html
listen {solo} {recording} -o {out}.musicxml -o {out}.pdf
listen {solo} {class} --notes
progress {player} --learned {state} --format json
progress {player} --secure T1-4 --again {state}
progress {player} --from {ticked}
take-home {solo} --player {player} --pins {pins} -o {out}.html
folders {solo} --section {band} -o {outs} --jobs 1
folders {solo} --section {band} -o {outs} --jobs 1 --take-home
course {folder} --player {player} --from tenor --to tenor-f -o {outs} --jobs 1 --start {date}
course {folder} --player {player} --from tenor --to {horn} -o {outs} --jobs 1 --take-home --store {store}
serve {score}
serve {solo} {pins}
serve {mscz}
serve {player} {band}
""".strip().splitlines())
"""Each command with what it is given; what stands in braces is an input of that kind, one of which is damaged.

`serve` is the page, which is given these files and asked for all that it does with them.
"""


@dataclass(slots=True)
class Row:
    """What the runs of one command came to."""

    ended: Counter[str] = field(default_factory=Counter)
    longest_s: float = 0.0
    most_mib: float = 0.0
    fallen: list[str] = field(default_factory=list)

    def add(self, ended: str, seconds: float, mib: float, what: str) -> None:
        """Count one run."""
        self.ended[ended] += 1
        self.longest_s, self.most_mib = max(self.longest_s, seconds), max(self.most_mib, mib)
        if ended not in ("done", "refused"):
            self.fallen.append(f"{what}: {ended}")


@dataclass(frozen=True, slots=True)
class Trial:
    """One damaged run of a command: the kind that is damaged, its bytes (of a file) or its text (of an argument)."""

    command: tuple[str, ...]
    kind: str
    files: dict[str, bytes]
    words: dict[str, str]


def trial(seed: int, command: tuple[str, ...], base: bytes) -> Trial:
    """Return what a seed does to a command: one of its inputs is damaged, the others are whole."""
    kinds = _kinds(command)
    kind = random.Random(seed).choice(kinds) if kinds else ""
    files, words = ({"score": base} if "score" in kinds else {}), dict(RIGHT)
    if kind in KINDS:
        files[kind] = KINDS[kind].damaged(base if kind == "score" else KINDS[kind].whole(), seed)
    elif kind:
        words[kind] = random.Random(seed).choice(damage.WORDS[kind])
    return Trial(command, kind, files, words)


def _kinds(command: tuple[str, ...]) -> list[str]:
    """Return the kinds of input that can be damaged, in the order in which the command names them."""
    named = [each for word in command for kind in _KIND.findall(word) for each in INSIDE.get(kind, (kind,))]
    return [kind for kind in dict.fromkeys(named) if kind in KINDS or kind in damage.WORDS]


def run(one: Trial, folder: Path, limit_s: float = TIME_LIMIT_S) -> tuple[str, float, float]:
    """Run a command in a forked process; return how it ended, its seconds of processor time, its peak memory [MiB].

    ``done``, ``refused`` (exit code 1 or 2 with a line), or how it fell: ``traceback``, ``fault``, ``signal 11``,
    ``past its limit``, ``past its memory``, ``silent`` (refused without a word), ``steering`` (a control code among
    what it said).
    """
    needed = {kind for word in one.command for kind in _KIND.findall(word)}
    places = put(folder, needed, one.files)
    asked = [word.format(**places, **one.words).replace("Chair_", "Chair ") for word in one.command]
    said = folder / "said.txt"
    begin = time.monotonic()
    child = os.fork()
    if child == 0:
        try:
            _in_child(asked, said, limit_s)
        finally:
            os._exit(99)
    status, used = _waited(child, begin + _WALL_S)
    seconds, mib = used.ru_utime + used.ru_stime, used.ru_maxrss / 1024
    return _ending(status, said, seconds, mib), seconds, mib


def _ending(status: int | None, said: Path, seconds: float, mib: float) -> str:
    if status is None or seconds > PATIENCE_S:
        return "past its limit"
    if os.WIFSIGNALED(status):
        return f"signal {os.WTERMSIG(status)}"
    code, text = os.waitstatus_to_exitcode(status), said.read_text(encoding="utf-8", errors="replace")
    if TRACEBACK in text:
        return "traceback"
    if STEERING.search(text):
        return "steering"
    if mib > MOST_MIB:
        return "past its memory"
    if code in (0, 3):              # 3: done, and the answer is no
        return "done"
    if code in (1, 2):
        return "refused" if text.strip() else "silent"
    return "fault"


def _waited(child: int, until: float) -> tuple[int | None, resource.struct_rusage]:
    while True:
        found, status, used = os.wait4(child, os.WNOHANG)
        if found:
            return status, used
        if time.monotonic() > until:
            os.killpg(child, signal.SIGKILL)
            return None, os.wait4(child, 0)[2]
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
    # A process that is started anew would run this module, too, which it has no use for.
    sys.modules["__main__"].__dict__.update(__spec__=None, __file__=None)
    from analyzer import guard
    from analyzer.cli import main
    from tests.borders.forking import forked_workers

    code = 99
    try:
        with forked_workers():
            if asked[0] == "serve":
                code = paging.asked([Path(each) for each in asked[1:]])
            else:
                main()
    except paging.FaultError as fault:
        print(fault)
        code = 70
    except SystemExit as ended:
        code = ended.code if isinstance(ended.code, int) else 0
    finally:
        guard._pool.end()
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(code)


def warm_up() -> None:
    """Load what all commands load, so that forked processes have it."""
    import importlib

    from analyzer.cli import COMMANDS

    for name in COMMANDS:
        importlib.import_module(f"analyzer.commands.{name.replace('-', '_')}")
    for name in ("verovio", "music21", "numpy", "scipy.optimize", "pandas", "soundfile", "reportlab.pdfgen.canvas"):
        importlib.import_module(name)
    for kind in KINDS.values():
        kind.whole()


def table(seeds: Sequence[int], keep: Path | None = None, only: str = "", jobs: int = 1,
          limit_s: float = TIME_LIMIT_S, log: Path | None = None, *,
          whole: bool = False) -> tuple[dict[str, Row], dict[str, Row]]:
    """Run seed after seed, each through one command in turn; what falls is kept in a folder.

    What is in the log already is not done again, so that a long run can be broken off. With `whole` each command runs
    once with undamaged input instead.

    Returns
    -------
    tuple
        The rows by command, and the same runs by the kind of input that was damaged.
    """
    warm_up()
    scores = bases()
    commands: dict[str, Row] = {}
    kinds: dict[str, Row] = {}
    with tempfile.TemporaryDirectory() as folder:
        log = log or Path(folder) / "log"
        log.touch()
        done = {ran[0] for ran in _logged(log)}
        work = [(nth - len(COMMANDS), row, scores[0]) for nth, row in enumerate(COMMANDS)] if whole else [
            (seed, COMMANDS[seed % len(COMMANDS)], scores[seed // len(COMMANDS) % len(scores)]) for seed in seeds
                if only in " ".join(COMMANDS[seed % len(COMMANDS)]) and seed not in done]
        children = [_started(work[job::jobs], log, Path(folder) / str(job), limit_s, keep) for job in range(jobs)]
        for child in children:
            os.waitpid(child, 0)
        for seed, command, kind, ended, seconds, mib in _logged(log):
            name = re.sub(r"[{}]", "", command)
            for rows, key in ((commands, name), (kinds, kind or "nothing")):
                rows.setdefault(key, Row()).add(ended, seconds, mib, f"seed {seed} ({kind})")
    return {name: commands[name] for name in sorted(commands)}, {name: kinds[name] for name in sorted(kinds)}


_Work = tuple[int, tuple[str, ...], bytes]
_Ran = tuple[int, str, str, str, float, float]


def _logged(log: Path) -> list[_Ran]:
    return [tuple(json.loads(line)) for line in log.read_text(encoding="utf-8").splitlines()]


def _started(work: Sequence[_Work], log: Path, folder: Path, limit_s: float, keep: Path | None) -> int:
    """Fork a process that does its share of the work and writes what each run came to into the log."""
    child = os.fork()
    if child:
        return child
    try:
        with log.open("a", encoding="utf-8") as lines_of:
            for each in work:
                lines_of.write(json.dumps(_one(each, folder, limit_s, keep)) + "\n")
                lines_of.flush()
    except BaseException:
        traceback.print_exc()
    finally:
        os._exit(0)


def _one(each: _Work, folder: Path, limit_s: float, keep: Path | None) -> _Ran:
    seed, command, base = each
    tried = Trial(command, "", {}, dict(RIGHT)) if seed < 0 else trial(seed, command, base)
    ended, seconds, mib = run(tried, folder, limit_s)
    if ended not in ("done", "refused") and keep is not None:
        shutil.rmtree(keep / str(seed), ignore_errors=True)
        shutil.copytree(folder, keep / str(seed), symlinks=True)
        (keep / str(seed) / "command.txt").write_text(f"{' '.join(command)}\n{tried.words}\n", encoding="utf-8")
    return seed, " ".join(command), tried.kind, ended, round(seconds, 3), round(mib, 1)


def lines(rows: dict[str, Row], heading: str = "command") -> Iterator[str]:
    """Yield a table as text."""
    wide = max(len(heading), *map(len, rows))
    yield f"{heading:<{wide}} {'runs':>5} {'done':>5} {'refused':>7} {'fell':>5} {'most CPU s':>10} {'MiB':>6}"
    total = Row()
    for row in rows.values():
        total.ended += row.ended
        total.fallen += row.fallen
        total.longest_s, total.most_mib = max(total.longest_s, row.longest_s), max(total.most_mib, row.most_mib)
    for name, row in {**rows, "all": total}.items():
        yield (f"{name:<{wide}} {row.ended.total():>5} {row.ended['done']:>5} {row.ended['refused']:>7} "
               f"{len(row.fallen):>5} {row.longest_s:>10.2f} {row.most_mib:>6.0f}")


def fallen(rows: dict[str, Row]) -> list[str]:
    """Return a line for each run that fell."""
    return [f"fell: {name}: {each}" for name, row in rows.items() for each in row.fallen]


def main() -> int:
    """Run many and print the tables; exit code 1 if anything fell."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=3000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--only", default="")
    parser.add_argument("--whole", action="store_true", help="each command once, with undamaged input, instead")
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--log", type=Path)
    asked = parser.parse_args()
    commands, kinds = table(range(asked.seed, asked.seed + asked.count), asked.keep, asked.only, asked.jobs,
                            log=asked.log, whole=asked.whole)
    print("\n".join((*lines(commands), "", *lines(kinds, "what was damaged"), "", *fallen(commands))))
    return int(bool(fallen(commands)))


if __name__ == "__main__":
    sys.exit(main())
