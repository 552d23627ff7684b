"""What tells a hand from calls: the evidence, the sum, its file, and sounds of other makers."""

from __future__ import annotations

import json

import numpy as np
import pytest
import scipy.signal
import soundfile as sf

from calltag.errors import ModelError
from calltag.learn.finding.finder import Finder
from calltag.learn.finding.hands import HAND_EVIDENCE, Hands, hand_evidence, judge_hand
from calltag.learn.finding.second_look import LEAST_PROBABILITY
from calltag.learn.networks.starter_files import StarterFiles
from calltag.learn.networks.starter_model import Heard, starter_model
from calltag.media.probe import probe
from calltag.records.label import NOISE_KINDS
from calltag.sound.spectrum import N_MELS, RATE_HZ, mel_centres_hz

SECONDS = 30
NAME = "starter_hands.json"
VOICE, HANDLING = NOISE_KINDS.index("voice"), NOISE_KINDS.index("handling")


def heard(n_steps: int) -> Heard:
    kinds = np.full((n_steps, len(NOISE_KINDS)), -8.0, np.float32)
    return Heard(np.full(n_steps, -8.0, np.float32), kinds, np.zeros((n_steps, 1), np.float32))


def told(mel: np.ndarray, ear: Heard, first: int, last: int) -> dict[str, float]:
    return dict(zip(HAND_EVIDENCE, hand_evidence(mel, ear, first, last), strict=True))


def test_evidence_of_a_sound_that_has_every_band() -> None:
    """20 dB over a steady background for a fifth of a second, all at once."""
    mel = np.full((2000, N_MELS), 1e-6, np.float32)
    mel[1000:1020] *= 100
    ear = heard(1000)
    ear.call[500:510], ear.kinds[500:510, VOICE], ear.kinds[500:510, HANDLING] = 3.0, -2.0, -1.0
    ear.call[504], ear.kinds[420, HANDLING] = 4.0, 2.0
    one = told(mel, ear, 500, 510)
    centre = float(np.log(mel_centres_hz()).mean())
    wanted = {"top_odds": 4, "voice_in_it": -2, "handling_in_it": -1, "handling_near": 2}
    wanted |= {"low_leap_db": 20, "low_leap_near_db": 20, "broad": 1, "broad_near": 1}
    wanted |= {"rise_db": 20, "log_centre": centre, "low_over_db": 20, "high_over_low_db": 0}
    assert one == pytest.approx(wanted | {"uneven_db": 0, "knocks_near": 1}, abs=0.01)


def test_evidence_of_a_high_tone_beside_a_knock() -> None:
    """Two bands of 64 rise slowly by 20 dB; 1.5 s later the lowest three leap by 30."""
    mel = np.full((2000, N_MELS), 1e-6, np.float32)
    mel[1000:1040, 40:42] *= 10 ** np.linspace(0.05, 2, 40)[:, None]
    mel[1190:1196, :3] *= 1000
    one = told(mel, heard(1000), 500, 520)
    assert one["broad"] == pytest.approx(2 / 64, abs=1e-6)
    assert one["broad_near"] == pytest.approx(3 / 64, abs=1e-6)
    assert one["low_leap_db"] == pytest.approx(0, abs=0.01)
    assert one["low_leap_near_db"] == pytest.approx(30, abs=0.1)
    assert one["rise_db"] == pytest.approx(1.0 * 2 / 64, abs=0.01)
    assert one["log_centre"] == pytest.approx(np.log(mel_centres_hz())[40:42].mean(), abs=0.01)
    assert (one["low_over_db"], one["knocks_near"]) == (pytest.approx(0, abs=0.01), 1)
    assert one["high_over_low_db"] == pytest.approx(10.25 * 2 / 34, abs=0.05)


def test_evidence_at_the_ends_of_a_short_take() -> None:
    rng = np.random.default_rng(1)
    mel = rng.uniform(1e-7, 1e-6, (31, N_MELS)).astype(np.float32)
    for first, last in ((0, 16), (0, 1), (15, 16)):
        assert np.isfinite(hand_evidence(mel, heard(16), first, last)).all()
    assert np.isfinite(hand_evidence(mel[:5], heard(3), 0, 3)).all()


@pytest.fixture
def hands() -> Hands:
    """One that asks for breadth alone: usually a half, and each tenth more is one more log-odds."""
    n = len(HAND_EVIDENCE)
    usual, weight = np.zeros(n), np.zeros(n)
    usual[HAND_EVIDENCE.index("broad")], weight[HAND_EVIDENCE.index("broad")] = 0.5, 1.0
    lessons = {"hands": 1, "calls": 1}
    return Hands(HAND_EVIDENCE, tuple(usual), (0.1,) * n, tuple(weight), 0.0, lessons)


@pytest.mark.parametrize(("bands", "hand", "share"), [(16, 0.076, 1.0), (48, 0.924, 0.152)])
def test_what_is_rather_a_hand_is_less_of_a_call(hands, bands, hand, share) -> None:
    """A quarter of the bands has log-odds of -2.5, three quarters 2.5."""
    mel = np.full((1000, N_MELS), 1e-6, np.float32)
    mel[500:520, :bands] *= 100
    judged = judge_hand(hands, 0.9, mel, heard(500), (250, 260), snr_db=15.0)
    assert judged.hand == pytest.approx(hand, abs=0.001)
    assert judged.call == pytest.approx(0.9 * share, abs=0.001)
    assert judge_hand(hands, 0.9, mel, heard(500), (250, 260), snr_db=40.0) == (0.9, 0)
    unlikely = 0.99 * LEAST_PROBABILITY
    assert judge_hand(hands, unlikely, mel, heard(500), (250, 260), snr_db=15.0) == (unlikely, 0)


@pytest.mark.parametrize(("kind", "asked"), [("water", False), ("machine", False), ("voice", True)])
def test_where_another_noise_goes_on_nothing_is_a_hand(hands, kind, asked) -> None:
    mel = np.full((1000, N_MELS), 1e-6, np.float32)
    mel[500:520] *= 100
    ear = heard(500)
    ear.kinds[:, NOISE_KINDS.index(kind)] = 2.0
    assert (judge_hand(hands, 0.9, mel, ear, (250, 260), snr_db=15.0).call < 0.5) == asked
    ear.kinds[::3] = -8.0  # it pauses
    assert judge_hand(hands, 0.9, mel, ear, (250, 260), snr_db=15.0).call < 0.5


def test_it_is_written_and_read_back(hands, tmp_path) -> None:
    hands.write(tmp_path / NAME)
    assert Hands.read(tmp_path / NAME) == hands
    stored = json.loads((tmp_path / NAME).read_text("utf-8"))
    stored["spread"][2] = 0.0
    (tmp_path / NAME).write_text(json.dumps(stored), "utf-8")
    with pytest.raises(ModelError, match=f"{NAME}: what tells handling from calls is damaged"):
        Hands.read(tmp_path / NAME)


def test_a_finder_without_it_says_what_is_missing(tmp_path) -> None:
    model = starter_model()
    for path in model.parent.glob("starter*.*"):
        if path.name != NAME:
            (tmp_path / path.name).write_bytes(path.read_bytes())
    with pytest.raises(ModelError, match=rf"{NAME}: what tells handling .*FileNotFoundError"):
        Finder.load(tmp_path / model.name)


def test_the_one_that_ships_goes_by_breadth_and_low_bands() -> None:
    hands = Hands.read(StarterFiles.of(starter_model()).hands)
    weights = dict(zip(hands.evidence, hands.weight, strict=True))
    assert weights["broad"] > 0.3
    assert weights["low_leap_db"] > 0.2
    assert weights["top_odds"] < -0.5
    assert min(hands.lessons.values()) > 1000


def leaves(rng: np.random.Generator) -> np.ndarray:
    """Someone who stirs dry leaves six times, 0.6 s each: crackles between 1.5 and 9 kHz."""
    n = int(0.6 * RATE_HZ)
    take, band = np.zeros(SECONDS * RATE_HZ), (1500, 9000)
    sos = scipy.signal.butter(2, band, "band", fs=RATE_HZ, output="sos")
    for at_s in np.arange(6) * 4 + 3:
        crackles = rng.laplace(0, 1, n) * (rng.random(n) < 0.04) * np.hanning(n)
        take[int(at_s * RATE_HZ) :][:n] = scipy.signal.sosfilt(sos, crackles)
    return take


def drumming(rng: np.random.Generator) -> np.ndarray:
    """A bill on dry wood, 16 times a second for a second, five times: it rings at 0.7 to 2 kHz."""
    n = int(0.05 * RATE_HZ)
    t = np.arange(n) / RATE_HZ
    tap = sum(np.sin(2 * np.pi * hz * t) * np.exp(-t / 0.008) for hz in (700, 1150, 1900))
    take = np.zeros(SECONDS * RATE_HZ)
    for at_s in np.arange(5) * 5 + 3:
        for k in range(16):
            at = int((at_s + k / 16) * RATE_HZ)
            take[at : at + n] += (
                tap * (0.4 + 0.6 * np.sin(np.pi * (k + 1) / 18)) * rng.uniform(0.9, 1)
            )
    return take


def finds(finder, path, sound: np.ndarray) -> tuple[int, float]:
    """Finds, and seconds of handling, of a sound 30 dB over air at its loudest."""
    hz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    air = np.fft.rfft(np.random.default_rng(1).standard_normal(len(sound)))
    air = np.fft.irfft(air / np.sqrt(np.maximum(hz, 20)), len(sound))
    take = 0.001 * air / air.std() + 0.2 * sound / np.abs(sound).max()
    sf.write(path, take.astype(np.float32), RATE_HZ, subtype="PCM_24")
    findings = finder.analyse(path, probe(path))
    handled = (span.end_s - span.start_s for span in findings.noise if span.kind == "handling")
    return sum(call.confidence >= 0.5 for call in findings.calls), sum(handled)


@pytest.mark.parametrize("seed", [0, 1])
def test_leaves_that_someone_stirs_are_less_often_calls(finder, tmp_path, seed) -> None:
    """Without what tells hands, four or five of the six are calls, and none of it is told."""
    found, handled_s = finds(finder, tmp_path / "a.wav", leaves(np.random.default_rng(seed)))
    assert found <= 2
    assert handled_s > 1.0


@pytest.mark.parametrize("seed", [0, 1])
def test_a_bill_that_drums_is_a_call(finder, tmp_path, seed) -> None:
    drums = drumming(np.random.default_rng(seed))
    assert finds(finder, tmp_path / "a.wav", drums) == (5, 0)
