"""Frame rates as containers state them, brought back to what the camera ran at."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

STANDARD_RATES = tuple(
    Fraction(*rate)
    for rate in (
        (12, 1),
        (25, 2),
        (15000, 1001),
        (15, 1),
        (24000, 1001),
        (24, 1),
        (25, 1),
        (30000, 1001),
        (30, 1),
        (48000, 1001),
        (48, 1),
        (50, 1),
        (60000, 1001),
        (60, 1),
        (96, 1),
        (100, 1),
        (120000, 1001),
        (120, 1),
        (150, 1),
        (180, 1),
        (200, 1),
        (240000, 1001),
        (240, 1),
    )
)
"""Rates that cameras write, exact (SMPTE ST 12-1 for those up to 60)."""

# Neighbours such as 59.94 and 60 lie 1/1000 apart; less than half of that keeps them apart.
_MOST = 4e-4
_LEAST = 1e-4  # however fine the clock: rates are also stated in decimals, as 29.97 and 23.976
_TAKEN_FOR = Fraction(1, 200)  # what people write: 23.98, 29.97, 59.94


def nearest_rate(fps: Fraction) -> Fraction:
    """Find the standard rate nearest to a rate, however far.

    Parameters
    ----------
    fps : Fraction
        Frames per second.

    Returns
    -------
    Fraction
        The standard rate.
    """
    return min(STANDARD_RATES, key=lambda standard: abs(standard - fps))


def snap_rate(fps: Fraction) -> Fraction:
    """Find the standard rate that an edit takes a rate for.

    A rate within half a percent of a standard one is that one, of two the nearer; others are left
    as they are. This is for counting timecode and for what people write, such as 23.98; what a
    file's clock explains is the business of `exact_rate`.

    Parameters
    ----------
    fps : Fraction
        Frames per second.

    Returns
    -------
    Fraction
        The exact rate.

    Raises
    ------
    ValueError
        If `fps` is not above zero.

    Examples
    --------
    >>> snap_rate(Fraction("23.98"))
    Fraction(24000, 1001)
    >>> snap_rate(Fraction(18))
    Fraction(18, 1)
    """
    if fps <= 0:
        raise ValueError(f"a frame rate is above zero, not {fps}")
    nearest = nearest_rate(fps)
    return nearest if abs(nearest - fps) <= nearest * _TAKEN_FOR else fps


def exact_rate(
    fps: Fraction, *, tick_s: Fraction = Fraction(0), duration_s: float = 0.0
) -> Fraction:
    """Bring a rate that was measured with a coarse clock back to the standard one.

    Matroska counts milliseconds: a short clip at 60000/1001 then claims 19001/317.

    Parameters
    ----------
    fps : Fraction
        The rate as the container states it.
    tick_s : Fraction
        Step of the container's clock in seconds.
    duration_s : float
        Length that the rate was measured over.

    Returns
    -------
    Fraction
        The nearest standard rate where the clock explains the difference, else `fps`.

    Examples
    --------
    >>> exact_rate(Fraction(19001, 317))
    Fraction(60000, 1001)
    >>> exact_rate(Fraction(2997, 100))
    Fraction(30000, 1001)
    >>> exact_rate(Fraction(29, 1))
    Fraction(29, 1)
    """
    clock = 2 * float(tick_s) / duration_s if duration_s > 0 else 0.0
    nearest = nearest_rate(fps)
    off = abs(float(fps / nearest) - 1)
    return nearest if off <= min(_MOST, max(_LEAST, clock)) else fps


def is_steady(ticks: Sequence[int], fps: Fraction, tick_s: Fraction) -> bool:
    """Tell whether pictures come at a constant rate.

    Parameters
    ----------
    ticks : sequence of int
        Times of consecutive pictures, in ticks of the container's clock.
    fps : Fraction
        The rate that they should have.
    tick_s : Fraction
        Step of the clock in seconds.

    Returns
    -------
    bool
        Whether every picture lies within two ticks, or a twentieth of a frame, of where that rate
        puts it.

    Examples
    --------
    >>> is_steady([0, 33, 67, 100, 133], Fraction(30), Fraction(1, 1000))
    True
    >>> is_steady([0, 33, 67, 133, 183], Fraction(30), Fraction(1, 1000))
    False
    """
    per_frame = float(1 / (fps * tick_s))
    slack = max(2.0, per_frame / 20)
    return all(abs(tick - ticks[0] - i * per_frame) <= slack for i, tick in enumerate(ticks))
