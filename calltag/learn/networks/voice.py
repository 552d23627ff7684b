"""What voice a find has: a few numbers, learnt from invented call types, that tell types apart.

A small convolutional network looks at a find as its spectrogram shows it, over the background that
it calls in, and makes numbers of it that lie close together for calls of one type and far apart
for those of others. It is taught by episodes [1]_: a few calls of each of some types make a centre
for each, and the other calls are to be nearest to their own
(`calltag.learn.invented_types.voice_lessons`). What tells a voice is mostly how its parts follow
each other, which means and spreads over a find cannot say. It has heard no recording.

References
----------
.. [1] J. Snell, K. Swersky, R. Zemel, "Prototypical networks for few-shot learning", NeurIPS 2017.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from calltag.arrays import FloatArray
from calltag.errors import ModelError
from calltag.learn.networks.network import session
from calltag.learn.networks.starter_model import FRAMES_PER_STEP, over_steps
from calltag.sound.features import N_VOICE
from calltag.sound.spectrum import N_MELS, mel_power, to_db

NETWORK = Path(__file__).parents[1] / "voice.onnx"

LONGEST_STEPS = 96
"""Of a longer find, the loudest stretch of so many steps (1.9 s) is looked at."""

STEPS_AFTER = 8
"""Silence that the network is given after a find, at least."""

STEPS_AT_ONCE = 4
"""The network takes steps in multiples of so many."""

_RANGE_DB = 40.0
_UNIT_DB = 20.0
_BEHIND = 1.5  # times the mean background is taken for background


def patch(mel: FloatArray, behind: FloatArray) -> FloatArray:
    """Show a find as the network sees it.

    Parameters
    ----------
    mel : np.ndarray, shape (n_frames, N_MELS), float32
        Mel power of the find's frames.
    behind : np.ndarray, shape (N_BINS,), float32
        Power spectrum of its background.

    Returns
    -------
    np.ndarray, shape (2, n_steps, N_MELS), float32
        What is over the background, in units of 20 dB from 40 dB below its highest; and how far it
        stands over the background, in the same units up to 40 dB. Silence is 0 in both. At most
        `LONGEST_STEPS`.
    """
    return shown(mel, mel_power(behind[None])[0])


def shown(mel: FloatArray, behind: FloatArray) -> FloatArray:
    """Show a find of which the background's mel power is known, as `patch` does.

    Parameters
    ----------
    mel : np.ndarray, shape (n_frames, N_MELS), float32
        Mel power of the find's frames.
    behind : np.ndarray, shape (N_MELS,), float32
        That of its background.

    Returns
    -------
    np.ndarray, shape (2, n_steps, N_MELS), float32
        As of `patch`.
    """
    if len(mel) % FRAMES_PER_STEP:
        mel = np.concatenate([mel, mel[-1:]])
    steps = over_steps(mel)
    if len(steps) > LONGEST_STEPS:
        sums = np.cumsum(np.concatenate([[0.0], steps.sum(axis=1, dtype=np.float64)]))
        first = int((sums[LONGEST_STEPS:] - sums[:-LONGEST_STEPS]).argmax())
        steps = steps[first : first + LONGEST_STEPS]
    over_db = to_db(np.maximum(steps - _BEHIND * behind, 0))
    stands_db = to_db(steps) - to_db(behind)
    levels_db = np.stack([over_db - over_db.max() + _RANGE_DB, stands_db])
    return np.asarray(np.clip(levels_db, 0, _RANGE_DB) / _UNIT_DB, np.float32)


def padded(find: npt.NDArray[np.floating]) -> FloatArray:
    """Put silence after a find, as the network is used to.

    Parameters
    ----------
    find : np.ndarray, shape (2, n_steps, N_MELS)
        A find, as `patch` shows it.

    Returns
    -------
    np.ndarray, shape (2, n, N_MELS), float32
        The same with `STEPS_AFTER` or more; `n` is a multiple of `STEPS_AT_ONCE`.
    """
    n_steps = find.shape[1]
    after = STEPS_AFTER + (-n_steps - STEPS_AFTER) % STEPS_AT_ONCE
    longer = np.zeros((2, n_steps + after, N_MELS), np.float32)
    longer[:, :n_steps] = find
    return longer


class Voice:
    """The network, ready to look at finds.

    Parameters
    ----------
    path : Path
        The ONNX file.

    Raises
    ------
    ModelError
        If it is missing or damaged.
    """

    def __init__(self, path: Path) -> None:
        try:
            self._session = session(path)
        except Exception as error:
            raise ModelError(
                f"{path.name}: what tells voices apart cannot be read ({type(error).__name__});"
                " install calltag again"
            ) from error

    def numbers(self, patches: Iterable[npt.NDArray[np.floating]]) -> FloatArray:
        """Describe finds.

        Parameters
        ----------
        patches : iterable of np.ndarray, each of shape (2, n_steps, N_MELS)
            The finds, as `patch` shows them.

        Returns
        -------
        np.ndarray, shape (n, N_VOICE), float32
            Their numbers.
        """
        rows = [np.zeros((0, N_VOICE), np.float32)]
        for find in patches:
            steps = np.array([find.shape[1]], np.float32)
            rows += self._session.run(None, {"patch": padded(find)[None], "steps": steps})
        return np.concatenate(rows)


@cache
def voice() -> Voice:
    """Return the network that calltag comes with.

    Returns
    -------
    Voice
        Ready to look.

    Raises
    ------
    ModelError
        If it is missing or damaged.
    """
    return Voice(NETWORK)
