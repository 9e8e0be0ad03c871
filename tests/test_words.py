"""What a user reads is standard American English, as a band director would say it: retired phrases stay retired."""

import ast
import re
import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

import analyzer
from analyzer.cli import COMMANDS, cli

ROOT = Path(analyzer.__file__).parent
SAMPLES = ROOT.parent / "sample_scores"
RETIRED = re.compile("|".join((
    r"\bpupils?\b", r"\b[Pp]ractis(e|ed|es|ing)\b", r"\bneighbours?\b(?= by)", r"\brecognised\b",
    "leave the usual chart", "[Cc]annot be played so\\b", "[Aa]sks for care", "ask for care", "asks for [0-9]",
    "the worst of [0-9]+ moves", "[Ll]ies only in", "[Tt]ake a horn on which", "[Tt]ake a horn that",
    "without a rest of", "Leave [0-9.]+ seconds out", "if balance asks", "goes without leaving much out",
    "of its notes in some octave", "good to know, all of them", "^To know", "the reach told", "lacks or has only so",
    "the talk between teacher", "that is thought of", "cannot avoid", "notes beyond the horn", "works nothing",
    "the best step is", "of [0-9]+ are open", r"measure 0\.\d+ of the limit", "Teaches up to", "in 1 lines",
    "1 marks are", "no choice of the horn and were", "slips of the pen", "brings this music nearer", "now and then",
    "To the content", "Again and again", "not told", "another choice than the usual", "Take our marks out",
    "That was no file", "and the mend", "Make the farthest note", "in vain", "is not to be had",
    "the lip bends with ease",
    r"[Ff]orm of what is printed", "has an ending that is not known", "let its name end", "without the glide",
    "a valve, [0-9]+ with a light tongue", "slide speed we reckon with", "in place of the score's own",
    "There is ample time", "It can be played up to about", "for gains named below", "readings; they scatter",
    "ask again", "weighs every possible way", r"!!measure",
)), re.MULTILINE)
SAID = (
    *(f"{name} --help" for name in COMMANDS), "--help",
    *(f"{command} {{samples}}/{score}"
      for command in ("parts", "map --plans 2", "map --notes", "review", "drill --weeks 1")
      for score in ("harbour-march-trio.musicxml", "deep-water-bass-trombone.musicxml",
                    "evening-song-euphonium.musicxml")),
    "map {samples}/harbour-march-trio.musicxml --player {samples}/student.toml",
    "review {samples}/deep-water-bass-trombone.musicxml --horn tenor --tempo 200",
    "review {samples}/evening-song-euphonium.musicxml --horn euphonium-3",
    "compare {samples}/deep-water-bass-trombone.musicxml --horns tenor,bass-independent",
    "fit {samples}/harbour-march-trio.musicxml --section {samples}/section.toml",
    "fit {samples}/deep-water-bass-trombone.musicxml --section {samples}/section.toml",
    "ready {samples}/harbour-march-trio.musicxml --from tenor --to tenor-f --player {samples}/student.toml",
    "ready {samples}/evening-song-euphonium.musicxml --from euphonium-3 --to euphonium-4-compensating",
    "chart bass-dependent", "chart euphonium-4 --from euphonium-3", "horns", "horns show tenor-f",
    "tune pull {samples}/harbour-march-trio.musicxml --horn tenor-f", "tune sheet --horn tenor",
    "progress {samples}/student.toml", "section check {samples}/section.toml",
    "search {samples} --jobs 1 --player {samples}/student.toml",
    "survey {samples} --jobs 1 --section {samples}/section.toml",
)


def strings(path: Path) -> Iterator[tuple[int, str]]:
    """Every text of a Python file but what only programmers read; of an f-string the parts between its values."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    told = {node.value for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in told:
            yield node.lineno, node.value


def test_sources_hold_no_retired_phrase() -> None:
    found = [f"{path.relative_to(ROOT)}:{line}: {hit[0]}" for path in sorted(ROOT.rglob("*.py"))
             for line, text in strings(path) for hit in RETIRED.finditer(text)]
    pages = [*ROOT.rglob("*.html"), *ROOT.rglob("*.js"), *ROOT.rglob("*.md"), *ROOT.rglob("*.toml"),
             ROOT.parent / "README.md", *SAMPLES.glob("*.toml"), *SAMPLES.glob("*.md")]
    found += [f"{path.name}: {hit[0]}" for path in pages for hit in RETIRED.finditer(path.read_text(encoding="utf-8"))]
    assert found == []


@pytest.mark.parametrize("said", SAID)
def test_no_answer_holds_one(said: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(cli, shlex.split(said.format(samples=SAMPLES, out=tmp_path)))
    assert done.exit_code in (0, 3), done.output
    assert [hit[0] for hit in RETIRED.finditer(done.output)] == []


def test_the_assumed_horn_is_said_once() -> None:
    text = CliRunner().invoke(cli, ["map", str(SAMPLES / "attachment-etude.musicxml")]).output
    assert text.count("choose another with --horn") == 1
