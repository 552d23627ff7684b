"""What each noise of a take does to the sound under it.

What counts is masking: a noise ruins a call only in the call's own band. An engine below 1 kHz
leaves a whistle at 5 kHz as good as it was; a brush cutter's rasp, which has no upper end, does
not. Water is natural sound, and here no noise at all. The figures are in `thresholds.toml`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from calltag.learn.labels import noise_kind
from calltag.records import Call, NoiseSpan, Span, TakeLog
from calltag.sound.hum import HUM
from calltag.takes.thresholds import Thresholds

_LOW_CUT_MARGIN = 0.8  # a low cut this far below a call's lower edge leaves the call whole
_DIAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0)  # preferred numbers: ISO 3, R10
_CUT_REACH = 2.0  # a cut further above a noise than this takes natural sound, and no more noise


class Left(IntEnum):
    """What a noise leaves of the sound under it, from best to worst."""

    NATURAL = 0
    """All of it: the sound is natural as it is."""
    HUM = 1
    """All but its lines: notches take the hum."""
    RUMBLE = 2
    """All but the lowest: a low cut takes the noise."""
    BESIDE = 3
    """Calls, which lie in another band than the noise: a low cut keeps them."""
    OVER = 4
    """Calls that drown a noise in their own band."""
    LOST = 5
    """Nothing."""


@dataclass(frozen=True, slots=True)
class Effect:
    """What one noise does.

    Attributes
    ----------
    noise : NoiseSpan
        The noise.
    left : Left
        What it leaves.
    cut_hz : float
        The low cut that this needs; 0 for none.
    calls : tuple of Call
        Calls at the same time.
    standing : tuple of Call
        Those of them that are usable in spite of it.
    """

    noise: NoiseSpan
    left: Left
    cut_hz: float = 0.0
    calls: tuple[Call, ...] = ()
    standing: tuple[Call, ...] = ()

    @property
    def kept(self) -> tuple[Call, ...]:
        """Those of the standing that the low cut leaves."""
        return tuple(call for call in self.standing if call.low_hz >= self.cut_hz)

    @property
    def below(self) -> tuple[Call, ...]:
        """Those of the standing that lie in a band below the noise."""
        return tuple(call for call in self.standing if call.high_hz < self.noise.low_hz)


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


def is_hum(noise: NoiseSpan) -> bool:
    """Tell whether a noise is hum of the mains.

    Parameters
    ----------
    noise : NoiseSpan
        A noise, as logged.

    Returns
    -------
    bool
        Whether it was told by its lines, which notches take out.
    """
    return noise.detail.startswith(HUM)


def effects(take_log: TakeLog, calls: Sequence[Call], thresholds: Thresholds) -> list[Effect]:
    """Tell what each noise that is heard, and is not natural, does to the sound under it.

    Parameters
    ----------
    take_log : TakeLog
        What the log holds of the take.
    calls : sequence of Call
        Its calls that count.
    thresholds : Thresholds
        Where the lines are drawn.

    Returns
    -------
    list of Effect
        In order of the noises' start; a machine that runs on unnoticed for a while is filled in.
    """
    t = thresholds
    levels = take_log.take.levels
    floor_dbfs = levels.floor_dbfs if levels else float("-inf")
    heard_dbfs = max(t.inaudible_dbfs, floor_dbfs - t.below_floor_db)
    heard = [noise for noise in take_log.noise if _counts(noise, heard_dbfs, t)]
    machine = [n for n in heard if noise_kind(n.kind) == "machine" and not is_hum(n)]
    filled = _gaps(machine, take_log.take.duration_s, floor_dbfs, t)
    return _together(
        [_effect(noise, calls, t) for noise in sorted([*heard, *filled], key=_start)], t
    )


def _counts(noise: NoiseSpan, heard_dbfs: float, t: Thresholds) -> bool:
    brief = noise.span.length_s < t.brief_s
    least = t.least_confidence_brief if brief else t.least_confidence
    natural = noise_kind(noise.kind) == "water"
    return not (natural or noise.confidence < least or noise.level_dbfs < heard_dbfs)


def _start(noise: NoiseSpan) -> float:
    return noise.start_s


def _gaps(
    machine: Sequence[NoiseSpan], duration_s: float, floor_dbfs: float, t: Thresholds
) -> list[NoiseSpan]:
    """Stretches in which a machine was not noticed, and ran all the same."""
    if not machine:
        return []
    runs = merged(noise.span for noise in machine)
    never_quiet = (
        sum(run.length_s for run in runs) >= t.never_quiet_share * duration_s
        and floor_dbfs >= max(noise.level_dbfs for noise in machine) - t.never_quiet_db
    )
    gaps = [(0.0, runs[0].start_s), (runs[-1].end_s, duration_s)]
    longest_s = [duration_s if never_quiet else 0.0] * 2
    for left, right in itertools.pairwise(runs):
        gaps.append((left.end_s, right.start_s))
        longest_s.append(duration_s if never_quiet else t.machine_gap_s)
    longest = max(machine, key=lambda noise: noise.span.length_s)
    return [
        replace(longest, start_s=start_s, end_s=end_s, confidence=t.least_confidence)
        for (start_s, end_s), most_s in zip(gaps, longest_s, strict=True)
        if 0 < end_s - start_s <= most_s
    ]


def _effect(noise: NoiseSpan, calls: Sequence[Call], t: Thresholds) -> Effect:
    kind = noise_kind(noise.kind)
    during = tuple(c for c in calls if c.start_s < noise.end_s and c.end_s > noise.start_s)
    if is_hum(noise):
        return Effect(noise, Left.HUM, calls=during, standing=during)
    if kind == "voice":  # speech reaches over every call's band, and a cut one is still heard
        return Effect(noise, Left.LOST, calls=during)
    standing = tuple(c for c in during if stands(c, noise, t))
    if noise.high_hz <= t.rumble_hz and not any(c.low_hz < noise.high_hz for c in during):
        return Effect(noise, Left.RUMBLE, _cut_hz(noise, during, t), during, standing)
    # calls above the noise's band say whether that is free; those in it, whether they drown it
    above = [c for c in during if c.low_hz >= noise.high_hz * t.band_gap]
    clear = [c for c in above if c in standing]
    if above and len(clear) >= t.standing_share * len(above):
        return Effect(noise, Left.BESIDE, _cut_hz(noise, clear, t), during, standing)
    if len(standing) > t.standing_share * len(during):
        return Effect(noise, Left.OVER, 0.0, during, standing)
    # a noise that ends far below the take's calls leaves their band whether or not one is in it
    far_above = [c for c in calls if c.low_hz >= noise.high_hz * t.band_gap_elsewhere]
    far_clear = [c for c in far_above if c.snr_db >= t.clear_snr_db]
    enough = far_above and len(far_clear) >= t.standing_share * len(far_above)
    if enough and kind != "handling":  # a knock's click has no upper end
        return Effect(noise, Left.BESIDE, _cut_hz(noise, far_clear, t), during, standing)
    return Effect(noise, Left.LOST, calls=during, standing=standing)


def _together(found: Sequence[Effect], t: Thresholds) -> list[Effect]:
    """Give noises that sound together one low cut: the higher takes what the lower would."""
    cut = [effect for effect in found if effect.cut_hz]
    common: dict[int, float] = {}
    for run in merged((effect.noise.span for effect in cut), 2 * t.margin_s):
        inside = [e for e in cut if run.start_s <= e.noise.start_s < run.end_s]
        common |= {id(e): max(e.cut_hz for e in inside) for e in inside}
    return [replace(e, cut_hz=common.get(id(e), 0.0)) for e in found]


def _cut_hz(noise: NoiseSpan, kept: Sequence[Call], t: Thresholds) -> float:
    """Set a low cut half-way, in octaves, between a noise and the lowest call to be kept."""
    least = noise.high_hz * t.band_gap
    most = _LOW_CUT_MARGIN * min((call.low_hz for call in kept), default=0.0)
    if most <= least:  # a call just above it, or none: as low as takes the noise
        return min(least, max(noise.high_hz, most)) if kept else least
    half_way = min(float((least * most) ** 0.5), _CUT_REACH * noise.high_hz)
    # steps as on a filter's dial, so that stretches with nearly the same noise get the same cut
    decade = 10 ** math.floor(math.log10(half_way))
    dial = min((decade * step for step in _DIAL), key=lambda hz: abs(math.log(hz / half_way)))
    return dial if least <= dial <= most else half_way


def merged(spans: Iterable[Span], gap_s: float = 1.0) -> list[Span]:
    """Join spans that overlap, or have next to nothing between them.

    Parameters
    ----------
    spans : iterable of Span
        In any order.
    gap_s : float
        What may lie between two.

    Returns
    -------
    list of Span
        In order, further apart than that.
    """
    joined: list[Span] = []
    for span in sorted(spans):
        if joined and span.start_s <= joined[-1].end_s + gap_s:
            joined[-1] = Span(joined[-1].start_s, max(joined[-1].end_s, span.end_s))
        else:
            joined.append(span)
    return joined
