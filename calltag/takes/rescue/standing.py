"""How far a take's calls stand above everything else that is heard with them.

A call's `snr_db` is measured in its own band, which is what a detector needs. What a listener needs
is the call against all of the sound around it: an engine's rumble an octave or five below drowns a
whistle in the cinema. So here the call, in its own band, is held against the whole background from
3 s before it to 3 s after it, both K-weighted as loudness is (ITU-R BS.1770-4). A filter that takes
the engine and leaves the whistle shows in this figure, and not in the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray
from calltag.sound.loudness.k_weighting import k_weighting, lufs
from calltag.sound.spectrum import BIN_HZ, MEAN_SQUARE, N_BINS
from calltag.takes.rescue.call_spectra import Spectra
from calltag.takes.words import calls_that

STANDS_DB = 6.0
"""A call that stands this far above all else is heard clearly: it has four times the power."""

ENOUGH_DB = 15.0
"""Calls that stand this far above all else need no help: a cut thins all sound."""

KEPT = 0.8
"""Part of its loudness that a treatment must leave of a call, 1 dB less, for it to stand."""

FLOOR = 1e-12
"""Power that is added where a level is taken of what may be silent: 120 dB below full scale."""


@dataclass(frozen=True, slots=True)
class Figures:
    """How calls stand above the rest of the sound, and how loud that is.

    Attributes
    ----------
    standing : int
        Calls that stand `STANDS_DB` or more above all else; after a treatment, those that it keeps.
    calls : int
        All calls.
    median_db : float
        How far the middle call stands above all else; ``nan`` without calls.
    rest_lufs : float
        Loudness of the sound between the calls, in this channel.
    """

    standing: int
    calls: int
    median_db: float
    rest_lufs: float

    def __str__(self) -> str:
        rest = f"the rest of the sound at {self.rest_lufs:.0f} LUFS"
        if not self.calls:
            return rest
        middle_db, several = round(self.median_db), self.calls > 1
        far = f"{abs(middle_db)} dB{' or more' * several}"
        if middle_db < 0:
            how = (
                f"{'half of all calls lie' if several else 'it lies'} {far} below it, hard to hear"
            )
        else:
            how = f"{'half of all calls by ' * several}{far}"
        return (
            f"{calls_that(self.standing, self.calls, 'stand')} {STANDS_DB:.0f} dB or more above "
            f"all else ({how}); {rest}"
        )


def weights() -> DoubleArray:
    """K-weighting of the shared spectrum's bins.

    Returns
    -------
    np.ndarray, shape (N_BINS,)
        Power gains.
    """
    return k_weighting(np.arange(N_BINS) * BIN_HZ)


@dataclass(frozen=True, slots=True)
class Gains:
    """What a treatment does to power, at the bins of the shared spectrum.

    Attributes
    ----------
    calls : np.ndarray, shape (N_BINS,) or (n_calls, N_BINS)
        Around each call.
    rest : np.ndarray, shape (N_BINS,) or (1 + n_regions, N_BINS)
        Outside of all regions, and in each.
    """

    calls: DoubleArray
    rest: DoubleArray


def figures(heard: Spectra, gains: Gains | None = None, was: DoubleArray | None = None) -> Figures:
    """Tell how calls stand above the rest of the sound.

    Parameters
    ----------
    heard : Spectra
        Their spectra.
    gains : Gains or None
        What everything goes through; None for nothing.
    was : np.ndarray, shape (n_calls,), or None
        The calls' `loudness` before what was heard was treated; None where it was not.

    Returns
    -------
    Figures
        After that.
    """
    gains = gains or Gains(np.ones(N_BINS), np.ones(N_BINS))
    loud = (heard.rest * (weights() * gains.rest)).sum(axis=1)
    shares = heard.rest_s if heard.rest_s.any() else np.ones(len(loud))
    rest = float(np.average(loud, weights=shares)) * MEAN_SQUARE
    above = stand_db(heard, gains.calls)
    return Figures(
        standing=int(((above >= STANDS_DB) & kept(heard, gains.calls, was)).sum()),
        calls=len(above),
        median_db=float(np.median(above)) if len(above) else float("nan"),
        rest_lufs=lufs(rest + FLOOR),
    )


def loudness(heard: Spectra, gain: DoubleArray | float = 1.0) -> DoubleArray:
    """How loud each call is by itself.

    Parameters
    ----------
    heard : Spectra
        Spectra of the calls.
    gain : np.ndarray, shape (N_BINS,) or (n_calls, N_BINS), or float
        Power gain of a filter that they go through.

    Returns
    -------
    np.ndarray, shape (n_calls,)
        Power, K-weighted.
    """
    loud: DoubleArray = (heard.calls * (weights() * gain)).sum(axis=1)
    return loud


def kept(
    heard: Spectra,
    gain: DoubleArray | float = 1.0,
    was: DoubleArray | None = None,
) -> npt.NDArray[np.bool_]:
    """Tell which calls a treatment leaves whole: `KEPT` of their loudness, or more.

    Parameters
    ----------
    heard : Spectra
        Spectra of the calls.
    gain : np.ndarray, shape (N_BINS,) or (n_calls, N_BINS), or float
        Power gain of a filter that they go through.
    was : np.ndarray, shape (n_calls,), or None
        Their `loudness` before what was heard was treated; None where it was not.

    Returns
    -------
    np.ndarray, shape (n_calls,)
        Whether each is left whole.
    """
    whole: npt.NDArray[np.bool_] = loudness(heard, gain) >= KEPT * (
        loudness(heard) if was is None else was
    )
    return whole


def stand_db(heard: Spectra, gain: DoubleArray | float = 1.0) -> DoubleArray:
    """How far each call stands above all else.

    Parameters
    ----------
    heard : Spectra
        Spectra of the calls.
    gain : np.ndarray, shape (N_BINS,) or (n_calls, N_BINS), or float
        Power gain of a filter that everything goes through.

    Returns
    -------
    np.ndarray, shape (n_calls,)
        Levels in dB, K-weighted.
    """
    rest = (heard.backgrounds * (weights() * gain)).sum(axis=1)
    return 10 * np.log10((loudness(heard, gain) + FLOOR) / (rest + FLOOR))
