"""Fundamental frequency and level of a sound, frame by frame.

The pitch is YIN's (A. de Cheveigne and H. Kawahara, *YIN, a fundamental frequency estimator for speech and music*,
J. Acoust. Soc. Am. 111, 2002), its difference function computed by Fourier transform, its dip refined at a multiple of
the period, where an error of a fraction of a sample weighs less.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analyzer.hearing.sound import Sound

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

HOP_S = 0.005
LOWEST_HZ, HIGHEST_HZ = 27.0, 1000.0
_DIP = 0.15                            # YIN's absolute threshold
_UNVOICED = 0.35                       # no period where the best dip is above that; judged on tones in noise
_FAIR, _MUCH_DEEPER = 0.06, 0.3        # a dip no deeper than that is asked whether a multiple of it is so much deeper
_SLIPS, _SLIP_WITHIN = 4, 0.6          # overtones 2 to 5; semitones beside them
_DEEPER = 0.6
_AT_ONCE = 512                         # frames; bounds memory
_LEVEL_S = 0.012
_BODY_HZ = 1200.0
_BAND_WINDOW_S, _BAND_RANGE_DB = 0.02, 40.0
QUIET_DB = -90.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """Pitch and level at times `HOP_S` apart.

    `midi` is the pitch on the scale of midi numbers at 440 Hz, with fractions, NaN where no period was heard; `rough`
    how far from periodic (0 to 1); `level_db` the level about the time, 0 is full scale; `growth_db` by how much the
    bands of the sound have grown within 10 ms, on average: where a room holds the level, a new note still shows in it.
    """

    midi: "Floats"
    rough: "Floats"
    level_db: "Floats"
    growth_db: "Floats"

    @property
    def times_s(self) -> "Floats":
        """Times of the frames. [s]"""
        import numpy as np

        times: Floats = np.arange(len(self.midi), dtype=np.float64) * np.float64(HOP_S)
        return times

    def __repr__(self) -> str:
        """Return one short line."""
        return f"Frames({len(self.midi)})"


def frames_of(sound: Sound, *, lowest_hz: float = LOWEST_HZ, highest_hz: float = HIGHEST_HZ,
              told: Callable[[float], None] | None = None) -> Frames:
    """Return pitch and level of a sound.

    Parameters
    ----------
    sound : Sound
        One channel.
    lowest_hz, highest_hz : float
        Bounds of the pitch. A higher lowest pitch makes shorter windows, and so sharper times.
    told : function, optional
        Is called now and then with the share that is done.
    """
    import numpy as np

    low = _below(sound.samples, sound.rate)
    count = max(1, int(sound.seconds / HOP_S))
    centres = np.round(np.arange(count) * HOP_S * sound.rate).astype(int)
    midi, rough, repeats = _pitches(low, sound.rate, centres, max(LOWEST_HZ, lowest_hz), highest_hz, told)
    midi = _folded(midi, repeats)
    around_s = min(0.03, max(_LEVEL_S, 0.75 / max(LOWEST_HZ, lowest_hz)))  # most of a period, else it ripples
    level = levels_db(low, sound.rate, centres, around_s)
    level = level - _clicks_db(level, levels_db(sound.samples - low, sound.rate, centres, around_s))
    return Frames(midi=midi, rough=rough, level_db=level, growth_db=_growth_db(sound.samples, sound.rate, centres))


def _folded(midi: Any, repeats: Any) -> Any:
    """Return the pitches, those that slipped to an octave or twelfth of their neighbours brought back.

    Lone frames always; longer ones above their neighbours where they repeat better after several of their periods
    (`repeats`, as `_pitches` gives it).
    """
    import numpy as np

    steps = 12 * np.log2(np.arange(2, 2 + _SLIPS))
    for near in (5, 20):               # frames on either side
        off = midi - _middles(midi, near)
        above = np.abs(off[:, None] - steps) < _SLIP_WITHIN
        below = np.abs(off[:, None] + steps) < _SLIP_WITHIN
        if near > 5:
            above &= repeats
        midi = midi - (above * steps).sum(axis=1) + (below * steps).sum(axis=1)
    return midi


def _middles(midi: Any, near: int) -> Any:
    """Return the median of each frame's neighbourhood, NaN where most of it has no period."""
    import numpy as np

    padded = np.pad(midi, near, constant_values=np.nan)
    windows = np.sort(np.lib.stride_tricks.sliding_window_view(padded, 2 * near + 1), axis=1)   # without a period: last
    known = np.isfinite(windows).sum(axis=1)
    middle = windows[np.arange(len(midi)), np.maximum(0, (known - 1) // 2)]
    return np.where(known >= near, middle, np.nan)


def _below(samples: Any, rate: float) -> Any:
    """Return the sound below `_BODY_HZ`: enough harmonics of any low brass, and less of clicks, hiss and keys."""
    import numpy as np

    half = int(1.5 * rate / _BODY_HZ)
    x = np.arange(-half, half + 1)
    taps = np.sinc(2 * _BODY_HZ / rate * x) * np.hanning(2 * half + 3)[1:-1]
    taps = (taps / taps.sum()).astype(np.float32)
    size = 1 << 16
    out = np.empty_like(samples)
    padded = np.concatenate((np.zeros(half, np.float32), samples, np.zeros(half, np.float32)))
    for start in range(0, len(samples), size):
        out[start:start + size] = np.convolve(padded[start:start + size + 2 * half], taps, "valid")
    return out


def _clicks_db(level: Any, above: Any) -> Any:
    """Return by how much clicks (a metronome) lift the level: short bursts that stand out above `_BODY_HZ`. [dB]"""
    import numpy as np

    wide, near = 24, 6                 # frames on either side: 120 and 30 ms
    padded = np.pad(above, wide, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, wide - near)
    before, after = np.median(windows[:len(above)], axis=1), np.median(windows[wide + near:][:len(above)], axis=1)
    burst = above > np.maximum(before, after) + 9
    padded = np.pad(level, wide, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, wide - near)
    around = np.maximum(np.median(windows[:len(level)], axis=1), np.median(windows[wide + near:][:len(level)], axis=1))
    return np.where(burst, np.maximum(level - around, 0.0), 0.0)


def levels_db(samples: Any, rate: float, centres: Any, around_s: float = _LEVEL_S) -> "Floats":
    """Return the level around each place of a sound. [dB, 0 is full scale]"""
    import numpy as np

    half = max(2, int(around_s * rate / 2))
    power = np.concatenate(([0.0], np.cumsum(samples.astype(np.float64) ** 2)))
    low, high = np.clip(centres - half, 0, len(samples)), np.clip(centres + half, 0, len(samples))
    mean = (power[high] - power[low]) / np.maximum(high - low, 1)
    level: Floats = 10 * np.log10(np.maximum(mean, 10 ** (QUIET_DB / 10)))
    return level


def _growth_db(samples: Any, rate: float, centres: Any) -> "Floats":
    """Return by how much bands of a sound have grown within two frames, their mean. [dB]

    Spectral flux in bands (J. P. Bello and others, *A tutorial on onset detection in music signals*, IEEE Trans. Speech
    Audio Process. 13, 2005); of the older frames the louder of two.
    """
    import numpy as np

    count = int(_BAND_WINDOW_S * rate)
    size = 1 << (count - 1).bit_length()
    edges = np.concatenate((np.arange(100, 1000, 100), np.geomspace(1000, min(6000, 0.45 * rate), 13)))
    bins = np.unique((edges * size / rate).astype(int))
    window = np.hanning(count).astype(np.float32)
    padded = np.concatenate((np.zeros(count, np.float32), samples, np.zeros(count, np.float32)))
    starts = centres + count - count // 2
    power = np.empty((len(centres), len(bins) - 1))
    for begin in range(0, len(centres), _AT_ONCE):
        block = padded[starts[begin:begin + _AT_ONCE, None] + np.arange(count)] * window
        spectrum = np.abs(np.fft.rfft(block, size)) ** 2
        summed = np.concatenate((np.zeros((len(spectrum), 1)), np.cumsum(spectrum, axis=1)), axis=1)
        power[begin:begin + _AT_ONCE] = (summed[:, bins[1:]] - summed[:, bins[:-1]]) / np.diff(bins)
    loud = np.percentile(power, 95, axis=0)
    heard = loud > max(1e-12, float(loud.max()) * 1e-5)
    if not heard.any():
        return np.zeros(len(centres))
    level = 10 * np.log10(power[:, heard] / loud[heard] + 10 ** (-_BAND_RANGE_DB / 10))
    older = np.maximum(np.roll(level, 2, axis=0), np.roll(level, 3, axis=0))
    growth: Floats = np.maximum(level - older, 0).mean(axis=1)
    growth[:3] = 0
    return growth


def pitch_at(sound: Sound, times_s: Any, *, lowest_hz: float, highest_hz: float) -> "Floats":
    """Return the pitch around some times only (midi scale, NaN without a period)."""
    import numpy as np

    centres = np.round(np.asarray(times_s) * sound.rate).astype(int)
    midi: Floats = _pitches(sound.samples, sound.rate, centres, lowest_hz, highest_hz)[0]
    return midi


def _pitches(samples: Any, rate: float, centres: Any, lowest_hz: float, highest_hz: float,
             told: Callable[[float], None] | None = None) -> tuple[Any, Any, Any]:
    """Return pitch and roughness of each frame, and whether it repeats better after 2, 3, ... of its periods."""
    import numpy as np

    longest = int(rate / lowest_hz) + 3
    shortest = max(2, int(rate / highest_hz))
    window = max(longest, int(0.028 * rate))
    whole = window + longest
    size = 1 << (whole - 1).bit_length()
    padded = np.concatenate((np.zeros(whole, np.float32), samples, np.zeros(2 * whole, np.float32))).astype(np.float32)
    starts = centres + whole - whole // 2
    midi, rough = np.full(len(centres), np.nan), np.ones(len(centres))
    repeats = np.zeros((len(centres), _SLIPS), bool)
    offsets = np.arange(whole)
    for begin in range(0, len(centres), _AT_ONCE):
        chosen = slice(begin, min(begin + _AT_ONCE, len(centres)))
        block = padded[starts[chosen, None] + offsets]
        block -= block.mean(axis=1, keepdims=True)
        spectrum = np.fft.rfft(block, size)
        first = np.fft.rfft(block[:, :window], size)
        together = np.fft.irfft(spectrum * np.conj(first), size)[:, :longest + 1]
        power = np.concatenate((np.zeros((len(block), 1)), np.cumsum(block**2, axis=1, dtype=np.float64)), axis=1)
        lags = np.arange(longest + 1)
        later = power[:, np.minimum(lags + window, whole)] - power[:, lags]
        apart = np.maximum(later[:, :1] + later - 2 * together, 0.0)
        summed = np.cumsum(apart[:, 1:], axis=1)
        norm = np.ones_like(apart)
        norm[:, 1:] = apart[:, 1:] * lags[1:] / np.maximum(summed, 1e-12)
        midi[chosen], rough[chosen], repeats[chosen] = _dips(apart, norm, rate, shortest, longest)
        if told is not None:
            told(chosen.stop / len(centres))
    return midi, rough, repeats


def _dips(apart: Any, norm: Any, rate: float, shortest: int, longest: int) -> tuple[Any, Any, Any]:
    """Return for each frame the pitch of its first deep dip, its depth, and whether multiples of it are deeper."""
    import numpy as np

    inner = norm[:, shortest:longest]
    dip = (inner <= norm[:, shortest - 1:longest - 1]) & (inner < norm[:, shortest + 1:longest + 1])
    deep = dip & (inner < _DIP)
    best = np.where(dip, inner, np.inf).argmin(axis=1)
    lag = np.where(deep.any(axis=1), deep.argmax(axis=1), best) + shortest
    rows = np.arange(len(norm))
    lag = _whole_periods(norm, rows, lag, longest)
    rough = np.minimum(norm[rows, lag], 1.0)
    period = _bottom(apart, rows, lag)
    around = np.round(np.arange(2, 2 + _SLIPS) * period[:, None]).astype(int)
    later = np.where(around < longest, norm[rows[:, None], np.minimum(around, longest)], np.inf)
    repeats = (later < _DEEPER * rough[:, None]) & (rough > 0.01)[:, None]
    for _ in range(2):                 # a dip farther out tells the same period more sharply
        times = np.maximum(1, ((longest - 2) / period).astype(int))
        times = np.minimum(times, 4)
        around = np.round(times * period).astype(int)
        far = _bottom(apart, rows, np.clip(around, 1, longest - 1)) / times
        good = (np.abs(far - period) * times < 1.0) & (norm[rows, np.clip(around, 1, longest - 1)] < 2 * rough + 0.05)
        period = np.where(good, far, period)
    with np.errstate(divide="ignore", invalid="ignore"):
        midi = 69 + 12 * np.log2(rate / period / 440)
    midi[(rough > _UNVOICED) | ~np.isfinite(midi) | (apart[:, 1:].mean(axis=1) < 1e-9)] = np.nan
    return midi, rough, repeats


def _whole_periods(norm: Any, rows: Any, lag: Any, longest: int) -> Any:
    """Return the lags, those of a loud overtone put right: a room may lift one so far that its period seems the tone's.

    Whole periods later a tone repeats as well as after one; a part of a period repeats worse than the whole of it.
    """
    import numpy as np

    here = norm[rows, lag]
    best, lowest = lag.copy(), np.where(here > _FAIR, _MUCH_DEEPER * here, -1.0)
    for number in range(2, 7):
        for beside in range(-(number // 2), number // 2 + 1):
            other = number * lag + beside
            value = np.where(other < longest, norm[rows, np.minimum(other, longest)], np.inf)
            deeper = value < lowest
            best = np.where(deeper, other, best)
            lowest = np.where(deeper, value * _MUCH_DEEPER, lowest)
    return best


def _bottom(apart: Any, rows: Any, lag: Any) -> Any:
    """Return where the parabola through three values of the difference function is least."""
    import numpy as np

    before, here, after = apart[rows, lag - 1], apart[rows, lag], apart[rows, lag + 1]
    bend = before - 2 * here + after
    shift = np.where(bend > 1e-12, 0.5 * (before - after) / np.maximum(bend, 1e-12), 0.0)
    return lag + np.clip(shift, -1.0, 1.0)
