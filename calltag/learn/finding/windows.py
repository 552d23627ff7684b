"""What is at hand of a take while it is gone through once: windows of frames, and recent sound.

Windows overlap, so that what lies at a window's edge is seen with what surrounds it. Memory does
not grow with the take's length.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from calltag.arrays import FloatArray
from calltag.sound.floor import STEP_FRAMES
from calltag.sound.spectrum import FRAMES_PER_S, N_MELS, RATE_HZ, mel_power

WINDOW_FRAMES = 60 * FRAMES_PER_S
"""A window has at least so many frames of its own, to be worth its context."""

CONTEXT_FRAMES = 6 * FRAMES_PER_S
"""The noise floor looks 4 s to each side, the starter model 1.3 s, and 1.9 s where in doubt."""


@dataclass(slots=True)
class Window:
    """Consecutive frames of a take.

    Attributes
    ----------
    first : int
        Frame of the take that it begins with.
    core, stop : int
        Those from `core` to `stop` are its own, the rest is context.
    mel : np.ndarray, shape (n_frames, N_MELS), float32
        Mel power of all of them.
    blocks : list of np.ndarray, shape (n, N_BINS), float32
        Their power, one block after the other.
    """

    first: int
    core: int
    stop: int
    mel: FloatArray
    blocks: list[FloatArray]

    def power(self, start: int, stop: int) -> FloatArray:
        """Cut out the power of some of its frames.

        Parameters
        ----------
        start, stop : int
            The frames, counted from its first.

        Returns
        -------
        np.ndarray, shape (stop - start, N_BINS), float32
            Power; a copy only where it lies across blocks.
        """
        parts = []
        for block in self.blocks:
            if start < len(block) and stop > 0:
                parts.append(block[max(0, start) : stop])
            start, stop = start - len(block), stop - len(block)
        return parts[0] if len(parts) == 1 else np.concatenate(parts)


def windows(frames: Iterable[FloatArray]) -> Iterator[Window]:
    """Put blocks of frames together to windows with context on both sides.

    Windows begin and end on steps of the noise floor, so that it is the same in all of them.

    Parameters
    ----------
    frames : iterable of np.ndarray, shape (n, N_BINS), float32
        Power of the take's frames, block by block.

    Yields
    ------
    Window
        The next one; its own frames follow on those of the one before.
    """
    blocks: list[FloatArray] = []
    mels: list[FloatArray] = [np.zeros((0, N_MELS), np.float32)]
    first = core = end = 0
    for block in frames:
        blocks.append(block)
        mels.append(mel_power(block))
        end += len(block)
        stop = (end - CONTEXT_FRAMES) // STEP_FRAMES * STEP_FRAMES
        if stop - core < WINDOW_FRAMES:
            continue
        mel = np.concatenate(mels)
        yield Window(first, core, stop, mel, blocks)
        passed = max(0, stop - CONTEXT_FRAMES - first)
        first, core, mels = first + passed, stop, [mel[passed:]]
        while passed >= len(blocks[0]):
            passed -= len(blocks.pop(0))
        blocks[0] = blocks[0][passed:].copy()
    if end > core:
        yield Window(first, core, end, np.concatenate(mels), blocks)


class Recent:
    """The last minute or so of the sound, as it came."""

    def __init__(self) -> None:
        self._blocks: list[FloatArray] = []
        self._first = self._end = 0

    def add(self, block: FloatArray) -> None:
        """Take in the next stretch.

        Parameters
        ----------
        block : np.ndarray, shape (n_samples,), float32
            Sound at `RATE_HZ`; it is kept as it is.
        """
        self._blocks.append(block)
        self._end += len(block)

    def cut(self, start_s: float, end_s: float) -> FloatArray:
        """Cut out the sound between two times.

        Parameters
        ----------
        start_s, end_s : float
            The times.

        Returns
        -------
        np.ndarray, shape (n_samples,), float32
            The sound, as far as it is there; a copy only where it lies across stretches.
        """
        start, end = (max(0, round(edge * RATE_HZ) - self._first) for edge in (start_s, end_s))
        parts = []
        for block in self._blocks:
            if start < len(block) and end > 0:
                parts.append(block[max(0, start) : end])
            start, end = start - len(block), end - len(block)
        if len(parts) == 1:
            return parts[0]
        return np.concatenate(parts) if parts else np.zeros(0, np.float32)

    def forget(self, before_s: float) -> None:
        """Let go of what is no longer needed.

        Parameters
        ----------
        before_s : float
            Blocks that lie wholly before this time go.
        """
        while self._blocks and self._first + len(self._blocks[0]) <= before_s * RATE_HZ:
            self._first += len(self._blocks.pop(0))
