"""Noise over time: which kinds sound in each second of a take, how loud, in which band."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.learn.hearing import STEPS_PER_S
from calltag.records import NOISE_KINDS, FloatArray, NoiseSpan
from calltag.sound.spectrum import FRAMES_PER_S, N_MELS, mel_edges_hz, to_db

LEAST_PROBABILITY = 0.5
"""A second holds a kind of noise from here on."""

BAND_SHARE = (0.05, 0.95)


class NoiseMeter:
    """Collects what is heard of noise, second by second."""

    def __init__(self) -> None:
        self._levels_db: list[npt.NDArray[np.float16]] = []  # an hour of them is 5 MB
        self._odds: list[FloatArray] = []

    def add(self, mel: FloatArray, kinds: FloatArray) -> None:
        """Take in consecutive frames.

        Parameters
        ----------
        mel : np.ndarray, shape (n_frames, N_MELS)
            Mel power; whole tenths of a second, except at the take's end.
        kinds : np.ndarray, shape (n_steps, len(NOISE_KINDS))
            Log-odds of each kind.
        """
        whole = len(mel) // 10 * 10
        tenths = mel[:whole].reshape(-1, 10, N_MELS).mean(axis=1)
        self._levels_db.append(to_db(tenths).astype(np.float16))
        whole = len(kinds) // 5 * 5
        self._odds.append(kinds[:whole].reshape(-1, 5, len(NOISE_KINDS)).mean(axis=1))

    def spans(self) -> list[NoiseSpan]:
        """Stretches of noise.

        Returns
        -------
        list of NoiseSpan
            In order of start; those of one kind do not touch.
        """
        if not self._odds:
            return []
        levels_db, odds = np.concatenate(self._levels_db), np.concatenate(self._odds)
        n = min(len(levels_db), len(odds))
        if not n:
            return []
        odds = odds[:n]
        per_s = STEPS_PER_S // 5
        smooth = scipy.ndimage.uniform_filter1d(odds, per_s, axis=0, mode="nearest")
        probability = 1 / (1 + np.exp(-smooth))
        found = []
        for i, kind in enumerate(NOISE_KINDS):
            on = probability[:, i] > LEAST_PROBABILITY
            on = scipy.ndimage.binary_closing(np.pad(on, per_s, mode="edge"), np.ones(per_s))
            edges = np.flatnonzero(np.diff(np.concatenate([[0], on[per_s:-per_s], [0]])))
            for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
                if last - first >= per_s // 2 or n < per_s:
                    found.append(
                        _span(
                            kind, levels_db[first:last], probability[first:last, i], first / per_s
                        )
                    )
        return sorted(found, key=lambda span: (span.start_s, span.kind))


def _span(
    kind: str, levels_db: npt.NDArray[np.float16], probability: FloatArray, start_s: float
) -> NoiseSpan:
    middle_db = np.median(levels_db.astype(np.float32), axis=0, overwrite_input=True)
    spectrum = 10 ** (middle_db / 10)
    share = np.cumsum(spectrum) / max(float(spectrum.sum()), 1e-20)
    low, high = np.minimum(np.searchsorted(share, BAND_SHARE), N_MELS - 1)
    edges_hz = mel_edges_hz()
    power = float(spectrum[low : high + 1].sum()) / 1.5 / 2  # as in `sound.events`
    return NoiseSpan(
        start_s=start_s,
        end_s=start_s + len(levels_db) * 10 / FRAMES_PER_S,
        kind=kind,
        confidence=float(probability.mean()),
        level_dbfs=float(10 * np.log10(power + 1e-12)),
        low_hz=float(edges_hz[low]),
        high_hz=float(edges_hz[high + 2]),
    )
