"""Noise kinds per second on ESC-10, by the shipped model.

K. J. Piczak, "ESC: Dataset for environmental sound classification", ACM Multimedia 2015. The
shipped model has heard these recordings, so that this guards the way from its odds to spans, and
says nothing of recordings that it has not heard. For those, `noise_seconds.py` is run by hand with
a model that a fold was kept from.
"""

from __future__ import annotations

import noise_seconds
import pytest

from calltag.learn.networks.starter_model import starter_model


@pytest.mark.field
def test_the_kinds_of_seconds_of_real_recordings(field):
    scores = noise_seconds.measure(starter_model(), field, "fold 1", every=3)
    assert set(scores) == set(noise_seconds.KINDS)
    for kind, score in scores.items():
        assert score.n >= 10, kind
        assert score.balanced >= (0.93 if kind == "machine" else 0.85), (kind, score)
    wrong = noise_seconds.false_by_kind(starter_model(), field, "fold 1", every=3)
    assert sum(wrong.values()) < 0.05 * 5 * 26, wrong  # of 26 clips of 5 s


def test_the_mean_of_both():
    score = noise_seconds.Score(recall=0.9, specificity=0.8, n=10, n_others=10)
    assert score.balanced == pytest.approx(0.85)
