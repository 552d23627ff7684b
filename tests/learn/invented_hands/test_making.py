"""Lessons in what hands sound like: sounds, takes, what is found in them, and what is learnt."""

from __future__ import annotations

import shutil

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.finding.hands import Hands
from calltag.learn.invented_hands import making, takes
from calltag.learn.invented_hands.synth_hands import SOUNDS, step
from calltag.learn.invented_hands.takes import SORTS
from calltag.learn.invented_takes.parts import TAKE_S
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import starter_model
from calltag.sound.spectrum import RATE_HZ


@pytest.mark.parametrize("maker", [*SOUNDS, step])
def test_a_thing_sounds_again_and_never_quite_alike(rng, maker) -> None:
    for _ in range(3):
        sound = maker(rng)
        once, again = sound(), sound()
        for one in (once, again):
            assert one.dtype == np.float32
            assert 0.03 < len(one) / RATE_HZ < 1.7
            assert 0.9 < np.abs(one).max() < 3
        assert len(once) != len(again) or not np.array_equal(once, again)


def test_a_knock_is_low(rng) -> None:
    """Of most knocks more than half of the power lies below 1 kHz."""
    low = []
    for _ in range(12):
        power = np.abs(np.fft.rfft(SOUNDS[0](rng)(), RATE_HZ)) ** 2
        low.append(power[:1000].sum() / power.sum())
    assert np.median(low) > 0.5


@pytest.mark.parametrize("sort", SORTS)
def test_a_take_holds_what_it_says_and_where(rng, sort) -> None:
    for _ in range(4):
        take = takes.take(rng, sort)
        assert len(take.samples) == TAKE_S * RATE_HZ
        assert np.abs(take.samples).max() <= 0.601
        assert bool(take.others) == ("hands" in sort)
        assert bool(take.calls) == ("animals" in sort)
        for span in (*take.others, *take.calls):
            assert 0 < span.start_s < span.end_s <= TAKE_S + 0.5


def test_what_is_made_lies_beside_its_model(tmp_path) -> None:
    shipped = StarterFiles.of(starter_model())
    for path in (shipped.model, shipped.closer, shipped.card, shipped.second_look):
        shutil.copy(path, tmp_path)
    files = StarterFiles.of(tmp_path / shipped.model.name)
    made = making.make(files.model, takes=2, seed=1)
    assert Hands.read(files.hands) == made
    assert min(made.lessons.values()) > 0
    with pytest.raises(InputError, match="0 takes"):
        making.make(files.model, takes=0, seed=1)
