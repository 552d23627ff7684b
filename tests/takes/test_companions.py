"""Takes that ran at the same time, by timecode and by date."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from calltag.records.alignment import Alignment
from calltag.records.found import NoiseSpan, TakeLog
from calltag.records.take import Levels, Take
from calltag.takes.companions import companions

LEVELS = Levels(peak_dbfs=-12, clipped=0, loudness_lufs=-35, floor_dbfs=-50)


def clip(path, start_tc=None, recorded=None, duration_s=60.0, noise=(), **more):
    take = Take(
        path=path,
        rushes="/rushes",
        digest=path,
        size_bytes=1,
        duration_s=duration_s,
        start_tc=start_tc,
        recorded=recorded,
        **{"fps": Fraction(25), "sample_rate_hz": 48_000, "channels": 2, "levels": LEVELS} | more,
    )
    return TakeLog(take=take, noise=tuple(noise))


def test_overlap_by_timecode():
    own = clip("A.mov", "05:30:00:00")
    found = companions(own, [own, clip("B.mov", "05:30:40:00"), clip("C.mov", "05:31:30:00")])
    assert [one.take.path for one in found] == ["B.mov"]
    assert found[0].during == (40.0, 60.0)
    assert found[0].usable_s == pytest.approx(20)
    assert "0:40-1:00" in found[0].sentence(own.take)


def test_over_midnight():
    found = companions(clip("A.mov", "23:59:50:00"), [clip("B.mov", "00:00:10:00")])
    assert found[0].during == (20.0, 60.0)


@pytest.mark.parametrize(
    ("fps", "other"),
    [
        (Fraction(24_000, 1001), clip("B.mov", "00:00:10:00", fps=Fraction(24_000, 1001))),
        (Fraction(30_000, 1001), clip("B.wav", None, fps=None, time_reference=10_010 * 48)),
    ],
)
def test_over_midnight_of_a_clock_whose_day_is_longer(fps, other):
    """A day of non-drop labels lasts 86 486.4 s at 23.976 and 29.97 (SMPTE ST 12-1)."""
    (found,) = companions(clip("A.mov", "23:59:50:00", fps=fps), [other])
    assert found.during == pytest.approx((20.02, 60.0), abs=1e-6)


def test_by_date_where_there_is_no_timecode():
    own = clip("A.mov", recorded="2026-05-01T05:30:00")
    found = companions(own, [clip("B.mov", recorded="2026-05-01T05:29:30")])
    assert found[0].during == (0.0, 30.0)
    other_day = clip("C.mov", recorded="2026-05-02T05:29:30")
    assert companions(own, [other_day]) == []
    with_timecode = clip("E.mov", "11:00:00:00", "2026-05-01T05:29:30")
    assert companions(own, [with_timecode])[0].during == (0.0, 30.0)
    assert companions(with_timecode, [own])[0].during == (30.0, 60.0)
    zones = clip("D.mov", recorded="2026-05-01T03:30:00+00:00")
    assert companions(clip("A.mov", recorded="2026-05-01T05:30:10+02:00"), [zones])


def test_timecode_that_starts_again_with_each_take_is_no_clock():
    own = clip("A.mov", "01:00:00:00", "2026-05-01T05:30:00")
    other = clip("B.mov", "01:00:00:00", "2026-05-01T09:10:00")
    assert companions(own, [other]) == []


def test_a_date_in_universal_time_and_a_local_one_may_be_the_same_moment():
    camera = clip("A.mov", "06:00:00:00", "2026-05-01T04:00:00+00:00")
    recorder = clip("B.wav", "06:00:20:00", "2026-05-01T06:00:20")
    (found,) = companions(camera, [recorder])
    assert found.during == (20.0, 60.0)
    for elsewhere in ("2026-05-01T06:30:20", "2026-05-03T06:00:20"):
        assert companions(camera, [clip("C.wav", "06:00:20:00", elsewhere)]) == []


def test_only_usable_sound_counts():
    own = clip("A.mov", "05:30:00:00")
    rasp = NoiseSpan(
        start_s=0, end_s=60, kind="machine", confidence=0.95, level_dbfs=-20, low_hz=100,
        high_hz=9000,
    )  # fmt: skip
    spoilt = clip("B.mov", "05:30:00:00", noise=[rasp])
    mute = clip("C.mov", "05:30:00:00", sample_rate_hz=None, levels=None)
    assert companions(own, [spoilt, mute]) == []


def test_takes_that_are_lined_up_go_by_their_sound_and_not_by_their_clocks():
    own = clip("A.mov", "05:30:00:00")
    wrong_clock = clip("B.mov", "04:30:00:00")
    assert companions(own, [wrong_clock]) == []
    pair = Alignment(
        take_a="A.mov", take_b="B.mov", offset_s=12.5, drift_ppm=0, confidence=0.99, overlap_s=47.5
    )
    (found,) = companions(own, [wrong_clock], [pair])
    assert found.during == (12.5, 60.0)
    said = found.sentence(own.take)
    assert "it begins 12.500 s after this take" in said
    assert "calltag sync" not in said
    (back,) = companions(wrong_clock, [own], [pair])
    assert back.during == (0.0, 47.5)
    assert "it begins 12.500 s before this take" in back.sentence(wrong_clock.take)
    (at_once,) = companions(own, [wrong_clock], [replace(pair, offset_s=-0.0004)])
    assert "it begins together with this take" in at_once.sentence(own.take)


def test_what_other_pairs_say_of_the_clocks_stands_above_the_time_of_day():
    """The second camera's clock is 70 s behind: the file that seems to run then ran before."""
    own = clip("A.mov", "05:30:00:00")
    others = [clip("B1.mov", "05:28:00:00"), clip("B2.mov", "05:30:00:00")]
    by_clocks = {"B1.mov": (-50.0, 0.15), "B2.mov": (70.0, 0.15)}
    (found,) = companions(own, others, by_clocks=by_clocks)
    assert (found.take.path, found.during, found.lined_up) == ("B1.mov", (0.0, 10.0), False)
    said = found.sentence(own.take)
    assert "by the clocks of both cameras it begins 50.00 s before this take, to 4 frames" in said
    assert "line the two up" not in said


def test_a_take_without_sound_is_not_sent_to_be_lined_up():
    """`calltag sync` refuses it."""
    own = clip("A.mov", "05:30:00:00", sample_rate_hz=None, channels=0)
    (found,) = companions(own, [clip("B.mov", "05:30:00:00")])
    assert "line the two up" not in found.sentence(own.take)
    assert "look for a moment that both show" in found.sentence(own.take)
