"""Lessons in what hands sound like: sounds, takes, what is found in them, and what is learnt."""

from __future__ import annotations

import shutil

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.finding.hands import HAND_EVIDENCE, Hands
from calltag.learn.invented_hands import making, takes
from calltag.learn.invented_hands.synth_hands import SOUNDS, step
from calltag.learn.invented_hands.takes import SORTS, TAKE_S, HandTake
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import Heard, starter_model
from calltag.records.span import Span
from calltag.sound.spectrum import N_BINS, RATE_HZ


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(5)


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
        assert bool(take.hands) == ("hands" in sort)
        assert bool(take.calls) == ("animals" in sort)
        for span in (*take.hands, *take.calls):
            assert 0 < span.start_s < span.end_s <= TAKE_S + 0.5


def test_what_is_surely_one_of_both_is_a_lesson(monkeypatch) -> None:
    """A hand, a call, a call amid handling, nothing, an unlikely one, and a hand and a call."""
    at_s = (1, 5, 9, 13, 2, 3)

    class Around:
        def evidence(self, i, _region):
            return i

    class Listened:
        power = np.ones((1600, N_BINS), np.float32)
        heard = Heard(np.zeros(800), np.zeros((800, 5)), np.zeros((800, 1)))

        def segments(self):
            return [(50 * at, 50 * at + 50) for at in at_s]

        def regions(self, segments):
            return segments

        def surroundings(self, _segments):
            return Around()

    class Look:
        def probability_of(self, i):
            return 0.05 if i == 4 else 0.9

    monkeypatch.setattr(making.Whole, "listen", lambda *_: Listened())
    monkeypatch.setattr(making, "hand_evidence", lambda _mel, _heard, first, last: (first, last))
    calls = (Span(3.7, 4.1), Span(4.9, 6.1), Span(9.0, 9.9))
    take = HandTake(np.zeros(0), (Span(0.5, 4), Span(8.5, 11)), calls)
    assert making.lessons(None, Look(), take) == [
        (True, (50, 100), 1.0),
        (False, (250, 300), 1.0),
        (False, (450, 500), 0.25),
    ]


def test_what_is_learnt_tells_the_lessons_apart(rng) -> None:
    rows = rng.normal(0, 1, (400, len(HAND_EVIDENCE)))
    is_hand = rng.random(400) < 0.5
    rows[is_hand, HAND_EVIDENCE.index("broad")] += 4
    hands = making.fit([making.HandLesson(*one, 1.0) for one in zip(is_hand, rows, strict=True)])
    told = np.array([hands.probability_of(row) for row in rows])
    assert ((told > 0.5) == is_hand).mean() > 0.9
    assert hands.lessons == {"hands": is_hand.sum(), "calls": (~is_hand).sum()}


def test_without_hands_or_calls_nothing_is_learnt() -> None:
    with pytest.raises(InputError, match="0 events of handling and 1 calls were found: make more"):
        making.fit([making.HandLesson(False, np.zeros(len(HAND_EVIDENCE)), 1.0)])


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
