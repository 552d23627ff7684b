"""The reasons of a verdict, in words that send the hand to the right place."""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Sequence

from calltag.learn.labels.by_hand import BY_HAND
from calltag.learn.labels.vocabulary import noise_kind
from calltag.records.found import Call, TakeLog
from calltag.records.span import merged
from calltag.records.take import Levels
from calltag.records.verdict import Reason
from calltag.takes.masking import MERGED_S, NATURAL, Effect, Left
from calltag.takes.thresholds import Thresholds
from calltag.takes.words import calls_that, stretches
from calltag.words import counted, hertz, listed

_FILTERED = (Left.HUM, Left.RUMBLE, Left.ABOVE, Left.BELOW)
"""What a treatment helps against."""


def in_brief(reasons: Sequence[Reason]) -> str:
    """Say the reasons of a verdict in a few words, for one line of many.

    Parameters
    ----------
    reasons : sequence of Reason
        The reasons of a take.

    Returns
    -------
    str
        What is the matter and where, without what to do and without the figures of a noise;
        `(rescue)` where a treatment would help. Of a clean take, how clear its clearest call is.

    Examples
    --------
    >>> hum = Reason("50 Hz hum, all through", "notches take it out", is_helped=True)
    >>> in_brief([hum, Reason("channel 2 is dead")])
    '50 Hz hum, all through (rescue); channel 2 is dead'
    """
    return "; ".join(one.brief + (" (rescue)" if one.is_helped else "") for one in reasons)


def noise_reasons(effects: Sequence[Effect], duration_s: float) -> list[Reason]:
    """Say what each kind of noise leaves of a take's sound.

    Parameters
    ----------
    effects : sequence of Effect
        What its noises do.
    duration_s : float
        Its length.

    Returns
    -------
    list of Reason
        Words for each kind and what it leaves, the worst first; what to do stands before the
        figures of the noise.
    """
    reasons = []
    by_cause = sorted(effects, key=lambda e: (-e.left, e.noise.kind, e.noise.start_s))
    for (left, kind), group in itertools.groupby(by_cause, lambda e: (e.left, e.noise.kind)):
        alike = list(group)
        where = stretches(merged((e.noise.span for e in alike), MERGED_S), duration_s)
        low = min(e.noise.low_hz for e in alike)
        high = max(e.noise.high_hz for e in alike)
        details = Counter(e.noise.detail for e in alike if e.noise.detail).most_common(1)
        detail = details[0][0] if details else ""
        sound = [f"{hertz(max(low, 1.0))} to {hertz(high)}"] if low < high else []
        if left == Left.HUM:
            name = f"{detail},"
        else:
            name = _name(kind, by_hand=detail == BY_HAND)
            sound += [detail] if detail not in ("", BY_HAND) else []
        figures = f". Its sound: {', '.join(sound)}" if sound else ""
        is_helped = left in _FILTERED
        rescue = " (calltag rescue)" if is_helped else ""
        more = f"{_outcome(left, alike)}{rescue}{figures}"
        reasons.append(Reason(f"{name} {where}", more, is_helped=is_helped))
    return reasons


def _name(kind: str, *, by_hand: bool) -> str:
    kind, _, given = kind.partition("/")
    words = {"wind": "wind on the microphone", "handling": "handling noise"}.get(kind, kind)
    more = ", ".join(word for word in (given, BY_HAND if by_hand else "") if word)
    return f"{words}, {more}," if more else words


def _outcome(left: Left, alike: Sequence[Effect]) -> str:
    calls = {(c.start_s, c.low_hz) for e in alike for c in e.calls}
    standing = {(c.start_s, c.low_hz) for e in alike for c in e.standing}
    some_stand = calls_that(len(standing), len(calls), "stand")
    them = "the two" if len(standing) == 1 else "them from it"
    if left == Left.HUM:
        return "notches take it out"
    if left == Left.RUMBLE:
        return f"a {_low_cut(alike)} takes it out"
    if left == Left.ABOVE and not calls:
        return f"it lies below this take's calls, a {_low_cut(alike)} leaves their band"
    if left in (Left.ABOVE, Left.BELOW):
        kept = {(c.start_s, c.low_hz) for e in alike for c in e.kept}
        lost, side = len(standing - kept), "lower" if left == Left.ABOVE else "higher"
        but = f" and takes {lost} {side} {'ones' if lost > 1 else 'one'}" if lost else ""
        if not kept:  # the cut is for calls elsewhere in the take
            cut = _low_cut(alike)
            return f"it lies below this take's other calls, a {cut} leaves their band{but}"
        their, them = ("its", "it") if len(kept) == 1 else ("their", "them")
        where, cut = (
            (f"above it in {their} own band", _low_cut(alike))
            if left == Left.ABOVE
            else ("clear below its band", _high_cut(alike))
        )
        stand = calls_that(len(kept), len(calls), "stand")
        return f"{stand} {where}, a {cut} keeps {them}{but}"
    if left == Left.OVER:
        return f"{some_stand} above it, but in the noise's own band: no filter parts {them}"
    kind = noise_kind(alike[0].noise.kind)
    if kind == "voice":
        return "no filter takes speech out, cut around it"
    if kind == "handling":
        return "cut around it, and take the hand off the camera"
    if calls and not standing:
        return "it covers the calls' own band, none stands above it"
    if calls:
        return f"it covers the calls' own band, only {some_stand} above it"
    return "no call stands above it"


def _low_cut(alike: Sequence[Effect]) -> str:
    return "low cut at " + _from_to([e.band.low_hz for e in alike])


def _high_cut(alike: Sequence[Effect]) -> str:
    return "high cut at " + _from_to([e.band.high_hz for e in alike])


def _from_to(frequencies_hz: Sequence[float]) -> str:
    low, high = hertz(min(frequencies_hz)), hertz(max(frequencies_hz))
    return high if low == high else f"{low} to {high}"


def buried_in_nature(
    take_log: TakeLog, calls: Sequence[Call], thresholds: Thresholds
) -> list[Reason]:
    """Say which calls drown in noise that is natural sound.

    Parameters
    ----------
    take_log : TakeLog
        What the log holds of the take.
    calls : sequence of Call
        Its calls that count.
    thresholds : Thresholds
        Where the line is drawn.

    Returns
    -------
    list of Reason
        One for each kind of noise in which any does.
    """
    reasons = []
    for kind in NATURAL:
        noise = [
            one.span
            for one in take_log.noise
            if noise_kind(one.kind) == kind and one.confidence >= thresholds.least_confidence
        ]
        during = [call for call in calls if any(call.span.overlaps(span) for span in noise)]
        buried = [c for c in during if c.snr_db < thresholds.clear_snr_db]
        if buried:
            where = stretches(merged(noise, MERGED_S), take_log.take.duration_s)
            drown = calls_that(len(buried), len(during), "drown")
            reasons.append(Reason(f"{kind} {where}", f"natural sound, but {drown} in it"))
    return reasons


def level_reasons(levels: Levels | None, thresholds: Thresholds) -> list[Reason]:
    """Say what is wrong with the recording itself.

    Parameters
    ----------
    levels : Levels or None
        What was measured of the whole take.
    thresholds : Thresholds
        Where the lines are drawn.

    Returns
    -------
    list of Reason
        Its faults, and whether it was recorded too low, or goes above full scale.
    """
    if levels is None:
        return []
    reasons = [Reason(fault) for fault in levels.faults]
    if thresholds.silent_peak_dbfs < levels.loudness_lufs < thresholds.faint_lufs:
        low = f"recorded low ({levels.loudness_lufs:.0f} LUFS)"
        reasons.append(Reason(low, "lifting it lifts the hiss too"))
    if levels.peak_dbfs > thresholds.over_full_scale_db and not levels.clipped:
        over = f"goes {levels.peak_dbfs:.1f} dB above full scale and is not clipped"
        reasons.append(Reason(over, "turn it down in the edit"))
    return reasons


def clean_reason(calls: Sequence[Call], *, nearly: bool, not_counted: Sequence[str]) -> Reason:
    """Say why a take is clean.

    Parameters
    ----------
    calls : sequence of Call
        Its calls that count.
    nearly : bool
        Whether there is some noise in it.
    not_counted : sequence of str
        Kinds of noise that may be in it, and do not count.

    Returns
    -------
    Reason
        One sentence.
    """
    heard = "nearly all natural sound" if nearly else "natural sound throughout"
    if not_counted:
        heard += f", but for {listed(not_counted)} too faint, brief or unsure to count"
    if calls:
        best = max((c.snr_db for c in calls if math.isfinite(c.snr_db)), default=0.0)
        clear = f"{best:.0f} dB above the background"
        told, short = (
            f"{counted(len(calls), 'call')}, the clearest {clear}",
            f"the clearest call {clear}",
        )
    else:
        told = short = "no call found"
    in_short = f"{heard}; {short}" if nearly or not_counted else short
    return Reason(f"{heard}; {told}", brief=in_short)
