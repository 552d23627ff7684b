"""Names that a taught model gives."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from calltag.log import Log
from calltag.records.found import NoiseSpan, TakeLog

from .conftest import call, take


def test_types_given_by_a_model_are_stored(log: Log) -> None:
    log.put(TakeLog(take=take(), calls=(call(1), call(2))), feature_version=1)

    def tag(features: np.ndarray, _takes: np.ndarray) -> list[tuple[str, float]]:
        return [("pit rail", 0.75) if row[0] == 1 else ("call", 0.5) for row in features]

    assert log.give_types(tag, feature_version=1, model="calltag.model 1f2e") == 2
    assert [(c.label, c.confidence) for c in log.take_log("A001.mov").calls] == [
        ("pit rail", 0.75),
        ("call", 0.5),
    ]
    assert log.entries()[0].model == "calltag.model 1f2e"
    log.put(TakeLog(take=take()), feature_version=1)
    assert log.entries()[0].model is None, "found anew, so not yet given types"


def test_a_model_is_told_what_is_of_one_take(log: Log) -> None:
    """Calls of a take belong together, excerpts of its noise do not."""
    machine = [
        NoiseSpan(
            start_s=start_s,
            end_s=start_s + 5.0,
            kind="machine",
            confidence=0.9,
            level_dbfs=-40.0,
            low_hz=100.0,
            high_hz=900.0,
        )
        for start_s in (0.0, 30.0)
    ]
    log.put(TakeLog(take=take(), calls=(call(1), call(2)), noise=tuple(machine)), feature_version=1)
    # noise at the same time of another take stays unmeasured
    longer = replace(machine[0], end_s=9.0)
    log.put(TakeLog(take=take("A002.mov"), calls=(call(3),), noise=(longer,)), feature_version=1)
    log.put_measured_noise("A001.mov", [(one, np.zeros(3, np.float32)) for one in machine])
    asked = []

    def tag(features: np.ndarray, together: np.ndarray) -> list[tuple[str, float]]:
        asked.append((features[:, 0].tolist(), together.tolist()))
        return [("call", 0.5)] * len(features)

    log.give_types(tag, feature_version=1, model="m")
    (starts_s, takes), (_, excerpts) = asked
    of_take = dict(zip(starts_s, takes, strict=True))
    assert of_take[1.0] == of_take[2.0] != of_take[3.0]
    assert len(excerpts) == len(set(excerpts)) == 2
