"""What would help a spoilt take, computed and checked on its sound.

Four things are tried: another channel of the same take, cuts, notches for mains hum, and the
sound of another recorder that ran at the same time. The cuts are those that the verdict's reasons
name, where they name them; where they name none, cuts of the whole take are looked for that keep
the calls and make them stand clearer. How they then stand above the rest is measured, first
on their spectra and, once the treated file is written, on that file. Nothing is turned up, and
footage is never written to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from calltag.arrays import DoubleArray
from calltag.errors import InputError
from calltag.media.sound_blocks.reader import read_span
from calltag.records.found import TakeLog
from calltag.records.take import ChannelFault, FaultKind, Take
from calltag.sound.beats.hum import Hum, find_hum
from calltag.sound.channels.faults import said, silent_channels, spoilt_channels
from calltag.takes.filter_cuts import Cut
from calltag.takes.masking import Left, effects
from calltag.takes.rescue.advice import cut_lines, machine_lines, nothing_helps
from calltag.takes.rescue.call_spectra import QUIET_S, Spectra, listen
from calltag.takes.rescue.standing import Figures, figures, loudness, stand_db
from calltag.takes.rescue.treatment import Treatment, gains_of, heard_channel
from calltag.takes.rescue.whole_cut import cut_of_whole
from calltag.takes.thresholds import Thresholds, read_thresholds
from calltag.takes.usable import needed_cuts
from calltag.takes.used_channels import clipped_ppm, used_channel
from calltag.takes.verdict import likely_calls
from calltag.takes.words import THROUGHOUT
from calltag.words import counted

_BETTER_CHANNEL_DB = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rescue:
    """What would help a take.

    Attributes
    ----------
    treatment : Treatment
        What to do to its sound; false where nothing helps.
    before : Figures
        How the calls stand now.
    expected : Figures
        How they will stand.
    advice : tuple of str
        Each finding in a sentence.
    was : np.ndarray, shape (n_calls,)
        How loud each call is in the channel that is used, before the treatment.
    """

    treatment: Treatment
    before: Figures
    expected: Figures
    advice: tuple[str, ...]
    was: DoubleArray = field(repr=False, compare=False)


def is_mute(take: Take) -> bool:
    """Tell whether a take holds nothing that could be treated.

    Parameters
    ----------
    take : Take
        The take.

    Returns
    -------
    bool
        Whether it has no sound, no length, or digital silence alone.
    """
    if not take.has_sound or take.duration_s <= 0:
        return True
    return take.levels is not None and take.levels.peak_dbfs == float("-inf")


def examine(path: Path, take_log: TakeLog, wanted: Treatment | None = None) -> Rescue:
    """Compute what would help a take.

    Parameters
    ----------
    path : Path
        The take's file.
    take_log : TakeLog
        What the log holds of it.
    wanted : Treatment or None
        A treatment of the user's own to look at in place of the one computed.

    Returns
    -------
    Rescue
        The treatment, with figures.

    Raises
    ------
    InputError
        If the take has no sound, or not the channel that is wanted.
    MediaError
        If the sound cannot be read.
    """
    take = take_log.take
    if is_mute(take):
        raise InputError(
            f"{take.path}: there is no sound in it to treat; use the sound of another recorder"
        )
    if wanted is not None:
        _check(wanted, take)
    case = _Case(path, take_log, read_thresholds())
    treatment, advice = (wanted, []) if wanted is not None else _proposed(case)
    spectra = case.hear(heard_channel(take, treatment))
    return Rescue(
        treatment=treatment,
        before=case.before,
        expected=figures(spectra, gains_of(treatment, case.calls, case.regions)),
        advice=tuple(advice),
        was=loudness(spectra),
    )


class _Case:
    """A take, what its verdict is made of, and what was heard of it; a channel is read once."""

    def __init__(self, path: Path, take_log: TakeLog, thresholds: Thresholds) -> None:
        self.path, self.take_log, self.thresholds = path, take_log, thresholds
        self.take = take_log.take
        self.calls = likely_calls(take_log)
        self.noises = effects(take_log, self.calls, thresholds)
        self.cuts = needed_cuts(self.noises, self.take.broken, self.take.duration_s, thresholds)
        self.regions = [cut.span for cut in self.cuts]
        self.used = used_channel(self.take)
        self.heard: dict[int, Spectra] = {}
        self.before = figures(self.hear(self.used))

    def hear(self, channel: int) -> Spectra:
        """The spectra of a channel, counted from zero."""
        if channel not in self.heard:
            self.heard[channel] = listen(self.path, self.calls, channel, self.regions)
        return self.heard[channel]


def _proposed(case: _Case) -> tuple[Treatment, list[str]]:
    """The treatment that helps most, and what was found."""
    take, calls, t = case.take, case.calls, case.thresholds
    advice = list(machine_lines(case.path, case.take_log, case.used, t))
    clipped = _clipped_beside(take, case.used, t)
    for channel in _worth_hearing(take, clipped) if calls else ():
        case.hear(channel)
    treatment, told = _mended_tracks(case.heard, case.used, take, clipped)
    advice += told
    channel = heard_channel(take, treatment)
    spectra = case.hear(channel)
    if case.cuts:
        treatment = _with_cuts(treatment, case.cuts, take.duration_s)
        advice += cut_lines(spectra, case.cuts, calls, take.duration_s, t)
    elif band := cut_of_whole(spectra, calls, case.noises, t):
        treatment = replace(treatment, band=band)
        advice.append(f"with a {band}, {figures(spectra, gains_of(treatment, calls, ()))}")
    hum_s = [effect.noise.start_s for effect in case.noises if effect.left == Left.HUM]
    hum = _hum(case.path, [spectra.quiet_s, *hum_s], channel, treatment.band.low_hz)
    if hum is not None:
        treatment = replace(treatment, hum=hum)
        advice.append(
            f"there is mains hum of {hum.mains_hz:.0f} Hz, {hum.height_db:.0f} dB above the sound "
            f"beside it: notches take it out"
        )
    if not treatment:
        advice.append(nothing_helps(calls, case.noises, case.before))
    return treatment, advice


def _check(wanted: Treatment, take: Take) -> None:
    """Refuse a treatment that the take cannot have."""
    if wanted.channel is not None and wanted.channel > take.channels:
        raise InputError(
            f"{take.path}: has {counted(take.channels, 'channel')}, no channel {wanted.channel}; "
            "name one that it has, or none"
        )
    if not wanted.band.is_open:
        raise InputError(
            f"{take.path}: a {wanted.band} leave nothing between them; set the low cut below the "
            "high cut"
        )


def _worth_hearing(take: Take, clipped: Sequence[int]) -> list[int]:
    """Channels that are neither silent nor clipped, counted from 0."""
    silent = silent_channels(take.channel_faults)
    return [i for i in range(take.channels) if i + 1 not in silent and i not in clipped]


def _mended_tracks(
    heard: dict[int, Spectra], used: int, take: Take, clipped: Sequence[int]
) -> tuple[Treatment, list[str]]:
    """The channel that goes on the tracks that are no good, if some are, and why.

    A track that is as good as that channel stays as it is, and so do dead ones beside two good ones
    or more: they are spare.
    """
    clear_db = {channel: _clearness_db(spectra) for channel, spectra in heard.items()}
    best = max(clear_db, key=lambda channel: clear_db[channel])
    better = clear_db[best] >= clear_db[used] + _BETTER_CHANNEL_DB
    channel = best if better else used
    spoilt = _spoilt_tracks(take.channel_faults, channel, clipped)
    bad = {number for _, numbers in spoilt for number in numbers}
    if better:
        bad |= {c + 1 for c, db in clear_db.items() if clear_db[best] >= db + _BETTER_CHANNEL_DB}
    tracks = set(range(1, take.channels + 1))
    if len(tracks - bad) > 1:
        bad -= {
            number
            for one in take.channel_faults
            if one.kind == FaultKind.DEAD
            for number in one.channels
        }
    if not bad:
        return Treatment(), []
    every = bad | {channel + 1} == tracks
    treatment = Treatment(channel=channel + 1, tracks=() if every else tuple(sorted(bad)))
    if better:
        return treatment, [f"channel {channel + 1} is the better one: {figures(heard[channel])}"]
    why = "; ".join(fault for fault, numbers in spoilt if numbers & bad)
    return treatment, [f"{why}: channel {channel + 1} goes on {treatment.which_tracks}"]


def _with_cuts(treatment: Treatment, cuts: tuple[Cut, ...], duration_s: float) -> Treatment:
    """The treatment with cuts; one that reaches over nearly all of the take is made throughout."""
    if len(cuts) == 1 and cuts[0].span.length_s >= THROUGHOUT * duration_s:
        return replace(treatment, band=cuts[0].band)
    return replace(treatment, cuts=cuts)


def _clipped_beside(take: Take, used: int, t: Thresholds) -> list[int]:
    """Channels that are clipped, counted from zero, where the one that is listened to is not."""
    if clipped_ppm(take, used) > t.clipped_ppm_part:
        return []
    return [c for c in range(take.channels) if clipped_ppm(take, c) > t.clipped_ppm_part]


def _spoilt_tracks(
    faults: Sequence[ChannelFault], channel: int, clipped: Sequence[int]
) -> list[tuple[str, frozenset[int]]]:
    """The faults by which other tracks than that of a channel spoil the take, and those tracks."""
    found = []
    for fault in faults:
        tracks = spoilt_channels(fault)
        if fault.kind == FaultKind.CLIPPED:
            tracks = frozenset(number for number in fault.channels if number - 1 in clipped)
        if tracks and channel + 1 not in tracks:
            found.append((said(fault, aside=False), tracks))
    return found


def _clearness_db(spectra: Spectra) -> float:
    """How far the middle call stands above the rest in its own band; 0 without calls.

    There alone, so that no low cut can make up for it.
    """
    if not len(spectra.calls):
        return 0.0
    return float(np.median(stand_db(spectra, (spectra.calls > 0).astype(float))))


def _hum(path: Path, places_s: Sequence[float], channel: int, cut_hz: float) -> Hum | None:
    """Hum in the quietest stretch, or where the log has it, as far as a low cut leaves it."""
    for start_s in places_s:
        sound, rate_hz = read_span(path, start_s, start_s + QUIET_S)
        hum = find_hum(sound[min(channel, len(sound) - 1)], rate_hz)
        if hum is not None:
            lines = tuple(line for line in hum.lines if line * hum.base_hz > cut_hz / 2)
            return replace(hum, lines=lines) if lines else None
    return None
