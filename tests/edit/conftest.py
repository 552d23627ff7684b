"""Records for the tests of the edit: an invented morning at Ashmere."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest

from calltag.media.timing.timecode import Rate
from calltag.records.alignment import Alignment
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.take import Levels, Take

NTSC = Fraction(1000, 1001)
RATES = [
    Rate(24 * NTSC),
    Rate(Fraction(24)),
    Rate(Fraction(25)),
    Rate(30 * NTSC),
    Rate(30 * NTSC, drop=True),
    Rate(Fraction(30)),
    Rate(Fraction(50)),
    Rate(60 * NTSC),
    Rate(60 * NTSC, drop=True),
    Rate(Fraction(60)),
]


def make_take(path: str = "pit/A003.mov", rate: Rate = RATES[2], **changes) -> Take:
    """A minute of picture and sound that begins at ten o'clock."""
    take = Take(
        path=path,
        rushes="/rushes/ashmere",
        digest=path,
        size_bytes=1,
        duration_s=60.0,
        fps=rate.fps,
        start_tc="10:00:00;00" if rate.drop else "10:00:00:00",
        sample_rate_hz=48_000,
        channels=2,
        width=1920,
        height=1080,
        levels=Levels(peak_dbfs=-6, clipped=0, loudness_lufs=-30, floor_dbfs=-60),
    )
    return replace(take, **changes)


def make_sound(path: str = "pit/R001.wav", **changes) -> Take:
    """A minute of sound without a picture."""
    return replace(make_take(path), fps=None, start_tc=None, width=0, height=0, **changes)


def make_call(start_s: float, end_s: float, label: str = "marsh hooter: boom", **changes) -> Call:
    """A call of good quality."""
    call = Call(
        start_s=start_s,
        end_s=end_s,
        low_hz=180,
        high_hz=2210,
        peak_hz=400,
        snr_db=14,
        level_dbfs=-31,
        call_probability=0.95,
        label=label,
        confidence=0.9,
    )
    return replace(call, **changes)


def log_of(path: str, *calls: Call, **changes) -> TakeLog:
    """A take with its calls."""
    return TakeLog(take=make_take(path, **changes), calls=calls)


def lined_up(a: str, b: str, offset_s: float, drift_ppm: float = 0.0) -> Alignment:
    """Two takes, the second of which begins so much later."""
    return Alignment(
        take_a=a, take_b=b, offset_s=offset_s, drift_ppm=drift_ppm, confidence=1.0, overlap_s=9.0
    )


A_AND_B = [lined_up("a.mov", "b.mov", 20.0)]
GOES_ON = [lined_up("b1.mov", "b2.mov", 60.0)]


@pytest.fixture
def morning() -> list[TakeLog]:
    """Three takes: picture with calls and wind, a second picture, and a recorder's sound."""
    return [
        TakeLog(
            take=make_take(),
            calls=(
                make_call(1.0, 2.0),
                make_call(1.5, 3.0, "lesser reedling: trill", noise=("wind",)),
                make_call(20.013, 20.4, "call", call_probability=0.6, confidence=0.6),
            ),
            noise=(
                NoiseSpan(
                    start_s=1.2,
                    end_s=9.0,
                    kind="wind",
                    confidence=0.9,
                    level_dbfs=-40,
                    low_hz=20,
                    high_hz=300,
                    detail="gusts",
                ),
            ),
        ),
        TakeLog(take=make_take("pit/B001.mov"), calls=(make_call(59.5, 60.0, "pit rail: tick"),)),
        TakeLog(take=make_sound(), calls=(make_call(5.0, 5.2),)),
    ]
