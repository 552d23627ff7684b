"""The cut of a whole take that makes its calls stand clearer, where no noise names one."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from calltag.records.found import Call
from calltag.takes.filter_cuts import UNCUT, Band
from calltag.takes.masking import Effect
from calltag.takes.rescue.call_spectra import Spectra
from calltag.takes.rescue.standing import ENOUGH_DB, STANDS_DB, kept, stand_db
from calltag.takes.thresholds import Thresholds

_CUTS_HZ: list[float] = np.geomspace(50.0, 8000.0, 89).tolist()  # twelve to the octave
_CALLS_KEPT = 0.95  # part of the clear calls that a cut must keep: some finds are no calls
_WORTH_DB = 1.5  # a treatment that gains less is not worth a new file
_NEAR_BEST_DB = 1.0  # of cuts that gain nearly as much, the lowest is taken


def cut_of_whole(
    heard: Spectra, calls: Sequence[Call], noises: Sequence[Effect], thresholds: Thresholds
) -> Band:
    """Find the cuts of a whole take that gain most without taking a clear call.

    A high cut dulls all that is heard with the calls, so that it is made only where more of them
    stand clear by it.

    Parameters
    ----------
    heard : Spectra
        Spectra of the calls and of what is around them.
    calls : sequence of Call
        The same calls.
    noises : sequence of Effect
        The take's noises, and what each does to the calls.
    thresholds : Thresholds
        Where the lines are drawn.

    Returns
    -------
    Band
        What the cuts leave; `UNCUT` where none is worth it.
    """
    if not calls:
        return UNCUT
    clear = np.array([call.snr_db >= thresholds.clear_snr_db for call in calls])
    # a call that the verdict counts as lost in a noise is not rescued by a cut
    open_ = np.array([not any(c in e.calls and c not in e.standing for e in noises) for c in calls])
    low = _mildest_best(heard, clear, open_, [UNCUT, *map(Band, _CUTS_HZ)], worth_db=_WORTH_DB)
    high = [low, *(low & Band(high_hz=cut_hz) for cut_hz in _CUTS_HZ[::-1] if cut_hz > low.low_hz)]
    return _mildest_best(heard, clear, open_, high, worth_db=float("inf"))


def _mildest_best(
    heard: Spectra,
    clear: npt.NDArray[np.bool_],
    open_: npt.NDArray[np.bool_],
    bands: Sequence[Band],
    worth_db: float,
) -> Band:
    """Of cuts, mildest first, the first that gains nearly most; `bands[0]` if none is worth it.

    Worth it is what makes more calls stand, or the middle one stand `worth_db` clearer.
    """
    tried: list[tuple[Band, int, float]] = []
    for band in bands:
        gain = band.gain()
        whole = kept(heard, gain)
        if tried and clear.any() and whole[clear].mean() < _CALLS_KEPT:
            break  # sharper cuts take more
        above = stand_db(heard, gain)
        standing = int(((above >= STANDS_DB) & whole & open_).sum())
        middle_db = float(np.median(np.minimum(above[open_], ENOUGH_DB))) if open_.any() else 0.0
        tried.append((band, standing, middle_db))
    most = max(standing for _, standing, _ in tried)
    best_db = max(middle_db for _, standing, middle_db in tried if standing == most)
    _, standing_now, now_db = tried[0]
    if most == standing_now and best_db < now_db + worth_db:
        return bands[0]
    return next(
        band
        for band, standing, middle_db in tried
        if standing == most and middle_db >= best_db - _NEAR_BEST_DB
    )
