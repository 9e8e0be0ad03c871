"""A part written so that it can be played: only the changed notes differ, and they are notated rightly."""

import json
import random
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from lxml import etree

from analyzer.analysis import Analysis, Request, analyse
from analyzer.cli import cli
from analyzer.marking.ossia import repitched
from analyzer.pitch import parse_pitch
from analyzer.plan.player import Player
from analyzer.problem import Unreadable
from analyzer.review.harmony import Harmony
from analyzer.review.line import review
from analyzer.review.ossia import Ossia, ossia, read_refusal
from analyzer.score.document import open_document, read_document
from analyzer.score.reader import read_part
from tests.review.scores import SAMPLES, note, part, score


@pytest.mark.parametrize("name", ["deep-water-bass-trombone.musicxml", "harbour-march-trio.musicxml",
                                  "quiet-chorale-trombones.mxl", "brass-band-hymn.musicxml"])
def test_the_written_part_passes(name: str) -> None:
    document = open_document(SAMPLES / name)
    request = Request(horns=("tenor",))
    changed = ossia(review(analyse(document, request)))
    assert changed.changes
    again = read_document(repitched(document, changed.by_part(), changed.glides()), name)
    left = {(one.code, one.part_id, one.line, one.index) for one in changed.left}
    for one in review(analyse(again, request)):
        for finding in one.findings:
            if finding.severity == "stop":
                assert (finding.code, finding.part_id, finding.line, finding.index) in left
    # Every note that was not to change is as it was.
    wanted = changed.by_part()
    for part_id in document.part_ids:
        before, after = read_part(document, part_id)[0].notes, read_part(again, part_id)[0].notes
        assert len(before) == len(after)
        for old, new in zip(before, after, strict=True):
            pitch = wanted.get(part_id, {}).get(old.ref)
            assert new.written == (pitch or old.written)
            assert (new.onset, new.duration, new.staff, new.slur_after) == (
                old.onset, old.duration, old.staff, old.slur_after)
            gone = "start" in changed.glides().get(part_id, {}).get(old.ref, ())
            assert new.gliss_after == (old.gliss_after and not gone)


def test_no_change_is_no_change() -> None:
    for path in sorted(SAMPLES.glob("*.m*x*l")):
        document = open_document(path)
        assert repitched(document, {}) == path.read_bytes()


def written(measure: str, changes: dict[int, str], fifths: int) -> list[str]:
    """Change notes of a measure; return each note as pitch and printed accidental."""
    data = score({"Trombone": part("P1", measure, fifths=fifths)})
    document = read_document(data, "x.musicxml")
    out = repitched(document, {"P1": {ref: parse_pitch(name) for ref, name in changes.items()}})
    pitches = [one.written.name for one in read_part(read_document(out, "y"), "P1")[0].notes]
    signs = [match[1] if (match := re.search(r"<accidental>(.*?)</accidental>", text)) else ""
             for text in out.decode().split("</note>")[:-1]]
    return [f"{pitch} {sign}".strip() for pitch, sign in zip(pitches, signs, strict=True)]


SHARP = "\n        <accidental>sharp</accidental>"
NATURAL = "\n        <accidental>natural</accidental>"


@pytest.mark.parametrize(("notes", "changes", "fifths", "want"), [
    # E flat of the key needs no sign; E natural does.
    (note("C", 2), {0: "Eb2"}, -3, ["Eb2"]),
    (note("C", 2), {0: "E2"}, -3, ["E2 natural"]),
    # The sign of the old pitch goes.
    (note("F", 2, 1, more=SHARP), {0: "G2"}, 0, ["G2"]),
    # A sign holds to the bar line, so a second one is not printed, and its removal shows on the next note.
    (note("C", 2, quarters=2) + note("D", 2, quarters=2), {0: "F#2", 1: "F#2"}, 0, ["F#2 sharp", "F#2"]),
    (note("F", 2, 1, 2, SHARP) + note("F", 2, 1, 2), {0: "G2"}, 0, ["G2", "F#2 sharp"]),
    # A sign that a changed note brings must not spoil a later note.
    (note("C", 2, quarters=2) + note("F", 2, quarters=2), {0: "F#2"}, 0, ["F#2 sharp", "F2 natural"]),
    # Another octave is another note.
    (note("C", 2, quarters=2) + note("F", 3, quarters=2), {0: "F#2"}, 0, ["F#2 sharp", "F3"]),
    (note("B", 2, 0, 2, NATURAL) + note("B", 2, 0, 2), {0: "B3"}, -2, ["B3 natural", "B2 natural"]),
])
def test_accidentals(notes: str, changes: dict[int, str], fifths: int, want: list[str]) -> None:
    # The rule: a sign holds for its line or space to the bar line, and the key for all octaves (common practice).
    assert written(notes, changes, fifths) == want


def test_layout_of_the_file_is_kept() -> None:
    data = score({"Trombone": part("P1", note("E", 2, -1) + note("C", 3), fifths=0)})
    out = repitched(read_document(data, "x"), {"P1": {0: parse_pitch("G2")}})
    assert out == data.replace(b"<step>E</step>\n          <alter>-1</alter>", b"<step>G</step>", 1)
    back = repitched(read_document(out, "x"), {"P1": {0: parse_pitch("Ab2")}})
    assert b"<step>A</step>\n          <alter>-1</alter>\n          <octave>2</octave>" in back
    assert b"<accidental>flat</accidental>" in back


def test_a_wrong_place_is_refused() -> None:
    document = read_document(score({"Trombone": part("P1", note("C", 3))}), "x")
    with pytest.raises(ValueError, match="no pitched note 7"):
        repitched(document, {"P1": {7: parse_pitch("C3")}})


def test_tied_notes_change_together(tmp_path: Path) -> None:
    start, stop = '\n        <tie type="start"/>', '\n        <tie type="stop"/>'
    first = note("E", 2, -1).replace("<duration>4</duration>", f"<duration>4</duration>{start}")
    last = note("E", 2, -1).replace("<duration>4</duration>", f"<duration>4</duration>{stop}")
    document = read_document(score({"Trombone": part("P1", note("B", 2, -1), first, last, fifths=0)}), "x")
    changed = ossia(review(analyse(document, Request(horns=("tenor",)))))
    assert changed.by_part() == {"P1": {1: parse_pitch("Eb3"), 2: parse_pitch("Eb3")}}
    out = repitched(document, changed.by_part(), changed.glides()).decode()
    assert out.count("<accidental>flat</accidental>") == 1       # a tie carries the sign over the bar line


# --- glissandi -----------------------------------------------------------------------------------------------------


def gliss(kind: str, tag: str = "glissando", more: str = "") -> str:
    return f'\n        <notations>{more}\n          <{tag} type="{kind}" number="1"/>\n        </notations>'


def glides(first: str, second: str, *, between: str = "", tag: str = "glissando") -> bytes:
    """A trombone part of two measures with a glissando from one note to the next."""
    a, b = parse_pitch(first), parse_pitch(second)
    return score({"Trombone": part(
        "P1", note(a.step, a.octave, a.alter, more=gliss("start", tag)) + between,
        note(b.step, b.octave, b.alter, more=gliss("stop", tag)))})


def rewritten(data: bytes, horn: str, player: Player | None = None) -> tuple[bytes, list[str], Analysis]:
    """Write the ossia; return it, the kinds of the changes, and the map of what was written."""
    document = read_document(data, "x.musicxml")
    request = Request(horns=(horn,), player=player or Player())
    changed = ossia(review(analyse(document, request)))
    out = repitched(document, changed.by_part(), changed.glides())
    # A note with no other pitch that fits may be left, never a glissando.
    left = {(one.code, one.index) for one in changed.left}
    assert not any(code == "gliss" for code, _ in left)
    again = analyse(read_document(out, "x.musicxml"), request)
    for one in review(again):
        assert {(finding.code, finding.index) for finding in one.findings if finding.severity == "stop"} == left
    for planned in again.lines:
        assert {note.index for note in planned.plan.notes if note.problem} == {index for _, index in left}
    return out, [change.remedy.kind for change in changed.changes], again


@pytest.mark.parametrize(("first", "second", "horn", "kinds", "begins"), [
    # Seven positions of one partial make a tritone (common practice; see test_line.py), so of a fifth B flat to F six
    # semitones can be kept, of two octaves less than half. B flat 2 is the top of its partial: nothing falls into it.
    ("Bb2", "F3", "tenor", ["shorten"], "B2"), ("F3", "Bb2", "tenor", ["straight"], "F3"),
    ("Bb2", "Bb4", "tenor", ["straight"], "Bb2"), ("F3", "B2", "tenor", [], "F3"),
    ("Bb3", "F2", "tenor", ["straight"], "Bb3"),
])
@pytest.mark.parametrize("tag", ["glissando", "slide"])
def test_a_broken_glissando_is_shortened_or_taken_out(
        first: str, second: str, horn: str, kinds: list[str], begins: str, tag: str) -> None:
    data = glides(first, second, tag=tag)
    out, taken, again = rewritten(data, horn)
    assert taken == kinds
    notes = again.lines[0].plan.line.notes
    assert [one.written.name for one in notes] == [begins, second]
    assert notes[0].gliss_after == ("straight" not in kinds)
    assert (tag.encode() in out) == ("straight" not in kinds)


def test_only_the_glissando_goes_and_what_stands_beside_it_stays() -> None:
    accent = "\n          <articulations><accent/></articulations>"
    data = score({"Trombone": part("P1", note("B", 2, -1, more=gliss("start", more=accent)),
                                   note("B", 4, -1, more=gliss("stop")))})
    out, _, _ = rewritten(data, "tenor")
    bare = data.replace(b'\n          <glissando type="start" number="1"/>', b"")
    assert out == bare.replace(gliss("stop").encode(), b"")


def test_of_two_glissandi_at_one_note_only_the_broken_one_goes() -> None:
    middle = note("F", 4, more=gliss("stop") + gliss("start", "slide"))
    data = score({"Trombone": part("P1", note("B", 2, -1, more=gliss("start")), middle,
                                   note("D", 4, more=gliss("stop", "slide")))})
    out, kinds, again = rewritten(data, "tenor")
    assert kinds == ["straight"]
    assert b"<glissando" not in out
    assert out.count(b"<slide") == 2
    assert [one.gliss_after for one in again.lines[0].plan.line.notes] == [False, True, False]


def test_a_glissando_from_a_note_beyond_the_horn_is_mended_with_it() -> None:
    """E flat 2 lies in the gap of the straight tenor, and the octave above it does not glide to B flat 2."""
    out, kinds, _ = rewritten(glides("Eb2", "Bb2"), "tenor")
    assert kinds
    assert out != glides("Eb2", "Bb2")


@pytest.mark.parametrize("seed", [*range(6), *(pytest.param(seed, marks=pytest.mark.whole) for seed in range(6, 200))])
def test_scores_full_of_glissandi_pass_once_rewritten(seed: int) -> None:
    chance = random.Random(seed)
    names = [f"{step}{octave}" for octave in (1, 2, 3, 4) for step in ("C", "Eb", "F", "F#", "Ab", "Bb")]
    measures, open_line = [], False
    for _ in range(24):
        pitch = parse_pitch(chance.choice(names))
        starts = chance.random() < 0.5
        ends = ('<glissando type="stop" number="1"/>' if open_line else "") + (
            '<glissando type="start" number="1"/>' if starts else "")
        measures.append(note(pitch.step, pitch.octave, pitch.alter,
                             more=f"\n        <notations>{ends}</notations>" if ends else ""))
        open_line = starts
    data = score({"Trombone": part("P1", *measures)})
    player = chance.choice([Player(), Player(outermost_position=6), Player(learned=())])
    _, kinds, _ = rewritten(data, chance.choice(["tenor", "tenor-f", "bass-independent", "alto"]), player)
    assert kinds


def corpus() -> list[Path]:
    music21 = pytest.importorskip("music21", reason="the corpus comes with music21")
    return sorted(path for path in (Path(music21.__file__).parent / "corpus").rglob("*")
                  if path.suffix in (".mxl", ".xml", ".musicxml") and path.stat().st_size < 60_000)


def compared_with_music21(path: Path) -> tuple[int, list[str]]:
    """Change the lowest part for a short arm; return the changed notes and those where music21 prints otherwise."""
    import music21

    document = open_document(path)
    part_id = document.part_ids[-1]
    request = Request(parts=(part_id,), horns=("tenor",), player=Player(outermost_position=6))
    wanted = ossia(review(analyse(document, request))).by_part().get(part_id, {})
    out = read_document(repitched(document, {part_id: wanted}), path.name)
    try:
        stream = music21.converter.parseData(out.xml.decode("utf-8"), format="musicxml").parts[-1]
    except UnicodeDecodeError:
        return 0, []                   # music21 reads no UTF-16 from memory
    heads = [(head, pitch) for head in stream.recurse().notes for pitch in head.pitches]
    for _, pitch in heads:
        if pitch.accidental:
            pitch.accidental.displayStatus = None
    stream.makeAccidentals(inPlace=True, overrideStatus=True, cautionaryPitchClass=False,
                           cautionaryNotImmediateRepeat=False)
    notes = [(ref, one) for ref, one in enumerate(out.notes(part_id)) if one.find("pitch") is not None]
    if len(notes) != len(heads):
        return 0, []                   # several staves: music21 makes several parts of one
    wrong = []
    altered: dict[int, set[str]] = {}
    for head, pitch in heads:
        if pitch.alter:
            altered.setdefault(head.measureNumber, set()).add(pitch.step)
    for (ref, element), (head, pitch) in zip(notes, heads, strict=True):
        if ref not in wanted:
            continue
        assert pitch.midi == wanted[ref].midi
        printed = element.find("accidental") is not None
        shown = bool(pitch.accidental and pitch.accidental.displayStatus)
        # music21 adds a courtesy natural after a bar with the altered note; we print none.
        courtesy = shown and not pitch.alter and pitch.step in altered.get(head.measureNumber - 1, set())
        if printed != shown and not courtesy:
            wrong.append(f"{path.name} note {ref} {wanted[ref].name}")
    return len(wanted), wrong


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("count", [8, pytest.param(120, marks=pytest.mark.whole)])
def test_accidentals_are_those_of_music21(count: int) -> None:
    changed, wrong = 0, []
    for path in random.Random(8).sample(corpus(), count):
        more, differ = compared_with_music21(path)
        changed += more
        wrong += differ
    assert changed > 5, "nothing was changed, so nothing was compared"
    assert wrong == []


# --- every change shows its hand -----------------------------------------------------------------------------------


def passing(lower: str, *, fifths: int = 0) -> bytes:
    """The flute sounds F sharp as a passing eighth on the beat, then G; the trombone's note below cannot be played."""
    quick = "<duration>{}</duration>"
    flute = (note("F", 4, 1).replace(quick.format(4), quick.format(1))
             + note("G", 4).replace(quick.format(4), quick.format(7)))
    one = parse_pitch(lower)
    parts = {"Flute": part("P1", flute, clef="G2", fifths=fifths),
             "Trombone": part("P2", note(one.step, one.octave, one.alter, 8), fifths=fifths)}
    return score(parts).replace(b"<divisions>1</divisions>", b"<divisions>2</divisions>")


def taken(data: bytes, horn: str = "tenor", *refused: str) -> Ossia:
    document = read_document(data, "x.musicxml")
    refusals = [found for text in refused for found in [read_refusal(text)] if found]
    assert len(refusals) == len(refused)
    return ossia(review(analyse(document, Request(parts=("Trombone",), horns=(horn,)))), Harmony(document), refusals)


def test_a_passing_note_on_the_beat_is_no_chord_tone() -> None:
    found = taken(passing("Eb2"), "tenor", "1:1=octave")
    assert [(one.remedy.kind, one.remedy.written.name[:-1]) for one in found.changes] == [("chord-tone", "G")]


def test_a_pitch_outside_the_key_is_taken_only_where_it_carries_the_chord() -> None:
    """Flute F sharp and clarinet A over the whole note: in C major A is taken; F sharp only where it is alone."""
    low = note("E", 2, -1)
    both = score({"Flute": part("P1", note("F", 4, 1), clef="G2"), "Oboe": part("P2", note("A", 4), clef="G2"),
                  "Trombone": part("P3", low)})
    alone = score({"Flute": part("P1", note("F", 4, 1), clef="G2"), "Trombone": part("P2", low)})
    for data, want in ((both, "A"), (alone, "F#")):
        change = taken(data, "tenor", "1:1=octave").changes[0]
        assert (change.remedy.kind, change.remedy.written.name[:-1]) == ("chord-tone", want)


@pytest.mark.parametrize(("fifths", "kind", "begins"), [
    # B natural is no note of E flat major: the glissando from B flat 2 begins on C3, as far as one partial reaches.
    (-3, "shorten", "C3"), (0, "shorten", "B2"),
])
def test_a_glissando_is_shortened_within_the_key(fifths: int, kind: str, begins: str) -> None:
    data = score({"Trombone": part("P1", note("B", 2, -1, more=gliss("start")), note("F", 3, more=gliss("stop")),
                                   fifths=fifths)})
    change = taken(data).changes[0]
    assert (change.remedy.kind, change.remedy.written.name) == (kind, begins)


def test_a_glissando_whose_start_would_leave_the_chord_is_left_out_instead() -> None:
    data = score({"Flute": part("P1", note("C", 5), note("A", 4), clef="G2"),
                  "Trombone": part("P2", note("B", 2, -1, more=gliss("start")), note("F", 3, more=gliss("stop")),
                                   fifths=-1)})
    assert [one.remedy.kind for one in taken(data).changes] == ["shorten"]      # on C3, as the flute
    other = data.replace(b"<step>C</step>\n          <octave>5", b"<step>D</step>\n          <octave>5")
    assert [one.remedy.kind for one in taken(other).changes] == ["straight"]


def test_changes_next_to_each_other_are_told_together_over_the_first() -> None:
    # Words over every note stood in stairs above the staff of a printed part.
    low = [note("E", 2, -1), note("D", 2), note("B", 2, -1), note("C", 2)]
    document = read_document(score({"Trombone": part("P1", low[0] + low[1], low[2], low[3])}), "x.musicxml")
    changed = ossia(review(analyse(document, Request(horns=("tenor",)))), Harmony(document))
    assert changed.marks() == {"P1": {0: "was Eb2, D2", 3: "was C2"}}


def test_every_change_is_marked_over_its_note_in_the_score() -> None:
    chord = note("B", 2, -1) + note("E", 2, -1).replace("<note>", "<note>\n        <chord/>").replace(
        "<voice>1</voice>", "<voice>1</voice>\n        <staff>1</staff>")
    data = score({"Trombone": part("P1", note("B", 2, -1), note("E", 2, -1), chord)})
    document = read_document(data, "x.musicxml")
    changed = ossia(review(analyse(document, Request(horns=("tenor",)))), Harmony(document))
    out = repitched(document, changed.by_part(), changed.glides(), changed.marks())
    tree = etree.fromstring(out)
    told = [(element.getparent().getparent().getnext().findtext("pitch/step"), element.text)
            for element in tree.iter("words")]
    assert told == [("E", "was Eb2"), ("B", "was Eb2")]          # of a chord the mark stands before its first note
    assert tree.findall(".//direction")[1].findtext("staff") == "1"
    # Taken out again, nothing of the marks is left.
    plain = repitched(document, changed.by_part(), changed.glides())
    for element in list(tree.iter("direction")):
        element.getparent().remove(element)
    assert [(one.tag, (one.text or "").strip()) for one in tree.iter(etree.Element)] == [
        (one.tag, (one.text or "").strip()) for one in etree.fromstring(plain).iter(etree.Element)]


def test_a_change_can_be_refused_and_the_place_stays_or_takes_the_next_way() -> None:
    first = taken(passing("Eb2"))
    assert [(one.place, one.remedy.kind, one.others) for one in first.changes] == [("1:1", "octave", ("chord-tone",))]
    assert [one.remedy.kind for one in taken(passing("Eb2"), "tenor", "1:1=octave").changes] == ["chord-tone"]
    kept = taken(passing("Eb2"), "tenor", "1:1")
    assert kept.changes == ()
    assert [one.code for one in kept.left] == ["beyond-horn"]
    with pytest.raises(Unreadable, match="no such change would be made"):
        taken(passing("Bb2"), "tenor", "1:1")


def test_the_command_lists_every_change_and_takes_refusals(tmp_path: Path) -> None:
    music, out = tmp_path / "x.musicxml", tmp_path / "y.musicxml"
    music.write_bytes(passing("Eb2"))
    asked = ["review", str(music), "--horn", "tenor", "--ossia"]
    listed = CliRunner().invoke(cli, asked)
    assert listed.exit_code == 3
    assert "changes 1 place" in listed.stdout
    assert "--refuse 1:1" in listed.stdout
    assert not out.exists()
    document = json.loads(CliRunner().invoke(cli, [*asked, "-o", str(out), "--format", "json"]).stdout)
    (change,) = document["ossia"]["changes"]
    assert (change["was_written"], change["written"], change["place"], change["mark"]) == (
        "Eb2", "Eb3", "1:1", "was Eb2")
    assert b"<words font-style=\"italic\">was Eb2</words>" in out.read_bytes()
    refused = json.loads(CliRunner().invoke(cli, [*asked, "--refuse", "1:1", "--format", "json"]).stdout)
    assert refused["ossia"]["changes"] == []
    assert [one["code"] for one in refused["ossia"]["left"]] == ["beyond-horn"]
    assert CliRunner().invoke(cli, [*asked, "--refuse", "nonsense"]).exit_code == 2
    assert CliRunner().invoke(cli, ["review", str(music), "--refuse", "1:1"]).exit_code == 2
