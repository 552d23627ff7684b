"""Figures for the model's card: finds and noise kinds on scenes the model has not heard."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

import numpy as np

from calltag.arrays import DoubleArray
from calltag.learn.call_types.confidence import calibration_error
from calltag.learn.networks.starter_model import STEPS_PER_S
from calltag.learn.scoring.counting import FOUND_SHARE
from calltag.learn.starter.calibrate import SceneHeard, right, share_in
from calltag.learn.starter.scenes import Scene
from calltag.records.label import NOISE_KINDS


def judge(
    heard: Sequence[SceneHeard],
    scenes: Sequence[Scene],
    probability: Sequence[DoubleArray],
    *,
    least: float = 0.5,
) -> dict[str, Any]:
    """Compare finds with where the calls are.

    Parameters
    ----------
    heard : sequence of SceneHeard
        What was heard in each scene.
    scenes : sequence of Scene
        The scenes.
    probability : sequence of np.ndarray, each of shape (n_finds,)
        Probability of each scene's finds, by a second look that was taught on other scenes.
    least : float
        Finds less likely than this do not count.

    Returns
    -------
    dict
        Per level, per background and over all: ``calls``, ``finds``, ``recall``, ``precision``,
        ``f1``; false finds a minute in scenes without calls; calibration error of the
        probabilities; and for each noise kind that was a background the share of its own and of
        other backgrounds in which it was heard.
    """
    counts: defaultdict[str, np.ndarray] = defaultdict(lambda: np.zeros(4))
    empty: defaultdict[str, list[float]] = defaultdict(list)
    sure: list[float] = []
    sure_and_right: list[bool] = []
    kinds: defaultdict[str, list[np.ndarray]] = defaultdict(list)
    for what, scene, sureness in zip(heard, scenes, probability, strict=True):
        kinds[scene.background].append((what.heard.kinds > 0).mean(axis=0))
        is_right = right([what], [scene]).tolist()
        sure += sureness.tolist()
        sure_and_right += is_right
        kept = [i for i, value in enumerate(sureness) if value >= least]
        finds = [what.finds[i] for i in kept]
        if not np.isfinite(scene.snr_db):
            minutes = len(what.heard.call) / STEPS_PER_S / 60
            empty[scene.background].append(len(finds) / minutes)
            continue
        found = sum(share_in(call, finds) >= FOUND_SHARE for call in scene.calls)
        for key in ("all", f"{scene.snr_db:+.0f} dB", scene.background):
            counts[key] += (len(scene.calls), found, len(finds), sum(is_right[i] for i in kept))
    return {
        "finding": {key: _figures(*row) for key, row in counts.items()},
        "false_finds_per_minute": {k: round(float(np.mean(v)), 2) for k, v in empty.items()},
        "calibration_error": round(calibration_error(np.array(sure), np.array(sure_and_right)), 3),
        "noise_kinds": {
            kind: {
                "heard_in_its_own": round(float(np.mean([row[i] for row in kinds[kind]])), 3),
                "heard_in_others": round(
                    float(
                        np.mean([row[i] for k, rows in kinds.items() if k != kind for row in rows])
                    ),
                    3,
                ),
            }
            for i, kind in enumerate(NOISE_KINDS)
            if kind in kinds and len(kinds) > 1
        },
    }


def _figures(calls: float, found: float, finds: float, right: float) -> dict[str, float]:
    recall, precision = found / max(calls, 1), right / max(finds, 1)
    return {
        "calls": int(calls),
        "finds": int(finds),
        "recall": round(recall, 3),
        "precision": round(precision, 3),
        "f1": round(2 * recall * precision / max(recall + precision, 1e-9), 3),
    }
