"""Review, comparison, fit and sound on the page: what the commands say, and the plan's own times."""

import json
from itertools import pairwise
from pathlib import Path

import jsonschema
import pytest

from analyzer.analysis import Request, analyse
from analyzer.horns.candidates import position_place_mm
from analyzer.horns.profiles import load_horn
from analyzer.marking.ossia import repitched
from analyzer.report.compare import compare_document
from analyzer.report.fit.document import fit_document
from analyzer.report.fit.page import section_page
from analyzer.report.review import review_document
from analyzer.review.compare import compare
from analyzer.review.harmony import Harmony
from analyzer.review.line import review
from analyzer.review.ossia import ossia, read_refusal
from analyzer.schemas import schema
from analyzer.score.document import open_document, read_score
from analyzer.score.own_marks import is_ours
from analyzer.section.fit import fit
from analyzer.section.section import read_section
from tests.web.conftest import SAMPLES
from tests.web.test_app import opened, planned, question

DEEP = "deep-water-bass-trombone.musicxml"
MARCH = "harbour-march-trio.musicxml"


def asked(client, path: str, body: str) -> dict:
    reply = client.post(path, content=body)
    assert reply.status_code == 200, reply.text
    return reply.json()


def as_sent(document: dict) -> dict:
    return json.loads(json.dumps(document))


@pytest.mark.parametrize("horn", ["", "bass-single", "tenor"])
def test_the_review_is_the_command_s(client, horn: str) -> None:
    found = opened(client, DEEP)
    said = asked(client, "/api/review", question(found, horn=horn))
    analysis = analyse(open_document(SAMPLES / DEEP), Request(horns=(horn,) if horn else ()))
    found_there = review(analysis)
    beyond = any(finding.severity == "stop" for one in found_there for finding in one.findings)
    changed = ossia(found_there, Harmony(analysis.document)) if beyond else None
    expected = as_sent(review_document(analysis, found_there, changed))
    shown = said.pop("page")
    assert said == expected
    assert said["findings"]
    # Put together or not, every finding is told, with its note.
    groups = [group for line in shown["lines"] for part in line["findings"] for group in part["groups"]]
    assert sorted((place["measure"], place["index"] or 0) for group in groups for place in group["places"]) == sorted(
        (one["measure"], one["index"] or 0) for one in said["findings"])


def test_the_comparison_is_the_command_s(client) -> None:
    found = opened(client, DEEP)
    said = asked(client, "/api/compare", question(found, horns=["bass-independent", "bass-single"], tempo=90))
    part = found["parts"][0]["id"]
    expected = compare(open_document(SAMPLES / DEEP), [load_horn(name) for name in ("bass-independent", "bass-single")],
                       Request(parts=(part,), tempo_bpm=90))
    assert said == as_sent(compare_document(expected))


@pytest.mark.parametrize("horns", [None, [], ["tenor"], ["tenor", "tenor"], ["tenor", "../x.toml"], ["tenor", 3],
                                   "tenor", ["alto", "tenor", "tenor-f", "bass-single", "euphonium-3"]])
def test_horns_to_compare_are_two_to_four_of_the_list(client, horns: object) -> None:
    reply = client.post("/api/compare", content=question(opened(client), horns=horns))
    assert reply.status_code == 400
    assert "horn" in reply.json()["line"]


def test_the_fit_is_the_command_s(client) -> None:
    found = opened(client, MARCH)
    form = client.get("/api/start").json()["section"]
    assert len(form["players"]) == 6
    said = asked(client, "/api/fit", question(found, section=form, tempo=100))
    expected = fit(open_document(SAMPLES / MARCH), read_section(SAMPLES / "section.toml"), tempo_bpm=100)
    shown = said.pop("page")
    assert said == as_sent(fit_document(expected))
    seated = [*said["assignments"], *said["doublings"]]
    assert len(shown["seats"]) == len(seated)
    for seat in shown["seats"]:
        told = next(one for one in seated if (one["part"]["id"], one["line"], one["player"]) == (
            seat["part_id"], seat["line"], seat["player"].removesuffix(" (doubles)")))
        places = [place for part in seat["findings"] for group in part["groups"] for place in group["places"]]
        assert len(places) == sum(bool(one["measure"]) for one in (*told["findings"], *told["remarks"]))
    assert said["verdict"] == "suits"
    # Without anybody who has a valve horn the euphonium's line stays empty.
    form["players"] = [one for one in form["players"] if not any("euph" in horn for horn in one["horns"])]
    assert asked(client, "/api/fit", question(found, section=form))["verdict"] != "suits"


def test_the_answer_as_a_page_is_the_command_s(client) -> None:
    body = question(opened(client, MARCH), section=client.get("/api/start").json()["section"], ending=".html")
    reply = client.post("/api/fit", content=body)
    assert "harbour-march-trio-section.html" in reply.headers["content-disposition"]
    assert reply.content == section_page(fit(open_document(SAMPLES / MARCH), read_section(SAMPLES / "section.toml")))


def test_the_playable_score_is_the_command_s(client) -> None:
    found = opened(client, DEEP)
    reply = client.post("/api/playable", content=question(found, horn="bass-single"))
    assert reply.status_code == 200, reply.text
    assert "deep-water-bass-trombone-playable.musicxml" in reply.headers["content-disposition"]
    document = open_document(SAMPLES / DEEP)
    changed = ossia(review(analyse(document, Request(horns=("bass-single",)))), Harmony(document))
    assert reply.content == repitched(document, changed.by_part(), changed.glides(), changed.marks())
    place = changed.changes[0].place
    less = client.post("/api/playable", content=question(found, horn="bass-single", refuse=[place]))
    kept = ossia(review(analyse(document, Request(horns=("bass-single",)))), Harmony(document),
                 [refusal for refusal in [read_refusal(place)] if refusal])
    assert len(kept.changes) < len(changed.changes)
    if kept.changes:
        assert less.content == repitched(document, kept.by_part(), kept.glides(), kept.marks())
    else:
        assert less.status_code == 400
    reply = client.post("/api/playable", content=question(opened(client, "evening-song-euphonium.musicxml")))
    assert reply.status_code == 400
    assert "nothing to change" in reply.json()["line"]


def test_mistakes_of_a_section_name_their_fields(client) -> None:
    section = {"players": [{"name": "A", "horns": ["tenor"], "low": "H9"}, {"name": "a", "horns": []},
                           {"name": "C", "horns": ["tenor"], "level": "god", "reach_mm": 3}], "spare": []}
    reply = client.post("/api/fit", content=question(opened(client, MARCH), section=section))
    assert reply.status_code == 400
    found = {(one["player"], one["key"]) for one in reply.json()["mistakes"]}
    assert {(0, "low"), (1, "name"), (2, "level"), (2, "reach_mm")} <= found
    assert (1, None) in found or (1, "horns") in found
    assert all("\n" not in one["line"] for one in reply.json()["mistakes"])


@pytest.mark.parametrize("section", [None, [], {}, {"players": 1}, {"players": [1]}, {"players": [], "other": 1},
                                     {"players": []}])
def test_a_section_that_is_none(client, section: object) -> None:
    reply = client.post("/api/fit", content=question(opened(client, MARCH), section=section))
    assert reply.status_code == 400
    assert reply.json()["line"]


def test_the_sound_keeps_the_plan_s_times_and_places(client) -> None:
    found = opened(client)
    said = asked(client, "/api/sound", question(found))
    [one] = analyse(open_document(SAMPLES / "attachment-etude.musicxml"), Request()).lines
    notes = one.plan.notes
    assert [note["midi"] for note in said["notes"]] == [note.note.midi for note in notes]
    assert [note["label"] for note in said["notes"]] == [note["label"] for note in planned(client, found)["notes"]]
    begin = notes[0].time.start_s
    for told, note in zip(said["notes"], notes, strict=True):
        assert told["start_s"] == pytest.approx(note.time.start_s - begin, abs=1e-4)
        assert told["extension_mm"] == pytest.approx(note.choice.extension_mm, abs=0.06)
    for a, b in pairwise(said["notes"]):
        assert 0 < a["move_s"] <= b["start_s"] - a["start_s"] + 0.002
    horn = load_horn("tenor-f")
    assert said["slide"]["places"][""] == [round(position_place_mm(horn, (), place), 1) for place in range(1, 8)]
    assert len(said["slide"]["places"]["T"]) == 6
    assert "harm" in said["caution"]


def test_a_valved_horn_has_no_slide(client) -> None:
    said = asked(client, "/api/sound", question(opened(client, "evening-song-euphonium.musicxml")))
    assert said["slide"] is None
    assert said["valves"] == ["1", "2", "3", "4"]
    assert {valve for note in said["notes"] for valve in note["valves"]} <= {"1", "2", "3", "4"}


def test_the_midi_file_sounds_what_the_plan_plays(client) -> None:
    pytest.importorskip("verovio", reason="the extra engrave is not installed")
    music21 = pytest.importorskip("music21", reason="the extra build is not installed")
    name = "brass-band-hymn.musicxml"
    found = opened(client, name)
    part = found["parts"][0]["id"]
    reply = client.post("/api/file", content=question(found, ending=".mid", **{"from": "2", "to": "3"}))
    assert reply.status_code == 200, reply.text
    assert "brass-band-hymn.mid" in reply.headers["content-disposition"]
    heard = {pitch.midi for note in music21.converter.parseData(reply.content, format="midi").flatten().notes
             for pitch in note.pitches}
    lines = analyse(open_document(SAMPLES / name), Request(parts=(part,), measures=("2", "3"))).lines
    assert heard == {note.note.midi for one in lines for note in one.plan.notes}


@pytest.mark.parametrize("tempo", [48, 132.5])
def test_the_midi_file_is_at_the_tempo_of_the_page(client, tempo: float) -> None:
    pytest.importorskip("verovio", reason="the extra engrave is not installed")
    music21 = pytest.importorskip("music21", reason="the extra build is not installed")
    found = opened(client, "deep-water-bass-trombone.musicxml")

    def heard(**more: object) -> tuple[list[float], list[tuple[float, int]]]:
        reply = client.post("/api/file", content=question(found, ending=".mid", **more))
        music = music21.converter.parseData(reply.content, format="midi").flatten()
        return ([mark.number for mark in music.getElementsByClass("MetronomeMark")],
                [(float(note.offset), note.pitch.midi) for note in music.getElementsByClass("Note")])

    (printed, notes), (asked_for, same) = heard(), heard(tempo=tempo)
    assert tempo not in printed
    assert asked_for
    assert asked_for == [pytest.approx(tempo, rel=0.01)] * len(asked_for)
    assert notes
    assert same == notes


def test_what_is_new_is_all_that_differs(client) -> None:
    """What stands, renewed by what is new, is the answer to a page that tells nothing; with pins near and far."""
    pytest.importorskip("verovio", reason="the extra engrave is not installed")
    from lxml import etree

    found = opened(client)
    before = planned(client, found)
    part, notes = found["parts"][0]["id"], before["notes"]
    music = asked(client, "/api/music", question(found))
    stands = etree.fromstring(music["svg"].encode())
    weighed = [note for note in notes if len(note["prices"]) > 1]
    pins = [{"part": part, "line": 1, "ref": note["refs"][0], "label": note["prices"][1][0]}
            for note in (weighed[12], weighed[13], weighed[-1])]
    standing = {"answer": before["name"], "pictures": [music["picture"]], "marks": before["name"]}
    for held in (pins[:1], pins[:2], pins, pins[1:]):
        more = {"pins": held, "chosen": held[-1]["ref"]}
        answer = planned(client, found, standing=standing, **more)
        whole = planned(client, found, **more)
        assert 0 < len(answer["differs"]) < len(notes)
        notes = [answer["differs"].get(str(k), note) for k, note in enumerate(notes)]
        assert notes == whole["notes"]
        skipped = {"differs", "notes", "candidates", "name", "groups"}
        assert {key: answer[key] for key in answer.keys() - skipped} == {
            key: whole[key] for key in whole.keys() - skipped}
        assert 0 < len(answer["groups"]) < len(stands.xpath("//*[@class='marks']"))
        for text in answer["groups"]:
            group = etree.fromstring(text.replace("<g ", '<g xmlns="http://www.w3.org/2000/svg" ', 1))
            old, = stands.xpath(f"//*[@id='{group.get('id')}']")
            old.getparent().replace(old, group)
        anew = etree.fromstring(asked(client, "/api/music", question(found, **more))["svg"].encode())
        assert [etree.tostring(one) for one in stands.xpath("//*[@class='marks']")] == [
            etree.tostring(one) for one in anew.xpath("//*[@class='marks']")]
        standing |= {"answer": answer["name"], "marks": answer["name"]}
    # Another horn is another answer; a picture that is not known is engraved anew, one without known marks gets all.
    assert "notes" in planned(client, found, standing=standing, horn="tenor")
    assert planned(client, found, standing=standing | {"pictures": ["none"]})["groups"] is None
    picture = asked(client, "/api/music", question(found))["picture"]
    assert len(planned(client, found, standing={"pictures": [picture]})["groups"]) == len(
        stands.xpath("//*[@class='marks']"))


@pytest.mark.parametrize("standing", [3, [], {"answer": 1}, {"pictures": ["x" * 300]}, {"pictures": "x"},
                                      {"pictures": ["x"] * 101}])
def test_what_stands_is_read_with_care(client, standing: object) -> None:
    reply = client.post("/api/plan", content=question(opened(client), standing=standing))
    assert reply.status_code == 400
    assert "Load the page again." in reply.json()["line"]


def test_players_who_share_a_staff_have_their_marks_on_it(client) -> None:
    pytest.importorskip("verovio", reason="the extra engrave is not installed")
    found = opened(client, MARCH)
    both = asked(client, "/api/plan", question(found))
    assert [line["line"] for line in both["lines"]] == [1, 2]
    mine = {ref for note in both["notes"] for ref in note["refs"]}
    assert both["others"]
    assert set(both["others"].values()) == {2}
    assert not mine & {int(ref) for ref in both["others"]}
    svg = asked(client, "/api/music", question(found))["svg"]
    lines = analyse(open_document(SAMPLES / MARCH), Request(parts=(found["parts"][0]["id"],))).lines
    assert len(lines) == 2
    for one in lines:
        assert all(f'data-ref="{note.note.refs[0]}"' in svg for note in one.plan.notes)


@pytest.mark.parametrize(("name", "content"), [
    ("tune.abc", b"X:1\nT:Tune\nM:4/4\nL:1/4\nK:Bb clef=bass\nB,,C,D,E,|F,2B,,2|\n"),
    pytest.param("tune.krn", b"**kern\n*clefF4\n*M4/4\n=1\n4BB-\n4C\n4D\n4E-\n=2\n2F\n2BB-\n==\n*-\n",
                 marks=pytest.mark.whole),
])
def test_other_forms_of_score_are_read(client, name: str, content: bytes) -> None:
    pytest.importorskip("music21", reason="the extra build is not installed")
    found = client.post("/api/open", content=content, headers={"x-file-name": name}).json()
    said = planned(client, found)
    assert [note["midi"] for note in said["notes"]] == [46, 48, 50, 51, 53, 46]
    assert any("lost" in line or "seldom" in line for line in said["problems"])
    reply = client.post("/api/file", content=question(found, ending="score"))
    assert reply.status_code == 200
    assert b"<?lowbrass" in reply.content


def test_the_page_s_answers_keep_to_the_published_schemas(client) -> None:
    found = opened(client, MARCH)
    form = client.get("/api/start").json()["section"]
    answers = [
        asked(client, "/api/file", question(found, ending=".json")), asked(client, "/api/review", question(found)),
        asked(client, "/api/compare", question(found, horns=["tenor", "tenor-f"])),
        asked(client, "/api/fit", question(found, section=form))]
    assert [answer["schema"] for answer in answers] == ["lowbrass.map/1", "lowbrass.review/1", "lowbrass.compare/1",
                                                        "lowbrass.fit/1"]
    for answer in answers:
        jsonschema.validate(answer, schema(answer["schema"]))


@pytest.mark.parametrize("ending", [".mscz", ".mei"])
def test_forms_with_a_reader_of_their_own_are_opened_and_given_back_marked(client, ending: str) -> None:
    if ending == ".mscz":
        content = (Path(__file__).parents[1] / "score" / "forms" / "brass-band-hymn-4.mscz").read_bytes()
    else:
        verovio = pytest.importorskip("verovio", reason="MEI is made by verovio here")
        toolkit = verovio.toolkit()
        toolkit.setInputFrom("musicxml")
        toolkit.loadData(SAMPLES.joinpath("brass-band-hymn.musicxml").read_text(encoding="utf-8"))
        content = toolkit.getMEI({"scoreBased": True, "pageNo": 0}).encode()
    found = client.post("/api/open", content=content, headers={"x-file-name": f"hymn{ending}"}).json()
    assert {"Bass Trombone", "Euphonium in B♭"} <= {part["name"] for part in found["parts"] if part["low_brass"]}
    reply = client.post("/api/file", content=question(found, ending="score"))
    assert reply.status_code == 200
    assert sum(is_ours(one) for one in read_score(reply.content, f"hymn{ending}").root.iter("fingering")) > 20
    assert f"{ending}" in reply.headers["content-disposition"]
