"""Pieces of sound, and scenes composed of them: they say what is in them, and never run out."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.starter.bank import PIECE_S, real_pieces, synthetic_pieces
from calltag.learn.starter.compose import SCENE_FRAMES, Bank, compose
from calltag.learn.starter.recordings import Recording
from calltag.records.label import NOISE_KINDS
from calltag.sound.spectrum import N_MELS, RATE_HZ


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
