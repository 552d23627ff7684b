"""Where the frames of one sound stream belong, by the times that they state.

Places are counted in samples from the beginning of the take; the stream's clock counts ticks, from
where it likes. A clock may be coarse, may jump or begin anew, and damage leaves it unknown where
sound goes on.
"""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction

from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.packet import Packet

from calltag.media.sound_blocks._flaws import Flaws
from calltag.records.span import Span

_JITTER_S = 0.015
"""Timestamps may be this far off before it counts as a gap; one lost AAC frame is 21 ms."""

_LEAP_S = 60.0
"""A clock that jumps this far was set anew, unless the picture goes on in between."""

_BACK_S = 1.0
"""A clock that goes back this far begins anew: another clip was joined to the first."""


class Placing:
    """Keeps count of where one stream's sound ends, and tells where each frame belongs.

    A frame that `follows` on what was placed so far is counted by `go_on`; for another one, `move`
    goes first to where it belongs.

    Parameters
    ----------
    stream : AudioStream
        The stream.
    start_s : Fraction
        When the take begins, on the container's clock.
    flaws : Flaws
        Where to note damage, gaps and jumps of the clock.
    picture_s : float
        Length of the picture; 0 where there is none.
    pictured_between : callable
        Tells whether there are pictures between two times, in seconds of the take.
    sought : bool
        Whether the clip was not read from its start, so that the first frame may lie anywhere.

    Attributes
    ----------
    position : int
        Where the samples end that were placed so far.
    heard : bool
        Whether there were any frames.
    adrift : bool
        Whether the next frame's own time alone tells where it belongs: at first, and after damage.
    """

    def __init__(
        self,
        stream: AudioStream,
        start_s: Fraction,
        flaws: Flaws,
        *,
        picture_s: float,
        pictured_between: Callable[[float, float], bool],
        sought: bool,
    ) -> None:
        self.position = self._first = 0
        self.heard = False
        self.adrift = True
        self._flaws = flaws
        self._rate_hz = stream.rate
        self._per_tick = float((stream.time_base or 0) * stream.rate)
        self._origin = float(start_s * stream.rate)  # second 0 of the take, on the stream's clock
        self._grid = self._of_time(stream.start_time or 0)
        self._slack = max(2 * self._per_tick, _JITTER_S * stream.rate)
        self._picture_end = picture_s * stream.rate
        self._pictured_between = pictured_between
        self._sought = sought

    @property
    def begin_s(self) -> float:
        """Where the samples begin that were placed so far."""
        return self._first / self._rate_hz

    @property
    def end_s(self) -> float:
        """Where the samples end that were placed so far."""
        return self.position / self._rate_hz

    def follows(self, frame: AudioFrame) -> bool:
        """Tell whether a frame follows on the samples so far; one without a time does."""
        pts = frame.pts
        if pts is None:
            return True
        off = pts * self._per_tick - self._origin - self.position
        return -self._slack <= off <= self._slack and not self.adrift

    def agree(self, frame: AudioFrame, following: AudioFrame) -> bool:
        """Tell whether two frames follow on each other by their own times."""
        if frame.pts is None or following.pts is None:
            return False
        end = self._of_time(frame.pts) + frame.samples
        return abs(self._of_time(following.pts) - end) <= self._slack

    def go_on(self, n: int) -> None:
        """Count n samples that follow on those so far."""
        self.position += n
        self.heard = True

    def move(self, frame: AudioFrame) -> None:
        """Go to where a frame belongs by its time; its samples are still to be counted."""
        place = self._of_time(frame.pts or 0)  # one without a time follows, and is not moved
        if self.heard and not self._sought:
            self._go_to(place, frame.samples)
        else:
            self._begin_at(place, frame.samples)
        self.heard = True
        self.adrift = self._sought = False

    def lose_packet(self, packet: Packet[AudioStream]) -> None:
        """Note a packet that cannot be decoded."""
        start_s = self.end_s
        if packet.pts is not None and self.heard:
            start_s = self._of_time(packet.pts) / self._rate_hz
        length_s = float((packet.duration or 0) * (packet.time_base or 0))
        self._lose(start_s, length_s)

    def lose_frame(self, n: int) -> None:
        """Note a frame of n samples that cannot be used."""
        self.heard = True
        self._lose(self.end_s, n / self._rate_hz)

    def _begin_at(self, place: float, n: int) -> None:
        """Place the first frame: sound may begin long after the picture, as long as that lasts."""
        far_off = abs(place) > _LEAP_S * self._rate_hz
        late = 0 < place < self._picture_end
        if far_off and not late and not self._sought:
            self._origin += place
        else:
            self.position = self._on_grid(place, n)
        self._first = self.position

    def _go_to(self, place: float, n: int) -> None:
        """Place a frame apart from those before, unless it is the clock alone that jumps."""
        ended_s = self.end_s
        ahead = place - self.position
        goes_back = ahead < -_BACK_S * self._rate_hz
        leaps = ahead > _LEAP_S * self._rate_hz
        if goes_back:
            self._origin += ahead
            self._flaws.anew.append(ended_s)
        elif leaps and not self._pictured_between(ended_s, place / self._rate_hz):
            self._origin += ahead
            self._flaws.leaps.append(ended_s)
        else:
            self.position = self._on_grid(place, n)
            self._note_gap(max(0.0, ended_s))

    def _note_gap(self, start_s: float) -> None:
        """Note that there is no sound up to where it goes on, by damage if that comes before."""
        if self.end_s <= start_s:
            return
        damage = self._flaws.damage
        if damage and damage[-1].end_s >= start_s:
            damage[-1] = Span(damage[-1].start_s, self.end_s)
        else:
            self._flaws.missing.append(Span(start_s, self.end_s))

    def _lose(self, start_s: float, length_s: float) -> None:
        """Note that there is no sound; the next frame belongs where its own time says."""
        self.adrift = True
        self._flaws.damage.append(Span(max(0.0, start_s), max(0.0, start_s + length_s)))

    def _of_time(self, pts: int) -> float:
        """Where something belongs by its time."""
        return pts * self._per_tick - self._origin

    def _on_grid(self, place: float, n: int) -> int:
        """Find the sample that a coarse clock means: frames of one length lie at its multiples.

        A clock that counts samples means what it says: sought, plain samples begin anywhere.
        """
        if self._per_tick <= 1 or not n:
            return round(place)
        on_grid = round(self._grid + round((place - self._grid) / n) * n)
        return on_grid if abs(on_grid - place) <= self._per_tick else round(place)
