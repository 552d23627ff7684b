"""A take's treated sound, written to a file of its own and measured there."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calltag.arrays import DoubleArray, FloatArray
from calltag.errors import InputError, WriteError
from calltag.files import written_whole
from calltag.media.sound_blocks.reader import SoundReader
from calltag.media.wave_files.bext import Bext
from calltag.media.wave_files.wav_writing import write_wav
from calltag.overwriting import refuse_footage
from calltag.records.found import TakeLog
from calltag.sound.spectrum import RATE_HZ
from calltag.takes.rescue.call_spectra import listen
from calltag.takes.rescue.standing import Figures, figures, loudness
from calltag.takes.rescue.treatment import Treatment, heard_channel, treated
from calltag.takes.verdict import likely_calls

_CEILING = 0.97  # a treated sound that would exceed full scale is turned down to this
_READ_S = 60.0


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
    value: float = 0.0


def write_treated(
    path: Path,
    out: Path,
    take_log: TakeLog,
    treatment: Treatment,
    bext: Bext,
    was: DoubleArray | None = None,
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
    refuse_footage([out], [path])
    if not treatment:
        raise InputError(
            f"{path.name}: there is nothing to treat; add --low-cut, --high-cut or --channel"
        )
    reader = SoundReader(path, rate_hz=None, block_s=_READ_S)
    rate_hz = take_log.take.sample_rate_hz or RATE_HZ
    turned_down_db = _write(out, reader, treatment, rate_hz, bext)
    calls = likely_calls(take_log)
    channel = heard_channel(take_log.take, treatment)
    if was is None:
        was = loudness(listen(path, calls, channel))
    after = figures(listen(out, calls, channel), was=was * 10 ** (-turned_down_db / 10))
    return Treated(path=out, after=after, turned_down_db=turned_down_db)


def _write(out: Path, reader: SoundReader, treatment: Treatment, rate_hz: int, bext: Bext) -> float:
    """Write it, by so many dB lower that none of it is cut off; only then has it its own name."""
    peak = _Peak()
    try:
        with written_whole(out) as partial:
            blocks = _metered(treated(reader, treatment, rate_hz), peak)
            write_wav(partial, blocks, rate_hz, bext=bext)
            if peak.value <= 1.0:
                return 0.0
            gain = np.float32(_CEILING / peak.value)
            quieter = (block * gain for block in treated(reader, treatment, rate_hz))
            write_wav(partial, quieter, rate_hz, bext=bext)
    except WriteError as error:
        raise WriteError(out, error.reason) from error
    return 20 * float(np.log10(peak.value / _CEILING))


def _metered(blocks: Iterable[FloatArray], peak: _Peak) -> Iterator[FloatArray]:
    for block in blocks:
        peak.value = max(peak.value, float(np.abs(block).max(initial=0.0)))
        yield block
