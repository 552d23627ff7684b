"""What comes with calltag beside its code: the starter model, and the demo's clips."""

from __future__ import annotations

from pathlib import Path


def shipped(folder: str, file: str) -> Path | None:
    """Find a file that comes with calltag.

    Parameters
    ----------
    folder : str
        The folder that it lies in, as the sources have it.
    file : str
        Its name.

    Returns
    -------
    Path or None
        The file, in the installation or beside the sources; None where it is missing.

    Examples
    --------
    >>> shipped("models", "starter.onnx").name
    'starter.onnx'
    """
    package = Path(__file__).resolve().parent
    for place in (package / "_data" / folder, package.parent / folder):
        if (place / file).is_file():
            return place / file
    return None
