"""What a rescue says of a take: its machines, what cuts do, and why nothing would help."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from calltag.arrays import DoubleArray
from calltag.learn.labels.vocabulary import noise_kind
from calltag.media.sound_blocks.reader import read_span
from calltag.records.found import Call, TakeLog
from calltag.sound.beats.engine import describe_machine
from calltag.sound.loudness.k_weighting import lufs
from calltag.sound.spectrum import MEAN_SQUARE, N_BINS
from calltag.takes.filter_cuts import Cut, by_band
from calltag.takes.masking import Effect
from calltag.takes.rescue.call_spectra import Spectra
from calltag.takes.rescue.standing import (
    ENOUGH_DB,
    FLOOR,
    STANDS_DB,
    Figures,
    kept,
    stand_db,
    weights,
)
from calltag.takes.rescue.treatment import Treatment, gains_of
from calltag.takes.thresholds import Thresholds
from calltag.takes.words import stretches
from calltag.words import counted

_TOLD = 3
_MACHINE_S, _MACHINES_HEARD = 8.0, 3  # a beat is told within seconds; reading more gains nothing


def machine_lines(
    path: Path, take_log: TakeLog, channel: int, thresholds: Thresholds
) -> Iterator[str]:
    """Say what beats in the longest stretches of machine noise, where the log does not say it.

    Parameters
    ----------
    path : Path
        The take's file.
    take_log : TakeLog
        What the log holds of it.
    channel : int
        The channel to listen to, counted from zero.
    thresholds : Thresholds
        Where the lines are drawn.

    Yields
    ------
    str
        A sentence for each kind of beat.

    Raises
    ------
    MediaError
        If the sound cannot be read.
    """
    machine = [
        noise
        for noise in take_log.noise
        if noise_kind(noise.kind) == "machine"
        and not noise.detail
        and noise.confidence >= thresholds.least_confidence
    ]
    told = set()
    for noise in sorted(machine, key=lambda noise: -noise.span.length_s)[:_MACHINES_HEARD]:
        middle_s = noise.span.middle_s
        half_s = min(noise.span.length_s, _MACHINE_S) / 2
        sound, rate_hz = read_span(path, middle_s - half_s, middle_s + half_s)
        beat = describe_machine(sound[min(channel, len(sound) - 1)], rate_hz)
        if beat and beat not in told:
            told.add(beat)
            yield f"the machine {stretches([noise.span], take_log.take.duration_s)} has a {beat}"


def cut_lines(
    heard: Spectra,
    cuts: Sequence[Cut],
    calls: Sequence[Call],
    duration_s: float,
    thresholds: Thresholds,
) -> Iterator[str]:
    """Say what cuts do where they are.

    Parameters
    ----------
    heard : Spectra
        Spectra of the calls, and of the rest with a region for each cut.
    cuts : sequence of Cut
        Cuts of parts of the take, in order.
    calls : sequence of Call
        The take's calls.
    duration_s : float
        Its length.
    thresholds : Thresholds
        Where the lines are drawn.

    Yields
    ------
    str
        A sentence for each cut that is made, wherever it is made; the first ones, and how many more
        there are.
    """
    gains = gains_of(Treatment(cuts=tuple(cuts)), calls, [cut.span for cut in cuts])
    before_db, after_db = stand_db(heard), stand_db(heard, gains.calls)
    whole = kept(heard, gains.calls)
    clear = np.array([call.snr_db >= thresholds.clear_snr_db for call in calls], bool)
    grouped = by_band(cuts)
    for name, alike in grouped[:_TOLD]:
        regions = [i for i, cut in enumerate(cuts, 1) if cut in alike]
        before, after = (
            f"{_rest_lufs(heard, regions, gain):.0f}" for gain in (np.ones(N_BINS), gains.rest)
        )
        where = stretches([cut.span for cut in alike], duration_s)
        line = f"a {name} {where} takes the noise there from {before} to {after} LUFS"
        inside = np.array([any(cut.holds(call.span) for cut in alike) for call in calls], bool)
        left = inside & whole
        if left.any():
            stood, stands = (int((db[left] >= STANDS_DB).sum()) for db in (before_db, after_db))
            line += f"; {stand_then(int(left.sum()), stands, stood)}"
        if lost := int((inside & clear & ~whole).sum()):
            band = alike[0].band
            both = band.has_low_cut and band.has_high_cut
            side = "" if both else "lower " if band.has_low_cut else "higher "
            line += f"; {lost} {side}{'calls go' if lost > 1 else 'call goes'} with the noise"
        yield line
    if (more := len(grouped) - _TOLD) > 0:
        yield f"and {counted(more, 'more cut')} elsewhere"


def stand_then(total: int, stands: int, stood: int) -> str:
    """Say how many of the calls that a cut keeps stand after it, and how many do before.

    Parameters
    ----------
    total : int
        Calls that it keeps.
    stands, stood : int
        How many of them stand after it, and before.

    Returns
    -------
    str
        A part of a sentence.
    """
    above = f"{STANDS_DB:.0f} dB or more above all else"
    if total == 1:
        now = "" if stands == stood else ", now it does" if stood else ", now it does not"
        then = "stands" if stands else "does not stand"
        return f"the one call that it keeps there then {then} {above}{now}"
    verb = "stands" if stands == 1 else "stand"
    return f"{stands} of {total} calls that it keeps there then {verb} {above}, {stood} of them now"


def nothing_helps(calls: Sequence[Call], noises: Sequence[Effect], before: Figures) -> str:
    """Say why nothing is proposed.

    Parameters
    ----------
    calls : sequence of Call
        The take's calls.
    noises : sequence of Effect
        Its noises, and what each does to the calls.
    before : Figures
        How the calls stand.

    Returns
    -------
    str
        The reason.
    """
    if not noises and before.standing == len(calls):
        return "there is nothing to mend"
    if not calls:
        return "no channel, cut or notch would help, and no call was found that one might keep"
    if before.median_db >= ENOUGH_DB:
        return "its calls stand clear as they are: a filter would only thin the sound"
    return "no channel, cut or notch makes the calls stand clearer"


def _rest_lufs(heard: Spectra, regions: Sequence[int], gain: DoubleArray) -> float:
    """Loudness of the sound between the calls in some regions, through a power gain."""
    power = (heard.rest * weights() * gain).sum(axis=1)[regions] * MEAN_SQUARE
    length_s = heard.rest_s[regions]
    mean = np.average(power, weights=length_s) if length_s.any() else power.mean()
    return lufs(float(mean) + FLOOR)
