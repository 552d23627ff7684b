"""Calibration and figures of the starter model, on odds that are known."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.finding.surroundings import EVIDENCE
from calltag.learn.networks.starter_model import STEPS_PER_S, Heard
from calltag.learn.starter.calibrate import SceneHeard, fit, hear, right, share_in
from calltag.learn.starter.judge import judge
from calltag.learn.starter.recordings import Recording
from calltag.learn.starter.scenes import SHORT_S, Scene, recordings_alone, short_takes
from calltag.records.label import NOISE_KINDS
from calltag.records.span import Span
from calltag.sound.features import N_EMBEDDING
from calltag.sound.spectrum import RATE_HZ

N_STEPS = 10 * STEPS_PER_S


def heard(*spans: tuple[float, float]) -> SceneHeard:
    """What a model would hear that is sure of these spans."""
    call = np.full(N_STEPS, -6.0, np.float32)
    kinds = np.full((N_STEPS, len(NOISE_KINDS)), -4.0, np.float32)
    return SceneHeard(
        Heard(call, kinds, np.zeros((N_STEPS, 1), np.float32)),
        tuple(Span(*span) for span in spans),
        np.zeros((len(spans), len(EVIDENCE))),
    )


def scene(*spans: tuple[float, float], snr_db: float = 10.0, background: str = "air") -> Scene:
    return Scene(np.zeros(1, np.float32), tuple(Span(*s) for s in spans), background, snr_db)


def judged(whats, scenes, probability=0.999, **options):
    return judge(whats, scenes, [np.full(len(w.finds), probability) for w in whats], **options)


def test_the_share_of_a_find_that_is_call() -> None:
    assert share_in(Span(1, 3), [Span(0, 2), Span(2.5, 9)]) == pytest.approx(0.75)
    assert share_in(Span(1, 3), []) == 0


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


def test_the_fit_tells_right_finds_from_wrong_ones_that_it_has_not_seen(rng) -> None:
    is_right = rng.random(800) < 0.5
    rows = rng.normal(0, 1, (800, len(EVIDENCE)))
    rows[:, 0] += 3 * is_right
    rows[:, 1] *= 50.0  # in other units
    look = fit(rows[:400], is_right[:400])
    assert ((look.probability(rows[400:]) > 0.5) == is_right[400:]).mean() > 0.88
    with pytest.raises(InputError, match="all alike"):
        fit(rows, np.ones(800, bool))


def test_which_finds_are_right() -> None:
    whats = [heard((1, 2), (5, 6)), heard(), heard((1, 3))]
    scenes = [scene((0.9, 2.1)), scene((1, 2)), scene((2, 9))]
    assert right(whats, scenes).tolist() == [True, False, True]


def test_a_scene_is_heard_with_evidence_for_each_find(rng) -> None:
    class Ear:
        """Hears a call where it is loud."""

        def listen(self, level_db):
            loud = level_db[::2].max(axis=1)
            kinds = np.full((len(loud), len(NOISE_KINDS)), -4, np.float32)
            embedding = np.zeros((len(loud), N_EMBEDDING), np.float32)
            return Heard(np.where(loud > -50, 4, -4).astype(np.float32), kinds, embedding)

    t = np.arange(6 * RATE_HZ) / RATE_HZ
    sound = 1e-4 * rng.standard_normal(len(t))
    sound += 0.1 * np.sin(2 * np.pi * 3000 * t) * ((t > 2) & (t < 3))
    what = hear(Ear(), sound.astype(np.float32))
    assert len(what.finds) == 1
    assert what.finds[0] == pytest.approx((2, 3), abs=0.05)
    assert what.evidence.shape == (1, len(EVIDENCE))
    assert what.evidence[0, EVIDENCE.index("snr_db")] > 30
    assert hear(Ear(), np.zeros(RATE_HZ, np.float32)).evidence.shape == (0, len(EVIDENCE))


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
