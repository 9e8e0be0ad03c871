"""A sound file as one channel at a rate that suits low brass; nothing of it is kept or sent anywhere.

The rate is the file's own over a whole number, between 11 and 22 kHz: no brass pitch needs more, and a whole number
needs no resampling.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analyzer.problem import Unreadable, unreadable

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Samples = NDArray[np.float32]

ENDINGS = (".wav", ".flac", ".ogg", ".oga", ".opus", ".mp3", ".aif", ".aiff", ".aifc", ".w64", ".caf", ".au")
"""Of sound files that are read; a folder's other files are named and left alone."""
PHONE_ENDINGS = (".m4a", ".mp4", ".aac", ".webm", ".mkv", ".mov", ".3gp", ".amr", ".wma")
LONGEST_S = 1800.0
"""Longer recordings are refused: a lesson, not a passage. Judged."""
SHORTEST_S = 0.3
_LEAST_RATE = 4000
_LOW_RATE = 11000
_BLOCK = 1 << 15                       # values read at a time, over all channels; where a file breaks off, so many go
_EXPORT = ("Export it as WAV, FLAC or MP3: by the phone's share or save menu, any sound editor, or "
           "ffmpeg -i lesson.m4a lesson.flac")
_PLAIN = "Give a recording as WAV, FLAC, Ogg or MP3."


@dataclass(frozen=True, slots=True, kw_only=True)
class Sound:
    """One channel of sound: `samples` between -1 and 1, `rate` [1/s]; `cut` tells that the file broke off."""

    samples: "Samples"
    rate: float
    name: str
    cut: bool = False

    @property
    def seconds(self) -> float:
        """How long it is. [s]"""
        return len(self.samples) / self.rate

    def __repr__(self) -> str:
        """Return one short line."""
        return f"Sound({self.name!r}, {self.seconds:.1f} s)"


def read_sound(path: Path, *, name: str = "") -> Sound:
    """Read a recording.

    `name` is what it is called in messages, where that is not the file's own name. Channels are added; where they
    cancel each other (a cable wired the wrong way), the louder one is taken.

    Raises
    ------
    Unreadable
        If there is no file, no sound in it, its form is not known, or it is longer than `LONGEST_S`.
    ImportError
        If numpy or soundfile (extra ``listen``) is not installed.
    """
    import soundfile

    name = name or path.name.encode("utf-8", "replace").decode()
    if not path.is_file():
        raise unreadable("no-file", where=str(path), what="there is no such file",
                         try_="Check the name and the folder.")
    try:
        with path.open("rb") as opened:
            head = opened.read(64)
    except OSError as error:
        raise unreadable("no-file", where=name, what=f"the file cannot be read ({error.strerror or error})",
                         try_="Check who may read it.") from None
    if not head:
        raise unreadable("empty-sound", where=name, what="the file is empty", try_="Record it again.")
    _refuse_other_forms(head, path, name)
    with _hushed():
        try:
            with soundfile.SoundFile(path) as file:
                sound = _samples(file, name)
            return replace(sound, cut=sound.cut or _lacks_its_end(head, path.stat().st_size))
        except Unreadable:
            raise
        except (soundfile.SoundFileError, RuntimeError, TypeError, ValueError):
            raise unreadable("not-sound", where=name, what="this is not a sound file of a form that is known",
                             try_=_PLAIN) from None


def _lacks_its_end(head: bytes, size_bytes: int) -> bool:
    """Whether a WAV is shorter than it says (0 and all ones say nothing): the decoder takes what is there."""
    told = int.from_bytes(head[4:8], "little")
    return head.startswith(b"RIFF") and 0 < told < (1 << 32) - 1 and size_bytes < told


def _refuse_other_forms(head: bytes, path: Path, name: str) -> None:
    """Name what is surely no sound file that can be read, or a phone's form that wants exporting."""
    if head.startswith(b"PK\x03\x04"):
        raise unreadable("not-sound", where=name, what="this is a zip archive, whatever its name says",
                         try_="Unpack it and give the recording inside.")
    if head[4:8] == b"ftyp" or head.startswith(b"\x1aE\xdf\xa3") or path.suffix.lower() in PHONE_ENDINGS:
        raise unreadable("phone-form", where=name, what="this is a video or a phone's own form of sound, which is not "
                         "read here", try_=_EXPORT)


def _samples(file: Any, name: str) -> Sound:
    import numpy as np

    rate, channels = file.samplerate, file.channels
    if rate < _LEAST_RATE:
        raise unreadable("low-rate", where=name, what=f"the sound has only {rate} values a second",
                         try_=f"Record with at least {2 * _LEAST_RATE}.")
    if 0 < file.frames < 1 << 62 and file.frames / rate > LONGEST_S:
        raise _too_long(name, file.frames / rate)
    divisor = max(1, int(rate // _LOW_RATE))
    thin = _Thinner(divisor, channels)
    most = int(LONGEST_S * rate)
    seen, cut = 0, False
    while True:
        try:
            block = file.read(max(1, _BLOCK // channels), dtype="float32", always_2d=True)
        except RuntimeError:           # the decoder met the place where the file was cut
            cut = True
            break
        if not len(block):
            break
        seen += len(block)
        if seen > most:
            raise _too_long(name, seen / rate)
        thin.take(block)
    samples = thin.done()
    if len(samples) < SHORTEST_S * rate / divisor:
        raise unreadable("empty-sound", where=name, what="there is no sound in it" if not len(samples) else
                         "it is too short to hear a note", try_="Record it again.")
    samples = np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
    if float(np.abs(samples).max()) < 1e-4:
        raise unreadable("silent", where=name, what="the recording is silent", try_="Check the microphone.")
    short = 0 < file.frames < 1 << 62 and seen < file.frames - rate // 10
    return Sound(samples=samples, rate=rate / divisor, name=name, cut=cut or short)


def _too_long(name: str, seconds: float) -> Unreadable:
    return unreadable("long-sound", where=name, what=f"the recording is {seconds / 60:.0f} minutes long; up to "
                      f"{LONGEST_S / 60:.0f} are heard", try_="Cut out the passage.")


class _Thinner:
    """Takes blocks of several channels, filters and thins each by a whole number, and gives one channel."""

    def __init__(self, divisor: int, channels: int) -> None:
        import numpy as np

        self._divisor, self._channels = divisor, channels
        half = 12 * divisor
        x = np.arange(-half, half + 1) / divisor
        self._filter = (np.sinc(0.9 * x) * np.hanning(2 * half + 3)[1:-1]).astype(np.float32)
        self._filter /= self._filter.sum()
        self._rest = np.zeros((half if divisor > 1 else 0, channels), np.float32)
        self._pieces: list[Any] = []

    def take(self, block: Any) -> None:
        import numpy as np

        if self._divisor == 1:
            self._pieces.append(block)
            return
        data = np.concatenate((self._rest, block))
        taps = len(self._filter)
        count = max(0, (len(data) - taps) // self._divisor + 1)
        if count:
            windows = np.lib.stride_tricks.sliding_window_view(data, taps, axis=0)[::self._divisor][:count]
            self._pieces.append(np.einsum("nct,t->nc", windows, self._filter))
        self._rest = data[count * self._divisor:]

    def done(self) -> Any:
        import numpy as np

        if self._divisor > 1:
            self.take(np.zeros((len(self._filter) // 2, self._channels), np.float32))
        if not self._pieces:
            return np.zeros(0, np.float32)
        data = np.concatenate(self._pieces)
        if self._channels == 1:
            return np.ascontiguousarray(data[:, 0], dtype=np.float32)
        mixed = data.mean(axis=1)
        power = (data * data).mean(axis=0)
        loudest = int(power.argmax())
        cancelled = float((mixed * mixed).mean()) * self._channels < 0.25 * float(power[loudest])
        return np.ascontiguousarray(data[:, loudest] if cancelled else mixed, dtype=np.float32)


@contextmanager
def _hushed() -> Iterator[None]:
    """Keep what decoders print off the terminal: they write past Python, to the file behind standard error."""
    sys.stderr.flush()
    try:
        kept = os.dup(2)
    except OSError:
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(kept)
        os.close(nowhere)
