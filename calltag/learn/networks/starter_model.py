"""What the starter model hears in a stretch of sound: calls and noise kinds, every 20 ms.

The model is two small convolutional networks over mel levels, made by `calltag.learn.starter` and
kept in `models/` as ONNX files. They are given each level twice: over the mean floor, which keeps
the colour of steady noise, and over the floor of its own band, which shows what stands out. One
listens all the time; where it is in doubt, the other listens closer, and the mean of their odds
counts. They are of different designs and err at different moments. A clear call in quiet air leaves
no doubt, and costs nothing more.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy.ndimage

from calltag.arrays import FloatArray
from calltag.errors import ModelError
from calltag.learn.networks.network import session
from calltag.learn.networks.starter_files import StarterFiles
from calltag.shipped import shipped
from calltag.sound.floor import noise_floor_db
from calltag.sound.runs import runs
from calltag.sound.spectrum import FRAMES_PER_S, TENTHS_PER_S

FRAMES_PER_STEP = 2
"""The networks halve the frames on their way in."""

STEPS_PER_S = FRAMES_PER_S // FRAMES_PER_STEP
STEPS_PER_TENTH = STEPS_PER_S // TENTHS_PER_S

DOUBT_FROM, SURE_FROM = -1.0, 6.0
"""A call is in doubt where its log-odds rise above the first and stay below the second."""

_BESIDE_STEPS = STEPS_PER_S // 2  # to each side of such moments that is in doubt with them
_CONTEXT_STEPS = 3 * STEPS_PER_S // 5  # given to the other network to each side of such moments


@dataclass(frozen=True, slots=True)
class Heard:
    """What was heard, step by step.

    Attributes
    ----------
    call : np.ndarray, shape (n_steps,), float32
        Log-odds that a call sounds.
    kinds : np.ndarray, shape (n_steps, len(NOISE_KINDS)), float32
        Log-odds of each noise kind.
    embedding : np.ndarray, shape (n_steps, N_EMBEDDING), float32
        The model's inner description of the sound.
    """

    call: FloatArray
    kinds: FloatArray
    embedding: FloatArray


def model_input(level_db: FloatArray, floor_db: FloatArray) -> FloatArray:
    """Scale levels for the model.

    Parameters
    ----------
    level_db, floor_db : np.ndarray, shape (n_frames, N_MELS), float32
        Level and noise floor per mel band.

    Returns
    -------
    np.ndarray, shape (2, n_frames, N_MELS), float32
        Levels over the mean floor, in steps of 20 dB from -50 to 80 dB, and over each band's own
        floor, in steps of 10 dB from -10 to 50 dB.
    """
    out = np.empty((2, *level_db.shape), np.float32)
    np.subtract(level_db, floor_db.mean(axis=1, keepdims=True), out=out[0])
    np.subtract(level_db, floor_db, out=out[1])
    for over, unit_db, low, high in ((out[0], 20, -2.5, 4), (out[1], 10, -1, 5)):
        over /= np.float32(unit_db)
        np.clip(over, low, high, out=over)
    return out


def over_steps(frames: FloatArray, length: int = FRAMES_PER_STEP) -> FloatArray:
    """Take the mean of frames over the steps of the starter model, or over longer ones.

    Parameters
    ----------
    frames : np.ndarray, shape (n_frames, n)
        Numbers of each frame.
    length : int
        Frames to a step.

    Returns
    -------
    np.ndarray, shape (max(1, n_frames // length), n)
        Their means; frames too many are left out.
    """
    if len(frames) < length:
        return frames.mean(axis=0, keepdims=True)
    n = len(frames) // length
    sums = np.einsum("ijk->ik", frames[: n * length].reshape(n, length, -1))
    sums /= np.float32(length)
    return sums


class StarterModel:
    """The starter model, ready to listen.

    Parameters
    ----------
    path : Path
        The ONNX file; its card and the network that listens closer lie beside it, as
        `calltag.learn.networks.starter_files` says.

    Raises
    ------
    ModelError
        If the model or its card is missing or damaged.
    """

    def __init__(self, path: Path) -> None:
        files = StarterFiles.of(path)
        try:
            self.card: dict[str, Any] = json.loads(files.card.read_text("utf-8"))
            self._session, self._closer = session(files.model), session(files.closer)
        except Exception as error:
            raise ModelError(
                f"{path.name}: the starter model cannot be read ({type(error).__name__});"
                " install calltag again"
            ) from error

    def listen(self, level_db: FloatArray, floor_db: FloatArray | None = None) -> Heard:
        """Listen to a stretch of sound.

        Parameters
        ----------
        level_db : np.ndarray, shape (n_frames, N_MELS), float32
            Mel levels in dBFS.
        floor_db : np.ndarray of the same shape, optional
            Their noise floor; measured here unless given.

        Returns
        -------
        Heard
            ``n_steps = ceil(n_frames / 2)``.
        """
        if floor_db is None:
            floor_db = noise_floor_db(level_db)
        x = model_input(level_db, floor_db)
        missing = -x.shape[1] % FRAMES_PER_STEP
        if missing:
            x = np.concatenate([x, x[:, -missing:]], axis=1)
        call, kinds, embedding = self._session.run(None, {"level": x[None]})
        self._listen_closer(x, call[0], kinds[0])
        return Heard(call[0], kinds[0], embedding[0])

    def _listen_closer(self, x: FloatArray, call: FloatArray, kinds: FloatArray) -> None:
        """Average the odds with those of the other network where a call is in doubt."""
        doubt = _in_doubt(call)
        for first, last in runs(_within(_CONTEXT_STEPS, doubt)):
            stretch = x[None, :, first * FRAMES_PER_STEP : last * FRAMES_PER_STEP]
            others = self._closer.run(["call", "kinds"], {"level": np.ascontiguousarray(stretch)})
            there = np.arange(first, last)[doubt[first:last]]
            for odds, other in zip((call, kinds), others, strict=True):
                odds[there] = (odds[there] + other[0][there - first]) / 2


def _in_doubt(call: FloatArray) -> npt.NDArray[np.bool_]:
    """Steps at which, and beside which, a call may sound, but none is sure."""
    doubt = _within(_BESIDE_STEPS, call > DOUBT_FROM)
    for first, last in runs(doubt):
        doubt[first:last] = call[first:last].max() <= SURE_FROM
    return doubt


def _within(steps: int, so: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Whether something is so within so many steps."""
    near: npt.NDArray[np.bool_] = scipy.ndimage.maximum_filter1d(so, 2 * steps + 1, mode="nearest")
    return near


def starter_model() -> Path:
    """Path of the starter model that calltag comes with.

    Returns
    -------
    Path
        Its ONNX file, in the installation or beside the sources.

    Raises
    ------
    ModelError
        If there is none.
    """
    model = shipped("models", "starter.onnx")
    if model is None:
        raise ModelError(
            "the starter model is missing from the installation; install calltag again"
        )
    return model
