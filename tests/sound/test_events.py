"""Events planted in noise: band, level over the background, edges, against what was planted."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.ndimage

from calltag.sound.events import (
    DROWNED_SNR_DB,
    INWARD_FRAMES,
    LOWEST_HZ,
    OUTWARD_FRAMES,
    background,
    clearest,
    measure_region,
    refine_edges,
    under_the_noise,
)
from calltag.sound.spectrum import BIN_HZ, FRAMES_PER_S, N_BINS, RATE_HZ, power_spectrum

START_S, LENGTH_S, TOTAL_S = 2.0, 0.5, 4.5
AMPLITUDE = 0.02
WINDOW_HZ = 3 * BIN_HZ  # a tone's power spreads over the bins next to its own

# first and last frequency; a call of one pitch, low, middle and high, and sweeps up and down
SHAPES = [(250, 250), (1000, 1000), (4000, 4000), (3000, 5000), (8000, 6000)]


def burst(first_hz, last_hz, *, start_s=START_S, length_s=LENGTH_S, total_s=TOTAL_S):
    """A tone or a sweep with ends of 5 ms, in silence."""
    t = np.arange(round(length_s * RATE_HZ)) / RATE_HZ
    cycles = first_hz * t + (last_hz - first_hz) / (2 * length_s) * t**2
    fade = np.minimum(1, np.minimum(np.arange(len(t)), np.arange(len(t))[::-1]) / 240)
    sound = np.zeros(round(total_s * RATE_HZ))
    at = round(start_s * RATE_HZ)
    sound[at : at + len(t)] = AMPLITUDE * fade * np.sin(2 * np.pi * cycles)
    return sound


def planted(shape, snr_db, *, seed=0, start_s=START_S, noise=None, moved=(0, 0), soft=(0, 0)):
    """Power, busy frames, and the region of a burst in noise of a level set within its band."""
    rng = np.random.default_rng(seed)
    if noise is None:
        noise = rng.standard_normal(round(TOTAL_S * RATE_HZ))
    width_hz = abs(shape[1] - shape[0]) + WINDOW_HZ
    # white noise of variance s2 has s2 * width / 24 kHz within the band; the burst has a2 / 2
    variance = AMPLITUDE**2 / 2 / 10 ** (snr_db / 10) * (RATE_HZ / 2) / width_hz
    call = burst(*shape, start_s=start_s)
    call[: round((start_s + soft[0]) * RATE_HZ)] *= 10 ** (soft[1] / 20)
    sound = call + np.sqrt(variance) * noise
    power = power_spectrum(sound.astype(np.float32))
    first, last = round(start_s * FRAMES_PER_S), round((start_s + LENGTH_S) * FRAMES_PER_S)
    busy = np.zeros(len(power), bool)
    busy[first - 3 : last + 4] = True
    region = measure_region(power, busy, first + moved[0], last + moved[1])
    return power, busy, region, variance


def true_snr_db(region, variance):
    """The burst's level over the noise within the band that was found, in closed form."""
    width_hz = region.high_hz - region.low_hz + BIN_HZ
    return 10 * np.log10(AMPLITUDE**2 / 2 / (variance * width_hz / (RATE_HZ / 2)))


# --- band, level, ratio ---------------------------------------------------------------------------


@pytest.mark.parametrize("snr_db", [10, 15, 20, 30, 40])
@pytest.mark.parametrize("shape", SHAPES)
def test_band_and_snr_of_what_was_planted(shape, snr_db):
    regions = [planted(shape, snr_db, seed=seed)[2:] for seed in range(4)]
    low_hz, high_hz = sorted(shape)
    for region, _ in regions:
        # 90 % of a sweep's energy lies within 90 % of its range; the rest is the window's width
        assert region.low_hz == pytest.approx(low_hz + 0.05 * (high_hz - low_hz), abs=WINDOW_HZ)
        assert region.high_hz == pytest.approx(high_hz - 0.05 * (high_hz - low_hz), abs=WINDOW_HZ)
        assert low_hz - BIN_HZ <= region.peak_hz <= high_hz + BIN_HZ
        assert region.excess.shape == (region.last - region.first, N_BINS)
        assert region.excess.min() >= 0
    # single bursts scatter with the noise that they are measured against; their mean must not
    off_db = [region.snr_db - true_snr_db(region, variance) for region, variance in regions]
    assert np.mean(off_db) == pytest.approx(0, abs=1.0)
    assert np.abs(off_db).max() < 1.6


@pytest.mark.parametrize("shape", SHAPES)
def test_level_is_the_rms_within_the_band(shape):
    region = planted(shape, 40)[2]
    # 5 ms fades, two frames that reach over the ends, and 90 % of the energy: within 1 dB
    assert region.level_dbfs == pytest.approx(10 * np.log10(AMPLITUDE**2 / 2), abs=1.0)


@pytest.mark.parametrize("snr_db", [5, 10])
@pytest.mark.parametrize("shape", SHAPES)
def test_a_faint_call_keeps_its_band_in_loud_noise_of_all_frequencies(shape, snr_db):
    # 1000 bins of noise hold far more energy than the call; its band must not widen to them.
    for seed in range(4):
        region = planted(shape, snr_db, seed=seed)[2]
        assert region.low_hz > min(shape) - 300
        assert region.high_hz < max(shape) + 300


def test_a_faint_call_keeps_its_band_over_a_rumble_that_is_louder_than_it():
    rng = np.random.default_rng(1)
    spectrum = np.fft.rfft(rng.standard_normal(round(TOTAL_S * RATE_HZ)))
    hz = np.fft.rfftfreq(round(TOTAL_S * RATE_HZ), 1 / RATE_HZ)
    rumble = np.fft.irfft(spectrum / (1 + (hz / 100) ** 2))  # falls by 12 dB an octave
    rumble *= 0.5 * AMPLITUDE / rumble.std()
    hiss = 1e-4 * rng.standard_normal(len(rumble))
    sound = 0.1 * burst(4000, 4000) + rumble[: round(TOTAL_S * RATE_HZ)] + hiss
    power = power_spectrum(sound.astype(np.float32))
    busy = np.zeros(len(power), bool)
    busy[197:254] = True
    region = measure_region(power, busy, 200, 250)
    assert region.low_hz == pytest.approx(4000, abs=WINDOW_HZ)
    assert region.high_hz == pytest.approx(4000, abs=WINDOW_HZ)
    assert region.snr_db > 20


@pytest.mark.parametrize("seed", range(4))
def test_a_whistle_keeps_its_band_above_an_engine_that_wavers(seed):
    # 300 times the whistle's power between 100 and 900 Hz, now louder, now softer
    rng = np.random.default_rng(seed)
    n = round(TOTAL_S * RATE_HZ)
    spectrum, hz = np.fft.rfft(rng.standard_normal(n)), np.fft.rfftfreq(n, 1 / RATE_HZ)
    engine = np.fft.irfft(spectrum * ((hz > 100) & (hz < 900)), n)
    engine *= np.interp(np.arange(n), np.linspace(0, n, 25), rng.uniform(0.3, 1.7, 25))
    whistle = burst(4000, 4000)
    engine *= np.sqrt(300 / 2) * AMPLITUDE / engine.std()
    hiss = 1e-3 * rng.standard_normal(n)
    power = power_spectrum((whistle + engine + hiss).astype(np.float32))
    busy = np.zeros(len(power), bool)
    busy[197:254] = True
    region = measure_region(power, busy, 200, 250)
    assert region.low_hz == pytest.approx(4000, abs=WINDOW_HZ)
    assert region.high_hz == pytest.approx(4000, abs=WINDOW_HZ)


def under_an_engine_that_revs(whistle: float) -> tuple[np.ndarray, np.ndarray]:
    """Power and busy frames: within the event, the engine swells to ten times its usual power."""
    rng = np.random.default_rng(2)
    n = round(TOTAL_S * RATE_HZ)
    spectrum, hz = np.fft.rfft(rng.standard_normal(n)), np.fft.rfftfreq(n, 1 / RATE_HZ)
    engine = np.fft.irfft(spectrum * ((hz > 100) & (hz < 900)), n)
    engine *= 8 * AMPLITUDE / engine.std()
    swell = slice(round(2.1 * RATE_HZ), round(2.3 * RATE_HZ))
    engine[swell] *= 1 + (np.sqrt(10) - 1) * np.hanning(swell.stop - swell.start)
    sound = whistle * burst(4000, 4000) + engine + 1e-4 * rng.standard_normal(n)
    power = power_spectrum(sound.astype(np.float32))
    busy = np.zeros(len(power), bool)
    busy[197:254] = True
    return power, busy


def test_the_clearest_band_is_that_of_the_whistle_and_not_of_the_engine_that_revs_under_it():
    power, busy = under_an_engine_that_revs(whistle=1.0)
    loudest = measure_region(power, busy, 200, 250)
    assert loudest.high_hz < 1100
    assert loudest.snr_db < DROWNED_SNR_DB
    region = clearest(power, busy, loudest)
    assert region.low_hz == pytest.approx(4000, abs=WINDOW_HZ)
    assert region.high_hz == pytest.approx(4000, abs=WINDOW_HZ)
    assert region.peak_hz == pytest.approx(4000, abs=BIN_HZ)
    assert region.snr_db > 20


def test_without_a_whistle_the_engine_keeps_its_band():
    power, busy = under_an_engine_that_revs(whistle=0.0)
    assert clearest(power, busy, measure_region(power, busy, 200, 250)).high_hz < 1100


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("snr_db", [6, 20])
def test_what_stands_out_is_measured_as_it_is(shape, snr_db):
    power, busy, region, _ = planted(shape, snr_db)
    assert clearest(power, busy, region) is region


def test_nothing_below_the_lowest_frequency_belongs_to_a_call():
    power, busy, *_ = planted((1000, 1000), 30)
    power[200:250, 0:2] += 10  # a thump, or an offset
    region = measure_region(power, busy, 200, 250)
    assert region.low_hz >= LOWEST_HZ - BIN_HZ
    assert region.peak_hz == pytest.approx(1000, abs=BIN_HZ)


@pytest.mark.parametrize("level", [0.0, 1.0])
def test_a_region_that_does_not_stand_out_is_still_measured(level):
    power = np.full((300, N_BINS), level * 1e-4, np.float32)
    region = measure_region(power, np.zeros(300, bool), 100, 120)
    assert np.isfinite([region.low_hz, region.high_hz, region.snr_db, region.level_dbfs]).all()
    assert region.low_hz < region.high_hz
    assert region.snr_db <= 0


# --- background -----------------------------------------------------------------------------------


def test_background_is_taken_where_nothing_else_was_found():
    power = np.ones((600, N_BINS), np.float32)
    power[250:300] = 100  # the event
    power[180:220] = 50  # another one
    busy = np.zeros(600, bool)
    busy[250:300] = busy[180:220] = True
    np.testing.assert_allclose(background(power, busy, 250, 300), 1)


def test_background_is_the_nearest():
    power = np.ones((1000, N_BINS), np.float32)
    power[600:] = 5  # louder, from 2 s after the event on
    busy = np.zeros(1000, bool)
    busy[400:450] = True
    np.testing.assert_allclose(background(power, busy, 400, 450), 1)


@pytest.mark.parametrize("free_share", [0.2, 0.5, 1.0])
@pytest.mark.parametrize(("first", "last"), [(0, 40), (200, 241), (250, 300), (560, 600)])
def test_background_is_of_the_nearest_frames_one_by_one(rng, free_share, first, last):
    power = rng.random((600, N_BINS), np.float32)
    busy = rng.random(600) >= free_share
    busy[first:last] = True
    reach = range(max(0, first - 150), min(600, last + 150))
    free = [frame for frame in reach if not busy[frame]]
    nearest = sorted(free, key=lambda frame: abs(frame - (first + last) / 2))[:120]
    expected = power[nearest].mean(axis=0)
    np.testing.assert_allclose(background(power, busy, first, last), expected, rtol=1e-5)


def test_background_amid_many_others_is_the_lower_part_of_what_is_there():
    rng = np.random.default_rng(2)
    power = rng.exponential(1.0, (600, N_BINS)).astype(np.float32)
    power[rng.random(600) < 0.5] *= 100  # other calls, everywhere
    level = background(power, np.ones(600, bool), 300, 320)
    assert 0.1 < np.median(level) < 3


# --- edges ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("snr_db", [15, 20, 30, 40])
@pytest.mark.parametrize("shape", SHAPES)
def test_edges_come_within_half_a_window_wherever_they_were_guessed(shape, snr_db):
    rng = np.random.default_rng(snr_db)
    late_s = []
    for seed in range(5):
        start_s = START_S + rng.uniform(0, 0.01)
        moved = tuple(rng.integers(-4, 5, 2))
        power, busy, region, _ = planted(shape, snr_db, seed=seed, start_s=start_s, moved=moved)
        first, last = refine_edges(power, busy, region, before=0, after=len(power))
        late_s.append((first / FRAMES_PER_S - start_s, last / FRAMES_PER_S - start_s - LENGTH_S))
    late_ms = 1000 * np.array(late_s)
    # a frame looks 21 ms ahead and back, and at 40 dB its very edge speaks for the event
    assert np.abs(np.median(late_ms, axis=0)).max() <= (21.4 if snr_db == 40 else 20)
    assert np.abs(late_ms).max() <= 30


def test_edges_do_not_pass_their_limits():
    power, busy, region, _ = planted((1000, 1000), 40, moved=(4, -4))
    assert refine_edges(power, busy, region, before=203, after=247) == (203, 247)


def test_edges_of_what_does_not_stand_out_are_left():
    power = np.ones((400, N_BINS), np.float32)
    busy = np.zeros(400, bool)
    busy[200:250] = True
    region = measure_region(power, busy, 200, 250)
    assert refine_edges(power, busy, region, before=0, after=400) == (200, 250)


@pytest.mark.parametrize("shape", SHAPES)
def test_faint_edges_move_no_farther_than_they_may(shape):
    power, busy, region, _ = planted(shape, 0)
    first, last = refine_edges(power, busy, region, before=0, after=len(power))
    assert -OUTWARD_FRAMES <= first - region.first <= INWARD_FRAMES
    assert -INWARD_FRAMES <= last - region.last <= OUTWARD_FRAMES


def test_a_soft_beginning_that_was_missed_is_added():
    """A whistle that is 8 dB softer for its first 0.2 s, found only where it is loud."""
    power, busy, region, _ = planted((1000, 1000), 20, moved=(20, 0), soft=(0.2, -8.0))
    assert region.first == 220
    first, _ = refine_edges(power, busy, region, before=0, after=len(power))
    assert first == pytest.approx(200, abs=3)


def test_edges_are_the_most_likely_places_of_a_change(rng):
    """Frames drawn from the model itself: the change is found as exactly as the frames tell."""
    behind = np.full(N_BINS, 1e-8, np.float32)
    off = []
    for _ in range(40):
        mean = np.tile(behind, (400, 1))
        first, last = 200 + int(rng.integers(-20, 5)), 260 + int(rng.integers(-4, 20))
        mean[first:last, 80:90] *= 4
        power = rng.exponential(mean).astype(np.float32)
        busy = np.zeros(400, bool)
        busy[200:260] = True
        region = measure_region(power, busy, 200, 260)
        found = refine_edges(power, busy, region, before=0, after=400)
        off.append(np.abs(np.subtract(found, (first, last))))
    assert np.median(off) <= 1
    assert np.percentile(off, 90) <= 3


def test_a_background_that_swells_draws_no_edge_away_from_the_event(rng):
    """Surf that comes and goes by 4 dB within half a second, and an event three times as loud."""
    off = []
    for _ in range(60):
        swells = scipy.ndimage.gaussian_filter1d(rng.standard_normal(400), 12)
        mean = np.tile(10 ** (0.4 * swells / swells.std())[:, None], (1, N_BINS))
        mean[200:260, 80:100] *= 3
        power = (1e-8 * rng.exponential(mean)).astype(np.float32)
        busy = np.zeros(400, bool)
        busy[200:260] = True
        region = measure_region(power, busy, 200, 260)
        found = refine_edges(power, busy, region, before=0, after=400)
        off.append(np.abs(np.subtract(found, (200, 260))))
    assert np.median(off) <= 1
    assert np.mean(np.array(off) > 10) < 0.15  # a quarter, if all frames were believed


@pytest.mark.parametrize(
    ("snr_db", "frames"), [(-5, 2), (2.9, 2), (3, 1), (11, 1), (12, 0), (30, 0)]
)
def test_what_is_faint_begins_under_the_noise(snr_db, frames):
    assert under_the_noise(snr_db) == frames


@pytest.mark.parametrize("times", [2, 4, 8])
def test_a_start_that_swells_is_nearer_with_the_frames_under_the_noise(rng, times):
    """Frames of an event that swells for 80 ms: it begins before it can be told from noise."""
    late, mended = [], []
    for _ in range(60):
        mean = np.full((400, N_BINS), 1e-8, np.float32)
        swell = np.minimum(np.arange(1, 61), 8) / 8
        mean[200:260, 80:90] *= 1 + times * np.minimum(swell, swell[::-1])[:, None] ** 2
        power = rng.exponential(mean).astype(np.float32)
        busy = np.zeros(400, bool)
        busy[203:257] = True
        region = measure_region(power, busy, 203, 257)
        first, _ = refine_edges(power, busy, region, before=0, after=400)
        late.append(first - 200)
        mended.append(first - 200 - under_the_noise(region.snr_db))
    assert np.median(late) > 0
    assert np.median(np.abs(mended)) < np.median(np.abs(late))


def test_the_edge_is_where_the_call_has_fallen_far_below_its_top():
    # A call that dies away over a second: its end is where it has fallen by 25 dB.
    t = np.arange(2 * RATE_HZ) / RATE_HZ
    sound = np.concatenate([np.zeros(RATE_HZ), np.exp(-t / 0.15) * np.sin(2 * np.pi * 2000 * t)])
    sound += 1e-5 * np.random.default_rng(3).standard_normal(len(sound))
    power = power_spectrum((0.3 * sound).astype(np.float32))
    busy = np.zeros(len(power), bool)
    busy[95:200] = True
    end_s = 1 + 0.15 * np.log(10 ** (25 / 20))
    region = measure_region(power, busy, 100, round(100 * end_s) + 3)
    first, last = refine_edges(power, busy, region, before=0, after=len(power))
    assert first / FRAMES_PER_S == pytest.approx(1, abs=0.02)
    assert last / FRAMES_PER_S == pytest.approx(end_s, abs=0.03)
