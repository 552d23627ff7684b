"""Features: always finite, one number a name, and the numbers mean what their names say."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calltag.sound.events import measure_region
from calltag.sound.features import (
    BEAT,
    EMBEDDING,
    FEATURE_NAMES,
    MODULATION_EDGES_HZ,
    N_EMBEDDING,
    N_VOICE,
    VOICE,
    Sounding,
    beats,
    event_features,
)
from calltag.sound.modulation import OCTAVES_HZ, RATES_HZ, texture
from calltag.sound.spectrum import FRAMES_PER_S, N_BINS, RATE_HZ, mel_power, power_spectrum

PAD_S = 1.0
NO_SOUND = np.zeros(0, np.float32)
NO_VOICE = np.zeros(N_VOICE, np.float32)


def described(power, region, voice, embedding, sound):
    """Features of an event, of which the spectrum alone is known."""
    (row,) = event_features([Sounding(power, mel_power(power), region, voice, embedding, sound)])
    return row


def describe(sound, *, noise=1e-5, colour=lambda noise: noise, seed=0):
    """Features by name of a sound that lies in a little noise, with a second of it on each side."""
    rng = np.random.default_rng(seed)
    pad = np.zeros(round(PAD_S * RATE_HZ))
    whole = np.concatenate([pad, sound, pad])
    hiss = noise * colour(rng.standard_normal(len(whole)))
    power = power_spectrum((whole + hiss).astype(np.float32))
    first, last = round(PAD_S * FRAMES_PER_S), round((PAD_S + len(sound) / RATE_HZ) * FRAMES_PER_S)
    busy = np.zeros(len(power), bool)
    busy[first - 2 : last + 3] = True
    region = measure_region(power, busy, first, last)
    embedding = np.zeros((max(1, (last - first) // 2), N_EMBEDDING), np.float32)
    row = described(power[first:last], region, NO_VOICE, embedding, NO_SOUND)
    assert row.shape == (len(FEATURE_NAMES),)
    assert row.dtype == np.float32
    assert np.isfinite(row).all()
    return dict(zip(FEATURE_NAMES, row.tolist(), strict=True))


def time(seconds):
    return np.arange(round(seconds * RATE_HZ)) / RATE_HZ


def tone(frequency_hz, seconds=0.5):
    return 0.1 * np.sin(2 * np.pi * frequency_hz * time(seconds))


def sweep(first_hz, last_hz, seconds=0.5):
    """A sweep that rises by the same share of an octave in every moment."""
    t = time(seconds)
    octaves = np.log2(last_hz / first_hz) / seconds
    cycles = first_hz * (2 ** (octaves * t) - 1) / (octaves * np.log(2))
    return 0.1 * np.sin(2 * np.pi * cycles)


def pulsed(sound, per_s, duty=0.5):
    """Switched on and off, with edges soft enough not to click."""
    gate = (time(len(sound) / RATE_HZ) * per_s % 1 < duty).astype(float)
    return sound * np.convolve(gate, np.hanning(960) / np.hanning(960).sum(), "same")


# --- the row --------------------------------------------------------------------------------------


def test_names_are_unique_and_of_every_measurement_there_is_one():
    assert len(set(FEATURE_NAMES)) == len(FEATURE_NAMES)
    for prefix, count in {
        "contrast_db_": 7, "modulation_": len(MODULATION_EDGES_HZ) - 1, "profile_db_": 32,
        "profile_std_db_": 16, "mfcc_mean_": 20, "mfcc_std_": 20, "mfcc_delta_": 20,
        "embedding_mean_": N_EMBEDDING, "embedding_max_": N_EMBEDDING,
        "texture_": len(OCTAVES_HZ) * len(RATES_HZ),
    }.items():  # fmt: skip
        assert sum(name.startswith(prefix) for name in FEATURE_NAMES) == count


@pytest.mark.parametrize("n_frames", [1, 2, 3, 4, 5, 6, 13, 14, 40, 400])
@pytest.mark.parametrize("kind", ["silence", "noise", "tone", "one bin", "first frame only"])
def test_always_finite(n_frames, kind):
    rng = np.random.default_rng(n_frames)
    power = np.zeros((n_frames + 300, N_BINS), np.float32)
    event = slice(150, 150 + n_frames)
    if kind == "noise":
        power = rng.exponential(1e-4, power.shape).astype(np.float32)
    elif kind == "tone":
        power[event, 99:102] = np.float32([0.01, 0.04, 0.01])
    elif kind == "one bin":
        power[event, 500] = 1.0
    elif kind == "first frame only":
        power[150] = rng.exponential(1e-2, N_BINS)
    region = measure_region(power, np.zeros(len(power), bool), event.start, event.stop)
    embedding = rng.standard_normal(((n_frames + 1) // 2, N_EMBEDDING)).astype(np.float32)
    row = described(power[event], region, NO_VOICE, embedding, NO_SOUND)
    assert row.shape == (len(FEATURE_NAMES),)
    assert np.isfinite(row).all()
    assert np.abs(row).max() < 1000


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 2**32 - 1), st.integers(1, 60), st.floats(-9, 1))
def test_always_finite_whatever_is_in_the_spectrum(seed, n_frames, exponent):
    rng = np.random.default_rng(seed)
    power = (10.0**exponent * rng.pareto(0.7, (n_frames + 200, N_BINS))).astype(np.float32)
    region = measure_region(power, rng.random(len(power)) < 0.5, 100, 100 + n_frames)
    embedding = np.zeros((max(1, n_frames // 2), N_EMBEDDING), np.float32)
    row = described(power[100 : 100 + n_frames], region, NO_VOICE, embedding, NO_SOUND)
    assert np.isfinite(row).all()


def test_the_embedding_is_passed_on_as_mean_and_highest():
    power = np.full((20, N_BINS), 1e-4, np.float32)
    region = measure_region(power, np.zeros(20, bool), 0, 20)
    embedding = np.random.default_rng(1).random((10, N_EMBEDDING)).astype(np.float32)
    row = described(power, region, NO_VOICE, embedding, NO_SOUND)
    both = np.concatenate([embedding.mean(axis=0), embedding.max(axis=0)])
    np.testing.assert_allclose(row[EMBEDDING], both)
    assert FEATURE_NAMES[EMBEDDING][0] == "embedding_mean_0"


def test_the_voice_is_passed_on_as_it_is():
    power = np.full((20, N_BINS), 1e-4, np.float32)
    region = measure_region(power, np.zeros(20, bool), 0, 20)
    numbers = np.arange(N_VOICE, dtype=np.float32)
    row = described(power, region, numbers, np.zeros((1, N_EMBEDDING), np.float32), NO_SOUND)
    np.testing.assert_array_equal(row[VOICE], numbers)
    assert FEATURE_NAMES[VOICE] == tuple(f"voice_{i}" for i in range(N_VOICE))


def test_only_long_events_are_asked_whether_they_beat_like_a_machine():
    """A comb of 90 Hz: an engine's lines by the firing rate of a two-stroke at 5400 rpm."""
    noise = np.random.default_rng(4).standard_normal(5 * RATE_HZ).astype(np.float32)
    comb = sum(np.sin(2 * np.pi * 90 * k * time(5)) / k for k in range(1, 12))
    engine = (comb + 0.1 * noise).astype(np.float32)
    assert beats(engine)[0] > 3
    assert max(beats(noise)) < 1.5
    assert beats(engine[: int(1.9 * RATE_HZ)]) == (0.0, 0.0, 0.0)
    rotor = noise * (1 + np.sin(2 * np.pi * 17 * time(5))).astype(np.float32) ** 2
    assert beats(rotor)[1] > 2
    power = power_spectrum(engine)
    region = measure_region(power, np.zeros(len(power), bool), 0, len(power))
    row = described(power, region, NO_VOICE, np.zeros((1, N_EMBEDDING), np.float32), engine)
    assert row[FEATURE_NAMES.index("beat_lines")] == pytest.approx(beats(engine)[0])
    assert row[BEAT] == beats(engine)[2] > 1
    assert row[[FEATURE_NAMES.index(f"texture_1000_hz_{rate:g}_hz") for rate in RATES_HZ]] == (
        pytest.approx(texture(power)[3])
    )


# --- what the numbers mean ------------------------------------------------------------------------


@pytest.mark.parametrize("frequency_hz", [300, 1000, 2750, 6000])
def test_of_a_tone(frequency_hz):
    found = describe(tone(frequency_hz))
    octave = np.log2(frequency_hz)
    assert found["log_duration"] == pytest.approx(-1, abs=0.02)
    for name in ("log_peak_hz", "log_track_median", "log_centroid_mean"):
        assert found[name] == pytest.approx(octave, abs=0.08)
    assert found["log_low_hz"] < octave < found["log_high_hz"]
    assert abs(found["log_track_slope"]) < 0.02
    assert found["log_track_std"] < 0.02
    assert found["flatness_mean"] < 0.3
    if frequency_hz < 4000:
        assert found["log_pitch_median"] == pytest.approx(octave, abs=0.03)
        assert found["pitch_strength"] > 0.9


@pytest.mark.parametrize(("first_hz", "last_hz"), [(1000, 2000), (2000, 1000), (3000, 4500)])
def test_slope_of_a_sweep_in_octaves_over_its_length(first_hz, last_hz):
    found = describe(sweep(first_hz, last_hz))
    octaves = np.log2(last_hz / first_hz)
    assert found["log_track_slope"] == pytest.approx(octaves, abs=0.1 * abs(octaves))
    assert found["log_track_bend"] == pytest.approx(0, abs=0.1)
    # a uniform spread over its octaves
    assert found["log_track_std"] == pytest.approx(abs(octaves) / 12**0.5, rel=0.1)


def test_bend_of_a_hump_is_its_rise_less_its_fall():
    hump = np.concatenate([sweep(2000, 3000, 0.3), sweep(3000, 2000, 0.3)])
    found = describe(hump)
    assert found["log_track_bend"] == pytest.approx(2 * np.log2(1.5), rel=0.15)
    assert abs(found["log_track_slope"]) < 0.05


@pytest.mark.parametrize("per_s", [4, 6, 10, 15, 20])
def test_a_trill_shows_in_the_band_of_its_rate(per_s):
    found = describe(pulsed(tone(4000, 1.0), per_s))
    names = [name for name in FEATURE_NAMES if name.startswith("modulation_")]
    strongest = max(names, key=found.get)
    low_hz, high_hz = map(float, strongest.split("_")[1:3])
    assert low_hz <= per_s < high_hz
    assert found["repetition_strength"] > 0.5
    # the best lag may be twice the period; it is a whole number of them to a frame
    periods = found["repetition_s"] * per_s
    assert periods == pytest.approx(round(periods), abs=0.01 * per_s)
    assert 1 <= round(periods) <= 2


def test_a_steady_sound_does_not_repeat():
    found = describe(tone(3000, 1.0))
    assert found["repetition_strength"] < 0.2
    assert found["level_std_db"] < 3
    assert max(v for k, v in found.items() if k.startswith("modulation_")) < 0.2


@pytest.mark.parametrize("per_s", [3, 5, 8])
def test_onsets_per_second(per_s):
    # onsets are a rise over all bands, as librosa has them: a call of one pitch hardly shows any
    broad = sum(tone(k * 600, 2.0) / k for k in range(1, 20))
    assert describe(pulsed(broad, per_s, duty=0.4))["onsets_per_s"] == pytest.approx(per_s, abs=1)


def test_where_the_level_lies():
    t = time(0.6)
    falling = describe(tone(2000, 0.6) * np.exp(-t / 0.1))
    rising = describe(tone(2000, 0.6) * np.exp((t - 0.6) / 0.1))
    even = describe(tone(2000, 0.6))
    assert falling["attack_share"] < 0.1
    assert rising["attack_share"] > 0.9
    assert falling["level_centre"] < 0.3
    assert rising["level_centre"] > 0.7
    assert even["level_centre"] == pytest.approx(0.5, abs=0.02)
    assert even["level_spread"] == pytest.approx(12**-0.5, abs=0.02)  # of a uniform distribution


def test_noise_is_flat_and_a_stack_is_harmonic():
    rng = np.random.default_rng(3)
    noise = describe(0.05 * rng.standard_normal(RATE_HZ // 2))
    stack = describe(sum(tone(k * 400) / k for k in range(1, 9)))
    assert noise["flatness_mean"] == pytest.approx(np.exp(-np.euler_gamma), abs=0.03)
    assert stack["flatness_mean"] < 0.1
    assert noise["pitch_strength"] < 0.3
    assert stack["pitch_strength"] > 0.7
    assert stack["log_pitch_median"] == pytest.approx(np.log2(400), abs=0.01)
    assert stack["contrast_db_2"] > noise["contrast_db_2"] + 10


def test_the_profile_peaks_in_the_bands_of_the_call():
    low, high = describe(tone(500)), describe(tone(8000))
    names = [f"profile_db_{i}" for i in range(32)]
    assert max(low[n] for n in names) == 0
    at_low, at_high = (max(names, key=found.get) for found in (low, high))
    assert int(at_low.split("_")[-1]) < 8
    assert int(at_high.split("_")[-1]) > 22


def test_features_do_not_depend_on_the_distance():
    # The same call 20 dB fainter, over a background as far below it.
    near = describe(sweep(2000, 3000) * 8, noise=1e-2)
    far = describe(sweep(2000, 3000) * 0.8, noise=1e-3)
    for name in FEATURE_NAMES:
        if not name.startswith(("mfcc_mean_0", "embedding")):
            assert far[name] == pytest.approx(near[name], abs=0.15), name
    assert near["mfcc_mean_0"] - far["mfcc_mean_0"] == pytest.approx(20 * 64**0.5, rel=0.02)


def test_a_background_of_another_colour_leaves_the_excess_alone():
    plain = describe(sweep(2000, 3000))
    for colour in (np.cumsum, lambda noise: np.diff(noise, prepend=0)):
        over_noise = describe(sweep(2000, 3000), noise=1e-4, colour=colour)
        for name in ("log_peak_hz", "log_track_median", "log_track_slope", "level_centre"):
            assert over_noise[name] == pytest.approx(plain[name], abs=0.05)
        for name in ("log_low_hz", "log_high_hz"):
            assert over_noise[name] == pytest.approx(plain[name], abs=0.1)


def test_events_are_described_together_as_each_is_alone(rng):
    power = power_spectrum(rng.normal(0, 1e-3, 12 * RATE_HZ).astype(np.float32))
    mel, busy = mel_power(power), np.zeros(len(power), bool)
    events = []
    for first, last, loudest in ((100, 108, 40), (200, 270, 900), (400, 700, 300), (800, 830, 5)):
        power[first:last, loudest : loudest + 9] *= 200
        own = slice(first, last)
        region = measure_region(power, busy, first, last)
        embedding = rng.random((4, N_EMBEDDING), np.float32)
        events.append(Sounding(power[own], mel[own], region, NO_VOICE, embedding, NO_SOUND))
    alone = [row for one in events for row in event_features([one])]
    np.testing.assert_allclose(event_features(events), alone, rtol=1e-4, atol=1e-4)
    assert event_features([]) == []
