"""What the package says of itself, and what travels with it."""

import re
import tomllib
from fnmatch import fnmatch
from pathlib import Path

import analyzer

ROOT = Path(__file__).parent.parent
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def test_the_version_stands_in_one_place() -> None:
    assert PROJECT["project"]["dynamic"] == ["version"]
    assert PROJECT["tool"]["setuptools"]["dynamic"]["version"] == {"attr": "analyzer.__version__"}
    assert re.fullmatch(r"\d+\.\d+\.\d+", analyzer.__version__)
    head = re.search(r"^## (\S+?)[,\s]", (ROOT / ".notes/changelog.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert head is not None
    assert head[1] == analyzer.__version__, "the newest heading of the changelog is the version at hand"


def test_the_project_is_the_author_and_names_no_address() -> None:
    assert [set(author) for author in PROJECT["project"]["authors"]] == [{"name"}]
    assert "urls" not in PROJECT["project"]
    assert PROJECT["project"]["classifiers"]


def test_every_file_that_is_no_code_travels_with_it() -> None:
    patterns = PROJECT["tool"]["setuptools"]["package-data"]["analyzer"]
    left = [str(path.relative_to(ROOT)) for path in (ROOT / "analyzer").rglob("*")
            if path.is_file() and path.suffix not in (".py", ".pyc")
            and not any(fnmatch(path.name, pattern.rpartition("/")[2]) for pattern in patterns)]
    assert left == []


def test_every_sample_travels_in_the_archives() -> None:
    given = PROJECT["tool"]["setuptools"]["data-files"].values()
    found = {path for patterns in given for pattern in patterns for path in ROOT.glob(pattern) if path.is_file()}
    assert found == {path for path in (ROOT / "sample_scores").rglob("*") if path.is_file()}
