"""The verdict on a take's sound: its grade, its reasons, and what of it is usable.

Throwing a good take away costs more than keeping a bad one. So a take is called picture-only when
nothing of it is usable and the noise is certain; in doubt it is kept, and the doubt is said.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from calltag.learn.labels.vocabulary import is_call
from calltag.records.found import Call, TakeLog
from calltag.records.label import LIKELY
from calltag.records.take import EMPTY_TRACK, FaultKind, Levels, Take
from calltag.records.verdict import Reason, Usable, Verdict
from calltag.sound.channels.faults import said
from calltag.takes.masking import effects, not_counted
from calltag.takes.reasons import buried_in_nature, clean_reason, level_reasons, noise_reasons
from calltag.takes.thresholds import Thresholds, read_thresholds
from calltag.takes.usable import HEARD_FIRST, doubtful, usable_stretches
from calltag.takes.used_channels import clipped_ppm
from calltag.words import counted, take_length

TOO_SHORT = f"{HEARD_FIRST}: too short to tell"
"""Purpose of a take in which noise would not be noticed."""

CLEAN = "clean"
PART = "part"
PICTURE_ONLY = "picture-only"
GRADES = (CLEAN, PART, PICTURE_ONLY)


def judge(take_log: TakeLog) -> Verdict:
    """Judge what the sound of a take is good for.

    Parameters
    ----------
    take_log : TakeLog
        All that the log holds of the take.

    Returns
    -------
    Verdict
        The grade, the usable stretches with their purpose, and at least one reason.

    Examples
    --------
    >>> from calltag.records.take import Take
    >>> take = Take(path="A001.mov", rushes="/r", digest="", size_bytes=0, duration_s=9.0)
    >>> judge(TakeLog(take=take)).reasons
    ('the file holds no sound: use the sound of another recorder',)
    """
    t = read_thresholds()
    take, levels = take_log.take, take_log.take.levels
    if lost := _lost(take, t):
        return Verdict(grade=PICTURE_ONLY, usable=(), reasons=(lost,))
    calls = likely_calls(take_log)
    heard = effects(take_log, calls, t)
    usable, natural_s = usable_stretches(heard, take.broken, take.duration_s, t)
    reasons = noise_reasons(heard, take.duration_s)
    buried = buried_in_nature(take_log, calls, t)
    reasons += buried
    drowned = bool(buried) and not any(c.snr_db >= t.clear_snr_db for c in calls)

    grade = CLEAN if natural_s >= t.clean_share * take.duration_s and not drowned else PART
    if clipped_ppm(take) > t.clipped_ppm_part:
        grade = PART
        clipped = "the loudest sounds are clipped, so distorted"
        reasons.append(Reason(clipped, "turn the recording level down"))
    if not usable and natural_s > 0:
        reasons.append(Reason(f"what is left between is never {t.least_usable_s:.0f} s long"))
    if not usable:
        doubt = doubtful(heard, take.duration_s, t)
        grade, usable = (PART, doubt) if doubt else (PICTURE_ONLY, ())
        if doubt:
            unsure = "the finder is not sure of this"
            reasons.append(Reason(unsure, "listen before throwing the sound away"))
    reasons.extend(level_reasons(levels, t))
    if grade == CLEAN and take.duration_s < t.least_told_s:
        grade, usable = PART, (Usable(0.0, take.duration_s, TOO_SHORT),)
        short = f"only {take.duration_s:.2f} s long, too short to tell"
        reasons.insert(0, Reason(short, "listen to it"))
    if grade == CLEAN:
        passed = not_counted(take_log, t)
        reasons.insert(0, clean_reason(calls, nearly=bool(heard), not_counted=passed))
    return Verdict(grade=grade, usable=usable, reasons=tuple(reasons))


def summary(verdicts: Iterable[Verdict], *, copies: int = 0) -> str:
    """Count a shoot's verdicts in one line.

    Parameters
    ----------
    verdicts : iterable of Verdict
        One for each take.
    copies : int
        Copies of these takes, which are told but not counted again.

    Returns
    -------
    str
        How many takes of each grade, and how much usable sound.

    Examples
    --------
    >>> summary([Verdict(grade="picture-only", usable=(), reasons=(Reason("wind"),))])
    '1 take: 0 clean, 0 part, 1 picture-only; 0 s of usable sound'
    >>> from calltag.records.span import Span
    >>> summary([Verdict(grade="clean", usable=(Span(0, 4834),), reasons=())])
    '1 take: 1 clean, 0 part, 0 picture-only; 1 h 21 min of usable sound'
    >>> summary([Verdict(grade="part", usable=(Span(0, 9),), reasons=())], copies=1)
    '1 take and 1 copy: 0 clean, 1 part, 0 picture-only; 9 s of usable sound'
    """
    verdicts = list(verdicts)
    counts = Counter(verdict.grade for verdict in verdicts)
    usable = take_length(sum(verdict.clean_s for verdict in verdicts))
    takes = counted(len(verdicts), "take")
    if copies:
        takes += f" and {counted(copies, 'copy', 'copies')}"
    grades = ", ".join(f"{counts[grade]} {grade}" for grade in GRADES)
    return f"{takes}: {grades}; {usable} of usable sound"


def likely_calls(take_log: TakeLog) -> tuple[Call, ...]:
    """Finds that count as calls.

    Parameters
    ----------
    take_log : TakeLog
        What the log holds of a take, with the user's labels laid over it.

    Returns
    -------
    tuple of Call
        Those that are likely to be calls: by ear, by a name that they were given, or by hand.
    """
    return tuple(call for call in take_log.calls if is_call(call.label) and call.sureness >= LIKELY)


def _lost(take: Take, t: Thresholds) -> Reason | None:
    """Why nothing of a take's sound can be used, whatever it holds; None where that is not so."""
    levels = take.levels
    if not take.has_sound or take.duration_s <= 0:
        return Reason("the file holds no sound", "use the sound of another recorder")
    if mute := _mute(levels, t):
        return Reason(mute, "check the microphone's plug, switch and battery")
    ppm = clipped_ppm(take)
    if ppm > t.clipped_ppm_lost:
        clipped = f"{ppm / 10_000:.0f} % of the sound is clipped, which no filter mends"
        return Reason(clipped, "turn the recording level down")
    return None


def _mute(levels: Levels | None, t: Thresholds) -> str:
    """Why nothing is to be heard in a take; empty where something is."""
    if levels is None:
        return ""
    if levels.peak_dbfs < t.silent_peak_dbfs:
        silent = levels.peak_dbfs == float("-inf")
        peak = f"highest peak {levels.peak_dbfs:.0f} dBFS"
        return f"the sound track is silent ({'digital silence throughout' if silent else peak})"
    faults = [said(one) for one in levels.channel_faults if one.kind == FaultKind.NO_SOUND]
    return next(iter(faults), EMPTY_TRACK if EMPTY_TRACK in levels.faults else "")
