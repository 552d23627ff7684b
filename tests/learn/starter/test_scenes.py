"""Scenes as sound: they hold what they say."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.starter.recordings import Recording
from calltag.learn.starter.scenes import SHORT_S, Scene, recordings_alone, short_takes
from calltag.records.span import Span
from calltag.sound.spectrum import RATE_HZ


def test_short_takes_hold_what_they_cut_of_the_calls(rng) -> None:
    """Where the scene calls, its sound is one: the takes say so of the same samples."""
    sound = np.zeros(60 * RATE_HZ, np.float32)
    calls = tuple(Span(at, at + 2.5) for at in range(2, 56, 6))
    for call in calls:
        sound[round(call.start_s * RATE_HZ) : round(call.end_s * RATE_HZ)] = 1
    whole = Scene(sound, calls, "water", 5.0)
    takes = short_takes(rng, [whole], 40)
    assert len(takes) == 40
    for take in takes:
        assert SHORT_S[0] - 0.02 <= len(take.samples) / RATE_HZ <= SHORT_S[1] + 0.02
        assert (take.background, take.snr_db) == ("water", 5.0)
        said = np.zeros(len(take.samples), np.float32)
        for call in take.calls:
            said[round(call.start_s * RATE_HZ) : round(call.end_s * RATE_HZ)] = 1
        assert np.abs(said - take.samples).mean() < 0.002
    assert any(take.calls and take.calls[0].start_s == 0 for take in takes)


def test_recordings_alone_call_where_they_are_loud() -> None:
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    sound = (np.sin(2 * np.pi * 800 * t) * ((t > 1) & (t < 2.5))).astype(np.float32)
    bird, saw = recordings_alone(
        [
            Recording("a.ogg", "call", "hoots", "one", sound),
            Recording("b.ogg", "machine", "saws", "one", sound),
        ]
    )
    ((start_s, end_s),) = bird.calls
    assert (start_s, end_s) == pytest.approx((1, 2.5), abs=0.02)
    assert saw.calls == ()
    assert saw.background == "machine"
