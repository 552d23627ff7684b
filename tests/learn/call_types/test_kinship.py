from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
import soundfile
import soxr
from scipy.stats import multivariate_normal

from calltag.errors import ModelError
from calltag.learn.call_types import kinship
from calltag.learn.call_types.judges import Judges
from calltag.learn.call_types.kinship import N_FEATURES, Kin, Kinship, prior
from calltag.learn.invented_types.animals import animal
from calltag.learn.invented_types.covariances import with_voices
from calltag.learn.invented_types.heard import backgrounds, heard
from calltag.learn.networks.voice import voice
from calltag.sound.features import N_MEASURED
from calltag.sound.spectrum import RATE_HZ

N = 6


@pytest.fixture
def known() -> Kinship:
    """Types spread four times as wide as the calls of one, in six measurements."""
    one = np.ones(N)
    return Kinship(np.zeros(N), one, np.eye(N), np.zeros(N), 4.0 * one)


def known_and_strange(
    calls: list[Callable[[], np.ndarray]], rng: np.random.Generator
) -> tuple[float, float]:
    """Teach half of some types with three calls each, and hear three more of all of them.

    Share of the taught ones that are known, and area under the curve of taught against untaught.
    """
    around = backgrounds(rng, each=2)
    each = [heard(rng, call(), around) for call in calls for _ in range(6)]
    measured = [one for one in each if one is not None]
    assert len(measured) == len(each)
    table = with_voices(measured, voice()).reshape(len(calls), 6, -1)
    half = len(calls) // 2
    kin = Kin.fit(prior(), np.concatenate(table[:half, :3]), np.repeat(np.arange(half), 3))
    own = kin.scores(np.concatenate(table[:half, 3:]))
    strange = kin.scores(np.concatenate(table[half:])).max(axis=1)
    right = own.argmax(axis=1) == np.repeat(np.arange(half), 3)
    return float(right.mean()), float((own.max(axis=1)[:, None] > strange).mean())


def test_kinship_is_the_ratio_of_two_normal_densities(known, rng) -> None:
    """One example of a type: the joint density of both calls over the product of their own.

    By the definition of the ratio (S. Ioffe, ECCV 2006, section 4), with scipy's densities.
    """
    example, find = rng.normal(0, 2, (2, N))
    nobody = np.zeros((0, N)), np.zeros(0)
    score = Kin(known, example[None], np.array([0]), *nobody).scores(find[None])[0, 0]
    pair = np.array([[5.0, 4.0], [4.0, 5.0]])
    both = np.column_stack([example, find])
    together = multivariate_normal(cov=pair).logpdf(both).sum()
    apart = multivariate_normal(cov=5.0).logpdf(both.ravel()).sum()
    assert score == pytest.approx(together - apart)


def test_sameness_is_the_ratio_of_two_normal_densities(known, rng) -> None:
    """Two finds of one type, whichever: the same ratio, as S. Ioffe has it for a pair."""
    one, two = rng.normal(0, 2, (2, N))
    pair = np.array([[5.0, 4.0], [4.0, 5.0]])
    together = multivariate_normal(cov=pair).logpdf(np.column_stack([one, two])).sum()
    apart = multivariate_normal(cov=5.0).logpdf(np.concatenate([one, two])).sum()
    sameness = known.sameness(one[None], np.stack([two, one]))
    assert sameness.shape == (1, 2)
    assert sameness[0, 0] == pytest.approx(together - apart)
    assert sameness[0, 1] > sameness[0, 0], "nothing is liker than itself"


def test_the_nearer_type_scores_higher_and_a_stranger_below_nothing(known, rng) -> None:
    centres = np.array([[4.0] * N, [-4.0] * N])
    codes = np.repeat([0, 1], 5)
    kin = Kin.fit(known, centres[codes] + rng.normal(0, 1, (10, N)), codes)
    scores = kin.scores(centres[codes] + rng.normal(0, 1, (10, N)))
    assert (scores.argmax(axis=1) == codes).all()
    assert (scores.max(axis=1) > 2).all()
    strange = np.where(np.arange(N) % 2, 4.0, -4.0) + rng.normal(0, 1, (10, N))
    assert (kin.scores(strange) < 0).all()


def test_a_type_in_two_places_is_known_in_both(known, rng) -> None:
    centres = np.array([[3.0] * N, np.where(np.arange(N) % 2, 6.0, -6.0)])
    kin = Kin.fit(known, np.repeat(centres, 4, axis=0), np.zeros(8, int))
    assert (kin.scores(centres + rng.normal(0, 0.5, (2, N))) > 0).all()


def test_users_examples_widen_the_spread(known, rng) -> None:
    """Types that vary more than was known beforehand leave more room for their calls."""
    codes = np.repeat(np.arange(4), 30)
    centres = rng.normal(0, 2, (4, N))
    narrow = Kin.fit(known, centres[codes] + rng.normal(0, 1, (120, N)), codes)
    wide = Kin.fit(known, centres[codes] + rng.normal(0, 3, (120, N)), codes)
    assert narrow.known.spread.mean() == pytest.approx(4, rel=0.3)
    assert wide.known.spread.mean() < 1.2


def test_company_is_a_mixture_of_normal_densities(known, rng) -> None:
    """Strangers: five parts of the average one, and each find of the company three times over.

    Against scipy's densities; what is known of a type by one example follows from the normal
    posterior (A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 2.5; from memory).
    """
    examples, others, finds = rng.normal(0, 2, (3, 4, N))
    alone = Kin.fit(known, examples, np.arange(4))
    among = Kin.fit(known, examples, np.arange(4), others)
    fitted = among.known
    placed, company = fitted.place(finds), fitted.place(others)
    chance = 1 / (1 + np.exp(alone.scores(others).max(axis=1)))
    total = 5 + chance.sum()
    average = multivariate_normal(np.zeros(N), np.diag(1 + fitted.spread)).pdf(placed)
    sure = 1 + 1 / fitted.spread
    for one, share in zip(company, chance, strict=True):
        own = multivariate_normal(one / sure, np.diag(1 + 1 / sure)).pdf(placed)
        average = average + 3 * share / 5 * own
    lone = multivariate_normal(np.zeros(N), np.diag(1 + fitted.spread)).pdf(placed)
    expected = alone.scores(finds) - np.log(average * 5 / total / lone)[:, None]
    assert among.scores(finds) == pytest.approx(expected)


def test_a_stranger_that_was_heard_before_is_known_as_one(known, rng) -> None:
    """It lies near a taught type; finds of the type among the company hardly count against it."""
    taught, strange = np.full(N, 2.0), np.where(np.arange(N) % 2, 2.0, 0.5)
    codes = np.zeros(10, int)
    examples = taught + rng.normal(0, 1, (10, N))
    company = np.concatenate(
        [taught + rng.normal(0, 1, (30, N)), strange + rng.normal(0, 1, (30, N))]
    )
    alone, among = Kin.fit(known, examples, codes), Kin.fit(known, examples, codes, company)
    same, other = (place + rng.normal(0, 1, (200, N)) for place in (taught, strange))

    def area(kin: Kin) -> float:
        return float((kin.scores(same) > kin.scores(other).T).mean())

    assert area(among) > area(alone) + 0.02
    assert (among.scores(same) <= alone.scores(same) + 3).all()


def test_a_find_is_no_company_to_itself(known, rng) -> None:
    examples, find, others = rng.normal(0, 2, (4, N)), rng.normal(0, 2, (1, N)), np.zeros((0, N))
    codes = np.arange(4)
    without = Kin.fit(known, examples, codes, others)
    within = Kin.fit(known, examples, codes, find)
    # what is left is that the average stranger counts for less, with a find more
    share = 5 / (5 + within.strange.sum())
    assert within.scores(find) == pytest.approx(without.scores(find) - np.log(share))


def test_the_prior_fits_the_features_and_tells_invented_types_apart() -> None:
    """Types that it was not made of; half of the calls in noise at 10 dB or less."""
    rng = np.random.default_rng(99)
    right, area = known_and_strange([animal(rng) for _ in range(8)], rng)
    assert right > 0.75
    assert area > 0.8
    assert len(prior().mean) == N_MEASURED < N_FEATURES


@pytest.mark.field
def test_recorded_birds_stay_apart_and_unknown(field, rng) -> None:
    """The first four seconds of six recordings, each put into six other noises."""
    calls = []
    for path in sorted((field / "calls").glob("*.ogg")):
        samples, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
        sound = soxr.resample(samples[:, 0], rate_hz, RATE_HZ)[: 4 * RATE_HZ]
        calls.append(partial(np.copy, sound / np.abs(sound).max()))
    right, area = known_and_strange([calls[i] for i in rng.permutation(len(calls))], rng)
    assert right > 0.9
    assert area > 0.9


def test_judges_of_whole_rows_hear_the_prior_and_others_do_not(rng, monkeypatch) -> None:
    one, few = np.ones(N_MEASURED), np.ones(24)
    ways = np.linalg.qr(rng.normal(size=(N_MEASURED, 24)))[0]
    known = Kinship(0 * one, one, ways, 0 * few, 2 * few)
    monkeypatch.setattr("calltag.learn.call_types.judges.prior", lambda: known)
    places = rng.normal(0, np.sqrt(known.spread), (4, 24))
    codes = np.repeat(np.arange(4), 5)

    def rows(of: np.ndarray) -> np.ndarray:
        measured = (of + rng.normal(0, 1, of.shape)) @ ways.T
        return np.pad(measured, ((0, 0), (0, N_FEATURES - N_MEASURED)))

    labels = np.array(list("abcd"))[codes]
    judges = Judges.fit(rows(places[codes]), labels)
    judgement = judges.judge(rows(places[codes]))
    assert (judges.classes[judgement.votes.argmax(axis=1)] == labels).mean() > 0.9
    strangers = judges.judge(rows(rng.normal(0, np.sqrt(known.spread), (20, 24))))
    assert np.median(judgement.kinship) > np.median(strangers.kinship) + 3
    short = Judges.fit(rows(places[codes])[:, :40], labels)
    assert short.kin is None
    assert not short.judge(rows(places[codes])[:, :40]).kinship.any()


def test_a_damaged_prior_is_refused(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(kinship, "PRIOR", tmp_path / "kinship.npz")
    prior.cache_clear()
    try:
        with pytest.raises(ModelError, match="install calltag again"):
            prior()
        np.savez(tmp_path / "kinship.npz", measured_version=0, **known_arrays())
        with pytest.raises(ModelError, match="other measurements"):
            prior()
    finally:
        prior.cache_clear()


def known_arrays() -> dict[str, np.ndarray]:
    return Kinship(*np.ones((5, 2))).arrays()
