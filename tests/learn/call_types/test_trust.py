from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calltag.learn.call_types.confidence import Confidence
from calltag.learn.call_types.judges import Evidence
from calltag.learn.call_types.out_of_fold import OutOfFold, Strangers
from calltag.learn.call_types.panel import Opinion, Said
from calltag.learn.call_types.trust import LEAST_AMONG, Trust, fit_trust

BOOM, RASP = "marsh hooter: boom", "pit rail: rasp"
BY_VOTES = (0.0, 1.0, 0.0, 0.0)  # a curve that is as sure as the votes say


def said(label: str, votes: float) -> Said:
    return Said(np.array([label]), Evidence(np.array([votes]), np.zeros(1), np.zeros(1)))


@pytest.mark.parametrize(
    ("everything", "types", "call_share", "verdict"),
    [
        # sure noise has the last word
        (("wind", 0.9), (BOOM, 0.95), 0.1, ("wind", 0.9, True)),
        (("no call", 0.8), (BOOM, 0.95), 0.2, ("no call", 0.8, True)),
        # of what is a call, those who know types tell which
        ((BOOM, 0.9), (RASP, 0.95), 0.9, (RASP, 0.95, True)),
        ((BOOM, 0.9), (RASP, 0.8), 0.9, (RASP, 0.8, False)),
        ((BOOM, 0.4), (BOOM, 0.95), 0.6, (BOOM, 0.95, True)),
        # of what is hardly noise, if it may be a call at all
        (("wind", 0.4), (BOOM, 0.95), 0.6, (BOOM, 0.95, True)),
        (("wind", 0.4), (BOOM, 0.8), 0.6, ("wind", 0.4, False)),
        (("wind", 0.6), (BOOM, 0.95), 0.2, ("wind", 0.6, False)),
        # where all are judged at once
        ((BOOM, 0.9), None, 0.9, (BOOM, 0.9, True)),
        (("wind", 0.6), None, 0.2, ("wind", 0.6, False)),
    ],
)
def test_who_has_the_last_word(everything, types, call_share, verdict) -> None:
    trust = Trust(Confidence(BY_VOTES, 0.7), None if types is None else Confidence(BY_VOTES, 0.9))
    opinion = Opinion(said(*everything), types and said(*types), np.array([call_share]))
    (label,), (sure,), (given,) = trust.verdict(opinion)
    assert (label, given) == (verdict[0], verdict[2])
    assert sure == pytest.approx(verdict[1])


def test_what_finds_tell_each_other_is_given_as_before_and_less_surely() -> None:
    trust = Trust(Confidence(BY_VOTES, 0.7), Confidence(BY_VOTES, 0.8))
    label = np.array([BOOM, BOOM, BOOM, BOOM, BOOM, "wind", "wind"])
    sure = np.array([0.0, 0.79, 0.8, np.nextafter(0.8, 1), 1.0, 0.69, 0.95])
    told = trust.told(label, sure, np.ones(7, bool))
    assert told.given.tolist() == trust.enough(label, sure).tolist()
    assert told.sure[[0, 1, 2, 5]].tolist() == sure[[0, 1, 2, 5]].tolist()
    odds = told.sure[[4, 6]] / (1 - told.sure[[4, 6]])
    # half of the log-odds beyond what is enough: 4 for types, 7/3 for noise
    assert odds[1] == pytest.approx((7 / 3 * 19) ** 0.5)
    assert 0.999 < told.sure[4] < 1
    assert odds[0] > odds[1]
    untold = trust.told(label, sure, np.arange(7) != 4)
    assert untold.sure.tolist() == [*told.sure[:4], 1.0, *told.sure[5:]]


def test_what_finds_tell_each_other_keeps_their_order(rng) -> None:
    trust, label = Trust(Confidence(BY_VOTES, 0.7), None), np.full(100, BOOM)
    sure = np.sort(rng.uniform(0, 1, 100))
    told = trust.told(label, sure, np.ones(100, bool))
    assert (np.diff(told.sure) > 0).all()
    assert (told.sure <= sure).all()


def trials(*, of_noise: float = 0.9) -> tuple[OutOfFold, Strangers]:
    """Trials of thirty booms and rasps and ten gusts, and ten booms as strangers."""
    labels = np.repeat([BOOM, RASP, "wind"], [30, 30, 10])
    votes = np.where(np.arange(70) % 5 < 3, 0.99, 0.55)  # three of five are plain
    types_votes = np.where(labels == "wind", of_noise, votes)
    types_best = np.where(labels == "wind", BOOM, labels)
    none, every = np.zeros(70), np.ones(70, bool)
    opinion = Opinion(
        Said(labels, Evidence(votes, none, none)),
        Said(types_best, Evidence(types_votes, none, none)),
        none,
    )
    taken_for = Said(np.full(10, RASP), Evidence(np.full(10, 0.75), np.zeros(10), np.zeros(10)))
    strangers = Strangers(Opinion(taken_for, taken_for, np.ones(10)), np.arange(10))
    return OutOfFold(labels, opinion, np.zeros(70, np.intp), every, every), strangers


def test_types_are_trusted_by_trials_of_calls_alone() -> None:
    used = np.ones(70, bool)
    trust, other = (fit_trust(*trials(of_noise=votes), used) for votes in (0.9, 0.99))
    assert trust.types is not None
    assert trust.types == other.types
    assert trust.types != trust.everything


def test_the_threshold_reckons_with_as_many_strangers_as_are_known() -> None:
    known, unknown = trials()
    trust = fit_trust(known, unknown, np.ones(70, bool))
    assert not trust.verdict(unknown.opinion).given.any()
    assert trust.verdict(known.opinion).given.sum() == 42


def opinion_of(labels: list[str], votes: list[float]) -> Opinion:
    n = len(labels)
    both = Said(np.array(labels), Evidence(np.array(votes), np.zeros(n), np.zeros(n)))
    return Opinion(both, both, np.ones(n))


def test_where_types_are_rare_their_odds_fall_by_bayes_rule_and_noise_stays() -> None:
    """Of trials 10 of 11 are of taught types; of finds, half: the odds fall to a tenth."""
    trust = Trust(Confidence(BY_VOTES, 0.8), Confidence(BY_VOTES, 0.9))
    opinion = opinion_of([BOOM, BOOM, BOOM, "wind"], [0.99, 0.96, 0.5, 0.9])
    among = trust.among(0.5).verdict(opinion)
    assert among.label.tolist() == opinion.everything.best.tolist()
    odds = among.sure / (1 - among.sure)
    assert odds == pytest.approx([9.9, 2.4, 0.1, 9.0])
    assert among.given.tolist() == [True, among.sure[1] >= LEAST_AMONG, False, True]
    assert trust.among(0.95).verdict(opinion).sure == pytest.approx(trust.verdict(opinion).sure)


def test_a_name_is_given_where_it_was_before_if_it_is_sure_enough_among_all() -> None:
    """Odds fall to a tenth: of what was given, 0.94 is too little then, and 0.99 is not."""
    opinion = opinion_of([BOOM, BOOM, BOOM], [0.94, 0.98, 0.99])
    lenient, strict = (
        Trust(Confidence(BY_VOTES, 0.8), Confidence(BY_VOTES, t)) for t in (0.6, 0.985)
    )
    assert lenient.verdict(opinion).given.tolist() == [True, True, True]
    assert lenient.among(0.5).verdict(opinion).given.tolist() == [False, True, True]
    assert strict.among(0.5).verdict(opinion).given.tolist() == [False, False, True]
    for trust, least in ((lenient, 0.7), (strict, 0.8679)):  # odds of 197 / 3, and of 19.7 / 3
        assert trust.among(0.5).of_types.threshold == pytest.approx(least, abs=1e-4)


def test_a_panel_without_judges_of_types_reckons_with_rare_types_too() -> None:
    trust = Trust(Confidence(BY_VOTES, 0.8), None).among(0.5)
    opinion = replace(opinion_of([BOOM, "wind"], [0.99, 0.9]), types=None)
    sure = trust.verdict(opinion).sure
    assert sure / (1 - sure) == pytest.approx([9.9, 9.0])


def test_half_of_how_rare_types_are_waits_until_finds_have_told_each_other() -> None:
    trust = Trust(Confidence(BY_VOTES, 0.8), Confidence(BY_VOTES, 0.9)).among(0.5)
    alone = trust.verdict(opinion_of([BOOM, BOOM, "wind"], [0.99, 0.9, 0.7]))
    to_tell = trust.to_tell(alone)
    odds = to_tell / (1 - to_tell)
    assert odds == pytest.approx([99 / 10**0.5, 9 / 10**0.5, 7 / 3])
    told = trust.told(alone.label, to_tell, np.zeros(3, bool))
    assert told.sure == pytest.approx(alone.sure)
    assert told.given.tolist() == alone.given.tolist()
    nobody_knows = Trust(Confidence(BY_VOTES, 0.8), Confidence(BY_VOTES, 0.9))
    assert nobody_knows.to_tell(alone) is alone.sure


def tried(labels: list[str], opinion: Opinion) -> OutOfFold:
    n = len(labels)
    return OutOfFold(np.array(labels), opinion, np.zeros(n, np.intp), *np.ones((2, n), bool))


def test_the_share_of_types_is_that_of_the_finds_that_are_sure_of_one() -> None:
    trust = Trust(Confidence(BY_VOTES, 0.5), Confidence(BY_VOTES, 0.5))
    known = tried([BOOM] * 9, opinion_of([BOOM] * 9, [0.9999] * 9))
    one_in_ten = opinion_of([BOOM] * 100 + ["wind"] * 900, [0.9999] * 1000)
    assert trust.share_of_types(one_in_ten, 10_000, known) == pytest.approx(0.1, abs=0.02)
    types_only = opinion_of([BOOM] * 1000, [0.9999] * 1000)
    assert trust.share_of_types(types_only, 10_000, known) == pytest.approx(1 / 1.1)


def test_labelled_sounds_that_were_known_keep_their_names() -> None:
    """Of those that are right; wrong ones, and noise, say nothing of how sure calls are."""
    trust = Trust(Confidence(BY_VOTES, 0.5), Confidence(BY_VOTES, 0.5))
    labels = [BOOM] * 20 + ["wind"] * 20 + [RASP] * 20
    known = tried(labels, opinion_of([BOOM] * 20 + ["wind"] * 20 + [BOOM] * 20, [0.9] * 60))
    nearly_none = opinion_of(["wind"] * 5000, [0.9] * 5000)
    share = trust.share_of_types(nearly_none, 10_000, known)
    unchecked = tried([BOOM] * 200, opinion_of([BOOM] * 200, [0.99] * 200)).without(
        np.ones(200, bool)
    )
    assert trust.share_of_types(nearly_none, 10_000, unchecked) == pytest.approx(10 / 11)
    assert share == pytest.approx(0.72, abs=0.01)  # 0.9 sure there is 0.7 sure: odds of 9, 7 / 3
    among = trust.among(share).verdict(known.opinion)
    assert among.sure[:20] == pytest.approx(LEAST_AMONG)
