"""Going to a time in a take without reading what comes before it, where that can be trusted."""

from __future__ import annotations

from contextlib import suppress
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from pathlib import Path

import av
from av.container import InputContainer

from calltag.media.opening import open_take
from calltag.media.streams import sound_streams, take_start_s

_NOT_SOUGHT = frozenset(("ogg",))
"""Formats whose times are not to be trusted after seeking; reading from the start is cheap."""

_WITHOUT_INDEX = frozenset(("mpegts",))
"""Formats in which a time is looked for by the clock of the packets themselves."""

_LOOKS = 64
"""Places of a file at which its clock is looked at."""


def seek(container: InputContainer, path: Path, to_s: float) -> None:
    """Go to a time of a take, or to some place before it, from where its sound is to be read.

    Parameters
    ----------
    container : av.container.InputContainer
        The open clip; it has sound.
    path : Path
        Its file.
    to_s : float
        Seconds of the take. Where a time cannot be looked for, the clip stays at its start.

    Raises
    ------
    MediaError
        If the file cannot be read.
    """
    if to_s <= 0 or container.format.name in _NOT_SOUGHT or _clock_goes_back(container, path):
        return
    stream = sound_streams(container)[0]
    ticks = int((Fraction(to_s) + take_start_s(container)) / (stream.time_base or 1))
    with suppress(av.error.FFmpegError):  # without an index it is read from the start
        container.seek(ticks, stream=stream)


def _clock_goes_back(container: InputContainer, path: Path) -> bool:
    """Tell whether a format that has no index holds clips joined end to end.

    A time is then found in one of them or another.
    """
    if container.format.name not in _WITHOUT_INDEX:
        return False
    return holds_joined_clips(path, container.size, path.stat().st_mtime_ns)


@lru_cache(maxsize=1024)  # many stretches are read of one take, and each look reads in 64 places
def holds_joined_clips(path: Path, size_bytes: int, _changed_ns: int) -> bool:
    """Look into a file whether its clock goes back; once, as long as it is not changed.

    Parameters
    ----------
    path : Path
        The file.
    size_bytes : int
        Its size.
    _changed_ns : int
        When it was changed last: a changed one is looked into again.

    Returns
    -------
    bool
        Whether it does. Clips that make up less than 1/`_LOOKS` of the file may be overlooked.

    Raises
    ------
    MediaError
        If the file cannot be read.
    """
    times = []
    with open_take(path) as container, suppress(av.error.FFmpegError):
        stream = sound_streams(container)[0]
        for look in range(_LOOKS):
            container.seek(size_bytes * look // _LOOKS, unsupported_byte_offset=True)
            packets = container.demux(stream)
            times.append(next((packet.pts for packet in packets if packet.pts is not None), None))
    known = [time for time in times if time is not None]
    return any(later < earlier for earlier, later in pairwise(known))
