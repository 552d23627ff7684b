"""Filters that take a noise out and leave the calls where they are in time.

Every filter runs forwards and backwards, so that it delays nothing at any frequency: a call's onset
stays on its frame. What a filter does in one pass is done twice, in dB. Long takes go through in
blocks with margins in which the filter settles, to the same samples as in one piece.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from calltag.arrays import DoubleArray, FloatArray
from calltag.errors import InputError

Sections = DoubleArray
"""A filter as second-order sections, shape (n_sections, 6), as `scipy.signal` has them."""

_SETTLED_DB = -120.0
_BLOCK_S = 30.0
_FADE_S = 0.2


class Piece(NamedTuple):
    """A stretch of sound that goes through a filter of its own.

    Attributes
    ----------
    start_s, end_s : float
        The stretch.
    sections : np.ndarray, shape (n_sections, 6)
        The filter of one pass.
    """

    start_s: float
    end_s: float
    sections: Sections


def low_cut(cutoff_hz: float, rate_hz: int, *, order: int = 4) -> Sections:
    """Design a low cut: a Butterworth high-pass, for both passes together.

    Parameters
    ----------
    cutoff_hz : float
        Where the two passes together take 3 dB.
    rate_hz : int
        Sampling rate.
    order : int
        Order of one pass; both together fall by ``12 * order`` dB an octave.

    Returns
    -------
    np.ndarray, shape (n_sections, 6)
        The filter of one pass.

    Raises
    ------
    InputError
        If the cutoff is not between 0 and half the rate.

    References
    ----------
    .. [1] S. Butterworth, "On the theory of filter amplifiers", Experimental Wireless and the
       Wireless Engineer 7, 1930, pp. 536-541.

    Examples
    --------
    >>> gain_db(low_cut(1000, 48_000), [500, 1000, 4000], 48_000).round(1).tolist()
    [-40.7, -3.0, -0.0]
    """
    return _cut("low", cutoff_hz, rate_hz, order)


def high_cut(cutoff_hz: float, rate_hz: int, *, order: int = 4) -> Sections:
    """Design a high cut: a Butterworth low-pass, for both passes together.

    Parameters
    ----------
    cutoff_hz : float
        Where the two passes together take 3 dB.
    rate_hz : int
        Sampling rate.
    order : int
        Order of one pass; both together fall by ``12 * order`` dB an octave.

    Returns
    -------
    np.ndarray, shape (n_sections, 6)
        The filter of one pass.

    Raises
    ------
    InputError
        If the cutoff is not between 0 and half the rate.

    Examples
    --------
    >>> gain_db(high_cut(1000, 48_000), [250, 1000, 2000], 48_000).round(1).tolist()
    [-0.0, -3.0, -40.9]
    """
    return _cut("high", cutoff_hz, rate_hz, order)


def _cut(side: Literal["low", "high"], cutoff_hz: float, rate_hz: int, order: int) -> Sections:
    import scipy.signal  # large: what lists calls does without

    if not 0 < cutoff_hz < rate_hz / 2:
        raise InputError(
            f"a {side} cut at {cutoff_hz:g} Hz cannot be made at {rate_hz} Hz; "
            f"choose one between 0 and {rate_hz / 2:g} Hz"
        )
    # each pass takes half of the 3 dB: it is set further out, by the analogue Butterworth's
    # formula, on the warped frequency axis of the bilinear transform
    outward = (np.sqrt(2) - 1) ** ((1 if side == "low" else -1) / (2 * order))
    one_pass_hz = np.arctan(np.tan(np.pi * cutoff_hz / rate_hz) * outward) * rate_hz / np.pi
    passed = "highpass" if side == "low" else "lowpass"
    return scipy.signal.butter(order, one_pass_hz, passed, fs=rate_hz, output="sos")


def hum_notch(
    base_hz: float, lines: Sequence[int], rate_hz: int, *, width_hz: float = 1.0
) -> Sections:
    """Design notches at multiples of the mains' frequency.

    Parameters
    ----------
    base_hz : float
        The frequency as measured.
    lines : sequence of int
        The multiples to take out.
    rate_hz : int
        Sampling rate.
    width_hz : float
        Width of each notch between its points of -3 dB in one pass.

    Returns
    -------
    np.ndarray, shape (n_lines, 6)
        The filter of one pass.

    Raises
    ------
    InputError
        If there is no line below half the rate.
    """
    import scipy.signal

    sections = []
    for line in lines:
        if 0 < line * base_hz < rate_hz / 2:
            b, a = scipy.signal.iirnotch(line * base_hz, line * base_hz / width_hz, fs=rate_hz)
            sections.append(np.concatenate([b, a]))
    if not sections:
        raise InputError(f"there is no line of {base_hz:g} Hz below {rate_hz / 2:g} Hz to take out")
    return np.array(sections)


def gain_db(sections: Sections, frequency_hz: npt.ArrayLike, rate_hz: int) -> DoubleArray:
    """Gain of a filter's two passes together.

    Parameters
    ----------
    sections : np.ndarray, shape (n_sections, 6)
        The filter of one pass.
    frequency_hz : array_like
        Frequencies.
    rate_hz : int
        Sampling rate.

    Returns
    -------
    np.ndarray
        Gain in dB, no lower than -300.
    """
    import scipy.signal

    _, response = scipy.signal.sosfreqz(sections, np.atleast_1d(frequency_hz), fs=rate_hz)
    return 40 * np.log10(np.maximum(np.abs(response), 10**-7.5)).astype(np.float64)


def settling_s(sections: Sections, rate_hz: int) -> float:
    """Time after which a filter has forgotten what came before, to -120 dB.

    Parameters
    ----------
    sections : np.ndarray, shape (n_sections, 6)
        The filter of one pass.
    rate_hz : int
        Sampling rate.

    Returns
    -------
    float
        Seconds.
    """
    poles = np.concatenate([np.roots(section[3:]) for section in sections])
    slowest = min(float(np.abs(poles).max()), 1 - 1e-9)
    # poles close together ring longer than one alone: half as long again covers eight of them
    return 1.5 * _SETTLED_DB / 20 * np.log(10) / np.log(slowest) / rate_hz


def filtered(
    blocks: Iterable[npt.NDArray[Any]], sections: Sections, rate_hz: int
) -> Iterator[FloatArray]:
    """Filter sound that comes in blocks, without delay.

    Parameters
    ----------
    blocks : iterable of np.ndarray, shape (n_channels, n_samples), float
        Consecutive stretches of sound.
    sections : np.ndarray, shape (n_sections, 6)
        The filter of one pass.
    rate_hz : int
        Sampling rate.

    Yields
    ------
    np.ndarray, shape (n_channels, n_samples), float32
        The filtered sound, as long in all as what came in.
    """
    margin = round(settling_s(sections, rate_hz) * rate_hz)
    for window in _windows(blocks, margin, rate_hz):
        yield _both_passes(window.sound, sections)[:, window.first : window.last]


def filtered_in_pieces(
    blocks: Iterable[npt.NDArray[Any]], pieces: Sequence[Piece], rate_hz: int
) -> Iterator[FloatArray]:
    """Filter stretches of sound that comes in blocks, and leave the rest as it is.

    At the ends of a piece the filtered sound and the sound beside it cross over in a straight line
    within 0.2 s: the one is part of the other, so that their amplitudes add up.

    Parameters
    ----------
    blocks : iterable of np.ndarray, shape (n_channels, n_samples), float
        Consecutive stretches of sound, the first from second 0.
    pieces : sequence of Piece
        None overlapping another. One that begins at 0, or reaches the end of the sound, is not
        faded there.
    rate_hz : int
        Sampling rate.

    Yields
    ------
    np.ndarray, shape (n_channels, n_samples), float32
        The sound, as long in all as what came in.
    """
    margin = round(max((settling_s(p.sections, rate_hz) for p in pieces), default=0.0) * rate_hz)
    margin += round(_FADE_S * rate_hz)
    for window in _windows(blocks, margin, rate_hz):
        if window.is_end:
            end_s = (window.at + window.last) / rate_hz - _FADE_S / 2
            pieces = [p._replace(end_s=math.inf) if p.end_s >= end_s else p for p in pieces]
        yield _with_pieces(window, pieces, rate_hz)


class _Window(NamedTuple):
    """Sound that is filtered at once, with margins in which the filter settles."""

    sound: npt.NDArray[Any]
    first: int  # of its samples, that is handed out,
    last: int  # and the one after the last
    at: int  # of all samples, that it begins with
    is_end: bool


def _windows(blocks: Iterable[npt.NDArray[Any]], margin: int, rate_hz: int) -> Iterator[_Window]:
    """Put blocks together to windows of which each sample is handed out once."""
    size = max(round(_BLOCK_S * rate_hz), 4 * margin)
    waiting: npt.NDArray[Any] | None = None
    at = first = 0
    for block in blocks:
        waiting = block if waiting is None else np.concatenate([waiting, block], axis=1)
        if waiting.shape[1] >= first + size + margin:
            last = waiting.shape[1] - margin
            yield _Window(waiting, first, last, at, is_end=False)
            kept_from = last - margin
            at, first, waiting = at + kept_from, margin, waiting[:, kept_from:]
    if waiting is not None and waiting.shape[1] > first:
        yield _Window(waiting, first, waiting.shape[1], at, is_end=True)


def _with_pieces(window: _Window, pieces: Sequence[Piece], rate_hz: int) -> FloatArray:
    sound, first, last, at, _ = window
    out = sound[:, first:last].astype(np.float32)
    seconds = (at + np.arange(first, last)) / rate_hz
    half_s = _FADE_S / 2
    for piece in pieces:
        if piece.start_s - half_s >= seconds[-1] or piece.end_s + half_s <= seconds[0]:
            continue
        settled = round((settling_s(piece.sections, rate_hz) + _FADE_S) * rate_hz)
        left = max(0, min(round(piece.start_s * rate_hz) - at, last) - settled)
        left = max(left, first - settled)
        right = min(sound.shape[1], round(min(piece.end_s * rate_hz, at + last)) - at + settled)
        treated = _both_passes(sound[:, left:right], piece.sections)
        here = slice(max(left, first), min(right, last))
        share = np.ones(last - first)
        if piece.start_s > 0:
            share = np.clip((seconds - piece.start_s + half_s) / _FADE_S, 0, 1)
        share = np.minimum(share, np.clip((piece.end_s + half_s - seconds) / _FADE_S, 0, 1))
        weight = share[here.start - first : here.stop - first].astype(np.float32)
        dry = sound[:, here]
        out[:, here.start - first : here.stop - first] += weight * (
            treated[:, here.start - left : here.stop - left] - dry
        )
    return out


def _both_passes(sound: npt.NDArray[Any], sections: Sections) -> FloatArray:
    import scipy.signal

    pad = min(3 * (2 * len(sections) + 1), sound.shape[1] - 1)
    both = scipy.signal.sosfiltfilt(sections, sound, axis=1, padlen=pad)
    return both.astype(np.float32)
