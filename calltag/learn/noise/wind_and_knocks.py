"""Wind and knocks: what the model hears of them, and what the lowest bands show.

The starter model learnt both from synthetic noise alone, and is deaf to much of what is low. But it
doubts less where they are: of wind that it takes for air its odds are better than those of a voice.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.records.label import NOISE_KINDS
from calltag.sound.spectrum import FRAMES_PER_S, TENTHS_PER_S
from calltag.sound.wind_and_knocks import Rumble, find_knocks, gustiness, rumble, tenth_levels_db

_FRAMES = FRAMES_PER_S // TENTHS_PER_S
_MACHINE, _WIND, _WATER, _VOICE = map(NOISE_KINDS.index, ("machine", "wind", "water", "voice"))

# Evidence in log-odds. Measured on invented wind and knocks, and against real rain, surf, engines,
# speech, dogs and fires, which rumble and knock as well.
_HEARD = (-10.0, 6.0)  # the model is never surer than this
_WIND_ODDS = -6.3
_WIND_HEARD = np.array([0.7, -0.6, -0.15])  # wind where wind is heard, and voice and water less
_PER_CHANGE_DB, _PER_HIGH_CHANGE_DB = 0.5, -0.2  # what is low leaps about, what is high does not
_PER_OVER_NEXT_DB, _PER_OVER_HIGH_DB = 0.04, 0.12  # it is low, and falls
_OVER_NEXT, _OVER_HIGH = (-5.0, 30.0), (-10.0, 36.0)  # no more counts: a still evening falls, too
_GUST_ODDS = 4.0
_GUST_LEAST = -5.0  # a model that is surer than this of no wind is not believed more than so
# odds from which on other kinds speak against wind
_OWN_MACHINE, _OWN_VOICE, _OWN_WATER = -3.5, -3.0, 0.0

_KNOCK_MACHINE, _KNOCK_VOICE = -5.5, -3.7
_KNOCK_MOST = 3.0
_KNOCK_ODDS = 0.8
_KNOCK_PEAK, _KNOCK_BESIDE, _KNOCK_REACH = 3, 4, 5  # tenths, from the knock's own on
_USUAL_KNOCK_DB = 18.0  # a leap that falls by more, or stands more above 1 to 5 kHz, is surer:
_PER_FALL_DB, _PER_HIGH_DB = 0.15, 0.1  # by so much of its odds a decibel
_OVER_NEXT_DB = -2.0  # a knock is strongest in the lowest bands


def wind_odds(low_db: npt.NDArray[np.floating], heard: FloatArray) -> DoubleArray:
    """Odds of wind by the model and the lowest bands together: as a rumble, or as a gust.

    Parameters
    ----------
    low_db : np.ndarray, shape (n_frames, N_GROUPS)
        Levels by `calltag.sound.wind_and_knocks.group_levels_db`.
    heard : np.ndarray, shape (n_tenths, len(NOISE_KINDS))
        Log-odds of each noise kind, evened out over a second.

    Returns
    -------
    np.ndarray, shape (n_tenths,)
        Log-odds; -inf where there are no levels.
    """
    tenths_db = tenth_levels_db(low_db)
    rumbles, gusts = rumble(tenths_db), gustiness(tenths_db)
    n = min(len(heard), len(gusts))
    odds = np.full(len(heard), -np.inf)
    odds[:n] = np.maximum(
        _rumble_odds(Rumble(*(part[:n] for part in rumbles)), heard[:n]),
        _gust_odds(gusts[:n], heard[:n]),
    )
    return odds


def _rumble_odds(told: Rumble, heard: FloatArray) -> DoubleArray:
    """Wind that goes on: low, falling, and never steady."""
    ear = np.clip(heard, *_HEARD)
    odds: DoubleArray = (
        _WIND_ODDS
        + ear[:, [_WIND, _VOICE, _WATER]] @ _WIND_HEARD
        + _PER_CHANGE_DB * told.change_db
        + _PER_HIGH_CHANGE_DB * told.high_change_db
        + _PER_OVER_NEXT_DB * np.clip(told.over_next_db, *_OVER_NEXT)
        + _PER_OVER_HIGH_DB * np.clip(told.over_high_db, *_OVER_HIGH)
        - np.maximum(0, ear[:, _MACHINE] - _OWN_MACHINE)
        - np.maximum(0, ear[:, _WATER] - _OWN_WATER)
    )
    return odds


def _gust_odds(gust: DoubleArray, heard: FloatArray) -> DoubleArray:
    """A gust out of calm; -inf without one."""
    odds = np.maximum(heard[:, _WIND], _GUST_LEAST) + _GUST_ODDS * gust
    for kind, own in ((_MACHINE, _OWN_MACHINE), (_VOICE, _OWN_VOICE), (_WATER, _OWN_WATER)):
        odds -= np.maximum(0, heard[:, kind] - own)
    return np.where(gust > 0, odds, -np.inf)


def knock_odds(
    low_db: npt.NDArray[np.floating], heard: FloatArray, peaks: DoubleArray
) -> DoubleArray:
    """Odds of handling around each knock.

    Parameters
    ----------
    low_db : np.ndarray, shape (n_frames, N_GROUPS)
        Levels by `calltag.sound.wind_and_knocks.group_levels_db`.
    heard : np.ndarray, shape (n_tenths, len(NOISE_KINDS))
        Log-odds of each noise kind.
    peaks : np.ndarray, shape (n_tenths,)
        The highest of handling in each tenth of a second.

    Returns
    -------
    np.ndarray, shape (n_tenths,)
        Log-odds; -inf where there is no knock.
    """
    out = np.full(len(heard), -np.inf)
    for knock in find_knocks(low_db):
        at = min(knock.frame // _FRAMES, len(heard) - 1)
        first = max(0, at - 1)
        others = heard[first : at + _KNOCK_BESIDE].mean(axis=0)
        own = float(peaks[first : at + _KNOCK_PEAK].max())
        sure = min(own, _KNOCK_MOST)
        sure += float(np.clip(_PER_FALL_DB * (knock.fall_db - _USUAL_KNOCK_DB), -2, 2))
        sure += float(np.clip(_PER_HIGH_DB * (knock.over_high_db - _USUAL_KNOCK_DB), -2, 1))
        sure -= max(0.0, float(others[_MACHINE]) - _KNOCK_MACHINE)
        sure -= max(0.0, float(others[_VOICE]) - _KNOCK_VOICE)
        if sure > _KNOCK_ODDS and knock.over_next_db > _OVER_NEXT_DB:
            around = slice(first, at + _KNOCK_REACH)
            out[around] = np.maximum(out[around], sure)
    return out
