"""Likeness: invented calls at other levels and in noise; real recordings by kind of sound.

Mean average precision as in C. D. Manning, P. Raghavan, H. Schütze, "Introduction to Information
Retrieval", 2008, section 8.4; held to scikit-learn's on each query. Recordings: ESC-10, K. J.
Piczak, "ESC: Dataset for environmental sound classification", ACM Multimedia 2015.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile
from sklearn.metrics import average_precision_score

from calltag.errors import MediaError
from calltag.learn.call_types.kinship import prior
from calltag.learn.finding.finder import Finder
from calltag.learn.starter import synth_calls
from calltag.learn.starter.synth_noise import air
from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.catalogue.measured_again import measure_outdated
from calltag.library.search.like import like, prepare
from calltag.library.search.likeness import PLACES_VERSION, place
from calltag.library.search.sample import sample_of_file, sample_of_kept
from calltag.media.probe import probe
from calltag.media.wave_files.wav_writing import write_wav
from calltag.records.span import Span
from calltag.sound.features import EMBEDDING, FEATURE_VERSION

from ..conftest import RATE_HZ, call, features, plain_story, wanted

AROUND_S = 1.0


def in_air(
    path: Path, one: np.ndarray, *, snr_db: float, level: float = 0.3, seed: int = 0
) -> Span:
    """Write a call into a second of air on both sides; return where it is."""
    rng = np.random.default_rng(seed)
    around = round(AROUND_S * RATE_HZ)
    sound = air(rng, len(one) + 2 * around)
    gain = 10 ** (snr_db / 20) * sound.std() / one.std()
    sound[around : around + len(one)] += (gain * one).astype(np.float32)
    write_wav(path, level * sound / np.abs(sound).max(), RATE_HZ)
    return Span(AROUND_S, AROUND_S + len(one) / RATE_HZ)


@pytest.fixture(scope="module")
def animals() -> dict[str, list[np.ndarray]]:
    """Six invented animals, four calls of each."""
    rng = np.random.default_rng(11)
    makers = ("whistle", "hoot", "trill", "rasp", "bark", "chirp")
    voices = {name: getattr(synth_calls, name)(rng) for name in makers}
    return {name: [voice() for _ in range(4)] for name, voice in voices.items()}


def mean_average_precision(likenesses: np.ndarray, kinds: np.ndarray, sources: np.ndarray) -> float:
    """Of every sound as query, its own source left out."""
    precisions = []
    for scores, kind, source in zip(likenesses, kinds, sources, strict=True):
        others = sources != source
        same = kinds[others] == kind
        if same.any():
            precisions.append(average_precision_score(same, scores[others]))
    return float(np.mean(precisions))


def test_level_has_no_part_in_it(finder, animals, tmp_path):
    placed = []
    for level in (0.5, 0.01):
        span = in_air(tmp_path / "a.wav", animals["whistle"][0], snr_db=20, level=level)
        placed.append(finder.measure(tmp_path / "a.wav", [span])[0].features)
    one, other = place(np.stack(placed))
    assert one @ other > 0.98  # 34 dB apart


def test_half_of_the_likeness_compares_every_measurement():
    """And half what tells types apart: both parts of a vector of length one are as long."""
    placed = place(np.stack([features(seed) for seed in range(5)])).astype(np.float64)
    measured = placed[:, : len(prior().mean)]
    np.testing.assert_allclose(np.square(placed).sum(axis=1), 1, atol=1e-5)
    np.testing.assert_allclose(np.square(measured).sum(axis=1), 0.5, atol=1e-5)


def test_invented_animals_are_found_by_their_calls_in_more_and_less_noise(
    finder, animals, tmp_path
):
    rows, kinds = [], []
    for kind, calls in animals.items():
        for number, one in enumerate(calls):
            span = in_air(tmp_path / "a.wav", one, snr_db=(20, 14, 8, 4)[number], seed=number)
            rows.append(finder.measure(tmp_path / "a.wav", [span])[0].features)
            kinds.append(kind)
    placed = place(np.stack(rows))
    own = np.arange(len(kinds))
    assert mean_average_precision(placed @ placed.T, np.array(kinds), own) > 0.7


@pytest.fixture
def filled(catalogue: Catalogue) -> Catalogue:
    catalogue.put(
        (f"{i}.wav", plain_story(i, features=features(i), feature_version=FEATURE_VERSION), 1, "")
        for i in range(30)
    )
    return catalogue


def test_the_most_alike_come_first(filled: Catalogue, rng):
    near = features(7) + rng.normal(0, 0.2, len(features(7))).astype(np.float32)
    alike = like(filled, near, limit=5)
    assert alike[0].kept.path == "7.wav"
    scores = [one.score for one in alike]
    assert scores == sorted(scores, reverse=True)
    assert all(0 <= score <= 1 for score in scores)
    placed = place(np.stack([near, *(features(i) for i in range(30))]))
    assert scores == pytest.approx(np.sort(placed[1:] @ placed[0])[::-1][:5], abs=2e-3)


def test_the_sound_itself_is_left_out(filled: Catalogue):
    (kept,) = filled.kept_where("cuts.path = '7.wav'")
    sample = sample_of_kept(filled, kept)
    assert like(filled, sample.features, limit=1)[0].score == pytest.approx(1, abs=2e-3)
    alike = like(filled, sample.features, limit=99, without=[kept.story.id])
    assert len(alike) == 29
    assert kept not in [one.kept for one in alike]


def test_what_is_kept_later_is_compared_too(filled: Catalogue):
    like(filled, features(0))
    assert prepare(filled) == 0
    filled.put(
        [("x.wav", plain_story(99, features=features(99), feature_version=FEATURE_VERSION), 1, "")]
    )
    assert like(filled, features(99), limit=1)[0].kept.path == "x.wav"
    filled.remove(["x.wav"])
    assert like(filled, features(99), limit=1)[0].kept.path != "x.wav"
    (measured_again,) = filled.kept_where("cuts.path = '7.wav'")
    filled.put_features(measured_again.key, FEATURE_VERSION, features(99))
    assert like(filled, features(99), limit=1)[0].kept.path == "7.wav"


def test_a_library_that_may_only_be_read_can_be_asked(filled: Catalogue):
    (kept,) = filled.kept_where("cuts.path = '7.wav'")
    expected = [(one.kept.path, one.score) for one in like(filled, features(7), limit=9)]
    filled.put_vectors(PLACES_VERSION - 1, [(kept.key, np.zeros(3, np.float32))])
    filled.read("PRAGMA query_only = ON")
    found = [(one.kept.path, one.score) for one in like(filled, features(7), limit=9)]
    assert [path for path, _ in found] == [path for path, _ in expected]
    assert [score for _, score in found] == pytest.approx([s for _, s in expected], abs=2e-3)


def test_other_measurements_are_not_compared(filled: Catalogue):
    filled.put([("old.wav", plain_story(99, features=features(3)[:7], feature_version=1), 1, "")])
    filled.put([("new.wav", plain_story(98, features=features(98), feature_version=99), 1, "")])
    found = {one.kept.path for one in like(filled, features(3), limit=99)}
    assert len(found) == 30
    assert not found & {"old.wav", "new.wav"}


def test_vectors_that_another_calltag_placed_are_placed_again(filled: Catalogue):
    assert prepare(filled) == 30
    keys, vectors = filled.all_vectors(PLACES_VERSION)
    filled.put_vectors(PLACES_VERSION - 1, [(key, vectors[0]) for key in keys])
    assert like(filled, features(7), limit=1)[0].kept.path == "7.wav"
    again = dict(zip(*filled.all_vectors(PLACES_VERSION), strict=True))
    assert np.stack([again[key] for key in keys]) == pytest.approx(vectors, abs=2e-3)


def test_an_empty_library_has_nothing_alike(catalogue: Catalogue):
    assert like(catalogue, features(1)) == []


def test_calls_of_another_version_are_measured_again(keep, shot, catalogue):
    (kept,) = keep(wanted(shot, call(3.0), feature_version=99))
    assert measure_outdated(catalogue) == (1, [])
    version, vector = catalogue.features_of(kept.key)
    assert version == FEATURE_VERSION
    assert np.isfinite(vector).all()
    assert measure_outdated(catalogue) == (0, [])
    kept.file.unlink()
    catalogue.put_features(kept.key, 98, features(1))
    measured, (note,) = measure_outdated(catalogue)
    assert measured == 0
    assert note.startswith(kept.path)


def test_a_file_is_compared_by_its_call_or_its_loud_part(keep, shot, animals, tmp_path):
    in_air(tmp_path / "call.wav", animals["whistle"][0], snr_db=25)
    found = sample_of_file(tmp_path / "call.wav")
    assert found.is_call
    assert found.span.start_s == pytest.approx(AROUND_S, abs=0.15)
    thump = np.zeros((1, RATE_HZ), np.float32)
    thump[0, 20_000:24_000] = 0.5 * np.sin(np.arange(4000) * 0.004)
    write_wav(tmp_path / "thump.wav", thump, RATE_HZ)
    heard = sample_of_file(tmp_path / "thump.wav")
    assert not heard.is_call
    assert heard.span.start_s == pytest.approx(20_000 / RATE_HZ, abs=0.02)
    (kept,) = keep(wanted(shot, call(3.0)))
    own = sample_of_file(kept.file)
    np.testing.assert_array_equal(own.features, call(3.0).features)
    assert own.kept_id == kept.story.id


def test_of_several_calls_the_one_that_stands_out_most_is_compared(animals, finder, tmp_path):
    first, second = animals["whistle"][:2]
    gap = np.zeros(2 * RATE_HZ, np.float32)
    both = np.concatenate([0.1 * first / first.std(), gap, second / second.std()])  # 20 dB apart
    span = in_air(tmp_path / "both.wav", both, snr_db=30)
    found = finder.analyse(tmp_path / "both.wav", probe(tmp_path / "both.wav")).calls
    assert len(found) > 1  # or there is nothing to choose
    heard = sample_of_file(tmp_path / "both.wav")
    assert heard.is_call
    assert heard.span.start_s == pytest.approx(span.end_s - len(second) / RATE_HZ, abs=0.15)


@pytest.mark.parametrize("n_samples", [50, RATE_HZ])
def test_silence_cannot_be_compared(tmp_path, n_samples):
    write_wav(tmp_path / "silence.wav", np.zeros((1, n_samples), np.float32), RATE_HZ)
    with pytest.raises(MediaError, match="holds nothing but silence"):
        sample_of_file(tmp_path / "silence.wav")


def test_a_kept_file_of_another_version_is_measured_by_this_one(keep, shot, finder):
    (kept,) = keep(wanted(shot, call(3.0), feature_version=FEATURE_VERSION - 1))
    own = sample_of_file(kept.file)
    assert own.span == kept.story.call
    np.testing.assert_array_equal(
        own.features, finder.measure(kept.file, [kept.story.call])[0].features
    )


@pytest.mark.parametrize("rate_hz", [11_025, 22_050, 44_100, 48_000])
def test_a_loud_part_lies_where_it_sounds_at_any_rate(tmp_path, rate_hz):
    thump = np.zeros((1, 50 * rate_hz), np.float32)
    thump[0, 45 * rate_hz : 46 * rate_hz] = 0.5 * np.sin(np.arange(rate_hz) * 200 / rate_hz)
    write_wav(tmp_path / "thump.wav", thump, rate_hz)
    heard = sample_of_file(tmp_path / "thump.wav")
    assert not heard.is_call
    assert heard.span == pytest.approx((45.0, 46.0), abs=0.02)


@pytest.mark.field
def test_ten_kinds_of_sound_are_found_by_their_like(field: Path, finder: Finder):
    rows, kinds, sources = [], [], []
    for path in sorted((field / "esc10").rglob("*.ogg"))[::2]:
        samples, rate_hz = soundfile.read(path, always_2d=True)
        level = np.square(samples[:, 0])[: len(samples) // 441 * 441].reshape(-1, 441).mean(axis=1)
        loud = np.flatnonzero(level > level.max() * 1e-4) * 441 / rate_hz
        span = Span(loud[0], max(loud[-1] + 0.01, loud[0] + 0.1))
        rows.append(finder.measure(path, [span])[0].features)
        kinds.append(path.parent.name)
        sources.append(path.name.split("-")[1])  # clips of one recording share its number
    placed = place(np.stack(rows))
    figure = mean_average_precision(placed @ placed.T, np.array(kinds), np.array(sources))
    print(f"mean average precision {figure:.3f}")
    assert len(kinds) == 120
    assert figure > 0.5  # by chance 0.1


def test_the_starter_model_has_no_part_in_it():
    deaf = features(1).copy()
    deaf[EMBEDDING] = 0
    one, other = place(np.stack([features(1), deaf]))
    assert one @ other == pytest.approx(1, abs=1e-6)
