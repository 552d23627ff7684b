"""What would help a spoilt take, computed and checked on its sound.

Four things are tried: another channel of the same take, cuts, notches for mains hum, and the
sound of another recorder that ran at the same time. The cuts are those that the verdict's reasons
name, where they name them; where they name none, cuts of the whole take are looked for that keep
the calls and make them stand clearer. How they then stand above the rest is measured, first
on their spectra and, once the treated file is written, on that file. Nothing is turned up, and
footage is never written to.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from calltag.errors import InputError
from calltag.learn.labels import noise_kind
from calltag.media.reader import SoundReader, read_span
from calltag.media.wav_file import Bext, write_wav
from calltag.records import Call, ChannelFault, FaultKind, FloatArray, Span, Take, TakeLog
from calltag.sound.engine import describe_machine
from calltag.sound.faults import said, silent_channels, spoilt_channels
from calltag.sound.hum import Hum, find_hum
from calltag.sound.loudness import lufs
from calltag.sound.spectrum import MEAN_SQUARE, RATE_HZ
from calltag.takes.cuts import UNCUT, Band, Cut, by_band
from calltag.takes.masking import Effect, Left, effects
from calltag.takes.standing import (
    QUIET_S,
    STANDS_DB,
    Figures,
    Gains,
    Spectra,
    clipped_ppm,
    figures,
    kept,
    listen,
    loudness,
    stand_db,
    used_channel,
    weights,
)
from calltag.takes.thresholds import Thresholds, read_thresholds
from calltag.takes.treatment import Treatment, treated
from calltag.takes.usable import needed_cuts
from calltag.takes.verdict import likely_calls
from calltag.takes.words import stretches
from calltag.words import counted

_CUTS_HZ: list[float] = np.geomspace(50.0, 8000.0, 89).tolist()  # twelve to the octave
_CALLS_KEPT = 0.95  # part of the clear calls that a cut must keep: some finds are no calls
_WORTH_DB = 1.5  # a treatment that gains less is not worth a new file
_ENOUGH_DB = 15.0  # calls that stand so far above all else need no help: a cut thins all sound
_NEAR_BEST_DB = 1.0  # of cuts that gain nearly as much, the lowest is taken
_BETTER_CHANNEL_DB = 2.0
_THROUGHOUT = 0.9  # a cut over this part of the take is made over all of it
_TOLD = 3
_CEILING = 0.97  # a treated sound that would exceed full scale is turned down to this
_READ_S = 60.0
_MACHINE_S, _MACHINES_HEARD = 8.0, 3  # a beat is told within seconds; reading more gains nothing


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
    was: npt.NDArray[np.float64] = field(repr=False, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Treated:
    """A treated sound, written and measured.

    Attributes
    ----------
    path : Path
        The file.
    after : Figures
        How the calls stand in it.
    turned_down_db : float
        By how much the whole had to be turned down to stay below full scale; 0 mostly.
    """

    path: Path
    after: Figures
    turned_down_db: float = 0.0


@dataclass(slots=True)
class _Peak:
    value: float = field(default=0.0)


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


def examine(
    path: Path,
    take_log: TakeLog,
    wanted: Treatment | None = None,
    thresholds: Thresholds | None = None,
) -> Rescue:
    """Compute what would help a take.

    Parameters
    ----------
    path : Path
        The take's file.
    take_log : TakeLog
        What the log holds of it.
    wanted : Treatment or None
        A treatment of the user's own to look at in place of the one computed.
    thresholds : Thresholds or None
        Where the lines are drawn; None for those of `thresholds.toml`.

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
    t = thresholds or read_thresholds()
    take = take_log.take
    if is_mute(take):
        raise InputError(f"{take.path}: there is no sound in it to treat")
    calls = likely_calls(take_log)
    used = used_channel(take_log.take)
    if wanted is not None:
        _check(wanted, take)
    noises = effects(take_log, calls, t)
    broken = take.levels.broken if take.levels else ()
    cuts = needed_cuts(noises, broken, take.duration_s, t)
    regions = [cut.span for cut in cuts]
    heard = {used: listen(path, calls, used, regions)}
    before = figures(heard[used])
    if wanted is not None:
        channel = used if wanted.channel is None else wanted.channel - 1
        if channel not in heard:
            heard[channel] = listen(path, calls, channel, regions)
        expected = figures(heard[channel], _gains(wanted, calls, regions))
        was = loudness(heard[channel])
        return Rescue(treatment=wanted, before=before, expected=expected, advice=(), was=was)

    advice = list(_machines(path, take_log, used, t))
    clipped = _clipped_beside(take, used, t)
    for channel in _worth_hearing(take, clipped) if calls else ():
        if channel not in heard:
            heard[channel] = listen(path, calls, channel, regions)
    treatment, told = _mended_tracks(heard, used, take, clipped)
    advice += told
    channel = used if treatment.channel is None else treatment.channel - 1
    spectra = heard[channel]
    if cuts:
        treatment = replace(treatment, **_as_cuts(cuts, take.duration_s))
        advice += _told_cuts(spectra, cuts, calls, take.duration_s, t)
    elif band := _cut_of_whole(spectra, calls, noises, t):
        treatment = replace(treatment, band=band)
        after = figures(spectra, _gains(treatment, calls, regions))
        advice.append(f"with a {band}, {after}")
    logged_s = [e.noise.start_s for e in noises if e.left == Left.HUM]
    hum = _hum(path, [spectra.quiet_s, *logged_s], channel, treatment.band.low_hz)
    if hum is not None:
        treatment = replace(treatment, hum=hum)
        advice.append(
            f"there is mains hum of {hum.mains_hz:.0f} Hz, {hum.height_db:.0f} dB above the sound "
            f"beside it: notches take it out"
        )
    if not treatment:
        advice.append(_nothing_helps(calls, noises, before))
    return Rescue(
        treatment=treatment,
        before=before,
        expected=figures(spectra, _gains(treatment, calls, regions)),
        advice=tuple(advice),
        was=loudness(spectra),
    )


def _check(wanted: Treatment, take: Take) -> None:
    """Refuse a treatment that the take cannot have."""
    if wanted.channel is not None and wanted.channel > take.channels:
        raise InputError(f"{take.path}: has {take.channels} channels, no channel {wanted.channel}")
    if not wanted.band.is_open:
        raise InputError(f"{take.path}: a {wanted.band} leave nothing between them")


def _worth_hearing(take: Take, clipped: Sequence[int]) -> list[int]:
    """Channels that are neither silent nor clipped, counted from 0."""
    silent = silent_channels(take.levels.channel_faults if take.levels else ())
    return [i for i in range(take.channels) if i + 1 not in silent and i not in clipped]


def _mended_tracks(
    heard: dict[int, Spectra], used: int, take: Take, clipped: Sequence[int]
) -> tuple[Treatment, list[str]]:
    """The channel that goes on the tracks that are no good, if some are, and why.

    A track that is as good as that channel stays as it is.
    """
    clear_db = {channel: _clearness_db(spectra) for channel, spectra in heard.items()}
    best = max(clear_db, key=lambda channel: clear_db[channel])
    better = clear_db[best] >= clear_db[used] + _BETTER_CHANNEL_DB
    channel = best if better else used
    faults = take.levels.channel_faults if take.levels else ()
    spoilt = _spoilt_tracks(faults, channel, clipped)
    bad = {number for _, numbers in spoilt for number in numbers}
    if better:
        bad |= {c + 1 for c, db in clear_db.items() if clear_db[best] >= db + _BETTER_CHANNEL_DB}
    if not bad:
        return Treatment(), []
    every = bad | {channel + 1} == set(range(1, take.channels + 1))
    treatment = Treatment(channel=channel + 1, tracks=() if every else tuple(sorted(bad)))
    if better:
        return treatment, [f"channel {channel + 1} is the better one: {figures(heard[channel])}"]
    why = "; ".join(fault for fault, _ in spoilt)
    return treatment, [f"{why}: channel {channel + 1} goes on {treatment.which_tracks}"]


def write_treated(
    path: Path,
    out: Path,
    take_log: TakeLog,
    treatment: Treatment,
    bext: Bext,
    was: npt.NDArray[np.float64] | None = None,
) -> Treated:
    """Write a take's treated sound and measure it.

    The file has the take's own sampling rate and as many tracks, 24 bit, and every sound in it lies
    at the same time as in the take.

    Parameters
    ----------
    path : Path
        The take's file.
    out : Path
        The wave file to write.
    take_log : TakeLog
        What the log holds of the take.
    treatment : Treatment
        What to do.
    bext : Bext
        Start time and description.
    was : np.ndarray, shape (n_calls,), or None
        `Rescue.was` of that treatment; None to listen to the take once more for it.

    Returns
    -------
    Treated
        With figures measured on what was written.

    Raises
    ------
    InputError
        If `out` is the take itself or cannot be written, or nothing is to be done.
    MediaError
        If the sound cannot be read.
    """
    if out.resolve() == path.resolve():
        raise InputError(f"{out.name}: is the take itself, which is never written to; name another")
    if not treatment:
        raise InputError(
            f"{path.name}: there is nothing to treat; add --low-cut, --high-cut or --channel"
        )
    peak = _Peak()
    reader = SoundReader(path, rate_hz=None, block_s=_READ_S)
    rate_hz = take_log.take.sample_rate_hz or RATE_HZ
    write_wav(out, _metered(treated(reader, treatment, rate_hz), peak), rate_hz, bext=bext)
    turned_down_db = 0.0
    if peak.value > 1.0:
        turned_down_db = 20 * float(np.log10(peak.value / _CEILING))
        quieter = (
            block * np.float32(_CEILING / peak.value)
            for block in treated(reader, treatment, rate_hz)
        )
        write_wav(out, quieter, rate_hz, bext=bext)
    calls = likely_calls(take_log)
    channel = used_channel(take_log.take) if treatment.channel is None else treatment.channel - 1
    if was is None:
        was = loudness(listen(path, calls, channel))
    after = figures(listen(out, calls, channel), was=was * 10 ** (-turned_down_db / 10))
    return Treated(path=out, after=after, turned_down_db=turned_down_db)


def _metered(blocks: Iterable[FloatArray], peak: _Peak) -> Iterator[FloatArray]:
    for block in blocks:
        peak.value = max(peak.value, float(np.abs(block).max(initial=0.0)))
        yield block


def _gains(treatment: Treatment, calls: Sequence[Call], regions: Sequence[Span]) -> Gains:
    """What a treatment does around each call and in each region.

    A notch is narrower than a bin, and the bin's own frequency says little of what it takes: it is
    left out here, and only shows in what is measured on the treated file.
    """
    whole = treatment.band.gain()
    of_calls = np.tile(whole, (len(calls), 1))
    of_rest = np.tile(whole, (1 + len(regions), 1))
    for cut in treatment.cuts:
        gain = cut.band.gain()
        for i, call in enumerate(calls):
            if cut.start_s <= call.span.middle_s < cut.end_s:
                of_calls[i] *= gain
        for i, region in enumerate(regions, 1):
            if cut.start_s <= region.middle_s < cut.end_s:
                of_rest[i] *= gain
    return Gains(of_calls, of_rest)


def _as_cuts(cuts: tuple[Cut, ...], duration_s: float) -> dict[str, Any]:
    """One cut for the whole take where it is the only one, and reaches over nearly all of it."""
    if len(cuts) == 1 and cuts[0].span.length_s >= _THROUGHOUT * duration_s:
        return {"band": cuts[0].band}
    return {"cuts": cuts}


def _told_cuts(
    heard: Spectra,
    cuts: tuple[Cut, ...],
    calls: Sequence[Call],
    duration_s: float,
    t: Thresholds,
) -> Iterator[str]:
    """Say what the cuts do where they are."""
    gains = _gains(Treatment(cuts=cuts), calls, [cut.span for cut in cuts])
    whole = kept(heard, gains.calls)
    before_db, after_db = stand_db(heard), stand_db(heard, gains.calls)
    middles_s = np.array([call.span.middle_s for call in calls])
    clear = np.array([call.snr_db >= t.clear_snr_db for call in calls], bool)
    for name, alike in by_band(cuts)[:_TOLD]:
        spans = [cut.span for cut in alike]
        here = [i for i, cut in enumerate(cuts, 1) if cut in alike]
        length_s = heard.rest_s[here]
        levels = []
        for gain in (np.ones_like(gains.rest), gains.rest):
            power = (heard.rest * weights() * gain).sum(axis=1)[here] * MEAN_SQUARE
            mean = float(np.average(power, weights=length_s)) if length_s.any() else power.mean()
            levels.append(f"{lufs(mean + 1e-12):.0f}")
        line = (
            f"a {name} {stretches(spans, duration_s)} takes the noise there from "
            f"{levels[0]} to {levels[1]} LUFS"
        )
        inside = np.zeros(len(calls), bool)
        for span in spans:
            inside |= (middles_s >= span.start_s) & (middles_s < span.end_s)
        left = inside & whole
        if left.any():
            stood, stands = (int((db[left] >= STANDS_DB).sum()) for db in (before_db, after_db))
            line += (
                f"; {stands} of {counted(int(left.sum()), 'call')} that it keeps there then "
                f"{'stands' if stands == 1 else 'stand'} {STANDS_DB:.0f} dB or more above "
                f"all else, {stood} of them now"
            )
        if lost := int((inside & clear & ~whole).sum()):
            band = alike[0].band
            both = band.has_low_cut and band.has_high_cut
            side = "" if both else "lower " if band.has_low_cut else "higher "
            line += f"; {lost} {side}{'calls go' if lost > 1 else 'call goes'} with the noise"
        yield line
    if (more := len(by_band(cuts)) - _TOLD) > 0:
        yield f"and {more} more cuts elsewhere"


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


def _nothing_helps(calls: Sequence[Call], noises: Sequence[Effect], before: Figures) -> str:
    if not noises and before.standing == len(calls):
        return "there is nothing to mend"
    if not calls:
        return "no channel, cut or notch would help, and no call was found that one might keep"
    if before.median_db >= _ENOUGH_DB:
        return "its calls stand clear as they are: a filter would only thin the sound"
    return "no channel, cut or notch makes the calls stand clearer"


def _clearness_db(spectra: Spectra) -> float:
    """How far the middle call stands above the rest in its own band; 0 without calls.

    There alone, so that no low cut can make up for it.
    """
    if not len(spectra.calls):
        return 0.0
    own = spectra.calls > 0
    call = (spectra.calls * weights()).sum(axis=1)
    rest = (spectra.backgrounds * own * weights()).sum(axis=1)
    return float(np.median(10 * np.log10((call + 1e-12) / (rest + 1e-12))))


def _machines(path: Path, take_log: TakeLog, channel: int, t: Thresholds) -> Iterator[str]:
    """What beats in the longest stretches of machine noise, where the log does not say it."""
    machine = [
        noise
        for noise in take_log.noise
        if noise_kind(noise.kind) == "machine"
        and not noise.detail
        and noise.confidence >= t.least_confidence
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


def _cut_of_whole(
    heard: Spectra, calls: Sequence[Call], noises: Sequence[Effect], t: Thresholds
) -> Band:
    """The cuts of the whole take that gain most without taking a clear call.

    A high cut dulls all that is heard with the calls, so that it is made only where more of them
    stand clear by it.
    """
    if not calls:
        return UNCUT
    clear = np.array([call.snr_db >= t.clear_snr_db for call in calls])
    # a call that the verdict counts as lost in a noise is not rescued by a cut
    open_ = np.array([not any(c in e.calls and c not in e.standing for e in noises) for c in calls])
    low = _mildest_best(heard, clear, open_, [UNCUT, *map(Band, _CUTS_HZ)], worth_db=_WORTH_DB)
    high = [low, *(low & Band(high_hz=cut_hz) for cut_hz in _CUTS_HZ[::-1] if cut_hz > low.low_hz)]
    return _mildest_best(heard, clear, open_, high, worth_db=float("inf"))


def _mildest_best(
    heard: Spectra,
    clear: npt.NDArray[np.bool_],
    open_: npt.NDArray[np.bool_],
    bands: Sequence[Band],
    worth_db: float,
) -> Band:
    """Of cuts, mildest first, the first that gains nearly most; `bands[0]` if none is worth it.

    Worth it is what makes more calls stand, or the middle one stand `worth_db` clearer.
    """
    tried: list[tuple[Band, int, float]] = []
    for band in bands:
        gain = band.gain()
        whole = kept(heard, gain)
        if tried and clear.any() and whole[clear].mean() < _CALLS_KEPT:
            break  # sharper cuts take more
        above = stand_db(heard, gain)
        standing = int(((above >= STANDS_DB) & whole & open_).sum())
        middle_db = float(np.median(np.minimum(above[open_], _ENOUGH_DB))) if open_.any() else 0.0
        tried.append((band, standing, middle_db))
    most = max(standing for _, standing, _ in tried)
    best_db = max(middle_db for _, standing, middle_db in tried if standing == most)
    _, standing_now, now_db = tried[0]
    if most == standing_now and best_db < now_db + worth_db:
        return bands[0]
    return next(
        band
        for band, standing, middle_db in tried
        if standing == most and middle_db >= best_db - _NEAR_BEST_DB
    )


def _hum(path: Path, places_s: Sequence[float], channel: int, cut_hz: float) -> Hum | None:
    """Hum in the quietest stretch, or where the log has it, as far as a low cut leaves it."""
    for start_s in places_s:
        sound, rate_hz = read_span(path, start_s, start_s + QUIET_S)
        hum = find_hum(sound[min(channel, len(sound) - 1)], rate_hz)
        if hum is not None:
            lines = tuple(line for line in hum.lines if line * hum.base_hz > cut_hz / 2)
            return replace(hum, lines=lines) if lines else None
    return None
