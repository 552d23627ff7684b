"""CSV: the columns of `calltag calls`, one row a marker.

Seconds and timecode are those of the take as it is played; end timecode is the first frame after.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from calltag.edit.formats import WriteOptions
from calltag.edit.markers import TakeMarkers
from calltag.edit.retime import place_played
from calltag.edit.tables import CALL_COLUMNS, Row, call_row, csv_text, rounded
from calltag.files import write_texts
from calltag.media.timing.timecode import frame_to_seconds
from calltag.records.marker import Marker

NAME = "csv"
SUFFIX = ".csv"
PER_TAKE = False
OWN_START = False


def write(take_markers: Sequence[TakeMarkers], out: Path, options: WriteOptions) -> list[Path]:
    """Write markers as CSV.

    Parameters
    ----------
    take_markers : sequence of TakeMarkers
        Takes and their markers.
    out : Path
        The file.
    options : WriteOptions
        Whether an existing file may be replaced.

    Returns
    -------
    list of Path
        The file written.

    Raises
    ------
    InputError
        If the file exists already or cannot be written.
    """
    rows = [row for one in take_markers for row in _rows(one)]
    return write_texts({out: csv_text(CALL_COLUMNS, rows)}, replace=options.replace)


def _rows(one: TakeMarkers) -> list[Row]:
    rows = []
    fps = one.clock.rate.fps
    for marker, first, end in place_played(one):
        row = _row(one, marker)
        row["start_tc"], row["end_tc"] = one.clock.label(first), one.clock.label(end)
        if one.speed != 1:
            row["start_s"] = rounded(frame_to_seconds(first, fps), 3)
            row["end_s"] = rounded(frame_to_seconds(end, fps), 3)
        rows.append(row)
    return rows


def _row(one: TakeMarkers, marker: Marker) -> Row:
    if marker.call is not None:
        call = replace(marker.call, start_s=marker.start_s, end_s=marker.end_s)
        return call_row(one.take, call, rate=one.rate)
    row: Row = dict.fromkeys(CALL_COLUMNS)
    row["take"] = one.take.path
    row["start_s"], row["end_s"] = rounded(marker.start_s, 3), rounded(marker.end_s, 3)
    row["label"] = marker.name
    row["confidence"] = None if marker.confidence is None else rounded(marker.confidence, 3)
    return row
