"""Frame rates that cameras record at, and what a measured rate is meant to be."""

from __future__ import annotations

from fractions import Fraction

STANDARD_RATES: tuple[Fraction, ...] = tuple(
    Fraction(*rate)
    for rate in (
        (10, 1),
        (25, 2),
        (15, 1),
        (24000, 1001),
        (24, 1),
        (25, 1),
        (30000, 1001),
        (30, 1),
        (48, 1),
        (50, 1),
        (60000, 1001),
        (60, 1),
        (90, 1),
        (96, 1),
        (100, 1),
        (120000, 1001),
        (120, 1),
        (200, 1),
        (240000, 1001),
        (240, 1),
    )
)
"""Rates from wildlife cameras to high speed, in frames per second; rising."""

_TOLERANCE = Fraction(1, 200)


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
    """Find the standard rate that a measured rate is meant to be.

    A container that keeps time in milliseconds states its rate only nearly, and a phone's clip of
    no constant rate is a little slow on average. So a rate within half a percent of a standard one
    is that one; of two, the nearer. Others are left as they are.

    Parameters
    ----------
    fps : Fraction
        Frames per second, as a file states it or as measured.

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
    What a short clip of 59.94 frames per second states, kept in milliseconds:

    >>> snap_rate(Fraction(19001, 317))
    Fraction(60000, 1001)
    >>> snap_rate(Fraction(18))
    Fraction(18, 1)
    """
    if fps <= 0:
        raise ValueError(f"a frame rate is above zero, not {fps}")
    nearest = nearest_rate(fps)
    return nearest if abs(nearest - fps) <= nearest * _TOLERANCE else fps
