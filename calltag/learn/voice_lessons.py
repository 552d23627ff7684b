"""Teach the network of `calltag.learn.voice`; needs torch, which the extra ``train`` brings."""

from __future__ import annotations

import logging
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from calltag.learn.voice import Array, Voice

log = logging.getLogger("calltag.learn.voice_lessons")

N_HIDDEN = 128
N_NUMBERS = 32
STEPS = 3000

_TYPES_AT_ONCE = 64
_CALLS_OF_EACH = 6
_EXAMPLES = (1, 2, 4)  # of those calls make the type's centre
# What calls of invented types have in common is only nearly what real ones have, so the network is
# held to rough features of it: many hidden units drop out, and measurements are blurred.
_DROPPED = 0.2
_BLUR = 0.2
_DECAY = 0.05
_PACE = 2e-3


def teach_voice(
    scaled: npt.NDArray[np.floating],
    codes: npt.NDArray[np.intp],
    *,
    steps: int = STEPS,
    seed: int = 0,
) -> Voice:
    """Learn numbers that tell call types apart.

    Parameters
    ----------
    scaled : np.ndarray, shape (n, n_measured)
        Scaled measurements.
    codes : np.ndarray, shape (n,), int
        Type of each, from 0; types of fewer than six calls are not used.
    steps : int
        Training steps.
    seed : int
        The same calls and seed give the same numbers, on one machine.

    Returns
    -------
    Voice
        The network.
    """
    import torch
    from torch import nn

    torch.manual_seed(seed)
    rng = np.random.default_rng(seed)
    rows = torch.tensor(np.asarray(scaled, np.float32))
    n_measured = rows.shape[1]
    order = np.argsort(codes, kind="stable")
    types = np.split(order, np.cumsum(np.bincount(codes))[:-1])
    types = [calls for calls in types if len(calls) >= _CALLS_OF_EACH]
    bent = nn.Sequential(
        nn.Linear(n_measured, N_HIDDEN),
        nn.GELU(),
        nn.Dropout(_DROPPED),
        nn.Linear(N_HIDDEN, N_HIDDEN),
        nn.GELU(),
        nn.Dropout(_DROPPED),
        nn.Linear(N_HIDDEN, N_NUMBERS),
    )
    straight = nn.Linear(n_measured, N_NUMBERS, bias=False)
    sharpness = nn.Parameter(torch.tensor(0.0))
    weights = [*bent.parameters(), *straight.parameters(), sharpness]
    optimiser = torch.optim.AdamW(weights, lr=_PACE, weight_decay=_DECAY)
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, _PACE, total_steps=steps)
    bent.train()
    known = 0.0
    for step in range(steps):
        some = rng.choice(len(types), min(_TYPES_AT_ONCE, len(types)), replace=False)
        calls = np.stack([rng.choice(types[i], _CALLS_OF_EACH, replace=False) for i in some])
        x = rows[torch.tensor(calls.ravel())]
        x = x + _BLUR * torch.randn_like(x)
        places = (bent(x) + straight(x)).reshape(*calls.shape, N_NUMBERS)
        n_examples = int(rng.choice(_EXAMPLES))
        centres = places[:, :n_examples].mean(1)
        others = places[:, n_examples:].reshape(-1, N_NUMBERS)
        own = torch.arange(len(calls)).repeat_interleave(_CALLS_OF_EACH - n_examples)
        closeness = -torch.cdist(others, centres).square() * torch.exp(sharpness) / N_NUMBERS
        loss = nn.functional.cross_entropy(closeness, own)
        optimiser.zero_grad()
        loss.backward()
        optimiser.step()
        schedule.step()
        known += float((closeness.argmax(1) == own).float().mean())
        if step % 500 == 499:
            log.info("step %d: %.0f %% nearest to their own type", step + 1, known / 5)
            known = 0.0

    def _numbers(parameter: torch.Tensor) -> Array:
        return parameter.detach().numpy().T.astype(np.float64)

    first, second, last = bent[0], bent[3], bent[6]
    raw = Voice(
        first=_numbers(first.weight),
        first_offset=_numbers(first.bias),
        second=_numbers(second.weight),
        second_offset=_numbers(second.bias),
        bent=_numbers(last.weight),
        straight=_numbers(straight.weight),
        offset=_numbers(last.bias),
    )
    return standardised(raw, scaled)


def standardised(voice: Voice, scaled: npt.NDArray[np.floating]) -> Voice:
    """Scale a network's numbers.

    Parameters
    ----------
    voice : Voice
        The network.
    scaled : np.ndarray, shape (n, n_measured)
        Scaled measurements of some calls.

    Returns
    -------
    Voice
        The same, with numbers of mean 0 and variance 1 over these calls.
    """
    found = voice(scaled)
    mean, spread = found.mean(axis=0), np.maximum(found.std(axis=0), 1e-9)
    return replace(
        voice,
        bent=voice.bent / spread,
        straight=voice.straight / spread,
        offset=(voice.offset - mean) / spread,
    )
