"""The two searches for where takes may agree, each by itself: either may be the only one that can.

In long takes the evened sound is too much work, in faint ones the outline tells nothing.
"""

from __future__ import annotations

import numpy as np
import pytest

from calltag.edit.sync.search import Bounds, Place, search_outlines, search_sound
from calltag.edit.sync.trace import EVEN_RATE_HZ, N_BANDS, Trace
from calltag.sound.spectrum import FRAMES_PER_S

ANYWHERE = Bounds()


def outlined(outline: np.ndarray) -> Trace:
    """A take of which the outline alone is known."""
    n = len(outline) * EVEN_RATE_HZ // FRAMES_PER_S
    return Trace(outline.astype(np.float32), np.zeros((n, 2), np.int8))


def two_outlines(
    rng: np.random.Generator, lag_s: float, *, seconds: float = 60.0, drift: float = 0.0
) -> tuple[Trace, Trace]:
    """Takes of one length that hear the same, each with as much of its own; B a lag later in A."""
    n = round(seconds * FRAMES_PER_S)
    both = rng.normal(size=(3 * n, N_BANDS))
    in_b = n + round(lag_s * FRAMES_PER_S) + np.round(np.arange(n) * (1 + drift)).astype(int)
    return tuple(
        outlined(both[frames] + rng.normal(size=(n, N_BANDS)))
        for frames in (n + np.arange(n), in_b)
    )


@pytest.mark.parametrize("lag_s", [0.0, 37.13, -42.5])
def test_outlines_agree_where_the_takes_lie(rng, lag_s) -> None:
    first, *others = search_outlines(*two_outlines(rng, lag_s), ANYWHERE)
    assert first.lag_s == pytest.approx(lag_s, abs=1e-6)
    assert first.slope == 0  # in a minute, no drift can be told
    lags_s = sorted(one.lag_s for one in (first, *others))
    assert np.diff(lags_s).min() > 0.25 - 1e-6  # each is a place of its own
    assert all(first.height > 2 * other.height for other in others)


def test_outlines_that_part_are_summed_along_their_drift(rng) -> None:
    """150 ppm over ten minutes are 9 frames; the lag is that of the middle of take B."""
    lag_s, drift, seconds = 20.0, 150e-6, 600.0
    a, b = two_outlines(rng, lag_s, seconds=seconds, drift=drift)
    first, *others = search_outlines(a, b, ANYWHERE)
    assert first.lag_s == pytest.approx(lag_s + drift * seconds / 2, abs=0.02)
    assert abs(first.slope - drift) <= first.slope_reach
    assert first.slope_reach < drift / 2
    assert all(first.height > 2 * other.height for other in others)


def has(places: list[Place], lag_s: float) -> bool:
    """Whether one is there that stands out as nothing does by chance."""
    return any(abs(one.lag_s - lag_s) < 0.02 and one.height > 10 for one in places)


def test_places_out_of_bounds_or_of_hardly_any_overlap_are_not_told(rng) -> None:
    takes = two_outlines(rng, 37.13)
    assert has(search_outlines(*takes, Bounds(37.0, 38.0)), 37.13)
    for bounds in (Bounds(low_s=37.2), Bounds(high_s=37.0), Bounds(-1.0, 1.0)):
        assert not has(search_outlines(*takes, bounds), 37.13)
    assert search_outlines(*takes, Bounds(61.0, 70.0)) == []
    for common_s, told in ((2.5, True), (1.5, False)):
        takes = two_outlines(rng, 60.0 - common_s)
        found = search_outlines(*takes, ANYWHERE)
        assert any(abs(one.lag_s - 60.0 + common_s) < 0.02 for one in found) == told


@pytest.mark.parametrize("lag_s", [0.0, 12.34, -9.5])
def test_sound_agrees_where_the_takes_lie(rng, lag_s) -> None:
    """To the middle of a step of 5 ms; each hears nine times as much noise of its own."""
    n = 30 * EVEN_RATE_HZ
    both = rng.normal(size=(3 * n, 2))
    starts = n, n + round(lag_s * EVEN_RATE_HZ)
    a, b = (
        Trace(
            np.zeros((30 * FRAMES_PER_S, N_BANDS), np.float32),
            np.rint(10 * (both[start : start + n] + 3 * rng.normal(size=(n, 2)))).astype(np.int8),
        )
        for start in starts
    )
    first, *others = search_sound(a, b, ANYWHERE)
    assert first.lag_s == pytest.approx(lag_s, abs=0.0026)
    assert all(first.height > 2 * other.height for other in others)
    lags_s = sorted(one.lag_s for one in (first, *others))
    assert np.diff(lags_s).min() > 0.25 - 1e-6  # each is a place of its own
    assert all(abs(one.lag_s - lag_s) > 0.2 for one in search_sound(a, b, Bounds(lag_s + 0.2)))


def test_a_call_is_found_in_its_own_band(rng) -> None:
    """The noise of all other bands would drown it: it has a hundredth of the power at 300 Hz."""
    n = 30 * EVEN_RATE_HZ
    spectrum = np.zeros(3 * n, complex)
    band = slice(3 * 2000 * 30, 3 * 2300 * 30)
    spectrum[band] = rng.normal(size=(band.stop - band.start, 2)) @ (1, 1j)
    call = np.fft.ifft(spectrum)
    both = np.stack([call.real, call.imag], axis=1) / call.real.std()
    starts = n, n + round(7.0 * EVEN_RATE_HZ)
    a, b = (
        Trace(
            np.zeros((30 * FRAMES_PER_S, N_BANDS), np.float32),
            np.rint(3 * (both[start : start + n] + 9 * rng.normal(size=(n, 2)))).astype(np.int8),
        )
        for start in starts
    )
    first, *others = search_sound(a, b, ANYWHERE)
    assert first.lag_s == pytest.approx(7.0, abs=0.0026)
    assert all(first.height > 2 * other.height for other in others)
