"""Lessons in what is no call, of both courses that there are: which events, and what is learnt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.finding.whole import Whole, WholeEvent
from calltag.learn.invented_hands.making import COURSE as HANDS
from calltag.learn.invented_takes import lessons
from calltag.learn.invented_takes.lessons import Course, Lesson, Take
from calltag.learn.invented_talk.making import COURSE as TALK
from calltag.learn.networks.starter_model import STEPS_PER_S, StarterModel, starter_model
from calltag.learn.starter.calibrate import hear
from calltag.records.span import Span
from calltag.sound.spectrum import RATE_HZ

COURSES = pytest.mark.parametrize("course", [TALK, HANDS], ids=["talk", "hands"])


def drawn(is_other: np.ndarray, rows: np.ndarray) -> list[Lesson]:
    return [Lesson(bool(so), row, 1.0) for so, row in zip(is_other, rows, strict=True)]


def tones(rng: np.random.Generator) -> np.ndarray:
    """Two tones of 3 kHz, half a second each, in four seconds of faint noise."""
    sound = rng.standard_normal(4 * RATE_HZ) * 0.001
    n = RATE_HZ // 2
    tone = 0.3 * np.sin(2 * np.pi * 3000 * np.arange(n) / RATE_HZ) * np.hanning(n)
    for at in (RATE_HZ // 2, 5 * RATE_HZ // 2):
        sound[at : at + n] += tone
    return sound.astype(np.float32)


class Heard:
    """Seven events of a second, each known by its place among the evidence."""

    @staticmethod
    def events() -> list[WholeEvent]:
        starts_s = (1, 5, 9, 13, 2, 3, 20)
        return [
            WholeEvent(STEPS_PER_S * at, STEPS_PER_S * (at + 1), None, np.eye(7)[i])
            for i, at in enumerate(starts_s)
        ]


class Look:
    """Takes all events for calls but the fifth."""

    @staticmethod
    def probability_of(row: np.ndarray) -> float:
        return 0.05 if row[4] else 0.9


@pytest.mark.parametrize(("least_share", "half_is_enough"), [(0.5, False), (0.3, True)])
def test_what_is_surely_one_of_both_is_a_lesson(monkeypatch, least_share, half_is_enough) -> None:
    """The other, a call, one amid the other, nothing, an unlikely one, both in turn, and half."""
    monkeypatch.setattr(lessons.Whole, "listen", lambda *_: Heard)
    course = replace(
        HANDS,
        least_share=least_share,
        evidence=lambda _whole: lambda event: event.evidence,
        amid_weight=0.25,
    )
    others = (Span(0.5, 4), Span(8.5, 11), Span(20, 20.45))
    take = Take(np.zeros(0), others, (Span(3.7, 4.1), Span(4.9, 6.1), Span(9.0, 9.9)))
    found = lessons.lessons(course, None, Look(), take)
    assert [(one.is_other, int(one.evidence.argmax()), one.weight) for one in found] == [
        (True, 0, 1.0),
        (False, 1, 1.0),
        (False, 2, 0.25),
        *[(True, 6, 1.0)] * half_is_enough,
    ]


@COURSES
def test_a_course_asks_for_the_evidence_that_is_judged_by(course: Course, rng) -> None:
    sound = tones(rng)
    whole = Whole.listen(StarterModel(starter_model()), sound)
    evidence_of = course.evidence(whole)
    events = whole.events()
    assert events
    for event in events:
        row = evidence_of(event)
        assert row.shape == (len(course.kind.asked),)
        assert np.isfinite(row).all()


@COURSES
def test_what_is_learnt_tells_the_lessons_apart(course: Course, rng) -> None:
    rows = rng.normal(0, 1, (400, len(course.kind.asked)))
    is_other = rng.random(400) < 0.5
    rows[is_other, course.kind.asked.index("top_odds")] += 4
    made = lessons.fit(course, drawn(is_other, rows))
    assert isinstance(made, course.kind)
    told = np.array([made.probability_of(row) for row in rows])
    assert ((told > 0.5) == is_other).mean() > 0.9
    assert made.lessons == {course.name: is_other.sum(), "calls": (~is_other).sum()}


@COURSES
def test_lessons_are_learnt_as_they_are_judged(course: Course, rng) -> None:
    """A regression's mean odds are those of its lessons; four of them lie ten spreads out."""
    rows = rng.normal(0, 1, (400, len(course.kind.asked)))
    is_other = rows[:, 0] > 0
    is_other[:4], rows[:4, 1] = True, 100
    made = lessons.fit(course, drawn(is_other, rows))
    made = replace(made, usual_odds=made.usual_odds + made.rarer)
    told = [made.probability_of(row) for row in rows]
    assert np.mean(told) == pytest.approx(is_other.mean(), abs=1e-4)


def test_a_lesson_that_counts_less_is_heeded_less(rng) -> None:
    """Of two kinds of lessons that contradict each other, those that count more are believed."""
    rows = rng.normal(0, 1, (400, len(HANDS.kind.asked)))
    is_other = (rows[:, 0] > 0) == (np.arange(400) < 200)
    learnt = [
        one._replace(weight=1.0 if i < 200 else 0.1) for i, one in enumerate(drawn(is_other, rows))
    ]
    assert lessons.fit(HANDS, learnt).weight[0] > 0.3
    assert abs(lessons.fit(HANDS, drawn(is_other, rows)).weight[0]) < 0.3


@COURSES
@pytest.mark.parametrize("is_other", [True, False])
def test_without_one_of_both_nothing_is_learnt(course: Course, is_other) -> None:
    counts = (1, 0) if is_other else (0, 1)
    said = f"{counts[0]} events of {course.noun} and {counts[1]} calls were found: make more"
    with pytest.raises(InputError, match=said):
        lessons.fit(course, [Lesson(is_other, np.zeros(len(course.kind.asked)), 1.0)])


def test_a_scene_is_heard_event_by_event(rng) -> None:
    """What the second look is taught with, and what lessons are made of, are the same events."""
    sound = tones(rng)
    hearing = StarterModel(starter_model())
    events, scene = Whole.listen(hearing, sound).events(), hear(hearing, sound)
    assert len(events) == 2
    assert scene.finds == tuple(event.span for event in events)
    assert np.array_equal(scene.evidence, [event.evidence for event in events])
