"""Takes made by rule: natural background, whistles, and noise where it is wanted."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from scipy.signal import butter, sosfilt

from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.take import Levels, Take
from calltag.sound.channels.faults import said
from calltag.sound.spectrum import BIN_HZ, MEAN_SQUARE, N_BINS

RATE_HZ = 48_000


class Scene:
    """The sound of a take while it is made, and what a log would hold of it."""

    def __init__(self, seconds: float, seed: int = 5, *, background_db: float = -60.0) -> None:
        self.rng = np.random.default_rng(seed)
        self.seconds = seconds
        self.n = round(seconds * RATE_HZ)
        self.sound = self.band_noise(200, 8000, background_db)
        self.calls: list[Call] = []
        self.noise: list[NoiseSpan] = []

    def band_noise(self, low_hz: float, high_hz: float, rms_db: float) -> np.ndarray:
        band = butter(4, [low_hz, high_hz], "band", fs=RATE_HZ, output="sos")
        sound = sosfilt(band, self.rng.standard_normal(self.n))
        return 10 ** (rms_db / 20) * sound / sound.std()

    def whistle(self, start_s, hz=5000.0, length_s=0.6, level_db=-40.0, snr_db=20.0, **more):
        """A faded tone; `snr_db` is what a finder would have measured in its band."""
        n = round(length_s * RATE_HZ)
        fade = np.minimum(1, np.minimum(np.arange(n), np.arange(n)[::-1]) / 960)
        tone = fade * np.sin(2 * np.pi * hz * np.arange(n) / RATE_HZ)
        first = round(start_s * RATE_HZ)
        self.sound[first : first + n] += np.sqrt(2) * 10 ** (level_db / 20) * tone
        self.calls.append(
            Call(
                start_s=start_s,
                end_s=start_s + length_s,
                low_hz=hz * 0.95,
                high_hz=hz * 1.05,
                peak_hz=hz,
                snr_db=snr_db,
                level_dbfs=level_db,
                **{"call_probability": 0.9, "label": "pit rail: pipe", "confidence": 0.9} | more,
            )
        )
        return self

    def add_noise(self, kind, low_hz, high_hz, level_db, start_s=0.0, end_s=None, confidence=0.95):
        end_s = self.seconds if end_s is None else end_s
        sound = self.band_noise(low_hz, high_hz, level_db)
        span = slice(round(start_s * RATE_HZ), round(end_s * RATE_HZ))
        self.sound[span] += sound[span]
        self.noise.append(
            NoiseSpan(
                start_s=start_s,
                end_s=end_s,
                kind=kind,
                confidence=confidence,
                level_dbfs=level_db,
                low_hz=low_hz,
                high_hz=high_hz,
            )
        )
        return self

    def log(self, path: Path, *, rushes: Path | None = None, channels=None, **more) -> TakeLog:
        """Write the sound as a 24-bit wave file and return what the log would hold."""
        tracks = np.stack([self.sound, self.sound]) if channels is None else channels
        path.parent.mkdir(parents=True, exist_ok=True)
        sf.write(path, tracks.T, RATE_HZ, subtype="PCM_24")
        rushes = rushes or path.parent
        found = more.pop("faults", ())
        levels = Levels(
            peak_dbfs=20 * np.log10(np.abs(tracks).max()),
            clipped=0,
            loudness_lufs=-40.0,
            floor_dbfs=10 * np.log10(np.mean(self.sound**2)),
            channel=more.pop("channel", "1"),
            faults=tuple(map(said, found)),
            channel_faults=found,
        )
        take = Take(
            path=path.relative_to(rushes).as_posix(),
            rushes=str(rushes),
            digest=str(path),
            size_bytes=path.stat().st_size,
            duration_s=self.seconds,
            sample_rate_hz=RATE_HZ,
            channels=len(tracks),
            levels=levels,
            **more,
        )
        calls = tuple(sorted(self.calls, key=lambda call: call.start_s))
        return TakeLog(take=take, calls=calls, noise=tuple(self.noise))


@pytest.fixture(scope="session")
def scene() -> type[Scene]:
    return Scene


def call_at(start_s: float, hz: float) -> Call:
    return Call(
        start_s=start_s,
        end_s=start_s + 0.5,
        low_hz=hz - 100,
        high_hz=hz + 100,
        peak_hz=hz,
        snr_db=20,
        level_dbfs=-30,
        call_probability=0.9,
    )


def tones(*levels: tuple[float, float]) -> np.ndarray:
    """A power spectrum of tones: frequency in hertz, and mean square in dB."""
    power = np.zeros(N_BINS, np.float32)
    for hz, level_db in levels:
        power[round(hz / BIN_HZ)] += 10 ** (level_db / 10) / MEAN_SQUARE
    return power


def take_log(calls=(), noise=(), duration_s=60.0, sound=True, **levels):
    measured = {
        "peak_dbfs": -12.0,
        "clipped": 0,
        "loudness_lufs": -35.0,
        "floor_dbfs": -50.0,
    } | levels
    take = Take(
        path="A001.mov",
        rushes="/rushes",
        digest="0",
        size_bytes=1,
        duration_s=duration_s,
        sample_rate_hz=48_000 if sound else None,
        channels=2 if sound else 0,
        levels=Levels(**measured) if sound else None,
    )
    return TakeLog(take=take, calls=tuple(calls), noise=tuple(noise))


def whistle(start_s, snr_db=20.0, low_hz=4500.0, high_hz=5500.0, probability=0.9, length_s=1.0):
    return Call(
        start_s=start_s,
        end_s=start_s + length_s,
        low_hz=low_hz,
        high_hz=high_hz,
        peak_hz=(low_hz + high_hz) / 2,
        snr_db=snr_db,
        level_dbfs=-30.0,
        call_probability=probability,
    )


def noise(kind, start_s, end_s, low_hz, high_hz, level_dbfs=-25.0, confidence=0.95, detail=""):
    return NoiseSpan(
        start_s=start_s,
        end_s=end_s,
        kind=kind,
        confidence=confidence,
        level_dbfs=level_dbfs,
        low_hz=low_hz,
        high_hz=high_hz,
        detail=detail,
    )


def engine(start_s=0.0, end_s=60.0, **more):
    return noise("machine", start_s, end_s, 100.0, 1000.0, **more)


def cutter(start_s=0.0, end_s=60.0, **more):
    return noise("machine", start_s, end_s, 100.0, 9000.0, **more)
