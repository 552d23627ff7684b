"""Finding calls and noise in a take: one pass over its sound.

The sound comes in blocks; the spectrum is taken once, and looked at in windows
(`calltag.learn.finding.windows`, `calltag.learn.finding.one_pass`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.finding.hands import Hands, judge_hand
from calltag.learn.finding.measuring import Event, Found, Listened, measure_calls
from calltag.learn.finding.one_pass import Pass
from calltag.learn.finding.second_look import SecondLook
from calltag.learn.finding.segments import busy_frames
from calltag.learn.finding.talk import Talk, judge
from calltag.learn.finding.whole import Whole
from calltag.learn.finding.windows import CONTEXT_FRAMES, windows
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import FRAMES_PER_STEP, StarterModel, starter_model
from calltag.media.probe import MediaInfo
from calltag.media.sound_blocks.missing_sound import joined
from calltag.media.sound_blocks.reader import SoundReader, read_span
from calltag.records.found import Call, NoiseSpan, with_noise
from calltag.records.span import Span
from calltag.records.take import FaultKind, Levels
from calltag.sound.channels.choosing import Chooser
from calltag.sound.channels.faults import said
from calltag.sound.events import measure_region
from calltag.sound.floor import STEP_FRAMES
from calltag.sound.loudness.take_loudness import TakeLoudness
from calltag.sound.spectrum import FRAMES_PER_S, RATE_HZ, TENTHS_PER_S, mel_power, power_frames

BLOCK_S = 15.0
"""Sound is read in blocks of this length: arrays of a few megabytes."""

FLOOR_PERCENT = 10
"""Of a take's tenths of a second, so many per cent are no louder than its floor."""

_TENTH = RATE_HZ // TENTHS_PER_S  # samples


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


class Finder:
    """Finds calls and noise in takes.

    Parameters
    ----------
    hearing : StarterModel
        The starter model.
    second_look : SecondLook
        What judges its finds.
    talk : Talk
        What tells which of them are words.
    hands : Hands
        What tells which of them are handling.
    """

    def __init__(
        self, hearing: StarterModel, second_look: SecondLook, talk: Talk, hands: Hands
    ) -> None:
        self._hearing = hearing
        self._second_look = second_look
        self._talk = talk
        self._hands = hands

    @classmethod
    def load(cls, path: Path | None = None) -> Finder:
        """Load the starter model and what judges its finds.

        Parameters
        ----------
        path : Path, optional
            A starter model, what judges its finds beside it; that which calltag comes with unless
            given.

        Returns
        -------
        Finder
            Ready to use.

        Raises
        ------
        ModelError
            If one of them is missing or damaged.
        """
        files = StarterFiles.of(path or starter_model())
        return cls(
            StarterModel(files.model),
            SecondLook.read(files.second_look),
            Talk.read(files.talk),
            Hands.read(files.hands),
        )

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
        chooser = Chooser(floats=info.floats, highest=info.highest)
        reader = SoundReader(path, rate_hz=RATE_HZ, block_s=BLOCK_S, recorded=chooser.note_recorded)
        loudness = TakeLoudness()
        tenths: list[DoubleArray] = []  # mean squares, and means
        this_pass = Pass(self._hearing, self._second_look, self._talk, self._hands)

        def chosen() -> Iterator[FloatArray]:
            """Yield the channel to listen to, and note its level."""
            for block in reader:
                samples = chooser.choose(block)
                loudness.hear(block, chooser.index, samples)
                tenths.append(_mean_squares(samples))
                this_pass.recent.add(samples)
                yield samples

        def metered() -> Iterator[FloatArray]:
            """Yield the spectrum, and measure its loudness."""
            for power in power_frames(chosen()):
                loudness.add(power, gain=loudness.gain)
                yield power

        for window in windows(metered()):
            this_pass.look(window)
        channel, found, peak_dbfs, clipped = chooser.report()
        if reader.late:  # its own fault says so, and why
            found = tuple(one for one in found if one.kind != FaultKind.STARTS)
        levels = Levels(
            peak_dbfs=peak_dbfs,
            clipped=clipped,
            loudness_lufs=loudness.integrated_lufs(),
            floor_dbfs=_floor_dbfs(tenths),
            channel=channel,
            faults=(*map(said, found), *reader.faults),
            channel_faults=found,
            broken=tuple(joined([*reader.broken, *chooser.silences()])),
        )
        noise = tuple(this_pass.noise.spans(this_pass.calls))
        return Findings(levels, with_noise(this_pass.calls, noise), noise, joined_s=reader.joined_s)

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
            One for each, with features and without noise; `call_probability` is what the starter
            model thinks.

        Raises
        ------
        MediaError
            If the sound cannot be read.
        """
        return [self._measure(path, span) for span in spans]

    def _measure(self, path: Path, span: Span) -> Call:
        around_s = CONTEXT_FRAMES / FRAMES_PER_S
        grid_s = STEP_FRAMES / FRAMES_PER_S  # so that the noise floor is that of the whole take
        start_s = float(np.floor(max(0.0, span.start_s - around_s) / grid_s)) * grid_s
        block, _ = read_span(path, start_s, max(span.end_s, start_s) + around_s, rate_hz=RATE_HZ)
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
        (judged,) = judge(self._second_look, self._talk, [evidence], [region])
        mel = mel_power(power)
        handled = judge_hand(
            self._hands, judged.call, mel, whole.heard, (begin, end), snr_db=region.snr_db
        )
        (measured,) = measure_calls(
            [Found(Event(offset, power, mel, busy, region), handled.call, edges=None)],
            Listened(offset, whole.heard),
            lambda begin_s, end_s: sound[
                round((begin_s - start_s) * RATE_HZ) : round((end_s - start_s) * RATE_HZ)
            ],
        )
        return measured


def _mean_squares(samples: FloatArray) -> DoubleArray:
    """Mean square, and mean, of each whole tenth of a second."""
    tenths = samples[: len(samples) // _TENTH * _TENTH].reshape(-1, _TENTH)
    squares = np.vecdot(tenths, tenths) / _TENTH
    means = tenths @ np.full(_TENTH, 1 / _TENTH, np.float32)  # twice as fast as by `np.mean`
    return np.stack([squares, means], dtype=np.float64)


def _floor_dbfs(tenths: Sequence[DoubleArray]) -> float:
    """Level that a take stays above but for `FLOOR_PERCENT` of its tenths of a second.

    A constant offset of the whole take is no sound: it is left out, as far as there is sound.
    """
    squares, means = np.concatenate(tenths, axis=1) if tenths else np.zeros((2, 0))
    sounding = squares > 0
    offset = means[sounding].mean() if sounding.any() else 0.0
    mean_squares = np.maximum(squares - 2 * offset * means + offset**2, 0.0) * sounding
    floor = np.percentile(mean_squares, FLOOR_PERCENT) if len(mean_squares) else 0.0
    return float(10 * np.log10(floor)) if floor > 0 else float("-inf")
