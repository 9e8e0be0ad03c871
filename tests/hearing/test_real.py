"""Real players' low brass from the registries' packages, where their folder is told (real.py names the packages)."""

import os
import struct
from pathlib import Path

import numpy as np
import pytest

from analyzer.analysis import Request, analyse
from analyzer.score.document import read_document

from .real import CALL, CALL_STARTS_S, bundled, call_score, heard_call, measured, real_notes, single

FOLDER = os.environ.get("LOWBRASS_REAL_SOUND", "")
told = pytest.mark.skipif(not FOLDER, reason="LOWBRASS_REAL_SOUND does not name a folder with real players' notes")


@told
@pytest.mark.whole
def test_single_notes_of_real_players_sound_what_their_names_say() -> None:
    """A name is right to some cents (their makers tuned some); what the spectrum shows is right to a cent or two."""
    notes = real_notes(Path(FOLDER))
    assert notes, f"no recorded notes under {FOLDER}"
    found = {note.name: (note.midi, *single(note)) for note in notes}
    for name, (midi, ours, _, _) in found.items():
        assert abs(ours - midi) < 0.15, name
    steady = [abs(100 * (ours - seen)) for _, ours, seen, moves in found.values() if moves < 5]
    assert len(steady) >= 12
    assert np.median(steady) < 1
    assert max(steady) < 3


@told
def test_a_bugle_call_by_a_live_player_is_followed() -> None:
    bundles = list(Path(FOLDER).rglob("instruments.rcc"))
    if not bundles:
        pytest.skip(f"no instruments.rcc under {FOLDER}")
    heard = heard_call(bundles[0])
    assert [note.cause.heard for note in heard.notes] == [True] * len(CALL)
    off = [abs(note.sound.start_s - start_s) for note, start_s in zip(heard.notes, CALL_STARTS_S, strict=True)]
    assert np.median(off) < 0.02
    assert max(off) < 0.05


@told
@pytest.mark.whole
def test_lines_played_with_recorded_notes() -> None:
    total = measured(Path(FOLDER), ("perfect", "slips"), ("clean",))
    text = total.text() + "\n" + "\n".join(total.notes)
    print(text)
    assert total.matched >= 0.97 * total.played, text
    assert np.median(total.off) <= 2, text
    assert total.wrong_false <= 0.03 * total.right, text


def test_the_bugle_call_is_written_as_it_is_said() -> None:
    [line] = analyse(read_document(call_score(), "call.musicxml"), Request(horns=("tenor",))).lines
    assert [note.note.sounding.name for note in line.plan.notes] == [word.split()[0] for word in CALL]
    # Played a little slower than dotted quarter = 75, and in time: within a tenth of a beat of an even one.
    written = np.array([note.time.start_s for note in line.plan.notes])
    slower, first_s = np.polyfit(written, CALL_STARTS_S, 1)
    assert 1 < slower < 1.1
    assert np.abs(first_s + slower * written - CALL_STARTS_S).max() < 0.08


def test_a_file_of_a_bundle_is_found_by_its_name() -> None:
    """A bundle of one folder with one file, by the layout that `bundled` reads."""
    names = b"".join(struct.pack(">HI", len(name), 0) + name.encode("utf-16-be") for name in ("a", "b.ogg"))
    root = struct.pack(">IHII", 0, 2, 1, 1)
    folder = struct.pack(">IHII", 0, 2, 1, 2)
    file = struct.pack(">IHHHI", 8, 0, 0, 0, 0)
    body = struct.pack(">I", 4) + b"OggS"
    head = b"qres" + struct.pack(">IIII", 1, 20, 20 + 42, 20 + 42 + len(body))
    assert bundled(head + root + folder + file + body + names, "b.ogg") == b"OggS"
    with pytest.raises(KeyError):
        bundled(head + root + folder + file + body + names, "c.ogg")
