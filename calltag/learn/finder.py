"""Finding calls and noise in a take: one pass over its sound.

The sound comes in blocks; the spectrum is taken once. It is looked at in windows that overlap, so
that what lies at a window's edge is seen with what surrounds it. Memory does not grow with the
take's length.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np

from calltag.learn.beats import TENTHS_PER_S, BeatWatch, steady
from calltag.learn.chorus import going_on, out_of_chorus
from calltag.learn.hearing import (
    FRAMES_PER_STEP,
    STEPS_PER_S,
    Heard,
    Hearing,
    over_steps,
    starter_model,
)
from calltag.learn.low_calls import find_low_calls
from calltag.learn.noise import NoiseMeter
from calltag.learn.second_look import SecondLook, Surroundings
from calltag.learn.segments import busy_frames, find_segments
from calltag.learn.voice import voice
from calltag.learn.whines import listen_through
from calltag.learn.whole import Whole
from calltag.media.probe import MediaInfo
from calltag.media.reader import SoundReader, joined, read_span
from calltag.records import (
    LIKELY,
    NOISE_KINDS,
    Call,
    FaultKind,
    FloatArray,
    Levels,
    NoiseSpan,
    Span,
)
from calltag.sound.channels import Chooser
from calltag.sound.events import (
    AROUND_FRAMES,
    OUTWARD_FRAMES,
    Region,
    clearest,
    measure_region,
    refine_edges,
    under_the_noise,
)
from calltag.sound.faults import said
from calltag.sound.features import event_features
from calltag.sound.floor import STEP_FRAMES
from calltag.sound.hum import find_hum
from calltag.sound.loudness import SpectrumLoudness, channel_gain
from calltag.sound.spectrum import (
    FRAMES_PER_S,
    HOP,
    N_MELS,
    RATE_HZ,
    mel_power,
    power_frames,
    to_db,
)

BLOCK_S = 15.0
"""Sound is read in blocks of this length: arrays of a few megabytes."""

WINDOW_FRAMES = 60 * FRAMES_PER_S
"""A window has at least so many frames of its own, to be worth its context."""

CONTEXT_FRAMES = 6 * FRAMES_PER_S
"""The noise floor looks 4 s to each side, the starter model 1.4 s."""

LEAST_PROBABILITY = 0.1
"""Less likely finds are not kept."""

_MACHINE = NOISE_KINDS.index("machine")
_STEPS_PER_TENTH = STEPS_PER_S // TENTHS_PER_S
_BEFORE_S = CONTEXT_FRAMES / FRAMES_PER_S  # sound that is kept from before a window
_HUM_S = 6.0
_HUM_EVERY_S = 300.0  # hum does not come and go

_SAME_END_FRAMES = 12  # two windows may see the end of an event so far apart
_NOISE_STEPS = STEPS_PER_S // 2  # noise within half a second counts as heard at the same time


@dataclass(frozen=True, slots=True)
class Findings:
    """What one pass over a take's sound found.

    Attributes
    ----------
    levels : Levels
        Measured on the whole of it.
    calls : tuple of Call
        Calls in order of start, with features.
    noise : tuple of NoiseSpan
        Noise in order of start.
    joined_s : float or None
        Length of the take where its clock begins anew and the one that it states is a part's.
    """

    levels: Levels
    calls: tuple[Call, ...]
    noise: tuple[NoiseSpan, ...]
    joined_s: float | None = None


@dataclass(slots=True)
class _Window:
    """Consecutive frames; those from `core` to `stop` are its own, the rest is context."""

    first: int
    core: int
    stop: int
    mel: FloatArray
    blocks: list[FloatArray]

    def power(self, start: int, stop: int) -> FloatArray:
        """Power of some of its frames, counted from its first; copied only across blocks."""
        parts = []
        for block in self.blocks:
            if start < len(block) and stop > 0:
                parts.append(block[max(0, start) : stop])
            start, stop = start - len(block), stop - len(block)
        return parts[0] if len(parts) == 1 else np.concatenate(parts)


def _windows(frames: Iterable[FloatArray]) -> Iterator[_Window]:
    """Put blocks of frames together to windows with context on both sides.

    Windows begin and end on steps of the noise floor, so that it is the same in all of them.
    """
    blocks: list[FloatArray] = []
    mel = np.zeros((0, N_MELS), np.float32)
    first = core = 0
    for block in frames:
        blocks.append(block)
        mel = np.concatenate([mel, mel_power(block)])
        stop = (first + len(mel) - CONTEXT_FRAMES) // STEP_FRAMES * STEP_FRAMES
        if stop - core < WINDOW_FRAMES:
            continue
        yield _Window(first, core, stop, mel, blocks)
        passed = max(0, stop - CONTEXT_FRAMES - first)
        first, core, mel = first + passed, stop, mel[passed:]
        while passed >= len(blocks[0]):
            passed -= len(blocks.pop(0))
        blocks[0] = blocks[0][passed:].copy()
    if first + len(mel) > core:
        yield _Window(first, core, first + len(mel), mel, blocks)


class _Recent:
    """The last minute or so of the sound, as it came."""

    def __init__(self) -> None:
        self._blocks: list[FloatArray] = []
        self._first = self._end = 0

    def add(self, block: FloatArray) -> None:
        self._blocks.append(block)
        self._end += len(block)

    def cut(self, start_s: float, end_s: float) -> FloatArray:
        """Sound between two times, as far as it is there."""
        start, end = (max(0, round(edge * RATE_HZ) - self._first) for edge in (start_s, end_s))
        parts = []
        for block in self._blocks:
            parts.append(block[max(0, start) : max(0, end)])
            start, end = start - len(block), end - len(block)
        return np.concatenate(parts) if parts else np.zeros(0, np.float32)

    def forget(self, before_s: float) -> None:
        """Let go of what lies wholly before a time."""
        while self._blocks and self._first + len(self._blocks[0]) <= before_s * RATE_HZ:
            self._first += len(self._blocks.pop(0))


class _Steps(NamedTuple):
    """What a window holds, step by step."""

    heard: Heard
    power: FloatArray
    level_db: FloatArray


class _Event(NamedTuple):
    """An event as it was found: its region, and the frames around it from `start` on."""

    start: int
    power: FloatArray
    busy: np.ndarray
    region: Region
    evidence: Callable[[], np.ndarray]


class _Events:
    """The events of a window, in order."""

    def __init__(self, window: _Window, steps: _Steps, segments: Sequence[tuple[int, int]]) -> None:
        self.segments = segments
        self._window = window
        self._busy = busy_frames(segments, len(window.mel))
        self._surroundings = Surroundings(steps.power, steps.level_db, steps.heard, segments)

    def frames(self, i: int) -> tuple[int, int]:
        """First frame of one of them, and the frame after its last."""
        first, last = (min(step * FRAMES_PER_STEP, len(self._busy)) for step in self.segments[i])
        return first, last

    def measured(self, i: int) -> _Event:
        """Measure one of them."""
        n = len(self._busy)
        first, last = self.frames(i)
        around = _around(first, last, n)
        power, busy = self._window.power(around.start, around.stop), self._busy[around]
        region = measure_region(power, busy, first - around.start, last - around.start)
        evidence = partial(self._surroundings.evidence, i, region)
        return _Event(around.start, power, busy, region, evidence)

    def room(self, i: int) -> tuple[int, int]:
        """How far its edges may go: no further than half way to the next event, in frames."""
        begin, end = self.segments[i]
        others = self.segments
        before = (others[i - 1][1] + begin) * FRAMES_PER_STEP // 2 if i else 0
        if i + 1 == len(others):
            return before, len(self._busy)
        return before, (end + others[i + 1][0]) * FRAMES_PER_STEP // 2


@dataclass(slots=True)
class _Pass:
    """The state of one pass over a take."""

    hearing: Hearing
    second_look: SecondLook
    recent: _Recent = field(default_factory=_Recent)
    beats: BeatWatch = field(default_factory=BeatWatch)
    hum_due_s: float = 0.0
    noise: NoiseMeter = field(default_factory=NoiseMeter)
    calls: list[Call] = field(default_factory=list)
    taken: int = 0  # frames before this belong to events that are dealt with
    kept: bool = False  # whether the last of them is a call

    def look(self, window: _Window) -> None:
        """Find what is in a window."""
        level_db = to_db(window.mel)
        first_s = window.first / FRAMES_PER_S

        def cut(start_s: float, end_s: float) -> FloatArray:
            return self.recent.cut(first_s + start_s, first_s + end_s)

        heard = listen_through(self.hearing, level_db, cut)
        own = slice(window.core - window.first, window.stop - window.first)
        self.noise.add(
            window.mel[own],
            heard.kinds[own.start // FRAMES_PER_STEP : -(-own.stop // FRAMES_PER_STEP)],
        )
        self._look_for_beats(window, heard)
        self._look_for_hum(window)
        steps = _Steps(heard, over_steps(window.mel), over_steps(level_db))
        segments = self._out_of_chorus(window, steps, find_segments(heard.call, steps.power))
        low = find_low_calls(
            self.hearing, self.second_look, segments, steps.power, window.power, cut
        )
        sureness = {(call.first, call.last): call.probability for call in low}
        events = _Events(window, steps, sorted([*segments, *sureness]))
        for i, segment in enumerate(events.segments):
            if window.first + segment[0] * FRAMES_PER_STEP >= window.stop:
                break
            self._take(window, heard, events, i, sureness.get(segment))
        self.recent.forget(window.stop / FRAMES_PER_S - _BEFORE_S)

    def _take(
        self, window: _Window, heard: Heard, events: _Events, i: int, probability: float | None
    ) -> None:
        """Keep an event of a window as a call, unless it is another's, known, or unlikely."""
        first, last = (window.first + frame for frame in events.frames(i))
        if first < self.taken:
            if self.kept and last > self.taken + _SAME_END_FRAMES:
                # It went on beyond what the last window saw.
                self.calls[-1] = replace(self.calls[-1], end_s=last / FRAMES_PER_S)
                self.taken = last
            return
        if last <= window.core:
            return
        event = events.measured(i)
        if probability is None:
            probability = self._probability(event)
        self.taken, self.kept = last, probability >= LEAST_PROBABILITY
        if not self.kept:
            return
        before, after = events.room(i)
        self.calls.append(
            measure_call(
                event.power,
                event.busy,
                clearest(event.power, event.busy, event.region),
                offset=window.first + event.start,
                heard=heard,
                heard_from=window.first,
                probability=probability,
                edges=(before - event.start, after - event.start),
                cut=self.recent.cut,
            )
        )

    def _out_of_chorus(
        self, window: _Window, steps: _Steps, segments: list[tuple[int, int]]
    ) -> list[tuple[int, int]]:
        """Part what goes on and on, where all of it is likely to be calls."""
        chorus = going_on(segments, len(steps.power))
        if not chorus:
            return segments
        events = _Events(window, steps, segments)
        parted = {
            i: out_of_chorus(steps.power, *segments[i])
            for i in chorus
            if self._probability(events.measured(i)) >= LIKELY
        }
        return [piece for i, whole in enumerate(segments) for piece in parted.get(i, [whole])]

    def _probability(self, event: _Event) -> float:
        """How likely an event is a call, by a second look at it."""
        return float(self.second_look.probability(event.evidence()[None])[0])

    def _look_for_beats(self, window: _Window, heard: Heard) -> None:
        """Look for beats where they tell whether a machine is heard."""
        whole = len(heard.kinds) // _STEPS_PER_TENTH * _STEPS_PER_TENTH
        odds = steady(heard.kinds[:whole, _MACHINE].reshape(-1, _STEPS_PER_TENTH).mean(axis=1))
        calling = (heard.call[:whole] > 0).reshape(-1, _STEPS_PER_TENTH).mean(axis=1)
        core, stop = (
            (frame - window.first) * TENTHS_PER_S // FRAMES_PER_S
            for frame in (window.core, window.stop)
        )
        core_s = window.core / FRAMES_PER_S
        for at_s, beat in self.beats.look(
            odds[core:stop], calling[core:stop], core_s, self.recent.cut
        ):
            self.noise.add_beat(at_s, beat)

    def _look_for_hum(self, window: _Window) -> None:
        """Look for hum of the mains where it is quietest."""
        core_s, stop_s = window.core / FRAMES_PER_S, window.stop / FRAMES_PER_S
        if core_s < self.hum_due_s or stop_s - core_s < _HUM_S:
            return
        own = window.mel[window.core - window.first : window.stop - window.first]
        sums = np.cumsum(np.concatenate([[0.0], own.sum(axis=1)]))
        n_frames = round(_HUM_S * FRAMES_PER_S)
        quiet_s = core_s + int((sums[n_frames:] - sums[:-n_frames]).argmin()) / FRAMES_PER_S
        hum = find_hum(self.recent.cut(quiet_s, quiet_s + _HUM_S), RATE_HZ)
        self.hum_due_s = core_s + _HUM_EVERY_S
        if hum is not None:
            until_s = self.hum_due_s + WINDOW_FRAMES / FRAMES_PER_S
            self.noise.add_hum(Span(core_s, until_s), hum)


def _around(first: int, last: int, n_frames: int) -> slice:
    """Frames that measuring an event needs."""
    reach = AROUND_FRAMES + 2 * OUTWARD_FRAMES
    return slice(max(0, first - reach), min(n_frames, last + reach))


def measure_call(
    power: FloatArray,
    busy: np.ndarray,
    region: Region,
    *,
    offset: int,
    heard: Heard,
    heard_from: int,
    probability: float,
    edges: tuple[int, int] | None,
    cut: Callable[[float, float], FloatArray],
) -> Call:
    """Measure one event.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    region : Region
        The event, as it was found.
    offset : int
        Frame of the take that `power` begins with.
    heard : Heard
        What the starter model made of the event and of what surrounds it.
    heard_from : int
        Frame of the take that `heard` begins with.
    probability : float
        Probability that it is a call.
    edges : tuple of int or None
        How far its edges may move; None leaves them as they are.
    cut : callable
        Gives the take's sound between two times.

    Returns
    -------
    Call
        The call, with its features.
    """
    first, last = region.first, region.last
    if edges is not None:
        before, after = edges
        first, last = refine_edges(power, region, before=before, after=after)
        further = under_the_noise(region.snr_db)
        first, last = max(before, first - further), min(after, last + further)
    if (first, last) != (region.first, region.last):
        region = clearest(power, busy, measure_region(power, busy, first, last))
    begin = (offset + first - heard_from) // FRAMES_PER_STEP
    end = max(begin + 1, (offset + last - heard_from) // FRAMES_PER_STEP)
    kinds = heard.kinds[max(0, begin - _NOISE_STEPS) : end + _NOISE_STEPS]
    noisy = (1 / (1 + np.exp(-kinds))).mean(axis=0) > 0.5
    start_s, end_s = (offset + first) / FRAMES_PER_S, (offset + last) / FRAMES_PER_S
    return Call(
        start_s=start_s,
        end_s=end_s,
        low_hz=region.low_hz,
        high_hz=region.high_hz,
        peak_hz=region.peak_hz,
        snr_db=region.snr_db,
        level_dbfs=region.level_dbfs,
        call_probability=probability,
        confidence=probability,
        noise=tuple(kind for kind, on in zip(NOISE_KINDS, noisy, strict=True) if on),
        features=event_features(
            power[first:last],
            region,
            voice().of(power[first:last], region.behind),
            heard.embedding[begin:end],
            cut(start_s, end_s),
        ),
    )


class Finder:
    """Finds calls and noise in takes.

    Parameters
    ----------
    hearing : Hearing
        The starter model.
    second_look : SecondLook
        What judges its finds.
    """

    def __init__(self, hearing: Hearing, second_look: SecondLook) -> None:
        self._hearing = hearing
        self._second_look = second_look

    @classmethod
    def load(cls, path: Path | None = None) -> Finder:
        """Load the starter model and its second look.

        Parameters
        ----------
        path : Path, optional
            A starter model, the second look beside it with the suffix ``.npz``; those that calltag
            comes with unless given.

        Returns
        -------
        Finder
            Ready to use.

        Raises
        ------
        ModelError
            If one of them is missing or damaged.
        """
        path = path or starter_model()
        return cls(Hearing(path), SecondLook.read(path.with_suffix(".npz")))

    def analyse(self, path: Path, info: MediaInfo) -> Findings:
        """Find what is in a take.

        Parameters
        ----------
        path : Path
            The take's file.
        info : MediaInfo
            What `calltag.media.probe.probe` says of it; it must have sound.

        Returns
        -------
        Findings
            Calls, noise and levels.

        Raises
        ------
        MediaError
            If the sound cannot be read.
        """
        reader = SoundReader(path, rate_hz=RATE_HZ, block_s=BLOCK_S)
        chooser = Chooser(floats=info.floats)
        loudness = SpectrumLoudness()
        loud: list[FloatArray] = []
        this = _Pass(self._hearing, self._second_look)

        gain = 1.0

        def chosen() -> Iterator[FloatArray]:
            """Yield the channel to listen to, and note its level."""
            nonlocal gain
            for block in reader:
                samples = chooser.choose(block)
                gain = channel_gain(block, chooser.index)
                whole = samples[: len(samples) // (10 * HOP) * 10 * HOP].reshape(-1, 10 * HOP)
                loud.append(np.einsum("ij,ij->i", whole, whole) / (10 * HOP))
                this.recent.add(samples)
                yield samples

        def metered() -> Iterator[FloatArray]:
            """Yield the spectrum, and measure its loudness."""
            for power in power_frames(chosen()):
                loudness.add(power, gain=gain)
                yield power

        for window in _windows(metered()):
            this.look(window)
        channel, found, peak_dbfs, clipped = chooser.report()
        if reader.late:  # that says why
            found = tuple(one for one in found if one.kind != FaultKind.STARTS)
        mean_square = np.concatenate(loud) if loud else np.zeros(0)
        floor = np.percentile(mean_square, 10) if len(mean_square) else 0.0
        levels = Levels(
            peak_dbfs=peak_dbfs,
            clipped=clipped,
            loudness_lufs=loudness.integrated_lufs(),
            floor_dbfs=float(10 * np.log10(floor)) if floor > 0 else float("-inf"),
            channel=channel,
            faults=(*map(said, found), *reader.faults),
            channel_faults=found,
            broken=tuple(joined([*reader.broken, *chooser.silences()])),
        )
        return Findings(
            levels, tuple(this.calls), tuple(this.noise.spans()), joined_s=reader.joined_s
        )

    def measure(self, path: Path, spans: Sequence[Span]) -> list[Call]:
        """Measure given stretches of a take, as if they had been found.

        Parameters
        ----------
        path : Path
            The take's file.
        spans : sequence of Span
            The stretches.

        Returns
        -------
        list of Call
            One for each, with features; `call_probability` is what the starter model thinks.

        Raises
        ------
        MediaError
            If the sound cannot be read.
        """
        return [self._measure(path, span) for span in spans]

    def _measure(self, path: Path, span: Span) -> Call:
        around = CONTEXT_FRAMES / FRAMES_PER_S
        grid_s = STEP_FRAMES / FRAMES_PER_S  # so that the noise floor is that of the whole take
        start_s = float(np.floor(max(0.0, span.start_s - around) / grid_s)) * grid_s
        block, _ = read_span(path, start_s, max(span.end_s, start_s) + around, rate_hz=RATE_HZ)
        sound = Chooser().choose(block)
        whole = Whole.listen(self._hearing, sound)
        power = whole.power
        offset = round(start_s * FRAMES_PER_S)
        first = min(max(0, round(span.start_s * FRAMES_PER_S) - offset), len(power) - 1)
        last = min(max(first + 1, round(span.end_s * FRAMES_PER_S) - offset), len(power))
        begin = first // FRAMES_PER_STEP
        end = max(begin + 1, last // FRAMES_PER_STEP)
        found = whole.segments()
        busy = busy_frames(found, len(power))
        busy[first:last] = True
        segments = [(a, b) for a, b in found if b <= begin or a >= end]
        event = sum(b <= begin for _, b in segments)
        segments.insert(event, (begin, end))
        region = measure_region(power, busy, first, last)
        evidence = whole.surroundings(segments).evidence(event, region)
        return measure_call(
            power,
            busy,
            clearest(power, busy, region),
            offset=offset,
            heard=whole.heard,
            heard_from=offset,
            probability=float(self._second_look.probability(evidence[None])[0]),
            edges=None,
            cut=lambda begin_s, end_s: sound[
                round((begin_s - start_s) * RATE_HZ) : round((end_s - start_s) * RATE_HZ)
            ],
        )


__all__ = ["Finder", "Findings", "measure_call"]
