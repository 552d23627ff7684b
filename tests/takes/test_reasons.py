"""The words of a verdict's reasons: one for each thing that noise leaves of the sound."""

from __future__ import annotations

import math
import pickle

import pytest

from calltag.learn.labels.by_hand import BY_HAND
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.take import Levels, Take
from calltag.records.verdict import Reason
from calltag.takes.filter_cuts import Band
from calltag.takes.masking import Effect, Left
from calltag.takes.reasons import (
    buried_in_nature,
    clean_reason,
    in_brief,
    level_reasons,
    noise_reasons,
)
from calltag.takes.thresholds import read_thresholds

LENGTH_S = 100.0
LIMITS = read_thresholds()


def call(start_s: float, low_hz: float = 4000.0, snr_db: float = 20.0) -> Call:
    return Call(
        start_s=start_s,
        end_s=start_s + 1,
        low_hz=low_hz,
        high_hz=low_hz + 1000,
        peak_hz=low_hz + 500,
        snr_db=snr_db,
        level_dbfs=-30.0,
        call_probability=0.9,
    )


def noise(kind="machine", start_s=10.0, end_s=20.0, low_hz=100.0, high_hz=1000.0, detail=""):
    return NoiseSpan(
        start_s=start_s,
        end_s=end_s,
        kind=kind,
        confidence=0.9,
        level_dbfs=-25.0,
        low_hz=low_hz,
        high_hz=high_hz,
        detail=detail,
    )


ONE, TWO, THREE = map(call, (11, 13, 15))


def effect(left: Left, calls=(), standing=(), band=None, **of_noise) -> Effect:
    """What a noise does to the calls in it, of which some stand above it."""
    band = band or Band(low_hz=2000.0)
    return Effect(noise(**of_noise), left, band, tuple(calls), tuple(standing))


def words(*heard: Effect) -> Reason:
    (reason,) = noise_reasons(heard, LENGTH_S)
    return reason


@pytest.mark.parametrize(
    ("left", "calls", "standing", "kept", "said"),
    [
        (Left.HUM, 0, 0, 0, "notches take it out (calltag rescue)"),
        (Left.RUMBLE, 2, 2, 0, "a low cut at 2 kHz takes it out (calltag rescue)"),
        (
            Left.ABOVE,
            0,
            0,
            0,
            "it lies below this take's calls, a low cut at 2 kHz leaves their band (calltag "
            "rescue)",
        ),
        (
            Left.ABOVE,
            3,
            2,
            0,
            "it lies below this take's other calls, a low cut at 2 kHz leaves their band and takes "
            "2 lower ones (calltag rescue)",
        ),
        (
            Left.ABOVE,
            3,
            3,
            2,
            "2 of 3 calls stand above it in their own band, a low cut at 2 kHz keeps them and takes"
            " 1 lower one (calltag rescue)",
        ),
        (
            Left.ABOVE,
            3,
            3,
            1,
            "1 of 3 calls stands above it in its own band, a low cut at 2 kHz keeps it and takes 2 "
            "lower ones (calltag rescue)",
        ),
        (
            Left.BELOW,
            2,
            2,
            2,
            "2 of 2 calls stand clear below its band, a high cut at 3 kHz keeps them (calltag "
            "rescue)",
        ),
        (
            Left.BELOW,
            3,
            3,
            1,
            "1 of 3 calls stands clear below its band, a high cut at 3 kHz keeps it and takes 2 "
            "higher ones (calltag rescue)",
        ),
        (
            Left.OVER,
            3,
            2,
            0,
            "2 of 3 calls stand above it, but in the noise's own band: no filter parts them from "
            "it",
        ),
        (
            Left.OVER,
            3,
            1,
            0,
            "1 of 3 calls stands above it, but in the noise's own band: no filter parts the two",
        ),
        (Left.LOST, 0, 0, 0, "no call stands above it"),
        (Left.LOST, 2, 0, 0, "it covers the calls' own band, none stands above it"),
        (
            Left.LOST,
            3,
            2,
            0,
            "it covers the calls' own band, only 2 of 3 calls stand above it",
        ),
    ],
)
def test_what_noise_leaves_is_said_with_what_to_do(left, calls, standing, kept, said):
    band = Band(high_hz=3000.0) if left == Left.BELOW else Band(low_hz=2000.0)
    inside_hz, outside_hz = (500.0, 4000.0) if left == Left.BELOW else (4000.0, 500.0)
    every = [call(11 + n, inside_hz if n < kept else outside_hz) for n in range(calls)]
    heard = effect(left, every, every[:standing], band)
    assert words(heard).split(": ", 1)[1] == f"{said}. Its sound: 100 Hz to 1 kHz"


def test_a_call_that_two_stretches_of_a_noise_have_counts_once():
    first = effect(Left.OVER, [ONE, TWO], [ONE], start_s=10, end_s=14)
    second = effect(Left.OVER, [TWO, THREE], [], start_s=14, end_s=20)
    assert "1 of 3 calls stands above it" in words(first, second)
    low = call(11, low_hz=200.0)  # two calls may begin at one moment
    assert "2 of 2 calls stand above it" in words(effect(Left.OVER, [ONE, low], [ONE, low]))


def test_speech_and_hands_are_cut_around_whatever_they_cover():
    for calls in ([], [ONE]):
        assert "no filter takes speech out, cut around it" in words(
            effect(Left.LOST, calls, kind="voice")
        )
        assert "cut around it, and take the hand off the camera" in words(
            effect(Left.LOST, calls, kind="handling")
        )


@pytest.mark.parametrize(
    ("kind", "detail", "name"),
    [
        ("machine", "", "machine"),
        ("wind", "", "wind on the microphone"),
        ("handling", "", "handling noise"),
        ("machine/mower", "", "machine, mower,"),
        ("machine/mower", BY_HAND, f"machine, mower, {BY_HAND},"),
        ("wind", BY_HAND, f"wind on the microphone, {BY_HAND},"),
    ],
)
def test_a_noise_is_named(kind, detail, name):
    said = words(effect(Left.LOST, kind=kind, detail=detail))
    assert said.startswith(f"{name} at 0:10-0:20: ")


def test_hum_is_named_by_its_frequency():
    hum = effect(Left.HUM, detail="hum of the mains, 50 Hz", low_hz=50.0, high_hz=300.0)
    assert words(hum) == (
        "hum of the mains, 50 Hz, at 0:10-0:20: notches take it out (calltag rescue). Its sound: "
        "50 Hz to 300 Hz"
    )


def test_the_sound_of_a_noise_is_told_from_its_lowest_to_its_highest_with_its_usual_detail():
    heard = [
        effect(Left.LOST, start_s=10, end_s=20, low_hz=0.0, high_hz=900.0, detail="a beat"),
        effect(Left.LOST, start_s=30, end_s=40, low_hz=200.0, high_hz=4000.0, detail="a buzz"),
        effect(Left.LOST, start_s=50, end_s=60, low_hz=200.0, high_hz=900.0, detail="a buzz"),
    ]
    heard += [effect(Left.LOST, start_s=70 + n, end_s=70.5 + n, low_hz=200.0) for n in range(3)]
    assert words(*heard).endswith(". Its sound: 1 Hz to 4 kHz, a buzz")
    bare = effect(Left.LOST, low_hz=500.0, high_hz=500.0)
    assert words(bare) == "machine at 0:10-0:20: no call stands above it"


def test_stretches_that_nearly_meet_are_one():
    near = [
        effect(Left.LOST, start_s=10, end_s=20),
        effect(Left.LOST, start_s=20.9, end_s=30),
    ]
    assert words(*near).startswith("machine at 0:10-0:30: ")
    far = [effect(Left.LOST, start_s=10, end_s=20), effect(Left.LOST, start_s=21.5, end_s=30)]
    assert words(*far).startswith("machine at 0:10-0:20 and 0:21-0:30: ")


def test_the_worst_comes_first_and_of_one_kind_in_order_of_time():
    heard = [
        effect(Left.HUM, detail="hum", kind="machine"),
        effect(Left.LOST, kind="wind"),
        effect(Left.LOST, kind="machine", start_s=40, end_s=50),
        effect(Left.LOST, kind="machine"),
    ]
    said = noise_reasons(heard, LENGTH_S)
    assert [reason.split(" ")[0] for reason in said] == ["machine", "wind", "hum,"]
    assert "at 0:10-0:20 and 0:40-0:50" in said[0]


def test_cuts_of_several_stretches_are_told_from_the_lowest_to_the_highest():
    heard = [
        effect(Left.RUMBLE, band=Band(low_hz=low_hz), start_s=start_s, end_s=start_s + 5)
        for low_hz, start_s in ((400.0, 10), (250.0, 30), (315.0, 50))
    ]
    assert "a low cut at 250 Hz to 400 Hz takes it out" in words(*heard)


def log_of(*heard: NoiseSpan) -> TakeLog:
    take = Take(path="A001.mov", rushes="/r", digest="0", size_bytes=1, duration_s=LENGTH_S)
    return TakeLog(take=take, noise=heard)


def test_of_calls_in_water_those_that_drown_are_counted():
    water, more = noise("water", 10.0, 16.0), noise("water", 15.0, 20.0)
    weir = noise("water/weir", 40.0, 50.0)
    calls = [
        call(8.5, snr_db=1.0),  # over before it begins
        call(9.5, snr_db=1.0),
        call(14.0, snr_db=5.9),
        call(15.0, snr_db=6.1),
        call(20.5, snr_db=1.0),  # begins when it is over
        call(45.0, snr_db=30.0),
        call(46.0, snr_db=30.0),
    ]
    assert buried_in_nature(log_of(water, more, weir, noise("wind")), calls, LIMITS) == [
        "water at 0:10-0:20 and 0:40-0:50: natural sound, but 2 of 5 calls drown in it"
    ]
    assert buried_in_nature(log_of(water), [calls[0], calls[4]], LIMITS) == []
    assert buried_in_nature(log_of(noise("wind")), calls, LIMITS) == []


def test_each_natural_kind_that_calls_drown_in_is_told_of(monkeypatch):
    monkeypatch.setattr("calltag.takes.reasons.NATURAL", ("water", "wind"))
    heard = log_of(noise("wind", 40.0, 50.0), noise("water", 10.0, 16.0), noise("machine"))
    assert buried_in_nature(heard, [call(14.0, snr_db=1.0), call(45.0, snr_db=1.0)], LIMITS) == [
        "water at 0:10-0:16: natural sound, but the one call there drowns in it",
        "wind at 0:40-0:50: natural sound, but the one call there drowns in it",
    ]


def levels(loudness_lufs: float, **changes) -> Levels:
    values = {"peak_dbfs": -20.0, "clipped": 0, "loudness_lufs": loudness_lufs}
    return Levels(**({"floor_dbfs": -80.0} | values | changes))


def test_a_take_that_was_recorded_low_is_told():
    """Below -60 LUFS; of one below -75 there is no sound to speak of, which others tell."""
    low = "recorded low (-61 LUFS): lifting it lifts the hiss too"
    assert level_reasons(levels(-61.0), LIMITS) == [low]
    assert level_reasons(levels(-61.0, faults=("channel 2 is dead",)), LIMITS) == [
        "channel 2 is dead",
        low,
    ]
    assert len(level_reasons(levels(-74.5), LIMITS)) == 1
    for told_elsewhere in (-59.5, -75.5, -math.inf):
        assert level_reasons(levels(told_elsewhere), LIMITS) == []
    assert level_reasons(None, LIMITS) == []


def test_a_take_above_full_scale_is_told_unless_it_is_clipped():
    over = levels(-30.0, peak_dbfs=0.6)
    assert level_reasons(over, LIMITS) == [
        "goes 0.6 dB above full scale and is not clipped: turn it down in the edit"
    ]
    assert level_reasons(levels(-30.0, peak_dbfs=0.4), LIMITS) == []
    assert level_reasons(levels(-30.0, peak_dbfs=0.6, clipped=1), LIMITS) == []


def test_the_clearest_call_is_one_whose_level_is_known():
    silent = call(3.0, snr_db=math.inf)
    calls = [silent, call(5.0, snr_db=12.0), call(7.0, snr_db=9.0)]
    told = clean_reason(calls, nearly=True, not_counted=["wind"])
    assert told == (
        "nearly all natural sound, but for wind too faint, brief or unsure to count; 3 calls, the "
        "clearest 12 dB above the background"
    )
    alone = clean_reason([silent], nearly=False, not_counted=[])
    assert alone == ("natural sound throughout; 1 call, the clearest 0 dB above the background")
    none = clean_reason([], nearly=False, not_counted=[])
    assert none == "natural sound throughout; no call found"


# In brief


def test_in_brief_a_noise_has_its_place_and_whether_a_rescue_helps() -> None:
    helped = effect(Left.ABOVE, calls=[ONE, TWO], standing=[ONE, TWO])
    lost = effect(Left.LOST, calls=[ONE], kind="voice")
    assert in_brief([words(helped)]) == "machine at 0:10-0:20 (rescue)"
    assert in_brief([words(lost)]) == "voice at 0:10-0:20"
    assert in_brief([words(helped), words(lost)]) == (
        "machine at 0:10-0:20 (rescue); voice at 0:10-0:20"
    )
    assert [words(one).is_helped for one in (lost, helped)] == [False, True]


@pytest.mark.parametrize("left", Left)
def test_a_reason_is_helped_where_it_names_the_rescue(left) -> None:
    reason = words(effect(left, calls=[ONE, TWO], standing=[ONE]))
    assert reason.is_helped == ("calltag rescue" in reason)


@pytest.mark.parametrize("given", ["trimmer: far", "saw; near"])
def test_in_brief_a_noise_keeps_the_name_that_the_user_gave_it(given) -> None:
    reason = words(effect(Left.LOST, calls=[ONE], kind=f"machine/{given}"))
    assert reason.startswith(f"machine, {given}, at 0:10-0:20: ")
    assert in_brief([reason]) == f"machine, {given}, at 0:10-0:20"


def test_a_reason_is_the_same_after_a_journey() -> None:
    reason = words(effect(Left.HUM, detail="50 Hz hum"))
    back = pickle.loads(pickle.dumps(reason))
    assert (back, back.brief, back.is_helped) == (reason, reason.brief, reason.is_helped)


@pytest.mark.parametrize(
    ("calls", "nearly", "told"),
    [
        ([], False, "no call found"),
        ([], True, "nearly all natural sound; no call found"),
        ([ONE, TWO], False, "the clearest call 20 dB above the background"),
        ([ONE], True, "nearly all natural sound; the clearest call 20 dB above the background"),
    ],
)
def test_in_brief_a_clean_take_has_its_clearest_call(calls, nearly, told) -> None:
    assert in_brief([clean_reason(calls, nearly=nearly, not_counted=())]) == told
