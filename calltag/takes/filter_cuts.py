"""Cuts: what is taken away below and above the calls of a take, and where."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from calltag.arrays import DoubleArray
from calltag.records.span import Span
from calltag.sound.filters import Sections, gain_db, high_cut, low_cut
from calltag.sound.spectrum import BIN_HZ, N_BINS, RATE_HZ
from calltag.words import hertz


class Band(NamedTuple):
    """What a low cut and a high cut leave between them.

    Attributes
    ----------
    low_hz : float
        Where the low cut takes 3 dB; 0 for none.
    high_hz : float
        Where the high cut takes 3 dB; infinite for none.

    Examples
    --------
    >>> print(Band(low_hz=800.0))
    low cut at 800 Hz
    >>> print(Band(800.0) & Band(high_hz=5000.0))
    low cut at 800 Hz and high cut at 5 kHz
    """

    low_hz: float = 0.0
    high_hz: float = float("inf")

    def __bool__(self) -> bool:
        """Whether anything is cut."""
        return bool(self.has_low_cut or self.has_high_cut)

    @property
    def has_low_cut(self) -> bool:
        """Whether anything is cut below."""
        return self.low_hz != 0

    @property
    def has_high_cut(self) -> bool:
        """Whether anything is cut above."""
        return self.high_hz != float("inf")

    @property
    def is_open(self) -> bool:
        """Whether the cuts leave anything between them."""
        return self.high_hz > self.low_hz

    def __and__(self, other: Band) -> Band:
        """What two sets of cuts leave together."""
        return Band(max(self.low_hz, other.low_hz), min(self.high_hz, other.high_hz))

    def __str__(self) -> str:
        cuts = [f"low cut at {hertz(self.low_hz)}"] if self.has_low_cut else []
        cuts += [f"high cut at {hertz(self.high_hz)}"] if self.has_high_cut else []
        return " and ".join(cuts)

    def sections(self, rate_hz: int) -> Sections:
        """Design the filter of cuts, where anything is cut.

        Parameters
        ----------
        rate_hz : int
            Sampling rate.

        Returns
        -------
        np.ndarray, shape (n_sections, 6)
            The filter of one pass.

        Raises
        ------
        InputError
            If a cut does not lie below half the rate.
        """
        cuts = [low_cut(self.low_hz, rate_hz)] if self.has_low_cut else []
        cuts += [high_cut(self.high_hz, rate_hz)] if self.has_high_cut else []
        return np.concatenate(cuts)

    def gain(self) -> DoubleArray:
        """Power gain at the bins of the shared spectrum, shape (N_BINS,)."""
        if not self:
            return np.ones(N_BINS)
        return 10 ** (gain_db(self.sections(RATE_HZ), np.arange(N_BINS) * BIN_HZ, RATE_HZ) / 10)


UNCUT = Band()
"""All of the sound."""


class Cut(NamedTuple):
    """A stretch of a take, and what is left of the sound there."""

    start_s: float
    end_s: float
    band: Band

    @property
    def span(self) -> Span:
        """The stretch."""
        return Span(self.start_s, self.end_s)

    def holds(self, other: Span) -> bool:
        """Tell whether the cut is made where something else is.

        Parameters
        ----------
        other : Span
            A stretch of the take.

        Returns
        -------
        bool
            Whether the cut's stretch holds it, as `Span.holds` has it.
        """
        return self.span.holds(other)


def by_band(cuts: Sequence[Cut]) -> list[tuple[str, list[Cut]]]:
    """Group cuts by what they are in words.

    Parameters
    ----------
    cuts : sequence of Cut
        In order.

    Returns
    -------
    list of tuple of str and list of Cut
        The words, and the cuts; the longest in all first.
    """
    groups: dict[str, list[Cut]] = {}
    for cut in cuts:
        groups.setdefault(str(cut.band), []).append(cut)
    return sorted(groups.items(), key=lambda group: -sum(cut.span.length_s for cut in group[1]))
