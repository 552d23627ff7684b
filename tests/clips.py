"""Tiny clips for tests, written with PyAV: any picture, any sound, a start timecode where wanted.

Tests get `make_clip` through the fixture of the same name in conftest.py.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import numpy as np
import numpy.typing as npt

SECONDS = 2.0

SAMPLE_FORMATS = {
    "pcm_u8": "u8",
    "pcm_s16le": "s16",
    "pcm_s16be": "s16",
    "pcm_s24le": "s32",
    "pcm_s24be": "s32",
    "pcm_s32le": "s32",
    "pcm_f32le": "flt",
    "pcm_f64le": "dbl",
    "flac": "s16",
}

Piece = tuple[float, Any, Any]
"""Time, stream, frame; None for the frame ends the stream."""


def noise(n_channels: int, n_samples: int, *, seed: int = 1, rms: float = 0.1) -> np.ndarray:
    """Independent white noise in every channel, float32, shape (n_channels, n_samples)."""
    rng = np.random.default_rng(seed)
    return np.clip(rng.normal(0.0, rms, (n_channels, n_samples)), -1, 1).astype(np.float32)


def make_clip(
    path: Path,
    *,
    seconds: float = SECONDS,
    fps: Fraction | int | None = Fraction(25),
    rate_hz: int = 48_000,
    channels: int = 2,
    samples: npt.NDArray[np.floating] | None = None,
    audio_codec: str | None = "aac",
    video_codec: str = "mpeg4",
    timecode: str | None = None,
    size: tuple[int, int] = (64, 36),
    streams: int = 1,
    sound_delay_s: float = 0.0,
    video_bit_rate: int | None = None,
    noisy_picture: bool = False,
    images: Callable[[int], npt.NDArray[np.uint8]] | None = None,
    ticks: Sequence[int] | None = None,
    picture_options: Mapping[str, str] | None = None,
    metadata: Mapping[str, str] | None = None,
    options: Mapping[str, str] | None = None,
    container: str | None = None,
) -> Path:
    """Write a clip and return its path; the suffix chooses the container.

    Parameters
    ----------
    path : Path
        Where to; its folder is made.
    seconds : float
        Length of the picture, and of the sound where `samples` is None.
    fps : Fraction, int or None
        Frame rate; None for a file of sound alone.
    rate_hz : int
        Sampling rate.
    channels : int
        Channels over all streams, where `samples` is None.
    samples : np.ndarray, shape (n_channels, n_samples), optional
        The sound, full scale at ±1; independent noise in every channel unless given.
    audio_codec : str or None
        FFmpeg's name of it; None for a take without sound.
    video_codec : str
        FFmpeg's name of it.
    timecode : str, optional
        Start timecode, with ``;`` before the frames for drop-frame.
    size : tuple of two int
        Width and height of the picture.
    streams : int
        Audio streams that the channels are dealt to, the same number to each.
    sound_delay_s : float
        By how much the sound starts after the picture.
    video_bit_rate : int, optional
        Bits a second of the picture, for clips heavy in picture.
    noisy_picture : bool
        A new random picture in every frame, which no codec can shrink.
    images : callable, optional
        Gives the picture of each frame by its number: shape (height, width), grey, or (height,
        width, 3); `size` is that of the first then.
    ticks : sequence of int, optional
        When each frame is shown, in frames of `fps`: for a variable rate; their number is that of
        the frames.
    picture_options : mapping of str, optional
        Options of the picture's encoder.
    metadata, options : mapping of str, optional
        Tags of the container, and options of its writer.
    container : str, optional
        FFmpeg's name of the container, where the suffix does not tell.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    if images is not None:
        height, width = images(0).shape[:2]
        size = (width, height)
    if audio_codec is None:
        samples = np.zeros((0, 0), np.float32)
    elif samples is None:
        samples = noise(channels, round(seconds * rate_hz))
    with av.open(path, "w", format=container, options=dict(options or {})) as out:
        out.metadata.update(metadata or {})
        picture = None
        if fps is not None:
            picture = out.add_stream(video_codec, rate=Fraction(fps))
            picture.width, picture.height = size
            picture.pix_fmt = _pixels(video_codec)
            if video_codec == "libx265":
                picture.options = {"x265-params": "log-level=none"}
            if picture_options:
                picture.options = dict(picture_options)
            if video_bit_rate:
                picture.bit_rate = video_bit_rate
        if timecode is not None:
            if picture is not None:
                picture.metadata["timecode"] = timecode
            out.metadata["timecode"] = timecode
        sound = []
        for part in np.split(samples, streams) if audio_codec else []:
            stream = out.add_stream(audio_codec, rate=rate_hz)
            stream.layout = _layout(len(part))
            if audio_codec in SAMPLE_FORMATS:
                stream.format = SAMPLE_FORMATS[audio_codec]
            if audio_codec == "vorbis":
                stream.options = {"strict": "-2"}
            elif audio_codec == "aac":  # noise substitution is drawn anew whenever it is decoded;
                stream.options = {"aac_pns": "0", "aac_coder": "fast"}  # four times faster
            sound.append((stream, part))
        pieces = [_sound(stream, part, round(sound_delay_s * rate_hz)) for stream, part in sound]
        if picture is not None:
            times = ticks if ticks is not None else range(round(seconds * Fraction(fps)))
            if images is None:
                images = _noisy(*size) if noisy_picture else _even(*size)
            pieces.append(_picture(picture, Fraction(fps), times, images))
        # In order of time, as a camera writes them.
        for _, stream, frame in heapq.merge(*pieces, key=lambda piece: piece[0]):
            out.mux(stream.encode(frame))
    return path


def _pixels(codec: str) -> str:
    return {"prores_ks": "yuv422p10le", "mjpeg": "yuvj420p", "dnxhd": "yuv422p"}.get(
        codec, "yuv420p"
    )


def _layout(n_channels: int) -> str:
    return {1: "mono", 2: "stereo", 4: "4.0", 6: "5.1", 8: "7.1"}.get(n_channels, f"{n_channels}C")


def _even(width, height):
    return lambda i: np.full((height, width, 3), (40, 60 + i % 64, 50), np.uint8)


def _noisy(width, height):
    rng = np.random.default_rng(7)
    return lambda _: rng.integers(0, 256, (height, width, 3), dtype=np.uint8)


def _picture(stream, fps, ticks, images) -> Iterator[Piece]:
    for i, tick in enumerate(ticks):
        image = images(i)
        frame = av.VideoFrame.from_ndarray(image, format="rgb24" if image.ndim == 3 else "gray")
        frame = frame.reformat(format=stream.pix_fmt)
        frame.pts = tick
        frame.time_base = 1 / fps
        yield float(tick / fps), stream, frame
    yield float((ticks[-1] + 1) / fps), stream, None


def _sound(stream, samples, first_pts) -> Iterator[Piece]:
    kind, scale = {
        "u8": (np.uint8, 128.0),
        "s16": (np.int16, 2.0**15),
        "s32": (np.int32, 2.0**31),
        "dbl": (np.float64, 1.0),
    }.get(stream.format.name.rstrip("p"), (np.float32, 1.0))
    data = samples.astype(np.float64) * scale
    if kind is np.uint8:
        data += 128
    if np.issubdtype(kind, np.integer):
        limits = np.iinfo(kind)
        data = np.clip(np.round(data), limits.min, limits.max)
    data = data.astype(kind)
    n_samples = samples.shape[1]
    step = 4800
    for start in range(0, n_samples, step):
        piece = data[:, start : start + step]
        if not stream.format.is_planar:
            piece = piece.T.reshape(1, -1)
        frame = av.AudioFrame.from_ndarray(
            np.ascontiguousarray(piece), format=stream.format.name, layout=stream.layout.name
        )
        frame.sample_rate = stream.rate
        frame.pts = first_pts + start
        frame.time_base = Fraction(1, stream.rate)
        yield (first_pts + start) / stream.rate, stream, frame
    yield (first_pts + n_samples) / stream.rate, stream, None
