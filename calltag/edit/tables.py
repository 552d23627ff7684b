"""The rows that `calls` and `takes` list, and how they are written as CSV.

The columns are a contract: others read them. Cells are text, numbers, or None for nothing.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction

from calltag.media.timing.clock import DEFAULT_RATE, take_clock
from calltag.media.timing.timecode import Rate
from calltag.records.found import Call
from calltag.records.take import Take
from calltag.records.verdict import Verdict

Cell = str | int | float | None
Row = dict[str, Cell]

CALL_COLUMNS = (
    "take",
    "start_s",
    "end_s",
    "low_hz",
    "high_hz",
    "label",
    "confidence",
    "snr_db",
    "level_dbfs",
    "noise",
    "start_tc",
    "end_tc",
)

TAKE_COLUMNS = (
    "take",
    "duration_s",
    "fps",
    "start_tc",
    "sample_rate_hz",
    "channels",
    "verdict",
    "clean_s",
    "reasons",
    "peak_dbfs",
    "clipped",
    "loudness_lufs",
    "floor_dbfs",
    "faults",
)

LIST_MARK = "; "
"""What stands between the items of a cell that holds several."""

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def call_row(take: Take, call: Call, *, rate: Rate = DEFAULT_RATE) -> Row:
    """Make the row of a call.

    Parameters
    ----------
    take : Take
        The take that it is in.
    call : Call
        The call.
    rate : Rate
        How to count timecode where the take has no rate of its own: `common_rate` of the rushes.

    Returns
    -------
    dict
        One cell for each of `CALL_COLUMNS`. ``start_tc`` and ``end_tc`` are source timecode, the
        end being the first frame after the call.
    """
    clock = take_clock(take, rate)
    first, end = clock.frames(call.start_s, call.end_s)
    return {
        "take": take.path,
        "start_s": rounded(call.start_s, 3),
        "end_s": rounded(call.end_s, 3),
        "low_hz": rounded(call.low_hz, 0),
        "high_hz": rounded(call.high_hz, 0),
        "label": call.label,
        "confidence": rounded(call.sureness, 3),
        "snr_db": rounded(call.snr_db, 1),
        "level_dbfs": rounded(call.level_dbfs, 1),
        "noise": LIST_MARK.join(call.noise),
        "start_tc": clock.label(first),
        "end_tc": clock.label(end),
    }


def take_row(take: Take, verdict: Verdict | None, *, rate: Rate = DEFAULT_RATE) -> Row:
    """Make the row of a take.

    Parameters
    ----------
    take : Take
        The take.
    verdict : Verdict or None
        What its sound is good for.
    rate : Rate
        As in `call_row`: how to count the start of a take that states it in samples.

    Returns
    -------
    dict
        One cell for each of `TAKE_COLUMNS`; None where it does not apply, as for levels of a take
        without sound, or cannot be measured, as for the loudness of silence.
    """
    row: Row = dict.fromkeys(TAKE_COLUMNS)
    row["take"] = take.path
    row["duration_s"] = rounded(take.duration_s, 3)
    row["fps"] = None if take.fps is None else rounded(take.fps, 3)
    row["start_tc"] = take.start_tc
    if take.time_reference is not None:  # which counts where the clock shows no such timecode
        row["start_tc"] = take_clock(take, rate).label(0)
    row["sample_rate_hz"] = take.sample_rate_hz
    row["channels"] = take.channels
    if verdict is not None:
        row["verdict"] = verdict.grade
        row["clean_s"] = rounded(verdict.clean_s, 1)
        row["reasons"] = LIST_MARK.join(verdict.reasons)
    if (levels := take.levels) is not None:
        row["peak_dbfs"] = rounded(levels.peak_dbfs, 1)
        row["clipped"] = levels.clipped
        row["loudness_lufs"] = rounded(levels.loudness_lufs, 1)
        row["floor_dbfs"] = rounded(levels.floor_dbfs, 1)
        row["faults"] = LIST_MARK.join(levels.faults)
    return row


def rounded(value: float | Fraction, decimals: int) -> float | int | None:
    """Round a measurement for a table.

    Parameters
    ----------
    value : float or Fraction
        The measurement.
    decimals : int
        Decimals to keep.

    Returns
    -------
    float, int or None
        A whole number where no decimals are kept; None for what is not finite.
    """
    number = float(value)
    if not math.isfinite(number):
        return None
    return round(number, decimals) + 0.0 if decimals else round(number)  # no minus before zero


def csv_text(columns: Sequence[str], rows: Iterable[Mapping[str, Cell]]) -> str:
    r"""Write rows as CSV (RFC 4180), safe to open in a spreadsheet.

    A spreadsheet takes a text that begins like a formula for one, so such a text gets an apostrophe
    before it. Numbers are left alone.

    Parameters
    ----------
    columns : sequence of str
        Names of the columns, in order.
    rows : iterable of mapping
        One cell for each column; None becomes an empty cell.

    Returns
    -------
    str
        Lines ended by CR LF, the names first.

    References
    ----------
    .. [1] Y. Shafranovich, RFC 4180, "Common Format and MIME Type for CSV Files", 2005.

    Examples
    --------
    >>> csv_text(["label", "level_dbfs"], [{"label": "=1+1", "level_dbfs": -23.0}])
    "label,level_dbfs\r\n'=1+1,-23.0\r\n"
    """
    file = io.StringIO(newline="")
    writer = csv.writer(file, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([_safe(row[column]) for column in columns] for row in rows)
    return file.getvalue()


def _safe(cell: Cell) -> Cell:
    return "'" + cell if isinstance(cell, str) and cell.startswith(_FORMULA_STARTS) else cell
