"""Events: where in time and frequency a found sound lies, and how far it stands out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.ndimage

from calltag.records import FloatArray
from calltag.sound.spectrum import BIN_HZ, N_BINS

AROUND_FRAMES = 150
"""The background of an event is taken from this many frames (1.5 s) on each side."""

BAND_SHARE = (0.05, 0.95)
"""An event's band holds the energy between these shares."""

STANDS_OUT = (0.8, 2.0)
"""A bin counts for an event's band where its excess is at least so many times the background.

Even steady noise of the background's own level has an excess of 0.14: summed over all bins it would
outweigh a faint call. An engine far louder than a whistle, and far below it, may waver by more than
the lower of the two; the higher one holds where the event stands out by far.
"""

OF_CLEAREST = 0.01
"""Between the two: so large a share of what the clearest bin has."""

LOWEST_HZ = 60.0

EDGE_DROP_DB = 25.0
"""An edge is where the level has fallen this far below its highest, or to the background."""


@dataclass(frozen=True, slots=True)
class Region:
    """A time-frequency region that stands out.

    Attributes
    ----------
    first, last : int
        Frames it covers; `last` is not part of it.
    low_hz, high_hz, peak_hz : float
        Its band, and its strongest frequency.
    snr_db : float
        Its level over the background, in its own band.
    level_dbfs : float
        Its RMS level in its own band.
    excess : np.ndarray, shape (last - first, N_BINS), float32
        Its power over the background, never negative.
    """

    first: int
    last: int
    low_hz: float
    high_hz: float
    peak_hz: float
    snr_db: float
    level_dbfs: float
    excess: FloatArray


def background(power: FloatArray, busy: np.ndarray, first: int, last: int) -> FloatArray:
    """Mean spectrum around an event, where nothing else was found.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    first, last : int
        Frames of the event.

    Returns
    -------
    np.ndarray, shape (N_BINS,), float32
        Mean power; where all around is busy, the lower quarter of what is there.
    """
    start, stop = max(0, first - AROUND_FRAMES), min(len(power), last + AROUND_FRAMES)
    free = np.flatnonzero(~busy[start:stop]) + start
    if len(free) >= 20:
        free = free[np.argsort(np.abs(free - (first + last) / 2), kind="stable")[:120]]
        mean: FloatArray = power[np.sort(free)].mean(axis=0)
        return mean
    lower: FloatArray = np.percentile(power[start:stop:2], 25, axis=0).astype(np.float32) * 1.5
    return lower


def measure_region(power: FloatArray, busy: np.ndarray, first: int, last: int) -> Region:
    """Find the band of an event and measure it against its background.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    first, last : int
        Frames of the event.

    Returns
    -------
    Region
        The event.
    """
    behind = background(power, busy, first, last)
    inside = power[first:last]
    excess = np.maximum(inside - 2.0 * behind, 0.0)
    lowest = int(LOWEST_HZ / BIN_HZ)
    spectrum = excess.mean(axis=0)
    spectrum[:lowest] = 0
    if spectrum.sum() <= 0:
        excess = inside
        spectrum = inside.mean(axis=0) + np.float32(1e-20)  # silence gets the whole band
    prominence = scipy.ndimage.uniform_filter1d(spectrum / np.maximum(behind, 1e-12), 3)
    enough = np.clip(OF_CLEAREST * prominence.max(), *STANDS_OUT)
    if (prominence > enough).any():
        spectrum = np.where(prominence > enough, spectrum, 0)
    share = np.cumsum(spectrum) / max(float(spectrum.sum()), 1e-20)
    low, high = np.searchsorted(share, BAND_SHARE)
    low, high = max(lowest, int(low) - 1), min(N_BINS, int(high) + 2)
    own, other = float(inside[:, low:high].sum(axis=1).mean()), float(behind[low:high].sum())
    # A Hann window of a sine spreads 1.5 bins' worth of power: the sum over bins is that much high.
    return Region(
        first=first,
        last=last,
        low_hz=low * BIN_HZ,
        high_hz=(high - 1) * BIN_HZ,
        peak_hz=float(spectrum.argmax() * BIN_HZ),
        snr_db=float(10 * np.log10(max(own - other, 0.01 * other, 1e-12) / max(other, 1e-12))),
        level_dbfs=float(10 * np.log10(own / 1.5 / 2 + 1e-12)),
        excess=excess,
    )


def refine_edges(
    power: FloatArray, region: Region, *, reach: int, before: int, after: int
) -> tuple[int, int]:
    """Set an event's edges to the frames where its own band rises and falls.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    region : Region
        The event as found.
    reach : int
        How many frames an edge may move.
    before, after : int
        First and last frame that the edges may take (other events lie beyond).

    Returns
    -------
    tuple of int
        First frame, and the frame after the last. Those of the region where the sound stands out
        too little for its level to say.
    """
    first, last = region.first, region.last
    if region.snr_db < 6.0:
        return first, last
    low, high = int(region.low_hz / BIN_HZ), int(region.high_hz / BIN_HZ) + 1
    spare = int(0.15 * (high - low))  # a sweep begins outside the band that holds most of it
    low, high = max(int(LOWEST_HZ / BIN_HZ), low - spare), high + spare
    start, stop = max(before, first - reach), min(after, last + reach)
    level = 10 * np.log10(power[start:stop, low:high].sum(axis=1) + 1e-12)
    top = float(level.max())
    mean_db = region.level_dbfs + 10 * np.log10(3.0)
    over_noise_db = 4.0 + 6.0 / np.sqrt(high - low)  # noise in few bins fluctuates more
    threshold = max(top - EDGE_DROP_DB, mean_db - region.snr_db + over_noise_db)
    loud = np.flatnonzero(level >= threshold) + start
    near_first = loud[np.abs(loud - first) <= reach]
    near_last = loud[np.abs(loud + 1 - last) <= reach]
    if not len(near_first) or not len(near_last) or near_last[-1] + 1 - near_first[0] < 2:
        return first, last
    return int(near_first[0]), int(near_last[-1]) + 1
