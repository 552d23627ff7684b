"""The committed clips are what the README and the program say they are."""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest
from timecode import Timecode
from wavinfo import WavInfoReader

NAMES = (
    "ASH_A_0031.MP4",
    "ASH_A_0032.MP4",
    "ASH_A_0034.MP4",
    "ASH_A_0036.MP4",
    "ASH_A_0037.MP4",
    "ASH_A_0038.MP4",
    "ASH_A_0039.MP4",
    "ASH_A_0040.MP4",
    "ASH_B_0012.MOV",
    "ASH_B_0013.MOV",
    "ASH_C_0004.MP4",
    "ASH_R_0007.WAV",
)
WITH_PICTURE = tuple(name for name in NAMES if not name.endswith("WAV"))
RATES = {
    "25": Fraction(25),
    "50": Fraction(50),
    "100": Fraction(100),
    "29.97": Fraction(30_000, 1001),
}


@pytest.fixture(scope="module")
def stated(folder: Path) -> dict[str, list[str]]:
    """The README's table of clips: cells by take."""
    text = (folder / "README.md").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line.startswith("| ASH_")]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    return {row[0]: row[1:] for row in cells}


def test_readme_states_every_clip_and_no_other(
    folder: Path, stated: dict[str, list[str]], program: SimpleNamespace
) -> None:
    media = {p.name for p in folder.iterdir() if p.suffix in {".MP4", ".MOV", ".WAV"}}
    assert set(stated) == media == set(NAMES) == {take.name for take in program.takes.TAKES}
    verdicts = {take.name: take.verdict for take in program.takes.TAKES}
    assert {name: row[4] for name, row in stated.items()} == verdicts


@pytest.mark.parametrize("name", WITH_PICTURE)
def test_picture_is_as_stated(name: str, folder: Path, stated: dict[str, list[str]]) -> None:
    length_s, fps, start_tc = float(stated[name][0]), RATES[stated[name][1]], stated[name][2]
    with av.open(str(folder / name)) as container:
        video = container.streams.video[0]
        assert (video.width, video.height, video.codec_context.name) == (320, 180, "h264")
        assert video.average_rate == fps
        assert video.start_time == 0
        assert video.metadata["timecode"] == start_tc
        times = [Fraction(frame.pts) * frame.time_base for frame in container.decode(video=0)]
    assert len(times) == round(length_s * fps)
    assert times == [index / fps for index in range(len(times))]


@pytest.mark.parametrize("name", NAMES)
def test_sound_is_as_stated(
    name: str, folder: Path, stated: dict[str, list[str]], heard: dict[str, np.ndarray]
) -> None:
    codec, _, tracks = stated[name][3].partition(", ")
    with av.open(str(folder / name)) as container:
        if codec == "none":
            assert not container.streams.audio
            return
        audio = container.streams.audio[0]
        codecs = {"AAC": "aac", "AC-3": "ac3", "PCM": "pcm_s16le"}
        assert (audio.codec_context.name, audio.rate) == (codecs[codec], 48_000)
    sound = heard[name]
    assert len(sound) == (1 if tracks == "one track" else 2)
    # A codec works in whole frames, so its sound may be off by less than one of them.
    assert abs(sound.shape[1] - round(float(stated[name][0]) * 48_000)) < 1024


def test_lengths_suit_a_demo(program: SimpleNamespace) -> None:
    assert all(10 <= take.duration_s <= 40 for take in program.takes.TAKES)


def test_tracks_have_the_faults_that_are_stated(heard: dict[str, np.ndarray]) -> None:
    left, right = heard["ASH_A_0039.MP4"]
    assert np.sqrt(np.mean((left + right) ** 2)) < 0.05 * np.sqrt(np.mean(left**2))
    left, right = heard["ASH_A_0032.MP4"]
    assert np.sqrt(np.mean((left - right) ** 2)) < 0.05 * np.sqrt(np.mean(left**2))
    left, right = heard["ASH_A_0031.MP4"]
    assert 0.1 < np.corrcoef(left, right)[0, 1] < 0.95
    assert not heard["ASH_R_0007.WAV"][1].any()


def test_wave_starts_when_stated(folder: Path) -> None:
    """EBU Tech 3285: TimeReference counts samples since midnight; wavinfo reads it."""
    info = WavInfoReader(str(folder / "ASH_R_0007.WAV"))
    assert info.bext.time_reference == ((5 * 60 + 46) * 60 + 59) * 48_000 == 999_312_000
    assert info.bext.originator_time == "05:46:59"
    assert (info.fmt.channel_count, info.fmt.sample_rate) == (2, 48_000)
    assert info.fmt.bits_per_sample == 16


def test_drop_frame_clip_goes_over_dropped_labels(stated: dict[str, list[str]]) -> None:
    """SMPTE ST 12-1: labels ;00 and ;01 are left out at each minute but every tenth."""
    start = stated["ASH_C_0004.MP4"][2]
    labels = [str(Timecode("29.97", start) + n) for n in (299, 300)]
    assert labels == ["05:20:59;29", "05:21:00;02"]
    assert round(float(stated["ASH_C_0004.MP4"][0]) * 30_000 / 1001) > 300


def test_one_dawn(stated: dict[str, list[str]]) -> None:
    clocks = [row[2][:8] for _, row in sorted(stated.items())]
    assert all("05:12:00" <= clock < "06:00:00" for clock in clocks)
    camera_a = [row[2] for name, row in sorted(stated.items()) if name.startswith("ASH_A")]
    assert camera_a == sorted(camera_a)


@pytest.mark.parametrize(
    "name", [n for n in NAMES if n not in {"ASH_A_0038.MP4", "ASH_B_0013.MOV"}]
)
def test_nothing_peaks_above_a_safe_level(name: str, heard: dict[str, np.ndarray]) -> None:
    """-1 dBFS: the ceiling EBU R 128 gives for the true peak."""
    assert 0.01 < np.abs(heard[name]).max() < 10 ** (-1 / 20)


def test_the_ruined_take_clips_but_comes_up_from_idle(heard: dict[str, np.ndarray]) -> None:
    sound = heard["ASH_B_0013.MOV"][0]
    assert np.count_nonzero(np.abs(sound) >= 0.999) > 2000
    idle, later = (
        np.sqrt(np.mean(sound[a * 48_000 : b * 48_000] ** 2)) for a, b in ((0, 1), (4, 10))
    )
    assert 20 * np.log10(idle / later) < -6


def test_gusts_have_flat_tops(heard: dict[str, np.ndarray]) -> None:
    """The amplifier overloads at 0.75: more samples lie there than a little below."""
    counts, _ = np.histogram(np.abs(heard["ASH_A_0036.MP4"][0]), bins=[0.63, 0.67, 0.71, 0.79])
    assert counts[2] > 1.5 * counts[0]


def test_folder_is_small(folder: Path) -> None:
    files = [p for p in folder.iterdir() if p.is_file() and not p.name.startswith(".")]
    assert sum(p.stat().st_size for p in files) < 6_000_000
    assert not list(folder.glob("*.part"))


def test_sidecar_is_no_clip(folder: Path) -> None:
    text = (folder / "ASH_A_0031.XML").read_text(encoding="utf-8")
    assert re.match(r"<\?xml version", text)
    with pytest.raises(av.FFmpegError):
        av.open(str(folder / "ASH_A_0031.XML"))
