"""Wind as the finder that ships hears it: invented turbulence, and what is low but no wind."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile as sf

from calltag.learn.noise.wind_and_knocks import knock_odds, wind_odds
from calltag.media.probe import probe
from calltag.records.label import NOISE_KINDS
from calltag.sound.spectrum import RATE_HZ
from calltag.sound.wind_and_knocks import N_GROUPS, find_knocks

SECONDS = 16
FALLING = np.array([-20.0, -33.0, -44.0, -56.0])
WIND, MACHINE, VOICE, WATER = map(NOISE_KINDS.index, ("wind", "machine", "voice", "water"))


def noise(rng: np.random.Generator, slope_db: float, corner_hz: float = 0.0) -> np.ndarray:
    """Noise of RMS 1 that falls by so much an octave, above a corner."""
    n = SECONDS * RATE_HZ
    hz = np.maximum(np.fft.rfftfreq(n, 1 / RATE_HZ), 12)
    spectrum = np.fft.rfft(rng.standard_normal(n)) * (hz**2 + corner_hz**2) ** (-slope_db / 12.04)
    sound = np.fft.irfft(spectrum, n)
    return sound / sound.std()


def puffs(rng: np.random.Generator) -> np.ndarray:
    """A gust or two, and puffs six times a second, as a gain."""
    n = SECONDS * RATE_HZ
    gusts, fast = (
        np.interp(np.arange(n), np.linspace(0, n, points), rng.normal(0, spread, points))
        for points, spread in ((6, 0.8), (6 * SECONDS, 0.5))
    )
    return np.exp(gusts + fast)


def told_s(finder, path, sound: np.ndarray) -> float:
    """Seconds of it that are told as wind."""
    sf.write(path, sound.astype(np.float32), RATE_HZ, subtype="PCM_24")
    noise = finder.analyse(path, probe(path)).noise
    return sum(span.end_s - span.start_s for span in noise if span.kind == "wind")


@pytest.mark.parametrize("slope_db", [9.0, 12.0])
def test_wind_is_told_though_it_is_low(finder, tmp_path, rng, slope_db) -> None:
    """Turbulence falls from some ten hertz on (by 5 to 14 dB an octave, from memory)."""
    wind = 0.1 * puffs(rng) * noise(rng, slope_db, 30.0)
    air = 0.0003 * noise(rng, 3.0)
    assert told_s(finder, tmp_path / "wind.wav", wind + air) > 0.6 * SECONDS
    assert told_s(finder, tmp_path / "air.wav", air) == 0


def test_a_still_evening_is_no_wind(finder, tmp_path, rng) -> None:
    evening = 0.003 * noise(rng, 6.0) + 1e-5 * noise(rng, 0.0)
    assert told_s(finder, tmp_path / "evening.wav", evening) == 0


def odds_of(levels: np.ndarray, **heard: float) -> float:
    """Middle of the odds where so much is heard, and -8 of what is not named."""
    rows = np.full((len(levels) // 10, len(NOISE_KINDS)), -8.0, np.float32)
    for kind, odds in heard.items():
        rows[:, NOISE_KINDS.index(kind)] = odds
    return float(wind_odds(levels, rows)[len(rows) // 2])


def test_odds_of_wind_by_hand() -> None:
    """Steady, 13 dB over the next bands and 36 and more over the high ones; each tenth up or down.

    -6.3, with 0.7 of -4, -0.6 of -8, -0.15 of -8, 0.04 of 13 and 0.12 of 36: 1.74; each decibel of
    change is half of one more.
    """
    steady = np.repeat([FALLING], 300, axis=0)
    assert odds_of(steady, wind=-4.0) == pytest.approx(1.74, abs=0.01)
    assert odds_of(steady, wind=-4.0, machine=-1.5) == pytest.approx(-0.26, abs=0.01)
    assert odds_of(steady, wind=-4.0, water=3.0) == pytest.approx(1.74 - 11 * 0.15 - 3, abs=0.01)
    assert odds_of(steady, wind=-4.0, voice=-2.0) == pytest.approx(1.74 - 6 * 0.6, abs=0.01)
    leaping = steady.copy()
    leaping[:, 0] += np.repeat(np.tile([2.0, -2.0], 15), 10)
    assert odds_of(leaping, wind=-4.0) == pytest.approx(1.74 + 0.5 * 4, abs=0.1)


def test_no_levels_are_no_evidence() -> None:
    rows = np.zeros((3, len(NOISE_KINDS)), np.float32)
    assert np.isneginf(wind_odds(np.zeros((0, N_GROUPS)), rows)).all()
    assert np.isneginf(knock_odds(np.zeros((0, N_GROUPS)), rows, np.zeros(3))).all()


GUST = np.array([-40.0, -45.0, -50.0, -60.0])


def gust_odds(over_db: float, **heard: float) -> float:
    """Odds in a burst that stands so far above the air before it; -8 of what is not named."""
    levels = np.repeat([GUST], 3000, axis=0)
    levels[:2600] -= over_db
    rows = np.full((300, len(NOISE_KINDS)), -8.0, np.float32)
    for kind, odds in heard.items():
        rows[:, NOISE_KINDS.index(kind)] = odds
    return float(wind_odds(levels, rows)[290])


def test_odds_of_a_gust_by_hand() -> None:
    """What is heard of wind, -5 at least, and 4 for a burst of 10 dB, 6 for one of 25 dB.

    From it goes what is heard of a machine above -3.5, of a voice above -3 and of water above 0.
    """
    assert gust_odds(12.0, wind=-2.0) == pytest.approx(2, abs=1e-4)
    assert gust_odds(30.0, wind=-2.0) == pytest.approx(4, abs=1e-4)
    assert gust_odds(12.0, wind=-9.0) == pytest.approx(-1, abs=1e-4)
    assert gust_odds(12.0, wind=3.0, machine=-2.0) == pytest.approx(5.5, abs=1e-4)
    assert gust_odds(12.0, wind=3.0, voice=-1.5) == pytest.approx(5.5, abs=1e-4)
    assert gust_odds(12.0, wind=3.0, water=1.5) == pytest.approx(5.5, abs=1e-4)
    least = gust_odds(12.0, wind=3.0, machine=-3.6, voice=-3.1, water=-0.1)
    assert least == pytest.approx(7, abs=1e-4)


def test_without_a_gust_the_model_is_not_believed_alone() -> None:
    """Steady, 5 dB over the next bands, 20 over the high ones; of wind 3 is heard, -8 of all else.

    That is -6.3 + 2.1 + 4.8 + 1.2 + 0.2 + 2.4. What is heard counts from -10 to 6.
    """
    assert gust_odds(0.0, wind=3.0) == pytest.approx(4.4, abs=1e-4)
    assert gust_odds(0.0, wind=9.0) == pytest.approx(4.4 + 0.7 * 3, abs=1e-4)
    assert gust_odds(0.0, wind=3.0, voice=-12.0) == pytest.approx(4.4 + 0.6 * 2, abs=1e-4)


def test_what_is_high_and_changes_speaks_against_wind() -> None:
    """Each tenth of 1 to 5 kHz is 4 dB up or down: 0.2 less for each decibel."""
    leaping = np.repeat([FALLING], 900, axis=0)
    leaping[:, 3] += np.repeat(np.tile([0.0, -4.0], 45), 10)
    assert odds_of(leaping, wind=-4.0) == pytest.approx(1.74 - 0.2 * 4, abs=0.01)


def test_how_far_the_lowest_bands_stand_out_counts_up_to_a_bound() -> None:
    """0.04 a decibel over the next bands, from -5 to 30, and 0.12 over the high ones, -10 to 36."""

    def odds(next_db: float, high_db: float) -> float:
        levels = np.array([-20.0, -20.0 - next_db, -20.0 - next_db, -20.0 - high_db])
        return odds_of(np.repeat([levels], 300, axis=0), wind=-4.0)

    base = -6.3 - 0.7 * 4 + 0.6 * 8 + 0.15 * 8
    for next_db, counted in ((-9, -5), (-4, -4), (20, 20), (29, 29), (34, 30)):
        assert odds(next_db, 10) == pytest.approx(base + 0.04 * counted + 1.2, abs=0.01)
    for high_db, counted in ((-14, -10), (-9, -9), (35, 35), (40, 36)):
        assert odds(10, high_db) == pytest.approx(base + 0.4 + 0.12 * counted, abs=0.01)


def knock(fall_db: float = 18.0, next_db: float = 5.0, high_db: float = 18.0) -> np.ndarray:
    """Levels with a leap at 1 s that falls by so much, and stands so far above other bands."""
    low = np.full(300, -40.0 - fall_db)
    low[:100] -= 20.0
    low[100:103] = -40.0
    return low[:, None] - [0.0, next_db, next_db, high_db]


def told(levels: np.ndarray, own: float = 0.9, **heard: float) -> np.ndarray:
    """Odds of handling, where so much of it is heard, and -8 of what is not named."""
    rows = np.full((30, len(NOISE_KINDS)), -8.0, np.float32)
    for kind, odds in heard.items():
        rows[:, NOISE_KINDS.index(kind)] = odds
    return knock_odds(levels, rows, np.full(30, own))


def test_odds_of_a_knock_by_hand() -> None:
    """What is heard of it, as one falls by 18 dB and stands 18 dB above the high bands.

    0.15 a decibel that it falls by more or less, 0.1 for one above the high bands; a machine above
    -5.5 and a voice above -3.7 count against it. Of what is heard of handling, no more than 3.
    """

    def most(levels: np.ndarray, own: float = 0.9, **heard: float) -> float:
        return float(told(levels, own, **heard).max())

    assert most(knock()) == pytest.approx(0.9, abs=1e-4)
    assert most(knock(), 2.5) == pytest.approx(2.5, abs=1e-4)
    assert most(knock(), 5.0) == pytest.approx(3, abs=1e-4)
    assert most(knock(fall_db=24.0)) == pytest.approx(0.9 + 6 * 0.15, abs=1e-4)
    assert most(knock(fall_db=35.0)) == pytest.approx(0.9 + 2, abs=1e-4)
    assert most(knock(fall_db=12.0), 3.0) == pytest.approx(3 - 6 * 0.15, abs=1e-4)
    assert most(knock(high_db=24.0)) == pytest.approx(0.9 + 6 * 0.1, abs=1e-4)
    assert most(knock(high_db=34.0)) == pytest.approx(0.9 + 1, abs=1e-4)
    assert most(knock(high_db=8.0), 3.0) == pytest.approx(3 - 10 * 0.1, abs=1e-4)
    assert most(knock(high_db=-9.0), 3.0) == pytest.approx(3 - 2, abs=1e-4)
    assert most(knock(), 2.5, machine=-4.5) == pytest.approx(2.5 - 1, abs=1e-4)
    assert most(knock(), 2.5, voice=-2.7) == pytest.approx(2.5 - 1, abs=1e-4)
    assert most(knock(), 2.5, machine=-5.6, voice=-3.8) == pytest.approx(2.5, abs=1e-4)
    # One that looks as sure as can be is told where the model hears it as likely as not.
    assert most(knock(fall_db=35.0, high_db=34.0), -1.0) == pytest.approx(2, abs=1e-4)
    assert most(knock(fall_db=35.0, high_db=34.0), -9.0) == -np.inf


@pytest.mark.parametrize(
    ("own", "next_db", "is_told"),
    [(0.85, 5.0, True), (0.75, 5.0, False), (2.0, -1.9, True), (2.0, -2.1, False)],
)
def test_a_knock_that_is_unsure_or_stands_in_the_next_bands_is_not_told(
    own, next_db, is_told
) -> None:
    assert np.isfinite(told(knock(next_db=next_db), own)).any() == is_told


def test_a_knock_is_told_from_the_tenth_before_it_on() -> None:
    """And for half a second; what is heard at other times is no matter."""
    levels = knock()
    (at,) = {one.frame // 10 for one in find_knocks(levels)}
    assert np.flatnonzero(np.isfinite(told(levels))).tolist() == list(range(at - 1, at + 5))
    near = np.full(30, -9.0)
    near[at - 1 : at + 3] = 0.9, 2.5, 0.9, 0.9
    rows = np.full((30, len(NOISE_KINDS)), -8.0, np.float32)
    rows[: at - 1, [MACHINE, VOICE]] = rows[at + 4 :, [MACHINE, VOICE]] = 5.0
    assert knock_odds(levels, rows, near).max() == pytest.approx(2.5, abs=1e-4)
    away = np.full(30, 2.5)
    away[at - 1 : at + 3] = 0.0
    assert np.isneginf(knock_odds(levels, rows, away)).all()


def test_of_two_knocks_that_meet_the_surer_counts() -> None:
    levels = knock()
    levels[140:143] = levels[100:103]
    peaks = np.full(30, 0.9)
    peaks[13:] = 2.5
    odds = knock_odds(levels, np.full((30, len(NOISE_KINDS)), -8.0, np.float32), peaks)
    assert odds[13:15] == pytest.approx(2.5, abs=1e-4)
