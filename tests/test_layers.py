"""Who may import whom: each place names the places it may use."""

import ast
from pathlib import Path

import analyzer

ROOT = Path(analyzer.__file__).parent
READ = {"pitch", "problem", "horns", "score", "plan", "analysis"}
# Each row is what the place uses, neither less nor more. (cli loads the commands by name, when they are asked for.)
MAY = {
    "pitch": set(), "evidence": set(), "plain": set(), "problem": {"plain"}, "failure": set(),
    "serving": {"plain"}, "guard": {"problem", "serving"},
    "toml_file": {"pitch", "problem", "files"},
    "solver": set(), "cautions": set(),
    "words": set(), "tables": {"plain"}, "files": {"plain", "problem"}, "assumption": set(),
    "stave": {"toml_file"}, "paper_here": set(),
    "horns": {"pitch", "evidence", "problem", "toml_file", "words"},
    "tuning": {"pitch", "evidence", "problem", "toml_file", "tables", "words", "horns"},
    "score": {"pitch", "plain", "problem", "assumption", "files"},
    "plan": {"pitch", "plain", "problem", "stave", "toml_file", "words", "solver", "horns", "tuning", "score"},
    "selection": {"problem", "words", "horns", "score"},
    "intonation": {"pitch", "score"},
    "supposed": {"assumption", "problem", "horns", "score", "plan", "selection"},
    "analysis": {"assumption", "problem", "cautions", "words", "horns", "score", "plan", "selection", "supposed",
                 "intonation"},
    "writing": {"pitch", "problem", "horns", "score", "plan", "selection", "engrave"},
    "review": READ | {"intonation", "assumption", "cautions", "words", "tuning", "selection", "supposed"},
    "section": READ | {"intonation", "evidence", "toml_file", "cautions", "words", "selection", "supposed",
                                         "review", "writing"},
    "practice": READ | {"cautions", "words"},
    "hearing": (READ - {"score"}) | {"words"},
    "library": READ | {"guard", "serving", "words", "selection", "review", "section", "practice"},
    "course": (READ - {"problem", "analysis"}) | {"words", "selection", "section", "library", "writing"},
    "marking": (READ - {"horns"}) | {"toml_file", "words", "selection"},
    "engrave": {"guard", "problem", "score", "marking", "stave"},
    "picture": {"pitch", "plain", "cautions", "words", "horns", "plan", "analysis"},
    "report": READ | {"paper_here", "guard", "stave", "assumption", "tuning", "evidence", "intonation", "files",
                      "cautions", "supposed", "words", "tables", "selection", "review", "section", "practice",
                      "hearing", "library", "course", "marking", "engrave", "picture", "writing"},
    "web": READ | {"paper_here", "assumption", "guard", "serving", "intonation", "failure", "toml_file", "cautions",
                   "words", "selection", "review", "section", "practice", "marking", "engrave", "picture", "report",
                   "tuning", "plain", "library", "course", "writing", "hearing"},
    "commands": READ | {"paper_here", "tuning", "guard", "plain", "toml_file", "words", "tables", "files", "selection",
                        "review", "section", "practice", "hearing", "library", "course", "marking", "writing",
                        "report", "web"},
    "schemas": {"review"},
    "api": (READ - {"pitch"}) | {"intonation", "words", "files", "schemas", "review", "section", "practice", "library",
                                 "marking", "report"},
    "cli": {"commands", "failure", "plain", "problem"},
    "__main__": {"cli"},
    "__init__": {"api"},
}
HEAVY = {"pandas", "numpy", "scipy", "music21", "verovio", "rich", "matplotlib", "starlette", "uvicorn", "icalendar",
         "soundfile", "tomlkit", "pyarrow", "nlopt", "distributed", "reportlab", "fontTools"}


def place(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return parts[0]


def imports(path: Path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports from the root; this test reads them by name"
            yield from ([f"analyzer.{alias.name}" for alias in node.names] if node.module == "analyzer"
                        else [node.module])
        elif isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name


def test_imports_go_one_way() -> None:
    seen = 0
    wrong = []
    used: dict[str, set[str]] = {here: set() for here in MAY}
    for path in sorted(ROOT.rglob("*.py")):
        here = place(path)
        for module in imports(path):
            if not module.startswith("analyzer."):
                continue
            seen += 1
            there = module.split(".")[1]
            if there != here:
                used[here].add(there)
                if there not in MAY[here]:
                    wrong.append(f"{path.relative_to(ROOT)} imports {module}")
    assert seen > 50, "the test saw too few imports to mean anything"
    assert wrong == []
    assert used == MAY, "a row allows an import that nothing needs any more: take it out"


def test_heavy_libraries_are_loaded_only_inside_functions() -> None:
    wrong = []
    for path in sorted(ROOT.rglob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            names = ([alias.name for alias in node.names] if isinstance(node, ast.Import)
                     else [node.module or ""] if isinstance(node, ast.ImportFrom) else [])
            wrong += [f"{path.relative_to(ROOT)}: {name}" for name in names if name.split(".")[0] in HEAVY]
    assert wrong == []
