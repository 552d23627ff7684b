"""A take with two calls, and a library that some calls are kept in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.keep import KeepOptions, Wanted, keep_calls
from calltag.library.kept_file.story import Facts, Story, cut_id
from calltag.media.identity import digest
from calltag.media.wave_files.bext import Bext
from calltag.media.wave_files.wav_writing import write_wav
from calltag.records.found import Call
from calltag.records.take import Take
from calltag.sound.features import FEATURE_NAMES, FEATURE_VERSION

RATE_HZ = 48_000
ASHMERE = Facts(
    place="Ashmere, north hide",
    recordist="A. Keeper",
    equipment="camera A, short shotgun microphone",
    rights="free for this film",
    latitude=51.5,
    longitude=-0.25,
)


def features(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=len(FEATURE_NAMES)).astype(np.float32)


def call(start_s: float, label: str = "marsh hooter: boom", **changes: object) -> Call:
    values: dict[str, object] = {
        "start_s": start_s,
        "end_s": start_s + 0.5,
        "low_hz": 200.0,
        "high_hz": 500.0,
        "peak_hz": 300.0,
        "snr_db": 20.0,
        "level_dbfs": -30.0,
        "call_probability": 0.99,
        "label": label,
        "confidence": 0.9,
        "features": features(round(100 * start_s)),
    }
    return Call(**(values | changes))  # type: ignore[arg-type]


CALLS = [call(1.0), call(3.0, "pit rail: rasp"), call(5.0, by_hand=True)]


def sound(
    seconds: float, *, rate_hz: int = RATE_HZ, channels: int = 2, seed: int = 1
) -> np.ndarray:
    """Noise on every channel, as 24-bit numbers scaled to ±1, so that nothing is rounded later."""
    rng = np.random.default_rng(seed)
    whole = np.rint(rng.normal(0, 0.05, (channels, round(seconds * rate_hz))) * 2**23)
    return whole / 2**23


@dataclass(frozen=True)
class Shot:
    """A take and its samples."""

    take: Take
    samples: np.ndarray

    @property
    def path(self) -> Path:
        return Path(self.take.rushes, self.take.path)


def shoot(
    folder: Path,
    name: str = "card1/A001.wav",
    *,
    seconds: float = 8.0,
    rate_hz: int = RATE_HZ,
    channels: int = 2,
    seed: int = 1,
    time_reference: int | None = 10 * 3600 * RATE_HZ,
    recorded: str | None = "2026-04-18T05:12:00+01:00",
) -> Shot:
    samples = sound(seconds, rate_hz=rate_hz, channels=channels, seed=seed)
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    bext = None if time_reference is None else Bext(time_reference=time_reference)
    write_wav(path, samples, rate_hz, bext=bext)
    take = Take(
        path=name,
        rushes=str(folder),
        digest=digest(path),
        size_bytes=path.stat().st_size,
        duration_s=seconds,
        sample_rate_hz=rate_hz,
        channels=channels,
        time_reference=time_reference,
        recorded=recorded,
    )
    return Shot(take, samples)


@pytest.fixture
def shot(tmp_path: Path) -> Shot:
    return shoot(tmp_path / "rushes")


def wanted(shot: Shot, one: Call, **changes: object) -> Wanted:
    values: dict[str, object] = {"model": "calltag.model 1", "feature_version": FEATURE_VERSION}
    return Wanted(take=shot.take, call=one, **(values | changes))  # type: ignore[arg-type]


def plain_story(number: int = 0, **changes: object) -> Story:
    """A story that no file belongs to."""
    values: dict[str, object] = {
        "id": cut_id("d", number, 1000),
        "label": "marsh hooter: boom",
        "species": "marsh hooter",
        "rate_hz": RATE_HZ,
        "channels": 2,
        "n_samples": 120_000,
        "call_start_s": 1.0,
        "call_end_s": 1.5,
        "take": f"A{number:03}.MOV",
        "take_digest": f"take {number}",
        "source_start_s": 4.0,
        "source_end_s": 4.5,
        "first_sample": 144_000,
        "place": "Ashmere",
        "recorded": "2026-04-18T05:12:04.000Z",
        "recordist": "A. Keeper",
        "low_hz": 200.0,
        "high_hz": 500.0,
        "snr_db": 20.0,
        "level_dbfs": -30.0,
        "confidence": 0.9,
        "labelled_by": "calltag.model 1",
        "sound_hash": f"{number:064x}",
    }
    return Story(**(values | changes))  # type: ignore[arg-type]


@pytest.fixture
def catalogue(tmp_path: Path):
    with Catalogue(tmp_path / "calls", create=True) as opened:
        yield opened


@pytest.fixture
def keep(catalogue: Catalogue) -> Callable[..., list]:
    """Keep calls, all of whose takes can be read."""

    def keep(*calls: Wanted, **options: object) -> list:
        made = KeepOptions(**({"facts": ASHMERE} | options))  # type: ignore[arg-type]
        report = keep_calls(catalogue, calls, made)
        assert not report.problems
        return report.kept

    return keep
