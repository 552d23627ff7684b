"""Lessons in what talk sounds like: takes, what is found in them, and what is learnt of it."""

from __future__ import annotations

import shutil
import subprocess
import sys

import numpy as np
import pytest

from calltag.errors import InputError
from calltag.learn.finding.talk import Talk
from calltag.learn.invented_takes.parts import TAKE_S
from calltag.learn.invented_talk import making, speakers, takes
from calltag.learn.invented_talk.takes import SORTS
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import starter_model
from calltag.learn.starter import synth_calls
from calltag.sound.spectrum import RATE_HZ


@pytest.fixture
def barkers(monkeypatch) -> None:
    """What sounds like calls in place of the programs that speak."""

    def barks(rng, length_s):
        bark = synth_calls.bark(rng)
        pause = np.zeros(RATE_HZ // 5, np.float32)
        return np.resize(np.concatenate([bark(), pause, bark(), pause]), round(length_s * RATE_HZ))

    monkeypatch.setattr(takes, "talk", barks)


@pytest.mark.parametrize("sort", SORTS)
@pytest.mark.usefixtures("barkers")
def test_a_take_holds_what_it_says_and_where(rng, sort) -> None:
    for _ in range(3):
        take = takes.take(rng, sort)
        assert len(take.samples) == TAKE_S * RATE_HZ
        assert np.abs(take.samples).max() <= 0.601
        assert bool(take.others) == ("talk" in sort)
        assert bool(take.calls) == ("animals" in sort)
        for span in (*take.others, *take.calls):
            assert 0 < span.start_s < span.end_s <= TAKE_S


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
