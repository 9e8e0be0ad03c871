"""Every command's JSON keeps to the published schema of its document, checked by another project's validator."""

import copy
import json
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import click
import jsonschema
import numpy as np
import pytest
import soundfile
from click.testing import CliRunner

from analyzer.cli import COMMANDS, cli
from analyzer.schemas import schema, schema_names
from analyzer.schemas.build import DOCUMENTS, built
from tests.commands.test_map import B2, score
from tests.hearing.measure import WAYS
from tests.hearing.players import planned, played, recording
from tests.hearing.synth import RATE
from tests.hearing.test_moves import turned

SAMPLES = Path(__file__).parents[2] / "sample_scores"
TRIO, ETUDE, BASS, SONG = (f"{{samples}}/{name}.musicxml" for name in (
    "harbour-march-trio", "attachment-etude", "deep-water-bass-trombone", "evening-song-euphonium"))
SECTION, STUDENT = "{samples}/section.toml", "{samples}/student.toml"

# What is said, the document it gives, the exit codes it may have.
SAID = [
    (f"parts {TRIO}", "parts", {0}),
    (f"map {TRIO} --plans 3", "map", {0}),
    (f"map {SONG}", "map", {0}),
    (f"map {BASS} --horn bass-single --measures 1-8", "map", {0}),
    ("map {samples}/brass-band-hymn.musicxml", "map", {0}),
    ("map {samples}/quiet-chorale-trombones.mxl --player " + STUDENT, "map", {0}),
    ("chart tenor", "chart", {0}), ("chart bass-dependent", "chart", {0}), ("chart euphonium-4", "chart", {0}),
    ("chart bass-independent --from tenor", "transition", {0}),
    ("chart euphonium-4-compensating --from euphonium-3", "transition", {0}),
    ("horns", "horns", {0}), ("horns show bass-dependent", "horn", {0}), ("horns show euphonium-4", "horn", {0}),
    ("horns calibrate --known 'C3 6 496mm' -o {out}/own.toml", "calibrate", {0}),
    (f"review {BASS} --horn tenor", "review", {0, 3}),
    (f"review {BASS} --horn tenor-f --ossia -o {{out}}/ossia.musicxml", "review", {0, 3}),
    (f"review {SONG} --horn euphonium-3", "review", {0, 3}),
    (f"compare {TRIO} --horns tenor,tenor-f,euphonium-4", "compare", {0}),
    ("compare {samples} --horns tenor,tenor-f", "compare-folder", {0}),
    (f"fit {TRIO} --section {SECTION}", "fit", {0, 3}), (f"fit {SONG} --section {SECTION}", "fit", {0, 3}),
    (f"fit {BASS} --section {{out}}/one.toml", "fit", {0, 3}),
    (f"ready {TRIO} {ETUDE} --player {STUDENT} --from tenor --to tenor-f", "ready", {0}),
    (f"course {{samples}} --player {STUDENT} --from tenor --to tenor-f -o {{out}}/course --jobs 1", "course", {0, 3}),
    (f"write {TRIO} --part Euphonium --for tenor-saxophone -o {{out}}/sax.musicxml", "write", {0, 3}),
    (f"write {BASS} --part P1 --for tenor -o {{out}}/tenor.musicxml", "write", {0, 3}),
    (f"folders {SONG} --section {SECTION} -o {{out}}/folders --jobs 1", "folders", {0, 3}),
    (f"drill {ETUDE} --weeks 3", "drill", {0}), (f"drill {SONG} --tones {{out}}/a.wav --drone just", "drill", {0}),
    ("progress {out}/student.toml --learned TS --secure T1-4", "progress", {0}),
    ("survey {samples} --jobs 1", "survey", {0}), (f"survey {{samples}} --jobs 1 --section {SECTION}", "survey", {0}),
    ("search {samples} --jobs 1 --player " + STUDENT, "search", {0}),
    (f"search {{samples}} --jobs 1 --section {SECTION}", "search", {0}),
    (f"listen {ETUDE} {{out}}/heard/one.wav --measures 1-4", "listen", {0}),
    (f"listen {ETUDE} {{out}}/heard --measures 1-4", "listen-class", {0}),
    ("tune moves {out}/moves.wav --horn tenor", "tune-moves", {0}),
    ("tune fit {out}/readings.csv --horn tenor-f -o {out}/tuned.toml", "tune-fit", {0}),
    (f"tune chords {TRIO}", "tune-chords", {0}),
    (f"tune pull {SONG} --horn euphonium-4", "tune-pull", {0}),
    ("learn {out}/marked.musicxml -o {out}/preferences.toml", "learn", {0}),
]


def run(said: str, out: Path) -> Any:
    return CliRunner().invoke(cli, shlex.split(said.format(samples=SAMPLES, out=out)))


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what some of the commands ask for."""
    folder = tmp_path_factory.mktemp("documents")
    shutil.copy(SAMPLES / "student.toml", folder)
    (folder / "one.toml").write_text('[[player]]\nname = "Kim"\nhorns = ["tenor"]\n', encoding="utf-8")
    mark = "<notations><technical><fingering>7</fingering></technical></notations></note>"
    (folder / "marked.musicxml").write_text(score(B2.replace("</note>", mark) * 6), encoding="utf-8")
    sheet = run("tune sheet --horn tenor-f", folder).stdout.splitlines()
    rows = [line if line.startswith(("#", "note")) else f"{line}{k % 5 - 2}" for k, line in enumerate(sheet)]
    (folder / "readings.csv").write_text("\n".join(rows), encoding="utf-8")
    (folder / "heard").mkdir()
    rng = np.random.default_rng(3)
    sound = recording(played(planned("tenor-f", 1, 4), WAYS["slips"], rng), "clean", rng)
    soundfile.write(folder / "heard" / "one.wav", sound, RATE)
    (folder / "heard" / "two.wav").write_text("no sound at all")
    soundfile.write(folder / "moves.wav", turned("tenor", [0.2, 0.24, 0.28, 0.33], rng), RATE)
    return folder


def wrong(document: Any, name: str) -> list[str]:
    validator = jsonschema.Draft202012Validator(schema(name))
    return [f"{'/'.join(map(str, error.absolute_path))}: {error.message[:200]}"
            for error in validator.iter_errors(document)]


@pytest.mark.parametrize(("said", "name", "codes"), SAID, ids=lambda value: value if isinstance(value, str) else "")
def test_a_command_keeps_to_its_schema(said: str, name: str, codes: set[int], out: Path) -> None:
    done = run(f"{said} --format json", out)
    assert done.exit_code in codes, done.output
    document = json.loads(done.stdout)
    assert document["schema"] == f"lowbrass.{name}/1"
    assert wrong(document, name) == []


def test_every_document_and_every_command_is_among_them() -> None:
    assert {name for _, name, _ in SAID} == set(schema_names())
    context = click.Context(cli)
    with_json = set()
    for name in COMMANDS:
        command = cli.get_command(context, name)
        assert command is not None
        for each in (command, *(command.commands.values() if isinstance(command, click.Group) else ())):
            if any("json" in getattr(option.type, "choices", ()) for option in each.params):
                with_json.add(name)
    assert with_json == {said.split()[0] for said, _, _ in SAID}


@pytest.mark.parametrize("name", schema_names())
def test_schema_files_are_sound_and_as_built(name: str) -> None:
    text = (Path(__file__).parents[2] / "analyzer" / "schemas" / f"{name}.json").read_text(encoding="utf-8")
    assert text == built(name), "run: python -m analyzer.schemas.build"
    jsonschema.Draft202012Validator.check_schema(json.loads(text))
    assert name in DOCUMENTS


def fields(document: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every field of a document as the path to it; of a list only the first element is entered."""
    if isinstance(document, dict):
        for key, value in document.items():
            yield (*path, key)
            yield from fields(value, (*path, key))
    elif isinstance(document, list) and document:
        yield from fields(document[0], (*path, 0))


def changed(document: Any, path: tuple[Any, ...], change: Any) -> Any:
    result = copy.deepcopy(document)
    place = result
    for step in path[:-1]:
        place = place[step]
    change(place, path[-1])
    return result


@pytest.mark.parametrize(("said", "name", "free"), [
    (f"map {BASS} --measures 1-2", "map", {"chord"}), ("chart tenor", "chart", {"above_ceiling"}),
    (f"fit {SONG} --section {SECTION}", "fit", {"plan_per_note", "remedies"}),
    (f"review {BASS} --horn tenor", "review", {"remedies", "horns", "midi", "horn", "kind", "text", "label", "bpm",
                                               "sounding", "written"}),
])
def test_a_field_that_is_dropped_or_of_another_kind_is_noticed(said: str, name: str, free: set[str],
                                                              out: Path) -> None:
    document = json.loads(run(f"{said} --format json", out).stdout)
    named, optional = _names(schema(name))
    seen = 0
    for path in fields(document):
        # Prices by name are what they are; one of them may be called as a field is.
        if path[-1] not in named or path[-1] in optional | free or "cost_items" in path[:-1]:
            continue
        seen += 1
        assert wrong(changed(document, path, lambda place, key: place.pop(key)), name), f"{path} dropped"
        assert wrong(changed(document, path, lambda place, key: place.update({key: {"an": object()}})), name), path
    assert seen > 10
    assert wrong({**document, "later": [1]}, name) == [], "a newer program may say more"


def _names(published: dict[str, Any]) -> tuple[set[str], set[str]]:
    """Names of the fields of a schema, and of those that some object of it does not require."""
    named: set[str] = set()
    optional: set[str] = set()

    def look(inner: Any) -> None:
        if isinstance(inner, list):
            for each in inner:
                look(each)
        elif isinstance(inner, dict):
            if isinstance(inner.get("properties"), dict):
                named.update(inner["properties"])
                optional.update(set(inner["properties"]) - set(inner.get("required", ())) - {"code"})
            for each in inner.values():
                look(each)

    look(published)
    return named, optional
