"""Every source key, wherever it stands in data, code or tests, is found in the one list of sources."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parent.parent
LIST = ROOT / "analyzer" / "sources.toml"
SOURCES = tomllib.loads(LIST.read_text(encoding="utf-8"))
_KEY = re.compile(r"\bS\d\d\b")
_WHERE = (".toml", ".csv", ".py", ".md", ".json")


def used() -> dict[str, set[str]]:
    """Source keys with the files they stand in."""
    found: dict[str, set[str]] = {}
    for folder in (ROOT / "analyzer", ROOT / "tests"):
        for path in folder.rglob("*"):
            if path.suffix in _WHERE and path != LIST:
                for key in _KEY.findall(path.read_text(encoding="utf-8")):
                    found.setdefault(key, set()).add(str(path.relative_to(ROOT)))
    return found


def test_every_key_is_in_the_list() -> None:
    found = used()
    assert len(found) > 30
    assert {key: files for key, files in found.items() if key not in SOURCES} == {}


def test_every_source_is_used_and_addressed() -> None:
    assert set(SOURCES) - set(used()) == set()
    for key, source in SOURCES.items():
        assert set(source) == {"title", "author", "address", "says"}, key
        assert source["address"].startswith("http"), key
        assert all(source.values()), key
