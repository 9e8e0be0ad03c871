"""The engraved part: what the copy holds, and in a real browser that nothing touches a mark."""

import html
import json
import re
import shutil
import subprocess
import threading
from pathlib import Path

import pytest
from lxml import etree

from analyzer.engrave.engrave import (
    Copy,
    PageOptions,
    engraved_excerpt,
    engraved_pages,
    engraving_copy,
    excerpt_svg,
)
from analyzer.engrave.sound import midi_of, note_times
from analyzer.marking.mark import Mark
from analyzer.score.document import read_document
from tests.engrave.scores import (
    ACCENT,
    BUSY,
    EMPTY,
    LABELS,
    LYRIC,
    METRONOME,
    START,
    TENOR,
    beamed,
    busy,
    direction,
    marks,
    note,
    part,
    score,
)
from tests.test_samples import schema  # noqa: F401  (the fixture)

pytest.importorskip("verovio", reason="the engraver is not installed (pip install lowbrass[engrave])")

SVG = "{http://www.w3.org/2000/svg}"
HERE = Path(__file__).parent


def words(svg: str) -> str:
    return " ".join("".join(text.itertext()) for text in etree.fromstring(svg.encode()).iter(f"{SVG}text"))


def labels(svg: str) -> list[str]:
    return ["".join(group.itertext()) for group in etree.fromstring(svg.encode()).iter(f"{SVG}g")
            if {"mark", "unplayable"} & set((group.get("class") or "").split())]


def copy_of(copy: Copy) -> etree._Element:
    return etree.fromstring(copy.musicxml)


# --- the copy

def test_copy_names_every_note_and_is_the_same_for_other_marks() -> None:
    document = busy()
    wanted = marks(document)
    given = engraving_copy(document, "P1", wanted)
    assert given.marks == wanted
    assert given.musicxml == engraving_copy(busy(), "P1").musicxml
    copy = copy_of(given)
    count = len(list(document.notes("P1")))
    # Empty measures are one rest with an id of its own; every other note keeps its ordinal.
    named = [element.get("id") for element in copy.iter("note")]
    assert named == [f"n{ref}" for ref in range(24)] + ["rest-3-4"] + [f"n{ref}" for ref in range(28, count)]


def test_the_document_is_not_changed() -> None:
    document = busy()
    before = etree.tostring(document.root)
    engraving_copy(document, "P1", marks(document), measures=(1, 3), title="T")
    assert etree.tostring(document.root) == before


def test_where_words_are_sung_marks_stand_above_the_notes_and_below_the_tempo() -> None:
    document = busy(0)
    root = etree.fromstring(engraved_excerpt(engraving_copy(document, "P1", marks(document))).encode())
    lyrics = [group for group in root.iter(f"{SVG}g") if group.get("class") == "verse"]
    assert ["".join(group.itertext()).strip() for group in lyrics] == ["Glo", "Glo"]
    rows = [float(text.get("y")) for group in root.iter(f"{SVG}g") if group.get("class") == "marks"
            for text in group.iter(f"{SVG}text")]
    assert max(rows) < min(float(next(group.iter(f"{SVG}text")).get("y")) for group in lyrics) - 720
    tempo = next(group for group in root.iter(f"{SVG}g") if group.get("class") == "tempo")
    moved = float(tempo.get("transform")[:-1].split(",")[1])
    assert float(next(tempo.iter(f"{SVG}text")).get("y")) + moved < min(rows)


def test_copies_are_valid_musicxml(schema: etree.XMLSchema) -> None:  # noqa: F811
    document = busy()
    for measures in (None, (1, 2), (4, 8)):
        for fold in (True, False):
            copy = copy_of(engraving_copy(document, "P1", marks(document), measures=measures, title="Title & <more>",
                                          subtitle="Trombone", fold=fold))
            schema.assertValid(copy)


def test_an_excerpt_repeats_what_is_in_force() -> None:
    transposed = START.replace("</clef>", "</clef><transpose><chromatic>-2</chromatic></transpose>")
    late = "<attributes><divisions>8</divisions><key><cancel>-2</cancel><fifths>1</fifths></key></attributes>"
    long = note("C4", 16, "half") + note("D4", 16, "half")
    document = score(part([transposed + BUSY[0], TENOR + BUSY[1], late + long, long]))
    copy = copy_of(engraving_copy(document, "P1", measures=(3, 3)))
    attributes = copy.find("part/measure/attributes")
    assert attributes.findtext("divisions") == "8"
    assert attributes.findtext("key/fifths") == "1"
    assert attributes.find("key/cancel") is None
    assert attributes.findtext("time/beats") == "4"
    assert (attributes.findtext("clef/sign"), attributes.findtext("clef/line")) == ("C", "4")
    assert attributes.findtext("transpose/chromatic") == "-2"
    assert copy.find("part/measure").get("number") == "4"
    assert copy.find("part/measure/note").get("id") == f"n{16 + 4 + 2}"


def test_a_clef_that_opens_the_excerpt_wins_and_a_later_one_stays() -> None:
    half = note("D3", 8, "half")
    document = score(part([START + BUSY[0], TENOR + half + START.replace("-2", "3") + half]))
    measure = copy_of(engraving_copy(document, "P1", measures=(1, 1))).find("part/measure")
    first, second = measure.findall("attributes")
    assert (first.findtext("clef/sign"), first.findtext("key/fifths")) == ("C", "-2")
    assert (second.findtext("clef/sign"), second.findtext("key/fifths")) == ("F", "3")


def test_timewise_gives_the_same_copy_as_partwise() -> None:
    partwise = busy(1)
    entry, _ = part([])
    measures = "".join(
        f"<measure number='{element.get('number')}'><part id='P1'>"
        + "".join(etree.tostring(child, encoding="unicode") for child in element) + "</part></measure>"
        for element in partwise.root.iterfind("part/measure"))
    timewise = read_document(
        f"<score-timewise version='4.0'><identification><creator type='composer'>A. Writer</creator></identification>"
        f"<part-list>{entry}</part-list>{measures}</score-timewise>".encode(), "t.musicxml")
    assert timewise.timewise
    wanted = marks(partwise)
    assert engraving_copy(timewise, "P1", wanted) == engraving_copy(partwise, "P1", wanted)


def test_tempo_and_letters_of_the_top_part_reach_the_copy() -> None:
    letter = direction("<rehearsal>B</rehearsal>", placement="above")
    top = part([START + METRONOME + EMPTY, note("C3", 8, "half") + letter + note("C3", 8, "half")], "Flute", "P1")
    low = part([START.replace("<divisions>4", "<divisions>2") + EMPTY.replace("16", "8"), EMPTY.replace("16", "8")],
               "Trombone", "P2")
    copy = copy_of(engraving_copy(score(top, low), "P2"))
    measures = copy.findall("part/measure")
    assert measures[0].findtext("direction/direction-type/metronome/per-minute") == "96"
    found = measures[1].find("direction")
    assert found.findtext("direction-type/rehearsal") == "B"
    assert found.findtext("offset") == "4"                      # two quarters at two divisions each


def test_the_parts_own_tempo_is_not_doubled() -> None:
    top = part([START + METRONOME + EMPTY], "Flute", "P1")
    low = part([START + METRONOME + EMPTY], "Trombone", "P2")
    assert len(copy_of(engraving_copy(score(top, low), "P2")).findall(".//metronome")) == 1


def test_empty_measures_become_one_long_rest() -> None:
    copy = copy_of(engraving_copy(busy(1), "P1"))
    assert [found.get("id") for found in copy.iter("note") if found.find("rest[@measure]") is not None] == ["rest-3-4"]
    assert engraved_excerpt(engraving_copy(busy(1), "P1", measures=(2, 8))).count('class="multiRest"') == 1
    assert "rest-" not in engraving_copy(busy(1), "P1", fold=False).musicxml


def test_a_measure_with_a_letter_is_not_folded_away() -> None:
    letter = direction("<rehearsal>C</rehearsal>", placement="above")
    document = score(part([START + BUSY[0], EMPTY, EMPTY, letter + EMPTY, EMPTY, EMPTY, BUSY[1]]))
    copy = engraving_copy(document, "P1")
    assert copy.ranges == (("rest-1-2", "2–3"), ("rest-3-3", "4–6"))
    assert {"C", "2–3", "4–6"} <= set(words(engraved_pages(copy)[0]).split())


def test_two_players_on_a_chord_have_a_row_each() -> None:
    chord = note("F3", 4, "quarter") + note("D3", 4, "quarter", chord=True)
    document = score(part([START + chord * 4]))
    wanted = [Mark(part_id="P1", ref=ref, line=1 if ref % 2 == 0 else 2, text=str(ref % 6 + 1), playable=ref != 5)
              for ref in range(8)]
    svg = engraved_excerpt(engraving_copy(document, "P1", wanted))
    root = etree.fromstring(svg.encode())
    rows: dict[str, list[str]] = {}
    for group in root.iter(f"{SVG}g"):
        if {"mark", "unplayable"} & set((group.get("class") or "").split()):
            rows.setdefault(group.find(f"{SVG}text").get("y"), []).append("".join(group.itertext()))
    assert [rows[y] for y in sorted(rows, key=float)] == [["1", "3", "5", "1"], ["2", "4", "6", "2"]]
    assert {"1st", "2nd"} <= set(words(svg).split())
    assert [group.get("data-ref") for group in root.iter(f"{SVG}g") if group.get("class") == "struck"] == ["5"]


def test_two_notes_of_one_player_at_once_have_a_row_each() -> None:
    chord = note("F3", 4, "quarter") + note("D3", 4, "quarter", chord=True)
    document = score(part([START + chord * 4]))
    wanted = [Mark(part_id="P1", ref=ref, line=1, text=str(ref % 6 + 1)) for ref in range(8)]
    root = etree.fromstring(engraved_excerpt(engraving_copy(document, "P1", wanted)).encode())
    heights = [text.get("y") for group in root.iter(f"{SVG}g") if "mark" in (group.get("class") or "").split()
               for text in group.iter(f"{SVG}text")]
    assert len(heights) == 8
    assert sorted(heights.count(y) for y in set(heights)) == [4, 4]


def test_marks_of_other_parts_and_measures_are_left_out() -> None:
    document = busy(1)
    foreign = Mark(part_id="P9", ref=0, line=1, text="9")
    svg = engraved_excerpt(engraving_copy(document, "P1", [foreign, *marks(document)], measures=(1, 1)))
    assert labels(svg) == [mark.text for mark in marks(document) if 16 <= mark.ref < 20]


def test_an_excerpt_for_a_page_holds_its_measures_and_their_marks() -> None:
    document = busy(1)
    svg = excerpt_svg(document, "P1", (1, 1), marks(document), options=PageOptions(id_prefix="x-", embed_fonts=False))
    assert labels(svg) == [mark.text for mark in marks(document) if 16 <= mark.ref < 20]
    assert svg.startswith("<svg")
    assert "@font-face" not in svg
    assert {found for found in re.findall(r' id="([^"]*)"', svg) if re.fullmatch(r"x-m\d+", found)} == {"x-m1"}


@pytest.mark.parametrize("measures", [(-1, 2), (3, 2), (0, 99)])
def test_measures_outside_the_part_are_refused(measures: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="measures"):
        engraving_copy(busy(1), "P1", measures=measures)


def test_a_part_without_music_is_refused() -> None:
    with pytest.raises(ValueError, match="no music"):
        engraving_copy(busy(1), "P7")


# --- the pages

def test_every_mark_is_drawn_once_and_in_its_form() -> None:
    document = busy()
    wanted = marks(document)
    svgs = engraved_pages(engraving_copy(document, "P1", wanted))
    assert sorted(text for svg in svgs for text in labels(svg)) == sorted(mark.text for mark in wanted)
    root = etree.fromstring("".join(svgs).encode()) if len(svgs) == 1 else None
    assert root is not None
    for group in root.iter(f"{SVG}g"):
        form = group.get("class") or ""
        if form == "mark usual":
            assert [child.tag for child in group] == [f"{SVG}text"]
            assert group.find(f"{SVG}text").get("font-weight") is None
        elif form == "mark changed":
            assert [child.tag for child in group] == [f"{SVG}text", f"{SVG}path"]
            assert group.find(f"{SVG}text").get("font-weight") == "bold"
        elif form == "unplayable":
            assert [child.tag for child in group] == [f"{SVG}rect", f"{SVG}text"]
    struck = [group for group in root.iter(f"{SVG}g") if group.get("class") == "struck"]
    assert len(struck) == sum(not mark.playable for mark in wanted) > 0


def test_grace_notes_keep_their_marks() -> None:
    document = score(part([START + note("C3", 0, "eighth", before="<grace/>") + note("D3", 16, "whole")]))
    assert labels(engraved_excerpt(engraving_copy(document, "P1", marks(document)))) == ["1", "T2"]


def test_header_and_page_numbers() -> None:
    document = busy(40)
    svgs = engraved_pages(engraving_copy(document, "P1", title="Morning Tune in B♭",
                                         subtitle="Trombone 2 · tenor trombone"))
    assert len(svgs) > 1
    for number, svg in enumerate(svgs, 1):
        where = f"page {number} of {len(svgs)}"
        said = f"{where} · Morning Tune in B♭ · Trombone 2 · tenor trombone" if number % 2 == 0 else \
            f"Morning Tune in B♭ · Trombone 2 · tenor trombone · {where}"
        assert (said in words(svg)) == (number > 1)
        assert ("A. Writer" in words(svg)) == (number == 1)
    assert words(svgs[0]).startswith("Morning") or "Morning Tune in B♭ Trombone 2" in words(svgs[0])


@pytest.mark.parametrize(("options", "size"), [
    (PageOptions(), ("210mm", "297mm")), (PageOptions(paper="letter"), ("215.9mm", "279.4mm")),
    (PageOptions(paper="screen", width_px=360), ("360px", None)),
    (PageOptions(paper="screen", width_px=360, large_print=True), ("360px", None)),
])
def test_sizes(options: PageOptions, size: tuple[str, str | None]) -> None:
    svgs = engraved_pages(engraving_copy(busy(), "P1", marks(busy()), title="T"), options)
    root = etree.fromstring(svgs[0].encode())
    assert root.get("width") == size[0]
    assert size[1] is None or root.get("height") == size[1]
    assert options.paper != "screen" or len(svgs) == 1


def test_large_print_is_half_as_large_again() -> None:
    def staff_mm(options: PageOptions) -> float:
        root = etree.fromstring(engraved_pages(engraving_copy(busy(1), "P1"), options)[0].encode())
        staff = next(group for group in root.iter(f"{SVG}g") if group.get("class") == "staff")
        lines = [float(y) for y in re.findall(r"M\S+ (\S+?)H", staff.find(f"{SVG}path").get("d"))]
        assert len(lines) == 5
        inner = next(element for element in root.iter(f"{SVG}svg") if element is not root)
        return (lines[4] - lines[0]) * float(root.get("width")[:-2]) / float(inner.get("viewBox").split()[2])

    assert staff_mm(PageOptions()) == pytest.approx(7.2, abs=0.01)
    assert staff_mm(PageOptions(large_print=True)) == pytest.approx(10.8, abs=0.01)


def test_pictures_need_no_other_file_and_no_style_leaks() -> None:
    svg = engraved_pages(engraving_copy(busy(), "P1", marks(busy()), title="T"))[0]
    assert not re.search(r"(?:href|src|url)\W+(?:https?:|file:|/)", svg.replace("http://www.w3.org/", ""))
    assert svg.count("@font-face") >= 3
    style = "".join(element.text or "" for element in etree.fromstring(svg.encode()).iter(f"{SVG}style"))
    assert re.fullmatch(r"(@font-face\{[^}]*\})+", style)


def test_prefix_keeps_ids_of_several_pictures_apart() -> None:
    copy = engraving_copy(busy(1), "P1", marks(busy(1)))
    first, second = (engraved_excerpt(copy, PageOptions(id_prefix=prefix)) for prefix in ("a-", "b-"))
    ids = [set(re.findall(r' id="([^"]*)"', svg)) for svg in (first, second)]
    assert {"a-n0", "a-m0"} <= ids[0]
    assert {"b-n0", "b-m0"} <= ids[1]
    assert not ids[0] & ids[1]
    assert set(re.findall(r'href="#([^"]*)"', first)) <= ids[0]


def test_same_bytes_again() -> None:
    copy = engraving_copy(busy(), "P1", marks(busy()), title="T")
    assert engraved_pages(copy) == engraved_pages(copy)
    assert engraved_excerpt(copy) == engraved_excerpt(copy)


def test_works_in_another_thread() -> None:
    copy, found = engraving_copy(busy(1), "P1", marks(busy(1))), []
    thread = threading.Thread(target=lambda: found.append(engraved_pages(copy)))
    thread.start()
    thread.join()
    assert found == [engraved_pages(copy)]


def test_text_from_the_file_stays_text() -> None:
    document = score(part([START + direction("<words>&lt;script&gt;alert(1)&lt;/script&gt;</words>") + BUSY[0]]))
    svg = engraved_pages(engraving_copy(document, "P1", title="<script>x</script>", subtitle='"><b>'))[0]
    assert "<script" not in svg
    assert "<b>" not in svg


def test_options_are_checked() -> None:
    with pytest.raises(ValueError, match="paper"):
        PageOptions(paper="a5")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="width_px"):
        PageOptions(paper="screen", width_px=20)
    with pytest.raises(ValueError, match="music"):
        engraved_pages(Copy(musicxml="no music"))


# --- sound

def test_note_times_follow_the_tempo() -> None:
    document = score(part([START + METRONOME + note("C3", 8, "half") + note("D3", 4, "quarter")
                           + note("R", 4, "quarter"), note("E3", 16, "whole")]))
    # Expected by hand: a quarter lasts 60/96 s; the timemap counts whole milliseconds.
    assert [(found.ref, found.onset_s) for found in note_times(document, "P1")] == [
        (0, 0.0), (1, pytest.approx(2 * 60 / 96, abs=0.001)), (3, pytest.approx(4 * 60 / 96, abs=0.001))]
    assert [found.ref for found in note_times(document, "P1", measures=(1, 1))] == [3]


def test_an_excerpt_starts_with_the_tempo_in_force() -> None:
    document = score(part([START + METRONOME + BUSY[0], note("C3", 8, "half") + note("D3", 8, "half")]))
    times = [found.onset_s for found in note_times(document, "P1", measures=(1, 1))]
    assert times == [0.0, pytest.approx(2 * 60 / 96, abs=0.001)]


def test_midi_has_the_notes_and_none_of_our_marks() -> None:
    document = busy(1)
    data = midi_of(document, "P1")
    assert data[:4] == b"MThd"
    midi = pytest.importorskip("music21.midi")
    file = midi.MidiFile()
    file.readstr(data)
    starts = [event.pitch for track in file.tracks for event in track.events
              if event.type == midi.ChannelVoiceMessages.NOTE_ON and event.velocity]
    assert len(starts) == sum(element.find("rest") is None for element in document.notes("P1"))
    assert starts[:4] == [50, 51, 53, 55]                      # D3 Eb3 F3 G3
    assert b"TS2" not in data


# --- in a real browser

def chromium() -> str:
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        pytest.skip("no Chromium here: the boxes of the drawn page cannot be measured")
    return found


def measured(svgs: list[str], folder: Path) -> dict:
    """What the browser finds on the drawn pages: marks, what touches them, what is cut off."""
    script = (HERE / "boxes.js").read_text(encoding="utf-8")
    page = folder / "page.html"
    page.write_text('<!doctype html><meta charset="utf-8"><body>' + "".join(svgs) + "<pre></pre><script>"
                    f"document.fonts.ready.then(() => {{{script}}});</script>", encoding="utf-8")
    command = [chromium(), "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
               "--disable-background-networking", "--disable-component-update", "--disable-sync",
               f"--user-data-dir={folder / 'profile'}", "--virtual-time-budget=20000", "--dump-dom", page.as_uri()]
    run = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    return json.loads(html.unescape(re.search(r"<pre>(.*?)</pre>", run.stdout, re.DOTALL)[1]))


def hard_music() -> Copy:
    """Busy measures in two clefs, dense sixteenths with the widest labels, and a chord for two players."""
    chord = note("F3", 4, "quarter", more=ACCENT) + note("D3", 4, "quarter", chord=True)
    low = beamed("E2 F2 E2 F2", ACCENT) * 4
    document = score(part([START + METRONOME + BUSY[0], *BUSY, chord * 4, low, TENOR + BUSY[0], *BUSY * 3]))
    wanted = [mark if mark.ref % 5 else Mark(part_id="P1", ref=mark.ref, line=1, text="TS2", changed=True)
              for mark in marks(document)]
    chord_refs = [ref for ref, element in enumerate(document.notes("P1")) if element.find("chord") is not None]
    wanted = [Mark(part_id="P1", ref=mark.ref, line=2, text="1-2-3", changed=True) if mark.ref in chord_refs else mark
              for mark in wanted]
    return engraving_copy(document, "P1", wanted, title="A Title That Is Long Enough to Need More than One Line",
                          subtitle="Trombone 2 · bass trombone with two independent valves")


@pytest.mark.parametrize("options", [
    PageOptions(), PageOptions(paper="letter"), PageOptions(large_print=True),
    PageOptions(paper="letter", large_print=True), PageOptions(paper="screen", width_px=360),
    PageOptions(paper="screen", width_px=1280), PageOptions(paper="screen", width_px=360, large_print=True),
], ids=["a4", "letter", "a4-large", "letter-large", "phone", "laptop", "phone-large"])
def test_nothing_touches_a_mark_and_no_text_is_cut(options: PageOptions, tmp_path: Path) -> None:
    copy = hard_music()
    found = measured(list(engraved_pages(copy, options)), tmp_path)
    assert found["marks"] == len(copy.marks)
    assert found["obstacles"] > 10 * found["marks"] ** 0.5
    assert set(found["forms"]) == {"mark usual", "mark changed", "unplayable"}
    assert found["touching"] == []
    assert found["cut"] == []


def test_nothing_touches_a_mark_in_an_excerpt(tmp_path: Path) -> None:
    document = busy(1)
    svg = engraved_excerpt(engraving_copy(document, "P1", marks(document), measures=(0, 2)))
    found = measured([svg], tmp_path)
    assert (found["touching"], found["cut"]) == ([], [])


def test_the_check_sees_a_mark_that_touches(tmp_path: Path) -> None:
    """With every row (above the notes here) two staff spaces too low there are collisions: the check can fail."""
    raised = '<g transform="translate(0 400)" class="marks"'
    svgs = [svg.replace('<g class="marks"', raised) for svg in engraved_pages(hard_music())]
    assert raised in svgs[0]
    assert measured(svgs, tmp_path)["touching"]


def test_labels_used_here_are_those_of_both_families() -> None:
    assert {"0", "1-2", "T2", "TS2", "2♯", "4♭", "×"} <= set(LABELS)
    assert LYRIC


def test_a_group_of_alternates_stands_in_one_tray() -> None:
    """Three neighbours: up at the first's left and at the last's right, and the line between them is not broken."""
    document = score(part([START + "".join(note(name, 4, "quarter") for name in ("C3", "D3", "E3", "F3"))]))
    wanted = [Mark(part_id="P1", ref=ref, line=1, text="5", changed=ref < 3, joins=ref in (1, 2)) for ref in range(4)]
    root = etree.fromstring(engraved_excerpt(engraving_copy(document, "P1", wanted)).encode())
    paths = [group.find(f"{SVG}path").get("d") for group in root.iter(f"{SVG}g")
             if group.get("class") == "mark changed"]
    assert [path.count("V") for path in paths] == [1, 0, 1]
    ends = [path.split("H")[1].split("V")[0] for path in paths]
    starts = [path[1:].split("H")[0].split("V")[0].split(" ")[0] for path in paths]
    assert starts[1:] == ends[:-1]
