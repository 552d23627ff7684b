"""Covariances of types that are spread as is known."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.call_types import kinship
from calltag.learn.call_types.kinship import prior
from calltag.learn.invented_types.covariances import learn_kinship, write

N = 6


def types(rng: np.random.Generator, n: int, each: int) -> tuple[np.ndarray, np.ndarray]:
    """Calls of types one and a half times as far apart as the calls of one; code of each."""
    codes = np.repeat(np.arange(n), each)
    calls = rng.normal(0, 1.5, (n, N))[codes] + rng.normal(0, 1, (len(codes), N))
    mixed = np.linalg.qr(np.random.default_rng(0).normal(size=(N, N)))[0] * np.arange(1, N + 1)
    return calls @ mixed + 7, codes


def test_spreads_of_many_types_are_found_again(rng) -> None:
    rows, codes = types(rng, 600, 8)
    found = learn_kinship(rows, codes)
    assert found.spread == pytest.approx(np.full(N, 2.25), rel=0.35)
    placed = found.place(rows)
    centres = np.stack([placed[codes == code].mean(axis=0) for code in range(600)])
    within = (placed - centres[codes]).T @ (placed - centres[codes]) / (len(codes) - 600)
    assert within == pytest.approx(np.eye(N), abs=0.15)
    assert placed.mean(axis=0) == pytest.approx(np.zeros(N), abs=0.2)


def test_a_prior_is_read_as_it_was_written(tmp_path, monkeypatch, rng) -> None:
    rows, codes = types(rng, 30, 8)
    known = learn_kinship(rows, codes)
    write(tmp_path / "kinship.npz", known)
    monkeypatch.setattr(kinship, "PRIOR", tmp_path / "kinship.npz")
    prior.cache_clear()
    try:
        assert prior().place(rows) == pytest.approx(known.place(rows), abs=1e-3)
    finally:
        prior.cache_clear()
