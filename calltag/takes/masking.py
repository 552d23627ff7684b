"""What each noise of a take does to the sound under it.

What counts is masking: a noise ruins a call only in the call's own band. An engine below 1 kHz
leaves a whistle at 5 kHz as good as it was; a brush cutter's rasp, which has no upper end, does
not. Water is natural sound, and here no noise at all. The figures are in `thresholds.toml`.
"""

from __future__ import annotations

import functools
import itertools
import math
import operator
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import IntEnum

from calltag.learn.labels.vocabulary import noise_kind
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.label import NOISE_KINDS
from calltag.records.span import merged
from calltag.takes.filter_cuts import UNCUT, Band
from calltag.takes.thresholds import Thresholds

MERGED_S = 1.0
"""Stretches of a noise that have no more than this between them are told as one."""

NATURAL = ("water",)
"""Kinds that are natural sound: held against no take, but that calls may drown in them."""

_MARGIN = 0.8  # a low cut this far below a call's lower edge leaves the call whole; a high cut too
_DIAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0)  # preferred numbers: ISO 3, R10
_CUT_REACH = 2.0  # a cut further from a noise than this takes natural sound, and no more noise


class Left(IntEnum):
    """What a noise leaves of the sound under it, from best to worst."""

    NATURAL = 0
    """All of it: the sound is natural as it is."""
    HUM = 1
    """All but its lines: notches take the hum."""
    RUMBLE = 2
    """All but the lowest: a low cut takes the noise."""
    ABOVE = 3
    """Calls, which lie in a band above the noise: a low cut keeps them."""
    BELOW = 4
    """Calls, which lie in a band below the noise: a high cut keeps them."""
    OVER = 5
    """Calls that drown a noise in their own band."""
    LOST = 6
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
    band : Band
        What the cuts that this needs let through.
    calls : tuple of Call
        Calls at the same time.
    standing : tuple of Call
        Those of them that are usable in spite of it.
    """

    noise: NoiseSpan
    left: Left
    band: Band = UNCUT
    calls: tuple[Call, ...] = ()
    standing: tuple[Call, ...] = ()

    @property
    def kept(self) -> tuple[Call, ...]:
        """Those of the standing that the cuts leave."""
        low_hz, high_hz = self.band
        return tuple(c for c in self.standing if c.low_hz >= low_hz and c.high_hz <= high_hz)


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
    return _above(call, noise, t) or _below(call, noise, t)


def _above(call: Call, noise: NoiseSpan, t: Thresholds) -> bool:
    return call.low_hz >= noise.high_hz * t.band_gap


def _below(call: Call, noise: NoiseSpan, t: Thresholds) -> bool:
    return call.high_hz * t.band_gap <= noise.low_hz


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
    heard = _heard(take_log, t)
    filled = _gaps(
        [n for n in heard if _runs(n)], take_log.take.duration_s, _floor_dbfs(take_log), t
    )
    brief, long = ([g for g in filled if (g.span.length_s <= MERGED_S) is b] for b in (True, False))
    noises = sorted(
        [*(_reaching(noise, brief) for noise in heard), *long], key=operator.attrgetter("start_s")
    )
    return _together([_effect(noise, calls, t) for noise in noises], t)


def not_counted(take_log: TakeLog, thresholds: Thresholds) -> list[str]:
    """List the kinds of noise, natural sound aside, of which nothing counts against the take.

    Parameters
    ----------
    take_log : TakeLog
        What the log holds of the take.
    thresholds : Thresholds
        Where the lines are drawn.

    Returns
    -------
    list of str
        Kinds that may sound in it, but too faintly, too briefly or too unsurely to count.
    """
    counting = {noise_kind(noise.kind) for noise in _heard(take_log, thresholds)}
    there = {noise_kind(noise.kind) for noise in take_log.noise} - counting - {*NATURAL}
    return [kind for kind in NOISE_KINDS if kind in there]


def _heard(take_log: TakeLog, t: Thresholds) -> list[NoiseSpan]:
    """The noise that counts."""
    heard_dbfs = max(t.inaudible_dbfs, _floor_dbfs(take_log) - t.below_floor_db)
    return [noise for noise in take_log.noise if _counts(noise, heard_dbfs, t)]


def _floor_dbfs(take_log: TakeLog) -> float:
    levels = take_log.take.levels
    return levels.floor_dbfs if levels else float("-inf")


def _counts(noise: NoiseSpan, heard_dbfs: float, t: Thresholds) -> bool:
    brief = noise.span.length_s < t.brief_s
    least = t.least_confidence_brief if brief else t.least_confidence
    natural = noise_kind(noise.kind) in NATURAL
    return not (natural or noise.confidence < least or noise.level_dbfs < heard_dbfs)


def _gaps(
    machine: Sequence[NoiseSpan], duration_s: float, floor_dbfs: float, t: Thresholds
) -> list[NoiseSpan]:
    """Stretches in which a machine was not noticed, and ran all the same."""
    if not machine:
        return []
    runs = merged((noise.span for noise in machine), MERGED_S)
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


def _reaching(noise: NoiseSpan, gaps: Sequence[NoiseSpan]) -> NoiseSpan:
    """A machine up to the take's end where it was noticed nearly so far: one verdict for both."""
    if not _runs(noise):
        return noise
    return replace(
        noise,
        start_s=min([noise.start_s, *(gap.start_s for gap in gaps if gap.end_s == noise.start_s)]),
        end_s=max([noise.end_s, *(gap.end_s for gap in gaps if gap.start_s == noise.end_s)]),
    )


def _runs(noise: NoiseSpan) -> bool:
    """Whether it is of something that runs: a machine, and no hum of the mains."""
    return noise_kind(noise.kind) == "machine" and not noise.is_hum


def _effect(noise: NoiseSpan, calls: Sequence[Call], t: Thresholds) -> Effect:
    kind = noise_kind(noise.kind)
    # `Span.overlaps` written out: asked of each call and each noise, it would take most of the time
    during = tuple(c for c in calls if c.start_s < noise.end_s and noise.start_s < c.end_s)
    if noise.is_hum:
        return Effect(noise, Left.HUM, calls=during, standing=during)
    if kind == "voice":  # speech reaches over every call's band, and a cut one is still heard
        return Effect(noise, Left.LOST, calls=during)
    standing = tuple(c for c in during if stands(c, noise, t))
    if noise.high_hz <= t.rumble_hz and not any(c.low_hz < noise.high_hz for c in during):
        return Effect(noise, Left.RUMBLE, _low_cut(noise, during, t), during, standing)
    # calls above the noise's band say whether that is free; those in it, whether they drown it
    above = [c for c in during if _above(c, noise, t)]
    clear = [c for c in above if c in standing]
    if above and len(clear) >= t.standing_share * len(above):
        return Effect(noise, Left.ABOVE, _low_cut(noise, clear, t), during, standing)
    below = [c for c in during if _below(c, noise, t)]
    # a high cut takes the air of all that is above it: not where it would take a clear call
    if standing and set(standing) <= set(below) and len(standing) >= t.standing_share * len(below):
        return Effect(noise, Left.BELOW, _high_cut(noise, standing, t), during, standing)
    if len(standing) > t.standing_share * len(during):
        return Effect(noise, Left.OVER, UNCUT, during, standing)
    # a noise that ends far below the take's calls leaves their band whether or not one is in it
    far_above = [c for c in calls if c.low_hz >= noise.high_hz * t.band_gap_elsewhere]
    far_clear = [c for c in far_above if c.snr_db >= t.clear_snr_db]
    enough = far_above and len(far_clear) >= t.standing_share * len(far_above)
    if enough and kind != "handling":  # a knock's click has no upper end
        return Effect(noise, Left.ABOVE, _low_cut(noise, far_clear, t), during, standing)
    return Effect(noise, Left.LOST, calls=during, standing=standing)


def _together(found: Sequence[Effect], t: Thresholds) -> list[Effect]:
    """Give noises that sound together the same cuts: the higher low cut takes what a lower would.

    Where calls lie above one noise and below another, those above are kept.
    """
    common: dict[int, Band] = {}
    for run in merged((effect.noise.span for effect in found if effect.band), 2 * t.margin_s):
        inside = [e for e in found if e.band and run.start_s <= e.noise.start_s < run.end_s]
        band = functools.reduce(operator.and_, (e.band for e in inside))
        if any(e.left == Left.ABOVE for e in inside) or not band.is_open:
            band = Band(low_hz=band.low_hz)
        common |= {id(e): band for e in inside}
    together = [replace(e, band=common.get(id(e), UNCUT)) for e in found]
    return [replace(e, left=Left.OVER, band=UNCUT) if _without_high_cut(e) else e for e in together]


def _without_high_cut(effect: Effect) -> bool:
    return effect.left == Left.BELOW and not (effect.band.has_high_cut and effect.kept)


def _low_cut(noise: NoiseSpan, kept: Sequence[Call], t: Thresholds) -> Band:
    """Set a low cut half-way, in octaves, between a noise and the lowest call to be kept."""
    least = noise.high_hz * t.band_gap
    most = _MARGIN * min((call.low_hz for call in kept), default=0.0)
    if most <= least:  # a call just above it, or none: as low as takes the noise
        return Band(low_hz=min(least, max(noise.high_hz, most)) if kept else least)
    half_way = min(math.sqrt(least * most), _CUT_REACH * noise.high_hz)
    return Band(low_hz=_dialled(half_way, least, most))


def _high_cut(noise: NoiseSpan, kept: Sequence[Call], t: Thresholds) -> Band:
    """Set a high cut half-way, in octaves, between the highest call to be kept and a noise."""
    most = noise.low_hz / t.band_gap
    least = max(call.high_hz for call in kept) / _MARGIN
    if least >= most:  # a call just below it: as high as takes the noise
        return Band(high_hz=max(most, min(noise.low_hz, least)))
    half_way = max(math.sqrt(least * most), noise.low_hz / _CUT_REACH)
    return Band(high_hz=_dialled(half_way, least, most))


def _dialled(wanted_hz: float, least: float, most: float) -> float:
    """Take a step as on a filter's dial, so that nearly the same noise gets the same cut."""
    decade = 10 ** math.floor(math.log10(wanted_hz))
    dial = min((decade * step for step in _DIAL), key=lambda hz: abs(math.log(hz / wanted_hz)))
    return dial if least <= dial <= most else wanted_hz
