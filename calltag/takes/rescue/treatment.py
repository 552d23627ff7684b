"""What may be done to a take's sound: a channel, cuts, notches; what it will do, and doing it.

A cut may be set for the whole take, or only where a noise is: outside of that nothing is
filtered, so that a boom before the engine comes is left as it was.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from calltag.arrays import FloatArray
from calltag.records.found import Call
from calltag.records.span import Span
from calltag.records.take import Take
from calltag.sound.beats.hum import Hum
from calltag.sound.filters import Piece, filtered, filtered_in_pieces, hum_notch
from calltag.takes.filter_cuts import UNCUT, Band, Cut, by_band
from calltag.takes.rescue.standing import Gains
from calltag.takes.used_channels import used_channel
from calltag.takes.words import stretches
from calltag.words import channels_named, listed


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """What is done to a take's sound.

    Attributes
    ----------
    channel : int or None
        Channel that is put on other tracks, counted from one; None leaves the tracks as they are.
    tracks : tuple of int
        Tracks that it is put on, counted from one, in order; empty for all.
    band : Band
        What is left of the whole take.
    cuts : tuple of Cut
        Cuts of parts of the take; in order, none overlapping another.
    hum : Hum or None
        Hum whose lines are taken out.
    """

    channel: int | None = None
    tracks: tuple[int, ...] = ()
    band: Band = UNCUT
    cuts: tuple[Cut, ...] = ()
    hum: Hum | None = None

    def __bool__(self) -> bool:
        return bool(self.band or self.cuts) or not (self.channel is None and self.hum is None)

    @property
    def which_tracks(self) -> str:
        """The tracks that the channel is put on, in words."""
        return channels_named(self.tracks, "track") if self.tracks else "every track"

    def __str__(self) -> str:
        parts = []
        if self.channel is not None:
            parts.append(f"channel {self.channel} on {self.which_tracks}")
        if self.band:
            parts.append(str(self.band))
        for name, cuts in by_band(self.cuts):
            parts.append(f"{name} {stretches([cut.span for cut in cuts])}")
        if self.hum is not None:
            lines = listed([f"{line * self.hum.mains_hz:.0f}" for line in self.hum.lines])
            parts.append(f"notches at {lines} Hz")
        return listed(parts) if parts else "nothing"


def treated(
    blocks: Iterable[FloatArray], treatment: Treatment, rate_hz: int
) -> Iterator[FloatArray]:
    """Treat sound that comes in blocks.

    Parameters
    ----------
    blocks : iterable of np.ndarray, shape (n_channels, n_samples), float32
        Consecutive stretches of sound from the take's first sample.
    treatment : Treatment
        What to do.
    rate_hz : int
        Sampling rate.

    Yields
    ------
    np.ndarray, shape (n_channels, n_samples), float32
        The treated sound; every sound in it lies where it lay.
    """
    sound: Iterable[FloatArray] = blocks
    if treatment.channel is not None:
        sound = (_with_tracks(block, treatment.channel, treatment.tracks) for block in blocks)
    if treatment.cuts:
        pieces = [Piece(c.start_s, c.end_s, c.band.sections(rate_hz)) for c in treatment.cuts]
        sound = filtered_in_pieces(sound, pieces, rate_hz)
    whole = []
    if treatment.band:
        whole.append(treatment.band.sections(rate_hz))
    if treatment.hum is not None:
        whole.append(hum_notch(treatment.hum.base_hz, treatment.hum.lines, rate_hz))
    yield from filtered(sound, np.concatenate(whole), rate_hz) if whole else sound


def heard_channel(take: Take, treatment: Treatment) -> int:
    """Tell which channel a take's calls are heard in after a treatment.

    Parameters
    ----------
    take : Take
        The take.
    treatment : Treatment
        What is done to it.

    Returns
    -------
    int
        Counted from zero.
    """
    return used_channel(take) if treatment.channel is None else treatment.channel - 1


def gains_of(treatment: Treatment, calls: Sequence[Call], regions: Sequence[Span]) -> Gains:
    """Tell what a treatment does around each call and in each region.

    A notch is narrower than a bin, and the bin's own frequency says little of what it takes: it is
    left out here, and only shows in what is measured on the treated file.

    Parameters
    ----------
    treatment : Treatment
        What is to be done.
    calls : sequence of Call
        The take's calls.
    regions : sequence of Span
        Stretches whose rest is kept apart.

    Returns
    -------
    Gains
        By which the power of each bin changes.
    """
    whole = treatment.band.gain()
    of_calls = np.tile(whole, (len(calls), 1))
    of_rest = np.tile(whole, (1 + len(regions), 1))
    for cut in treatment.cuts:
        gain = cut.band.gain()
        for i, call in enumerate(calls):
            if cut.holds(call.span):
                of_calls[i] *= gain
        for i, region in enumerate(regions, 1):
            if cut.holds(region):
                of_rest[i] *= gain
    return Gains(of_calls, of_rest)


def _with_tracks(block: FloatArray, channel: int, tracks: tuple[int, ...]) -> FloatArray:
    """The block with one channel on some of its tracks, or on all."""
    mended = block.copy()
    mended[[track - 1 for track in tracks] if tracks else slice(None)] = block[channel - 1]
    return mended
