"""What goes into the log comes out."""

from __future__ import annotations

import math
import sqlite3
from fractions import Fraction

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calltag.log import Log
from calltag.records.found import Call, NoiseSpan, TakeLog, with_noise
from calltag.records.label import NOISE_KINDS
from calltag.records.span import Span
from calltag.records.take import ChannelFault, FaultKind, Levels, Take

from .conftest import call, given_to_a_model, take

# Any record that may be stored

floats = st.floats(allow_nan=False, width=64)


words = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)


optional_levels = st.none() | st.builds(
    Levels,
    peak_dbfs=floats,
    clipped=st.integers(0, 2**40),
    loudness_lufs=floats,
    floor_dbfs=floats,
    channel=st.sampled_from(["1", "2", "1+2"]),
    faults=st.lists(words, max_size=3).map(tuple),
    channel_faults=st.lists(
        st.builds(
            ChannelFault,
            st.sampled_from(FaultKind),
            st.lists(st.integers(1, 64), max_size=3).map(tuple),
            st.integers(0, 64),
            st.floats(0, 1e5),
            floats,
        ),
        max_size=3,
    ).map(tuple),
    broken=st.lists(st.builds(Span, st.floats(0, 1e5), st.floats(0, 1e5)), max_size=5).map(tuple),
)


takes = st.builds(
    Take,
    path=words.filter(bool),
    rushes=words,
    digest=words,
    size_bytes=st.integers(0, 2**62),
    duration_s=st.floats(0, 1e6),
    fps=st.none() | st.fractions(Fraction(1), Fraction(1000), max_denominator=1001),
    variable_rate=st.booleans(),
    picture_s=st.none() | floats,
    start_tc=st.none() | st.sampled_from(["10:00:00;00", "23:59:59:24"]),
    time_reference=st.none() | st.integers(0, 2**62),
    recorded=st.none() | words,
    sample_rate_hz=st.none() | st.integers(8000, 768_000),
    channels=st.integers(0, 64),
    width=st.integers(0, 8192),
    height=st.integers(0, 8192),
    levels=optional_levels,
)


calls = st.builds(
    Call,
    start_s=st.floats(0, 1e5),
    end_s=st.floats(0, 1e5),
    low_hz=floats,
    high_hz=floats,
    peak_hz=floats,
    snr_db=floats,
    level_dbfs=floats,
    call_probability=st.floats(0, 1),
    label=words,
    confidence=st.floats(0, 1),
)


noises = st.builds(
    NoiseSpan,
    start_s=st.floats(0, 1e5),
    end_s=st.floats(0, 1e5),
    kind=words | st.sampled_from(NOISE_KINDS),
    confidence=st.floats(0, 1),
    level_dbfs=floats,
    low_hz=floats,
    high_hz=floats,
    detail=words,
)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.builds(
        TakeLog,
        take=takes,
        calls=st.lists(calls, max_size=4).map(tuple),
        noise=st.lists(noises, max_size=4).map(tuple),
    )
)
def test_a_take_comes_out_as_it_went_in(log: Log, stored: TakeLog) -> None:
    log.forget([stored.take.path])  # of an example before, below another rushes folder
    log.put(stored, feature_version=1)
    read = log.take_log(stored.take.path)

    def in_order(items):
        return sorted(items, key=repr)

    assert read.take == stored.take
    assert in_order(read.calls) == in_order(with_noise(stored.calls, stored.noise))
    assert in_order(read.noise) == in_order(stored.noise)
    assert [c.start_s for c in read.calls] == sorted(c.start_s for c in stored.calls)


def test_features_come_out_bit_for_bit(log: Log, rng: np.random.Generator) -> None:
    features = rng.normal(size=(5, 70)).astype(np.float32)
    features[2, 3] = np.inf
    features[3, 0] = np.nan
    log.put(
        TakeLog(take=take(), calls=tuple(call(i, features=row) for i, row in enumerate(features))),
        feature_version=3,
    )
    read = log.take_log("A001.mov", features=True)
    np.testing.assert_array_equal(np.stack([c.features for c in read.calls]), features)
    assert all(c.features.dtype == np.float32 for c in read.calls)
    assert all(c.features is None for c in log.take_log("A001.mov").calls)
    assert given_to_a_model(log, 4) == []
    np.testing.assert_array_equal(given_to_a_model(log, 3)[0], features)


def test_a_measure_that_could_not_be_taken_comes_out_as_nan(log: Log) -> None:
    log.put(TakeLog(take=take(), calls=(call(snr_db=math.nan),)), feature_version=1)
    assert math.isnan(log.take_log("A001.mov").calls[0].snr_db)


def test_exact_rates_are_stored_as_text(log: Log) -> None:
    log.put(TakeLog(take=take(fps=Fraction(30000, 1001))), feature_version=1)
    with sqlite3.connect(log.path) as db:
        assert db.execute("SELECT fps FROM takes").fetchone() == ("30000/1001",)
    db.close()
