"""The worst chords of a seated section, in fit and folders, as `tune chords` finds them on the same horns."""

import json

import pytest

from analyzer.report.fit.text import fit_text
from analyzer.score.document import open_document
from analyzer.section.fit import fit
from analyzer.section.in_tune import WORST, section_chords
from analyzer.section.section import read_section
from tests.commands.test_map import SAMPLES, run

CHORALE = SAMPLES / "quiet-chorale-trombones.mxl"
SECTION = """
[[player]]
name = "One"
horns = ["tenor-f"]
[[player]]
name = "Two"
horns = ["tenor-f"]
[[player]]
name = "Three"
horns = ["tenor-f"]
[[player]]
name = "Four"
horns = ["bass-independent"]
"""


def test_fit_names_what_tune_chords_finds(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """The usual horns of these parts are those of the section, so both commands must find the same chords worst."""
    file = tmp_path / "section.toml"
    file.write_text(SECTION, encoding="utf-8")
    answer = fit(open_document(CHORALE), read_section(file))
    told = json.loads(run("fit", CHORALE, "--section", file, "--format", "json").stdout)["tuning"]
    alone = json.loads(run("tune", "chords", CHORALE, "--format", "json").stdout)["chords"]
    assert len(told) == WORST
    assert {seat.played for seat in answer.seats} == {"tenor-f", "bass-independent"}
    assert [(chord["measure"], chord["root"], chord["kind"], chord["before_cents"]) for chord in told] == [
        (chord["measure"], chord["root"], chord["kind"], chord["before_cents"]) for chord in alone[:WORST]]
    said = " ".join(fit_text(answer).split())
    for chord in section_chords(answer):
        assert f"m. {chord.measure}, {chord.root.replace('b', '♭')} {chord.kind}" in said
    assert "lowbrass tune chords" in said
    page = tmp_path / "fit.html"
    assert run("fit", CHORALE, "--section", file, "-o", page).returncode == 0
    assert "In tune together" in page.read_text(encoding="utf-8")


def test_a_lone_line_has_no_chords_to_tune(tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = tmp_path / "section.toml"
    file.write_text(SECTION, encoding="utf-8")
    answer = fit(open_document(SAMPLES / "deep-water-bass-trombone.musicxml"), read_section(file))
    assert section_chords(answer) == ()
    assert "In tune together" not in fit_text(answer)


def test_the_directors_page_says_what_to_tune_first(tmp_path) -> None:  # type: ignore[no-untyped-def]
    pytest.importorskip("reportlab")
    pytest.importorskip("verovio")
    pypdf = pytest.importorskip("pypdf")
    file = tmp_path / "section.toml"
    file.write_text(SECTION, encoding="utf-8")
    done = run("folders", CHORALE, "--section", file, "-o", tmp_path / "out", "--format", "json")
    assert done.returncode == 0, done.stderr
    (piece,) = json.loads(done.stdout)["pieces"]
    assert len(piece["tuning"]) == WORST
    (page,) = (tmp_path / "out").glob("*Director*.pdf")
    text = " ".join(" ".join(sheet.extract_text() for sheet in pypdf.PdfReader(page).pages).split())
    assert f"Tune first: m. {piece['tuning'][0]['measure']}" in text


def test_the_drone_lies_below_and_each_place_is_pure(tmp_path) -> None:  # type: ignore[no-untyped-def]
    """The sound file holds each player's pure place over the root: frequencies of the data, read by an FFT."""
    np = pytest.importorskip("numpy")
    soundfile = pytest.importorskip("soundfile")
    sound = tmp_path / "chords.wav"
    done = run("tune", "chords", CHORALE, "--most", "1", "--tones", sound, "--format", "json")
    assert done.returncode == 0, done.stderr
    (chord,) = json.loads(done.stdout)["chords"]
    data, rate = soundfile.read(sound)
    first = chord["players"][0]
    tone = data[:3 * rate] * np.hanning(3 * rate)
    strength = np.abs(np.fft.rfft(tone, 16 * len(tone)))
    hz = np.fft.rfftfreq(16 * len(tone), 1 / rate)
    from analyzer.pitch import parse_pitch
    wanted = 440 * 2 ** ((parse_pitch(first["sounding"]).midi - 69 + first["target_cents"] / 100) / 12)
    near = (hz > wanted * 0.99) & (hz < wanted * 1.01)
    found = hz[near][np.argmax(strength[near])]
    assert abs(1200 * np.log2(found / wanted)) < 2
    lowest = hz[np.argmax(strength > strength.max() / 4)]
    pitch_class = round(12 * np.log2(lowest / 440) + 69) % 12
    assert pitch_class == parse_pitch(f"{chord['root']}2").midi % 12
