"""Names that a taught model gives."""

from __future__ import annotations

import numpy as np

from calltag.log import Log
from calltag.records.found import TakeLog

from .conftest import call, take


def test_types_given_by_a_model_are_stored(log: Log) -> None:
    log.put(TakeLog(take=take(), calls=(call(1), call(2))), feature_version=1)

    def tag(features: np.ndarray) -> list[tuple[str, float]]:
        return [("pit rail", 0.75) if row[0] == 1 else ("call", 0.5) for row in features]

    assert log.give_types(tag, feature_version=1, model="calltag.model 1f2e") == 2
    assert [(c.label, c.confidence) for c in log.take_log("A001.mov").calls] == [
        ("pit rail", 0.75),
        ("call", 0.5),
    ]
    assert log.entries()[0].model == "calltag.model 1f2e"
    log.put(TakeLog(take=take()), feature_version=1)
    assert log.entries()[0].model is None, "found anew, so not yet given types"
