"""Which sounds are worth a label next."""

from __future__ import annotations

import numpy as np

from calltag.learn.call_types.next_to_label import next_to_label


def test_next_to_label_are_strange_and_different(taught, sounds) -> None:
    known = sounds.rows("machine", 60, take=2)
    new_type = sounds.rows("reed otter: whistle", 6, take=2)
    other_type = sounds.rows("silt crake: tick", 6, take=2)
    chosen = next_to_label(taught.tagger, np.concatenate([known, new_type, other_type]), n=4)
    assert len(set(chosen)) == 4
    assert sum(i >= 60 for i in chosen) >= 3
    assert any(60 <= i < 66 for i in chosen)
    assert any(i >= 66 for i in chosen)
    assert next_to_label(taught.tagger, known[:3], n=10) != []
    assert next_to_label(taught.tagger, np.zeros((0, 40), np.float32), n=10) == []


def test_of_equal_sounds_only_one_is_proposed_first(taught, sounds) -> None:
    strange = sounds.rows("reed otter: whistle", 1)
    many = np.concatenate([np.repeat(strange, 10, axis=0), sounds.rows("silt crake: tick", 1)])
    first, second = next_to_label(taught.tagger, many, n=2)
    assert (first < 10) != (second < 10)
