"""The shared spectrum and the measures of shape held to librosa, and librosa to its own examples.

Source: librosa 0.11 (B. McFee et al., "librosa: audio and music signal analysis in Python", SciPy
2015) and the examples in its documentation. Frames of librosa come as columns, ours as rows.
"""

from __future__ import annotations

import librosa
import numpy as np
import pytest

from calltag.sound import shape
from calltag.sound.spectrum import (
    BIN_HZ,
    HOP,
    MEL_HIGH_HZ,
    MEL_LOW_HZ,
    N_FFT,
    N_MELS,
    RATE_HZ,
    hz_to_mel,
    mel_filters,
    mel_power,
    power_spectrum,
    to_db,
)

RTOL = 2e-5
"""What float32 leaves when a thousand bins are summed in another order."""


def tone(frequency_hz, seconds=1.0):
    return np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * RATE_HZ)) / RATE_HZ)


def stack(frequency_hz, seconds=1.0, harmonics=8):
    return sum(0.3 / k * tone(k * frequency_hz, seconds) for k in range(1, harmonics + 1))


def _sounds():
    rng = np.random.default_rng(11)
    t = np.arange(RATE_HZ) / RATE_HZ
    hiss = 1e-3 * rng.standard_normal(RATE_HZ)
    trill = tone(5200) * (np.sin(2 * np.pi * 20 * t) > 0)
    return {
        "noise": 0.1 * rng.standard_normal(RATE_HZ),
        "tone": 0.5 * tone(1000) + hiss,
        "harmonics": stack(300) + hiss,
        "sweep": 0.5 * np.sin(2 * np.pi * (1000 * t + 3000 * t**2)) + hiss,
        "trill": 0.4 * trill + hiss,
    }


SOUNDS = {name: sound.astype(np.float32) for name, sound in _sounds().items()}


@pytest.fixture(scope="module")
def robin(librosa_example) -> np.ndarray:
    """Three seconds of the recording that `librosa.example("robin")` names."""
    path = librosa_example("456440__inspectorj__bird-whistling-robin-single-13.ogg")
    sound, _ = librosa.load(path, sr=RATE_HZ, offset=1.0, duration=3.0)
    assert np.abs(sound).max() > 0.05
    return sound + 1e-4 * np.random.default_rng(0).standard_normal(len(sound)).astype(np.float32)


@pytest.fixture(params=[*SOUNDS, pytest.param("robin", marks=pytest.mark.field)])
def sound(request) -> np.ndarray:
    """Each of the sounds in turn, and the robin where it is there."""
    if request.param == "robin":
        return request.getfixturevalue("robin")
    return SOUNDS[request.param]


@pytest.fixture
def power(sound) -> np.ndarray:
    return power_spectrum(sound)


@pytest.fixture
def magnitude(power) -> np.ndarray:
    return np.sqrt(power)


# --- librosa's documented examples ----------------------------------------------------------------


def test_documented_fft_frequencies():
    # librosa.fft_frequencies(sr=22050, n_fft=16): 0, 1378.125, ..., 11025
    documented = [0.0, 1378.125, 2756.25, 4134.375, 5512.5, 6890.625, 8268.75, 9646.875, 11025.0]
    np.testing.assert_allclose(librosa.fft_frequencies(sr=22_050, n_fft=16), documented)
    ours = librosa.fft_frequencies(sr=RATE_HZ, n_fft=N_FFT)
    np.testing.assert_allclose(shape.BINS_HZ, ours, rtol=1e-7)
    assert shape.BINS_HZ[1] == BIN_HZ


def test_documented_mel_frequencies():
    # librosa.mel_frequencies(n_mels=40): 0, 85.317, 170.635, 255.952, ..., 11025
    documented = librosa.mel_frequencies(n_mels=40)
    np.testing.assert_allclose(
        documented[[0, 1, 2, 3, 39]], [0, 85.317, 170.635, 255.952, 11_025], atol=5e-4
    )
    np.testing.assert_allclose(np.diff(hz_to_mel(documented)), hz_to_mel(11_025) / 39, rtol=1e-9)


@pytest.mark.parametrize(("frequency_hz", "mel"), [(60, 0.9), (110, 1.65), (220, 3.3), (440, 6.6)])
def test_documented_hz_to_mel(frequency_hz, mel):
    # librosa.hz_to_mel(60): 0.9; librosa.hz_to_mel([110, 220, 440]): 1.65, 3.3, 6.6
    assert librosa.hz_to_mel(frequency_hz) == pytest.approx(mel)
    assert hz_to_mel(frequency_hz) == pytest.approx(mel)


@pytest.mark.parametrize("n_samples", [0, 1, 479, 480, 22_050, 48_000])
def test_documented_number_of_frames(n_samples):
    # centred frames: 1 + floor(n / hop); librosa's example of 22 050 samples at hop 512 has 44
    assert librosa.stft(np.zeros(22_050), n_fft=2048, hop_length=512).shape == (1025, 44)
    assert power_spectrum(np.zeros(n_samples, np.float32)).shape == (1 + n_samples // HOP, 1025)


# --- the spectrum ---------------------------------------------------------------------------------


def test_power_spectrum_is_librosas_stft_on_our_scale(sound):
    theirs = librosa.stft(sound, n_fft=N_FFT, hop_length=HOP, window="hann", center=True)
    # a sine of amplitude 1 reads sum(window) / 2 = N_FFT / 4 in librosa's, 1 in ours
    expected = (np.abs(theirs.T) / (N_FFT / 4)) ** 2
    ours = power_spectrum(sound)
    assert ours.shape == expected.shape
    loud = expected > 1e-7 * expected.max()
    assert loud.mean() > 0.02
    np.testing.assert_allclose(ours[loud], expected[loud], rtol=1e-3)
    np.testing.assert_allclose(ours, expected, rtol=1e-5, atol=1e-6 * expected.max())


def test_mel_filters_are_librosas():
    theirs = librosa.filters.mel(
        sr=RATE_HZ, n_fft=N_FFT, n_mels=N_MELS, fmin=MEL_LOW_HZ, fmax=MEL_HIGH_HZ, norm=None
    )
    np.testing.assert_allclose(mel_filters(), theirs.T, rtol=1e-6, atol=1e-7)


def test_mel_power_is_librosas_melspectrogram(sound):
    theirs = librosa.feature.melspectrogram(
        y=sound, sr=RATE_HZ, n_fft=N_FFT, hop_length=HOP, n_mels=N_MELS,
        fmin=MEL_LOW_HZ, fmax=MEL_HIGH_HZ, norm=None, power=2.0,
    )  # fmt: skip
    ours = mel_power(power_spectrum(sound))
    np.testing.assert_allclose(ours, theirs.T / (N_FFT / 4) ** 2, rtol=1e-4, atol=1e-12)
    floored = librosa.power_to_db(ours + np.float32(1e-11), ref=1.0, amin=1e-11, top_db=None)
    np.testing.assert_allclose(to_db(ours), floored, atol=1e-4)


# --- measures of shape ----------------------------------------------------------------------------


def test_centroid(magnitude):
    theirs = librosa.feature.spectral_centroid(S=magnitude.T, sr=RATE_HZ, n_fft=N_FFT)[0]
    np.testing.assert_allclose(shape.centroid_hz(magnitude), theirs, rtol=RTOL)


def test_bandwidth(magnitude):
    theirs = librosa.feature.spectral_bandwidth(S=magnitude.T, sr=RATE_HZ, n_fft=N_FFT)[0]
    np.testing.assert_allclose(shape.bandwidth_hz(magnitude), theirs, rtol=RTOL)


@pytest.mark.parametrize("share", [0.5, 0.85, 0.99])
def test_rolloff(magnitude, share):
    # theirs in double precision: their running sum over a thousand bins rounds more than ours
    theirs = librosa.feature.spectral_rolloff(
        S=magnitude.T.astype(np.float64), sr=RATE_HZ, n_fft=N_FFT, roll_percent=share
    )[0]
    ours = shape.rolloff_hz(magnitude, share)
    np.testing.assert_allclose(ours, theirs, atol=BIN_HZ * 1.01)  # a tie may round to the next bin
    assert (ours == theirs).mean() > 0.98


def test_flatness(power, magnitude):
    theirs = librosa.feature.spectral_flatness(S=magnitude.T)[0]
    np.testing.assert_allclose(shape.flatness(power), theirs, rtol=RTOL)


def test_contrast(power, magnitude):
    theirs = librosa.feature.spectral_contrast(
        S=magnitude.T, sr=RATE_HZ, n_fft=N_FFT, fmin=200.0, n_bands=6
    )
    # librosa cuts levels off 80 dB below the highest of the whole clip, ours do not know the clip;
    # the hiss in every sound here keeps all levels within that range.
    assert 20 * np.log10(np.sqrt(magnitude.max() / magnitude[magnitude > 0].min())) < 80
    np.testing.assert_allclose(shape.contrast_db(power), theirs.T, atol=1e-3)


@pytest.mark.parametrize("count", [13, 20])
def test_mfcc(power, count):
    level_db = to_db(mel_power(power))
    theirs = librosa.feature.mfcc(S=level_db.T, n_mfcc=count)
    np.testing.assert_allclose(shape.mfcc(level_db, count), theirs.T, rtol=1e-5, atol=1e-3)


def test_onset_strength(power):
    level_db = to_db(mel_power(power))
    theirs = librosa.onset.onset_strength(S=level_db.T, sr=RATE_HZ, hop_length=HOP, center=False)
    np.testing.assert_allclose(shape.onset_strength(level_db), theirs, rtol=1e-5, atol=1e-4)


# --- pitch and onsets: other methods for the same thing -------------------------------------------


@pytest.mark.parametrize("frequency_hz", [150, 220, 440, 700, 1000, 1500, 2000])
@pytest.mark.parametrize("make", [tone, stack])
def test_pitch_agrees_with_yin(frequency_hz, make):
    # YIN: A. de Cheveigné and H. Kawahara, JASA 111(4), 2002. Both work on lags of 1/48 000 s.
    sound = make(frequency_hz).astype(np.float32)
    theirs = librosa.yin(sound, fmin=80, fmax=4000, sr=RATE_HZ, frame_length=N_FFT, hop_length=HOP)[
        10:-10
    ]
    ours, strength = shape.pitch_track_hz(np.sqrt(power_spectrum(sound)[10:-10]))
    # A lone low tone has few periods in a window, and the window's slope draws the peak in.
    near = 0.003 if make is stack else 0.02 * 150 / frequency_hz
    np.testing.assert_allclose(ours, frequency_hz, rtol=near)
    np.testing.assert_allclose(ours, theirs, rtol=near + 0.003)
    assert strength.min() > 0.6


def test_onsets_agree_with_librosas_peak_picking():
    rng = np.random.default_rng(4)
    sound = 1e-3 * rng.standard_normal(4 * RATE_HZ)
    clicks_s = np.array([0.3, 0.55, 1.0, 1.21, 1.9, 2.5, 2.62, 3.4])
    for at_s in clicks_s:
        first = round(at_s * RATE_HZ)
        sound[first : first + 480] += 0.3 * rng.standard_normal(480)
    strength = shape.onset_strength(to_db(mel_power(power_spectrum(sound.astype(np.float32)))))
    strength[:5] = 0  # the sound itself sets in with the first frames
    ours = np.array(shape.onset_frames(strength)) / 100
    theirs = librosa.onset.onset_detect(
        onset_envelope=strength, sr=RATE_HZ, hop_length=HOP, units="time"
    )
    assert len(ours) == len(clicks_s)
    assert len(theirs) == len(clicks_s)
    np.testing.assert_allclose(ours, theirs, atol=0.0101)
    np.testing.assert_allclose(ours, clicks_s, atol=0.021)  # half a window before the click
