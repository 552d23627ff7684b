"""What a take shows at a moment, as a small JPEG."""

from __future__ import annotations

import io
from pathlib import Path


def still_jpeg(file: Path, at_s: float, *, side: int, quality: int) -> bytes:
    """Take a still of a take.

    Parameters
    ----------
    file : Path
        The take's file.
    at_s : float
        When, in seconds from its first picture.
    side : int
        Its longer side in pixels, at most.
    quality : int
        Of the JPEG, from 1 to 95.

    Returns
    -------
    bytes
        A JPEG.

    Raises
    ------
    MediaError
        If there is no picture to be had.
    """
    from PIL import Image

    from calltag.media.pictures import PictureReader

    with PictureReader(file) as reader:
        pixels = reader.at(at_s).colour(side)
    jpeg = io.BytesIO()
    Image.fromarray(pixels).save(jpeg, "JPEG", quality=quality, optimize=True)
    return jpeg.getvalue()
