"""Every package that is asked for has a line in DEVELOPERS.md: what it weighs, and what it saves."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
ROW = re.compile(r"^\| ([a-z0-9, -]+) \| (\d+) \| ([a-z, ]+) \| (.+) \|$", re.MULTILINE)
ASIDE = {"test", "suites"}             # for who works on the project


def test_every_dependency_is_justified() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = {name: wanted for name, wanted in project["optional-dependencies"].items() if name not in ASIDE}
    asked: dict[str, set[str]] = {}
    for extra, wanted in {"core": project["dependencies"], **extras}.items():
        for one in wanted:
            if not one.startswith("lowbrass"):
                asked.setdefault(re.match(r"[\w-]+", one)[0], set()).add(extra)
    section = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").partition("## Weight")[2].partition("\n## ")[0]
    told = {name: set(row[3].split(", ")) for row in ROW.finditer(section) for name in row[1].split(", ")}
    assert set(told) == set(asked)
    for name, where in asked.items():
        assert told[name] - {"all"} == where, name


def test_the_extra_all_holds_no_data_frames_and_no_cluster() -> None:
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["optional-dependencies"]
    named = set(re.search(r"\[(.*)\]", extras["all"][0])[1].split(","))
    assert named | {"tables", "parquet", "cluster", "engrave", "all"} | ASIDE == set(extras)
