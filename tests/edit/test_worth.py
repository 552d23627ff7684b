"""Which of two calls is worth more to the edit."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calltag.edit.worth import worth
from calltag.records.found import TakeLog
from calltag.records.take import ChannelFault, FaultKind, Levels

from .conftest import make_call, make_sound, make_take

CLIPPED = Levels(peak_dbfs=0, clipped=90, loudness_lufs=-10, floor_dbfs=-50)
FAULT = ChannelFault(FaultKind.CLIPPED, (1,), amount=90)
SAFE = replace(CLIPPED, channel="2", channel_faults=(FAULT,))


def log_of(*calls, path="a.mov", **changes):
    return TakeLog(take=make_take(path, **changes), calls=calls)


@pytest.mark.parametrize(
    ("better", "poorer"),
    [
        (log_of(make_call(1, 2, snr_db=20)), log_of(make_call(1, 2, snr_db=10))),
        (log_of(make_call(1, 2, confidence=0.9)), log_of(make_call(1, 2, confidence=0.5))),
        (log_of(make_call(1, 2)), log_of(make_call(1, 2, noise=("wind",)))),
        (log_of(make_call(1, 2)), log_of(make_call(1, 2), levels=CLIPPED)),
        (log_of(make_call(1, 2), levels=SAFE), log_of(make_call(1, 2), levels=CLIPPED)),
        (log_of(make_call(1, 2)), TakeLog(take=make_sound(), calls=(make_call(1, 2),))),
        (log_of(make_call(1, 2, by_hand=True)), log_of(make_call(1, 2))),
        (log_of(make_call(0.4, 1.1)), log_of(make_call(0, 0.7))),  # filmed whole, begun before
        (log_of(make_call(59, 59.7)), log_of(make_call(59.3, 59.98, snr_db=18))),  # goes on after
        (log_of(make_call(1, 2, snr_db=3)), log_of(make_call(1, 2, snr_db=float("nan")))),
    ],
)
def test_what_makes_a_call_better(better, poorer):
    assert 1 >= worth(better, better.calls[0]) > worth(poorer, poorer.calls[0]) >= 0
