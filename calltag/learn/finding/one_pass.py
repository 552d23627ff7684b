"""One pass over a take: what each window of it holds, judged, measured, and put together.

An event that lies at a border is seen whole in one window at least, and kept once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from calltag.arrays import DoubleArray, FloatArray
from calltag.learn.finding.chorus import going_on, out_of_chorus
from calltag.learn.finding.hands import Hands, judge_hand
from calltag.learn.finding.low_calls import find_low_calls
from calltag.learn.finding.measuring import Event, Found, Listened, measure_calls
from calltag.learn.finding.second_look import LEAST_PROBABILITY, SecondLook
from calltag.learn.finding.segments import busy_frames, find_half_heard, find_segments
from calltag.learn.finding.surroundings import Surroundings
from calltag.learn.finding.talk import Judged, Talk, judge
from calltag.learn.finding.whines import listen_through
from calltag.learn.finding.windows import CONTEXT_FRAMES, WINDOW_FRAMES, Recent, Window
from calltag.learn.networks.starter_model import (
    FRAMES_PER_STEP,
    STEPS_PER_TENTH,
    Heard,
    StarterModel,
    over_steps,
)
from calltag.learn.noise.beats import BeatWatch, Stretch, steady
from calltag.learn.noise.meter import NoiseMeter
from calltag.records.found import Call
from calltag.records.label import LIKELY, NOISE_KINDS
from calltag.records.span import Span
from calltag.sound.beats.hum import find_hum
from calltag.sound.events import (
    AROUND_FRAMES,
    OUTWARD_FRAMES,
    Region,
    measure_region,
)
from calltag.sound.spectrum import FRAMES_PER_S, RATE_HZ, TENTHS_PER_S, mel_centres_hz, to_db

_MACHINE = NOISE_KINDS.index("machine")
_LOW_BANDS = int(np.searchsorted(mel_centres_hz(), 1000.0))  # of engines, whatever the distance
_BEFORE_S = CONTEXT_FRAMES / FRAMES_PER_S  # sound that is kept from before a window
_HUM_S = 6.0
_HUM_EVERY_S = 300.0  # hum does not come and go

_SAME_END_FRAMES = 12  # two windows may see the end of an event so far apart
_AT_ONCE = 16  # events judged and measured together: each holds up to 2 MB of sound around it


class _Steps(NamedTuple):
    """What a window holds, step by step."""

    heard: Heard
    power: FloatArray
    level_db: FloatArray


class _Events:
    """The events of a window, in order: likely ones, low calls, half-heard ones."""

    def __init__(
        self,
        window: Window,
        steps: _Steps,
        likely: Sequence[tuple[int, int]],
        low: Mapping[tuple[int, int], float] = MappingProxyType({}),
        half_heard: Sequence[tuple[int, int]] = (),
    ) -> None:
        self.segments = segments = sorted([*likely, *low, *half_heard])
        self._low, self._half_heard = low, frozenset(half_heard)
        self._window = window
        self._busy = busy_frames(segments, len(window.mel))
        self._surroundings = Surroundings(steps.power, steps.level_db, steps.heard, segments)

    def frames(self, i: int) -> tuple[int, int]:
        """First frame of one of them, and the frame after its last."""
        first, last = (min(step * FRAMES_PER_STEP, len(self._busy)) for step in self.segments[i])
        return first, last

    def found(self, i: int) -> Event:
        """One of them, as it was found."""
        n = len(self._busy)
        first, last = self.frames(i)
        around = _around(first, last, n)
        power, busy = self._window.power(around.start, around.stop), self._busy[around]
        region = measure_region(power, busy, first - around.start, last - around.start)
        mel = self._window.mel[around]
        return Event(self._window.first + around.start, power, mel, busy, region)

    def evidence(self, i: int, region: Region) -> DoubleArray:
        """What one of them, measured so, is judged by."""
        return self._surroundings.evidence(i, region)

    def sureness(self, i: int) -> float | None:
        """How sure one of them is, if that was told already."""
        return self._low.get(self.segments[i])

    def is_half_heard(self, i: int) -> bool:
        """Whether one of them stayed below even odds."""
        return self.segments[i] in self._half_heard

    def room(self, i: int) -> tuple[int, int]:
        """How far its edges may go: no further than half way to the next event, in frames."""
        begin, end = self.segments[i]
        others = self.segments
        before = (others[i - 1][1] + begin) * FRAMES_PER_STEP // 2 if i else 0
        if i + 1 == len(others):
            return before, len(self._busy)
        return before, (end + others[i + 1][0]) * FRAMES_PER_STEP // 2


@dataclass(slots=True)
class Pass:
    """The state of one pass over a take.

    Attributes
    ----------
    hearing : StarterModel
        The starter model.
    second_look : SecondLook
        What judges its finds.
    talk : Talk
        What tells which of them are words.
    hands : Hands
        What tells which of them are handling.
    recent : Recent
        The take's sound; whoever reads it adds to it before its window is looked at.
    beats : BeatWatch
        Looks for a machine's beats.
    hum_due_s : float
        When the mains are listened for again.
    noise : NoiseMeter
        The noise so far.
    calls : list of Call
        The calls so far, in order of start.
    taken : int
        Frames before this belong to events that are dealt with.
    kept : bool
        Whether the last of them is a call.
    """

    hearing: StarterModel
    second_look: SecondLook
    talk: Talk
    hands: Hands
    recent: Recent = field(default_factory=Recent)
    beats: BeatWatch = field(default_factory=BeatWatch)
    hum_due_s: float = 0.0
    noise: NoiseMeter = field(default_factory=NoiseMeter)
    calls: list[Call] = field(default_factory=list)
    taken: int = 0
    kept: bool = False

    def look(self, window: Window) -> None:
        """Find what is in a window.

        Parameters
        ----------
        window : Window
            The next one of the take.
        """
        level_db = to_db(window.mel)
        cut = partial(self._cut, window.first / FRAMES_PER_S)
        heard = listen_through(self.hearing, level_db, cut)
        own = slice(window.core - window.first, window.stop - window.first)
        own_steps = slice(own.start // FRAMES_PER_STEP, -(-own.stop // FRAMES_PER_STEP))
        self.noise.add(window.mel[own], heard.kinds[own_steps], heard.call[own_steps])
        steps = _Steps(heard, over_steps(window.mel), over_steps(level_db))
        self._look_for_beats(window, steps)
        self._look_for_hum(window)
        segments = self._out_of_chorus(window, steps, find_segments(heard.call, steps.power))
        low = find_low_calls(
            self.hearing, self.second_look, segments, steps.power, window.power, cut
        )
        sureness = {(call.first, call.last): call.probability for call in low}
        half_heard = find_half_heard(heard.call, [*segments, *sureness])
        events = _Events(window, steps, segments, sureness, half_heard)
        listened = Listened(window.first, heard)
        to_judge = self._to_judge(window, events)
        for at in range(0, len(to_judge), _AT_ONCE):
            some = to_judge[at : at + _AT_ONCE]
            self.calls += measure_calls(  # by no name, which would keep them while more are found
                self._found(window, heard, events, some), listened, self.recent.cut
            )
        self.recent.forget(window.stop / FRAMES_PER_S - _BEFORE_S)

    def _cut(self, from_s: float, start_s: float, end_s: float) -> FloatArray:
        """Cut out the sound between two times that count from a third."""
        return self.recent.cut(from_s + start_s, from_s + end_s)

    def _to_judge(self, window: Window, events: _Events) -> list[int]:
        """Which events are a window's own, and not dealt with."""
        own = []
        for i in range(len(events.segments)):
            first, last = (window.first + frame for frame in events.frames(i))
            if first >= window.stop:
                break
            if first >= self.taken:
                if last > window.core:
                    own.append(i)
            elif self.kept and last > self.taken + _SAME_END_FRAMES:
                # It went on beyond what the last window saw.
                self.calls[-1] = replace(self.calls[-1], end_s=last / FRAMES_PER_S)
                self.taken = last
        return own

    def _found(
        self, window: Window, heard: Heard, events: _Events, some: Sequence[int]
    ) -> list[Found]:
        """Take some events for calls, but for those that are unlikely to be any."""
        there = {i: events.found(i) for i in some}
        judged = self._judged(
            events, {i: there[i].region for i in some if events.sureness(i) is None}
        )
        found = []
        for i, event in there.items():
            probability = events.sureness(i)
            if probability is None:
                probability = self._unless_hand(window, heard, events, i, event.region, judged[i])
            self.taken = window.first + events.frames(i)[1]
            least = LIKELY if events.is_half_heard(i) else LEAST_PROBABILITY
            self.kept = probability >= least
            if self.kept:
                before, after = (window.first + edge - event.offset for edge in events.room(i))
                found.append(Found(event, probability, (before, after)))
        return found

    def _unless_hand(
        self,
        window: Window,
        heard: Heard,
        events: _Events,
        i: int,
        region: Region,
        judged: Judged,
    ) -> float:
        """How likely an event is a call and no hand; talk and hands are told to the noise."""
        handled = judge_hand(
            self.hands,
            judged.call,
            window.mel,
            heard,
            events.segments[i],
            snr_db=region.snr_db,
        )
        if not events.is_half_heard(i):  # of that, noise is not told either
            first, last = (window.first + frame for frame in events.frames(i))
            span = Span(first / FRAMES_PER_S, last / FRAMES_PER_S)
            self.noise.add_talk(span, judged.talk)
            if handled.call < LIKELY:  # of what is still a call it is not told
                self.noise.add_hand(span, handled.hand)
        return handled.call

    def _out_of_chorus(
        self, window: Window, steps: _Steps, segments: list[tuple[int, int]]
    ) -> list[tuple[int, int]]:
        """Part what goes on and on, where all of it is likely to be calls."""
        chorus = going_on(segments, len(steps.power))
        if not chorus:
            return segments
        events = _Events(window, steps, segments)
        parted = {
            i: out_of_chorus(steps.power, *segments[i])
            for i in chorus
            if self._judged(events, {i: events.found(i).region})[i].call >= LIKELY
        }
        return [piece for i, whole in enumerate(segments) for piece in parted.get(i, [whole])]

    def _judged(self, events: _Events, regions: Mapping[int, Region]) -> dict[int, Judged]:
        """How likely events are calls, and someone who talks, by a second look at them."""
        evidence = [events.evidence(i, region) for i, region in regions.items()]
        judged = judge(self.second_look, self.talk, evidence, list(regions.values()))
        return dict(zip(regions, judged, strict=True))

    def _look_for_beats(self, window: Window, steps: _Steps) -> None:
        """Look for beats where they tell whether a machine is heard."""
        heard = steps.heard
        whole = len(heard.kinds) // STEPS_PER_TENTH * STEPS_PER_TENTH
        odds = steady(heard.kinds[:whole, _MACHINE].reshape(-1, STEPS_PER_TENTH).mean(axis=1))
        calling = (heard.call[:whole] > 0).reshape(-1, STEPS_PER_TENTH).mean(axis=1)
        there = np.minimum(np.arange(whole), len(steps.power) - 1)  # a last step is a part of one
        low = steps.power[there, :_LOW_BANDS].sum(axis=1).reshape(-1, STEPS_PER_TENTH).sum(axis=1)
        core, stop = (
            (frame - window.first) * TENTHS_PER_S // FRAMES_PER_S
            for frame in (window.core, window.stop)
        )
        stretch = Stretch(
            window.core / FRAMES_PER_S, odds[core:stop], calling[core:stop], low[core:stop]
        )
        for at_s, beat in self.beats.look(stretch, self.recent.cut):
            self.noise.add_beat(at_s, beat)

    def _look_for_hum(self, window: Window) -> None:
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
