"""The page's parts say where each shared name comes from: one that was moved and is not fetched fails in use."""

import re
from pathlib import Path

import pytest

import analyzer.web

STATIC = Path(analyzer.web.__file__).parent / "static"
SCRIPTS = {path.name: path.read_text(encoding="utf-8") for path in sorted(STATIC.glob("*.js"))}
EXPORTED = {name for text in SCRIPTS.values()
            for name in re.findall(r"^export (?:async )?(?:function|const|let|class) (\w+)", text, re.M)}
_UNSAID = re.compile(r"//[^\n]*|/\*.*?\*/|\"(?:\\.|[^\"\\\n])*\"|'(?:\\.|[^'\\\n])*'", re.S)


def _fetched(text: str) -> set[str]:
    return {name.split(" as ")[-1].strip() for names in re.findall(r"^import \{([^}]*)\}", text, re.M)
            for name in names.split(",")}


def _calls(text: str) -> set[str]:
    """Return the names that are called as functions of their own, not as something of an object."""
    return set(re.findall(r"(?<![\w.$#])(\w+)\(", re.sub(r"^import .*$", "", _UNSAID.sub(" ", text), flags=re.M)))


def _made(text: str) -> set[str]:
    """Return the names that a script makes itself, for all of it or inside of something."""
    own = {name for found in re.findall(r"\b(?:function\*?|const|let|class)\s+(\w+)|,\s*(\w+)\s*=[^=]|(\w+)\s*=>", text)
           for name in found if name}
    for given in re.findall(r"\(([^()]*)\)\s*(?:=>|\{)", text):        # parameters
        own |= set(re.findall(r"\w+", given))
    return own | set(re.findall(r"^\s+(?:async )?(\w+)\([^()]*\)\s*\{", text, re.M))        # methods


@pytest.mark.parametrize("script", SCRIPTS)
def test_what_another_part_offers_is_fetched_before_it_is_called(script: str) -> None:
    text = SCRIPTS[script]
    assert (_calls(text) & EXPORTED) - _fetched(text) - _made(text) == set()


def test_a_name_that_is_not_fetched_is_found() -> None:
    text = SCRIPTS["practice.js"]
    assert "toil" in _calls(text) & EXPORTED
    assert "toil" not in _fetched(text.replace("import { stuck, toil }", "import { stuck }"))
