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

import numpy as np
import soxr

from calltag.arrays import FloatArray
from calltag.errors import InputError
from calltag.media.sound_blocks.reader import read_logged
from calltag.media.wave_files.bext import Bext, history_line
from calltag.media.wave_files.wav_writing import EDIT_RATE_HZ as RATE_HZ
from calltag.media.wave_files.wav_writing import write_wav
from calltag.records.found import TakeLog
from calltag.records.span import Span
from calltag.records.take import Take
from calltag.sound.channels.dropouts import dropouts
from calltag.sound.channels.faults import clipped_samples, spoilt_channels
from calltag.sound.gain_steps import gain_steps
from calltag.sound.loudness.meters import LoudnessMeter, integrated_lufs, ungated_lufs
from calltag.sound.loudness.true_peak import true_peak_dbtp
from calltag.takes.bed.clean_stretches import (
    FADE_S,
    LEAST_STRETCH_S,
    Stretch,
    choose,
    clean_stretches,
    joined_s,
    why_none,
    without,
)
from calltag.takes.bed.crossfade import join
from calltag.takes.used_channels import used_channel
from calltag.words import clock, counted

LONGEST_S = 900.0
"""Longest bed that is built: it is held in memory."""

_HOLE_MARGIN_S = 0.1  # kept clear of where sound drops out
_STEP_MARGIN_S = 0.4  # and of where its level steps
_MATCH_DB = 6.0  # stretches are brought to one loudness by at most this much
_ROUNDING_S = 0.01  # ends of stretches are whole samples: so much may be lacking of a length
_PIECE_S = 10
_TOO_DIFFERENT_DB = 12.0  # a stretch so much louder or softer is another place or weather


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


def check_length(seconds: float) -> None:
    """Make sure that a bed may have a length.

    Parameters
    ----------
    seconds : float
        Its length.

    Raises
    ------
    InputError
        If none is so short, or so long.
    """
    if not LEAST_STRETCH_S <= seconds <= LONGEST_S:
        raise InputError(
            f"a bed of {seconds:g} s: choose a length from {LEAST_STRETCH_S:.0f} to "
            f"{LONGEST_S:.0f} s"
        )


def make_bed(
    take_logs: Sequence[TakeLog],
    out: Path,
    *,
    seconds: float = 60.0,
    like: Take | None = None,
    keep_calls: bool = False,
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
    check_length(seconds)
    found = clean_stretches(take_logs, like=like, keep_calls=keep_calls)
    if not found:
        raise InputError(why_none(take_logs, keep_calls=keep_calls))
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
        repeats=joined_s([part.span for part in parts]) < seconds + FADE_S - _ROUNDING_S,
        loudness_lufs=meter.integrated_lufs(),
        range_lu=meter.range_lu(),
        true_peak_dbtp=true_peak_dbtp(sound),
    )
    write_wav(
        out, _pieces(sound), RATE_HZ, bext=_bext(bed, channels, like, keep_calls), info=_info(bed)
    )
    return bed


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
    first_lufs: float | None = None
    left = list(stretches)
    while left:
        stretch = left.pop(0)
        if joined_s([part.span for part in parts]) >= needed_s - _ROUNDING_S:
            break
        left_s = needed_s - (joined_s([part.span for part in parts]) - FADE_S if parts else 0.0)
        # no more than is needed, from the middle: the ends are nearest to what made others unclean
        length_s = min(stretch.span.length_s, max(left_s, LEAST_STRETCH_S))
        start_s = stretch.span.start_s + (stretch.span.length_s - length_s) / 2
        span = Span(start_s, start_s + length_s)
        sound = _tracks(stretch.take, span, channels)
        if holes := _holes(sound, start_s):
            free = [s for s in without(stretch.span, holes) if s.length_s >= LEAST_STRETCH_S]
            free.sort(key=lambda span: -span.length_s)
            left = [*(stretch._replace(span=span) for span in free), *left]
            continue
        lufs = integrated_lufs(sound, RATE_HZ)
        if not np.isfinite(lufs):  # all below the gate, at -70 LUFS
            lufs = ungated_lufs(sound, RATE_HZ)
        gain_db = 0.0
        if first_lufs is None:
            first_lufs = lufs
        elif abs(first_lufs - lufs) > _TOO_DIFFERENT_DB:
            continue
        else:
            gain_db = float(np.clip(first_lufs - lufs, -_MATCH_DB, _MATCH_DB))
        sounds.append(sound * np.float32(10 ** (gain_db / 20)))
        parts.append(Part(take=stretch.take, span=span, gain_db=gain_db))
    return sounds, parts


def _tracks(take: Take, span: Span, channels: int) -> FloatArray:
    """The stretch on `channels` tracks: good ones, and the best again where they are few."""
    sound, rate_hz = read_logged(take, span.start_s, span.end_s)
    if rate_hz != RATE_HZ:
        sound = soxr.resample(sound.T, rate_hz, RATE_HZ).T.astype(np.float32)
    good = used_channel(take)
    if len(sound) < channels:
        return np.repeat(sound[good : good + 1], channels, axis=0)
    bad = frozenset(clipped_samples(take.channel_faults)).union(
        *map(spoilt_channels, take.channel_faults)
    )
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
    """The sound in short pieces, since measuring and writing copy it in double precision."""
    n = _PIECE_S * RATE_HZ
    for first in range(0, sound.shape[1], n):
        yield sound[:, first : first + n]


def _bext(bed: Bed, n_channels: int, like: Take | None, keep_calls: bool) -> Bext:
    what = "natural background" if keep_calls else "natural background without calls"
    purpose = f" for {like.path}" if like is not None else ""
    channels = "stereo" if n_channels > 1 else "mono"
    made_of = counted(len(bed.parts), "stretch", "stretches")
    return Bext(
        description=f"Bed{purpose}: {bed.length_s:.0f} s of {what}, loops without a seam",
        loudness_lufs=bed.loudness_lufs,
        loudness_range_lu=bed.range_lu,
        true_peak_dbtp=bed.true_peak_dbtp,
        history="\n".join(
            [history_line(RATE_HZ, f"bed of {made_of}", mode=channels)]
            + [f"from {part}" for part in bed.parts]
        ),
    )


def _info(bed: Bed) -> dict[str, str]:
    return {"ICMT": "bed from " + "; ".join(map(str, bed.parts)), "ISFT": "calltag"}
