"""The picture of a take: a frame at a time, or successive frames of a stretch.

Second 0 is the take's first picture, as for its sound. Nothing before the key picture that a
wanted frame hangs on is read, nothing after the last wanted one, and pictures on the way that no
other one hangs on are not decoded. Frames come as they are shown: turned upright, with square
pixels.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain
from pathlib import Path
from types import TracebackType
from typing import Self

import av
import numpy as np
import numpy.typing as npt
from av.container import InputContainer
from av.packet import Packet
from av.video.frame import VideoFrame
from av.video.reformatter import VideoReformatter
from av.video.stream import VideoStream

from calltag.errors import InputError, MediaError
from calltag.media.opening import open_take
from calltag.media.streams import drop_all_but, picture_stream, take_start_s

_NEAR = 3
"""From this many pictures before the wanted one on, none is passed over."""

_STEPS_BACK_S = (0.0, 2.0, 10.0)
"""Where a seek lands behind the wanted time, it is tried again from this much earlier."""

_AHEAD_S = 1.0
"""What lies no further ahead is read on to, without seeking."""


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """One picture of a take.

    Attributes
    ----------
    at_s : float
        When it is first shown, in seconds of the take.
    """

    at_s: float
    _decoded: VideoFrame
    _aspect: Fraction
    _scaler: VideoReformatter

    def grey(self, most: int) -> npt.NDArray[np.uint8]:
        """Give its brightness.

        Parameters
        ----------
        most : int
            Longest side in pixels at most; a smaller picture keeps its size.

        Returns
        -------
        np.ndarray, shape (height, width), uint8
            Black is 0, white is 255.
        """
        return self._as("gray", most)

    def colour(self, most: int) -> npt.NDArray[np.uint8]:
        """Give it in colour.

        Parameters
        ----------
        most : int
            Longest side in pixels at most; a smaller picture keeps its size.

        Returns
        -------
        np.ndarray, shape (height, width, 3), uint8
            Red, green and blue.
        """
        return self._as("rgb24", most)

    def _as(self, pixels: str, most: int) -> npt.NDArray[np.uint8]:
        frame = self._decoded
        width, height = frame.width * self._aspect, Fraction(frame.height)
        scale = min(Fraction(1), Fraction(most) / max(width, height))
        image = self._scaler.reformat(
            frame,
            width=max(1, round(width * scale)),
            height=max(1, round(height * scale)),
            format=pixels,
            interpolation="AREA" if scale < 1 else "BICUBIC",
        ).to_ndarray()
        # What a frame states is how far the picture is to be turned against the clock.
        return np.ascontiguousarray(np.rot90(image, round(frame.rotation / 90) % 4))


class PictureReader:
    """Reads frames of one take; a context manager.

    Going forward through a take is cheapest; going back works too.

    Parameters
    ----------
    path : Path
        The take.

    Attributes
    ----------
    path : Path
        The take.
    mean_fps : float
        Its pictures per second, as the file states them.

    Raises
    ------
    MediaError
        If the file cannot be opened, or has no picture that can be decoded.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._opened = open_take(path)
        self._container: InputContainer = self._opened.__enter__()
        try:
            picture = picture_stream(self._container)
            if picture is None:
                raise MediaError(path, "has no picture; if it had one, copy it again")
            # Without a decoder there is no context, whatever the library's annotations say.
            if picture.codec_context is None or not picture.codec_context.width:
                raise MediaError(
                    path, "its picture cannot be decoded here; convert it to a usual format first"
                )
        except MediaError:
            self.close()
            raise
        self._picture: VideoStream = picture
        self._picture.codec_context.thread_count = 1  # takes are worked on side by side
        drop_all_but(self._container, [picture.index])
        self.mean_fps = float(picture.average_rate or 25)
        self._near_s = _NEAR / self.mean_fps
        self._start = take_start_s(self._container)
        self._aspect = Fraction(picture.sample_aspect_ratio or 1)
        self._scaler = VideoReformatter()  # setting one up takes longer than scaling by it
        self._frames: Iterator[Frame] | None = None
        self._last: Frame | None = None
        self._wanted_s = 0.0
        self._broken = False

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the file; the object is of no use afterwards."""
        self._opened.__exit__(None, None, None)

    def at(self, at_s: float) -> Frame:
        """Find the picture that is shown at a time.

        Parameters
        ----------
        at_s : float
            Seconds of the take; before its start the first picture, after its end the last one
            is taken.

        Returns
        -------
        Frame
            The picture.

        Raises
        ------
        MediaError
            If the picture cannot be read there.
        """
        found = None
        for frame in self._from(at_s):
            if frame.at_s > at_s and found is not None:
                break
            found = frame
            if frame.at_s >= at_s:
                break
        if found is None:
            raise self._unreadable(at_s)
        return found

    def stretch(self, start_s: float, end_s: float, *, most: int) -> Iterator[Frame]:
        """Go through successive pictures.

        Parameters
        ----------
        start_s, end_s : float
            The stretch, in seconds of the take.
        most : int
            Pictures at most.

        Yields
        ------
        Frame
            Each picture that is first shown within the stretch; where there is none, nothing.

        Raises
        ------
        InputError
            If the stretch has no length.
        MediaError
            If the picture cannot be read there.
        """
        if not end_s > start_s:
            raise InputError(f"a stretch from {start_s:g} to {end_s:g} s has no length")
        shown = 0
        seen = False
        for frame in self._from(start_s):
            seen = True
            if frame.at_s >= end_s or shown >= most:
                break
            if frame.at_s >= start_s - 1e-6:
                shown += 1
                yield frame
        if not seen:
            raise self._unreadable(start_s)

    def _unreadable(self, at_s: float) -> MediaError:
        if self._broken:
            return MediaError(self.path, f"its picture is damaged at {at_s:.1f} s; copy it again")
        return MediaError(self.path, f"no picture can be read at {at_s:.1f} s; see if it plays")

    def _from(self, at_s: float) -> Iterator[Frame]:
        """Pictures from the one shown at a time, or some before it, onwards."""
        at_s = max(0.0, at_s)
        last = self._last
        if self._frames is None or last is None or not 0 <= at_s - last.at_s <= _AHEAD_S:
            self._seek(at_s)
        elif last is not None:
            yield last
        self._wanted_s = at_s
        assert self._frames is not None
        for frame in self._frames:
            self._last = frame
            yield frame

    def _seek(self, at_s: float) -> None:
        tick = self._picture.time_base or Fraction(1, av.time_base)
        # From before the start too: some formats seek to the first key picture after.
        tries = [*(at_s - back for back in _STEPS_BACK_S if back < at_s), -_STEPS_BACK_S[-1], 0.0]
        self._wanted_s = at_s
        for target_s in tries:
            self._broken = False
            try:
                target = int((Fraction(target_s) + self._start) / tick)
                self._container.seek(target, stream=self._picture, backward=True)
                frames = self._decoded()
                first = next(frames, None)
            except av.error.FFmpegError:  # as some formats have it for a time after their end
                frames, first = iter(()), None
            if first is not None and first.at_s <= at_s + 1e-6:
                break
        self._last = None
        self._frames = iter(()) if first is None else chain([first], frames)

    def _decoded(self) -> Iterator[Frame]:
        packets = self._container.demux(self._picture)
        while True:
            try:
                packet = next(packets, None)
            except av.error.FFmpegError:
                self._broken = True
                return
            if packet is None:
                return
            self._hurry(packet)
            try:
                frames = packet.decode()
            except av.error.FFmpegError:
                self._broken = True
                if packet.dts is None and packet.size == 0:
                    return
                continue
            for frame in frames:
                shown = frame.dts if frame.pts is None else frame.pts  # AVI states no more
                if shown is not None and (tick := frame.time_base):
                    at_s = float(shown * tick - self._start)
                    yield Frame(at_s, frame, self._aspect, self._scaler)

    def _hurry(self, packet: Packet[VideoStream]) -> None:
        """Pass over pictures before the wanted one that no other hangs on."""
        ends = self._wanted_s - self._near_s
        early = packet.pts is not None and packet.pts * packet.time_base - self._start < ends
        self._picture.codec_context.skip_frame = "NONREF" if early else "DEFAULT"
