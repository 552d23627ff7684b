"""Where frames belong by their times: clocks that are fine, coarse, late, damaged or set anew."""

from __future__ import annotations

from fractions import Fraction
from types import SimpleNamespace

import pytest

from calltag.media.sound_blocks._flaws import Flaws
from calltag.media.sound_blocks._placing import Placing
from calltag.records.span import Span

RATE_HZ = 48_000
SAMPLES = Fraction(1, RATE_HZ)
MS = Fraction(1, 1000)


class Clip:
    """One stream of a clip, of which frames of 1024 samples are placed."""

    def __init__(
        self, tick=SAMPLES, *, start_s=0, first_pts=0, picture_s=0.0, pictured=False, sought=False
    ):
        self.flaws = Flaws()
        self.asked = []

        def pictured_between(first_s, end_s):
            self.asked.append((first_s, end_s))
            return pictured

        self.placing = Placing(
            SimpleNamespace(rate=RATE_HZ, time_base=tick, start_time=first_pts),
            Fraction(start_s),
            self.flaws,
            picture_s=picture_s,
            pictured_between=pictured_between,
            sought=sought,
        )

    def place(self, pts, n=1024):
        """Place a frame as a track does; returns where it begins."""
        frame = a_frame(pts, n)
        if not self.placing.follows(frame):
            self.placing.move(frame)
        self.placing.go_on(n)
        return self.placing.position - n


def a_frame(pts, n=1024):
    return SimpleNamespace(pts=pts, samples=n)


def test_frames_that_follow_are_counted_and_a_time_off_by_15_ms_follows():
    clip = Clip()
    assert not clip.placing.follows(a_frame(0)), "its first frame belongs where it says"
    assert not clip.placing.heard
    assert [clip.place(pts) for pts in (0, 1024 + 720, 2048 - 720)] == [0, 1024, 2048]
    assert clip.placing.heard
    assert clip.placing.follows(a_frame(None))
    assert not clip.placing.follows(a_frame(3072 + 721))
    assert not clip.placing.follows(a_frame(3072 - 721))
    assert clip.flaws == Flaws()
    assert (clip.placing.begin_s, clip.placing.end_s) == (0.0, 3072 / RATE_HZ)


def test_a_clock_of_tenths_may_be_off_by_two_of_them():
    clip = Clip(tick=Fraction(1, 10))
    clip.place(0)
    assert clip.placing.follows(a_frame(2))  # 9600 samples, 8576 of them too many
    assert not clip.placing.follows(a_frame(3))


def test_second_0_is_where_the_take_begins_on_the_clock():
    """The clock of the container begins at 100 s; sound a quarter of a second before, or after."""
    for off_s, begins in ((-0.25, -12_000), (0.25, 12_000)):
        clip = Clip(start_s=100)
        assert clip.place(round((100 + off_s) * RATE_HZ)) == begins
        assert clip.placing.begin_s == off_s
        assert clip.flaws == Flaws()


@pytest.mark.parametrize(
    ("at_s", "picture_s", "sought", "begins_s"),
    [
        (60.0, 0.0, False, 60.0),
        (60.1, 0.0, False, 0.0),  # its clock counts from somewhere else
        (60.1, 61.0, False, 60.1),  # the picture lasts for so long
        (60.1, 60.1, False, 0.0),
        (-60.1, 61.0, False, 0.0),
        (60.1, 0.0, True, 60.1),
    ],
)
def test_sound_begins_where_it_says_unless_that_is_more_than_a_minute_off(
    at_s, picture_s, sought, begins_s
):
    clip = Clip(picture_s=picture_s, sought=sought)
    first = round(at_s * RATE_HZ)
    assert clip.place(first) == round(begins_s * RATE_HZ)
    assert clip.place(first + 1024) == round(begins_s * RATE_HZ) + 1024
    assert clip.placing.begin_s == begins_s
    assert clip.flaws == Flaws()


def test_a_gap_is_noted_and_sound_goes_on_behind_it():
    clip = Clip()
    clip.place(0)
    assert clip.place(RATE_HZ) == RATE_HZ
    assert clip.flaws == Flaws(missing=[Span(1024 / RATE_HZ, 1.0)])


def test_what_is_missing_before_the_take_begins_is_none_of_its_time():
    clip = Clip(start_s=1)
    clip.place(0)
    clip.place(2 * RATE_HZ)
    assert clip.flaws == Flaws(missing=[Span(0.0, 1.0)])


def test_of_a_clip_read_from_the_middle_only_the_first_frame_may_lie_anywhere():
    clip = Clip(sought=True)
    clip.placing.lose_frame(1024)
    assert clip.place(100 * RATE_HZ) == 100 * RATE_HZ
    assert clip.placing.begin_s == 100.0
    assert clip.flaws == Flaws(damage=[Span(0.0, 1024 / RATE_HZ)])
    clip.place(102 * RATE_HZ)
    assert clip.placing.begin_s == 100.0
    assert clip.flaws.missing == [Span(100 + 1024 / RATE_HZ, 102.0)]


def test_sound_that_goes_back_by_less_than_a_second_lies_there_and_leaves_no_gap():
    clip = Clip()
    clip.place(0, 2 * RATE_HZ)
    assert clip.place(RATE_HZ) == RATE_HZ
    assert clip.flaws == Flaws()


def test_a_clock_that_goes_back_further_begins_anew():
    clip = Clip()
    clip.place(0, 2 * RATE_HZ)
    assert clip.place(RATE_HZ - 1) == 2 * RATE_HZ
    assert clip.place(RATE_HZ - 1 + 1024) == 2 * RATE_HZ + 1024
    assert clip.flaws == Flaws(anew=[2.0])


@pytest.mark.parametrize(
    ("ahead_s", "pictured", "leaps"),
    [(60.0, False, False), (60.1, False, True), (60.1, True, False)],
)
def test_a_clock_that_leaps_by_more_than_a_minute_was_set_where_no_picture_goes_on(
    ahead_s, pictured, leaps
):
    clip = Clip(pictured=pictured)
    clip.place(0, RATE_HZ)
    goes_on = round((1.0 + ahead_s) * RATE_HZ)
    assert clip.place(goes_on) == (RATE_HZ if leaps else goes_on)
    expected = Flaws(leaps=[1.0]) if leaps else Flaws(missing=[Span(1.0, 1.0 + ahead_s)])
    assert clip.flaws == expected
    assert clip.asked == ([] if ahead_s == 60.0 else [(1.0, pytest.approx(61.1))])


def test_two_frames_agree_by_their_own_times():
    placing = Clip().placing
    for off, agree in ((0, True), (720, True), (-720, True), (721, False), (-721, False)):
        assert placing.agree(a_frame(9000), a_frame(9000 + 1024 + off)) == agree
    assert not placing.agree(a_frame(None), a_frame(1024))
    assert not placing.agree(a_frame(0), a_frame(None))


def packet(pts, length_s=1024 / RATE_HZ):
    return SimpleNamespace(pts=pts, duration=round(length_s * RATE_HZ), time_base=SAMPLES)


def test_a_packet_that_cannot_be_decoded_is_damage_up_to_where_sound_goes_on():
    clip = Clip()
    clip.place(0, RATE_HZ)
    clip.placing.lose_packet(packet(RATE_HZ, 0.5))
    assert clip.placing.adrift
    assert clip.flaws.damage == [Span(1.0, 1.5)]
    # a tenth of a second later than the packet lasts: that is the damage's, too
    assert clip.place(round(1.6 * RATE_HZ)) == round(1.6 * RATE_HZ)
    assert not clip.placing.adrift
    assert clip.flaws == Flaws(damage=[Span(1.0, 1.6)])


def test_damage_that_ended_before_a_gap_is_none_of_it():
    clip = Clip()
    clip.place(0, RATE_HZ)
    clip.placing.lose_packet(packet(RATE_HZ, 0.5))
    clip.place(round(1.5 * RATE_HZ), RATE_HZ)
    clip.place(3 * RATE_HZ)
    assert clip.flaws == Flaws(damage=[Span(1.0, 1.5)], missing=[Span(2.5, 3.0)])


def test_damage_without_a_time_lies_where_sound_ended():
    clip = Clip()
    clip.placing.lose_packet(packet(5 * RATE_HZ, 0.5))  # nothing was heard: its clock may be off
    clip.place(0, RATE_HZ)
    clip.placing.lose_packet(packet(None, 0.25))
    clip.placing.lose_packet(SimpleNamespace(pts=2 * RATE_HZ, duration=None, time_base=None))
    assert clip.flaws.damage == [Span(0.0, 0.5), Span(1.0, 1.25), Span(2.0, 2.0)]


def test_a_gap_that_begins_where_damage_ends_is_the_damages():
    clip = Clip()
    clip.place(0, RATE_HZ)
    clip.placing.lose_packet(packet(RATE_HZ, 0.0))
    clip.place(2 * RATE_HZ)
    assert clip.flaws == Flaws(damage=[Span(1.0, 2.0)])


def test_a_frame_that_cannot_be_used_is_damage_as_long_as_it():
    clip = Clip()
    clip.placing.lose_frame(RATE_HZ // 2)
    assert clip.placing.heard
    assert clip.placing.adrift
    assert clip.flaws.damage == [Span(0.0, 0.5)]


def test_damage_before_the_take_begins_is_none_of_its_time():
    clip = Clip(start_s=1)
    clip.place(0, 1024)
    clip.placing.lose_packet(packet(2048, 0.5))
    assert clip.flaws.damage == [Span(0.0, 0.0)]


def test_a_clock_of_milliseconds_means_the_multiple_of_a_frame_that_it_rounds():
    """The tenth frame of 1024 begins after 213.3 ms, the clock says 213: sample 10 224."""
    clip = Clip(tick=MS, sought=True)
    assert clip.place(213) == 10_240
    clip.place(235)
    # after a gap of 20 frames: frame 32 begins after 682.7 ms
    assert clip.place(683) == 32_768


def test_a_clock_of_milliseconds_that_fits_no_multiple_is_taken_at_its_word():
    clip = Clip(tick=MS, sought=True)
    assert clip.place(223) == 223 * 48  # half a frame off, and a tick is 48 samples


def test_multiples_count_from_where_the_stream_begins():
    clip = Clip(tick=MS, first_pts=7, sought=True)
    assert clip.place(220) == 7 * 48 + 10_240


def test_a_clock_that_counts_samples_is_taken_at_its_word():
    assert Clip(sought=True).place(10_241) == 10_241  # and not the tenth multiple of 1024


def test_a_frame_of_no_samples_is_placed_by_its_time():
    assert Clip(tick=MS, sought=True).place(213, n=0) == 213 * 48
