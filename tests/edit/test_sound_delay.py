"""Travel time of sound, against ISO 9613-1's speed of sound."""

from __future__ import annotations

from fractions import Fraction

import pytest

from calltag.edit.markers import from_log, place
from calltag.edit.retime import conform
from calltag.edit.sound_delay import advance_to_picture, speed_of_sound, travel_time
from calltag.errors import InputError
from calltag.media.timing.timecode import Rate
from calltag.records.found import TakeLog

from .conftest import NTSC, make_call, make_sound, make_take


# ISO 9613-1: speed of sound in air of three temperatures, m/s, to the decimal that it is quoted to.
@pytest.mark.parametrize(("temperature_c", "speed"), [(0, 331.3), (10, 337.3), (20, 343.2)])
def test_speed_of_sound(temperature_c, speed):
    assert speed_of_sound(temperature_c) == pytest.approx(speed, abs=0.05)


# Milliseconds, and frames at 25, 29.97 and 50, at 20 °C: distance over the speed above, rounded as
# it is there.
@pytest.mark.parametrize(
    ("distance_m", "ms", "frames"),
    [
        (25, 72.8, (1.82, 2.18, 3.64)),
        (50, 145.7, (3.64, 4.37, 7.28)),
        (100, 291.4, (7.28, 8.73, 14.57)),
        (200, 582.8, (14.57, 17.47, 29.14)),
    ],
)
def test_travel_time(distance_m, ms, frames):
    delay_s = travel_time(distance_m, 20)
    assert 1000 * delay_s == pytest.approx(ms, abs=0.1)
    for rate, slip in zip((25, 30 * NTSC, 50), frames, strict=True):
        assert delay_s * float(rate) == pytest.approx(slip, abs=0.006)


def marked(take=None):
    return from_log(TakeLog(take=take or make_take(), calls=(make_call(10, 11),)))


def test_markers_move_to_the_picture():
    # 100 m at 20 °C are 7.28 frames at 25: frame 250 is heard, 242.72 seen.
    seen = advance_to_picture(marked(), 100, 20)
    assert [(p.first, p.end) for p in place(seen)] == [(243, 268)]
    assert "moved 0.291 s = 7.3 frames ahead of the sound, 100 m at 20 C" in seen.markers[0].comment
    assert seen.advance_s == pytest.approx(0.2914, abs=1e-4)


def test_conforming_comes_after():
    # Filmed at 100: 29.14 frames; played at 25 they are still 29 frames ahead.
    heard = marked(make_take(rate=Rate(Fraction(100))))
    seen = conform(advance_to_picture(heard, 100, 20), Rate(Fraction(25)))
    assert place(seen)[0].first == 1000 - 29
    with pytest.raises(InputError, match="before the take is conformed"):
        advance_to_picture(seen, 100, 20)


def test_sound_alone_has_no_picture():
    heard = marked(make_sound())
    assert advance_to_picture(heard, 100, 20) is heard


def test_no_distance_no_change():
    heard = marked()
    assert advance_to_picture(heard, 0) is heard


def test_seen_before_the_first_frame():
    heard = from_log(TakeLog(take=make_take(), calls=(make_call(0.1, 0.2), make_call(0.2, 0.9))))
    seen = advance_to_picture(heard, 200, 20)
    assert [(p.first, p.end) for p in place(seen)] == [(0, 1), (0, 8)]
    assert [m.comment.endswith("seen before the first frame") for m in seen.markers] == [
        True,
        False,
    ]


def test_only_calls_move(morning):
    heard = from_log(morning[0], noise=True)
    seen = advance_to_picture(heard, 100, 20)
    moved = {
        after.kind
        for before, after in zip(heard.markers, seen.markers, strict=True)
        if before.start_s != after.start_s
    }
    assert moved == {"call"}


@pytest.mark.parametrize("distance_m", [-1, 20_001, float("nan"), float("inf")])
def test_no_such_distance(distance_m):
    with pytest.raises(InputError, match="distance"):
        travel_time(distance_m)


@pytest.mark.parametrize("temperature_c", [-61, 61, -300, float("nan")])
def test_no_such_temperature(temperature_c):
    with pytest.raises(InputError, match="temperature"):
        speed_of_sound(temperature_c)
