"""Beds: clean natural background, to lay under a picture whose sound is lost.

A bed comes from stretches that the verdicts call natural sound, from the same folder and the same
time of day as the take it is for, where there are such. The longest is taken whole if it is long
enough; otherwise several are joined by crossfades of equal power, so that the level does not dip
where one background fades into the next. Where the level steps all at once, as a recorder's
automatic gain has it, a stretch is parted. A bed's end runs into its own beginning in the same way,
and it can be looped without a seam.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soxr

from calltag.errors import InputError
from calltag.media.bext import Bext
from calltag.media.clock import DAY_S, time_of_day_s
from calltag.media.reader import read_span
from calltag.media.wav_writing import write_wav
from calltag.records import FloatArray, Span, Take, TakeLog
from calltag.sound.dropouts import dropouts
from calltag.sound.faults import clipped_samples, spoilt_channels
from calltag.sound.loudness import LoudnessMeter, integrated_lufs, true_peak_dbtp, ungated_lufs
from calltag.sound.steps import gain_steps
from calltag.takes.companions import apart_s, recorded_at, within_half_s
from calltag.takes.standing import used_channel
from calltag.takes.thresholds import Thresholds, read_thresholds
from calltag.takes.usable import NATURAL_SOUND
from calltag.takes.verdict import judge, likely_calls
from calltag.takes.words import clock

RATE_HZ = 48_000
FADE_S = 2.0
"""Length of a crossfade."""

LEAST_STRETCH_S = 2 * FADE_S + 1.0
"""Shorter stretches are not used: they would be nothing but fades."""

LONGEST_S = 900.0
"""Longest bed that is built: it is held in memory."""

CALL_MARGIN_S = 0.5
"""Kept clear before and after a call that is avoided."""

_HOLE_MARGIN_S = 0.1  # kept clear of where sound drops out
_STEP_MARGIN_S = 0.4  # and of where its level steps
_MATCH_DB = 6.0  # stretches are brought to one loudness by at most this much
_ROUNDING_S = 0.01
_TOO_DIFFERENT_DB = 12.0  # a stretch so much louder or softer is another place or weather
_TIME_STEP_S = 1800.0  # differences in time of day that are heard: the dawn chorus changes in this


class Stretch(NamedTuple):
    """A clean stretch of a take, and how well it fits the take that needs a bed."""

    take: Take
    span: Span
    same_place: bool
    apart_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A stretch as it is used in a bed.

    Attributes
    ----------
    take : Take
        Where it is from.
    span : Span
        What of it is used.
    gain_db : float
        By how much it is turned up or down to match the first.
    """

    take: Take
    span: Span
    gain_db: float

    def __str__(self) -> str:
        gain = f", {self.gain_db:+.1f} dB" if abs(self.gain_db) >= 0.05 else ""
        return f"{self.take.path} {clock(self.span.start_s)}-{clock(self.span.end_s)}{gain}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """A bed, written and measured.

    Attributes
    ----------
    path : Path
        The file.
    parts : tuple of Part
        What it is made of, in order.
    length_s : float
        Its length.
    repeats : bool
        Whether the clean background did not suffice and comes more than once.
    loudness_lufs : float
        Integrated loudness (ITU-R BS.1770, EBU R 128).
    range_lu : float
        Loudness range (EBU Tech 3342).
    true_peak_dbtp : float
        True peak.
    """

    path: Path
    parts: tuple[Part, ...]
    length_s: float
    repeats: bool
    loudness_lufs: float
    range_lu: float
    true_peak_dbtp: float


def clean_stretches(
    take_logs: Sequence[TakeLog],
    *,
    like: Take | None = None,
    keep_calls: bool = False,
    thresholds: Thresholds | None = None,
    least_s: float = LEAST_STRETCH_S,
) -> list[Stretch]:
    """Find clean natural background in the rushes.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        The rushes.
    like : Take or None
        The take that the bed is for.
    keep_calls : bool
        Whether calls may sound in it.
    thresholds : Thresholds or None
        For the verdicts; None for those of `thresholds.toml`.
    least_s : float
        Shorter stretches are left out.

    Returns
    -------
    list of Stretch
        Those that are long enough, those that fit best first: the same place, then the
        nearest time of day to half an hour, then the longest. Of copies of a take, one is used.
    """
    t = thresholds or read_thresholds()
    found = []
    for take_log in take_logs:
        take = take_log.take
        natural = [
            Span(use.start_s, use.end_s)
            for use in judge(take_log, t).usable
            if use.purpose == NATURAL_SOUND
        ]
        calls = [
            Span(call.start_s - CALL_MARGIN_S, call.end_s + CALL_MARGIN_S)
            for call in (() if keep_calls else likely_calls(take_log))
        ]
        for span in natural:
            found += [
                Stretch(take, free, _same_place(take, like), _time_apart_s(take, like))
                for free in _without(span, calls)
                if free.length_s >= least_s
            ]
    found.sort(
        key=lambda s: (not s.same_place, s.apart_s // _TIME_STEP_S, -s.span.length_s, s.take.path)
    )
    fits_best: dict[str, str] = {}  # of takes with the same content
    for stretch in found:
        fits_best.setdefault(stretch.take.digest, stretch.take.path)
    return [s for s in found if not s.take.digest or fits_best[s.take.digest] == s.take.path]


def why_none(
    take_logs: Sequence[TakeLog],
    *,
    keep_calls: bool = False,
    thresholds: Thresholds | None = None,
) -> str:
    """Say why there is no clean stretch that is long enough, and what to do.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        The rushes.
    keep_calls : bool
        Whether calls may sound in it.
    thresholds : Thresholds or None
        For the verdicts; None for those of `thresholds.toml`.

    Returns
    -------
    str
        The reason, without a full stop at the end.
    """

    def _longest(keep_calls: bool) -> Stretch | None:
        """Find the longest clean stretch, however short."""
        short = clean_stretches(
            take_logs, keep_calls=keep_calls, thresholds=thresholds, least_s=0.1
        )
        return max(short, key=lambda stretch: stretch.span.length_s, default=None)

    none = f"no clean background of {LEAST_STRETCH_S:.0f} s or longer"
    with_calls, without = _longest(keep_calls=True), _longest(keep_calls=False)
    if with_calls is None:
        return (
            f"{none} in these rushes: every take is spoilt, and `calltag takes` says by what; log "
            "a take of the place without that"
        )
    if keep_calls or with_calls.span.length_s < LEAST_STRETCH_S:
        return (
            f"{none} in these rushes (at most {_where(with_calls)}): log a longer take of the place"
        )
    at_most = f"at most {_where(without)}" if without else "something calls all the time"
    return (
        f"{none} without a call in these rushes ({at_most}): let calls sound in it with --calls "
        f"keep (up to {_where(with_calls)}), or log a take of the place while nothing calls"
    )


def _where(stretch: Stretch) -> str:
    start_s, end_s = stretch.span
    return f"{end_s - start_s:.1f} s, at {clock(start_s)} in {stretch.take.path}"


def choose(stretches: Sequence[Stretch], seconds: float) -> list[Stretch]:
    """Choose the stretches that a bed is made of.

    Parameters
    ----------
    stretches : sequence of Stretch
        As `clean_stretches` orders them.
    seconds : float
        Length of the bed.

    Returns
    -------
    list of Stretch
        One that is long enough by itself, the nearest in place and time that is; or else as many of
        the best-fitting ones as it takes; or all, where they do not suffice.
    """
    nearest = stretches[0].same_place if stretches else False
    for stretch in stretches:
        if stretch.same_place == nearest and stretch.span.length_s >= seconds + FADE_S:
            return [stretch]
    chosen: list[Stretch] = []
    for stretch in stretches:
        if _joined_s([s.span for s in chosen]) >= seconds + FADE_S:
            break
        chosen.append(stretch)
    return chosen


def make_bed(
    take_logs: Sequence[TakeLog],
    out: Path,
    *,
    seconds: float = 60.0,
    like: Take | None = None,
    keep_calls: bool = False,
    thresholds: Thresholds | None = None,
) -> Bed:
    """Find or build a bed and write it.

    The file holds 24 bit at 48 kHz, its loudness, and in its coding history what it is made of.

    Parameters
    ----------
    take_logs : sequence of TakeLog
        The rushes.
    out : Path
        The wave file to write.
    seconds : float
        Length of the bed.
    like : Take or None
        The take that it is for: background of its place and time of day is preferred.
    keep_calls : bool
        Whether calls may sound in it.
    thresholds : Thresholds or None
        For the verdicts; None for those of `thresholds.toml`.

    Returns
    -------
    Bed
        What was written; looped over itself where the clean stretches are shorter in all.

    Raises
    ------
    InputError
        If `seconds` is out of range, there is no clean background in the rushes, or `out` cannot be
        written.
    MediaError
        If a take cannot be read.
    """
    if not LEAST_STRETCH_S <= seconds <= LONGEST_S:
        raise InputError(
            f"a bed of {seconds:g} s: choose a length from {LEAST_STRETCH_S:.0f} to "
            f"{LONGEST_S:.0f} s"
        )
    found = clean_stretches(take_logs, like=like, keep_calls=keep_calls, thresholds=thresholds)
    if not found:
        raise InputError(why_none(take_logs, keep_calls=keep_calls, thresholds=thresholds))
    chosen = choose(found, seconds)
    others = [stretch for stretch in found if stretch not in chosen]
    channels = min(2, max(stretch.take.channels for stretch in chosen))
    sounds, parts = _read([*chosen, *others], seconds, channels)
    if not sounds:
        raise InputError(
            f"no clean background of {LEAST_STRETCH_S:.0f} s or longer in these rushes in which no "
            "sound drops out or jumps in level: log a take of the place that is whole, with the "
            "gain set by hand"
        )
    sound = join(sounds, round(seconds * RATE_HZ), round(FADE_S * RATE_HZ))
    meter = LoudnessMeter(RATE_HZ, len(sound))
    for piece in _pieces(sound):
        meter.add(piece)
    bed = Bed(
        path=out,
        parts=tuple(parts),
        length_s=sound.shape[1] / RATE_HZ,
        repeats=_joined_s([part.span for part in parts]) < seconds + FADE_S - _ROUNDING_S,
        loudness_lufs=meter.integrated_lufs(),
        range_lu=meter.range_lu(),
        true_peak_dbtp=true_peak_dbtp(sound),
    )
    write_wav(
        out, _pieces(sound), RATE_HZ, bext=_bext(bed, channels, like, keep_calls), info=_info(bed)
    )
    return bed


def fades(n: int) -> tuple[FloatArray, FloatArray]:
    """Gains of a crossfade of equal power.

    Both are the square root of a Hann slope, so that their squares sum to one: two backgrounds that
    have nothing in common keep their power at every moment of the fade.

    Parameters
    ----------
    n : int
        Length in samples.

    Returns
    -------
    fade_in, fade_out : np.ndarray, shape (n,), float32
        Gains.

    Examples
    --------
    >>> rising, falling = fades(480)
    >>> bool(np.allclose(rising**2 + falling**2, 1))
    True
    """
    phase = (np.arange(n) + 0.5) / n * np.pi / 2
    return np.sin(phase).astype(np.float32), np.cos(phase).astype(np.float32)


def join(sounds: Sequence[FloatArray], n_samples: int, fade: int) -> FloatArray:
    """Join stretches by crossfades of equal power to a loop without a seam.

    Parameters
    ----------
    sounds : sequence of np.ndarray, shape (n_channels, n), float32
        The stretches, each longer than two fades; used again from the first where they are shorter
        in all than what is wanted.
    n_samples : int
        Length of the loop.
    fade : int
        Length of a crossfade in samples.

    Returns
    -------
    np.ndarray, shape (n_channels, n_samples), float32
        The loop: played again from its end, it goes on as within.
    """
    rising, falling = fades(fade)
    out = np.zeros((len(sounds[0]), n_samples + fade), np.float32)
    # a few samples short, as rounding leaves it, is enough: the loop's own fade is at nothing there
    enough = n_samples + fade - fade // 200
    at, turn = 0, 0
    while at < enough:
        sound = sounds[turn % len(sounds)].copy()
        if turn:
            sound[:, :fade] *= rising
        end = min(at + sound.shape[1], n_samples + fade)
        if end < enough:
            sound[:, -fade:] *= falling
        out[:, at:end] += sound[:, : end - at]
        at, turn = end - fade if end < enough else end, turn + 1
    # the last fade's length runs on past the end and is laid over the beginning
    out[:, :fade] *= rising
    out[:, :fade] += out[:, n_samples:] * falling
    return out[:, :n_samples]


def _read(
    stretches: Sequence[Stretch], seconds: float, channels: int
) -> tuple[list[FloatArray], list[Part]]:
    """Sounds at one rate, channel count and loudness, and what was done to get there.

    One of another loudness than the first is passed over, and the next takes its place. Where sound
    drops out in one, or its level steps, what is free of that is used.
    """
    sounds: list[FloatArray] = []
    parts: list[Part] = []
    needed_s = seconds + FADE_S
    first_lufs = 0.0
    left = list(stretches)
    while left:
        stretch = left.pop(0)
        if _joined_s([part.span for part in parts]) >= needed_s - _ROUNDING_S:
            break
        left_s = needed_s - (_joined_s([part.span for part in parts]) - FADE_S if parts else 0.0)
        # no more than is needed, from the middle: the ends are nearest to what made others unclean
        length_s = min(stretch.span.length_s, max(left_s, LEAST_STRETCH_S))
        start_s = stretch.span.start_s + (stretch.span.length_s - length_s) / 2
        span = Span(start_s, start_s + length_s)
        sound = _tracks(stretch.take, span, channels)
        if holes := _holes(sound, start_s):
            free = [s for s in _without(stretch.span, holes) if s.length_s >= LEAST_STRETCH_S]
            free.sort(key=lambda span: -span.length_s)
            left = [*(stretch._replace(span=span) for span in free), *left]
            continue
        lufs = integrated_lufs(sound, RATE_HZ)
        if not np.isfinite(lufs):  # all below the gate, at -70 LUFS
            lufs = ungated_lufs(sound, RATE_HZ)
        gain_db = 0.0
        if not sounds:
            first_lufs = lufs
        else:
            if abs(first_lufs - lufs) > _TOO_DIFFERENT_DB:
                continue
            gain_db = float(np.clip(first_lufs - lufs, -_MATCH_DB, _MATCH_DB))
        sounds.append(sound * np.float32(10 ** (gain_db / 20)))
        parts.append(Part(take=stretch.take, span=span, gain_db=gain_db))
    return sounds, parts


def _tracks(take: Take, span: Span, channels: int) -> FloatArray:
    """The stretch on `channels` tracks: good ones, and the best again where they are few."""
    sound, rate_hz = read_span(take.file, span.start_s, span.end_s)
    if rate_hz != RATE_HZ:
        sound = soxr.resample(sound.T, rate_hz, RATE_HZ).T.astype(np.float32)
    good = used_channel(take)
    if len(sound) < channels:
        return np.repeat(sound[good : good + 1], channels, axis=0)
    faults = take.levels.channel_faults if take.levels else ()
    bad = frozenset(clipped_samples(faults)).union(*map(spoilt_channels, faults))
    whole = [track for track in range(len(sound)) if track + 1 not in bad]
    if len(whole) >= channels:
        return sound[whole[:channels]]
    return sound[[good if track + 1 in bad else track for track in range(channels)]]


def _holes(sound: FloatArray, start_s: float) -> list[Span]:
    """Where sound that begins at `start_s` drops out of any track, or the level of one steps."""
    found = {hole for track in sound for hole in dropouts(track, RATE_HZ)}
    holes = [
        Span(start_s + first / RATE_HZ - _HOLE_MARGIN_S, start_s + last / RATE_HZ + _HOLE_MARGIN_S)
        for first, last in found
    ]
    steps_s = {start_s + at_s for track in sound for at_s in gain_steps(track, RATE_HZ)}
    return sorted(holes + [Span(at_s - _STEP_MARGIN_S, at_s + _STEP_MARGIN_S) for at_s in steps_s])


def _pieces(sound: FloatArray) -> Iterator[FloatArray]:
    """The sound in pieces of ten seconds, which measuring and writing copy in double precision."""
    for first in range(0, sound.shape[1], 10 * RATE_HZ):
        yield sound[:, first : first + 10 * RATE_HZ]


def _joined_s(spans: Sequence[Span]) -> float:
    return sum(span.length_s for span in spans) - FADE_S * max(0, len(spans) - 1)


def _without(span: Span, holes: Sequence[Span]) -> Iterator[Span]:
    at = span.start_s
    for hole in sorted(holes):
        if hole.end_s <= at:
            continue
        if hole.start_s >= span.end_s:
            break
        if hole.start_s > at:
            yield Span(at, hole.start_s)
        at = hole.end_s
    if at < span.end_s:
        yield Span(at, span.end_s)


def _same_place(take: Take, like: Take | None) -> bool:
    """A day's clips lie in a folder a place, or all in one."""
    return like is not None and Path(take.path).parent == Path(like.path).parent


def _time_apart_s(take: Take, like: Take | None) -> float:
    """Difference in time of day; where neither clock tells, half a day."""
    if like is None:
        return 0.0
    dates = recorded_at(take), recorded_at(like)
    if dates[0] is not None and dates[1] is not None:
        apart = apart_s(dates[0], dates[1])
    else:
        clocks = time_of_day_s(take), time_of_day_s(like)
        if clocks[0] is None or clocks[1] is None:
            return DAY_S / 2
        apart = clocks[1] - clocks[0]
    return abs(within_half_s(apart))


def _bext(bed: Bed, n_channels: int, like: Take | None, keep_calls: bool) -> Bext:
    what = "natural background" if keep_calls else "natural background without calls"
    purpose = f" for {like.path}" if like is not None else ""
    channels = "stereo" if n_channels > 1 else "mono"
    return Bext(
        description=f"Bed{purpose}: {bed.length_s:.0f} s of {what}, loops without a seam",
        loudness_lufs=bed.loudness_lufs,
        loudness_range_lu=bed.range_lu,
        true_peak_dbtp=bed.true_peak_dbtp,
        history="\n".join(
            [f"A=PCM,F={RATE_HZ},W=24,M={channels},T=bed of {len(bed.parts)} stretches"]
            + [f"from {part}" for part in bed.parts]
        ),
    )


def _info(bed: Bed) -> dict[str, str]:
    return {"ICMT": "bed from " + "; ".join(map(str, bed.parts)), "ISFT": "calltag"}
