"""Invented calls and noise: they sound where they say, at the level they say, and never run out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import welch

from calltag.learn.starter import synth_noise
from calltag.learn.starter.bank import NOISE_MAKERS, PIECE_S, real_pieces, synthetic_pieces
from calltag.learn.starter.compose import SCENE_FRAMES, Bank, compose
from calltag.learn.starter.recordings import Recording
from calltag.learn.starter.sounding import active_frames
from calltag.learn.starter.synth_calls import FAMILIES, LONGEST_S, hoot, phrase, whistle
from calltag.records.label import NOISE_KINDS
from calltag.sound.spectrum import N_MELS, RATE_HZ


@pytest.mark.parametrize("family", [maker for maker, _ in FAMILIES], ids=lambda m: m.__name__)
def test_every_voice_gives_calls_that_sound(family) -> None:
    for seed in range(4):
        voice = family(np.random.default_rng(seed))
        first, again = voice(), voice()
        for call in (first, again):
            assert np.isfinite(call).all()
            assert 0.01 < len(call) / RATE_HZ < 8
            assert np.abs(call).max() > 0.01
        n = min(len(first), len(again))
        assert not np.array_equal(first[:n], again[:n]), "no animal calls twice the same"


def test_a_whistle_is_nearly_a_pure_tone_and_a_hoot_is_low() -> None:
    for seed in range(8):
        call = whistle(np.random.default_rng(seed))()
        hz, power = welch(call, RATE_HZ, nperseg=min(len(call), 2048))
        near = np.abs(np.log2(np.maximum(hz, 1) / hz[power.argmax()])) < 0.75
        assert power[near].sum() > 0.8 * power.sum()
        call = hoot(np.random.default_rng(seed))()
        hz, power = welch(call, RATE_HZ, nperseg=min(len(call), 4096))
        assert power[hz < 5000].sum() > 0.95 * power.sum()


def test_a_voice_that_makes_no_sound_is_drawn_again(rng) -> None:
    def mute(_rng):
        return lambda: np.zeros(480, np.float32)

    for _ in range(12):
        sound = phrase(rng, ((mute, 0.5), (whistle, 0.5)))
        assert np.abs(sound).max() == pytest.approx(1, abs=1e-3)


def test_a_phrase_is_short_of_its_limit_and_of_peak_one(rng) -> None:
    for _ in range(12):
        sound = phrase(rng)
        assert len(sound) <= (LONGEST_S + 1) * RATE_HZ  # and the tail of its room
        assert np.abs(sound).max() == pytest.approx(1, abs=1e-3)
        assert active_frames(sound).any()


@pytest.mark.parametrize(
    "make",
    sorted({m for makers in NOISE_MAKERS.values() for m in makers}, key=lambda m: m.__name__),
)
def test_noise_is_of_the_length_asked_for_and_of_rms_one(rng, make) -> None:
    n = 6 * RATE_HZ
    sound = make(rng, n)
    assert len(sound) == n
    assert np.isfinite(sound).all()
    assert np.sqrt(np.mean(np.square(sound))) == pytest.approx(1, abs=0.35)


def test_wind_is_low_and_a_hum_is_at_mains_frequency(rng) -> None:
    hz, power = welch(synth_noise.wind(rng, 8 * RATE_HZ), RATE_HZ, nperseg=16_384)
    assert power[hz < 500].sum() > 0.8 * power.sum()
    hz, power = welch(synth_noise.hum(rng, 8 * RATE_HZ), RATE_HZ, nperseg=48_000)
    peaks = hz[power > 0.01 * power.max()]
    mains = 50 if np.all(np.abs(peaks / 50 - np.round(peaks / 50)) < 0.05) else 60
    assert np.all(np.abs(peaks - mains * np.round(peaks / mains)) <= 3)


def recording(name: str, group: str, seconds: float = 3.0) -> Recording:
    noise = np.random.default_rng(1).normal(0, 0.1, int(seconds * RATE_HZ)).astype(np.float32)
    sort, _, kind = name.partition("/")
    return Recording(f"{name}.ogg", kind, sort, group, noise)


def test_recordings_are_also_played_at_other_speeds(rng) -> None:
    saw, brook = recording("saws/machine", "g1"), recording("brooks/water", "g2")
    pieces = real_pieces(rng, [saw, brook], variants=4)
    assert [p.kind for p in pieces] == ["machine"] * 4 + ["water"] * 4
    assert [p.group for p in pieces] == ["g1"] * 4 + ["g2"] * 4
    assert {p.sort for p in pieces} == {"saws", "brooks"}
    lengths = [len(p.mel) for p in pieces]
    assert lengths[0] == lengths[4] == pytest.approx(300, abs=2), "the first is as it was"
    assert len(set(lengths)) > 4
    assert all(p.mel.shape[1] == N_MELS for p in pieces)


def test_scenes_say_where_calls_and_noise_are(rng) -> None:
    bank = Bank(synthetic_pieces(rng, phrases=8, noises=2))
    shares, kinds_heard = [], np.zeros(len(NOISE_KINDS))
    for _ in range(24):
        level_db, call, kinds, sorts, weight = compose(rng, bank)
        assert level_db.shape == (SCENE_FRAMES, N_MELS)
        assert call.shape == weight.shape == (SCENE_FRAMES // 2,)
        assert kinds.shape == (SCENE_FRAMES // 2, len(NOISE_KINDS))
        assert sorts.shape == (SCENE_FRAMES // 2, len(bank.sorts))
        for i, kind in enumerate(NOISE_KINDS):
            own = [sorted_of == kind for sorted_of, _ in bank.sorts]
            assert (sorts[:, own].any(axis=1) <= kinds[:, i]).all()
        assert (sorts[:, bank.sorts.index(("call", "phrase"))] == call).all()
        assert np.isfinite(level_db).all()
        assert set(np.unique(call)) <= {0, 1}
        assert ((weight > 0) & (weight <= 1)).all()
        shares.append(call.mean())
        kinds_heard += kinds.any(axis=0)
    assert 0.02 < np.mean(shares) < 0.7
    assert min(shares) == 0, "some scenes hold no call"
    assert (kinds_heard > 0).all()
    assert PIECE_S * 100 >= SCENE_FRAMES
