"""How formats are found, and that they agree."""

from __future__ import annotations

import inspect
from pathlib import Path

import numpy as np
import pytest

from calltag.edit.formats import WriteOptions, all_formats, chapters, choose_format, wav_cues
from calltag.edit.markers import from_log
from calltag.errors import InputError
from calltag.media.rushes import find_clips
from calltag.media.wave_files.bext import Bext
from calltag.media.wave_files.wav_writing import write_wav
from calltag.records.found import TakeLog

from ..conftest import make_call, make_sound, make_take


def test_every_format_has_the_same_shape():
    formats = all_formats()
    assert list(formats) == ["chapters", "csv", "edl", "otio", "wav", "webvtt"]
    for name, found in formats.items():
        assert name == found.NAME
        assert found.SUFFIX.startswith(".")
        assert list(inspect.signature(found.write).parameters) == ["take_markers", "out", "options"]
    # what holds a timeline or an edit list begins at a timecode of its own
    assert [name for name, found in formats.items() if found.OWN_START] == ["edl", "otio"]


@pytest.mark.parametrize(
    ("out", "name", "chosen"),
    [
        ("a.otio", None, "otio"),
        ("a.EDL", None, "edl"),
        ("a.csv", None, "csv"),
        ("folder", None, "webvtt"),
        ("folder", "wav", "wav"),
        ("a.txt", "csv", "csv"),
    ],
)
def test_suffix_or_name_chooses(out, name, chosen):
    assert chosen == choose_format(Path(out), name).NAME


def test_a_folder_with_a_dot_is_a_folder(tmp_path):
    (tmp_path / "day.2").mkdir()
    assert choose_format(tmp_path / "day.2").NAME == "webvtt"


@pytest.mark.parametrize(
    ("out", "name", "reason"),
    [
        ("a.txt", None, r"end the name in one of \.csv, \.edl, \.otio"),
        ("a.vtt", None, "name a folder"),
        ("a.otio", "xml", "there is chapters, csv"),
        ("a.otio", "edl", "ends as otio does, and --as says edl"),
        ("a.CSV", "webvtt", "ends as csv does"),
    ],
)
def test_no_such_format(out, name, reason):
    with pytest.raises(InputError, match=reason):
        choose_format(Path(out), name)


@pytest.mark.parametrize("name", ["csv", "edl", "otio", "webvtt"])
def test_nothing_half_written_and_nothing_overwritten(tmp_path, morning, name, monkeypatch):
    marked = [from_log(take_log) for take_log in morning]
    writer = all_formats()[name]
    out = tmp_path / ("out" if writer.PER_TAKE else f"out{writer.SUFFIX}")
    written = writer.write(marked, out, WriteOptions())
    before = {path: path.read_bytes() for path in written}
    other = "folder" if writer.PER_TAKE else "file"
    with pytest.raises(InputError, match=f"exists already; name another {other}, or add --replace"):
        writer.write(marked, out, WriteOptions())

    def full_disk(self, data):
        raise OSError(28, "No space left on device", str(self))

    monkeypatch.setattr(Path, "write_bytes", full_disk)
    with pytest.raises(InputError, match="no space left on device"):
        writer.write(marked, out, WriteOptions(replace=True))
    files = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert {path: path.read_bytes() for path in files} == before


def test_copies_are_no_rushes(tmp_path: Path, make_clip) -> None:
    rushes, out = tmp_path / "rushes", tmp_path / "rushes" / "for the edit"
    rushes.mkdir()
    sound = rushes / "R001.wav"
    write_wav(sound, np.zeros((1, 96_000)), 48_000, bext=Bext(originator="recorder"))
    clips = [make_clip(rushes / "A001.mkv"), sound]
    makers = (make_take("A001.mkv", rushes=str(rushes)), make_sound("R001.wav", rushes=str(rushes)))
    logs = [TakeLog(take=take, calls=(make_call(0.2, 0.6),)) for take in makers]
    marked = [from_log(log) for log in logs]
    copies = chapters.write(marked, out, WriteOptions()) + wav_cues.write(
        marked, out, WriteOptions()
    )
    assert sorted(path.name for path in copies) == ["A001.mkv", "A001.wav", "R001.mka", "R001.wav"]
    found = find_clips([rushes])
    assert [clip.path for clip in found.clips] == clips
    assert found.own == 4
