"""Short stretches of a take's sound for a browser's player, at a level that startles nobody.

One channel, the one that calls were looked for in. The level is held: the loudest 0.4 s of an
excerpt comes out at no more than `LOUDEST_LUFS`, its peaks at no more than `PEAK_DBTP`, and quiet
sound is raised, but by no more than `MOST_BOOST_DB`, so that the hiss of a silent take stays hiss.
All of the excerpt counts, noise too. How loud that is in the ears is up to the volume control.

Two encodings that every current browser plays (common knowledge; both are tried in a browser by the
tests): 16-bit PCM in a wave file, exact to the sample, from the server; MP3, an eighth of the size,
inside a page. Half speed is the player's business, which plays either more slowly.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calltag.arrays import FloatArray
from calltag.errors import InputError, MediaError
from calltag.media.sound_blocks.reader import read_span
from calltag.records.span import Span
from calltag.records.take import Take
from calltag.sound.channels.choosing import Chooser
from calltag.sound.fading import fade_ends
from calltag.sound.loudness.meters import LoudnessMeter, ungated_lufs
from calltag.sound.loudness.true_peak import true_peak_dbtp
from calltag.sound.spectrum import RATE_HZ
from calltag.takes.used_channels import used_channel

BEFORE_S = 1.0
"""Pre-roll: what is heard before the sound itself."""

AFTER_S = 0.5
"""What is heard after it."""

LONGEST_S = 30.0
"""Longer sounds are cut off here."""

LOUDEST_LUFS = -26.0
"""Momentary loudness of the loudest 0.4 s at most: 3 LU below broadcast level (EBU R 128)."""

PEAK_DBTP = -12.0
"""True peak at most."""

MOST_BOOST_DB = 24.0
"""Quiet sound is raised by no more than this."""

_FADE_S = 0.01
_MP3_QUALITY = 0.7
"""Of libsndfile's 0 (best) to 1 (smallest)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Excerpt:
    """A short stretch of a take's sound.

    Attributes
    ----------
    raw : np.ndarray, shape (n_samples,), float32
        One channel at `calltag.sound.spectrum.RATE_HZ`, as recorded: what a picture is drawn of.
    samples : np.ndarray, shape (n_samples,), float32
        The same at a safe level, with its ends faded: what is played.
    start_s : float
        Where it begins, in seconds of the take.
    gain_db : float
        By how much it was raised, or, below zero, lowered.
    """

    raw: FloatArray
    samples: FloatArray
    start_s: float
    gain_db: float

    @property
    def end_s(self) -> float:
        """Where it ends, in seconds of the take."""
        return self.start_s + len(self.raw) / RATE_HZ

    def wav(self) -> bytes:
        """Encode it as a wave file, 16-bit.

        Returns
        -------
        bytes
            The file; its type is ``audio/wav``.
        """
        return _encoded(self.samples, "WAV", "PCM_16")

    def mp3(self) -> bytes:
        """Encode it small, as MP3.

        Returns
        -------
        bytes
            The file; its type is ``audio/mpeg``.
        """
        return _encoded(self.samples, "MP3", "MPEG_LAYER_III", _MP3_QUALITY)


def cut_excerpt(
    path: Path, take: Take, span: Span, *, before_s: float = BEFORE_S, after_s: float = AFTER_S
) -> Excerpt:
    """Cut an excerpt from a take.

    Parameters
    ----------
    path : Path
        The take's file; it is only read.
    take : Take
        What the log knows of it: its length, and the channel to use.
    span : Span
        The sound to hear.
    before_s, after_s : float
        What to hear before and after it, as far as the take goes.

    Returns
    -------
    Excerpt
        At most `LONGEST_S` of sound.

    Raises
    ------
    InputError
        If `before_s` or `after_s` is below zero.
    MediaError
        If the take cannot be read, or has no sound there.
    """
    if not (before_s >= 0 and after_s >= 0):
        raise InputError(f"{before_s:g} s before and {after_s:g} s after: give zero or more")
    start_s = max(0.0, span.start_s - before_s)
    end_s = min(span.end_s + after_s, take.duration_s, start_s + LONGEST_S)
    if not end_s > start_s:
        raise MediaError(path, f"has no sound at {span.start_s:.1f} s; log it again")
    channels, _ = read_span(path, start_s, end_s, rate_hz=RATE_HZ)
    if not channels.shape[1]:
        raise MediaError(path, f"has no sound at {span.start_s:.1f} s; log it again")
    return _excerpt(channels[min(used_channel(take), len(channels) - 1)], start_s)


def whole_excerpt(path: Path) -> Excerpt:
    """Make an excerpt of a whole short file, such as a kept call with its handles.

    Parameters
    ----------
    path : Path
        The file; it is only read.

    Returns
    -------
    Excerpt
        At most `LONGEST_S` of sound, of the best of its channels.

    Raises
    ------
    MediaError
        If it cannot be read, or has no sound.
    """
    channels, _ = read_span(path, 0.0, LONGEST_S, rate_hz=RATE_HZ)
    if not channels.shape[1]:
        raise MediaError(path, "has no sound; take it from a copy of the library")
    return _excerpt(Chooser(RATE_HZ).choose(channels), 0.0)


def _excerpt(chosen: FloatArray, start_s: float) -> Excerpt:
    raw = np.ascontiguousarray(chosen)
    gain_db = safe_gain_db(raw)
    return Excerpt(raw=raw, samples=_played(raw, gain_db), start_s=start_s, gain_db=gain_db)


def safe_gain_db(samples: FloatArray) -> float:
    """Work out how far sound has to be raised or lowered to be played at a safe level.

    Parameters
    ----------
    samples : np.ndarray, shape (n_samples,), float32
        One channel at `calltag.sound.spectrum.RATE_HZ`.

    Returns
    -------
    float
        Gain in dB, at most `MOST_BOOST_DB`.

    Examples
    --------
    >>> tone = np.sin(2 * np.pi * np.arange(RATE_HZ) * 997 / RATE_HZ).astype(np.float32)
    >>> round(safe_gain_db(tone), 1), round(safe_gain_db(1e-6 * tone), 1)
    (-23.0, 24.0)
    """
    meter = LoudnessMeter(RATE_HZ, 1)
    meter.add(samples[None])
    loudest_lufs = max(meter.loudest_lufs(), ungated_lufs(samples, RATE_HZ))
    room_db = min(LOUDEST_LUFS - loudest_lufs, PEAK_DBTP - true_peak_dbtp(samples))
    return min(room_db, MOST_BOOST_DB)


def _played(raw: FloatArray, gain_db: float) -> FloatArray:
    samples = raw * np.float32(10 ** (gain_db / 20))
    fade = min(round(_FADE_S * RATE_HZ), len(samples) // 2)
    fade_ends(samples, fade, fade)
    return samples


def _encoded(
    samples: FloatArray, container: str, subtype: str, compression: float | None = None
) -> bytes:
    import soundfile

    file = io.BytesIO()
    soundfile.write(
        file, samples, RATE_HZ, subtype, format=container, compression_level=compression
    )
    return file.getvalue()
