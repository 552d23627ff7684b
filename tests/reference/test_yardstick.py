"""The yardstick itself: librosa, to which our measures are held, against published tables.

A-weighting: IEC 61672-1, at the exact mid-band frequencies of IEC 61260-1 (base ten). Per-channel
energy normalisation: V. Lostanlen et al., "Per-channel energy normalization: why and how", IEEE
Signal Processing Letters 26(1), 2019; at rest it has a closed form. Mel scale: M. Slaney, Auditory
Toolbox, 1998.
"""

from __future__ import annotations

import librosa
import numpy as np
import pytest

from calltag.sound.spectrum import hz_to_mel, mel_to_hz

A_WEIGHTING_DB = {
    -15: -39.4, -12: -26.2, -10: -19.1, -9: -16.1, -6: -8.6, -3: -3.2,
    0: 0.0, 3: 1.2, 6: 1.0, 9: -1.1, 12: -6.6,
}  # fmt: skip
"""By number of third octaves above 1 kHz."""


@pytest.mark.parametrize(("band", "weight_db"), A_WEIGHTING_DB.items())
def test_a_weighting_is_that_of_the_standard(band, weight_db) -> None:
    found = float(librosa.A_weighting(np.array([1000 * 10 ** (band / 10)]))[0])
    assert found == pytest.approx(weight_db, abs=0.051), "the table is rounded to 0.1 dB"


@pytest.mark.parametrize(("level", "published"), [(1000.0, 0.36009), (10_000.0, 0.37527)])
def test_pcen_at_rest(level, published) -> None:
    gain, bias, power, eps = 0.98, 2.0, 0.5, 1e-6
    closed = (level / (eps + level) ** gain + bias) ** power - bias**power
    steady = librosa.pcen(
        np.full((1, 4000), level), gain=gain, bias=bias, power=power, eps=eps, time_constant=0.4
    )
    assert closed == pytest.approx(published, abs=5e-6)
    assert float(steady[0, -1]) == pytest.approx(closed, rel=1e-6)


def test_our_mel_scale_is_that_of_the_yardstick() -> None:
    hz = np.linspace(0, 20_000, 401)
    np.testing.assert_allclose(hz_to_mel(hz), librosa.hz_to_mel(hz), rtol=1e-12)
    np.testing.assert_allclose(mel_to_hz(hz_to_mel(hz)), hz, rtol=1e-12, atol=1e-9)
