"""Which channel of a take to listen to, and what is wrong with the channels.

Cameras write two tracks or more that may be the same, half dead, inverted or differently placed.
One channel is chosen by what is in it; channels are never averaged, since an inverted pair sums to
nothing and a channel full of wind spoils a clean one.

Every sample is looked at once, for its peak. Levels, wind and likeness are judged on two pieces of
43 ms out of every second, which is enough to choose by and costs next to nothing.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import combinations
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy.linalg.blas import isamax

from calltag.records import ChannelFault, FaultKind, FloatArray, Span
from calltag.sound.dropouts import DROPOUT_S, ZERO, sounds, zero_runs
from calltag.sound.faults import said
from calltag.sound.spectrum import RATE_HZ

_FULL_SCALE = 0.999
_CLIP_RUN = 3
_SILENT_POWER = 1e-9  # -90 dBFS: an open input of 16 bits
_AUDIBLE_POWER = 1e-8
_QUIETER_DB = 30.0
_SPARE_DB = 12.0  # a safety track this much lower is as good as the other
_HISS_SWING_DB = 0.6  # hiss of 43 ms in that band varies by 0.3 dB
_WHITE_RUMBLE_DB = -10.0  # white noise has -15; out of doors low frequencies are stronger
_LIVE_SWING_DB = 1.5
_HISS_COST_DB = 40.0
_CUT_OFF_DB = 10.0  # a microphone that is cut off takes as much and more of all sound with it
_BEFORE_SECONDS = 30  # that it is held against
_LEAST_SECONDS = 5  # before the swing of a level says anything
_MARGIN_DB = 6.0  # a channel must be better by this much to be changed to
_WINDY_DB = 7.0
_SAME = 0.995
_INVERTED = -0.9
_DC = 0.01
_CLIPPED_A_MINUTE = 600  # louder by being clipped is no better
_DEAD_S = 0.5
_DEAD_AT_END_S = 0.1
_MEMORY_S = 60.0
_FADE_S = 0.005
_PIECE = 2048
_LOW_GROUP = 64  # means of 64 samples hold what lies below some 300 Hz, at 48 kHz
_MID_GROUP = 4  # steps between means of four: some 1 to 8 kHz, where most animals call
_TOLD = 3

_Floats = npt.NDArray[np.float64]


class ChannelReport(NamedTuple):
    """What was found in the channels of one take.

    Attributes
    ----------
    channel : str
        The chosen channel, counted from one; several, in order of use, where it had to be changed.
    found : tuple of ChannelFault
        What is wrong.
    peak_dbfs : float
        Highest sample of any channel; ``-inf`` for digital silence.
    clipped : int
        Samples in runs at full scale, all channels.
    """

    channel: str
    found: tuple[ChannelFault, ...]
    peak_dbfs: float
    clipped: int

    @property
    def faults(self) -> tuple[str, ...]:
        """What is wrong, in plain words."""
        return tuple(map(said, self.found))


class _Second(NamedTuple):
    """Measured in every second: arrays of shape (n_seconds, n_channels), the last two of pairs."""

    power: _Floats
    low: _Floats
    mid: _Floats
    mean: _Floats
    like: _Floats
    like_low: _Floats


class Chooser:
    """Chooses the channel of a take that calls are looked for in, block by block.

    The choice is kept until the channel dies or another is clearly better, so that levels do not
    jump. A channel that dies within a block is left at that very sample.

    Parameters
    ----------
    rate_hz : int
        Sampling rate of the blocks.
    floats : bool
        Whether the file holds floats, which go above full scale unharmed: then only flat tops are
        clipped, in others all that is above it.

    Examples
    --------
    The second channel is the first one inverted, which summed would be silence.

    >>> rng = np.random.default_rng(0)
    >>> sound = rng.normal(0, 0.1, 96_000).astype(np.float32)
    >>> chooser = Chooser()
    >>> chosen = chooser.choose(np.stack([sound, -sound]))
    >>> bool((chosen == sound).all())
    True
    >>> chooser.report().faults
    ('channel 2 is channel 1 turned upside down (inverted)',)
    """

    def __init__(self, rate_hz: int = RATE_HZ, *, floats: bool = False) -> None:
        self._rate_hz = rate_hz
        self._floats = floats
        self._at = 0
        self._chosen: list[int] = []
        self._seconds: list[_Second] = []
        self._peak = 0.0
        self._clipped = np.zeros(0, np.int64)
        self._recent: _Floats = np.zeros((6, 0))
        self._silence: list[tuple[int, bool] | None] = []
        self._sounded: list[bool] = []
        self._runs: list[list[tuple[int, int]]] = []
        self._dropouts: dict[tuple[int, int], list[int]] = {}
        self._mute: list[tuple[int, int]] = []

    def choose(self, block: FloatArray) -> FloatArray:
        """Take the best channel out of the next block of the take.

        Parameters
        ----------
        block : np.ndarray, shape (n_channels, n_samples), float32
            The block; it follows on the one before.

        Returns
        -------
        np.ndarray, shape (n_samples,), float32
            The chosen channel; a view of `block` unless the channel changes in it.
        """
        n_channels, n = block.shape
        if not self._silence:
            self._silence = [None] * n_channels
            self._sounded = [False] * n_channels
            self._clipped = np.zeros(n_channels, np.int64)
            self._recent = np.zeros((6, n_channels))
        chosen: FloatArray = block[0]
        if n == 0:
            return chosen
        clipped = self._peaks(block)
        self._find_dropouts(block)
        self._find_mute(n)
        seconds = _measure(block, self._rate_hz)
        self._seconds.append(seconds)
        chosen = self._follow(block, seconds, clipped)
        self._at += n
        return chosen

    @property
    def index(self) -> int:
        """Index of the channel in use, counted from zero."""
        return self._chosen[-1] if self._chosen else 0

    def report(self) -> ChannelReport:
        """Tell what was found in the blocks so far.

        Returns
        -------
        ChannelReport
            Chosen channel, faults, peak and clipped samples.
        """
        used = list(dict.fromkeys(self._chosen)) or [0]
        return ChannelReport(
            channel=", ".join(str(c + 1) for c in used),
            found=tuple(self._faults(used)),
            peak_dbfs=float(20 * np.log10(self._peak)) if self._peak > 0 else float("-inf"),
            clipped=int(self._clipped.sum()),
        )

    def silences(self) -> tuple[Span, ...]:
        """Tell where there was no sound in the blocks so far.

        Returns
        -------
        tuple of Span
            Stretches of half a second or more that are digital silence in every channel, and the
            end, where it holds nothing but hiss; in order, none overlapping another.
        """
        cut_s = self._cut_off_everywhere_s()
        hiss = () if cut_s is None else (Span(cut_s, self._at / self._rate_hz),)
        mute = (Span(a / self._rate_hz, b / self._rate_hz) for a, b in self._mute_spans())
        return (*mute, *hiss)

    def _mute_spans(self) -> list[tuple[int, int]]:
        """Samples that are silent in every channel, for long enough to be told."""
        return [(a, b) for a, b in self._mute if b - a >= _DEAD_S * self._rate_hz]

    def _cut_off_everywhere_s(self) -> float | None:
        """From where on every channel is cut off, some of them with hiss left."""
        if not self._seconds:
            return None
        parts = zip(*((one.power, one.low, one.mid) for one in self._seconds), strict=True)
        power, low, mid = (np.concatenate(part) for part in parts)
        ends_s = []
        hissing = False
        for c in range(power.shape[1]):
            sounding = np.flatnonzero(power[:, c] >= _SILENT_POWER)
            end = int(sounding[-1]) + 1 if len(sounding) else 0
            cut = _cut_off(low[:, c], mid[:, c])
            if cut is None and len(power) - end < 2:
                return None
            hissing |= cut is not None
            ends_s.append(float(end if cut is None else cut))
        return max(ends_s) if hissing else None

    def _peaks(self, block: FloatArray) -> npt.NDArray[np.int64]:
        """Find the peak; count clipped samples where it is at full scale."""
        n = block.shape[1]
        clipped = np.zeros(len(block), np.int64)
        for c, row in enumerate(block):
            hot: list[int] = []
            for start in range(0, n, self._rate_hz):
                second = row[start : start + self._rate_hz]
                peak = abs(float(second[isamax(second)]))
                self._peak = max(self._peak, peak)
                if peak >= _FULL_SCALE:
                    hot.append(start)
            for start, end in _joined(hot, self._rate_hz):
                clipped[c] += _count_clipped(row[start:end], floats=self._floats)
        self._clipped += clipped
        return clipped

    def _follow(
        self, block: FloatArray, seconds: _Second, clipped: npt.NDArray[np.int64]
    ) -> FloatArray:
        """Choose for this block, and change over within it where the chosen channel dies."""
        n_seconds = len(seconds.power)
        level_db = _decibels(seconds.mid)
        self._recent *= np.exp(-n_seconds / _MEMORY_S)
        self._recent += [
            seconds.low.sum(axis=0),
            seconds.mid.sum(axis=0),
            clipped,
            level_db.sum(axis=0),
            (level_db**2).sum(axis=0),
            np.full(len(block), n_seconds),
        ]
        costs = self._costs()
        best = int(np.argmin(costs))
        now = self._chosen[-1] if self._chosen else int(np.argmax(np.isfinite(costs)))
        if np.isfinite(costs[best]) and costs[now] - costs[best] > _MARGIN_DB:
            now = best
        self._use(now)
        chosen: FloatArray = block[now]
        fade = round(_FADE_S * self._rate_hz)
        start = self._death(block, seconds, now, 0)
        while start is not None:
            rest = block[:, start : start + self._rate_hz]
            silent = np.abs(rest).max(axis=1, initial=0.0) <= ZERO
            if silent.all():
                break
            now = int(np.argmin(np.where(silent, np.inf, np.minimum(costs, 1e6))))
            chosen = chosen.copy() if np.shares_memory(chosen, block) else chosen
            _cross(chosen, block[now], start, fade)
            self._use(now)
            start = self._death(block, seconds, now, start + 1)
        return chosen

    def _death(self, block: FloatArray, seconds: _Second, channel: int, after: int) -> int | None:
        """Find where a channel falls silent for long, or sinks into the noise, after a sample."""
        n = block.shape[1]
        deaths = [
            start
            for start, end in self._runs[channel]
            if start >= after
            and (end - start) > (_DEAD_AT_END_S if end == n else _DEAD_S) * self._rate_hz
        ]
        quiet = seconds.power[:, channel] < _SILENT_POWER
        others = seconds.power.max(axis=1) > _AUDIBLE_POWER
        sunk = np.flatnonzero(quiet & others) * self._rate_hz
        # Digital silence is known to the sample; what is left here hisses below -90 dBFS.
        deaths += [int(at) for at in sunk if at >= after and abs(float(block[channel, at])) > ZERO]
        return min(deaths, default=None)

    def _costs(self) -> _Floats:
        """Decibels by which each channel is worse; infinite for a dead one."""
        low, mid, clipped, sum_db, sum_db2, weight = self._recent
        sane = clipped * 60 < _CLIPPED_A_MINUTE * weight
        best = mid[sane].max() if sane.any() else mid.max()
        with np.errstate(divide="ignore", invalid="ignore"):
            rumble_db = 10 * np.log10(low / mid)
            quieter_db = 10 * np.log10(best / mid)
        cost = rumble_db + np.maximum(0.0, quieter_db - _SPARE_DB)
        cost += 6 * np.log10(1 + clipped * 60 / weight)
        swing_db = np.sqrt(np.maximum(sum_db2 / weight - (sum_db / weight) ** 2, 0.0))
        cost[_hissing(swing_db, sum_db / weight, rumble_db, float(weight[0]))] += _HISS_COST_DB
        return np.where((quieter_db < _QUIETER_DB) & np.isfinite(cost), cost, np.inf)

    def _use(self, channel: int) -> None:
        if not self._chosen or self._chosen[-1] != channel:
            self._chosen.append(channel)

    def _find_dropouts(self, block: FloatArray) -> None:
        """Note stretches of digital silence that have sound on both sides."""
        n = block.shape[1]
        least = round(DROPOUT_S * self._rate_hz)
        self._runs = [list(zero_runs(row, least)) for row in block]
        for c, row in enumerate(block):
            for start, end in self._runs[c]:
                before = self._silence[c] if start == 0 else None
                if before is None:
                    sounded = sounds(row[max(0, start - least) : start])
                    if start < least:
                        sounded |= self._sounded[c]
                    before = (self._at + start, sounded)
                self._silence[c] = before
                if end < n:
                    self._end_silence(c, self._at + end, sounds(row[end : end + least]), least)
            begun = self._silence[c]
            if begun is not None and begun[0] < self._at and abs(float(row[0])) > ZERO:
                self._end_silence(c, self._at, sounds(row[:least]), least)
            self._sounded[c] = sounds(row[-least:])

    def _find_mute(self, n: int) -> None:
        """Note where every channel of a block of `n` samples is silent, joined over its borders."""
        least = _DEAD_S * self._rate_hz
        common = [(0, n)]
        for row in self._runs:
            long = [(a, b) for a, b in row if b - a >= least or a == 0 or b == n]
            common = [(max(a, c), min(b, d)) for a, b in common for c, d in long if a < d and c < b]
        for start, end in ((self._at + a, self._at + b) for a, b in common):
            if self._mute and self._mute[-1][1] == start:
                self._mute[-1] = (self._mute[-1][0], end)
            else:
                self._mute.append((start, end))

    def _end_silence(self, channel: int, end: int, sounds: bool, least: int) -> None:
        begun = self._silence[channel]
        self._silence[channel] = None
        if begun is not None and begun[1] and sounds and end - begun[0] >= least:
            self._dropouts.setdefault((begun[0], end), []).append(channel)

    def _faults(self, used: list[int]) -> Iterator[ChannelFault]:
        if not self._seconds:
            return
        parts = zip(*self._seconds, strict=True)
        power, low, mid, mean, like, like_low = (np.concatenate(part) for part in parts)
        n_channels = power.shape[1]
        silent = power < _SILENT_POWER
        dead = [c for c in range(n_channels) if silent[:, c].mean() > 0.99]
        live = [c for c in range(n_channels) if c not in dead]
        if not live:
            yield ChannelFault(FaultKind.NO_SOUND, _numbers(range(n_channels)))
            return
        if dead:
            yield ChannelFault(FaultKind.DEAD, _numbers(dead))
        stopped_s = self._stopped_s(live, power)
        for c, stop_s in stopped_s.items():
            yield ChannelFault(FaultKind.STOPS, (c + 1,), at_s=stop_s)
        yield from self._told_mute()
        cut_off: dict[int, list[int]] = {}
        for c in live:
            if c not in stopped_s and (cut := _cut_off(low[:, c], mid[:, c])) is not None:
                cut_off.setdefault(cut, []).append(c)
        for cut, those in sorted(cut_off.items()):
            yield ChannelFault(FaultKind.HISS, _numbers(those), at_s=float(cut))
        levels_db = _decibels(mid.mean(axis=0))
        rumble_db = _decibels(low.mean(axis=0)) - levels_db
        loudest = max(live, key=lambda c: levels_db[c])
        far = [c for c in live if levels_db[loudest] - levels_db[c] > _QUIETER_DB]
        for c in far:
            below_db = float(levels_db[loudest] - levels_db[c])
            yield ChannelFault(FaultKind.QUIETER, (c + 1,), other=loudest + 1, amount=below_db)
        sounding = np.where(silent, np.nan, _decibels(mid))[:, live]
        with np.errstate(invalid="ignore"):
            swing_db, mean_db = np.nanstd(sounding, axis=0), np.nanmean(sounding, axis=0)
        for i in np.flatnonzero(_hissing(swing_db, mean_db, rumble_db[live], len(mid))):
            if live[i] not in far:
                yield ChannelFault(FaultKind.HISS, (live[i] + 1,))
                far.append(live[i])
        yield from self._alike([c for c in live if c not in far], like, like_low, silent)
        for c in live:
            if c not in used and c not in far and rumble_db[c] - rumble_db[used[-1]] > _WINDY_DB:
                yield ChannelFault(FaultKind.WINDY, (c + 1,), other=used[-1] + 1)
        for c in live:
            if self._clipped[c]:
                yield ChannelFault(FaultKind.CLIPPED, (c + 1,), amount=float(self._clipped[c]))
            if offset := _offset(mean[:, c]):
                yield ChannelFault(FaultKind.OFFSET, (c + 1,), amount=offset)
        yield from self._told_dropouts(live)

    def _stopped_s(self, live: list[int], power: _Floats) -> dict[int, float]:
        """When each channel fell silent that has no sound at the end, where others have some."""
        silent = power < _SILENT_POWER
        stopped_s: dict[int, float] = {}
        for c in live:
            begun = self._silence[c]
            fell = begun is not None or np.median(power[~silent[:, c], c]) > _AUDIBLE_POWER
            if silent[-2:, c].all() and not silent[-2:].all() and fell:
                last_s = float(np.flatnonzero(~silent[:, c])[-1] + 1)
                stopped_s[c] = last_s if begun is None else begun[0] / self._rate_hz
        return stopped_s

    def _alike(
        self, live: list[int], like: _Floats, like_low: _Floats, silent: npt.NDArray[np.bool_]
    ) -> Iterator[ChannelFault]:
        first_of = {c: c for c in live}  # the first channel that each is a copy of
        for a, b in combinations(live, 2):
            both = ~(silent[:, a] | silent[:, b])
            if not both.any() or first_of[a] != a:
                continue
            likeness = float(np.median(like[both, a, b]))
            if likeness < _INVERTED and first_of[b] == b:
                yield ChannelFault(FaultKind.COPY_INVERTED, (b + 1,), other=a + 1)
            elif float(np.median(like_low[both, a, b])) < _INVERTED and first_of[b] == b:
                yield ChannelFault(FaultKind.INVERTED, (b + 1,), other=a + 1)
            elif likeness > _SAME and first_of[b] == b:
                first_of[b] = a
        for a in live:
            copies = [c for c in live if first_of[c] == a]
            if len(copies) > 1:
                yield ChannelFault(FaultKind.SAME, _numbers(copies))

    def _told_mute(self) -> Iterator[ChannelFault]:
        """Silence of all channels at the ends, which no dropout is."""
        for start, end in self._mute_spans():
            if start == 0:
                yield ChannelFault(FaultKind.STARTS, at_s=end / self._rate_hz)
            elif end >= self._at - 1:
                yield ChannelFault(FaultKind.STOPS, at_s=start / self._rate_hz)

    def _told_dropouts(self, live: list[int]) -> Iterator[ChannelFault]:
        """Dropouts, and silence of all channels, whose edges a codec may have made soft."""
        mute = [(a, b) for a, b in self._mute_spans() if a > 0 and b < self._at - 1]
        spans = dict.fromkeys(mute, live)
        least = DROPOUT_S * self._rate_hz
        for (start, end), where in self._dropouts.items():
            if not any(a - least < start and end < b + least for a, b in mute):
                spans[start, end] = where
        told = sorted(spans.items())
        for (start, end), where in told[:_TOLD]:
            which = () if set(live) <= set(where) else _numbers(where)
            at_s, for_s = start / self._rate_hz, (end - start) / self._rate_hz
            yield ChannelFault(FaultKind.DROPS_OUT, which, at_s=at_s, amount=for_s)
        if len(told) > _TOLD:
            yield ChannelFault(FaultKind.MORE_DROPOUTS, amount=len(told) - _TOLD)


def _numbers(channels: Iterable[int]) -> tuple[int, ...]:
    return tuple(c + 1 for c in channels)


def _measure(block: FloatArray, rate_hz: int) -> _Second:
    """Measure two short pieces out of every second of a block."""
    n = block.shape[1]
    n_seconds = max(1, n // rate_hz)
    half = min(n, rate_hz) // 2
    width = min(_PIECE, max(1, half))
    # Spread within the half seconds by the golden ratio, so that no beat is always missed.
    starts = half * np.arange(2 * n_seconds) + (
        (np.arange(2 * n_seconds) * 0.618034) % 1.0 * (half - width)
    ).astype(int)
    pieces = np.stack([block[:, start : start + width] for start in starts], axis=1)
    pieces = pieces.reshape(len(block), n_seconds, -1)
    mean = pieces.mean(axis=2)
    pieces -= mean[:, :, None]
    low = _means(pieces, _LOW_GROUP)
    return _Second(
        _power(pieces),
        _power(low),
        _power(np.diff(_means(pieces, _MID_GROUP), axis=2)),
        mean.T.astype(np.float64),
        # Steps weigh high frequencies up, in which only a copy is like the other; microphones side
        # by side have the low ones in common, and there show which one is inverted.
        _likeness(np.diff(pieces, axis=2)),
        _likeness(low),
    )


def _power(pieces: FloatArray) -> _Floats:
    """Mean square of every channel, second by second."""
    power: FloatArray = np.einsum("cst,cst->sc", pieces, pieces) / pieces.shape[2]
    return power.astype(np.float64)


def _likeness(pieces: FloatArray) -> _Floats:
    """Correlate all pairs of channels, second by second."""
    by_second = pieces.transpose(1, 0, 2)
    products = (by_second @ by_second.transpose(0, 2, 1)).astype(np.float64)
    norm = np.sqrt(np.einsum("scc->sc", products))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.nan_to_num(products / (norm[:, :, None] * norm[:, None, :]))


def _hissing(
    swing_db: _Floats, level_db: _Floats, rumble_db: _Floats, n_seconds: float
) -> npt.NDArray[np.bool_]:
    """Find channels as steady and as white as hiss, and below one with life in it."""
    alive = swing_db > _LIVE_SWING_DB
    if n_seconds < _LEAST_SECONDS or not alive.any():
        return np.zeros(len(swing_db), bool)
    hiss = (swing_db < _HISS_SWING_DB) & (rumble_db < _WHITE_RUMBLE_DB)
    return hiss & (level_db < level_db[alive].max())


def _cut_off(low: _Floats, mid: _Floats) -> int | None:
    """Second from which on a channel holds nothing but hiss, having held the place's sound before.

    What was between the loud moments before goes with the microphone, deep and high: where a call
    or a machine ends, one of them stays as it was.
    """
    low_db, mid_db = _decibels(low), _decibels(mid)
    if len(mid) < 2 * _LEAST_SECONDS:
        return None
    above = np.flatnonzero(mid_db > np.median(mid_db[-_LEAST_SECONDS:]) + _CUT_OFF_DB / 2)
    cut = int(above[-1]) + 1 if len(above) else 0
    if not _LEAST_SECONDS <= cut <= len(mid) - _LEAST_SECONDS:
        return None
    rumble_db = float(_decibels(low[cut:].mean()) - _decibels(mid[cut:].mean()))
    if np.std(mid_db[cut:]) >= _HISS_SWING_DB or rumble_db >= _WHITE_RUMBLE_DB:
        return None
    before = slice(max(0, cut - _BEFORE_SECONDS), cut)
    falls_db = [np.percentile(db[before], 10) - np.median(db[cut:]) for db in (low_db, mid_db)]
    return cut if min(falls_db) > _CUT_OFF_DB else None


def _offset(means: _Floats) -> float:
    """Mean of a channel where it is told, of its means in every second; else 0."""
    offset, unsure = float(means.mean()), float(means.std()) / np.sqrt(len(means))
    return offset if len(means) > 1 and abs(offset) > max(_DC, 5 * unsure) else 0.0


def _decibels(power: _Floats) -> _Floats:
    return 10 * np.log10(np.maximum(power, 1e-15))


def _means(pieces: FloatArray, group: int) -> FloatArray:
    """Means of groups of samples: a low-pass filter, and a lower rate."""
    n = pieces.shape[2] // group * group
    if n < 2 * group:
        return pieces
    groups = pieces[:, :, :n].reshape(*pieces.shape[:2], -1, group)
    means: FloatArray = groups @ np.full(group, 1 / group, np.float32)
    return means


def _joined(starts: list[int], length: int) -> Iterator[tuple[int, int]]:
    """Join stretches of one length that follow on each other."""
    begun: int | None = None
    for i, start in enumerate(starts):
        begun = start if begun is None else begun
        if i + 1 == len(starts) or starts[i + 1] != start + length:
            yield begun, start + length
            begun = None


def _count_clipped(row: FloatArray, *, floats: bool) -> int:
    """Count samples in runs of three and more that are equal at full scale, or over it.

    A codec, or another sampling rate, makes peaks above full scale of what was clipped there.
    """
    high = np.abs(row)
    hot = high >= _FULL_SCALE
    over = high >= 1.0
    linked = hot[1:] & hot[:-1] & (row[1:] * row[:-1] > 0)
    flat = row[1:] == row[:-1]
    linked &= flat if floats else flat | (over[1:] & over[:-1])
    edges = np.flatnonzero(np.diff(np.concatenate([[False], linked, [False]]).astype(np.int8)))
    lengths = edges[1::2] - edges[::2] + 1
    return int(lengths[lengths >= _CLIP_RUN].sum())


def _cross(chosen: FloatArray, other: FloatArray, start: int, fade: int) -> None:
    """Go over to another channel at a sample, fading it in."""
    chosen[start:] = other[start:]
    n = min(fade, len(chosen) - start)
    chosen[start : start + n] *= np.linspace(0, 1, n, dtype=np.float32)
