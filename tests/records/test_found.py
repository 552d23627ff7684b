"""What was found in a take, put together."""

from __future__ import annotations

from dataclasses import replace

from calltag.records.found import HUM, Call, NoiseSpan, with_noise


def call(start_s: float, end_s: float) -> Call:
    return Call(
        start_s=start_s,
        end_s=end_s,
        low_hz=2000.0,
        high_hz=4000.0,
        peak_hz=3000.0,
        snr_db=12.0,
        level_dbfs=-30.0,
        call_probability=0.9,
        confidence=0.9,
    )


def noise(kind: str, start_s: float, end_s: float, detail: str = "") -> NoiseSpan:
    return NoiseSpan(
        start_s=start_s,
        end_s=end_s,
        kind=kind,
        confidence=0.9,
        level_dbfs=-40.0,
        low_hz=50.0,
        high_hz=800.0,
        detail=detail,
    )


def test_the_noise_of_a_call_is_what_overlaps_it() -> None:
    calls = [call(0.0, 1.0), call(1.0, 2.0), call(4.5, 5.5), call(9.0, 9.5)]
    heard = [
        noise("machine/hedge trimmer", 1.0, 3.0),  # holds its start and not its end
        noise("wind", 4.0, 5.0),
        noise("machine", 4.9, 5.0),
        noise("machine", 5.0, 6.0),
        noise("water", 9.5, 12.0),
    ]
    told = [one.noise for one in with_noise(calls, heard)]
    assert told == [(), ("machine",), ("machine", "wind"), ()]


def test_hum_that_lasts_as_long_as_the_take_is_with_no_call() -> None:
    hum = noise("machine", 0.0, 60.0, detail=f"{HUM}, 50 Hz with 4 harmonics")
    assert [one.noise for one in with_noise([call(3, 4)], [hum])] == [()]
    other = noise("machine", 3.5, 8.0)
    assert [one.noise for one in with_noise([call(3, 4)], [hum, other])] == [("machine",)]


def test_how_sure_a_label_is() -> None:
    """Of a call without a type, that it is a call; of a type, that it is this one."""
    found = replace(call(0.0, 1.0), call_probability=0.7, confidence=0.2)
    assert found.sureness == 0.7
    named = replace(found, label="pit rail")
    assert named.sureness == 0.2
    assert replace(named, by_hand=True).sureness == 1.0
