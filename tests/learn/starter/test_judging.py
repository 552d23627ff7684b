"""Calibration and figures of the starter model, on odds that are known."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.hearing import STEPS_PER_S, Heard
from calltag.learn.segments import EVIDENCE
from calltag.learn.starter.calibrate import Finds, collect, fit, share_in
from calltag.learn.starter.judge import judge
from calltag.learn.starter.scenes import Scene
from calltag.records import NOISE_KINDS, Span

N_STEPS = 10 * STEPS_PER_S


def heard(*spans: tuple[float, float], odds: float = 4.0) -> Heard:
    """What a model would hear that is sure of these spans."""
    call = np.full(N_STEPS, -6.0, np.float32)
    for start_s, end_s in spans:
        call[round(start_s * STEPS_PER_S) : round(end_s * STEPS_PER_S)] = odds
    kinds = np.full((N_STEPS, len(NOISE_KINDS)), -4.0, np.float32)
    return Heard(call, kinds, np.zeros((N_STEPS, 1), np.float32))


def scene(*spans: tuple[float, float], snr_db: float = 10.0, background: str = "air") -> Scene:
    return Scene(np.zeros(1, np.float32), tuple(Span(*s) for s in spans), background, snr_db)


CERTAIN = {"offset": 9.0, **dict.fromkeys(EVIDENCE, 0.0)}


def test_the_share_of_a_find_that_is_call() -> None:
    assert share_in(Span(1, 3), [Span(0, 2), Span(2.5, 9)]) == pytest.approx(0.75)
    assert share_in(Span(1, 3), []) == 0


def test_figures_count_calls_and_finds() -> None:
    """Of three calls two are found, of four finds two are right: F1 is 4/7 by its definition."""
    finds = heard((1, 2), (3, 4), (6, 6.5), (8, 9))
    figures = judge([finds], [scene((1, 2), (3.2, 4), (5, 5.5))], CERTAIN)["finding"]["all"]
    assert figures == {
        "calls": 3,
        "finds": 4,
        "recall": pytest.approx(2 / 3, abs=1e-3),
        "precision": 0.5,
        "f1": pytest.approx(4 / 7, abs=1e-3),
    }


def test_finds_in_scenes_without_calls_are_false() -> None:
    empty = scene(snr_db=float("nan"), background="water")
    figures = judge([heard((1, 2), (5, 6)), heard()], [empty, empty], CERTAIN)
    assert figures["false_finds_per_minute"] == {"water": 1.0}
    assert figures["finding"] == {}


def test_noise_kinds_are_compared_over_backgrounds() -> None:
    windy = heard()
    windy.kinds[: N_STEPS // 4, NOISE_KINDS.index("wind")] = 3.0
    figures = judge([windy, heard()], [scene(background="wind"), scene(background="air")], CERTAIN)
    assert figures["noise_kinds"] == {"wind": {"heard_in_its_own": 0.25, "heard_in_others": 0.0}}


def test_a_probability_that_holds_has_no_calibration_error() -> None:
    even = {"offset": 0.0, **dict.fromkeys(EVIDENCE, 0.0)}
    figures = judge([heard((1, 2), (4, 5))], [scene((1, 2))], even, least=0.0)
    assert figures["calibration_error"] == 0
    figures = judge([heard((1, 2), (4, 5))], [scene((1, 2))], CERTAIN)
    assert figures["calibration_error"] == pytest.approx(0.5, abs=0.01)


def test_the_fit_tells_right_finds_from_wrong_ones(rng) -> None:
    right = rng.random(400) < 0.5
    rows = rng.normal(0, 1, (400, len(EVIDENCE)))
    rows[:, 0] += 3 * right
    card = fit(Finds(rows, right))
    odds = card["offset"] + rows @ [card[name] for name in EVIDENCE]
    assert ((odds > 0) == right).mean() > 0.9
    with pytest.raises(InputError, match="all alike"):
        fit(Finds(rows, np.ones(400, bool)))


def test_finds_are_collected_with_what_is_right_about_them() -> None:
    finds = collect([heard((1, 2), (5, 6))], [scene((0.9, 2.1))])
    assert finds.rows.shape == (2, len(EVIDENCE))
    assert finds.right.tolist() == [True, False]
