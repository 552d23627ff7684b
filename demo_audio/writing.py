"""Writing the demo's clips: picture and sound into MP4 and MOV, sound into broadcast wave."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import numpy.typing as npt
from air import RATE_HZ

Sound = npt.NDArray[np.int16]
Drawer = Callable[[float], npt.NDArray[np.uint8]]

_LAYOUT = {1: "mono", 2: "stereo"}


@contextmanager
def put_in_place(target: Path) -> Iterator[Path]:
    """Write under a name beside the target, and move it there only when it is whole.

    Parameters
    ----------
    target : Path
        Where the file is to be.

    Yields
    ------
    Path
        Where to write it.
    """
    part = target.with_name(f".{target.name}.part")
    try:
        yield part
        os.replace(part, target)  # noqa: PTH105 - the one name for it that says what it does
    finally:
        part.unlink(missing_ok=True)


def write_clip(
    target: Path,
    draw: Drawer,
    sound: Sound,
    *,
    fps: Fraction,
    n_frames: int,
    start_tc: str,
    recorded: str,
    codec: str,
    bits_per_s: int,
) -> None:
    """Write a clip as a camera does: H.264, sound and start timecode.

    Parameters
    ----------
    target : Path
        The file, ``.MP4`` or ``.MOV``.
    draw : callable
        Takes seconds, gives the picture there, uint8, shape (height, width, 3).
    sound : np.ndarray, shape (n_channels, n_samples), int16
        The sound; no channel for a silent clip.
    fps : Fraction
        Frame rate.
    n_frames : int
        Length of the picture.
    start_tc : str
        Start timecode, ``;`` before the frames for drop-frame.
    recorded : str
        When, ISO 8601.
    codec : str
        Codec of the sound: ``aac``, ``ac3`` or ``pcm_s16le``.
    bits_per_s : int
        Rate of a codec that loses something; 0 for PCM.
    """
    kind = target.suffix[1:].lower()
    height, width = draw(0.0).shape[:2]
    with put_in_place(target) as part, av.open(str(part), "w", format=kind) as container:
        container.metadata["creation_time"] = recorded
        video = container.add_stream("libx264", rate=fps)
        video.width, video.height, video.pix_fmt = width, height, "yuv420p"
        video.time_base = 1 / fps
        video.codec_context.time_base = 1 / fps
        video.codec_context.gop_size = round(3 * fps)
        video.metadata["timecode"] = start_tc
        # One thread, so that the same frames give the same file.
        video.options = {"crf": "31", "preset": "slow", "threads": "1"}
        audio = _add_sound(container, sound, codec, bits_per_s) if len(sound) else None

        sent = 0
        for index in range(n_frames):
            frame = av.VideoFrame.from_ndarray(draw(float(index / fps)), format="rgb24")
            frame.pts, frame.time_base = index, 1 / fps
            container.mux(video.encode(frame))
            if audio is not None:
                until = min(sound.shape[1], round((index + 1) / fps * RATE_HZ))
                sent = _send(container, audio, sound, sent, until)
        if audio is not None:
            _send(container, audio, sound, sent, sound.shape[1], last=True)
            container.mux(audio.encode(None))
        container.mux(video.encode(None))


def write_wave(target: Path, sound: Sound, *, recorded: str, time_reference: int) -> None:
    """Write a broadcast wave (EBU Tech 3285) as a sound recorder does.

    Parameters
    ----------
    target : Path
        The file.
    sound : np.ndarray, shape (n_channels, n_samples), int16
        The sound.
    recorded : str
        When, ISO 8601.
    time_reference : int
        Start in samples since midnight.
    """
    options = {"write_bext": "1", "fflags": "+bitexact"}
    with (
        put_in_place(target) as part,
        av.open(str(part), "w", format="wav", options=options) as container,
    ):
        container.metadata.update(
            {
                "description": "Ashmere at first light: invented place and animals, computed sound",
                "originator": "calltag demo",
                "origination_date": recorded[:10],
                "origination_time": recorded[11:19],
                "time_reference": str(time_reference),
            }
        )
        audio = _add_sound(container, sound, "pcm_s16le", 0)
        _send(container, audio, sound, 0, sound.shape[1], last=True)
        container.mux(audio.encode(None))


def _add_sound(
    container: av.container.OutputContainer, sound: Sound, codec: str, bits_per_s: int
) -> av.AudioStream:
    audio = container.add_stream(codec, rate=RATE_HZ, layout=_LAYOUT[len(sound)])
    if bits_per_s:
        audio.bit_rate = bits_per_s
    # Opened now, as only then it is known how many samples it takes at a time.
    audio.codec_context.open()
    return audio


def _send(
    container: av.container.OutputContainer,
    audio: av.AudioStream,
    sound: Sound,
    sent: int,
    until: int,
    last: bool = False,
) -> int:
    """Encode sound up to a sample in whole chunks; give how far it got."""
    chunk = audio.codec_context.frame_size or 1024
    while sent + chunk <= until or (last and sent < until):
        piece = sound[:, sent : min(sent + chunk, until)]
        if audio.codec_context.name in ("aac", "ac3"):
            samples = np.ascontiguousarray(piece.astype(np.float32) / 32_768)
            frame = av.AudioFrame.from_ndarray(samples, format="fltp", layout=_LAYOUT[len(piece)])
        else:
            frame = av.AudioFrame.from_ndarray(
                np.ascontiguousarray(piece.T).reshape(1, -1),
                format="s16",
                layout=_LAYOUT[len(piece)],
            )
        frame.sample_rate, frame.pts, frame.time_base = RATE_HZ, sent, Fraction(1, RATE_HZ)
        container.mux(audio.encode(frame))
        sent += piece.shape[1]
    return sent
