"""Phrases of others in a part: every note is where it was, at the pitch that sounds, and measures stay whole."""

import re
from fractions import Fraction
from pathlib import Path

import pytest
from click.testing import CliRunner

from analyzer.analysis import Request
from analyzer.cli import cli
from analyzer.report.folders.parts import seat_part, share_part
from analyzer.report.write import findings, planned
from analyzer.score.document import Document, open_document, read_document
from analyzer.score.reader import read_part
from analyzer.section.fit import SectionFit, fit
from analyzer.writing.write import Written
from tests.intonation.real_scores import SHARED
from tests.section.test_covers import band, euph, tenor
from tests.section.test_split import music

Sounds = set[tuple[int, Fraction, Fraction, int]]


def sounds(document: Document, part_id: str = "P1") -> Sounds:
    """(measure, onset in it, duration, pitch that sounds) of every note."""
    read, _ = read_part(document, part_id)
    return {(one.measure, one.onset - read.measures[one.measure].onset, one.duration, one.sounding.midi)
            for one in read.notes}


def small_notes(written: Written) -> Sounds:
    """The same of the notes that are printed small."""
    read, _ = read_part(written.document, "P1")
    elements = list(written.document.root.iter("note"))
    return {(one.measure, one.onset - read.measures[one.measure].onset, one.duration, one.sounding.midi)
            for one in read.notes if elements[one.ref].find("type") is not None
            and elements[one.ref].find("type").get("size") == "cue"}


def whole(written: Written) -> None:
    """Every measure is as long as it was."""
    divisions = int(written.document.root.findtext("part/measure/attributes/divisions"))
    lengths = {sum(Fraction(one.findtext("duration", "0")) for one in measure.iter("note")) / divisions
               for measure in written.document.root.iter("measure")}
    assert lengths == {Fraction(4)}


def parts_of(answer: SectionFit) -> dict[str, Written]:
    found = {seat.member.name: seat_part(answer, seat) for seat in answer.seats}
    for share in answer.shares:
        for mine in share.parts:
            if mine.sits is None and not mine.holder:
                found[mine.member.name] = share_part(answer, share, mine)
    return found


ILL = {"Trombone 1": "R|R|R|F4|R|R|R", "Trombone 2": "D4|D4 C4|R|R C4|R|D4|C4", "Trombone 3": "Bb2|F2|R|R|R|Bb2|F2"}


def test_what_is_taken_stands_small_in_the_rests() -> None:
    document = music(ILL)
    answer = fit(document, band(tenor("Ann"), tenor("Cy")))
    parts = parts_of(answer)
    taken = sounds(document, "P2")
    assert small_notes(parts["Ann"]) | small_notes(parts["Cy"]) == taken
    assert sounds(parts["Ann"].document) - small_notes(parts["Ann"]) == sounds(document, "P1")
    assert sounds(parts["Cy"].document) - small_notes(parts["Cy"]) == sounds(document, "P3")
    for written in parts.values():
        whole(written)
    said = [words.text for words in parts["Ann"].document.root.iter("words")]
    assert said == ["Play Trombone 2", "own part", "Play Trombone 2"]


def test_a_reader_in_b_flat_treble_clef_reads_others_lines_so() -> None:
    """The same night with a brass-band reader: small notes stand a major ninth above the sound, as the own ones do."""
    document = music(ILL)
    answer = fit(document, band(tenor("Ann", clefs=["treble-b-flat"]), tenor("Cy")))
    written = parts_of(answer)["Ann"]
    assert sounds(written.document) >= sounds(document, "P1") | {(0, Fraction(0), Fraction(4), 62)}
    first = written.document.root.find("part/measure/note/pitch")
    assert (first.findtext("step"), first.findtext("octave")) == ("E", "5")           # concert D4
    whole(written)


def test_parts_that_count_in_other_units_go_together() -> None:
    """Trombone 2's part counts in thirds of a quarter note, the others in quarters: the same parts come of it."""
    head, p1, p2, *rest = music(ILL).xml.decode().split("<part id=")
    p2 = re.sub(r"<duration>(\d+)<", lambda found: f"<duration>{3 * int(found[1])}<", p2)
    p2 = p2.replace("<divisions>1<", "<divisions>3<")
    other = read_document("<part id=".join([head, p1, p2, *rest]).encode(), "units.musicxml")
    players = band(tenor("Ann"), tenor("Cy"))
    plain, thirds = parts_of(fit(music(ILL), players)), parts_of(fit(other, players))
    for name in ("Ann", "Cy"):
        assert sounds(thirds[name].document) == sounds(plain[name].document)
        assert small_notes(thirds[name]) == small_notes(plain[name])
        whole(thirds[name])


def test_shared_without_a_line_of_their_own() -> None:
    """Tuba and euphonium have the bass line between them: each part has its phrases, rests for the other's, and says
    who plays them; together it is the line."""
    document = music({"Trombone 1": "F4|D4|F4|D4|F4", "Bass Trombone": "F1 G1 F1 G1|F1|R|D4 C4 D4 C4|C4"})
    answer = fit(document, band(tenor("Ann", low="E2"), euph("Eve", low="E2"), {"name": "Tom", "instrument": "tuba"}))
    parts = parts_of(answer)
    both = [sounds(parts[name].document) for name in ("Eve", "Tom")]
    assert both[0] | both[1] == sounds(document, "P2")
    assert not both[0] & both[1]
    assert "Tom plays" in [words.text for words in parts["Eve"].document.root.iter("words")]
    assert "Eve plays" in [words.text for words in parts["Tom"].document.root.iter("words")]
    for name in ("Eve", "Tom"):
        whole(parts[name])


def test_the_dynamics_in_force_come_along() -> None:
    """Trombone 2 begins piano; what Ann takes of it later begins with that sign, and her own forte stays hers."""
    text = music(ILL).xml.decode()
    sign = "<direction><direction-type><dynamics><{}/></dynamics></direction-type></direction>"
    head, p1, p2, *rest = text.split("<part id=")
    p1 = p1.replace("<note", f"{sign.format('f')}<note", 1)
    p2 = p2.replace("<note", f"{sign.format('p')}<note", 1)
    document = read_document("<part id=".join([head, p1, p2, *rest]).encode(), "loud.musicxml")
    answer = fit(document, band(tenor("Ann"), tenor("Cy")))
    written = parts_of(answer)["Ann"]
    order = [child.tag if child.tag != "direction" else "/".join(
        one.tag for one in child.iterfind("direction-type/dynamics/*")) or "words"
        for measure in written.document.root.findall("part/measure")[5:6] for child in measure]
    assert order[:3] == ["words", "p", "note"]


def test_words_for_the_player_go_with_the_notes() -> None:
    """The bass line says dolce at its low phrase and marcato at its high one; each player reads what is his or hers."""
    text = music({"Trombone 1": "F4|D4|F4|D4|F4", "Bass Trombone": "F1 G1 F1 G1|F1|R|D4 C4 D4 C4|C4"}).xml.decode()
    head, p1, p2 = text.split("<part id=")
    measures = p2.split("<measure ")
    for nth, word in ((1, "dolce"), (4, "marcato")):
        measures[nth] = measures[nth].replace(
            "<note>", f"<direction><direction-type><words>{word}</words></direction-type></direction><note>", 1)
    document = read_document("<part id=".join([head, p1, "<measure ".join(measures)]).encode(), "words.musicxml")
    answer = fit(document, band(tenor("Ann", low="E2"), euph("Eve", low="E2"), {"name": "Tom", "instrument": "tuba"}))
    parts = parts_of(answer)
    said = {name: [words.text for words in parts[name].document.root.iter("words")] for name in ("Eve", "Tom")}
    assert said == {"Eve": ["Tom plays", "marcato"], "Tom": ["dolce", "Eve plays"]}


@pytest.mark.parametrize("name", ["Ann", "Cy"])
def test_the_parts_of_such_a_night_pass_their_own_review(name: str) -> None:
    answer = fit(music(ILL), band(tenor("Ann"), tenor("Cy")))
    written = parts_of(answer)[name]
    analysis = planned(written, Request())
    assert analysis is not None
    assert len(analysis.lines[0].plan.notes) == len(sounds(written.document))
    assert [one.code for one in findings(written, analysis) if one.severity == "stop"] == []


def test_folders_write_shared_lines_as_scores_too(tmp_path: Path) -> None:
    source, toml, target = tmp_path / "ill.musicxml", tmp_path / "band.toml", tmp_path / "out"
    source.write_bytes(music(ILL).xml)
    toml.write_text("".join(f'[[player]]\nname = "{name}"\nhorns = ["tenor-f"]\n' for name in ("Ann", "Bob", "Cy")),
                    encoding="utf-8")
    done = CliRunner().invoke(cli, ["folders", str(source), "--section", str(toml), "--absent", "Bob", "--scores", "-o",
                                    str(target)])
    assert done.exit_code == 3, done.output           # the chair itself is empty
    scores = sorted(target.glob("*.musicxml"))
    assert len(scores) == 2
    for path in scores:
        reviewed = CliRunner().invoke(cli, ["review", str(path), "--horn", "tenor-f"])
        assert reviewed.exit_code == 0, reviewed.output
    assert sum(len(sounds(open_document(path))) for path in scores) == 11


REAL = sorted((SHARED / "scores").glob("*.*")) if (SHARED / "scores").is_dir() else []
BANDS = (
    (tenor("Ann"), {"name": "Gus", "horns": ["bass-independent"]}),
    (tenor("Ann", low="E2"), euph("Eve", low="F2", clefs=["treble-b-flat"]), {"name": "Tom", "instrument": "tuba"},
     {"name": "Sax", "instrument": "tenor-saxophone"}))


@pytest.mark.whole
@pytest.mark.parametrize("players", BANDS, ids=("two", "four"))
@pytest.mark.parametrize("path", [path for path in REAL if path.suffix in (".mxl", ".xml")], ids=lambda path: path.name)
def test_in_real_scores_what_is_taken_stands_in_the_parts(path: Path, players: tuple[dict[str, object], ...]) -> None:
    """Every phrase that somebody takes stands in that part, in its octave; nothing else came in, and nothing went."""
    answer = fit(open_document(path), band(*players))
    parts = parts_of(answer)
    for share in answer.shares:
        line = share.chair.line
        for mine in share.parts:
            taken = {(line.notes[k].measure_index, line.notes[k].midi + 12 * piece.phrase.octaves)
                     for piece in mine.pieces for k in range(piece.phrase.first, piece.phrase.last + 1)
                     if not line.notes[k].grace}
            there = {(measure, midi) for measure, _, _, midi in sounds(parts[mine.member.name].document)}
            assert taken <= there, (share.chair.title, mine.member.name, sorted(taken - there)[:5])
    for written in parts.values():
        read, _ = read_part(written.document, "P1")
        source, _ = read_part(answer.document, written.asked.part.id)
        assert [one.duration for one in read.measures] == [one.duration for one in source.measures]
