"""When a moment of a take was."""

from __future__ import annotations

import pytest

from calltag.media.timing.clock import take_clock
from calltag.media.timing.when import first_sample
from calltag.records.take import Take


@pytest.mark.parametrize(
    ("rate_hz", "sample"), [(48_000, 172_801), (96_000, 345_602), (12_000, 43_200)]
)
def test_a_recorders_first_sample_at_another_rate(rate_hz, sample):
    recorder = Take(
        path="a.wav",
        rushes="/rushes",
        digest="d",
        size_bytes=1,
        duration_s=10.0,
        sample_rate_hz=48_000,
        channels=1,
        time_reference=172_801,  # EBU Tech 3285 counts at the file's rate
    )
    assert first_sample(recorder, take_clock(recorder), rate_hz) == sample
