"""Noise spans: the seconds in which a kind is heard, its band and level."""

from __future__ import annotations

import itertools
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calltag.learn.noise.meter import PASSING, NoiseMeter
from calltag.records.found import Call
from calltag.records.label import NOISE_KINDS
from calltag.records.span import Span
from calltag.sound.beats.engine import Beat, Engine
from calltag.sound.beats.hum import Hum
from calltag.sound.spectrum import N_MELS, RATE_HZ, mel_power, power_spectrum

STEPS_PER_S = 50
QUIET = np.full(N_MELS, 1e-9, np.float32)


def odds(seconds, **spans):
    """Log-odds of the kinds over so many seconds: 5 within a kind's spans, -5 elsewhere."""
    out = np.full((round(seconds * STEPS_PER_S), len(NOISE_KINDS)), -5, np.float32)
    for kind, times in spans.items():
        for start_s, end_s in times:
            out[round(start_s * STEPS_PER_S) : round(end_s * STEPS_PER_S),
                NOISE_KINDS.index(kind)] = 5  # fmt: skip
    return out


def mel(seconds, spectrum=QUIET):
    return np.repeat(spectrum[None], round(seconds * 100), axis=0)


def no_call(kinds):
    return np.full(len(kinds), -9, np.float32)


def metered(mels, kinds, cuts_s=(), call=None):
    """Spans of what a meter was given in pieces."""
    meter = NoiseMeter()
    call = no_call(kinds) if call is None else call
    edges = [0, *cuts_s, len(mels) / 100]
    for start_s, end_s in itertools.pairwise(edges):
        meter.add(
            mels[round(100 * start_s) : round(100 * end_s)],
            kinds[round(50 * start_s) : round(50 * end_s)],
            call[round(50 * start_s) : round(50 * end_s)],
        )
    return meter.spans()


def test_spans_are_where_a_kind_is_heard():
    found = metered(mel(30), odds(30, wind=[(3, 8), (20, 30)], machine=[(5, 12)]))
    assert [span.kind for span in found] == ["wind", "machine", "wind"]
    for span, (start_s, end_s) in zip(found, [(3, 8), (5, 12), (20, 30)], strict=True):
        assert span.start_s == pytest.approx(start_s, abs=0.25)
        assert span.end_s == pytest.approx(end_s, abs=0.25)
        assert 0.9 < span.confidence <= 1


def test_what_lasts_less_than_half_a_second_is_no_noise():
    assert metered(mel(10), odds(10, voice=[(5, 5.3)])) == []


def test_gaps_of_less_than_a_second_are_closed():
    (span,) = metered(mel(12), odds(12, water=[(2, 5), (5.6, 9)]))
    assert (span.start_s, span.end_s) == pytest.approx((2, 9), abs=0.25)
    assert len(metered(mel(12), odds(12, water=[(2, 5), (7, 9)]))) == 2


def test_what_swells_slowly_and_is_nothing_else_may_be_a_machine():
    """Low bands that rise by 15 dB within 15 s, and sink again: a doubt, that says why."""
    rise = 10 ** (1.5 * np.exp(-(((np.arange(6000) / 100 - 30) / 9) ** 2)))
    sound = mel(60)
    sound[:, :20] *= rise[:, None].astype(np.float32)
    (span,) = metered(sound, odds(60))
    assert (span.kind, span.detail) == ("machine", PASSING)
    assert span.confidence == pytest.approx(0.55, abs=0.01)
    assert span.start_s == pytest.approx(20.6, abs=1.5)
    assert span.end_s == pytest.approx(39.4, abs=1.5)
    for kind in ("water", "wind", "voice"):
        assert {one.kind for one in metered(sound, odds(60, **{kind: [(0, 60)]}))} == {kind}
    cooing = np.where(np.arange(3000) % 150 < 75, 3.0, -9.0).astype(np.float32)
    assert metered(sound, odds(60), call=cooing) == [], "doves in series"
    heard = metered(sound, odds(60, machine=[(20, 40)]))
    assert max(span.confidence for span in heard) > 0.9, "what is heard is not made less sure"


def test_spans_of_one_kind_do_not_touch_and_lie_in_the_take():
    rng = np.random.default_rng(0)
    kinds = np.repeat(rng.normal(0, 3, (300, len(NOISE_KINDS))), 10, axis=0).astype(np.float32)
    found = metered(mel(60), kinds)
    assert len(found) > 10
    assert [span.start_s for span in found] == sorted(span.start_s for span in found)
    for kind in NOISE_KINDS:
        mine = [span for span in found if span.kind == kind]
        assert all(a.end_s < b.start_s for a, b in itertools.pairwise(mine))
        assert all(0 <= span.start_s < span.end_s <= 60 for span in mine)


@settings(deadline=None, max_examples=30)
@given(st.lists(st.integers(1, 299), unique=True, max_size=6))
def test_pieces_of_whole_tenths_give_the_spans_of_the_whole(cuts):
    rng = np.random.default_rng(1)
    kinds = np.repeat(rng.normal(0, 3, (60, len(NOISE_KINDS))), 25, axis=0).astype(np.float32)
    mels = rng.exponential(1e-6, (3000, N_MELS)).astype(np.float32)
    assert metered(mels, kinds, [cut / 10 for cut in sorted(cuts)]) == metered(mels, kinds)


@pytest.mark.parametrize("seconds", [0.0, 0.01, 0.05, 0.09])
def test_too_short_to_tell(seconds):
    assert metered(mel(seconds), odds(seconds, wind=[(0, 1)])) == []


@pytest.mark.parametrize("seconds", [0.1, 0.3, 0.55])
def test_a_take_of_less_than_a_second_is_judged_as_a_whole(seconds):
    (span,) = metered(mel(seconds), odds(seconds, wind=[(0, 1)]))
    assert span.kind == "wind"
    assert span.start_s == 0
    assert span.end_s == pytest.approx(seconds, abs=0.1)


def test_nothing_added():
    assert NoiseMeter().spans() == []


# --- band and level -------------------------------------------------------------------------------


def test_level_and_band_of_a_hum():
    # A tone of amplitude 0.1 at 150 Hz: RMS -23.0 dBFS, in the bands around it.
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    power = power_spectrum((0.1 * np.sin(2 * np.pi * 150 * t)).astype(np.float32))
    (span,) = metered(mel_power(power)[:400], odds(4, machine=[(0, 4)]))
    assert span.level_dbfs == pytest.approx(-23.0, abs=0.2)
    assert span.low_hz < 150 < span.high_hz
    assert span.high_hz - span.low_hz < 200


def test_level_and_band_of_noise():
    # White noise of RMS 0.05 up to 24 kHz: 16 kHz of it lie in the bands, 90 % of those count.
    rng = np.random.default_rng(2)
    power = power_spectrum(rng.normal(0, 0.05, 4 * RATE_HZ).astype(np.float32))
    (span,) = metered(mel_power(power)[:400], odds(4, water=[(0, 4)]))
    expected = 20 * np.log10(0.05) + 10 * np.log10(0.9 * 15_950 / 24_000)
    assert span.level_dbfs == pytest.approx(expected, abs=0.5)
    assert 500 < span.low_hz < 1500
    assert 13_500 < span.high_hz <= 16_000


def test_a_short_loud_sound_does_not_make_the_level():
    spectrum = np.full(N_MELS, 1e-6, np.float32)
    mels = mel(10, spectrum)
    mels[300:400] *= 10_000  # a call over the noise
    (span,) = metered(mels, odds(10, wind=[(0, 10)]))
    (without,) = metered(mel(10, spectrum), odds(10, wind=[(0, 10)]))
    assert span.level_dbfs == pytest.approx(without.level_dbfs, abs=0.1)


def test_noise_heard_in_digital_silence_has_a_band_all_the_same():
    (span,) = metered(mel(3, np.zeros(N_MELS, np.float32)), odds(3, handling=[(0, 3)]))
    assert 0 < span.low_hz < span.high_hz <= 16_000.1
    assert span.level_dbfs < -90


# --- knocks, gusts, beats and hum -----------------------------------------------------------------


def knocking(seconds, at_s):
    """Quiet with knocks: the lowest bands leap by 40 dB and are back within a fifth of a second."""
    mels = mel(seconds)
    for at in at_s:
        first = round(100 * at)
        for i in range(20):
            mels[first + i, :4] *= 10 ** (4 * (1 - i / 20))
    return mels


def test_a_knock_that_the_model_half_hears_is_handling():
    kinds = odds(12)
    kinds[:, NOISE_KINDS.index("machine")] = kinds[:, NOISE_KINDS.index("voice")] = -7
    kinds[3 * 50 : 3 * 50 + 10, NOISE_KINDS.index("handling")] = 1.0  # a fifth of a second
    (span,) = metered(knocking(12, [3.0]), kinds)
    assert span.kind == "handling"
    assert span.start_s <= 3.0 <= span.end_s
    assert span.end_s - span.start_s <= 1
    assert span.level_dbfs > -70  # of the knock, not of the quiet around it
    # the model sure of the contrary, or of a voice, or no leap of the lowest bands: none
    sure = kinds.copy()
    sure[:, NOISE_KINDS.index("handling")] = -5
    assert metered(knocking(12, [3.0]), sure) == []
    spoken = kinds.copy()
    spoken[:, NOISE_KINDS.index("voice")] = -0.5
    assert metered(knocking(12, [3.0]), spoken) == []
    assert metered(mel(12), kinds) == []


def test_a_gust_that_the_model_half_hears_is_wind():
    fall = (10 ** (-0.25 * np.minimum(np.arange(N_MELS), 20))).astype(np.float32)
    mels = mel(20)
    mels[800:1100] = 1e-4 * fall + 1e-9
    kinds = odds(20)
    kinds[:, NOISE_KINDS.index("wind")] = -4.0
    (span,) = metered(mels, kinds)
    assert span.kind == "wind"
    assert (span.start_s, span.end_s) == pytest.approx((8, 11), abs=0.5)
    engine = kinds.copy()
    engine[:, NOISE_KINDS.index("machine")] = -0.5
    assert metered(mels, engine) == []


def boom(
    start_s: float,
    end_s: float,
    probability: float = 0.99,
    high_hz: float = 200.0,
    low_hz: float = 90.0,
) -> Call:
    return Call(
        start_s=start_s,
        end_s=end_s,
        low_hz=low_hz,
        high_hz=high_hz,
        peak_hz=120.0,
        snr_db=20.0,
        level_dbfs=-40.0,
        call_probability=probability,
    )


def test_wind_that_is_nothing_but_low_calls_is_none() -> None:
    """Three hoots of 110 Hz in a still morning were told as wind on the microphone."""
    low = np.full(N_MELS, 1e-9, np.float32)
    low[:8] = 1e-5
    kinds = odds(20, wind=[(5.0, 8.5), (12, 18)])
    meter = NoiseMeter()
    meter.add(mel(20, low), kinds, no_call(kinds))

    def wind(*calls: Call) -> list[int]:
        return [round(span.start_s) for span in meter.spans(calls)]

    series = boom(5.3, 6.0), boom(6.6, 7.2), boom(7.9, 8.4)
    assert wind() == [5, 12]
    assert wind(*series) == [12]
    assert wind(*series, boom(13, 14)) == [12], "it blows after that one, too"
    assert wind(*series[:2]) == [5, 12]
    assert wind(*series[1:]) == [5, 12]
    assert wind(series[0], series[2]) == [5, 12], "in between it is no call"
    assert wind(*series[:2], boom(7.9, 8.4, probability=0.6)) == [5, 12], "which may be a gust"
    assert wind(*series[:2], boom(7.9, 8.4, high_hz=4000.0)) == [5, 12], "which is no low one"
    gust = boom(4.9, 8.6, low_hz=47.0, high_hz=281.0)  # such are taken for sure calls at times
    assert wind(gust) == [5, 12], "wind reaches down to the lowest that is heard, hoots do not"


def beat(rate_hz):
    engine = Engine(rate_hz=rate_hz, slowest_hz=rate_hz, fastest_hz=rate_hz, strength_db=9, share=1)
    return Beat(evidence=4.0, lines=4.0, throb=0.0, least_lines=4.0, engine=engine)


def test_a_machine_bears_its_beat():
    meter = NoiseMeter()
    kinds = odds(60, machine=[(5, 15), (18, 25), (45, 55)], wind=[(5, 15)])
    meter.add(mel(60), kinds, no_call(kinds))
    meter.add_beat(8.0, beat(92.0))
    meter.add_beat(12.0, beat(60.0))
    details = {(round(span.start_s), span.kind): span.detail for span in meter.spans()}
    assert details[5, "machine"] == (
        "beat of 60 to 92 Hz (3600 to 5500 rpm if a one-cylinder two-stroke)"
    )
    # it stopped for a moment only; half a minute later it may be another
    assert details[18, "machine"].startswith("beat of 60 Hz")
    assert details[45, "machine"] == ""
    assert details[5, "wind"] == ""
    sure = {round(s.start_s): s.confidence for s in meter.spans() if s.kind == "machine"}
    assert sure[45] < sure[5] < 1  # what beats is more certainly a machine


def hum(level_dbfs):
    return Hum(mains_hz=50, base_hz=50.02, lines=(1, 2, 3), height_db=30, level_dbfs=level_dbfs)


def test_hum_is_a_machine_of_its_own():
    meter = NoiseMeter()
    kinds = odds(20, machine=[(5, 12)])
    meter.add(mel(20), kinds, no_call(kinds))
    meter.add_hum(Span(0, 360), hum(-50.0))
    (span,) = meter.spans()  # what the model took for a machine was the hum
    assert (span.start_s, span.end_s, span.kind) == (0, 20, "machine")
    assert span.detail == "hum of the mains, 50 Hz and 2 of its multiples"
    assert (span.low_hz, span.high_hz) == pytest.approx((50, 150), abs=0.1)
    assert span.level_dbfs == -50


@pytest.mark.parametrize("levels_dbfs", [(-50.0, -45.0), (-45.0, -50.0)])
def test_hum_that_goes_on_is_told_once_as_loud_as_it_gets(levels_dbfs):
    meter = NoiseMeter()
    kinds = odds(20)
    meter.add(mel(20), kinds, no_call(kinds))
    for at_s, level_dbfs in zip((0, 10), levels_dbfs, strict=True):
        meter.add_hum(Span(at_s, at_s + 10), hum(level_dbfs))
    (span,) = meter.spans()
    assert (span.start_s, span.end_s, span.level_dbfs) == (0, 20, -45)


def test_hum_under_a_louder_machine_leaves_it():
    meter = NoiseMeter()
    kinds = odds(20, machine=[(5, 12)])
    meter.add(mel(20, np.full(N_MELS, 1e-3, np.float32)), kinds, no_call(kinds))
    meter.add_hum(Span(0, 360), hum(-50.0))
    assert len(meter.spans()) == 2


def test_hum_that_is_not_heard_is_no_noise():
    meter = NoiseMeter()
    kinds = odds(20)
    meter.add(mel(20), kinds, no_call(kinds))
    meter.add_hum(Span(0, 360), hum(-75.0))
    assert meter.spans() == []


def test_a_kind_may_be_added() -> None:
    """As the guide for developers says; in a process of its own, since kinds are read at import."""
    program = (
        "from calltag.records import label; label.NOISE_KINDS += ('insect',);"
        "from calltag.learn.noise import meter; print(meter._MACHINE, meter._HANDLING)"
    )
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert ran.stdout.split() == ["0", "4"], ran.stderr


def words(*spans_s, probability=0.9, seconds=20):
    """Voices among what a meter found that was told such words."""
    kinds = odds(seconds)
    meter = NoiseMeter()
    meter.add(mel(seconds), kinds, no_call(kinds))
    for start_s, end_s in spans_s:
        meter.add_talk(Span(start_s, end_s), probability)
    return [span for span in meter.spans() if span.kind == "voice"]


def test_words_that_follow_each_other_are_a_voice():
    """Pauses of less than two seconds are within it; no word alone is one, nor a doubtful word."""
    (voice,) = words((3.0, 3.4), (4.5, 5.0), (6.9, 7.2))
    assert (voice.start_s, voice.end_s) == pytest.approx((3.0, 7.2), abs=0.11)
    assert voice.confidence == pytest.approx(0.9, abs=0.01)
    assert words((3.0, 3.9)) == words((3.0, 3.9), (6.0, 6.8)) == []
    assert words((3.0, 3.4), (4.5, 5.0), probability=0.5) == []


def test_words_that_are_sure_are_odds_that_can_be_reckoned_with():
    (voice,) = words((1.0, 2.0), (2.5, 4.0), probability=1.0)
    assert 0.95 < voice.confidence < 1


def test_a_word_that_ends_with_the_take_is_within_it():
    (voice,) = words((17.0, 18.0), (19.0, 20.4))
    assert voice.end_s == 20


def hand(*spans_s: tuple[float, float], probability: float = 0.9) -> list:
    """Handling where a hand is told at such times, in a take of 20 s that has no other noise."""
    kinds = np.full((1000, len(NOISE_KINDS)), -6.0, np.float32)
    meter = NoiseMeter()
    meter.add(mel(20), kinds, no_call(kinds))
    for start_s, end_s in spans_s:
        meter.add_hand(Span(start_s, end_s), probability)
    return [span for span in meter.spans() if span.kind == "handling"]


def test_a_hand_is_handling_where_it_sounds_and_beside() -> None:
    (told,) = hand((3.0, 3.4))
    assert (told.start_s, told.end_s) == pytest.approx((2.8, 3.6), abs=0.11)
    assert told.confidence == pytest.approx(0.9, abs=0.01)
    assert hand((3.0, 3.4), probability=0.5) == []
    assert [span.end_s for span in hand((0.0, 0.4), (19.5, 20.3), probability=1.0)] == [
        pytest.approx(0.6, abs=0.11),
        20,
    ]
