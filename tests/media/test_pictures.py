"""Frames of clips that are known by their brightness: which one is shown when, and what is read."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from calltag.errors import InputError, MediaError
from calltag.media.pictures import Frame, PictureReader

Clip = Callable[..., Path]
LONG_GOP = {"g": "50", "bf": "2", "preset": "ultrafast"}


def numbered(i: int) -> np.ndarray:
    """White and black columns tell the frame's number, in binary."""
    bits = [i >> k & 1 for k in range(8)]
    return np.repeat(np.tile(np.uint8(bits) * 255, (48, 1)), 8, axis=1)


def number_of(frame: Frame) -> int:
    bits = frame.grey(64)[:, 4::8].mean(axis=0) > 128
    return int(sum(1 << k for k, bit in enumerate(bits) if bit))


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory, make_clip: Clip) -> Path:
    """Four seconds, a key picture every two, and pictures between that hang on later ones."""
    folder = tmp_path_factory.mktemp("pictures")
    return make_clip(
        folder / "A001.mov",
        seconds=4,
        images=numbered,
        video_codec="libx264",
        picture_options=LONG_GOP,
    )


@pytest.mark.parametrize(
    ("at_s", "number"),
    [
        (-3, 0),
        (0, 0),
        (0.039, 0),
        (0.04, 1),
        (0.41, 10),
        (1.99, 49),
        (2.0, 50),
        (3.97, 99),
        (9, 99),
    ],
)
def test_the_picture_of_a_moment(clip: Path, at_s: float, number: int) -> None:
    with PictureReader(clip) as reader:
        frame = reader.at(at_s)
    assert number_of(frame) == number
    assert frame.at_s == pytest.approx(number / 25, abs=1e-6)


def test_forward_and_back(clip: Path, rng: np.random.Generator) -> None:
    with PictureReader(clip) as reader:
        for at_s in rng.uniform(0, 4, 25):
            assert number_of(reader.at(at_s)) == int(at_s * 25)


def test_successive_pictures(clip: Path) -> None:
    with PictureReader(clip) as reader:
        for start, end in ((10, 22), (15, 18), (90, 200), (0, 3), (48, 53)):
            numbers = [number_of(frame) for frame in reader.stretch(start / 25, end / 25, most=100)]
            assert numbers == list(range(start, min(end, 100)))
        assert len(list(reader.stretch(1, 3, most=7))) == 7


@pytest.mark.parametrize("suffix", [".mp4", ".mkv", ".avi", ".mxf", ".mts"])
def test_other_wrappings(tmp_path: Path, make_clip: Clip, suffix: str) -> None:
    codec = {".mxf": "mpeg2video", ".avi": "mjpeg"}.get(suffix, "libx264")
    path = make_clip(
        tmp_path / f"A001{suffix}",
        seconds=3,
        images=numbered,
        video_codec=codec,
        picture_options=LONG_GOP if codec == "libx264" else {},
        audio_codec="pcm_s16le" if suffix in (".mxf", ".avi") else "aac",
        container="mpegts" if suffix == ".mts" else None,
    )
    with PictureReader(path) as reader:
        for number in (0, 1, 33, 60, 12, 74):
            assert number_of(reader.at((number + 0.5) / 25)) == number


def test_a_variable_rate(tmp_path: Path, make_clip: Clip) -> None:
    path = make_clip(
        tmp_path / "A001.mp4",
        images=numbered,
        ticks=[0, 1, 2, 10, 30, 31, 32, 60],
        video_codec="libx264",
        picture_options=LONG_GOP,
    )
    with PictureReader(path) as reader:
        shown = [number_of(reader.at(tick / 25)) for tick in (0, 9, 10, 29, 30, 45, 60)]
        assert shown == [0, 2, 3, 3, 4, 6, 7]
        assert [number_of(f) for f in reader.stretch(0.3, 1.3, most=9)] == [3, 4, 5, 6]
        assert list(reader.stretch(1.5, 2.0, most=9)) == []


def test_second_zero_is_the_first_picture(tmp_path: Path, make_clip: Clip) -> None:
    path = make_clip(
        tmp_path / "A001.mkv", images=numbered, ticks=range(25, 50), video_codec="libx264"
    )
    with PictureReader(path) as reader:
        assert number_of(reader.at(0.4)) == 10


def test_sizes_and_colour(tmp_path: Path, make_clip: Clip) -> None:
    def image(i: int) -> np.ndarray:
        picture = np.zeros((180, 320, 3), np.uint8)
        picture[:, :160, 0] = 200
        return picture

    path = make_clip(tmp_path / "A001.mp4", seconds=1, images=image, fps=Fraction(30000, 1001))
    with PictureReader(path) as reader:
        frame = reader.at(0.5)
    assert frame.grey(9999).shape == (180, 320)
    small = frame.colour(80)
    assert small.shape == (45, 80, 3)
    assert small[20, 10, 0] > 150 > 60 > small[20, 10, 2]
    assert small[20, 70].max() < 40


def test_a_file_without_picture_is_told(tmp_path: Path, make_clip: Clip) -> None:
    path = make_clip(tmp_path / "A001.wav", fps=None, audio_codec="pcm_s16le")
    with pytest.raises(
        MediaError, match=r"^A001\.wav: has no picture; if it had one, copy it again$"
    ):
        PictureReader(path)
    with pytest.raises(MediaError, match="is not there"):
        PictureReader(tmp_path / "gone.mov")


def test_a_stretch_without_length_is_refused(clip: Path) -> None:
    with PictureReader(clip) as reader, pytest.raises(InputError, match="has no length"):
        list(reader.stretch(2, 2, most=5))


def test_a_damaged_picture_is_told_or_passed_over(tmp_path: Path, clip: Path) -> None:
    whole = clip.read_bytes()
    start = whole.index(b"mdat") + 4
    end = len(whole) - 6000
    path = tmp_path / "A002.mov"
    path.write_bytes(whole[:start] + bytes(end - start) + whole[end:])
    with PictureReader(path) as reader, pytest.raises(MediaError, match=r"A002\.mov: .*picture"):
        reader.at(0.5)


def test_only_what_is_needed_is_read(tmp_path: Path, make_clip: Clip) -> None:
    """A still from the middle of a heavy clip costs a small part of its bytes."""
    if not Path("/proc/self/io").exists():
        pytest.skip("this system does not count the bytes that a process reads")
    path = make_clip(
        tmp_path / "A001.mov",
        seconds=6,
        size=(320, 180),
        noisy_picture=True,
        video_codec="mjpeg",
        audio_codec="pcm_s16le",
    )

    def bytes_read(at_s: str) -> int:
        code = (
            "import sys; from pathlib import Path; from calltag.media.pictures import PictureReader"
            "\nif sys.argv[2]:"
            "\n with PictureReader(Path(sys.argv[1])) as reader: reader.at(float(sys.argv[2]))"
            "\nelse:\n import av"
            "\nprint(open('/proc/self/io').read())"
        )
        counted = subprocess.run(
            [sys.executable, "-c", code, str(path), at_s],
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        return int(counted.split("rchar: ")[1].split()[0])

    read = bytes_read("3.0") - bytes_read("")
    assert 0 < read < 0.1 * path.stat().st_size
