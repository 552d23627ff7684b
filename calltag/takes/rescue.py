"""What would help a spoilt take, computed and checked on its sound.

Four things are tried: another channel of the same take, a low cut, notches for mains hum, and the
sound of another recorder that ran at the same time. A low cut is set where it keeps the calls; how
they then stand above the rest is measured, first on their spectra and, once the treated file is
written, on that file. Nothing is turned up, and footage is never written to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from calltag.errors import InputError
from calltag.learn.labels import noise_kind
from calltag.media.reader import SoundReader, read_span
from calltag.media.wav_file import Bext, write_wav
from calltag.records import Call, FloatArray, TakeLog
from calltag.sound.engine import Hum, describe_machine, find_hum
from calltag.sound.filters import filtered, gain_db, hum_notch, low_cut
from calltag.sound.spectrum import BIN_HZ, N_BINS, RATE_HZ
from calltag.takes.standing import (
    QUIET_S,
    STANDS_DB,
    Figures,
    Spectra,
    figures,
    listen,
    stand_db,
    used_channel,
    weights,
)
from calltag.takes.thresholds import Thresholds, read_thresholds
from calltag.takes.verdict import likely_calls
from calltag.takes.words import hertz, listed, stretches

_CUTS_HZ = np.geomspace(50.0, 8000.0, 89)  # twelve to the octave
_KEPT = 0.8  # part of a call's loudness that a cut must leave: 1 dB
_CALLS_KEPT = 0.95  # part of the clear calls that must be left so: some finds are no calls
_WORTH_DB = 1.5  # a treatment that gains less is not worth a new file
_ENOUGH_DB = 15.0  # calls that stand so far above all else need no help: a cut thins all sound
_NEAR_BEST_DB = 1.0  # of cuts that gain nearly as much, the lowest is taken
_BETTER_CHANNEL_DB = 2.0
_CEILING = 0.97  # a treated sound that would exceed full scale is turned down to this
_READ_S = 60.0
_MACHINE_S, _MACHINES_HEARD = 8.0, 3  # a beat is told within seconds; reading more gains nothing


@dataclass(frozen=True, slots=True, kw_only=True)
class Treatment:
    """What is done to a take's sound.

    Attributes
    ----------
    channel : int or None
        Channel that is put on all tracks, counted from one; None leaves the tracks as they are.
    low_cut_hz : float or None
        Where a low cut takes 3 dB.
    hum : Hum or None
        Hum whose lines are taken out.
    """

    channel: int | None = None
    low_cut_hz: float | None = None
    hum: Hum | None = None

    def __bool__(self) -> bool:
        return any(part is not None for part in (self.channel, self.low_cut_hz, self.hum))

    def __str__(self) -> str:
        parts = []
        if self.channel is not None:
            parts.append(f"channel {self.channel} on every track")
        if self.low_cut_hz is not None:
            parts.append(f"low cut at {hertz(self.low_cut_hz)}")
        if self.hum is not None:
            lines = listed([f"{line * self.hum.mains_hz:.0f}" for line in self.hum.lines])
            parts.append(f"notches at {lines} Hz")
        return listed(parts) if parts else "nothing"

    def sections(self, rate_hz: int) -> npt.NDArray[np.float64] | None:
        """Filter of one pass, for `calltag.sound.filters`.

        Parameters
        ----------
        rate_hz : int
            Sampling rate.

        Returns
        -------
        np.ndarray, shape (n_sections, 6), or None
            None where nothing is filtered.
        """
        parts = []
        if self.low_cut_hz is not None:
            parts.append(low_cut(self.low_cut_hz, rate_hz))
        if self.hum is not None:
            parts.append(hum_notch(self.hum.base_hz, self.hum.lines, rate_hz))
        return np.concatenate(parts) if parts else None


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
    """

    treatment: Treatment
    before: Figures
    expected: Figures
    advice: tuple[str, ...]


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
    if not take.has_sound:
        raise InputError(f"{take.path}: there is no sound in it to treat")
    calls = likely_calls(take_log, t)
    used = used_channel(take_log.take)
    if wanted is not None and wanted.channel is not None and wanted.channel > take.channels:
        raise InputError(f"{take.path}: has {take.channels} channels, no channel {wanted.channel}")
    heard = {used: listen(path, calls, used)}
    before = figures(heard[used])
    if wanted is not None:
        channel = used if wanted.channel is None else wanted.channel - 1
        if channel not in heard:
            heard[channel] = listen(path, calls, channel)
        expected = figures(heard[channel], _power_gain(wanted))
        return Rescue(treatment=wanted, before=before, expected=expected, advice=())

    advice = list(_machines(path, take_log, used, t))
    treatment = Treatment()
    for channel in range(take.channels if calls else 0):
        if channel not in heard:
            heard[channel] = listen(path, calls, channel)
    channel = _best_channel(heard, used)
    if channel != used:
        treatment = replace(treatment, channel=channel + 1)
        advice.append(f"channel {channel + 1} is the better one: {figures(heard[channel])}")
    cut_hz = _low_cut(heard[channel], calls, take_log, t)
    if cut_hz is not None:
        treatment = replace(treatment, low_cut_hz=cut_hz)
        after = figures(heard[channel], _power_gain(Treatment(low_cut_hz=cut_hz)))
        advice.append(f"a low cut at {hertz(cut_hz)} keeps the calls: {after}")
    hum = _hum(path, heard[channel].quiet_s, channel, cut_hz)
    if hum is not None:
        treatment = replace(treatment, hum=hum)
        advice.append(
            f"there is mains hum of {hum.mains_hz:.0f} Hz, {hum.height_db:.0f} dB above the sound "
            f"beside it: notches take it out"
        )
    if not treatment:
        advice.append("no channel, low cut or notch makes the calls stand clearer")
    return Rescue(
        treatment=treatment,
        before=before,
        expected=figures(heard[channel], _power_gain(treatment)),
        advice=tuple(advice),
    )


def write_treated(
    path: Path,
    out: Path,
    take_log: TakeLog,
    treatment: Treatment,
    bext: Bext,
    thresholds: Thresholds | None = None,
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
    thresholds : Thresholds or None
        Where the lines are drawn; None for those of `thresholds.toml`.

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
        raise InputError(f"{path.name}: there is nothing to treat; add --low-cut or --channel")
    peak = _Peak()
    reader = SoundReader(path, rate_hz=None, block_s=_READ_S)
    rate_hz = take_log.take.sample_rate_hz or RATE_HZ
    write_wav(out, _treated(reader, treatment, rate_hz, peak), rate_hz, bext=bext)
    turned_down_db = 0.0
    if peak.value > 1.0:
        turned_down_db = 20 * float(np.log10(peak.value / _CEILING))
        quieter = (
            block * np.float32(_CEILING / peak.value)
            for block in _treated(reader, treatment, rate_hz, _Peak())
        )
        write_wav(out, quieter, rate_hz, bext=bext)
    calls = likely_calls(take_log, thresholds)
    channel = 0 if treatment.channel is not None else used_channel(take_log.take)
    after = figures(listen(out, calls, channel))
    return Treated(path=out, after=after, turned_down_db=turned_down_db)


def _treated(
    reader: SoundReader, treatment: Treatment, rate_hz: int, peak: _Peak
) -> Iterator[FloatArray]:
    def tracks() -> Iterator[FloatArray]:
        for block in reader:
            if treatment.channel is None:
                yield block
            else:
                yield np.repeat(block[treatment.channel - 1][None], len(block), axis=0)

    sections = treatment.sections(rate_hz)
    blocks = tracks() if sections is None else filtered(tracks(), sections, rate_hz)
    for block in blocks:
        peak.value = max(peak.value, float(np.abs(block).max(initial=0.0)))
        yield block


def _power_gain(treatment: Treatment) -> npt.NDArray[np.float64]:
    sections = treatment.sections(RATE_HZ)
    if sections is None:
        return np.ones(N_BINS)
    # a notch is narrower than a bin, and the bin's own frequency says little of what it takes: the
    # expected figures leave it out, the measured ones hold it
    if treatment.low_cut_hz is None:
        return np.ones(N_BINS)
    cut = low_cut(treatment.low_cut_hz, RATE_HZ)
    return 10 ** (gain_db(cut, np.arange(N_BINS) * BIN_HZ, RATE_HZ) / 10)


def _best_channel(heard: dict[int, Spectra], used: int) -> int:
    """The channel whose calls stand clearest in their own band, if well above the one in use."""
    if len(heard) < 2:
        return used

    def clearness(spectra: Spectra) -> float:
        # in the calls' own bands alone, so that no low cut can make up for it
        own = spectra.calls > 0
        call = (spectra.calls * weights()).sum(axis=1)
        rest = (spectra.backgrounds * own * weights()).sum(axis=1)
        return float(np.median(10 * np.log10((call + 1e-12) / (rest + 1e-12))))

    clear = {channel: clearness(spectra) for channel, spectra in heard.items()}
    best = max(clear, key=lambda channel: clear[channel])
    return best if clear[best] >= clear[used] + _BETTER_CHANNEL_DB else used


def _machines(path: Path, take_log: TakeLog, channel: int, t: Thresholds) -> Iterator[str]:
    """What beats in the longest stretches of machine noise, so that the machine can be found."""
    machine = [
        noise
        for noise in take_log.noise
        if noise_kind(noise.kind) == "machine" and noise.confidence >= t.least_confidence
    ]
    told = set()
    for noise in sorted(machine, key=lambda noise: -noise.span.length_s)[:_MACHINES_HEARD]:
        middle_s = (noise.start_s + noise.end_s) / 2
        half_s = min(noise.span.length_s, _MACHINE_S) / 2
        sound, rate_hz = read_span(path, middle_s - half_s, middle_s + half_s)
        beat = describe_machine(sound[min(channel, len(sound) - 1)], rate_hz)
        if beat and beat not in told:
            told.add(beat)
            yield f"the machine {stretches([noise.span], take_log.take.duration_s)} has a {beat}"


def _low_cut(
    heard: Spectra, calls: Sequence[Call], take_log: TakeLog, t: Thresholds
) -> float | None:
    """Where a low cut gains most without taking a clear call."""
    if not calls:
        return _rumble_cut(heard, take_log, t)
    clear = np.array([call.snr_db >= t.clear_snr_db for call in calls])
    loudness = heard.calls @ weights()
    tried: list[tuple[float, int, float]] = []
    for cut_hz in (0.0, *_CUTS_HZ):
        gain = _power_gain(Treatment(low_cut_hz=float(cut_hz) or None))
        kept = heard.calls @ (weights() * gain) >= _KEPT * loudness
        if clear.any() and kept[clear].mean() < _CALLS_KEPT:
            break  # higher cuts take more
        above = stand_db(heard, gain)
        standing = int(((above >= STANDS_DB) & kept).sum())
        tried.append((float(cut_hz), standing, float(np.median(np.minimum(above, _ENOUGH_DB)))))
    most = max(standing for _, standing, _ in tried)
    best_db = max(middle_db for _, standing, middle_db in tried if standing == most)
    if most == tried[0][1] and best_db < tried[0][2] + _WORTH_DB:
        return None
    return next(
        cut_hz
        for cut_hz, standing, middle_db in tried
        if standing == most and middle_db >= best_db - _NEAR_BEST_DB
    )


def _rumble_cut(heard: Spectra, take_log: TakeLog, t: Thresholds) -> float | None:
    """A take without calls: the cut that takes its rumble, where it has any."""
    tops = [
        noise.high_hz
        for noise in take_log.noise
        if not noise.kind.startswith("water")
        and noise.confidence >= t.least_confidence
        and noise.high_hz <= t.rumble_hz
    ]
    if not tops:
        return None
    cut_hz = max(tops) * t.band_gap
    after = figures(heard, _power_gain(Treatment(low_cut_hz=cut_hz)))
    return cut_hz if after.rest_lufs <= figures(heard).rest_lufs - _WORTH_DB else None


def _hum(path: Path, quiet_s: float, channel: int, cut_hz: float | None) -> Hum | None:
    """Hum in the quietest stretch, as far as a low cut leaves it."""
    sound, rate_hz = read_span(path, quiet_s, quiet_s + QUIET_S)
    hum = find_hum(sound[min(channel, len(sound) - 1)], rate_hz)
    if hum is None:
        return None
    lines = tuple(line for line in hum.lines if line * hum.base_hz > (cut_hz or 0.0) / 2)
    return replace(hum, lines=lines) if lines else None
