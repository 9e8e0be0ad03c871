"""Sound files of every form, whole, odd and hostile."""

import zipfile
from pathlib import Path

import numpy as np
import pytest
import soundfile

from analyzer.hearing.pitch import frames_of
from analyzer.hearing.sound import read_sound
from analyzer.problem import Unreadable

from .synth import RATE, Tone, sounded


def tone(rate: int, midi: float = 58.0, seconds: float = 1.0) -> np.ndarray:
    return sounded([Tone(midi, 0.1, seconds)], np.random.default_rng(3), rate=rate, tail_s=0.1)


def heard_midi(path: Path) -> float:
    frames = frames_of(read_sound(path))
    return float(np.nanmedian(frames.midi[60:180]))


@pytest.mark.parametrize(("ending", "rate", "channels"), [
    ("wav", 8000, 1), ("wav", 11025, 2), ("wav", 22050, 1), ("wav", 44100, 2), ("wav", 48000, 1), ("wav", 96000, 2),
    ("wav", 192000, 8), ("flac", 44100, 2), ("ogg", 44100, 1), ("mp3", 44100, 2), ("aiff", 32000, 1)])
def test_every_form_rate_and_number_of_channels(tmp_path: Path, ending: str, rate: int, channels: int) -> None:
    sound = tone(rate)
    path = tmp_path / f"tone.{ending}"
    soundfile.write(path, np.repeat(sound[:, None], channels, axis=1), rate)
    assert heard_midi(path) == pytest.approx(58.0, abs=0.02)


def test_channels_that_cancel_are_heard(tmp_path: Path) -> None:
    sound = tone(44100)
    soundfile.write(tmp_path / "a.wav", np.stack([sound, -sound], axis=1), 44100)
    assert heard_midi(tmp_path / "a.wav") == pytest.approx(58.0, abs=0.02)


@pytest.mark.parametrize("ending", ["wav", "flac", "mp3", "ogg"])
def test_a_file_cut_in_the_middle_is_heard(tmp_path: Path, ending: str, capfd: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / f"tone.{ending}"
    soundfile.write(path, tone(44100, seconds=4.0), 44100)
    data = path.read_bytes()
    path.write_bytes(data[:len(data) * 2 // 3])
    assert heard_midi(path) == pytest.approx(58.0, abs=0.02)
    assert capfd.readouterr().err == "", "a decoder's chatter is nobody's business"
    assert read_sound(path).cut or ending == "ogg", "an Ogg file does not say how long it is"
    path.write_bytes(data)
    assert not read_sound(path).cut


def write_zip(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("a.txt", "x" * 100)


HOSTILE = {
    "empty.wav": lambda path: path.write_bytes(b""),
    "text.wav": lambda path: path.write_text("this is no sound at all " * 20),
    "zip.wav": write_zip,
    "video.mp4": lambda path: path.write_bytes(b"\0\0\0\x20ftypisom\0\0\2\0isomiso2avc1mp41" + b"\0" * 200),
    "video.wav": lambda path: path.write_bytes(b"\0\0\0\x20ftypisom\0\0\2\0isomiso2avc1mp41" + b"\0" * 200),
    "phone.webm": lambda path: path.write_bytes(b"\x1aE\xdf\xa3" + b"\0" * 200),
    "nothing.wav": lambda path: soundfile.write(path, np.zeros(0), 44100),
    "short.wav": lambda path: soundfile.write(path, np.zeros(2000), 44100),
    "silent.wav": lambda path: soundfile.write(path, np.zeros(60000), 44100),
    "slow.wav": lambda path: soundfile.write(path, np.ones(60000) * 0.1, 2000),
    "head.wav": lambda path: path.write_bytes(b"RIFF\xff\xff\xff\xffWAVEfmt \x10\0\0\0\1\0\1\0D\xac\0\0\x88X\1\0\2\0"),
    "broken.flac": lambda path: path.write_bytes(b"fLaC" + bytes(range(256)) * 4),
    "broken.mp3": lambda path: path.write_bytes(b"ID3" + bytes(range(256)) * 4),
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_sound_is_one_line(tmp_path: Path, name: str, capfd: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / name
    HOSTILE[name](path)
    with pytest.raises(Unreadable) as found:
        read_sound(path)
    line = str(found.value)
    assert "\n" not in line
    assert found.value.problem.try_
    assert capfd.readouterr().err == ""


def test_no_file_and_too_long(tmp_path: Path) -> None:
    with pytest.raises(Unreadable, match="no-file"):
        read_sound(tmp_path / "none.wav")
    with soundfile.SoundFile(tmp_path / "hour.wav", "w", 8000, 1, subtype="PCM_U8") as file:
        for _ in range(31):
            file.write(np.zeros(8000 * 60))
    with pytest.raises(Unreadable, match="31 minutes"):
        read_sound(tmp_path / "hour.wav")
    assert RATE
