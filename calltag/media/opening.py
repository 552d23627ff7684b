"""Opening a clip, or saying in one sentence why it cannot be opened."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import av
from av.container import InputContainer

from calltag.errors import MediaError, reason_of, says_gone
from calltag.media.streams import picture_stream
from calltag.media.unreadable import DAMAGED, why_unreadable

_OPTIONS = {
    # Sound lies in small pieces between the pictures: small reads take in less picture.
    "blocksize": "4096",
    # A list of clips disguised as a clip must not reach out to other places.
    "protocol_whitelist": "file",
}
_LISTS = frozenset(("concat", "dash", "hls", "imf", "sdp"))
_BARE_STREAMS = frozenset(
    ("h264", "hevc", "m4v", "mjpeg", "mpeg", "mpegvideo", "mp3", "aac", "ac3")
)
_STILLS = frozenset(("image2", "gif", "ico"))
_STILL_BRANDS = frozenset(("avif", "crx ", "heic", "heix", "mif1"))  # photos of phones and cameras
_CONTAINERS = frozenset((".3gp", ".avi", ".m4a", ".m4v", ".mkv", ".mov", ".mp4", ".mxf", ".qt"))


@contextmanager
def open_take(path: Path) -> Iterator[InputContainer]:
    """Open a clip for reading.

    Parameters
    ----------
    path : Path
        The clip.

    Yields
    ------
    av.container.InputContainer
        The open clip, closed afterwards. It has a picture or sound.

    Raises
    ------
    MediaError
        If the file is missing, a folder, unreadable, empty, cut short, damaged, or no clip at all.
    """
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise MediaError(path, "is a folder, not a clip; name it as the rushes instead")
        if not stat.S_ISREG(status.st_mode):
            raise MediaError(path, "is no ordinary file; leave it out")
        with path.open("rb") as file:
            file.read(1)
    except MediaError:
        raise
    except OSError as error:
        if says_gone(error):
            raise MediaError(
                path,
                "is not there (any more); connect its drive or card, or log the rushes again where "
                "they are now",
            ) from None
        if isinstance(error, PermissionError):
            raise MediaError(
                path, "may not be read by you; change its permissions or copy it again"
            ) from None
        raise MediaError(
            path, f"could not be read ({reason_of(error)}); check the drive or card"
        ) from None
    if status.st_size == 0:
        raise MediaError(path, "is empty (0 bytes); copy it from the card again")
    try:
        container = av.open(os.fspath(path.absolute()), metadata_errors="replace", options=_OPTIONS)
    except (av.error.FFmpegError, ValueError, OSError) as error:
        raise MediaError(path, why_unreadable(path, error)) from None
    with container:
        name = container.format.name
        if name in _LISTS:
            raise MediaError(path, "is a list of clips, not a clip; leave it out")
        if name in _BARE_STREAMS and path.suffix.lower() in _CONTAINERS:
            raise MediaError(path, DAMAGED)  # what follows a spoilt beginning may look like that
        if not container.streams.audio and picture_stream(container) is None:
            raise MediaError(path, why_unreadable(path))
        if not container.streams.audio and _holds_still(container):
            raise MediaError(path, "holds a still picture, not a take; leave it out")
        yield container


def _holds_still(container: InputContainer) -> bool:
    name, brand = container.format.name, container.metadata.get("major_brand")
    return name in _STILLS or name.endswith("_pipe") or brand in _STILL_BRANDS
