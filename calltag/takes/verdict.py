"""The verdict on a take's sound, with its reasons and what is usable.

What counts is masking: a noise ruins a call only in the call's own band. An engine below 1 kHz
leaves a whistle at 5 kHz as good as it was; a brush cutter's rasp, which has no upper end, does
not. Water is natural sound and no fault unless calls drown in it. The figures: `thresholds.toml`.
"""

from __future__ import annotations

import itertools
import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from calltag.learn.labels import is_call
from calltag.records import Call, Levels, NoiseSpan, Span, TakeLog, Usable, Verdict
from calltag.takes.thresholds import Thresholds, read_thresholds
from calltag.takes.words import hertz, listed, stretches

CLEAN = "clean"
PART = "part"
PICTURE_ONLY = "picture-only"
NATURAL_SOUND = "natural sound"
"""Purpose of a stretch that is good as it is."""

GRADES = (CLEAN, PART, PICTURE_ONLY)

# What a noise leaves of the sound under it, from best to worst.
_NATURAL, _RUMBLE, _BESIDE, _OVER, _LOST = range(5)

_LOW_CUT_MARGIN = 0.8  # a low cut this far below a call's lower edge leaves the call whole


@dataclass(frozen=True, slots=True)
class _Effect:
    """What one noise does to the take: `left` is one of the five above."""

    noise: NoiseSpan
    left: int
    cut_hz: float = 0.0
    calls: tuple[Call, ...] = ()
    standing: tuple[Call, ...] = ()

    @property
    def kind(self) -> str:
        return self.noise.kind.partition("/")[0]


def judge(take_log: TakeLog, thresholds: Thresholds | None = None) -> Verdict:
    """Judge what the sound of a take is good for.

    Parameters
    ----------
    take_log : TakeLog
        All that the log holds of the take.
    thresholds : Thresholds or None
        Where the lines are drawn; None for those of `thresholds.toml`.

    Returns
    -------
    Verdict
        The grade, the usable stretches with their purpose, and at least one reason.

    Examples
    --------
    >>> from calltag.records import Take
    >>> take = Take(path="A001.mov", rushes="/r", digest="", size_bytes=0, duration_s=9.0)
    >>> judge(TakeLog(take=take)).reasons
    ('the file holds no sound: use the sound of another recorder',)
    """
    t = thresholds or read_thresholds()
    take, levels = take_log.take, take_log.take.levels
    if not take.has_sound or take.duration_s <= 0:
        return _lost("the file holds no sound: use the sound of another recorder")
    if levels is not None and levels.peak_dbfs < t.silent_peak_dbfs:
        return _lost(
            f"the sound track is silent (highest peak {levels.peak_dbfs:.0f} dBFS): "
            "check the microphone's plug, switch and battery"
        )
    ppm = _clipped_ppm(take_log)
    if ppm > t.clipped_ppm_lost:
        return _lost(
            f"{ppm / 10_000:.0f} % of the sound is clipped, which no filter mends: "
            "turn the recording level down"
        )

    calls = likely_calls(take_log, t)
    effects = _effects(take_log, calls, t)
    usable, natural_s = _usable(effects, take.duration_s, t)
    reasons = _noise_reasons(effects, take.duration_s)
    buried = _buried_in_water(take_log, calls, t)
    if buried:
        reasons.append(buried)
    drowned = bool(buried) and not any(c.snr_db >= t.clear_snr_db for c in calls)

    grade = CLEAN if natural_s >= t.clean_share * take.duration_s and not drowned else PART
    if ppm > t.clipped_ppm_part:
        grade = PART
        reasons.append(
            f"{levels.clipped if levels else 0} samples are clipped: the loudest sounds are "
            "distorted, turn the recording level down"
        )
    if not usable and natural_s > 0:
        reasons.append(f"what is left between is never {t.least_usable_s:.0f} s long")
    if not usable:
        doubt = _doubt(effects, take.duration_s, t)
        grade, usable = (PART, doubt) if doubt else (PICTURE_ONLY, ())
        if doubt:
            reasons.append("the finder is not sure of this: listen before throwing the sound away")
    reasons.extend(_level_reasons(levels, t))
    if grade == CLEAN:
        reasons.insert(0, _clean_reason(calls))
    return Verdict(grade=grade, usable=usable, reasons=tuple(reasons))


def summary(verdicts: Iterable[Verdict]) -> str:
    """Count a shoot's verdicts in one line.

    Parameters
    ----------
    verdicts : iterable of Verdict
        One for each take.

    Returns
    -------
    str
        How many takes of each grade, and how much usable sound.

    Examples
    --------
    >>> summary([Verdict(grade="picture-only", usable=(), reasons=("wind",))])
    '1 take: 0 clean, 0 part, 1 picture-only; 0 s of usable sound'
    """
    verdicts = list(verdicts)
    counts = Counter(verdict.grade for verdict in verdicts)
    total_s = round(sum(verdict.clean_s for verdict in verdicts))
    minutes, seconds = divmod(total_s, 60)
    length = f"{minutes} min {seconds:02} s" if minutes else f"{seconds} s"
    takes = f"{len(verdicts)} take{'s' if len(verdicts) != 1 else ''}"
    grades = ", ".join(f"{counts[grade]} {grade}" for grade in GRADES)
    return f"{takes}: {grades}; {length} of usable sound"


def likely_calls(take_log: TakeLog, thresholds: Thresholds | None = None) -> tuple[Call, ...]:
    """Calls that count for a verdict.

    Parameters
    ----------
    take_log : TakeLog
        What the log holds of a take, with the user's labels laid over it.
    thresholds : Thresholds or None
        Where the line is drawn; None for `thresholds.toml`.

    Returns
    -------
    tuple of Call
        Those that are likely to be calls, and those that the user says are.
    """
    t = thresholds or read_thresholds()
    return tuple(
        call
        for call in take_log.calls
        if is_call(call.label) and (call.by_hand or call.call_probability >= t.least_probability)
    )


def stands(call: Call, noise: NoiseSpan, thresholds: Thresholds) -> bool:
    """Tell whether a call is usable in spite of a noise.

    Parameters
    ----------
    call : Call
        The call; its `snr_db` is measured in its own band, with the noise in the background.
    noise : NoiseSpan
        A noise at the same time.
    thresholds : Thresholds
        Where the lines are drawn.

    Returns
    -------
    bool
        Whether it stands far enough above the noise: less is needed where the noise lies in another
        band, because a filter then takes the noise and leaves the call.
    """
    needed = (
        thresholds.clear_snr_db
        if _beside(call, noise, thresholds)
        else thresholds.over_noise_snr_db
    )
    return call.snr_db >= needed


def _beside(call: Call, noise: NoiseSpan, t: Thresholds) -> bool:
    return call.low_hz >= noise.high_hz * t.band_gap or call.high_hz * t.band_gap <= noise.low_hz


def _lost(reason: str) -> Verdict:
    return Verdict(grade=PICTURE_ONLY, usable=(), reasons=(reason,))


def _clipped_ppm(take_log: TakeLog) -> float:
    take = take_log.take
    samples = take.duration_s * (take.sample_rate_hz or 0) * max(1, take.channels)
    return 1e6 * take.levels.clipped / samples if take.levels and samples else 0.0


def _effects(take_log: TakeLog, calls: Sequence[Call], t: Thresholds) -> list[_Effect]:
    """What each noise that is heard, and is not natural, does to the sound under it."""
    levels = take_log.take.levels
    floor_dbfs = levels.floor_dbfs if levels else float("-inf")
    heard_dbfs = max(t.inaudible_dbfs, floor_dbfs - t.below_floor_db)
    effects = []
    for noise in take_log.noise:
        kind = noise.kind.partition("/")[0]
        if kind == "water" or noise.confidence < t.least_confidence:
            continue
        if noise.level_dbfs < heard_dbfs:
            continue
        effects.append(_effect(noise, kind, calls, t))
    return effects


def _effect(noise: NoiseSpan, kind: str, calls: Sequence[Call], t: Thresholds) -> _Effect:
    during = tuple(c for c in calls if c.start_s < noise.end_s and c.end_s > noise.start_s)
    if kind == "voice":  # speech reaches over every call's band, and a cut one is still heard
        return _Effect(noise, _LOST, calls=during)
    standing = tuple(c for c in during if stands(c, noise, t))
    beside = tuple(c for c in standing if c.low_hz >= noise.high_hz * t.band_gap)
    # a low cut serves the calls it leaves: those in the noise, or else the take's others
    above = beside or tuple(c for c in calls if c.low_hz >= noise.high_hz * t.band_gap)
    cut_hz = _LOW_CUT_MARGIN * min((c.low_hz for c in above), default=0.0)
    if noise.high_hz <= t.rumble_hz and not any(c.low_hz < noise.high_hz for c in during):
        return _Effect(noise, _RUMBLE, noise.high_hz * t.band_gap, during, standing)
    if during and len(standing) >= t.standing_share * len(during):
        left = _BESIDE if len(beside) == len(standing) else _OVER
        return _Effect(noise, left, cut_hz if left == _BESIDE else 0.0, during, standing)
    if not during and above:
        return _Effect(noise, _BESIDE, cut_hz)
    return _Effect(noise, _LOST, calls=during, standing=standing)


def _usable(
    effects: Sequence[_Effect], duration_s: float, t: Thresholds
) -> tuple[tuple[Usable, ...], float]:
    """Usable stretches, and how many seconds of them are natural sound as it is."""
    cells = _cells(effects, duration_s, t)
    natural_s = sum(cell.length_s for cell, left, _ in cells if left == _NATURAL)
    least_s = min(t.least_usable_s, 0.9 * duration_s)
    usable: list[Usable] = []
    for kept, group in itertools.groupby(cells, lambda cell: cell[1] != _LOST):
        run = list(group)
        standing = any(
            call.start_s < run[-1][0].end_s and call.end_s > run[0][0].start_s
            for effect in effects
            for call in effect.standing
        )
        length_s = run[-1][0].end_s - run[0][0].start_s
        if kept and (length_s >= least_s or standing):
            usable.extend(_by_purpose(run, least_s))
    return tuple(usable), natural_s


_Cell = tuple[Span, int, float]


def _cells(effects: Sequence[_Effect], duration_s: float, t: Thresholds) -> list[_Cell]:
    """The take cut at every edge of a noise: what is left there, and the low cut it needs."""
    painted: list[tuple[float, float, int, float]] = []
    for effect in effects:
        start_s, end_s = effect.noise.start_s - t.margin_s, effect.noise.end_s + t.margin_s
        painted.append((start_s, end_s, effect.left, effect.cut_hz))
    rescued = [
        (call.start_s - t.handle_s, call.end_s + t.handle_s)
        for effect in effects
        if effect.left == _LOST
        for call in effect.standing
    ]
    edges = {0.0, duration_s}
    for start_s, end_s, *_ in [*painted, *rescued]:
        edges |= {min(max(edge, 0.0), duration_s) for edge in (start_s, end_s)}
    cells = []
    for start_s, end_s in itertools.pairwise(sorted(edges)):
        middle = (start_s + end_s) / 2
        here = [(left, cut) for a, b, left, cut in painted if a <= middle < b]
        left = max((left for left, _ in here), default=_NATURAL)
        if left == _LOST and any(a <= middle < b for a, b in rescued):
            left = _OVER
        cells.append((Span(start_s, end_s), left, max((cut for _, cut in here), default=0.0)))
    return cells


def _by_purpose(run: Sequence[_Cell], least_s: float) -> list[Usable]:
    """One usable run, split where its purpose changes; too short a part takes its neighbour's."""
    parts: list[tuple[Span, int, float]] = []
    for left, group in itertools.groupby(run, lambda cell: cell[1]):
        cells = list(group)
        span = Span(cells[0][0].start_s, cells[-1][0].end_s)
        parts.append((span, left, max(cut for *_, cut in cells)))
    while len(parts) > 1:
        short = min(range(len(parts)), key=lambda i: parts[i][0].length_s)
        if parts[short][0].length_s >= least_s:
            break
        other = short - 1 if short else 1
        (a, left_a, cut_a), (b, left_b, cut_b) = sorted((parts[short], parts[other]))
        first = min(short, other)
        parts[first : first + 2] = [
            (Span(a.start_s, b.end_s), max(left_a, left_b), max(cut_a, cut_b))
        ]
    return [Usable(*span, _purpose(left, cut_hz)) for span, left, cut_hz in parts]


def _purpose(left: int, cut_hz: float) -> str:
    if left == _NATURAL:
        return NATURAL_SOUND
    if left == _RUMBLE:
        return f"natural sound after a low cut at {hertz(cut_hz)}"
    if left == _BESIDE and cut_hz:
        return f"calls after a low cut at {hertz(cut_hz)}"
    return "calls, with the noise under them"


def _doubt(effects: Sequence[_Effect], duration_s: float, t: Thresholds) -> tuple[Usable, ...]:
    """The whole take, to be heard first, where the noise that would lose it is not certain."""
    lost = [effect.noise for effect in effects if effect.left == _LOST]
    total_s = sum(noise.span.length_s for noise in lost)
    mean = sum(noise.confidence * noise.span.length_s for noise in lost) / max(total_s, 1e-9)
    if not lost or mean >= t.sure_confidence:
        return ()
    names = listed(sorted({noise.kind for noise in lost}), "or")
    return (Usable(0.0, duration_s, f"to be heard first: perhaps {names}"),)


def _noise_reasons(effects: Sequence[_Effect], duration_s: float) -> list[str]:
    """One sentence for each kind of noise and what it leaves."""
    reasons = []
    by_cause = sorted(effects, key=lambda e: (-e.left, e.noise.kind, e.noise.start_s))
    for (left, kind), group in itertools.groupby(by_cause, lambda e: (e.left, e.noise.kind)):
        alike = list(group)
        where = stretches(_merged(e.noise.span for e in alike), duration_s)
        low = min(e.noise.low_hz for e in alike)
        high = max(e.noise.high_hz for e in alike)
        details = Counter(e.noise.detail for e in alike if e.noise.detail).most_common(1)
        name = _name(kind, details[0][0] if details else "")
        band = f" ({hertz(max(low, 1.0))} to {hertz(high)})" if low < high else ""
        reasons.append(f"{name} {where}{band}: {_outcome(left, alike)}")
    return reasons


def _name(kind: str, detail: str) -> str:
    kind, _, given = kind.partition("/")
    words = {"wind": "wind on the microphone", "handling": "handling noise"}.get(kind, kind)
    more = ", ".join(word for word in (given, detail) if word)
    return f"{words}, {more}," if more else words


def _outcome(left: int, alike: Sequence[_Effect]) -> str:
    calls = {(c.start_s, c.low_hz) for e in alike for c in e.calls}
    standing = {(c.start_s, c.low_hz) for e in alike for c in e.standing}
    count = f"{len(standing)} of {len(calls)} calls"
    cut = hertz(max(max(e.cut_hz for e in alike), 1.0))
    if left == _RUMBLE:
        return f"a low cut at {cut} takes it out"
    if left == _BESIDE and not calls:
        return f"it lies below this take's calls, a low cut at {cut} leaves their band"
    if left == _BESIDE:
        return f"{count} stand above it in their own band, a low cut at {cut} keeps them"
    if left == _OVER:
        return f"{count} stand above it, but in its own band: no filter parts them from it"
    kind = alike[0].kind
    if kind == "voice":
        return "no filter takes speech out, cut around it"
    if kind == "handling":
        return "cut around it, and take the hand off the camera"
    if calls and not standing:
        return "it covers the calls' own band, none stands above it"
    if calls:
        return f"it covers the calls' own band, only {count} stand above it"
    return "no call stands above it"


def _merged(spans: Iterable[Span]) -> list[Span]:
    merged: list[Span] = []
    for span in sorted(spans):
        if merged and span.start_s <= merged[-1].end_s + 1.0:
            merged[-1] = Span(merged[-1].start_s, max(merged[-1].end_s, span.end_s))
        else:
            merged.append(span)
    return merged


def _buried_in_water(take_log: TakeLog, calls: Sequence[Call], t: Thresholds) -> str:
    water = [n.span for n in take_log.noise if n.kind.startswith("water")]
    wet = [c for c in calls if any(c.start_s < w.end_s and c.end_s > w.start_s for w in water)]
    buried = [c for c in wet if c.snr_db < t.clear_snr_db]
    if not buried:
        return ""
    return (
        f"water {stretches(_merged(water), take_log.take.duration_s)}: natural sound, "
        f"but {len(buried)} of {len(wet)} calls drown in it"
    )


def _level_reasons(levels: Levels | None, t: Thresholds) -> list[str]:
    if levels is None:
        return []
    reasons = list(levels.faults)
    if t.silent_peak_dbfs < levels.loudness_lufs < t.faint_lufs:
        reasons.append(
            f"recorded low ({levels.loudness_lufs:.0f} LUFS): lifting it lifts the hiss too"
        )
    return reasons


def _clean_reason(calls: Sequence[Call]) -> str:
    heard = "no machine, wind, voice or handling in it"
    best = max((c.snr_db for c in calls if math.isfinite(c.snr_db)), default=0.0)
    if not calls:
        return f"{heard}; no call found"
    many = f"{len(calls)} call{'s' if len(calls) != 1 else ''}"
    return f"{heard}; {many}, the clearest {best:.0f} dB above the background"
