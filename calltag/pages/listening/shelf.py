"""Excerpts, pictures and stills of the sounds that were last asked for.

A page asks for a sound's picture, its sound and its still at the same time, and a little ahead:
each is decoded once.
"""

from __future__ import annotations

from functools import partial

from calltag.errors import MediaError
from calltag.pages.excerpt import Excerpt, cut_excerpt
from calltag.pages.listening.heard import Heard
from calltag.pages.recent import Recent
from calltag.pages.spectrogram import Spectrogram, draw, shown_up_to_hz
from calltag.pages.still import still_jpeg
from calltag.takes.picture.measuring import moment_of

_STILL_SIDE, _STILL_QUALITY = 480, 80
_WIDTH, _HEIGHT = 960, 240


class Shelf:
    """What pages show and play of sounds."""

    def __init__(self) -> None:
        self._sounds: Recent[tuple[Excerpt, Spectrogram]] = Recent()
        self._stills: Recent[bytes | None] = Recent()

    def sound(self, heard: Heard) -> tuple[Excerpt, Spectrogram]:
        """Return a sound and its picture.

        Parameters
        ----------
        heard : Heard
            The sound.

        Returns
        -------
        tuple of Excerpt and Spectrogram
            The excerpt around it, and the picture of that.

        Raises
        ------
        MediaError
            If the take cannot be read.
        """
        return self._sounds.get(heard.number, partial(_cut_and_drawn, heard))

    def still(self, heard: Heard) -> bytes | None:
        """Return what the take shows in the middle of a sound.

        Parameters
        ----------
        heard : Heard
            The sound.

        Returns
        -------
        bytes or None
            A JPEG; None where there is no picture to be had.
        """
        return self._stills.get(heard.number, partial(_photographed, heard))


def _cut_and_drawn(heard: Heard) -> tuple[Excerpt, Spectrogram]:
    excerpt = cut_excerpt(heard.file, heard.take, heard.call.span)
    picture = draw(
        excerpt.raw,
        start_s=excerpt.start_s,
        width=_WIDTH,
        height=_HEIGHT,
        high_hz=shown_up_to_hz(heard.call.high_hz),
    )
    return excerpt, picture


def _photographed(heard: Heard) -> bytes | None:
    if not heard.take.has_picture:
        return None
    try:
        return still_jpeg(
            heard.file, moment_of(heard.call), side=_STILL_SIDE, quality=_STILL_QUALITY
        )
    except MediaError:
        return None
