"""What the starter model hears in a stretch of sound: calls and noise kinds, every 20 ms.

The model is a small convolutional network over mel levels, made by `calltag.learn.starter` and kept
in `models/` as an ONNX file. It is given each level twice: over the mean floor, which keeps the
colour of steady noise, and over the floor of its own band, which shows what stands out.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from calltag.errors import ModelError
from calltag.records import NOISE_KINDS, FloatArray
from calltag.sound.features import N_EMBEDDING
from calltag.sound.floor import noise_floor_db
from calltag.sound.spectrum import FRAMES_PER_S, N_MELS

FRAMES_PER_STEP = 2
STEPS_PER_S = FRAMES_PER_S // FRAMES_PER_STEP


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
        Levels over the mean floor, and over each band's own floor.
    """
    out = np.empty((2, *level_db.shape), np.float32)
    np.clip((level_db - floor_db.mean(axis=1, keepdims=True)) / 20, -2.5, 4, out=out[0])
    np.clip((level_db - floor_db) / 10, -1, 5, out=out[1])
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
    steps: FloatArray = frames[: n * length].reshape(n, length, -1).mean(axis=1)
    return steps


class Hearing:
    """The starter model, ready to listen.

    Parameters
    ----------
    path : Path
        The ONNX file; its card lies beside it with the suffix ``.json``.

    Raises
    ------
    ModelError
        If the model or its card is missing or damaged.
    """

    def __init__(self, path: Path) -> None:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = 1  # takes are spread over processes, not threads
        options.inter_op_num_threads = 1
        options.enable_cpu_mem_arena = True  # without it the heap breaks up: up to 100 MB more
        options.log_severity_level = 3
        try:
            self.card: dict[str, Any] = json.loads(path.with_suffix(".json").read_text("utf-8"))
            self._session = onnxruntime.InferenceSession(
                path.read_bytes(), options, providers=["CPUExecutionProvider"]
            )
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
        if x.shape[1] % 2:
            x = np.concatenate([x, x[:, -1:]], axis=1)
        call, kinds, embedding = self._session.run(None, {"level": x[None]})
        return Heard(call[0], kinds[0], embedding[0])


def starter_model() -> Path:
    """Path of the starter model that calltag comes with."""
    package = Path(__file__).resolve().parents[1]
    for folder in (package / "_data" / "models", package.parent / "models"):
        if (folder / "starter.onnx").is_file():
            return folder / "starter.onnx"
    raise ModelError("the starter model is missing from the installation; install calltag again")


__all__ = [
    "FRAMES_PER_STEP",
    "N_EMBEDDING",
    "N_MELS",
    "NOISE_KINDS",
    "STEPS_PER_S",
    "Heard",
    "Hearing",
    "model_input",
    "over_steps",
    "starter_model",
]
