"""WebVTT: a track of text for each take, to play beside it.

Times are those of the take as it is played, from its first picture. A cue begins with the first
whole millisecond of its first frame, so that the frame is the same whichever way a reader rounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

from calltag.edit.formats import WriteOptions
from calltag.edit.markers import TakeMarkers
from calltag.edit.retime import place_played
from calltag.edit.take_files import make_folder, per_take_paths, surviving
from calltag.files import write_texts
from calltag.overwriting import refuse_existing
from calltag.spelling import one_line

NAME = "webvtt"
SUFFIX = ".vtt"
PER_TAKE = True
OWN_START = False


def write(take_markers: Sequence[TakeMarkers], out: Path, options: WriteOptions) -> list[Path]:
    """Write a WebVTT file for each take that has a marker.

    Parameters
    ----------
    take_markers : sequence of TakeMarkers
        Takes and their markers.
    out : Path
        The folder.
    options : WriteOptions
        Whether existing files may be replaced.

    Returns
    -------
    list of Path
        The files written.

    Raises
    ------
    InputError
        If `out` is a file, or one exists already or cannot be written.
    """
    marked = [one for one in take_markers if one.markers]
    paths = per_take_paths(marked, out, SUFFIX)
    refuse_existing(paths, replace=options.replace, named="folder")
    make_folder(out)
    written = []
    for path, one in zip(paths, marked, strict=True):
        with surviving(one, options):
            written += write_texts({path: vtt_text(one)}, replace=options.replace)
    return written


def vtt_text(take_markers: TakeMarkers) -> str:
    """Make the text of a WebVTT file.

    Parameters
    ----------
    take_markers : TakeMarkers
        A take and its markers.

    Returns
    -------
    str
        The file's text: one cue a marker, in order of start; its name, and its comment below.

    References
    ----------
    .. [1] W3C, "WebVTT: The Web Video Text Tracks Format", Candidate Recommendation, section 4.
    """
    clock = take_markers.clock
    blocks = ["WEBVTT", f"NOTE {_escaped(take_markers.take.path)} at {clock.rate}"]
    for number, (marker, first, end) in enumerate(place_played(take_markers), 1):
        start_ms, end_ms = (_whole_ms(frame / clock.rate.fps) for frame in (first, end))
        lines = [str(number), f"{_time(start_ms)} --> {_time(max(end_ms, start_ms + 1))}"]
        lines += [text for text in map(_escaped, (marker.name, marker.comment)) if text]
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks) + "\n"


def _whole_ms(seconds: Fraction) -> int:
    return -(-(seconds * 1000) // 1)


def _time(milliseconds: int) -> str:
    seconds, ms = divmod(milliseconds, 1000)
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{ms:03d}"


def _escaped(text: str) -> str:
    return one_line(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
