"""The second look: what is gathered about an event, and what is made of it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import logit
from sklearn.ensemble import HistGradientBoostingClassifier

from calltag.errors import ModelError
from calltag.learn.finding.second_look import TOP_ODDS, SecondLook
from calltag.learn.finding.surroundings import EVIDENCE, Surroundings
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import (
    FRAMES_PER_STEP,
    STEPS_PER_S,
    Heard,
    over_steps,
    starter_model,
)
from calltag.learn.starter.calibrate import as_second_look
from calltag.records.label import NOISE_KINDS
from calltag.sound.events import Region
from calltag.sound.features import N_EMBEDDING
from calltag.sound.spectrum import N_MELS, mel_edges_hz, to_db

SHIPPED = StarterFiles.of(starter_model())
N_STEPS = 20 * STEPS_PER_S
EVENT = (500, 540)
BAND = 30


def odds(*on, n=N_STEPS):
    call = np.full(n, -5.0, np.float32)
    for first, last in on:
        call[first:last] = 5
    return call


def region(*, band=BAND, snr_db=12.0):
    low_hz, peak_hz, high_hz = mel_edges_hz()[band : band + 3]
    return Region(
        0, 1, low_hz + 1, high_hz - 1, peak_hz, snr_db, -40.0, np.ones(1), np.zeros((1, 1))
    )


def heard(call, kinds=None, embedding=None):
    if kinds is None:
        kinds = np.full((len(call), len(NOISE_KINDS)), -4, np.float32)
    if embedding is None:
        embedding = np.zeros((len(call), N_EMBEDDING), np.float32)
    return Heard(np.asarray(call, np.float32), kinds, embedding)


def noise(rng, n=N_STEPS, mean=1e-6):
    """Mel power of noise: each band of each frame for itself."""
    return (mean * rng.chisquare(8, (n * FRAMES_PER_STEP, N_MELS)) / 8).astype(np.float32)


def named(what, mel, segments=(EVENT,), event=0, where=None):
    values = Surroundings(over_steps(mel), over_steps(to_db(mel)), what, segments).evidence(
        event, where or region()
    )
    assert values.shape == (len(EVIDENCE),)
    assert np.isfinite(values).all()
    return dict(zip(EVIDENCE, values.tolist(), strict=True))


def frames(first, last):
    return slice(first * FRAMES_PER_STEP, last * FRAMES_PER_STEP)


# --- odds and kinds -------------------------------------------------------------------------------


def test_odds_of_a_lone_call(rng):
    call = odds()
    call[500:540] = np.r_[np.full(10, 1), np.full(10, 2), np.full(20, 6)]
    found = named(heard(call), noise(rng))
    assert found["mean_odds"] == pytest.approx(3.75)
    assert found["top_odds"] == 6
    assert found["low_odds"] == pytest.approx(1.75)  # the lower quarter, between 1 and 2
    assert found["spread"] == pytest.approx(np.std(call[500:540]))
    assert found["log_steps"] == pytest.approx(np.log(40))
    assert found["odds_before"] == found["odds_after"] == -5
    assert found["calls_around"] == found["sure_around"] == 0
    assert found["wind_in_it"] == found["machine_around"] == -4
    assert found["snr_db"] == 12
    assert found["events_near"] == 0


def test_odds_of_what_is_around(rng):
    segments = [(300, 350), EVENT, (600, 650)]
    call, mel = odds(*segments), noise(rng)
    found = named(heard(call), mel, segments, 1)
    # 250 steps on each side less the 15 next to it, of which 50 and 50 are call
    assert found["calls_around"] == pytest.approx(100 / 470, abs=0.01)
    assert found["events_near"] == 2
    call[300:350] = 1
    less = named(heard(call), mel, segments, 1)
    assert less["sure_around"] < found["sure_around"]
    assert less["unsure_around"] > found["unsure_around"]
    assert less["unsure_near"] > found["unsure_near"]


def test_high_odds_near_are_those_of_most_steps(rng):
    call = odds(EVENT)
    call[:100] = -1  # a tenth of what is there
    assert named(heard(call), noise(rng))["high_odds_near"] == pytest.approx(-1)


def test_noise_in_it_and_around(rng):
    kinds = np.full((N_STEPS, len(NOISE_KINDS)), -4, np.float32)
    kinds[480:600, NOISE_KINDS.index("voice")] = 5
    kinds[560:600, NOISE_KINDS.index("wind")] = 40  # however sure, it counts as 6 at most
    found = named(heard(odds(EVENT), kinds), noise(rng))
    assert found["voice_in_it"] == 5
    assert -4 < found["voice_around"] < 5
    assert found["wind_in_it"] == -4
    assert found["wind_around"] <= 6


# --- what is usual near it ------------------------------------------------------------------------


def test_level_over_what_is_usual_in_its_band(rng):
    mel = noise(rng)
    mel[frames(*EVENT), BAND] += 100e-6  # three bands are looked at: 103 to 3
    found = named(heard(odds(EVENT)), mel)
    assert found["over_usual_db"] == pytest.approx(10 * np.log10(103 / 3), abs=0.3)
    assert found["usual_spread_db"] == 0.5  # means over 40 steps hardly vary
    assert found["over_usual"] == pytest.approx(2 * found["over_usual_db"])
    assert 10 < found["over_loud_db"] < found["over_usual_db"] + 2
    assert found["stands_out_db"] == pytest.approx(20, abs=4)


def test_what_is_loud_in_another_band_does_not_count(rng):
    mel = noise(rng)
    mel[frames(*EVENT), BAND + 20] += 100e-6
    assert named(heard(odds(EVENT)), mel)["over_usual_db"] == pytest.approx(0, abs=0.5)


def test_other_events_are_not_what_is_usual(rng):
    segments = [(200, 260), EVENT, (700, 760)]
    mel = noise(rng)
    for segment in segments:
        mel[frames(*segment), BAND] += 100e-6
    found = named(heard(odds(*segments)), mel, segments, 1)
    assert found["over_usual_db"] == pytest.approx(10 * np.log10(103 / 3), abs=0.3)
    overlooked = named(heard(odds(EVENT)), mel)
    assert overlooked["usual_spread_db"] > found["usual_spread_db"]


def test_a_sound_that_comes_again_without_being_found_is_like_what_is_there(rng):
    mel, embedding = noise(rng), np.zeros((N_STEPS, N_EMBEDDING), np.float32)
    rev = np.exp(rng.normal(0, 1.5, N_MELS)).astype(np.float32) * 1e-5
    mel[frames(*EVENT)] += rev
    embedding[slice(*EVENT), 0] = 3
    once = named(heard(odds(EVENT), embedding=embedding), mel)
    for first in (100, 250, 800):
        mel[frames(first, first + 60)] += rev
        embedding[first : first + 60, 0] = 3
    again = named(heard(odds(EVENT), embedding=embedding), mel)
    assert once["like_colour"] < 0.5
    assert again["like_colour"] > 0.95
    assert once["unlike_in_ear"] == pytest.approx(3)
    assert again["unlike_in_ear"] < 2


def test_its_gain_does_not_change_what_is_gathered(rng):
    mel = noise(rng)
    mel[frames(*EVENT), BAND] += 50e-6
    soft, loud = (named(heard(odds(EVENT)), mel * np.float32(gain)) for gain in (1, 100))
    assert loud == pytest.approx(soft, abs=0.02)


@pytest.mark.parametrize(
    ("n", "event"), [(40, (0, 4)), (40, (0, 40)), (40, (36, 40)), (40, (10, 11)), (1, (0, 1))]
)
def test_ends_of_a_take(rng, n, event):
    named(heard(odds(event, n=n)), noise(rng, n), [event])


def test_one_frame_and_bands_beyond_the_highest(rng):
    named(heard(odds((0, 1), n=1)), noise(rng, 1)[:1], [(0, 1)])
    highest = Region(0, 1, 20_000.0, 21_000.0, 20_500.0, 3.0, -60.0, np.ones(1), np.zeros((1, 1)))
    named(heard(odds(EVENT)), noise(rng), where=highest)


def test_where_all_is_events_they_are_what_is_usual(rng):
    segments = [(0, 300), (300, 700), (700, N_STEPS)]
    found = named(heard(odds(*segments)), noise(rng), segments, 1)
    assert found["over_usual_db"] == pytest.approx(0, abs=0.5)
    assert found["log_usual"] == 0  # so that the judge may know


def test_how_much_there_is_to_compare_with(rng):
    found = named(heard(odds(EVENT)), noise(rng))
    assert np.exp(found["log_usual"]) == pytest.approx(1 + N_STEPS - 40)  # less than 15 s each side


# --- what is there when it sounds alike -----------------------------------------------------------


def test_what_stands_out_of_a_motor_is_over_what_is_expected(rng, motor_db):
    levels = 10 ** (motor_db(rng, N_STEPS, every=60) / 10)
    mel = np.repeat(levels.astype(np.float32), FRAMES_PER_STEP, axis=0) * noise(rng, mean=1)
    usual = named(heard(odds(EVENT)), mel)
    mel[frames(*EVENT), BAND - 1 : BAND + 2] = 10 ** (-40 / 10)
    found = named(heard(odds(EVENT)), mel)
    assert found["over_expected_db"] > usual["over_expected_db"] + 10
    assert found["over_expected"] > usual["over_expected"] + 5
    assert found["over_loud_expected_db"] > 5 > usual["over_loud_expected_db"]
    assert found["clearest_over_expected_db"] > usual["clearest_over_expected_db"] + 5
    assert found["beside_over_expected_db"] < found["over_expected_db"] / 2


def test_what_the_model_hears_when_it_sounds_alike(rng):
    """A motor at high speed is taken for a call, here and there: so it is with what is like it."""
    mel, rev = noise(rng), np.exp(rng.normal(0, 1.5, N_MELS)).astype(np.float32) * 1e-5
    call, revs = odds(EVENT), [(100, 160), (250, 310), EVENT, (800, 860)]
    for first, last in revs:
        mel[frames(first, last)] += rev
    once = named(heard(call), mel)
    for first, last in revs:
        call[first:last] = 2
    again = named(heard(call), mel)
    assert once["odds_when_alike"] == pytest.approx(-5, abs=0.5)
    assert again["odds_when_alike"] == pytest.approx(2, abs=0.5)
    assert once["events_when_alike"] == pytest.approx(0, abs=0.05)
    found = named(heard(call), mel, revs, 2)
    assert found["events_when_alike"] == pytest.approx(1, abs=0.05)


# --- what is made of it ---------------------------------------------------------------------------


def test_probability_is_that_of_the_trees(rng):
    """The arithmetic is that of scikit-learn's boosted trees with the same nodes."""
    rows = rng.normal(0, 1, (3000, len(EVIDENCE)))
    rows[:, TOP_ODDS] = np.abs(rows[:, TOP_ODDS])
    right = rows[:, 0] + rows[:, 1] * rows[:, 2] + rng.normal(0, 0.5, len(rows)) > 0
    boosted = HistGradientBoostingClassifier(max_iter=40, early_stopping=False, random_state=0)
    look = as_second_look(boosted.fit(rows[:2000], right[:2000]))
    expected = boosted.predict_proba(rows)[:, 1]
    np.testing.assert_allclose(look.probability(rows), expected, atol=1e-12)
    assert look.probability(rows[:0]).shape == (0,)
    far = look.probability(rows * 1e9)
    assert ((far >= 0) & (far <= 1)).all()


def test_a_half_heard_event_is_less_likely_a_call_the_lower_its_odds_stay(rng):
    rows = rng.normal(0, 1, (200, len(EVIDENCE)))
    rows[:, TOP_ODDS] = -0.01
    look = as_second_look(
        HistGradientBoostingClassifier(max_iter=5, early_stopping=False, random_state=0).fit(
            np.abs(rows), rows[:, 0] > 0
        )
    )
    at_even, lower, lowest = (
        look.probability(np.where(np.arange(len(EVIDENCE)) == TOP_ODDS, top, rows))
        for top in (-1e-9, -0.4, -0.8)
    )
    np.testing.assert_allclose(logit(at_even) - logit(lower), 0.8, atol=1e-6)  # twice as much
    np.testing.assert_allclose(logit(lower) - logit(lowest), 0.8, atol=1e-6)


def test_a_surer_look_has_the_same_trees_and_higher_odds(rng):
    rows = rng.normal(0, 1, (300, len(EVIDENCE)))
    boosted = HistGradientBoostingClassifier(max_iter=5, early_stopping=False, random_state=0)
    look = as_second_look(boosted.fit(rows, rows[:, 0] > 0))
    gained = logit(look.surer(0.3).probability(rows)) - logit(look.probability(rows))
    np.testing.assert_allclose(gained, 0.3, atol=1e-9)


def test_it_is_written_and_read_back(tmp_path):
    look = SecondLook.read(SHIPPED.second_look)
    look.write(tmp_path / "again.npz")
    again = SecondLook.read(tmp_path / "again.npz")
    for name in SecondLook.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(again, name), getattr(look, name))


def test_a_file_that_is_none_is_told_so(tmp_path):
    broken = tmp_path / "starter.npz"
    with pytest.raises(ModelError, match=r"starter\.npz: the second look .* install calltag again"):
        SecondLook.read(broken)
    broken.write_bytes(b"not an archive")
    with pytest.raises(ModelError, match=r"starter\.npz"):
        SecondLook.read(broken)


def test_another_versions_evidence_is_told_apart(tmp_path):
    with np.load(SHIPPED.second_look) as stored:
        content = dict(stored)
    content["evidence"] = content["evidence"][::-1]
    np.savez(tmp_path / "other.npz", **content)
    with pytest.raises(ModelError, match="made for another version"):
        SecondLook.read(tmp_path / "other.npz")


@pytest.mark.parametrize(
    ("name", "damage"),
    [
        ("left", lambda nodes: np.r_[nodes[1], 0, nodes[2:]]),  # the first two lead to each other
        ("right", lambda nodes: np.r_[len(nodes), nodes[1:]]),
        ("roots", lambda nodes: np.r_[-1, nodes[1:]]),
        ("asks", lambda asks: np.r_[len(EVIDENCE), asks[1:]]),
        ("limit", lambda limit: limit[:-1]),
        ("odds", lambda odds: np.r_[odds[:-1], np.nan]),
    ],
)
def test_damaged_trees_are_told_so(tmp_path, name, damage):
    with np.load(SHIPPED.second_look) as stored:
        content = dict(stored)
    content[name] = damage(content[name]).astype(content[name].dtype)
    np.savez(tmp_path / "starter.npz", **content)
    with pytest.raises(ModelError, match=r"starter\.npz: the second look .* install calltag again"):
        SecondLook.read(tmp_path / "starter.npz")


def test_the_one_that_ships_believes_what_stands_out_and_not_what_is_usual(rng):
    look = SecondLook.read(SHIPPED.second_look)
    mel = noise(rng)
    mel[frames(*EVENT), BAND] += 100e-6
    kinds = np.full((N_STEPS, len(NOISE_KINDS)), -6, np.float32)
    steps = over_steps(mel), over_steps(to_db(mel))
    clear = Surroundings(*steps, heard(odds(EVENT), kinds), [EVENT])
    assert look.probability_of(clear.evidence(0, region())) > 0.9
    kinds[:, NOISE_KINDS.index("machine")] = 4
    call = np.full(N_STEPS, -0.5, np.float32)
    call[slice(*EVENT)] = 0.3
    steps = over_steps(noise(rng)), over_steps(to_db(noise(rng)))
    doubtful = Surroundings(*steps, heard(call, kinds), [EVENT])
    assert look.probability_of(doubtful.evidence(0, region(snr_db=-9))) < 0.5
