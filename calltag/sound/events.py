"""Events: where in time and frequency a found sound lies, and how far it stands out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.arrays import FloatArray
from calltag.sound.quantiles import quantiles
from calltag.sound.spectrum import BIN_HZ, MEAN_SQUARE, N_BINS

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

DROWNED_SNR_DB = 3.0
"""Where an event stands less than this above its background, its band may be that of a machine that
wavers under it: it is looked for again by how far bins stand out, however little they hold."""

_CLEARER_DB = 6.0  # by which an event stands out in the band found so, for that to be its band

EDGE_DROP_DB = 22.0
"""An edge is where the level has fallen this far below its highest, or to the background."""

OUTWARD_FRAMES = 30
INWARD_FRAMES = 5
"""How far an edge may move: an event begins softly more often than it is found too early."""

NEAR_FRAMES = 10
"""How far outward an edge moves as if the background were steady."""

FAINT_SNR_DB = (12.0, 3.0)
"""Below each of these levels over the background, an event begins a frame before it stands out, and
goes on a frame after: real calls swell and die away."""

_FEWEST_FREE = 20  # frames: fewer say too little of the background
_NEAREST_FREE = 120  # frames: of more, those nearest to the event
_LOWER, _OVER_LOWER = 25, 1.5  # percentile of what is there, and what the background has of that
_FADED = 10 ** (-EDGE_DROP_DB / 10)
_EDGE_FRAMES = 10  # that show what an event is like at its edge
_SPARE = 0.15  # of the band's width, on each side
_DOUBT = 0.25  # a frame's word for the event is worth less by this, times the root of its bins
_UNSTEADY = 0.9  # quantile of what frames say for an event where nothing was found
_TOLD = 0.3  # bins tell an event from its background where it has so much more power


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
    behind : np.ndarray, shape (N_BINS,), float32
        Power of the background.
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
    behind: FloatArray
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
        Mean power; where all around is busy, half as much again as the lower quarter of what is
        there.
    """
    start, stop = max(0, first - AROUND_FRAMES), min(len(power), last + AROUND_FRAMES)
    free = np.flatnonzero(~busy[start:stop]) + start
    if len(free) >= _FEWEST_FREE:
        middle = (first + last) / 2
        # A frame is left out where there are enough that come later and lie no further away.
        further = middle - free[:-_NEAREST_FREE] > free[_NEAREST_FREE:] - middle
        nearest = free[np.count_nonzero(further) :][:_NEAREST_FREE]
        mean: FloatArray = power[nearest].mean(axis=0)
        return mean
    ranked = np.sort(np.ascontiguousarray(power[start:stop:2].T), axis=1)  # three times as fast
    lower: FloatArray = np.percentile(ranked, _LOWER, axis=1).astype(np.float32) * _OVER_LOWER
    return lower


def clearest(power: FloatArray, busy: np.ndarray, region: Region) -> Region:
    """Measure an event in the band in which it stands out, where something louder wavers under it.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    region : Region
        The event, as `measure_region` has it.

    Returns
    -------
    Region
        The same, unless it does not stand out there and does elsewhere.
    """
    if region.snr_db >= DROWNED_SNR_DB:
        return region
    other = measure_region(power, busy, region.first, region.last, by_prominence=True)
    return other if other.snr_db >= region.snr_db + _CLEARER_DB else region


def measure_region(
    power: FloatArray, busy: np.ndarray, first: int, last: int, *, by_prominence: bool = False
) -> Region:
    """Find the band of an event and measure it against its background.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    first, last : int
        Frames of the event.
    by_prominence : bool
        Whether a bin counts for the band by how far it stands out, and not by its power.

    Returns
    -------
    Region
        The event.
    """
    behind = background(power, busy, first, last)
    inside = power[first:last]
    excess = inside - 2.0 * behind
    np.maximum(excess, 0.0, out=excess)
    lowest = int(LOWEST_HZ / BIN_HZ)
    spectrum = excess.mean(axis=0)
    spectrum[:lowest] = 0
    if spectrum.sum() <= 0:
        excess = inside
        spectrum = inside.mean(axis=0) + np.float32(1e-20)  # silence gets the whole band
    prominence = scipy.ndimage.uniform_filter1d(spectrum / np.maximum(behind, 1e-12), 3)
    least, most = STANDS_OUT
    stands_out = prominence > min(max(OF_CLEAREST * prominence.max(), least), most)
    if stands_out.any():
        spectrum = np.where(stands_out, spectrum, 0)
    weight = np.where(spectrum > 0, prominence, 0) if by_prominence else spectrum
    share = np.cumsum(weight) / max(float(weight.sum()), 1e-20)
    low, high = np.searchsorted(share, BAND_SHARE)
    low, high = max(lowest, int(low) - 1), min(N_BINS, int(high) + 2)
    own, other = float(inside[:, low:high].sum()) / len(inside), float(behind[low:high].sum())
    return Region(
        first=first,
        last=last,
        low_hz=low * BIN_HZ,
        high_hz=(high - 1) * BIN_HZ,
        peak_hz=float(weight.argmax() * BIN_HZ),
        snr_db=float(10 * np.log10(max(own - other, 0.01 * other, 1e-12) / max(other, 1e-12))),
        level_dbfs=float(10 * np.log10(own * MEAN_SQUARE + 1e-12)),
        behind=behind,
        excess=excess,
    )


def refine_edges(
    power: FloatArray, busy: np.ndarray, region: Region, *, before: int, after: int
) -> tuple[int, int]:
    """Set an event's edges to the frames where it most likely begins and ends.

    Each frame near an edge speaks for the event or for its background: the likelihood ratio of its
    power, if that is exponentially distributed about the spectrum of the event's first (or last)
    tenth of a second, or about the background's. The edge is where the frames outside it speak for
    the background, and those inside for the event, as much as they can; that is the most likely
    place of a change between the two [1]_. A background that swells speaks for the event, too: so
    an edge moves by more than `NEAR_FRAMES` only over frames that say more for it than most do
    where nothing was found. The figures stand in ``models/RECORD.md``, under edges.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    region : Region
        The event as found.
    before, after : int
        First and last frame that the edges may take (other events lie beyond).

    Returns
    -------
    tuple of int
        First frame, and the frame after the last; each moved by `OUTWARD_FRAMES` outward or
        `INWARD_FRAMES` inward at most. Those of the region where nothing stands out of its
        background.

    References
    ----------
    .. [1] E. S. Page, "A test for a change in a parameter occurring at an unknown point",
       Biometrika 42, 1955, pp. 523-527.
    """
    first, last = region.first, region.last
    low, high = int(region.low_hz / BIN_HZ), int(region.high_hz / BIN_HZ) + 1
    spare = int(_SPARE * (high - low))  # a sweep begins outside the band that holds most of it
    band = slice(max(int(LOWEST_HZ / BIN_HZ), low - spare), high + spare)
    excess = region.excess[:, band]
    loudest = np.argsort(excess.sum(axis=1))[-_EDGE_FRAMES:]
    behind = np.maximum(region.behind[band], _FADED * excess[loudest].mean(axis=0))
    inward = min(INWARD_FRAMES, (last - first) // 3)
    start, stop = max(before, first - OUTWARD_FRAMES), min(after, last + OUTWARD_FRAMES)
    apart = power[_apart(busy, first, last), band]
    begins = _change(
        power[start : first + inward, band],
        power[first : min(last, first + _EDGE_FRAMES), band].mean(axis=0),
        behind,
        apart,
        inward + NEAR_FRAMES,
    )
    ends = _change(
        power[last - inward : stop, band][::-1],
        power[max(first, last - _EDGE_FRAMES) : last, band].mean(axis=0),
        behind,
        apart,
        inward + NEAR_FRAMES,
    )
    return (
        first if begins is None else start + begins,
        last if ends is None else stop - ends,
    )


def under_the_noise(snr_db: float) -> int:
    """Frames by which an event begins before it stands out, and goes on after.

    Parameters
    ----------
    snr_db : float
        Its level over the background, in its own band.

    Returns
    -------
    int
        One or two for a faint event, none for a clear one.
    """
    return sum(snr_db < limit_db for limit_db in FAINT_SNR_DB)


def _apart(busy: np.ndarray, first: int, last: int) -> npt.NDArray[np.intp]:
    """Frames around an event where nothing was found, and that its edges cannot reach."""
    start = max(0, first - AROUND_FRAMES)
    free = np.flatnonzero(~busy[start : last + AROUND_FRAMES]) + start
    return free[(free < first - OUTWARD_FRAMES) | (free >= last + OUTWARD_FRAMES)]


def _change(
    power: FloatArray, event: FloatArray, behind: FloatArray, apart: FloatArray, n_near: int
) -> int | None:
    """How many of the frames most likely come before the event; None if it does not stand out.

    All but the last `n_near` have to say more for the event than most of those `apart` from it.
    """
    behind = np.maximum(np.maximum(behind, _FADED * event), 1e-15)
    over = event / behind - 1
    told = over > _TOLD
    if not told.any():
        return None
    over, behind = over[told], behind[told]
    weights = over / (1 + over) / behind
    doubt = np.log1p(over).sum() + _DOUBT * np.sqrt(len(over))
    speaks = power[:, told] @ weights - doubt
    if len(apart) >= _FEWEST_FREE:
        usual = float(quantiles(apart[:, told] @ weights, _UNSTEADY)[0]) - doubt
        speaks[:-n_near] -= max(0.0, usual)
    sums = np.concatenate([[0.0], np.cumsum(speaks, dtype=np.float64)])
    return int(sums.argmin())
