"""Makes the pages of analyzer/docs that are generated: ``python -m tests.docs`` writes them.

python.md runs the cells of tour.txt and shows what they give; reference.md is the docstrings of the door; fields.md
lists the fields of every JSON document from the schemas. What the README's example gives is renewed, too.
"""

import ast
import contextlib
import inspect
import io
import os
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "analyzer" / "docs"
_CELL = re.compile(r"^# %%.*$", re.MULTILINE)


def cells(text: str) -> Iterator[tuple[bool, str]]:
    """Yield the cells of a script as (is it words, its content)."""
    heads = list(_CELL.finditer(text))
    for head, after in zip(heads, [*(each.start() for each in heads[1:]), len(text)], strict=True):
        content = text[head.end():after].strip("\n")
        if "[markdown]" in head[0]:
            yield True, "\n".join(re.sub(r"^# ?", "", line) for line in content.splitlines())
        else:
            yield False, content


def ran(code: str, names: dict[str, Any]) -> str:
    """Run a cell; return what it prints and what its last line is worth, as a notebook shows it."""
    tree = ast.parse(code)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        exec(compile(tree, "tour.txt", "exec"), names)
        if last is not None:
            value = eval(compile(ast.Expression(last.value), "tour.txt", "eval"), names)
            if value is not None:
                print(repr(value))
    return said.getvalue().rstrip()


def python_page() -> str:
    """Return the tour with what it gives."""
    names: dict[str, Any] = {}
    out = ["<!-- Generated from tests/docs/tour.txt: python -m tests.docs -->"]
    before = Path.cwd()
    os.chdir(ROOT)
    try:
        for is_words, content in cells((ROOT / "tests/docs/tour.txt").read_text(encoding="utf-8")):
            if is_words:
                out.append(content)
                continue
            out.append(f"```python\n{content}\n```")
            given = ran(content, names)
            if given:
                out.append(f"```text\n{given}\n```")
    finally:
        os.chdir(before)
    return "\n\n".join(out) + "\n"


def reference_page() -> str:
    """Return names, signatures and docstrings of the door."""
    from analyzer import api

    out = ["<!-- Generated from the docstrings of analyzer/api.py: python -m tests.docs -->", "# Reference",
           _words(api), "## Functions"]
    things = [(name, getattr(api, name)) for name in api.__all__]
    for name, thing in things:
        if inspect.isfunction(thing):
            out += [f"### {name}", f"```python\nanalyzer.{name}{_signature(thing)}\n```", _words(thing)]
    out.append("## Results")
    for name, thing in things:
        if inspect.isclass(thing):
            out += [f"### {name}", _words(thing)]
            for inner, value in sorted(vars(thing).items()):
                target = value.fget if isinstance(value, property) else value
                if not inner.startswith("_") and inspect.isfunction(target):
                    head = f"`{inner}`" if isinstance(value, property) else f"`{inner}{_signature(target)}`"
                    out += [f"**{head}**", _words(target)]
    return "\n\n".join(out) + "\n"


def _signature(function: Any) -> str:
    text = str(inspect.signature(function)).replace("analyzer.api.", "").replace("analyzer.plan.player.", "")
    for long, short in (("pathlib.Path", "Path"), ("collections.abc.", ""), ("typing.", "")):
        text = text.replace(long, short)
    return text.replace("(self, ", "(").replace("(self)", "()")


def _words(thing: Any) -> str:
    """Return a docstring, its sections as lists."""
    lines = []
    for block in re.split(r"\n(?=\w[\w ]*\n-+\n)", inspect.getdoc(thing) or ""):
        head = re.match(r"(\w[\w ]*)\n-+\n", block)
        if head is None:
            lines.append(block.strip())
            continue
        entries = [entry.split("\n") for entry in re.split(r"\n(?=\S)", block[head.end():].strip())]
        lines.append(f"*{head[1]}*\n\n" + "\n".join(
            f"- {name}: {' '.join(map(str.strip, rest))}" for name, *rest in entries))
    return "\n\n".join(lines).replace("``", "`")


def fields_page() -> str:
    """Return the fields of every document with their kinds."""
    from analyzer.schemas import schema, schema_names

    out = ["<!-- Generated from analyzer/schemas: python -m tests.docs -->", "# The fields of every document",
           "A field in italics may be absent. What they mean stands in [json.md](json.md). A name in brackets is "
           "described below its document."]
    for name in schema_names():
        found = schema(name)
        out += [f"## {found['title']}", _fields(found, found)]
        for inner, part in found.get("$defs", {}).items():
            if "properties" in part and inner not in ("part", "score"):
                out.append(f"**[{inner}]** {_fields(part, found)}")
    return "\n\n".join(out) + "\n"


def _fields(part: dict[str, Any], whole: dict[str, Any]) -> str:
    said = []
    for key, value in part["properties"].items():
        name = f"`{key}`" if key in part.get("required", ()) else f"*`{key}`*"
        said.append(f"{name} {_kind(value)}")
    also = [each["$ref"].rpartition("/")[2] for each in part.get("allOf", ())]
    return "; ".join([*(f"all of [{each}]" for each in also), *said]) + "."


def _kind(value: dict[str, Any]) -> str:
    if "$ref" in value:
        return f"[{value['$ref'].rpartition('/')[2]}]"
    if "const" in value:
        return f"`{value['const']}`"
    if "enum" in value:
        return " / ".join(f"`{each}`" if each else "empty" for each in value["enum"])
    if "anyOf" in value:
        return f"{_kind(value['anyOf'][0])} or null"
    kinds = value.get("type", "anything")
    kinds = [kinds] if isinstance(kinds, str) else kinds
    said = {"array": "list", "string": "text", "integer": "whole number", "boolean": "true or false"}
    words = " or ".join(said.get(kind, kind) for kind in kinds)
    if "items" in value:
        words += f" of {_kind(value['items'])}"
    elif value.get("properties"):
        words += f" {{{_fields(value, value).rstrip('.')}}}"
    return words


_EXAMPLE = re.compile(r"```python\n(?P<code>.*?)```\n\n```text\n(?P<given>.*?)```", re.DOTALL)


def readme() -> str:
    """Return the README with what its example gives now."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    [example] = _EXAMPLE.finditer(text)
    before = Path.cwd()
    os.chdir(ROOT)
    try:
        with tempfile.TemporaryDirectory() as folder:
            # Engraving is tested elsewhere, and needs more than the core.
            marked = str(Path(folder) / "marked.musicxml")
            given = ran(example["code"].replace('"marked.pdf"', repr(marked)), {})
            assert Path(marked).is_file()
    finally:
        os.chdir(before)
    return f"{text[:example.start('given')]}{given}\n{text[example.end('given'):]}"


PAGES = {"python.md": python_page, "reference.md": reference_page, "fields.md": fields_page}
