"""What each noise of a take does to the sound under it, by the figures of `thresholds.toml`."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.records.found import HUM
from calltag.takes.filter_cuts import UNCUT, Band
from calltag.takes.masking import Left, effects, not_counted, stands
from calltag.takes.thresholds import read_thresholds

from .conftest import engine, noise, take_log, whistle

LIMITS = read_thresholds()


def effects_of(calls, noises, **log):
    return effects(take_log(calls, noises, **log), calls, LIMITS)


def spans_of(noises, **log):
    """Where noise is held against a take without calls."""
    return [tuple(one.noise.span) for one in effects_of([], noises, **log)]


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "snr_db", "usable"),
    [
        (2751.0, 4000.0, 6.0, True),  # above 1.1 times 2.5 kHz: a filter parts the two
        (2751.0, 4000.0, 5.9, False),
        (2749.0, 4000.0, 11.9, False),  # a filter does not: it has to drown the noise
        (2749.0, 4000.0, 12.0, True),
        (400.0, 909.0, 6.0, True),  # below a 1.1th of 1 kHz
        (400.0, 909.0, 5.9, False),
        (400.0, 910.0, 11.9, False),
        (400.0, 910.0, 12.0, True),
    ],
)
def test_a_call_stands_above_a_noise_by_its_own_band(low_hz, high_hz, snr_db, usable):
    one = whistle(5, low_hz=low_hz, high_hz=high_hz, snr_db=snr_db)
    assert stands(one, noise("machine", 0, 60, 1000.0, 2500.0), LIMITS) == usable


CLEAR, DROWNED = whistle(5), whistle(7, snr_db=5.9)
LOUD, FAINT = (whistle(5, low_hz=500.0, high_hz=900.0, snr_db=snr) for snr in (12.0, 11.9))
HOOT = whistle(5, low_hz=500.0, high_hz=900.0, snr_db=6.0)
BOOM = whistle(5, low_hz=120.0, high_hz=180.0)
ELSEWHERE = whistle(50, low_hz=2000.0)


@pytest.mark.parametrize(
    ("kind", "band", "calls", "left"),
    [
        ("machine", (100, 1000), [CLEAR], Left.ABOVE),
        ("machine", (100, 1000), [DROWNED], Left.LOST),
        ("machine", (100, 1000), [LOUD], Left.OVER),
        ("machine", (100, 1000), [FAINT], Left.LOST),
        ("machine", (1000, 9000), [HOOT], Left.BELOW),
        ("machine", (1000, 9000), [HOOT, LOUD], Left.BELOW),
        ("machine", (1000, 9000), [HOOT, whistle(9)], Left.OVER),  # a high cut would take the other
        ("machine", (100, 1000), [], Left.LOST),
        ("machine", (100, 1000), [ELSEWHERE], Left.ABOVE),
        ("machine", (100, 1001), [ELSEWHERE], Left.LOST),
        ("handling", (100, 1000), [ELSEWHERE], Left.LOST),
        ("voice", (100, 1000), [CLEAR], Left.LOST),
        ("wind", (20, 400), [], Left.RUMBLE),
        ("wind", (20, 401), [], Left.LOST),
        ("wind", (20, 400), [CLEAR], Left.RUMBLE),
        ("wind", (20, 400), [BOOM], Left.OVER),
    ],
)
def test_what_a_noise_leaves(kind, band, calls, left):
    (effect,) = effects_of(calls, [noise(kind, 0, 20, *map(float, band))])
    assert effect.left == left
    assert effect.calls == tuple(call for call in calls if call.start_s < 20)


@pytest.mark.parametrize(("n_clear", "left"), [(3, Left.ABOVE), (2, Left.LOST)])
def test_calls_speak_for_a_band_if_three_in_ten_stand_above_the_noise(n_clear, left):
    # too close above the noise to show that its band is free elsewhere
    snrs_db = [20.0] * n_clear + [3.0] * (10 - n_clear)
    calls = [whistle(5 + i, low_hz=1500.0, snr_db=snr) for i, snr in enumerate(snrs_db)]
    (effect,) = effects_of(calls, [engine()])
    assert effect.left == left
    assert effect.standing == tuple(calls[:n_clear])


def test_hum_goes_by_notches_and_every_call_stands():
    hum = noise("machine", 0, 60, 50.0, 9000.0, detail=f"{HUM} at 50 Hz")
    (effect,) = effects_of([DROWNED, LOUD], [hum])
    assert (effect.left, effect.band) == (Left.HUM, UNCUT)
    assert effect.standing == effect.kept == (DROWNED, LOUD)


def test_a_call_counts_as_under_a_noise_that_it_overlaps_and_not_beside_one():
    calls = [whistle(t) for t in (9.0, 9.1, 20.9, 21.0)]  # of a second each
    wind = noise("wind", 10.0, 21.0, 20.0, 1000.0)
    (effect,) = effects_of(calls, [wind])
    assert effect.calls == tuple(calls[1:3])


@pytest.mark.parametrize(
    ("changes", "counts"),
    [
        ({"confidence": 0.5}, True),
        ({"confidence": 0.49}, False),
        ({"confidence": 0.65, "end_s": 11.4}, True),
        ({"confidence": 0.64, "end_s": 11.4}, False),
        ({"confidence": 0.64, "end_s": 11.5}, True),
        ({"level_dbfs": -56.0}, True),  # 6 dB below the take's quietest tenth
        ({"level_dbfs": -56.1}, False),
        ({"kind": "water"}, False),
        ({"kind": "water/rain"}, False),
    ],
)
def test_what_counts_is_sure_and_heard_and_not_natural(changes, counts):
    one = replace(noise("wind", 10.0, 20.0, 20.0, 1000.0), **changes)
    log = take_log([], [one])
    assert bool(effects(log, [], LIMITS)) == counts
    natural = one.kind.startswith("water")
    assert not_counted(log, LIMITS) == ([] if counts or natural else ["wind"])


def test_what_is_below_minus_68_dbfs_is_not_heard_in_the_quietest_take():
    faint = [noise("wind", 0, 60, 20.0, 1000.0, level_dbfs=level) for level in (-68.0, -68.1)]
    told = [bool(effects_of([], [one], floor_dbfs=-90.0)) for one in faint]
    assert told == [True, False]


def test_kinds_that_do_not_count_are_told_once_and_in_their_order():
    unsure = {"confidence": 0.1}
    noises = [
        noise("wind", 0, 9, 20.0, 1000.0, **unsure),
        noise("machine/pump", 0, 9, 20.0, 1000.0, **unsure),
        noise("wind", 20, 29, 20.0, 1000.0, **unsure),
        noise("voice", 0, 9, 200.0, 3000.0, **unsure),
        noise("voice", 20, 29, 200.0, 3000.0),  # this one counts
    ]
    assert not_counted(take_log([], noises), LIMITS) == ["machine", "wind"]


@pytest.mark.parametrize(
    ("heard", "floor_dbfs", "told"),
    [
        # a gap of four seconds is the machine's; a longer one is, where it was never quiet
        ([(5, 20), (24, 40)], -50, [(5, 20), (20, 24), (24, 40)]),
        ([(5, 20), (24.1, 40)], -50, [(5, 20), (24.1, 40)]),
        ([(2, 20), (23, 58)], -50, [(2, 20), (20, 23), (23, 58)]),  # nor at the take's ends
        ([(5, 20), (30, 51)], -31, [(0, 5), (5, 20), (20, 30), (30, 51), (51, 60)]),
        ([(5, 20), (30, 51)], -31.1, [(5, 20), (30, 51)]),
        ([(5, 20), (30, 50.9)], -31, [(5, 20), (30, 50.9)]),  # of the take, less than six tenths
        # what lies between two that nearly meet, or up to the take's end, has no verdict of its own
        ([(0.8, 20), (20.9, 59.5)], -31, [(0, 20), (20.9, 60)]),
    ],
)
def test_a_machine_runs_on_where_it_was_not_noticed(heard, floor_dbfs, told):
    """Its level is -25 dBFS; a take's quietest tenth within 6 dB of that has no moment without."""
    noises = [engine(float(a), float(b)) for a, b in heard]
    assert spans_of(noises, floor_dbfs=float(floor_dbfs)) == [(float(a), float(b)) for a, b in told]


def test_what_runs_on_is_like_the_longest_of_it_and_as_unsure_as_may_be():
    brief, long = noise("machine", 0, 6, 50.0, 700.0), noise("machine/pump", 9, 40, 100.0, 900.0)
    (_, gap, _) = effects_of([], [brief, long])
    assert gap.noise == replace(long, start_s=6.0, end_s=9.0, confidence=LIMITS.least_confidence)


@pytest.mark.parametrize("kind", ["wind", "voice", "handling"])
def test_what_is_no_machine_stops_where_it_was_heard_last(kind):
    noises = [noise(kind, *span, 20.0, 1000.0) for span in ((5.0, 20.0), (22.0, 59.5))]
    assert spans_of(noises, floor_dbfs=-25.0) == [(5.0, 20.0), (22.0, 59.5)]


@pytest.mark.parametrize(("gap_s", "alike"), [(0.6, True), (0.61, False)])
def test_noises_that_meet_get_the_higher_of_their_low_cuts(gap_s, alike):
    """0.3 s on each side are kept clear of a noise."""
    winds = [noise("wind", 0, 20, 20.0, 200.0), noise("wind", 20 + gap_s, 40, 20.0, 400.0)]
    lower, higher = effects_of([], winds)
    assert higher.band == Band(low_hz=pytest.approx(440.0))
    assert lower.band == (higher.band if alike else Band(low_hz=pytest.approx(220.0)))


def test_a_high_cut_beside_calls_above_a_noise_would_take_those():
    """The whine gets none then: the call below it stands above it, and is kept with the noise."""
    wind, whine = noise("wind", 0, 30, 20.0, 500.0), noise("machine", 30, 60, 2500.0, 8000.0)
    hoots = [whistle(t, low_hz=850.0, high_hz=1600.0) for t in (5.0, 40.0)]
    assert [one.left for one in effects_of(hoots[1:], [whine])] == [Left.BELOW]
    first, then = effects_of(hoots, [wind, whine])
    # half-way between 550 and 680 Hz
    assert (first.left, first.band, first.kept) == (Left.ABOVE, Band(low_hz=630.0), (hoots[0],))
    assert (then.left, then.band, then.kept) == (Left.OVER, UNCUT, (hoots[1],))


def test_a_high_cut_is_of_no_use_where_the_low_cut_beside_it_takes_the_call():
    wind, whine = noise("wind", 0, 30, 20.0, 400.0), noise("machine", 30, 60, 2500.0, 8000.0)
    boom = whistle(40, low_hz=120.0, high_hz=180.0)
    first, then = effects_of([boom], [wind, whine])
    assert (first.left, first.band.low_hz) == (Left.RUMBLE, pytest.approx(440.0))
    assert (then.left, then.band, then.kept) == (Left.OVER, UNCUT, (boom,))


@pytest.mark.parametrize(
    ("top_hz", "lowest_hz", "cut_hz"),
    [
        # between 1.1 and 0.8 times, half-way in octaves is 1483 Hz, and 1.6 kHz a step of the dial
        (1000.0, 2500.0, 1600.0),
        (1000.0, 9000.0, 2000.0),  # half-way would be 2814 Hz, more than twice the noise's top
        (1120.0, 9000.0, 2500.0),  # twice is 2240 Hz, a little nearer to this than to 2 kHz
        (1000.0, 1380.0, math.sqrt(1100 * 1104)),  # no step of the dial lies between
    ],
)
def test_a_low_cut_lies_half_way_between_a_noise_and_the_lowest_call(top_hz, lowest_hz, cut_hz):
    low = noise("machine", 0, 60, 100.0, top_hz)
    (effect,) = effects_of([whistle(5, low_hz=lowest_hz, high_hz=9500.0)], [low])
    assert effect.band == Band(low_hz=pytest.approx(cut_hz))


call_bands = st.lists(
    st.tuples(st.floats(1.11, 8.0), st.floats(1.1, 2.0)), min_size=1, max_size=4
)  # edge nearest to the noise and width, in parts of the noise's edge and of that


def is_preferred(hz):
    """Whether it is a number of ISO 3's R10: 1.6 is the furthest from its power of ten, by 1 %."""
    step = 10 * math.log10(hz)
    return abs(round(step) - step) < 10 * math.log10(1.011)


@given(st.floats(450, 3000), call_bands)
def test_a_low_cut_leaves_calls_whole_and_takes_what_lies_below(top_hz, bands):
    calls = [
        whistle(5, low_hz=top_hz * away, high_hz=top_hz * away * width) for away, width in bands
    ]
    (effect,) = effects(
        take_log(calls, [noise("wind", 0, 60, 50.0, top_hz)]), calls, read_thresholds()
    )
    cut_hz, _ = effect.band
    lowest_hz = min(call.low_hz for call in calls)
    assert effect.left == Left.ABOVE
    assert effect.kept == tuple(calls)
    assert top_hz <= cut_hz <= lowest_hz
    # an octave, and half of the dial's widest step, from 3.15 to 4 kHz
    assert cut_hz <= 2.26 * top_hz, "further, it would take natural sound"
    if 0.8 * lowest_hz > 1.35 * 1.1 * top_hz:  # room for a step of R10, which is 26 %
        assert cut_hz <= 0.8 * lowest_hz
        assert is_preferred(cut_hz)


@given(st.floats(3000, 8000), call_bands)
def test_a_high_cut_leaves_calls_whole_and_takes_what_lies_above(bottom_hz, bands):
    calls = [
        whistle(5, high_hz=bottom_hz / away, low_hz=bottom_hz / away / width)
        for away, width in bands
    ]
    whine = noise("machine", 0, 60, bottom_hz, 16_000.0)
    (effect,) = effects(take_log(calls, [whine]), calls, read_thresholds())
    _, cut_hz = effect.band
    highest_hz = max(call.high_hz for call in calls)
    assert effect.left == Left.BELOW
    assert effect.kept == tuple(calls)
    assert highest_hz <= cut_hz <= bottom_hz
    assert cut_hz >= bottom_hz / 2.26  # as a low cut, the other way round
    if highest_hz / 0.8 * 1.35 < bottom_hz / 1.1:
        assert cut_hz >= highest_hz / 0.8
        assert is_preferred(cut_hz)


@pytest.mark.parametrize(
    ("band", "call_band", "cut"),
    [
        ((2000.0, 8000.0), (900.0, 1500.0), Band(high_hz=1500 / 0.8)),
        ((2000.0, 8000.0), (900.0, 1750.0), Band(high_hz=2000.0)),
        ((50.0, 1000.0), (1333.0, 2000.0), Band(low_hz=0.8 * 1333)),
        ((50.0, 1000.0), (1143.0, 2000.0), Band(low_hz=1000.0)),
    ],
)
def test_a_cut_close_to_a_call_is_as_far_from_it_as_takes_the_noise(band, call_band, cut):
    near = whistle(5, low_hz=call_band[0], high_hz=call_band[1])
    (effect,) = effects(
        take_log([near], [noise("machine", 0, 60, *band)]), [near], read_thresholds()
    )
    assert effect.band == pytest.approx(cut)
