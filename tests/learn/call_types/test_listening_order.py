from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from calltag.learn.call_types.examples import Sound
from calltag.learn.call_types.listening_order import listening_order
from calltag.records.span import Span


def many(sounds, counts: dict[str, int]) -> tuple[list[Sound], list[str]]:
    made = [one for label, n in counts.items() for one in sounds.unlabelled(label, n)]
    return made, [label for label, n in counts.items() for _ in range(n)]


def test_before_teaching_all_types_come_early(sounds) -> None:
    """One type makes up most of the shoot: in order of take, it would be all there is to hear."""
    kinds = dict.fromkeys(sounds.types, 8) | {sounds.types[0]: 120}
    ones, labels = many(sounds, kinds)
    order = listening_order(ones, [0.9] * len(ones), None)
    assert sorted(order) == list(range(len(ones)))
    heard = Counter(labels[i] for i in order[:20])
    assert set(heard) == set(sounds.types), heard


@pytest.mark.parametrize("telling", [200, 12])
def test_before_teaching_what_is_surely_a_call_comes_first(sounds, monkeypatch, telling) -> None:
    """Among those that are ordered by what they would teach, and among the rest."""
    monkeypatch.setattr("calltag.learn.call_types.listening_order._TELLING", telling)
    ones, _ = many(sounds, dict.fromkeys(sounds.types, 10))
    odds = [0.95 if i % 2 else 0.05 for i in range(len(ones))]
    n_sure = 12 if telling > 12 else 20
    assert all(i % 2 for i in listening_order(ones, odds, None)[:n_sure])


def test_before_teaching_scraps_do_not_come_first(sounds) -> None:
    """They are the surest calls here; a type of short calls is still heard among the first."""
    ones, labels = many(sounds, dict.fromkeys(sounds.types, 10))
    brief = [i for i, label in enumerate(labels) if label == sounds.types[3]]
    for i in brief:
        ones[i] = ones[i]._replace(span=Span(1.0, 1.09))
    cut_off = [i % 10 == 0 for i in range(len(ones))]
    odds = [0.99 if cut or i in brief else 0.9 for i, cut in enumerate(cut_off)]
    order = listening_order(ones, odds, None, cut_off)
    assert sorted(order) == list(range(len(ones)))
    assert not cut_off[order[0]]
    assert order[0] not in brief
    assert any(i in brief for i in order[:15])


def test_after_teaching_a_new_type_comes_first(sounds, taught) -> None:
    known = [one for name in sounds.types for one in sounds.unlabelled(name, 10)]
    new = sounds.unlabelled("heron mask: clack", 6)
    order = listening_order(known + new, [0.9] * 46, taught.tagger)
    assert sorted(order) == list(range(46))
    assert sum(i >= 40 for i in order[:6]) >= 3


def test_after_teaching_scraps_do_not_come_first(sounds, taught) -> None:
    known = [one for name in sounds.types for one in sounds.unlabelled(name, 10)]
    ones = known + sounds.unlabelled("heron mask: clack", 6)
    first = listening_order(ones, [0.9] * 46, taught.tagger)[0]
    brief = [one._replace(span=Span(1, 1.05)) if i == first else one for i, one in enumerate(ones)]
    cut_off = [i == first for i in range(46)]
    for these, cut in ((brief, None), (ones, cut_off)):
        order = listening_order(these, [0.9] * 46, taught.tagger, cut)
        assert sorted(order) == list(range(46))
        assert order[0] != first
        assert order[0] >= 40
        assert first in order[:6]


def test_sounds_of_another_version_come_last(sounds, taught) -> None:
    old = Sound(np.zeros(3, np.float32), "A001.MOV", Span(0, 1))
    ones = [old, *sounds.unlabelled(sounds.types[0], 3)]
    for tagger in (None, taught.tagger):
        assert listening_order(ones, [0.9] * 4, tagger)[-1] == 0
    assert listening_order([], [], None) == []
    assert listening_order([old], [0.5], taught.tagger) == [0]
