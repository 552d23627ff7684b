"""What sounds beside events: the background that each is held against while events are made."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from calltag.arrays import FloatArray
from calltag.learn.networks.starter_model import STEPS_PER_S

BESIDE_S = 1.5
"""So far before and after an event its background is looked for."""

LEAST_POWER = 1e-12
"""No background counts as quieter."""

_FEWEST = 10  # steps without events that are needed to know it
_LEAST_SHARE = 0.02  # of an event's steps: an instant may be an animal's that calls all along


def power_beside(segments: Sequence[tuple[int, int]], power: FloatArray) -> list[FloatArray | None]:
    """Measure the background of events where nothing was found.

    Parameters
    ----------
    segments : sequence of tuple of int
        First step of each event and the step after its last, in order.
    power : np.ndarray, shape (n_steps, N_MELS)
        Mel power of each step.

    Returns
    -------
    list of np.ndarray, shape (N_MELS,), or None
        Mean power beside each, above 0; None where too little is free of events.

    Examples
    --------
    >>> power = np.ones((200, 64))
    >>> power[100:120] = 50.0
    >>> float(power_beside([(100, 120)], power)[0].max())
    1.0
    """
    free = np.ones(len(power), bool)
    for first, last in segments:
        free[first:last] = False
    reach = round(BESIDE_S * STEPS_PER_S)
    found: list[FloatArray | None] = []
    for first, last in segments:
        around = slice(max(0, first - reach), last + reach)
        behind = power[around][free[around]]
        enough = len(behind) >= max(_FEWEST, _LEAST_SHARE * (last - first))
        found.append(np.maximum(behind.mean(axis=0), LEAST_POWER) if enough else None)
    return found
