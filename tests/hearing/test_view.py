"""What the local page is given of a recording."""

from pathlib import Path

import numpy as np
import pytest
import soundfile

from analyzer.analysis import Request, analyse, with_notes
from analyzer.problem import Unreadable
from analyzer.report.listen.view import listen_view
from analyzer.score.document import open_document
from tests.commands.test_map import SAMPLES, run

from .players import Faults, planned, played, recording
from .synth import RATE

ETUDE = SAMPLES / "attachment-etude.musicxml"


def test_the_page_knows_state_place_and_time_of_every_note(tmp_path: Path) -> None:
    rng = np.random.default_rng(21)
    one = planned("tenor-f", 1, 8)
    first, truth = played(one, Faults(), rng), played(one, Faults(slip_mm=30.0, wrong=0.1, missing=0.05), rng)
    later_s = max(tone.start_s + tone.lasts_s for tone in first.tones) + 0.8
    for tone in truth.tones:
        tone.start_s += later_s
    truth.starts_s = {k: start_s + later_s for k, start_s in truth.starts_s.items()}
    truth.tones = [*(tone for k, tone in enumerate(first.tones) if k not in truth.missing), *truth.tones]
    soundfile.write(tmp_path / "upload-1", recording(truth, "clean", rng), RATE, format="WAV")
    analysis = with_notes(analyse(open_document(ETUDE), Request(measures=("1", "8"))))
    shares: list[float] = []
    document = listen_view(analysis, analysis.lines[0], tmp_path / "upload-1", name="my phone.wav",
                           told_share=shares.append)
    page = document["page"]
    assert document["schema"] == "lowbrass.listen/1"
    assert document["recording"] == "my phone.wav"
    notes = analysis.lines[0].plan.notes
    assert [one["ref"] for one in page["notes"]] == [note.note.refs[0] for note in notes]
    states = {one["index"]: one["state"] for one in page["notes"]}
    assert {k for k, state in states.items() if state == "wrong"} == set(truth.wrong)
    assert {k for k, state in states.items() if state == "missed"} == truth.missing
    for one in page["notes"]:
        assert bool(one["short"]) == (one["state"] in ("off", "wrong", "missed")), one
    counting = {one["index"]: one for one in page["stays"] if one["counts"]}
    assert len(page["stays"]) > len(counting), "the notes of the first try are there to be played along, too"
    assert [one["start_s"] for one in page["stays"]] == sorted(one["start_s"] for one in page["stays"])
    for k, start_s in truth.starts_s.items():
        if k not in truth.missing:
            assert counting[k]["start_s"] == pytest.approx(start_s, abs=0.05)
        if k in truth.slide_mm and k not in truth.wrong and k not in truth.missing:
            wanted = max(0.0, notes[k].choice.extension_mm + truth.slide_mm[k])
            assert counting[k]["out_mm"] == pytest.approx(wanted, abs=6)
    assert shares == sorted(shares)
    assert shares[-1] == 1


def test_a_file_that_is_no_sound_is_named_as_the_player_calls_it(tmp_path: Path) -> None:
    (tmp_path / "upload-2").write_bytes(b"PK\x03\x04" + bytes(90))
    analysis = with_notes(analyse(open_document(ETUDE), Request(measures=("1", "8"))))
    with pytest.raises(Unreadable, match=r"my lesson\.wav: this is a zip"):
        listen_view(analysis, analysis.lines[0], tmp_path / "upload-2", name="my lesson.wav")


def test_progress_is_shown_for_a_long_recording(tmp_path: Path) -> None:
    rng = np.random.default_rng(22)
    first = recording(played(planned("tenor-f", 1, 12), Faults(), rng), "clean", rng)
    soundfile.write(tmp_path / "long.wav", np.concatenate([first] * (1 + int(62 * RATE / len(first)))), RATE)
    done = run("listen", ETUDE, tmp_path / "long.wav", "--measures", "1-12")
    assert done.returncode == 0, done.stderr
    assert [line for line in done.stderr.splitlines() if line.startswith("Heard:")] == [
        f"Heard: {share} %" for share in (25, 50, 75, 100)]
