"""The sample scores: valid MusicXML, whole measures, readable elsewhere, and holding what their README says."""

import tomllib
import warnings
import zipfile
from collections import defaultdict
from fractions import Fraction
from importlib import metadata
from pathlib import Path

import pytest
from lxml import etree

from analyzer.analysis import Request, analyse
from analyzer.score.document import open_document

FOLDER = Path(__file__).parent.parent / "sample_scores"
SCORES = sorted(path.name for path in FOLDER.iterdir() if path.suffix in (".musicxml", ".mxl"))
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
# The two small schemas that MusicXML 4.0 points to, as far as it uses them; the package carries neither.
XML = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/XML/1998/namespace">
<xs:attribute name="lang" type="xs:language"/><xs:attribute name="space" type="xs:NCName"/></xs:schema>"""
XLINK = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema" targetNamespace="http://www.w3.org/1999/xlink">
<xs:attribute name="href" type="xs:anyURI"/><xs:attribute name="type" type="xs:string"/>
<xs:attribute name="role" type="xs:token"/><xs:attribute name="title" type="xs:token"/>
<xs:attribute name="show" type="xs:string"/><xs:attribute name="actuate" type="xs:string"/></xs:schema>"""


def root_of(name: str) -> etree._Element:
    path = FOLDER / name
    if path.suffix == ".mxl":
        with zipfile.ZipFile(path) as archive:
            container = etree.fromstring(archive.read("META-INF/container.xml"))
            full_path = container.find(".//rootfile").get("full-path")
            return etree.fromstring(archive.read(full_path))
    return etree.parse(path).getroot()


def midi_of(pitch: etree._Element) -> int:
    return (12 * (int(pitch.findtext("octave")) + 1) + SEMITONES[pitch.findtext("step")]
            + int(pitch.findtext("alter") or 0))


def sounding(name: str, part_name: str) -> dict[str, list[int]]:
    """Sounding MIDI numbers of one part by measure number, in document order."""
    root = root_of(name)
    part_id = next(one.get("id") for one in root.iter("score-part") if one.findtext("part-name") == part_name)
    part = next(one for one in root.findall("part") if one.get("id") == part_id)
    found: dict[str, list[int]] = defaultdict(list)
    shift = 0
    for measure in part.findall("measure"):
        for item in measure.iter("transpose", "pitch"):
            if item.tag == "transpose":
                shift = int(item.findtext("chromatic")) + 12 * int(item.findtext("octave-change") or 0)
            else:
                found[measure.get("number")].append(midi_of(item) + shift)
    return found


@pytest.fixture(scope="module")
def schema() -> etree.XMLSchema:
    """MusicXML 4.0 as the `musicxml` package carries it, with the parts it points to given from memory."""
    try:
        files = metadata.distribution("musicxml").files or []
    except metadata.PackageNotFoundError:
        pytest.skip("the package musicxml, which carries the schema, is not installed")
    here = {Path(str(one)).name: Path(str(one.locate())) for one in files if str(one).endswith(".xsd")}

    class Local(etree.Resolver):
        def resolve(self, url: str, public_id: str, context: object) -> object:
            if url.startswith("http"):
                return self.resolve_string(XLINK if url.endswith("xlink.xsd") else XML, context, base_url=url)
            return None

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Local())
    return etree.XMLSchema(etree.parse(here["musicxml_4_0.xsd"], parser))


def test_all_six_are_there() -> None:
    assert len(SCORES) == 6
    assert sum(name.endswith(".mxl") for name in SCORES) == 1


def test_readme_names_every_file_and_the_licence() -> None:
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    for path in FOLDER.iterdir():
        assert path.name == "README.md" or f"`{path.name}`" in text
    assert "CC0 1.0" in text


@pytest.mark.parametrize("name", SCORES)
def test_valid_by_the_schema(name: str, schema: etree.XMLSchema) -> None:
    root = root_of(name)
    assert schema.validate(root), schema.error_log
    assert root.get("version") == "4.0"
    assert "CC0" in root.findtext("identification/rights")


def test_schema_refuses_a_broken_score(schema: etree.XMLSchema) -> None:
    root = root_of("attachment-etude.musicxml")
    root.find(".//note/duration").tag = "length"
    assert not schema.validate(root)


@pytest.mark.parametrize("name", SCORES)
def test_every_voice_fills_its_measure(name: str) -> None:
    root = root_of(name)
    numbers = [one.get("number") for one in root.find("part").findall("measure")]
    for part in root.findall("part"):
        assert [one.get("number") for one in part.findall("measure")] == numbers
        divisions = int(part.findtext("measure/attributes/divisions"))
        beats = Fraction(int(part.findtext(".//beats")) * 4, int(part.findtext(".//beat-type")))
        for measure in part.findall("measure"):
            filled: dict[str, int] = defaultdict(int)
            for note in measure.findall("note"):
                if note.find("chord") is None:
                    filled[note.findtext("voice")] += int(note.findtext("duration"))
            lengths = {Fraction(one, divisions) for one in filled.values()}
            where = (name, part.get("id"), measure.get("number"))
            assert len(lengths) == 1, where
            if measure.get("implicit") == "yes":
                assert lengths.pop() < beats, where
            else:
                assert lengths == {beats}, where
            backed = sum(int(one.findtext("duration")) for one in measure.findall("backup"))
            assert Fraction(backed, divisions) == beats * (len(filled) - 1), where


@pytest.mark.parametrize("name", SCORES)
def test_marks_that_open_also_close(name: str) -> None:
    for part in root_of(name).findall("part"):
        for tag in ("slur", "glissando", "tied"):
            open_now: dict[tuple[str, int], bool] = defaultdict(bool)
            for note in part.iter("note"):
                pitch = note.find("pitch")
                key = (note.findtext("voice"), midi_of(pitch) if tag == "tied" and pitch is not None else 0)
                for mark in sorted(note.iter(tag), key=lambda one: one.get("type"), reverse=True):
                    starts = mark.get("type") == "start"
                    assert open_now[key] is not starts, (name, part.get("id"), tag)
                    open_now[key] = starts
            assert not any(open_now.values()), (name, part.get("id"), tag)
        wedges = [one.get("type") != "stop" for one in part.iter("wedge")]
        assert wedges == [True, False] * (len(wedges) // 2), (name, part.get("id"))


@pytest.mark.parametrize("name", SCORES)
def test_another_library_reads_the_same_pitches(name: str) -> None:
    music21 = pytest.importorskip("music21")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = music21.converter.parse(FOLDER / name, forceSource=True)
        if any(one.findall(".//transpose") for one in root_of(name).findall("part")):
            score = score.toSoundingPitch()
    heard: dict[str, list[int]] = defaultdict(list)
    for part in score.parts:
        heard[part.partName] += [pitch.midi for pitch in part.pitches]
    for entry in root_of(name).iter("score-part"):
        part_name = entry.findtext("part-name")
        ours = [midi for measure in sounding(name, part_name).values() for midi in measure]
        if ours:
            assert sorted(heard[part_name]) == sorted(ours), part_name


def test_tempo_key_and_rehearsal_marks() -> None:
    for name in SCORES:
        root = root_of(name)
        assert root.find(".//direction/sound[@tempo]") is not None, name
        assert root.find(".//key/fifths") is not None, name
        assert root.find(".//rehearsal") is not None, name
        assert root.find(".//dynamics") is not None, name


def test_march_holds_its_traps() -> None:
    name = "harbour-march-trio.musicxml"
    root = root_of(name)
    names = [one.findtext("part-name") for one in root.iter("score-part")]
    assert {"3", "1 & 2", "Baritone Saxophone", "Euphonium", "Euphonium T.C.", "Tuba"} <= set(names)
    assert "Trombones" in [one.text for one in root.iter("group-name")]
    third = sounding(name, "3")
    assert third["19"] == [48, 47, 46, 47]            # C3 B2 Bb2 B2
    assert 40 in third["25"]                          # E2
    assert 40 in third["37"]
    assert third["42"] == [39, 39]                    # Eb2
    assert sounding(name, "Euphonium") == sounding(name, "Euphonium T.C.")
    assert {one.text for one in root.iter("words")} >= {"a2", "div.", "unis."}
    assert [one.get("number") for one in root.iter("ending") if one.get("type") == "start"][:2] == ["1", "2"]


def test_song_holds_its_long_notes() -> None:
    song = sounding("evening-song-euphonium.musicxml", "Euphonium")
    assert [song[number] for number in ("23", "25", "26", "29")] == [[48], [47], [48], [41]]       # C3 B2 C3 F2
    assert [song[str(number)] for number in range(42, 47)] == [[41], [40], [39], [38], [36]]       # F2 down to C2


def test_deep_water_holds_its_traps() -> None:
    name = "deep-water-bass-trombone.musicxml"
    deep = sounding(name, "Bass Trombone")
    assert deep["46"] == [36, 35]                     # C2 B1
    assert deep["45"] == [43, 19]                     # G2 and G0, an octave below the pedal it should be
    assert deep["26"] == [53, 48]                     # F3 to C3
    assert deep["30"] == [46, 53]                     # Bb2 to F3
    glides = [one.get("number") for one in root_of(name).iter("measure") if one.find(".//glissando") is not None]
    assert glides == ["26", "30"]
    pitches = sorted({midi for measure in deep.values() for midi in measure})
    assert pitches[:3] == [19, 35, 36]                # but for the mistake, nothing lies below B1


def test_etude_turns_around_the_attachment_notes() -> None:
    etude = sounding("attachment-etude.musicxml", "Trombone")
    pitches = [midi for measure in etude.values() for midi in measure]
    assert min(pitches) == 40
    for midi in (48, 47, 46, 45, 41, 40):             # C3 B2 Bb2 A2 F2 E2
        assert pitches.count(midi) >= 8
    assert etude["21"][:4] == [48, 47, 46, 47]
    tempi = [one.get("tempo") for one in root_of("attachment-etude.musicxml").iter("sound")]
    assert tempi == ["56", "66"]


def test_etude_suits_a_student_at_its_printed_tempo() -> None:
    """It is marked for an intermediate student, so nothing in it may pass what such a player can do (limits.toml)."""
    for one in analyse(open_document(FOLDER / "attachment-etude.musicxml"), Request()).lines:
        assert one.plan.player.level == "intermediate"
        assert max(load.most for load in one.planner.loads_of(one.plan)) <= 1.0


def test_chorale_has_a_tenor_clef_and_the_old_tune() -> None:
    name = "quiet-chorale-trombones.mxl"
    root = root_of(name)
    first = root.find("part")
    assert (first.findtext(".//clef/sign"), first.findtext(".//clef/line")) == ("C", "4")
    # The tune as hymn books have it, first line, in semitones from its first note (sol-fa: d d t l s d r m).
    first_line = [midi for number in "01234" for midi in sounding(name, "Trombone 1")[number]][:8]
    assert [midi - first_line[0] for midi in first_line] == [0, 0, -1, -3, -5, 0, 2, 4]
    bass = sounding(name, "Bass Trombone")
    assert bass["20"] == [34]
    assert {36, 38} <= {midi for measure in bass.values() for midi in measure}


def test_hymn_is_read_as_brass_bands_read() -> None:
    root = root_of("brass-band-hymn.musicxml")
    for entry, part in zip(root.iter("score-part"), root.findall("part"), strict=True):
        part_name = entry.findtext("part-name")
        treble = part.findtext(".//clef/sign") == "G"
        given = (part.findtext(".//transpose/diatonic"), part.findtext(".//transpose/chromatic"))
        if part_name == "Bass Trombone":
            assert not treble
            assert given == (None, None)
        elif "Trombone" in part_name or part_name.startswith(("Baritone", "Euphonium")):
            assert treble
            assert given == ("-8", "-14")             # a major ninth: eight steps, fourteen semitones
    bass = sounding("brass-band-hymn.musicxml", "Bass Trombone")
    assert 39 in bass["8"]
    assert 39 in bass["15"]


# Practical sounding ranges, MIDI: common practice, no source. The one deliberate mistake is left out.
RANGES = {"Flute": (60, 93), "Clarinet": (50, 84), "Alto Sax": (49, 80), "Baritone Sax": (37, 68), "Trumpet": (52, 79),
          "Horn in F": (48, 74), "1 & 2": (45, 66), "3": (36, 60), "Trombone": (36, 67), "Bass Trombone": (34, 60),
          "1st Trombone": (41, 67), "2nd Trombone": (41, 65), "Euphonium": (36, 67), "Baritone in": (41, 66),
          "Tuba": (29, 55), "Solo Cornet": (52, 79), "Tenor Horn": (45, 72), "E♭ Bass": (31, 55), "Piano": (21, 108)}


@pytest.mark.parametrize("name", SCORES)
def test_lines_lie_in_range(name: str) -> None:
    for entry in root_of(name).iter("score-part"):
        part_name = entry.findtext("part-name")
        pitches = [midi for measure in sounding(name, part_name).values() for midi in measure if midi != 19]
        if not pitches:
            assert part_name == "Percussion"
            continue
        low, high = RANGES[max((key for key in RANGES if part_name.startswith(key)), key=len)]
        assert low <= min(pitches), part_name
        assert max(pitches) <= high, part_name


def test_player_files_hold_known_keys() -> None:
    # The keys as the data contract lists them, and the moves that are secure.
    known = {"name", "outermost_position", "reach_mm", "height_cm", "attachment_ceiling", "max_slide_speed_mm_s", "low",
             "high", "learned", "secure"}
    horns = {"alto", "tenor", "tenor-f", "bass-single", "bass-independent", "bass-dependent", "euphonium-3",
             "euphonium-4", "euphonium-3-compensating", "euphonium-4-compensating", "baritone-3"}
    student = tomllib.loads((FOLDER / "student.toml").read_text(encoding="utf-8"))
    assert set(student) == {"player"}
    assert set(student["player"]) <= known
    players = tomllib.loads((FOLDER / "section.toml").read_text(encoding="utf-8"))["player"]
    assert len({one["name"] for one in players}) == len(players) == 6
    for one in players:
        assert set(one) <= known | {"horns"}
        assert set(one["horns"]) <= horns
        assert one["name"].startswith("Player ")
