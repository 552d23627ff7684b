"""The string of selects as one wave file, to listen to.

48 kHz, 24 bit, one channel: of each stretch, the channel that is best to listen to. Calls lie where
the timeline has them, gaps are silent, and each call has a cue with its name. Levels stay those of
the takes, but what would be loud on headphones is turned down: a stretch may peak at `PEAK_DBTP`
and its loudest moment may reach `LOUDEST_DBFS`. Matching levels has to be asked for. Every change
of level is told.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from pathlib import Path

import numpy as np

from calltag.arrays import FloatArray
from calltag.edit.selects import Select, gap_frames, timeline_rate
from calltag.errors import InputError, WriteError
from calltag.files import partial_of
from calltag.media.sound_blocks.reader import read_logged
from calltag.media.timing.timecode import frame_to_seconds, parse_start
from calltag.media.wave_files.bext import Bext, history_line
from calltag.media.wave_files.wav_writing import EDIT_RATE_HZ as RATE_HZ
from calltag.media.wave_files.wav_writing import Cue, write_wav
from calltag.overwriting import refuse_existing, refuse_footage
from calltag.sound.channels.choosing import Chooser
from calltag.sound.fading import fade_ends
from calltag.sound.loudness.true_peak import true_peak_dbtp

PEAK_DBTP = -6.0
"""True peak that no stretch exceeds."""

LOUDEST_DBFS = -20.0
"""RMS level that no 400 ms of a stretch exceed."""

MATCHED_DBFS = -30.0
"""RMS level that matched calls are brought to."""

MOST_GAIN_DB = 30.0
"""By how much matching turns up at most."""

_WINDOW_S = 0.4
_FADE_S = 0.005


@dataclass(frozen=True, slots=True)
class SelectsSound:
    """What was rendered.

    Attributes
    ----------
    path : Path
        The file.
    place : Path
        Where it was rendered, until it is given its own name.
    gains_db : tuple of float
        Change of level of each call, in order; 0 where it was left.
    """

    path: Path
    place: Path
    gains_db: tuple[float, ...]


def measure_gains(selects: Sequence[Select], *, match_levels: bool = False) -> tuple[float, ...]:
    """Find how the levels of selects have to be changed; all their takes are read for it.

    Parameters
    ----------
    selects : sequence of Select
        The calls.
    match_levels : bool
        Whether to bring all calls to `MATCHED_DBFS`, as far as `MOST_GAIN_DB` and the ceilings
        allow.

    Returns
    -------
    tuple of float
        Change of level of each call in dB, in order; 0 where it is left.

    Raises
    ------
    MediaError
        If a take cannot be read.
    """
    return tuple(_gain_db(select, _read(select), match_levels) for select in selects)


@contextmanager
def rendering(
    sounds: Mapping[Path, Sequence[Select]],
    gains_db: Mapping[Path, Sequence[float]],
    *,
    gap_s: float = 0.0,
    record_start: str = "01:00:00:00",
    replace_existing: bool = False,
) -> Iterator[list[SelectsSound]]:
    """Render the sounds of several timelines, each under a name beside its own.

    In the block they are given their own names together with the timelines, so that neither is
    there without the other; what was not is removed.

    Parameters
    ----------
    sounds : mapping of Path to sequence of Select
        The wave files, and the calls of each, in order.
    gains_db : mapping of Path to sequence of float
        What `measure_gains` found for those of each file.
    gap_s : float
        Seconds of silence between calls.
    record_start : str
        Timecode that the timelines begin at, for the files' time reference.
    replace_existing : bool
        Whether existing files may be replaced.

    Yields
    ------
    list of SelectsSound
        The files, and what was changed of the calls' levels.

    Raises
    ------
    InputError
        If there is nothing to render, or a file is a take, exists already or cannot be written.
    MediaError
        If a take cannot be read.
    """
    for out, selects in sounds.items():
        if not selects:
            raise InputError(f"{out.name}: no call was chosen")
        refuse_footage([out], [s.source.take.file for s in selects])
    refuse_existing(sounds, replace=replace_existing)
    with ExitStack() as stack:
        made = [
            SelectsSound(out, stack.enter_context(partial_of(out)), tuple(gains_db[out]))
            for out in sounds
        ]
        for one, selects in zip(made, sounds.values(), strict=True):
            try:
                _render(selects, one.place, one.gains_db, gap_s, record_start)
            except WriteError as error:
                raise WriteError(one.path, error.reason) from error
        yield made


def _render(
    selects: Sequence[Select],
    place: Path,
    gains_db: Sequence[float],
    gap_s: float,
    record_start: str,
) -> None:
    rate = timeline_rate(selects)
    between_s = frame_to_seconds(gap_frames(gap_s, rate), rate.fps)
    begin_s = frame_to_seconds(parse_start(record_start, rate), rate.fps)
    bext = Bext(
        description=f"{len(selects)} selects",
        time_reference=round(begin_s * RATE_HZ),
        history="\n".join(
            history_line(RATE_HZ, f"select {number}: {gain:+z.1f} dB", mode="mono")
            for number, gain in enumerate(gains_db, 1)
        ),
    )
    blocks, cues = _blocks(selects, gains_db, between_s), _cues(selects, between_s)
    write_wav(place, blocks, RATE_HZ, bext=bext, cues=cues)


def _starts_s(selects: Sequence[Select], between_s: Fraction) -> list[Fraction]:
    """Where each begins on the timeline."""
    lengths_s = (select.length_s + between_s for select in selects[:-1])
    return list(accumulate(lengths_s, initial=Fraction(0)))


def _cues(selects: Sequence[Select], between_s: Fraction) -> list[Cue]:
    cues = []
    for select, start_s in zip(selects, _starts_s(selects, between_s), strict=True):
        (marker,) = select.source.markers
        into_s = Fraction(marker.start_s) - select.start_s
        length = round((marker.end_s - marker.start_s) * RATE_HZ)
        cues.append(Cue(round((start_s + max(into_s, Fraction(0))) * RATE_HZ), marker.name, length))
    return cues


def _blocks(
    selects: Sequence[Select], gains_db: Sequence[float], between_s: Fraction
) -> Iterator[FloatArray]:
    at = 0
    starts_s = _starts_s(selects, between_s)
    for select, gain_db, start_s in zip(selects, gains_db, starts_s, strict=True):
        first, end = round(start_s * RATE_HZ), round((start_s + select.length_s) * RATE_HZ)
        yield np.zeros((1, first - at), np.float32)
        samples = np.zeros((1, end - first), np.float32)
        heard = _read(select)[: end - first]
        samples[0, : len(heard)] = heard * np.float32(10 ** (gain_db / 20))
        fade = min(round(_FADE_S * RATE_HZ), samples.shape[1] // 2)
        fade_ends(samples, fade, fade)
        yield samples
        at = end


def _read(select: Select) -> FloatArray:
    """The best channel of the stretch."""
    start_s, end_s = float(select.start_s), float(select.start_s + select.length_s)
    samples, _ = read_logged(select.source.take, start_s, end_s, rate_hz=RATE_HZ)
    return Chooser(RATE_HZ).choose(samples)


def _gain_db(select: Select, samples: FloatArray, match_levels: bool) -> float:
    loudest_dbfs = _loudest_dbfs(samples)
    if loudest_dbfs == -np.inf:
        return 0.0
    gain_db = 0.0
    if match_levels:
        (marker,) = select.source.markers
        offset_s = float(select.start_s)
        first, end = (round((s - offset_s) * RATE_HZ) for s in (marker.start_s, marker.end_s))
        level_dbfs = _rms_dbfs(samples[max(0, first) : max(first + 1, end)])
        if np.isfinite(level_dbfs):
            gain_db = min(MATCHED_DBFS - level_dbfs, MOST_GAIN_DB)
    ceiling_db = min(PEAK_DBTP - true_peak_dbtp(samples), LOUDEST_DBFS - loudest_dbfs)
    return min(gain_db, ceiling_db)


def _loudest_dbfs(samples: FloatArray) -> float:
    """Level of the loudest `_WINDOW_S`, wherever it begins; of the whole where that is shorter."""
    window = round(_WINDOW_S * RATE_HZ)
    if len(samples) <= window:
        return _rms_dbfs(samples)
    sums = np.concatenate([[0.0], np.cumsum(np.square(samples, dtype=np.float64))])
    return _dbfs(float((sums[window:] - sums[:-window]).max()) / window)


def _rms_dbfs(samples: FloatArray) -> float:
    return _dbfs(float(np.mean(np.square(samples, dtype=np.float64))) if samples.size else 0.0)


def _dbfs(mean_square: float) -> float:
    return 10 * float(np.log10(mean_square)) if mean_square > 0 else -np.inf
