"""The loud frames of events, and what each of them is like.

Events are short, and to ask for a measure costs more than to take it: so the frames of several
events are measured at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.sound import shape
from calltag.sound.events import Region
from calltag.sound.spectrum import BIN_HZ, to_db

N_MFCC = 20

_LOUD = 0.1  # of the highest: frames that colour, melody and cepstrum are taken from


class LoudFrames(NamedTuple):
    """The loud frames of an event.

    Attributes
    ----------
    envelope : np.ndarray, shape (n_frames,)
        Amplitude over the background in the event's band, of all of its frames.
    at : np.ndarray, shape (n_loud,), int
        Which of them are loud.
    power, magnitude : np.ndarray, shape (n_loud, N_BINS)
        Their power, and their magnitude over the background.
    mel : np.ndarray, shape (n_loud, N_MELS)
        Their mel power.
    band : slice
        Bins of the event's band.
    """

    envelope: FloatArray
    at: npt.NDArray[np.intp]
    power: FloatArray
    magnitude: FloatArray
    mel: FloatArray
    band: slice

    @classmethod
    def of(cls, power: FloatArray, mel: FloatArray, region: Region) -> LoudFrames:
        """Choose the loud frames of an event.

        Parameters
        ----------
        power : np.ndarray, shape (n_frames, N_BINS)
            Power spectrum of its frames.
        mel : np.ndarray, shape (n_frames, N_MELS)
            Their mel power.
        region : Region
            The event; its excess has the same frames.

        Returns
        -------
        LoudFrames
            One frame or more.
        """
        band = slice(int(region.low_hz / BIN_HZ), int(region.high_hz / BIN_HZ) + 1)
        envelope = np.sqrt(region.excess[:, band].sum(axis=1) + 1e-14)
        at = np.flatnonzero(envelope > _LOUD * envelope.max())
        return cls(envelope, at, power[at], np.sqrt(region.excess[at]), mel[at], band)


class Shapes(NamedTuple):
    """What loud frames are like, by the measures of `calltag.sound.shape`.

    Attributes
    ----------
    centroid_hz, bandwidth_hz, rolloff_hz : np.ndarray, shape (n_loud,)
        Where the spectrum over the background lies, and how wide it is.
    contrast_db : np.ndarray, shape (n_loud, 7)
        Peaks over valleys.
    peak_hz, pitch_hz, pitch_strength : np.ndarray, shape (n_loud,)
        Strongest frequency in the event's band, and the pitch there.
    cepstrum : np.ndarray, shape (n_loud, N_MFCC)
        Mel-frequency cepstral coefficients.
    """

    centroid_hz: FloatArray
    bandwidth_hz: FloatArray
    rolloff_hz: FloatArray
    contrast_db: FloatArray
    peak_hz: FloatArray
    pitch_hz: FloatArray
    pitch_strength: FloatArray
    cepstrum: FloatArray


def shapes(events: Sequence[LoudFrames]) -> list[Shapes]:
    """Measure the loud frames of events.

    Parameters
    ----------
    events : sequence of LoudFrames
        One or more.

    Returns
    -------
    list of Shapes
        One for each.
    """
    power = np.concatenate([one.power for one in events])
    magnitude = np.concatenate([one.magnitude for one in events])
    edges = np.cumsum([len(one.at) for one in events])[:-1]
    in_band = np.zeros_like(magnitude)
    for one, rows in zip(events, np.split(in_band, edges), strict=True):
        rows[:, one.band] = one.magnitude[:, one.band]
    centroid_hz = shape.centroid_hz(magnitude)
    measured = Shapes(
        centroid_hz,
        shape.bandwidth_hz(magnitude, centroid_hz),
        shape.rolloff_hz(magnitude),
        shape.contrast_db(power),
        shape.peak_hz(in_band),
        *shape.pitch_track_hz(in_band),
        shape.mfcc(to_db(np.concatenate([one.mel for one in events])), N_MFCC),
    )
    return [
        Shapes(*parts) for parts in zip(*(np.split(each, edges) for each in measured), strict=True)
    ]
