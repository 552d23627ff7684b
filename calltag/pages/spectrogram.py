"""Pictures of sound: a spectrogram as a PNG, and where its axes' ticks lie.

Time runs evenly. Frequency runs on the mel scale (`calltag.sound.spectrum.hz_to_mel`): even below
1 kHz and by the octave above it, so that a hoot at 200 Hz and a trill at 6 kHz both have room.
Quiet is paper, loud is ink. Levels are raised by 3 dB an octave, since what is in the open air
falls about as fast, and the paper is set to the picture's own background. Of a boom, only what is
low is shown (`shown_up_to_hz`).
"""

from __future__ import annotations

import io
import itertools
import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.errors import InputError
from calltag.pages.ink import ink_palette
from calltag.sound import spectrum

LOW_HZ = spectrum.MEL_LOW_HZ
HIGH_HZ = spectrum.MEL_HIGH_HZ

LOW_CALL_HZ = 300.0
"""A call below this is shown up to `LOW_PICTURE_HZ`: in a picture up to 16 kHz it is a line."""

LOW_PICTURE_HZ = 1000.0

_TILT_DB_PER_OCTAVE = 3.0
_LEAST_RANGE_DB = 36.0
_MOST_RANGE_DB = 60.0
_OVER_BACKGROUND_DB = 2.0
_KHZ_TICKS = (0.1, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0)
_TICK_STEPS_S = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0)


class Tick(NamedTuple):
    """A mark on an axis.

    Attributes
    ----------
    at : float
        Where, as a share of the axis: 0 is left or bottom, 1 is right or top.
    text : str
        What stands there.
    """

    at: float
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrogram:
    """A picture of a stretch of sound, and its axes.

    Attributes
    ----------
    png : bytes
        The picture.
    width, height : int
        Its size in pixels.
    start_s, end_s : float
        The stretch, in seconds of the take: the picture's left and right edge.
    low_hz, high_hz : float
        Frequencies of its lower and upper edge.
    """

    png: bytes
    width: int
    height: int
    start_s: float
    end_s: float
    low_hz: float
    high_hz: float

    def time_at(self, at_s: float) -> float:
        """Tell where a time lies.

        Parameters
        ----------
        at_s : float
            Seconds of the take.

        Returns
        -------
        float
            Share of the width, from the left, held to 0 to 1.
        """
        return _held((at_s - self.start_s) / (self.end_s - self.start_s))

    def frequency_at(self, frequency_hz: float) -> float:
        """Tell where a frequency lies.

        Parameters
        ----------
        frequency_hz : float
            Hertz.

        Returns
        -------
        float
            Share of the height, from below, held to 0 to 1.
        """
        low, high, wanted = spectrum.hz_to_mel([self.low_hz, self.high_hz, frequency_hz])
        return _held(float((wanted - low) / (high - low)))

    def time_ticks(self, most: int = 8) -> tuple[Tick, ...]:
        """Choose marks for the axis of time.

        Parameters
        ----------
        most : int
            How many at most.

        Returns
        -------
        tuple of Tick
            Round seconds of the take, from left to right, each with its unit.

        Examples
        --------
        >>> picture = draw(np.zeros(2 * spectrum.RATE_HZ, np.float32), start_s=61.3)
        >>> [tick.text for tick in picture.time_ticks(4)]
        ['61.5 s', '62.0 s', '62.5 s', '63.0 s']
        """
        length_s = self.end_s - self.start_s
        step_s = next((s for s in _TICK_STEPS_S if length_s / s <= most), length_s)
        places = max(0, -math.floor(math.log10(step_s) + 1e-9))
        first, last = math.ceil(self.start_s / step_s - 1e-6), self.end_s / step_s + 1e-6
        return tuple(
            Tick(self.time_at(n * step_s), f"{n * step_s:.{places}f} s")
            for n in range(first, math.floor(last) + 1)
        )

    def frequency_ticks(self, gap: float = 0.06) -> tuple[Tick, ...]:
        """Choose marks for the axis of frequency.

        Parameters
        ----------
        gap : float
            How far they lie apart at least, as a share of the height.

        Returns
        -------
        tuple of Tick
            Round kilohertz, from below, each with its unit.

        Examples
        --------
        >>> picture = draw(np.zeros(spectrum.RATE_HZ, np.float32))
        >>> [tick.text for tick in picture.frequency_ticks()][:4]
        ['0.1 kHz', '0.5 kHz', '1 kHz', '2 kHz']
        """
        ticks: list[Tick] = []
        for khz in _KHZ_TICKS:
            tick = Tick(self.frequency_at(khz * 1000), f"{khz:g} kHz")
            inside = self.low_hz <= khz * 1000 <= self.high_hz
            if inside and (not ticks or tick.at - ticks[-1].at >= gap):
                ticks.append(tick)
        return tuple(ticks)


def shown_up_to_hz(high_hz: float | None) -> float:
    """Choose the upper edge of a call's picture.

    Parameters
    ----------
    high_hz : float or None
        Upper edge of the call's band; None where it is not known.

    Returns
    -------
    float
        Hertz.

    Examples
    --------
    >>> shown_up_to_hz(6500.0), shown_up_to_hz(190.0)
    (16000.0, 1000.0)
    """
    return HIGH_HZ if high_hz is None or high_hz > LOW_CALL_HZ else LOW_PICTURE_HZ


def draw(
    samples: FloatArray,
    *,
    start_s: float = 0.0,
    width: int = 640,
    height: int = 192,
    low_hz: float = LOW_HZ,
    high_hz: float = HIGH_HZ,
    shades: int = 64,
) -> Spectrogram:
    """Draw a spectrogram.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float32
        One channel at `calltag.sound.spectrum.RATE_HZ`.
    start_s : float
        When the stretch begins, in seconds of the take.
    width, height : int
        Size in pixels.
    low_hz, high_hz : float
        Frequencies of the lower and upper edge.
    shades : int
        Colours, 2 to 256; fewer make a smaller file.

    Returns
    -------
    Spectrogram
        The picture and its axes.

    Raises
    ------
    InputError
        If there is no sound, or the size or the band has none.
    """
    if not len(samples):
        raise InputError("no sound to draw")
    if width < 1 or height < 1 or not 2 <= shades <= 256:
        raise InputError(f"no picture has {width} by {height} pixels in {shades} colours")
    if not 0 <= low_hz < high_hz <= spectrum.RATE_HZ / 2:
        raise InputError(f"no picture shows {low_hz:g} to {high_hz:g} Hz")
    from PIL import Image

    levels = _rows(spectrum.power_spectrum(samples), height, low_hz, high_hz)
    grey = Image.fromarray(_blackened(levels)).resize((width, height), Image.Resampling.BICUBIC)
    index = np.asarray(grey, np.uint16) * (shades - 1) // 255
    picture = Image.fromarray(index.astype(np.uint8))
    picture.putpalette(ink_palette(shades).tobytes())
    file = io.BytesIO()
    picture.save(file, "PNG", optimize=True, bits=math.ceil(math.log2(shades)))
    return Spectrogram(
        png=file.getvalue(),
        width=width,
        height=height,
        start_s=start_s,
        end_s=start_s + len(samples) / spectrum.RATE_HZ,
        low_hz=low_hz,
        high_hz=high_hz,
    )


def _rows(power: FloatArray, height: int, low_hz: float, high_hz: float) -> FloatArray:
    """Levels in dB, shape (height, n_frames), the highest frequency first.

    A row shows the strongest of its bins, and what lies between bins where it is narrower than one.
    """
    low, high = spectrum.hz_to_mel([low_hz, high_hz])
    edges_hz = spectrum.mel_to_hz(np.linspace(high, low, height + 1))
    centres = spectrum.mel_to_hz(np.linspace(high, low, 2 * height + 1)[1::2]) / spectrum.BIN_HZ
    levels = spectrum.to_db(power)
    tilt = np.log2(np.maximum(np.arange(spectrum.N_BINS) * spectrum.BIN_HZ, low_hz or 1.0) / 1000)
    levels += (_TILT_DB_PER_OCTAVE * tilt).astype(np.float32)
    below = np.floor(centres).astype(int)
    above = np.minimum(below + 1, spectrum.N_BINS - 1)
    part = (centres - below).astype(np.float32)
    rows = (levels[:, below] * (1 - part) + levels[:, above] * part).T
    for row, (top, bottom) in enumerate(itertools.pairwise(edges_hz)):
        first, last = math.ceil(bottom / spectrum.BIN_HZ), math.floor(top / spectrum.BIN_HZ)
        if last > first:
            rows[row] = levels[:, first : last + 1].max(axis=1)
    return np.ascontiguousarray(rows)


def _blackened(levels: FloatArray) -> npt.NDArray[np.uint8]:
    """Levels as 0 (paper) to 255 (ink)."""
    loudest = float(np.percentile(levels, 99.8))
    background = float(np.median(levels)) + _OVER_BACKGROUND_DB
    paper = max(background, loudest - _MOST_RANGE_DB)
    range_db = max(loudest - paper, _LEAST_RANGE_DB)
    if loudest <= 10 * math.log10(spectrum.POWER_FLOOR) + _LEAST_RANGE_DB / 2:
        return np.zeros(levels.shape, np.uint8)  # digital silence, or nearly
    share = (levels - paper) / range_db
    return np.round(255 * np.clip(share, 0, 1)).astype(np.uint8)


def _held(share: float) -> float:
    return min(max(share, 0.0), 1.0)
