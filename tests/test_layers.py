"""Who may import whom: each place names the places it may use."""

import ast
from pathlib import Path

import analyzer

ROOT = Path(analyzer.__file__).parent
BASE = {"pitch", "evidence", "problem", "toml_file", "solver", "cautions"}
MAY = {
    "pitch": set(), "evidence": set(), "problem": set(), "toml_file": {"problem"}, "solver": set(), "cautions": set(),
    "horns": BASE - {"solver"},
    "score": BASE - {"solver"},
    "plan": BASE | {"horns", "score"},
    "analysis": BASE | {"horns", "score", "plan"},
    "review": BASE | {"horns", "score", "plan", "analysis"},
    "section": BASE | {"horns", "score", "plan", "analysis", "review"},
    "practice": BASE | {"horns", "score", "plan", "analysis", "review"},
    "library": BASE | {"horns", "score", "plan", "analysis", "review", "section", "practice"},
    "marking": BASE | {"horns", "score", "plan", "analysis"},
    "engrave": BASE | {"score", "marking"},
    "picture": BASE | {"horns", "plan", "analysis"},
    "report": BASE | {"horns", "score", "plan", "analysis", "review", "section", "practice", "library", "marking",
                      "engrave", "picture"},
    "web": BASE | {"horns", "score", "plan", "analysis", "review", "section", "practice", "marking", "engrave",
                   "picture", "report"},
    "commands": BASE | {"horns", "score", "plan", "analysis", "review", "section", "practice", "library", "marking",
                        "engrave", "picture", "report", "web"},
    "cli": {"problem", "commands"},
    "__main__": {"cli"},
    "__init__": {"analysis", "problem"},
}
HEAVY = {"pandas", "numpy", "scipy", "music21", "verovio", "rich", "matplotlib", "starlette", "uvicorn", "icalendar",
         "soundfile", "tomlkit", "pyarrow", "distributed", "reportlab", "fontTools"}


def place(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return parts[0]


def imports(path: Path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
        elif isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name


def test_imports_go_one_way() -> None:
    seen = 0
    wrong = []
    for path in sorted(ROOT.rglob("*.py")):
        here = place(path)
        for module in imports(path):
            if not module.startswith("analyzer."):
                continue
            seen += 1
            there = module.split(".")[1]
            if there != here and there not in MAY[here]:
                wrong.append(f"{path.relative_to(ROOT)} imports {module}")
    assert seen > 50, "the test saw too few imports to mean anything"
    assert wrong == []


def test_heavy_libraries_are_loaded_only_inside_functions() -> None:
    wrong = []
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            names = ([alias.name for alias in node.names] if isinstance(node, ast.Import)
                     else [node.module or ""] if isinstance(node, ast.ImportFrom) else [])
            wrong += [f"{path.relative_to(ROOT)}: {name}" for name in names if name.split(".")[0] in HEAVY]
    assert wrong == []
