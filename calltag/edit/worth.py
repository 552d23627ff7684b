"""What a call is worth to the edit: how sure, how clear, whole or cut off, with which picture."""

from __future__ import annotations

import math

from calltag.records.found import Call, TakeLog
from calltag.records.take import Take
from calltag.takes.picture.grades import grade_of_call
from calltag.takes.used_channels import clipped_ppm

HALF_WORTH_DB = 12.0
"""A call this far above its background is worth half of one in silence."""

NOISE_WORTH = 0.5
CLIPPED_WORTH = 0.7
CUT_OFF_WORTH = 0.5
NO_PICTURE_WORTH = 0.8

_END_S = 0.05
"""A call this close to an end of its take goes on beyond it; codecs leave out about a frame."""


def is_cut_at_start(call: Call) -> bool:
    """Tell whether a call began before its take did.

    Parameters
    ----------
    call : Call
        A call.

    Returns
    -------
    bool
        Whether it lies at the take's first picture or sample.
    """
    return call.start_s < _END_S


def is_cut_at_end(take: Take, call: Call) -> bool:
    """Tell whether a call goes on where its take ends.

    Parameters
    ----------
    take : Take
        The take.
    call : Call
        A call in it.

    Returns
    -------
    bool
        Whether it lies at the take's end.
    """
    return call.end_s > take.duration_s - _END_S


def sound_worth(take_log: TakeLog, call: Call) -> float:
    """Tell what the sound of a call is worth to the edit.

    Parameters
    ----------
    take_log : TakeLog
        Its take.
    call : Call
        The call.

    Returns
    -------
    float
        From 0 to 1: how far it stands above the background (``snr / (snr + 12 dB)``), times
        `NOISE_WORTH` for each noise kind heard with it, `CUT_OFF_WORTH` where an end of the take
        cuts it off, and `CLIPPED_WORTH` where the take's sound is clipped, in every channel that
        was listened to.
    """
    snr_db = max(0.0, call.snr_db) if math.isfinite(call.snr_db) else 0.0
    value: float = snr_db / (snr_db + HALF_WORTH_DB) * NOISE_WORTH ** len(call.noise)
    if is_cut_at_start(call) or is_cut_at_end(take_log.take, call):
        value *= CUT_OFF_WORTH
    return value * CLIPPED_WORTH if clipped_ppm(take_log.take) > 0 else value


def worth(take_log: TakeLog, call: Call) -> float:
    """Tell what a call is worth to the edit.

    Parameters
    ----------
    take_log : TakeLog
        Its take.
    call : Call
        The call.

    Returns
    -------
    float
        From 0 to 1: how sure its label is, times what its sound is worth (`sound_worth`), times
        `NO_PICTURE_WORTH` without a picture, or, where the picture at the call has been looked at,
        what its grades leave (`calltag.takes.picture.grades.WORTH`).

    Examples
    --------
    >>> from calltag.records.take import Take
    >>> take = Take(path="a.mov", rushes="/r", digest="", size_bytes=0, duration_s=9, width=64)
    >>> call = Call(start_s=1, end_s=2, low_hz=180, high_hz=400, peak_hz=300, snr_db=12,
    ...             level_dbfs=-30, call_probability=0.8)
    >>> round(worth(TakeLog(take=take, calls=(call,)), call), 3)
    0.4
    """
    value = call.sureness * sound_worth(take_log, call)
    if not take_log.take.has_picture:
        return value * NO_PICTURE_WORTH
    picture = grade_of_call(take_log, call)
    return value if picture is None else value * picture.worth
