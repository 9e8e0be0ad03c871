"""The accessibility checker axe-core, run on a page in a real browser.

Its script comes with the package axe-playwright-python (extra `test`); AXE_CORE may name another axe.min.js.
"""

import importlib.util
import os
from pathlib import Path

import pytest


def axe_source() -> str:
    """Return the checker's script; skip the test where it is not installed."""
    found = importlib.util.find_spec("axe_playwright_python")
    places = [Path(os.environ["AXE_CORE"])] if "AXE_CORE" in os.environ else []
    if found is not None and found.origin:
        places.append(Path(found.origin).parent / "axe.min.js")
    for path in places:
        if path.is_file():
            return path.read_text(encoding="utf-8")
    pytest.skip("axe-core is not installed (pip install axe-playwright-python, or AXE_CORE=path of axe.min.js)")


def faults(page) -> list[str]:
    """Return what axe-core finds on a page of playwright, one line a fault: rule, element, what is wrong."""
    # Evaluated by the debugger, which the page's policy does not bind.
    page.evaluate(axe_source())
    found = page.evaluate("() => axe.run(document, {resultTypes: ['violations', 'passes']})")
    assert len(found["passes"]) > 5, "the checker looked at next to nothing"
    return [f"{one['id']}: {node['html'][:160]} {node['failureSummary'][:200]}"
            for one in found["violations"] for node in one["nodes"][:3]]
