"""Invented people: made-up words, spoken by espeak-ng in many languages, and by flite."""

from __future__ import annotations

import functools
import io
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr

from calltag.arrays import FloatArray
from calltag.errors import InputError
from calltag.learn.starter.synth_calls import Rng, placed
from calltag.sound.spectrum import RATE_HZ

Speaker = Callable[[str], FloatArray]
"""Speaks a sentence, float32 at `RATE_HZ`, of RMS 1."""

_PROGRAMS = ("espeak-ng", "flite")
_LANGUAGES = """
af an az ca cs cy da de en-029 en-gb en-gb-scotland en-us es es-419 et eu fi fr-fr fr-be ga gd gn hr
ht hu id is it ku la lb lfn lt lv mi ms mt nb nl om pap pl pt pt-br qu ro sk sl sq sv sw tn tr uz vi
smj eo ia jbo
"""
_RECORDED = ("awb", "rms", "slt", "kal16")  # voices of flite that were made from recordings
_RECORDED_SHARE = 0.25
_FIRST = "b d f g h k l m n p r s t v sh st br tr pl gr w j"
_MIDDLE = "a e i o u ai ea oo ie ou"
_LAST = "n r s l t m nd st k"
_SILENT = 1e-3


def check_speakers() -> None:
    """Make sure that there is someone to speak.

    Raises
    ------
    InputError
        If a program that speaks is not installed.
    """
    lacking = [name for name in _PROGRAMS if shutil.which(name) is None]
    if lacking:
        raise InputError(
            f"{' and '.join(lacking)} not installed: invented people need the programs espeak-ng"
            " and flite, so `apt install espeak-ng flite` first"
        )


def talk(rng: Rng, length_s: float) -> FloatArray:
    """Let one or two people talk.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.
    length_s : float
        For so long at least.

    Returns
    -------
    np.ndarray, shape (n,), float32
        Sentences with pauses, somewhere, at `RATE_HZ`, of peak 1.
    """
    people = [_speaker(rng) for _ in range(rng.choice([1, 1, 2]))]
    pause_s = rng.uniform(0.1, 0.7)
    pieces: list[FloatArray] = []
    turn, n = 0, 0
    while n < length_s * RATE_HZ:
        said = people[turn](sentence(rng)) * np.float32(10 ** (rng.normal(0, 2) / 20))
        pause = np.zeros(int((0.05 + rng.exponential(pause_s)) * RATE_HZ), np.float32)
        pieces += [said, pause]
        n += len(said) + len(pause)
        turn = (turn + int(rng.random() < 0.5)) % len(people)
    sound = placed(rng, np.concatenate(pieces))
    return np.asarray(sound / (np.abs(sound).max() + 1e-9), np.float32)


def sentence(rng: Rng) -> str:
    """Make up a sentence of words that mean nothing, with what makes a voice rise and fall.

    Parameters
    ----------
    rng : np.random.Generator
        Source of chance.

    Returns
    -------
    str
        One to ten words.
    """
    words = [_word(rng) for _ in range(rng.integers(1, 11))]
    if len(words) > 5 and rng.random() < 0.5:
        words[2] += ","
    return " ".join(words).capitalize() + str(rng.choice([".", ".", "?", "!"]))


def _word(rng: Rng) -> str:
    def syllable() -> str:
        first = rng.choice(["", *_FIRST.split()])
        last = rng.choice(_LAST.split()) if rng.random() < 0.5 else ""
        return f"{first}{rng.choice(_MIDDLE.split())}{last}"

    return "".join(syllable() for _ in range(rng.integers(1, 4)))


def _speaker(rng: Rng) -> Speaker:
    """Someone with a voice, a pitch and a pace of their own."""
    if rng.random() < _RECORDED_SHARE:
        voice = str(rng.choice(_RECORDED))
        pitch_hz = rng.uniform(150, 240) if voice == "slt" else rng.uniform(80, 150)
        settings = {
            "duration_stretch": rng.uniform(0.75, 1.4),
            "int_f0_target_mean": pitch_hz,
            "int_f0_target_stddev": rng.uniform(8, 35),
        }
        options = [x for name, value in settings.items() for x in ("--setf", f"{name}={value:.2f}")]
        return lambda text: _spoken_into_file("flite", "-voice", voice, *options, "-t", text, "-o")
    voice = f"{rng.choice(_LANGUAGES.split())}+{rng.choice(_voices())}"
    pitch, pace = rng.uniform(15, 80), rng.uniform(105, 215)

    def speak(text: str) -> FloatArray:
        now = np.clip(pitch + rng.normal(0, 5), 0, 99), pace * rng.uniform(0.9, 1.1)
        numbers = (f"{now[0]:.0f}", "-s", f"{now[1]:.0f}")
        done = _run("espeak-ng", "-v", voice, "-p", *numbers, "--stdout", text)
        return _heard(*sf.read(io.BytesIO(done), dtype="float32"))

    return speak


@functools.cache
def _voices() -> list[str]:
    """Every variant of a voice that espeak-ng has; with few of them, less is learnt."""
    rows = _run("espeak-ng", "--voices=variant").decode("utf-8").splitlines()[1:]
    return sorted(row.split("!v/")[1].split("  ")[0] for row in rows if "!v/" in row)


def _spoken_into_file(*command: str) -> FloatArray:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        _run(*command, str(path))
        return _heard(*sf.read(path, dtype="float32"))


def _run(*command: str) -> bytes:
    return subprocess.run(command, capture_output=True, check=True).stdout


def _heard(samples: FloatArray, rate_hz: int) -> FloatArray:
    """What was said, without the silence around it; nothing at all, if nothing was."""
    loud = np.flatnonzero(np.abs(samples) > 0.01 * np.abs(samples).max(initial=0))
    if not len(loud) or np.abs(samples).max() < _SILENT:
        return np.zeros(0, np.float32)
    said = soxr.resample(samples[loud[0] : loud[-1] + 1], rate_hz, RATE_HZ)
    return np.asarray(said / (said.std() + 1e-9), np.float32)
