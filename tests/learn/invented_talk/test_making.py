"""Lessons in what talk sounds like: takes, what is found in them, and what is learnt of it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import scipy.signal

from calltag.errors import InputError
from calltag.learn.finding.surroundings import EVIDENCE
from calltag.learn.finding.talk import TALK_EVIDENCE, Talk
from calltag.learn.invented_talk import making, speakers, takes
from calltag.learn.invented_talk.takes import SORTS, TAKE_S, Take
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import starter_model
from calltag.learn.starter import synth_calls
from calltag.records.span import Span
from calltag.sound.events import measure_region
from calltag.sound.spectrum import N_BINS, RATE_HZ


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(5)


@pytest.fixture
def barkers(monkeypatch) -> None:
    """What sounds like calls in place of the programs that speak."""

    def barks(rng, length_s):
        bark = synth_calls.bark(rng)
        pause = np.zeros(RATE_HZ // 5, np.float32)
        return np.resize(np.concatenate([bark(), pause, bark(), pause]), round(length_s * RATE_HZ))

    monkeypatch.setattr(takes, "talk", barks)


def level_db(sound: np.ndarray) -> float:
    return float(10 * np.log10((sound**2).mean()))


@pytest.mark.parametrize("sort", SORTS)
@pytest.mark.usefixtures("barkers")
def test_a_take_holds_what_it_says_and_where(rng, sort) -> None:
    for _ in range(3):
        take = takes.take(rng, sort)
        assert len(take.samples) == TAKE_S * RATE_HZ
        assert np.abs(take.samples).max() <= 0.601
        assert bool(take.talk) == ("talk" in sort)
        assert bool(take.calls) == ("animals" in sort)
        for span in (*take.talk, *take.calls):
            assert 0 < span.start_s < span.end_s <= TAKE_S


def test_talk_stands_out_by_what_is_asked_in_its_own_band(rng) -> None:
    """Noise between 1 and 2 kHz for a quarter of the take, over noise that has all frequencies."""
    n = TAKE_S * RATE_HZ
    sound, behind = np.zeros(n), rng.standard_normal(n)
    band = scipy.signal.butter(8, [1000, 2000], "band", fs=RATE_HZ, output="sos")
    sound[n // 2 : n * 3 // 4] = scipy.signal.sosfilt(band, rng.standard_normal(n // 4))
    part = takes.Part(sound, (Span(TAKE_S / 2, TAKE_S * 3 / 4),))
    lifted = takes._gain(part, behind, 12.0) * sound[n // 2 : n * 3 // 4]
    over_db = level_db(lifted) - level_db(scipy.signal.sosfilt(band, behind))
    assert over_db == pytest.approx(12, abs=0.5)


def test_what_is_surely_one_of_both_is_a_lesson(monkeypatch) -> None:
    """Talk, a call, a call while someone talks, nothing, an unlikely one, and a word and a call."""
    sounding = np.zeros((3000, N_BINS), np.float32)

    class Heard:
        """Six events of a second; each is known by its place among the evidence."""

        segments = staticmethod(lambda: [(50 * at, 50 * at + 50) for at in (1, 5, 9, 13, 2, 3)])

        @staticmethod
        def regions(segments):
            return [measure_region(sounding + 1, sounding[:, 0] > 0, *one) for one in segments]

        @staticmethod
        def surroundings(_segments):
            return SimpleNamespace(evidence=lambda i, _: np.eye(6, len(EVIDENCE))[i])

    class Look:
        def probability_of(self, row):
            return 0.05 if row[4] else 0.9

    monkeypatch.setattr(making.Whole, "listen", lambda *_: Heard)
    calls = (Span(3.7, 4.1), Span(4.9, 6.1), Span(9.0, 9.9))
    lessons = making.lessons(None, Look(), Take(np.zeros(0), (Span(0.5, 4), Span(8.5, 11)), calls))
    assert [(one.is_talk, int(one.evidence.argmax())) for one in lessons] == [
        (True, 0),
        (False, 1),
        (False, 2),
    ]
    assert {len(one.evidence) for one in lessons} == {len(TALK_EVIDENCE)}


def test_what_is_learnt_tells_the_lessons_apart(rng) -> None:
    voice = TALK_EVIDENCE.index("voice_in_it")
    rows = rng.normal(0, 1, (400, len(TALK_EVIDENCE)))
    is_talk = rng.random(400) < 0.5
    rows[is_talk, voice] += 4
    talk = making.fit([making.Lesson(*one) for one in zip(is_talk, rows, strict=True)])
    told = np.array([talk.probability_of(row) for row in rows])
    assert ((told > 0.5) == is_talk).mean() > 0.9
    assert talk.lessons == {"talk": is_talk.sum(), "calls": (~is_talk).sum()}


def test_lessons_are_learnt_as_they_are_judged(rng) -> None:
    """A regression's mean odds are those of its lessons; four of them lie ten spreads out."""
    rows = rng.normal(0, 1, (400, len(TALK_EVIDENCE)))
    is_talk = rows[:, 0] > 0
    is_talk[:4], rows[:4, 1] = True, 100
    talk = making.fit([making.Lesson(*one) for one in zip(is_talk, rows, strict=True)])
    talk = replace(talk, usual_odds=talk.usual_odds + Talk.rarer)
    told = [talk.probability_of(row) for row in rows]
    assert np.mean(told) == pytest.approx(is_talk.mean(), abs=1e-4)


def test_without_talk_or_calls_nothing_is_learnt() -> None:
    with pytest.raises(InputError, match="0 events of talk and 1 calls were found: make more"):
        making.fit([making.Lesson(False, np.zeros(len(TALK_EVIDENCE)))])


@pytest.mark.usefixtures("barkers")
def test_what_is_made_lies_beside_its_model(tmp_path) -> None:
    shipped = StarterFiles.of(starter_model())
    for path in (shipped.model, shipped.closer, shipped.card, shipped.second_look):
        shutil.copy(path, tmp_path)
    files = StarterFiles.of(tmp_path / shipped.model.name)
    made = making.make(files.model, takes=2, seed=1)
    assert Talk.read(files.talk) == made
    assert min(made.lessons.values()) > 0
    with pytest.raises(InputError, match="0 takes"):
        making.make(files.model, takes=0, seed=1)


def test_sentences_are_words_that_a_voice_can_follow(rng) -> None:
    said = [speakers.sentence(rng) for _ in range(50)]
    assert len(set(said)) > 45
    assert all(text[0].isupper() and text[-1] in ".?!" for text in said)
    assert {1, 10} <= {len(text.split()) for text in said}


def test_without_voices_the_program_says_so_in_one_sentence() -> None:
    """Run as a developer runs it, where no program is found."""
    done = subprocess.run(
        [sys.executable, "-m", "calltag.learn.invented_talk"],
        capture_output=True,
        text=True,
        check=False,
        env={"PATH": "", "PYTHONPATH": ":".join(sys.path)},
    )
    assert done.returncode == 1
    assert done.stderr.startswith("espeak-ng and flite not installed")
    assert done.stderr.count("\n") == 1


@pytest.mark.skipif(
    any(shutil.which(name) is None for name in ("espeak-ng", "flite")), reason="no one to speak"
)
def test_people_talk_as_long_as_they_are_asked_to(rng) -> None:
    for _ in range(4):
        sound = speakers.talk(rng, 3.0)
        assert 3.0 * RATE_HZ <= len(sound) < 20 * RATE_HZ
        assert np.abs(sound).max() == pytest.approx(1)
        assert (np.abs(sound) > 0.05).mean() > 0.05
