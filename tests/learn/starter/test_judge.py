"""Figures of the starter model, on odds that are known."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.starter.judge import judge
from calltag.records.label import NOISE_KINDS

from .conftest import N_STEPS, heard, scene


def judged(whats, scenes, probability=0.999, **options):
    return judge(whats, scenes, [np.full(len(w.finds), probability) for w in whats], **options)


def test_figures_count_calls_and_finds() -> None:
    """Of three calls two are found, of four finds two are right: F1 is 4/7 by its definition."""
    finds = heard((1, 2), (3, 4), (6, 6.5), (8, 9))
    figures = judged([finds], [scene((1, 2), (3.2, 4), (5, 5.5))])["finding"]["all"]
    assert figures == {
        "calls": 3,
        "finds": 4,
        "recall": pytest.approx(2 / 3, abs=1e-3),
        "precision": 0.5,
        "f1": pytest.approx(4 / 7, abs=1e-3),
    }


def test_finds_in_scenes_without_calls_are_false() -> None:
    empty = scene(snr_db=float("nan"), background="water")
    figures = judged([heard((1, 2), (5, 6)), heard()], [empty, empty])
    assert figures["false_finds_per_minute"] == {"water": 6.0}, "two in twenty seconds"
    assert figures["finding"] == {}


def test_noise_kinds_are_compared_over_backgrounds() -> None:
    windy = heard()
    windy.heard.kinds[: N_STEPS // 4, NOISE_KINDS.index("wind")] = 3.0
    figures = judged([windy, heard()], [scene(background="wind"), scene(background="air")])
    assert figures["noise_kinds"] == {"wind": {"heard_in_its_own": 0.25, "heard_in_others": 0.0}}


def test_a_probability_that_holds_has_no_calibration_error() -> None:
    finds, scenes = [heard((1, 2), (4, 5))], [scene((1, 2))]
    assert judged(finds, scenes, 0.5, least=0.0)["calibration_error"] == 0
    assert judged(finds, scenes)["calibration_error"] == pytest.approx(0.5, abs=0.01)


def test_unlikely_finds_do_not_count() -> None:
    figures = judge([heard((1, 2), (4, 5))], [scene((1, 2), (4, 5))], [np.array([0.9, 0.4])])[
        "finding"
    ]["all"]
    assert (figures["finds"], figures["recall"], figures["precision"]) == (1, 0.5, 1.0)
