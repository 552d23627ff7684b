"""Which of two calls is worth more to the edit."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pytest

from calltag.edit.worth import worth
from calltag.records.found import Picture, TakeLog
from calltag.records.take import ChannelFault, FaultKind, Levels

from .conftest import log_of, make_call, make_sound

CLIPPED = Levels(peak_dbfs=0, clipped=90, loudness_lufs=-10, floor_dbfs=-50)
FAULT = ChannelFault(FaultKind.CLIPPED, (1,), amount=90)
STEADY = Picture(
    start_s=1,
    end_s=2,
    drift_permille_per_s=0,
    jitter_permille=0,
    blur_permille=0,
    pixel_permille=0.5,
)
SHAKY = replace(STEADY, jitter_permille=50)
SAFE = replace(CLIPPED, channel="2", channel_faults=(FAULT,))

found = partial(log_of, "a.mov")


def seen(picture: Picture) -> TakeLog:
    return replace(found(make_call(1, 2)), pictures=(picture,))


@pytest.mark.parametrize(
    ("better", "poorer"),
    [
        (found(make_call(1, 2, snr_db=20)), found(make_call(1, 2, snr_db=10))),
        (found(make_call(1, 2, confidence=0.9)), found(make_call(1, 2, confidence=0.5))),
        (found(make_call(1, 2)), found(make_call(1, 2, noise=("wind",)))),
        (found(make_call(1, 2)), found(make_call(1, 2), levels=CLIPPED)),
        (found(make_call(1, 2), levels=SAFE), found(make_call(1, 2), levels=CLIPPED)),
        (found(make_call(1, 2)), TakeLog(take=make_sound(), calls=(make_call(1, 2),))),
        (seen(STEADY), seen(SHAKY)),
        (found(make_call(1, 2)), seen(SHAKY)),
        (found(make_call(1, 2, by_hand=True)), found(make_call(1, 2))),
        (found(make_call(0.4, 1.1)), found(make_call(0, 0.7))),  # filmed whole, begun before
        (found(make_call(59, 59.7)), found(make_call(59.3, 59.98, snr_db=18))),  # goes on after
        (found(make_call(1, 2, snr_db=3)), found(make_call(1, 2, snr_db=float("nan")))),
    ],
)
def test_what_makes_a_call_better(better, poorer):
    assert 1 >= worth(better, better.calls[0]) > worth(poorer, poorer.calls[0]) >= 0
