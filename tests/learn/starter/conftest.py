"""What a model would hear of a scene."""

from __future__ import annotations

import numpy as np

from calltag.learn.finding.surroundings import EVIDENCE
from calltag.learn.networks.starter_model import STEPS_PER_S, Heard
from calltag.learn.starter.calibrate import SceneHeard
from calltag.learn.starter.scenes import Scene
from calltag.records.label import NOISE_KINDS
from calltag.records.span import Span

N_STEPS = 10 * STEPS_PER_S


def heard(*spans: tuple[float, float]) -> SceneHeard:
    """What a model would hear that is sure of these spans."""
    call = np.full(N_STEPS, -6.0, np.float32)
    kinds = np.full((N_STEPS, len(NOISE_KINDS)), -4.0, np.float32)
    return SceneHeard(
        Heard(call, kinds, np.zeros((N_STEPS, 1), np.float32)),
        tuple(Span(*span) for span in spans),
        np.zeros((len(spans), len(EVIDENCE))),
    )


def scene(*spans: tuple[float, float], snr_db: float = 10.0, background: str = "air") -> Scene:
    return Scene(np.zeros(1, np.float32), tuple(Span(*s) for s in spans), background, snr_db)
