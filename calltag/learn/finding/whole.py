"""A stretch of sound that is heard whole, from its samples: takes come in windows instead."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.finding.segments import busy_frames, find_half_heard, find_segments
from calltag.learn.finding.surroundings import Surroundings
from calltag.learn.finding.whines import listen_through
from calltag.learn.networks.starter_model import (
    FRAMES_PER_STEP,
    STEPS_PER_S,
    Heard,
    StarterModel,
    over_steps,
)
from calltag.records.span import Span
from calltag.sound.events import Region, measure_region
from calltag.sound.spectrum import RATE_HZ, mel_power, power_spectrum, to_db


class WholeEvent(NamedTuple):
    """An event of a stretch, and what is known of it.

    Attributes
    ----------
    first, last : int
        Its first step, and the step after its last.
    region : Region
        Its band and level.
    evidence : np.ndarray, shape (len(EVIDENCE),)
        What a second look judges it by; see `calltag.learn.finding.surroundings`.
    """

    first: int
    last: int
    region: Region
    evidence: DoubleArray

    @property
    def span(self) -> Span:
        """From when until when, in seconds of the stretch."""
        return Span(self.first / STEPS_PER_S, self.last / STEPS_PER_S)


@dataclass(frozen=True, slots=True)
class Whole:
    """What was heard of a stretch, and in what.

    Attributes
    ----------
    power : np.ndarray, shape (n_frames, N_BINS), float32
        Power spectrum.
    power_of_steps : np.ndarray, shape (n_steps, N_MELS), float32
        Mel power of each step.
    level_of_steps : np.ndarray, shape (n_steps, N_MELS), float32
        Mean mel level of each step, in dB.
    heard : Heard
        What the starter model heard.
    """

    power: FloatArray
    power_of_steps: FloatArray
    level_of_steps: FloatArray
    heard: Heard

    @classmethod
    def listen(cls, hearing: StarterModel, samples: FloatArray) -> Whole:
        """Listen to a stretch.

        Parameters
        ----------
        hearing : StarterModel
            The starter model.
        samples : np.ndarray, shape (n_samples,), float32
            One channel at `calltag.sound.spectrum.RATE_HZ`.

        Returns
        -------
        Whole
            What is heard, through whines.
        """
        power = power_spectrum(samples)
        mel = mel_power(power)
        level_db = to_db(mel)
        heard = listen_through(
            hearing, level_db, lambda a, b: samples[round(a * RATE_HZ) : round(b * RATE_HZ)]
        )
        return cls(power, over_steps(mel), over_steps(level_db), heard)

    def likely_segments(self) -> list[tuple[int, int]]:
        """Find its events, but for half-heard ones.

        Returns
        -------
        list of tuple of int
            First step of each and the step after its last, in order.
        """
        return find_segments(self.heard.call, self.power_of_steps)

    def segments(self) -> list[tuple[int, int]]:
        """Find its events, half-heard ones too.

        Returns
        -------
        list of tuple of int
            First step of each and the step after its last, in order.
        """
        likely = self.likely_segments()
        return sorted([*likely, *find_half_heard(self.heard.call, likely)])

    def surroundings(self, segments: Sequence[tuple[int, int]]) -> Surroundings:
        """Prepare a second look at events.

        Parameters
        ----------
        segments : sequence of tuple of int
            All events, in order.

        Returns
        -------
        Surroundings
            What they stand in.
        """
        return Surroundings(self.power_of_steps, self.level_of_steps, self.heard, segments)

    def regions(self, segments: Sequence[tuple[int, int]]) -> list[Region]:
        """Measure events where they were found.

        Parameters
        ----------
        segments : sequence of tuple of int
            All events, in order.

        Returns
        -------
        list of Region
            Band and level of each.
        """
        busy = busy_frames(segments, len(self.power))
        return [
            measure_region(
                self.power,
                busy,
                first * FRAMES_PER_STEP,
                min(last * FRAMES_PER_STEP, len(self.power)),
            )
            for first, last in segments
        ]

    def events(self) -> list[WholeEvent]:
        """Find its events, and measure each.

        Returns
        -------
        list of WholeEvent
            All of them, half-heard ones too, in order.
        """
        segments = self.segments()
        surroundings = self.surroundings(segments)
        return [
            WholeEvent(first, last, region, surroundings.evidence(i, region))
            for i, ((first, last), region) in enumerate(
                zip(segments, self.regions(segments), strict=True)
            )
        ]
