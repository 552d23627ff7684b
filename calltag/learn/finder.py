"""Finding calls and noise in a take: one pass over its sound.

The sound comes in blocks; the spectrum is taken once. It is looked at in windows that overlap, so
that what lies at a window's edge is seen with what surrounds it. Memory does not grow with the
take's length.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from calltag.learn.hearing import STEPS_PER_S, Hearing, starter_model
from calltag.learn.noise import NoiseMeter
from calltag.learn.segments import LONGEST_GAP_S, call_probability, find_segments
from calltag.media.probe import MediaInfo
from calltag.media.reader import SoundReader, read_span
from calltag.records import NOISE_KINDS, Call, FloatArray, Levels, NoiseSpan, Span
from calltag.sound.channels import Chooser
from calltag.sound.events import measure_region, refine_edges
from calltag.sound.features import event_features
from calltag.sound.floor import noise_floor_db
from calltag.sound.loudness import SpectrumLoudness, channel_gain
from calltag.sound.spectrum import (
    FRAMES_PER_S,
    HOP,
    N_BINS,
    RATE_HZ,
    mel_power,
    power_frames,
    power_spectrum,
    to_db,
)

BLOCK_S = 45.0
CONTEXT_FRAMES = 4 * FRAMES_PER_S
FRAMES_PER_STEP = FRAMES_PER_S // STEPS_PER_S
LEAST_PROBABILITY = 0.1
"""Less likely finds are not kept."""

_EDGE_REACH = 6  # frames that an edge may be moved


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
    """

    levels: Levels
    calls: tuple[Call, ...]
    noise: tuple[NoiseSpan, ...]


@dataclass(slots=True)
class _Window:
    """Consecutive frames; those from `core` to `stop` are its own, the rest is context."""

    first: int
    core: int
    stop: int
    power: FloatArray


def _windows(frames: Iterable[FloatArray]) -> Iterator[_Window]:
    """Put blocks of frames together to windows with context on both sides."""
    held = np.zeros((0, N_BINS), np.float32)
    first = core = 0
    for block in frames:
        held = np.concatenate([held, block]) if len(held) else block
        stop = first + len(held) - CONTEXT_FRAMES
        if stop - core < CONTEXT_FRAMES:
            continue
        yield _Window(first, core, stop, held)
        kept = max(0, stop - CONTEXT_FRAMES - first)
        kept -= kept % FRAMES_PER_STEP
        held = held[kept:].copy()
        first, core = first + kept, stop
    if first + len(held) > core:
        yield _Window(first, core, first + len(held), held)


@dataclass(slots=True)
class _Pass:
    """The state of one pass over a take."""

    hearing: Hearing
    noise: NoiseMeter = field(default_factory=NoiseMeter)
    calls: list[Call] = field(default_factory=list)
    taken: int = 0  # frames before this belong to calls already found

    def look(self, window: _Window) -> None:
        """Find what is in a window."""
        power = window.power
        mel = mel_power(power)
        level_db = to_db(mel)
        heard = self.hearing.listen(level_db, noise_floor_db(level_db))
        own = slice(window.core - window.first, window.stop - window.first)
        self.noise.add(
            mel[own], heard.kinds[own.start // FRAMES_PER_STEP : -(-own.stop // FRAMES_PER_STEP)]
        )

        segments = find_segments(heard.call)
        busy = np.zeros(len(power), bool)
        for begin, end in segments:
            busy[begin * FRAMES_PER_STEP : end * FRAMES_PER_STEP] = True
        for i, (begin, end) in enumerate(segments):
            first = window.first + begin * FRAMES_PER_STEP
            last = min(window.first + end * FRAMES_PER_STEP, window.first + len(power))
            if first >= window.stop:
                break
            if first < self.taken:
                if self.calls and last > self.taken:  # cut off by the last window's end
                    self.calls[-1] = replace(self.calls[-1], end_s=last / FRAMES_PER_S)
                    self.taken = last
                continue
            if last <= window.core or (first < window.core and window.core > 0):
                continue
            before = segments[i - 1][1] * FRAMES_PER_STEP if i else 0
            after = segments[i + 1][0] * FRAMES_PER_STEP if i + 1 < len(segments) else len(power)
            probability = call_probability(heard, begin, end, self.hearing.calibration)
            self.taken = last
            if probability < LEAST_PROBABILITY:
                continue
            kinds = 1 / (1 + np.exp(-heard.kinds[max(0, begin - 25) : end + 25].mean(axis=0)))
            self.calls.append(
                measure_call(
                    power,
                    busy,
                    (begin * FRAMES_PER_STEP, min(end * FRAMES_PER_STEP, len(power))),
                    offset=window.first,
                    embedding=heard.embedding[begin:end],
                    probability=probability,
                    noise=tuple(k for k, p in zip(NOISE_KINDS, kinds, strict=True) if p > 0.5),
                    edges=(before, after),
                )
            )


def measure_call(
    power: FloatArray,
    busy: np.ndarray,
    frames: tuple[int, int],
    *,
    offset: int,
    embedding: FloatArray,
    probability: float,
    noise: tuple[str, ...],
    edges: tuple[int, int] | None,
) -> Call:
    """Measure one event.

    Parameters
    ----------
    power : np.ndarray, shape (n_frames, N_BINS)
        Power spectrum around and in the event.
    busy : np.ndarray, shape (n_frames,), bool
        Frames in which something was found.
    frames : tuple of int
        The event's first frame and the frame after its last.
    offset : int
        Frame of the take that `power` begins with.
    embedding : np.ndarray, shape (n_steps, N_EMBEDDING)
        What the starter model made of the event.
    probability : float
        Probability that it is a call.
    noise : tuple of str
        Noise kinds at the same time.
    edges : tuple of int or None
        How far its edges may move; None leaves them as they are.

    Returns
    -------
    Call
        The call, with its features.
    """
    region = measure_region(power, busy, *frames)
    first, last = frames
    if edges is not None:
        first, last = refine_edges(
            power, region, reach=_EDGE_REACH, before=edges[0], after=edges[1]
        )
    return Call(
        start_s=(offset + first) / FRAMES_PER_S,
        end_s=(offset + last) / FRAMES_PER_S,
        low_hz=region.low_hz,
        high_hz=region.high_hz,
        peak_hz=region.peak_hz,
        snr_db=region.snr_db,
        level_dbfs=region.level_dbfs,
        call_probability=probability,
        confidence=probability,
        noise=noise,
        features=event_features(power[frames[0] : frames[1]], region, embedding),
    )


class Finder:
    """Finds calls and noise in takes.

    Parameters
    ----------
    hearing : Hearing
        The starter model.
    """

    def __init__(self, hearing: Hearing) -> None:
        self._hearing = hearing

    @classmethod
    def load(cls, path: Path | None = None) -> Finder:
        """Load the starter model.

        Parameters
        ----------
        path : Path, optional
            A starter model; the one that calltag comes with unless given.

        Returns
        -------
        Finder
            Ready to use.

        Raises
        ------
        ModelError
            If the model is missing or damaged.
        """
        return cls(Hearing(path or starter_model()))

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
        del info
        reader = SoundReader(path, rate_hz=RATE_HZ, block_s=BLOCK_S)
        chooser = Chooser()
        loudness = SpectrumLoudness()
        loud: list[FloatArray] = []
        this = _Pass(self._hearing)

        gain = 1.0

        def chosen() -> Iterator[FloatArray]:
            nonlocal gain
            for block in reader:
                samples = chooser.choose(block)
                gain = channel_gain(block, chooser.index)
                whole = samples[: len(samples) // (10 * HOP) * 10 * HOP].reshape(-1, 10 * HOP)
                loud.append(np.einsum("ij,ij->i", whole, whole) / (10 * HOP))
                yield samples

        def metered() -> Iterator[FloatArray]:
            for power in power_frames(chosen()):
                loudness.add(power, gain=gain)
                yield power

        for window in _windows(metered()):
            this.look(window)
        channel, faults, peak_dbfs, clipped = chooser.report()
        mean_square = np.concatenate(loud) if loud else np.zeros(0)
        floor = np.percentile(mean_square, 10) if len(mean_square) else 0.0
        levels = Levels(
            peak_dbfs=peak_dbfs,
            clipped=clipped,
            loudness_lufs=loudness.integrated_lufs(),
            floor_dbfs=float(10 * np.log10(floor)) if floor > 0 else float("-inf"),
            channel=channel,
            faults=(*faults, *reader.faults),
        )
        return Findings(levels, tuple(this.calls), tuple(this.noise.spans()))

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
        around_s = CONTEXT_FRAMES / FRAMES_PER_S
        calls = []
        for span in spans:
            start_s = np.floor(max(0.0, span.start_s - around_s) * STEPS_PER_S) / STEPS_PER_S
            block, _ = read_span(path, start_s, span.end_s + around_s, rate_hz=RATE_HZ)
            power = power_spectrum(Chooser().choose(block))
            level_db = to_db(mel_power(power))
            heard = self._hearing.listen(level_db)
            offset = round(start_s * FRAMES_PER_S)
            first = min(max(0, round(span.start_s * FRAMES_PER_S) - offset), len(power) - 2)
            last = min(max(first + 2, round(span.end_s * FRAMES_PER_S) - offset), len(power))
            steps = slice(
                first // FRAMES_PER_STEP, max(first // FRAMES_PER_STEP + 1, last // FRAMES_PER_STEP)
            )
            busy = np.zeros(len(power), bool)
            busy[first:last] = True
            kinds = heard.kinds[steps].mean(axis=0)
            calls.append(
                measure_call(
                    power,
                    busy,
                    (first, last),
                    offset=offset,
                    embedding=heard.embedding[steps],
                    probability=call_probability(
                        heard, steps.start, steps.stop, self._hearing.calibration
                    ),
                    noise=tuple(k for k, odds in zip(NOISE_KINDS, kinds, strict=True) if odds > 0),
                    edges=None,
                )
            )
        return calls


__all__ = ["LONGEST_GAP_S", "Finder", "Findings", "measure_call"]
