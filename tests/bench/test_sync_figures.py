"""How often takes are lined up, and how well: more pairs than the suite has time for.

Simulated pairs as `tests/pairs.py` makes them: two microphones, each with its own noise or wind,
room and clock (50 ppm), one at 44.1 kHz and 20 dB lower; calls as loud as the noise in their band.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from calltag.edit.sync.comparing import Outcome, compare

pytestmark = pytest.mark.bench

RATE_HZ = 48_000
CLOSE_S = 0.005
N_RELATED = 40
N_UNRELATED_TAKES = 21
"""Each with each: 210 pairs."""


def test_pairs_at_0_db_are_within_5_ms(pairs) -> None:
    errors_ms, outcomes = [], []
    for seed in range(1000, 1000 + N_RELATED):
        pair = pairs.make_pair(seed, snr_db=0.0, seconds=40.0)
        found = compare(pairs.traced(pair.a), pairs.traced(pair.b, pair.rate_b_hz))
        outcomes.append(found.outcome)
        errors_ms.append(1000 * pair.worst_error_s(found.alignment))
    lined_up = [e for e, o in zip(errors_ms, outcomes, strict=True) if o is Outcome.LINED_UP]
    within = sum(e < 1000 * CLOSE_S for e in lined_up)
    print(
        f"\n{N_RELATED} pairs at 0 dB: {len(lined_up)} lined up, {within} within 5 ms; "
        f"middle error {np.median(lined_up):.2f} ms, largest {max(lined_up):.2f} ms; "
        f"{outcomes.count(Outcome.UNSURE)} unsure, {outcomes.count(Outcome.NOTHING)} not found"
    )
    assert within == len(lined_up)  # what is told as certain is right
    assert within >= 0.95 * N_RELATED


def test_no_false_match_among_210_unrelated_pairs(pairs) -> None:
    traces = []
    for seed in range(2000, 2000 + N_UNRELATED_TAKES):
        rng = np.random.default_rng(seed)
        seconds = int(rng.integers(12, 60))
        noise = (pairs.windy if seed % 2 else pairs.pink)(rng, seconds * RATE_HZ)
        kind = int(rng.integers(5)) if seed % 3 == 0 else None  # some: one species only
        snr_db = float(rng.choice([0, 5, 10, 20]))
        events = pairs.chorus(rng, seconds, kind=kind)
        traces.append(pairs.traced(pairs.heard(rng, events, noise, snr_db)))
    outcomes = [compare(a, b).outcome for a, b in combinations(traces, 2)]
    print(
        f"\n{len(outcomes)} unrelated pairs: {outcomes.count(Outcome.LINED_UP)} lined up, "
        f"{outcomes.count(Outcome.UNSURE)} unsure, {outcomes.count(Outcome.NOTHING)} nothing common"
    )
    assert len(outcomes) >= 200
    assert Outcome.LINED_UP not in outcomes
