"""What tells talk from calls: the sum, its file, and people who exist."""

from __future__ import annotations

import json

import librosa
import numpy as np
import pytest
import scipy.signal
import soundfile as sf

from calltag.errors import ModelError
from calltag.learn.finding.finder import Finder
from calltag.learn.finding.second_look import LEAST_PROBABILITY
from calltag.learn.finding.surroundings import EVIDENCE
from calltag.learn.finding.talk import TALK_EVIDENCE, Talk, judge, talk_evidence
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import starter_model
from calltag.media.probe import probe
from calltag.sound.events import Region
from calltag.sound.spectrum import BIN_HZ, N_BINS, RATE_HZ, power_spectrum

VOICE = TALK_EVIDENCE.index("voice_in_it")
NAME = "starter_talk.json"


class Look:
    """Says the same of everything."""

    def __init__(self, probability: float) -> None:
        self._probability = probability

    def probability(self, evidence: np.ndarray) -> np.ndarray:
        return np.full(len(evidence), self._probability)


@pytest.fixture
def talk() -> Talk:
    """One that asks for a voice alone: usually -4, and each 2 more are 3 more log-odds."""
    n = len(TALK_EVIDENCE)
    usual, weight = np.zeros(n), np.zeros(n)
    usual[VOICE], weight[VOICE] = -4.0, 3.0
    counts = {"talk": 1, "calls": 1}
    return Talk(TALK_EVIDENCE, tuple(usual), (2.0,) * n, tuple(weight), -2.0, counts)


def evidence(voice: float) -> np.ndarray:
    """What surrounds an event, in which a voice has such odds."""
    out = np.ones(len(EVIDENCE))
    out[VOICE] = voice
    return out


def event(high_hz: float = 2000.0, excess: np.ndarray | None = None) -> Region:
    """An event of ten frames that stands out so by bin, or everywhere alike."""
    flat = np.ones(N_BINS, np.float32)
    return Region(
        first=0,
        last=10,
        low_hz=200.0,
        high_hz=high_hz,
        peak_hz=200.0,
        snr_db=10.0,
        level_dbfs=-40.0,
        behind=flat,
        excess=np.tile(flat if excess is None else excess, (10, 1)),
    )


@pytest.mark.parametrize(
    ("voice", "odds", "share"),
    [(-4, -3, 1.0), (-3, -1.5, 1.0), (-2, 0, 1.0), (-1, 1.5, 0.365), (0, 3, 0.095)],
)
def test_what_is_rather_talk_is_less_of_a_call(talk, voice, odds, share) -> None:
    """By hand: -2, less the 1 by which talk is rarer, and 3 for each 2 more of voice."""
    (judged,) = judge(Look(0.9), talk, [evidence(voice)], [event()])
    assert judged.talk == pytest.approx(1 / (1 + np.exp(-odds)))
    assert judged.call == pytest.approx(0.9 * share, abs=0.001)


def test_what_no_lesson_was_like_counts_as_what_was_most_unlike(talk) -> None:
    """Four standard deviations of 2 over -4."""
    nearer, farthest, beyond = (
        talk.probability_of(talk_evidence(evidence(voice), event())) for voice in (3.9, 4, 400)
    )
    assert nearer < farthest == beyond


def test_what_does_not_sound_like_a_call_is_not_judged(talk) -> None:
    unlikely = 0.99 * LEAST_PROBABILITY
    assert judge(Look(unlikely), talk, [evidence(9)], [event()]) == [(unlikely, 0)]
    assert judge(Look(LEAST_PROBABILITY), talk, [evidence(9)], [event()])[0].talk > 0.9


def test_a_boom_is_no_word(talk) -> None:
    both = [event(high_hz=290), event(high_hz=310)]
    boom, word = judge(Look(0.9), talk, [evidence(9)] * 2, both)
    assert boom == (0.9, 0)
    assert word.call < 0.1


def test_nothing_is_judged_where_there_is_nothing(talk) -> None:
    assert judge(Look(0.9), talk, [], []) == []


def test_how_a_sound_is_spread_over_octaves_is_asked() -> None:
    """A tone lies in one octave; of white noise each has twice as much as the one below."""
    tone = 0.1 * np.sin(2 * np.pi * 2500 * np.arange(RATE_HZ) / RATE_HZ).astype(np.float32)
    shares = talk_evidence(evidence(0), event(excess=power_spectrum(tone)[50]))[len(EVIDENCE) :]
    assert shares == pytest.approx([-30, -30, -30, 0, -30], abs=0.1)
    white = talk_evidence(evidence(0), event())[len(EVIDENCE) :]
    each = 10 * np.log10(200 / BIN_HZ / N_BINS) + 10 * np.log10(2) * np.arange(5)
    assert white == pytest.approx(each, abs=0.4)
    silent = talk_evidence(evidence(0), event(excess=np.zeros(N_BINS, np.float32)))
    assert silent[len(EVIDENCE) :] == pytest.approx(np.full(5, -30.0))


def test_it_is_written_and_read_back(talk, tmp_path) -> None:
    talk.write(tmp_path / NAME)
    assert Talk.read(tmp_path / NAME) == talk


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (lambda stored: stored.pop("weight"), "cannot be read"),
        (lambda stored: stored["weight"].pop(), "is damaged"),
        (lambda stored: stored["usual"].__setitem__(0, float("nan")), "is damaged"),
        (lambda stored: stored["spread"].__setitem__(3, 0.0), "is damaged"),
        (lambda stored: stored.__setitem__("usual_odds", float("inf")), "is damaged"),
        (lambda stored: stored["evidence"].reverse(), "made for another version"),
    ],
)
def test_a_damaged_file_is_told_so(talk, tmp_path, damage, said) -> None:
    path = tmp_path / NAME
    talk.write(path)
    stored = json.loads(path.read_text("utf-8"))
    damage(stored)
    path.write_text(json.dumps(stored), "utf-8")
    with pytest.raises(ModelError, match=rf"{NAME}: .*{said}.*install calltag again"):
        Talk.read(path)


def test_a_finder_without_it_says_what_is_missing(tmp_path) -> None:
    model = starter_model()
    for path in model.parent.glob("starter*.*"):
        if path.name != NAME:
            (tmp_path / path.name).write_bytes(path.read_bytes())
    with pytest.raises(ModelError, match=rf"{NAME}: what tells talk .*FileNotFoundError"):
        Finder.load(tmp_path / model.name)


def test_the_one_that_ships_goes_by_voices_and_by_what_is_sure() -> None:
    talk = Talk.read(StarterFiles.of(starter_model()).talk)
    weights = dict(zip(talk.evidence, talk.weight, strict=True))
    assert weights["voice_in_it"] > 0.5
    assert weights["sure_around"] < -0.3
    assert min(talk.lessons.values()) > 1000


@pytest.mark.parametrize("name", ["198-209-0000", "3436-172162-0000", "5703-47212-0000"])
def test_people_who_read_far_away_are_no_calls(librosa_example, finder, tmp_path, name) -> None:
    """Readers of librosa's examples (LibriSpeech, Panayotov et al., ICASSP 2015, CC BY 4.0), behind
    a filter that takes highs away as distance does, 5 dB over air between 200 and 4000 Hz."""
    speech, _ = librosa.load(librosa_example(f"{name}.hq.ogg"), sr=RATE_HZ, duration=14)
    take = np.zeros(18 * RATE_HZ)
    far = scipy.signal.butter(1, 3000, fs=RATE_HZ, output="sos")
    take[3 * RATE_HZ :][: len(speech)] = scipy.signal.sosfilt(far, speech)
    air = pink(18 * RATE_HZ)
    heard = scipy.signal.butter(2, [200, 4000], "band", fs=RATE_HZ, output="sos")
    over_air = np.std(scipy.signal.sosfilt(heard, take)) * np.sqrt(18 / 14)
    take *= np.std(scipy.signal.sosfilt(heard, air)) / over_air * 10 ** (5 / 20)
    path = tmp_path / "reader.wav"
    sf.write(path, (take + air).astype(np.float32), RATE_HZ, subtype="PCM_24")
    findings = finder.analyse(path, probe(path))
    voices_s = sum(span.end_s - span.start_s for span in findings.noise if span.kind == "voice")
    assert voices_s > 0.5 * 14
    assert sum(call.confidence >= 0.5 for call in findings.calls) <= 1


def pink(n: int) -> np.ndarray:
    spectrum = np.fft.rfft(np.random.default_rng(1).standard_normal(n))
    spectrum /= np.sqrt(np.maximum(np.fft.rfftfreq(n, 1 / RATE_HZ), 20))
    noise = np.fft.irfft(spectrum, n)
    return 0.002 * noise / noise.std()
