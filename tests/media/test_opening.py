"""Files that are no readable clips: each gets a sentence of its own."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from calltag.errors import MediaError
from calltag.media.opening import open_take
from calltag.media.probe import probe
from calltag.media.sound_blocks.reader import SoundReader, read_blocks, read_span

Spoil = Callable[[bytes], bytes]


@pytest.fixture(scope="module")
def sound_clips(make_clip, tmp_path_factory) -> dict[str, bytes]:
    """One good clip of each container, as bytes."""
    folder = tmp_path_factory.mktemp("good")
    made = {
        "mov": {"audio_codec": "pcm_s16le"},
        "mp4": {},
        "mkv": {},
        "mxf": {"video_codec": "mpeg2video", "audio_codec": "pcm_s16le"},
        "avi": {"audio_codec": "pcm_s16le"},
        "wav": {"fps": None, "audio_codec": "pcm_s16le"},
        "ogg": {"fps": None, "audio_codec": "libopus"},
    }
    return {
        suffix: make_clip(folder / f"good.{suffix}", seconds=1.0, **options).read_bytes()
        for suffix, options in made.items()
    }


def random_bytes(n: int) -> bytes:
    return np.random.default_rng(3).bytes(n)


def without_index(clip: bytes) -> bytes:
    """Cut an ISO base media file at its moov box, as where power failed."""
    return clip[: clip.index(b"moov") - 4]


BROKEN: list[tuple[str, str, Spoil, str]] = [
    # name, made from, what happened, what is said
    ("empty.mov", "mov", lambda _: b"", r"is empty \(0 bytes\); copy it"),
    ("one byte.mov", "mov", lambda _: b"\x01", "damaged"),
    ("zeros.mp4", "mp4", lambda _: bytes(100_000), "nothing but zeros"),
    ("no index.mov", "mov", without_index, r"never finished.*index \(moov\) is missing"),
    ("no index.mp4", "mp4", without_index, r"never finished.*index \(moov\) is missing"),
    ("half.mov", "mov", lambda clip: clip[: len(clip) // 2], r"cut short: [\d,]+ bytes"),
    ("half index.mov", "mov", lambda clip: clip[:-200], "cut short|damaged: its index"),
    ("no beginning.mov", "mov", lambda clip: random_bytes(3000) + clip[3000:], "damaged"),
    ("no beginning.mp4", "mp4", lambda clip: random_bytes(3000) + clip[3000:], "damaged"),
    ("no beginning.mxf", "mxf", lambda clip: random_bytes(9000) + clip[9000:], "damaged"),
    ("no beginning.avi", "avi", lambda clip: random_bytes(4000) + clip[4000:], "damaged"),
    ("no beginning.mkv", "mkv", lambda clip: random_bytes(900) + clip[900:], "damaged"),
    ("no beginning.wav", "wav", lambda clip: random_bytes(900) + clip[900:], "damaged"),
    ("no beginning.ogg", "ogg", lambda clip: random_bytes(900) + clip[900:], "damaged"),
    ("header only.wav", "wav", lambda clip: clip[:20], "damaged"),
    ("noise.mov", "mov", lambda _: random_bytes(50_000), "damaged, or no clip at all"),
    ("text.mov", "mov", lambda _: b"Reed bed, wind from the west.\n" * 50, "holds text"),
    ("umlaut.mov", "mov", lambda _: "Schilf übers Wasser\n".encode() * 300, "holds text"),
    ("playlist.mp4", "mp4", lambda _: b"#EXTM3U\n#EXTINF:1,\nx.ts\n", "text|list of clips"),
    ("photo.mov", "mov", lambda _: b"\xff\xd8\xff\xe0" + random_bytes(5000), r"picture \(JPEG"),
    ("photo.mp4", "mov", lambda _: b"\x89PNG\r\n\x1a\n" + random_bytes(500), r"picture \(PNG"),
    ("archive.mov", "mov", lambda _: b"PK\x03\x04" + random_bytes(5000), "ZIP archive"),
    ("log.mov", "mov", lambda _: b"SQLite format 3\0" + bytes(5000), "database"),
    ("paper.mov", "mov", lambda _: b"%PDF-1.7\n" + random_bytes(5000), "PDF document"),
]


@pytest.mark.parametrize(("name", "made_from", "spoil", "said"), BROKEN, ids=[b[0] for b in BROKEN])
def test_a_broken_file_gets_one_helpful_sentence(
    tmp_path, sound_clips, name, made_from, spoil, said
):
    path = tmp_path / name
    path.write_bytes(spoil(sound_clips[made_from]))
    with pytest.raises(MediaError, match=said) as raised:
        probe(path)
    text = str(raised.value)
    assert text.startswith(f"{name}: ")
    assert "\n" not in text
    assert str(tmp_path) not in text
    assert raised.value.__cause__ is None  # the library's own words are left out
    with pytest.raises(MediaError, match=said):
        list(read_blocks(path))
    with pytest.raises(MediaError, match=said):
        read_span(path, 0.0, 1.0)


@pytest.mark.parametrize("name", ["photo.jpg", "photo.JPG", "photo.png", "photo.tif", "a.gif"])
def test_a_photo_is_no_take(tmp_path, name):
    path = tmp_path / name
    Image.new("RGB", (640, 480), (90, 120, 80)).save(path)
    with pytest.raises(MediaError, match="holds a still picture"):
        probe(path)


@pytest.mark.parametrize("brand", [b"heic", b"crx "])
def test_a_photo_in_the_container_of_clips_is_no_take(tmp_path, make_clip, brand):
    path = tmp_path / "photo.heic"

    def written(audio_codec):
        clip = make_clip(tmp_path / "a.mp4", seconds=1.0, audio_codec=audio_codec)
        path.write_bytes(clip.read_bytes().replace(b"ftypisom", b"ftyp" + brand))

    written(None)
    with pytest.raises(MediaError, match="holds a still picture"):
        probe(path)
    written("aac")  # what sounds is no photo
    assert probe(path).channels == 2


def test_the_list_of_broken_files_is_long_enough():
    assert len(BROKEN) >= 20


def test_the_clips_they_were_made_from_are_good(tmp_path, sound_clips):
    for suffix, data in sound_clips.items():
        path = tmp_path / f"good.{suffix}"
        path.write_bytes(data)
        reader = SoundReader(path)
        assert sum(block.shape[1] for block in reader) >= 48_000
        assert reader.faults == []


def test_a_folder_is_no_clip(tmp_path):
    with pytest.raises(MediaError, match="is a folder, not a clip"):
        probe(tmp_path)


def test_a_missing_file_is_told(tmp_path):
    with pytest.raises(MediaError, match=r"gone.mov: is not there"):
        probe(tmp_path / "gone.mov")


def test_a_card_that_was_taken_out_of_its_drive_is_told(tmp_path, monkeypatch):
    """Windows says of its drive, with 21, that it is not ready."""
    error = PermissionError(13, "The device is not ready")
    error.winerror = 21

    def refuse(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(Path, "stat", refuse)
    with pytest.raises(
        MediaError, match=r"gone.mov: is not there .*; connect its drive or card, or"
    ):
        probe(tmp_path / "gone.mov")


def test_a_file_that_may_not_be_read_is_told(tmp_path, make_clip, monkeypatch):
    path = make_clip(tmp_path / "a.wav", fps=None, audio_codec="pcm_s16le", seconds=0.1)

    def refuse(self: Path, *_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)  # the mode alone does not stop root
    with pytest.raises(MediaError, match="may not be read by you; change its permissions"):
        probe(path)


def test_a_failing_drive_is_told(tmp_path, make_clip, monkeypatch):
    path = make_clip(tmp_path / "a.wav", fps=None, audio_codec="pcm_s16le", seconds=0.1)

    def fail(self: Path, *_: object) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr(Path, "open", fail)
    with pytest.raises(MediaError, match=r"could not be read \(input/output error\)"):
        probe(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with a name there")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.mov")
    with pytest.raises(MediaError, match="no ordinary file"):
        probe(tmp_path / "pipe.mov")


def test_a_list_does_not_reach_out_to_other_files(tmp_path, make_clip):
    make_clip(tmp_path / "other.ts", container="mpegts", seconds=0.5)
    path = tmp_path / "list.m3u8"
    path.write_text(
        "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1.0,\nother.ts\n#EXT-X-ENDLIST\n", "utf-8"
    )
    with pytest.raises(MediaError), open_take(path):
        pass
    path.write_text("ffconcat version 1.0\nfile other.ts\n", "utf-8")
    with pytest.raises(MediaError), open_take(path):
        pass


def test_a_clip_under_the_wrong_name_is_read_all_the_same(tmp_path, sound_clips):
    path = tmp_path / "really a wave.mov"
    path.write_bytes(sound_clips["wav"])
    assert probe(path).sample_rate_hz == 48_000
