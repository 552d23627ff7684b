"""Make `likeness.npz` from invented calls: ``python -m calltag.library.invented``, a minute.

Calls of the animals that the starter model is made with, each out of noise of some kind and at some
level, are measured as finds are. The mean and spread of each measurement, and the directions in
which the scaled measurements differ most, are stored. No recording goes into it. To be made anew
whenever `FEATURE_VERSION` or the starter model changes.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from calltag.files import written_whole
from calltag.learn.finder import measure_call
from calltag.learn.hearing import Hearing, starter_model
from calltag.learn.starter.bank import NOISE_MAKERS
from calltag.learn.starter.synth_calls import Rng, phrase
from calltag.library.likeness import FILE, whole_vectors
from calltag.records import FloatArray
from calltag.sound.features import FEATURE_VERSION
from calltag.sound.spectrum import FRAMES_PER_S, HOP, RATE_HZ, mel_power, power_spectrum, to_db

N_CALLS = 400
N_DIRECTIONS = 96
"""Fewer lost some of the order among real recordings, more gained nothing."""

_KINDS = ("air", "air", "air", "wind", "water", "machine", "other")
_SNR_DB = (3.0, 25.0)
_AROUND_S = 1.5
_LONGEST_S = 3.0
_PEAK = 0.5
_LEAST_SCALE = 1e-3


def invented_features(hearing: Hearing, rng: Rng) -> FloatArray:
    """Measure an invented call in noise.

    Parameters
    ----------
    hearing : Hearing
        The starter model.
    rng : np.random.Generator
        Source of chance.

    Returns
    -------
    np.ndarray, shape (n_features,), float32
        Its measurements.
    """
    call = phrase(rng)[: round(_LONGEST_S * RATE_HZ)]
    around = round(_AROUND_S * RATE_HZ)
    n = len(call) + 2 * around
    makers = NOISE_MAKERS[_KINDS[int(rng.integers(len(_KINDS)))]]
    sound = makers[int(rng.integers(len(makers)))](rng, n) + 0.1 * NOISE_MAKERS["air"][0](rng, n)
    gain = 10 ** (rng.uniform(*_SNR_DB) / 20) * sound.std() / (call.std() + 1e-9)
    sound[around : around + len(call)] += np.float32(gain) * call
    power = power_spectrum((sound * (_PEAK / np.abs(sound).max())).astype(np.float32))
    first = round(_AROUND_S * FRAMES_PER_S)
    last = min(len(power), first + max(4, len(call) // HOP))
    busy: npt.NDArray[np.bool_] = np.zeros(len(power), bool)
    busy[first:last] = True
    found = measure_call(
        power,
        busy,
        (first, last),
        offset=0,
        heard=hearing.listen(to_db(mel_power(power))),
        heard_from=0,
        probability=1.0,
        edges=None,
    )
    assert found.features is not None
    return found.features


def main() -> None:
    """Make the file."""
    hearing, rng = Hearing(starter_model()), np.random.default_rng(5)
    features = np.stack([invented_features(hearing, rng) for _ in range(N_CALLS)])
    mean, scale = features.mean(axis=0), np.maximum(features.std(axis=0), _LEAST_SCALE)
    _, _, directions = np.linalg.svd(whole_vectors(features, mean, scale), full_matrices=False)
    with written_whole(FILE) as partial, partial.open("wb") as file:
        np.savez(
            file,
            feature_version=FEATURE_VERSION,
            mean=mean.astype(np.float32),
            scale=scale.astype(np.float32),
            directions=directions[:N_DIRECTIONS].T.astype(np.float32),
        )


if __name__ == "__main__":
    main()
