"""Wave copies with cues, read back by wavinfo, soundfile and FFmpeg."""

from __future__ import annotations

import struct
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile as sf
from wavinfo import WavInfoReader

from calltag.edit.formats import WriteOptions, wav_cues
from calltag.edit.formats.wav_cues import read_cues
from calltag.edit.markers import from_log, place
from calltag.edit.retime import conform
from calltag.edit.sound_delay import advance_to_picture
from calltag.errors import InputError
from calltag.media.sound_blocks.reader import SoundReader
from calltag.media.timing.timecode import nearest_frame
from calltag.media.wave_files import wav_writing
from calltag.media.wave_files.bext import Bext
from calltag.media.wave_files.wav_file import iter_chunks
from calltag.media.wave_files.wav_writing import Cue, write_wav
from calltag.records.found import TakeLog

from ..conftest import RATES, make_call, make_sound, make_take

OPTIONS = WriteOptions()
CALLS = (make_call(0.1234, 0.5), make_call(0.3, 1.25, "pit rail: tick"))


def marked_sound(folder: Path, name="R001.wav", **changes):
    take = make_sound(name, rushes=str(folder), duration_s=2.0, **changes)
    return from_log(TakeLog(take=take, calls=CALLS))


def data_bytes(path: Path) -> bytes:
    (chunk,) = (chunk for chunk in iter_chunks(path) if chunk.name == "data")
    return path.read_bytes()[chunk.offset : chunk.offset + chunk.size]


@pytest.mark.parametrize("subtype", ["PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
@pytest.mark.parametrize(("channels", "rate_hz"), [(1, 44_100), (2, 48_000), (3, 96_000)])
def test_a_copy_has_the_same_sound(tmp_path, rng, subtype, channels, rate_hz):
    source = tmp_path / "R001.wav"
    sf.write(source, rng.uniform(-1, 1, (2 * rate_hz + 1, channels)), rate_hz, subtype=subtype)
    before = source.read_bytes()
    marked = marked_sound(tmp_path, sample_rate_hz=rate_hz, channels=channels)
    nothing = replace(marked, take=replace(marked.take, path="R002.wav"), markers=())
    (path,) = wav_cues.write([marked, nothing], tmp_path / "out", OPTIONS)
    assert source.read_bytes() == before
    assert data_bytes(path) == data_bytes(source)
    assert sf.info(path).subtype == subtype
    np.testing.assert_array_equal(sf.read(path)[0], sf.read(source)[0])
    assert list(WavInfoReader(str(path)).cues.to_dict().values()) == [
        {
            "frame": round(call.start_s * rate_hz),
            "label": call.label,
            "length": round(call.end_s * rate_hz) - round(call.start_s * rate_hz),
        }
        for call in CALLS
    ]
    # FFmpeg shows cues as chapters.
    with av.open(str(path)) as container:
        chapters = [
            (c["start"] * c["time_base"] * rate_hz, c["metadata"]["title"])
            for c in container.chapters()
        ]
    assert chapters == [(round(c.start_s * rate_hz), c.label) for c in CALLS]


@pytest.mark.parametrize("rate", RATES, ids=str)
def test_cues_are_on_the_frame_of_every_rate(tmp_path, rng, rate):
    source = tmp_path / "R001.wav"
    sf.write(source, rng.uniform(-1, 1, 2 * 48_000), 48_000, subtype="PCM_24")
    marked = replace(marked_sound(tmp_path), rate=rate)
    (path,) = wav_cues.write([marked], tmp_path / "out", OPTIONS)
    cues = WavInfoReader(str(path)).cues.to_dict().values()
    frames = [nearest_frame(Fraction(cue["frame"], 48_000), rate.fps) for cue in cues]
    assert frames == [first for _, first, _ in place(marked)]


def test_a_marker_beyond_what_cues_reach_is_told_and_the_other_takes_are_written(tmp_path, rng):
    for name in ("R001.wav", "R002.wav"):
        sf.write(tmp_path / name, rng.uniform(-1, 1, 48_000), 48_000)
    night = make_sound("R001.wav", rushes=str(tmp_path), duration_s=26 * 3600.0)
    late = from_log(TakeLog(take=night, calls=(*CALLS, make_call(25 * 3600.0, 25 * 3600.5))))
    problems = []
    written = wav_cues.write(
        [late, marked_sound(tmp_path, "R002.wav")],
        tmp_path / "out",
        WriteOptions(on_problem=problems.append),
    )
    assert written == [tmp_path / "out/R002.wav"]
    assert sorted((tmp_path / "out").iterdir()) == written
    (problem,) = problems
    assert problem.path == "R001.wav"
    assert problem.reason.startswith("is so long that no cue reaches its marker at 25:00:00.00;")


# Samples since midnight of ten o'clock, from ST 12-1's rates and EBU Tech 3285's definition.
@pytest.mark.parametrize(
    ("rate", "time_reference"),
    [(RATES[2], 1_728_000_000), (RATES[4], 1_727_998_272), (RATES[3], 1_729_728_000)],
    ids=str,
)
def test_start_of_a_take_that_states_timecode(tmp_path, make_clip, rate, time_reference):
    label = "10:00:00;00" if rate.drop else "10:00:00:00"
    clip = make_clip(tmp_path / "A003.mov", fps=rate.fps, timecode=label)
    take = make_take(clip.name, rate, rushes=str(tmp_path), duration_s=2.0)
    take = replace(take, recorded="2026-05-03T05:12:40Z")
    marked = from_log(TakeLog(take=take, calls=CALLS))
    (path,) = wav_cues.write([marked], tmp_path / "out", OPTIONS)
    bext = WavInfoReader(str(path)).bext
    assert bext.time_reference == time_reference
    assert (bext.originator, bext.originator_date, bext.originator_time) == (
        "calltag",
        "2026-05-03",
        "05:12:40",
    )
    assert bext.description == "sound of A003.mov"


@pytest.mark.parametrize(
    ("codec", "subtype"),
    [
        ("pcm_s16le", "PCM_16"),
        ("pcm_s16be", "PCM_16"),
        ("pcm_s24le", "PCM_24"),
        ("pcm_f32le", "FLOAT"),
        ("aac", "PCM_24"),
    ],
)
def test_sound_of_a_picture_take(tmp_path, make_clip, codec, subtype):
    clip = make_clip(tmp_path / "A003.mov", audio_codec=codec)
    with av.open(str(clip)) as container:
        frames = [frame.to_ndarray() for frame in container.decode(audio=0)]
    marked = from_log(
        TakeLog(take=make_take(clip.name, rushes=str(tmp_path), duration_s=2.0), calls=CALLS)
    )
    (path,) = wav_cues.write([marked], tmp_path / "out", OPTIONS)
    assert sf.info(path).subtype == subtype
    sound = sf.read(path, dtype="float64", always_2d=True)[0]
    if codec != "aac":
        form = {"PCM_16": 2.0**15, "PCM_24": 2.0**31, "FLOAT": 1.0}[subtype]
        original = np.concatenate(frames, axis=1).reshape(-1, 2) / form
        np.testing.assert_array_equal(sound, original)
    assert [c["frame"] for c in WavInfoReader(str(path)).cues.to_dict().values()] == [5923, 14400]
    assert len(sound) >= 2 * 48_000


def test_a_sound_track_that_cannot_be_decoded_costs_only_itself(tmp_path, make_clip):
    """As phones write one, in a format of their own, beside the usual."""
    clip = make_clip(tmp_path / "A003.mov", audio_codec="pcm_s24le", channels=2, streams=2)
    clip.write_bytes(clip.read_bytes().replace(b"in24", b"apac", 1))
    with av.open(str(clip)) as container:
        assert [stream.codec_context is None for stream in container.streams.audio] == [True, False]
    take = make_take(clip.name, rushes=str(tmp_path), duration_s=2.0, channels=1)
    (path,) = wav_cues.write([from_log(TakeLog(take=take, calls=CALLS))], tmp_path / "out", OPTIONS)
    (heard,) = SoundReader(clip, rate_hz=None)
    assert (sf.info(path).subtype, sf.info(path).channels) == ("PCM_24", 1)
    np.testing.assert_array_equal(sf.read(path, dtype="float32")[0], heard[0])


@pytest.mark.parametrize("own", [None, Bext(time_reference=77)])
def test_a_copy_states_its_start_once(tmp_path, rng, own):
    write_wav(tmp_path / "R001.wav", rng.uniform(-1, 1, (1, 96_000)), 48_000, bext=own)
    (path,) = wav_cues.write([marked_sound(tmp_path)], tmp_path / "out", OPTIONS)
    assert [chunk.name for chunk in iter_chunks(path)].count("bext") == 1
    said = WavInfoReader(str(path)).bext
    # The take states neither timecode nor reference: without a statement of its own, zero.
    assert said.time_reference == (77 if own else 0)
    assert said.description == ("" if own else "sound of R001.wav")


def test_chunks_and_cues_of_the_recorder_stay(tmp_path, rng):
    source = tmp_path / "R001.wav"
    bext = Bext(
        description="reed bed, north",
        originator="recorder",
        time_reference=77,
        history="A=PCM,F=48000,W=24,M=mono,T=recorder",
    )
    own = [Cue(48_000, "slate"), Cue(100, "", 50)]
    write_wav(source, rng.uniform(-1, 1, (1, 96_000)), 48_000, bext=bext, cues=own)
    title = b"INFO" + struct.pack("<4sI", b"INAM", 4) + b"reed"
    with source.open("r+b") as file:  # chunks of the recorder's own, one of odd length
        file.seek(0, 2)
        file.write(struct.pack("<4sI", b"iXML", 5) + b"<a/>x\0")
        file.write(struct.pack("<4sI", b"LIST", len(title)) + title)
        length = file.tell() - 8
        file.seek(4)
        file.write(struct.pack("<I", length))
    (path,) = wav_cues.write([marked_sound(tmp_path, channels=1)], tmp_path / "out", OPTIONS)
    info = WavInfoReader(str(path))
    assert (info.bext.description, info.bext.originator) == ("reed bed, north", "recorder")
    assert info.bext.time_reference == 77
    assert info.bext.coding_history.splitlines() == [
        "A=PCM,F=48000,W=24,M=mono,T=recorder",
        "A=PCM,F=48000,T=calltag cues",
    ]
    assert {
        (c["frame"], c.get("label"), c.get("length")) for c in info.cues.to_dict().values()
    } == {
        (100, "", 50),
        (5923, "marsh hooter: boom", 24000 - 5923),
        (14400, "pit rail: tick", 45600),
        (48_000, "slate", None),
    }
    names = [chunk.name for chunk in iter_chunks(path)]
    assert names.count("iXML") == names.count("cue ") == 1
    assert names.count("LIST") == 2  # the cues' names, and the recorder's title
    assert info.info.title == "reed"
    assert sorted(read_cues(path))[0] == Cue(100, "", 50)


def test_a_big_copy_is_rf64(tmp_path, rng, monkeypatch):
    source = tmp_path / "R001.wav"
    sf.write(source, rng.uniform(-1, 1, (96_000, 2)), 48_000, subtype="PCM_24")
    monkeypatch.setattr(wav_writing, "_RIFF_LIMIT", 100_000)
    (path,) = wav_cues.write([marked_sound(tmp_path)], tmp_path / "out", OPTIONS)
    assert path.read_bytes()[:4] == b"RF64"
    assert sf.info(path).frames == 96_000
    np.testing.assert_array_equal(sf.read(path)[0], sf.read(source)[0])
    assert len(WavInfoReader(str(path)).cues.to_dict()) == 2


def test_a_recording_that_was_cut_off(tmp_path, rng):
    source = tmp_path / "R001.wav"
    sf.write(source, rng.uniform(-1, 1, 96_000), 48_000, subtype="PCM_16")
    source.write_bytes(source.read_bytes()[:100_001])
    (path,) = wav_cues.write([marked_sound(tmp_path, channels=1)], tmp_path / "out", OPTIONS)
    assert sf.info(path).frames == (100_001 - 44) // 2
    assert len(WavInfoReader(str(path)).cues.to_dict()) == 2


@pytest.mark.parametrize("stated", [0, 0xFFFFFFFF])
@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("own_bext", [False, True])
def test_a_recording_whose_length_was_never_stated(tmp_path, rng, stated, subtype, own_bext):
    source = tmp_path / "R001.wav"
    samples = rng.uniform(-1, 1, (2, 96_000)).astype(np.float32)
    bext = Bext(time_reference=77) if own_bext else None
    write_wav(source, samples, 48_000, subtype=subtype, bext=bext)
    whole = data_bytes(source)
    head = source.read_bytes().removesuffix(whole)
    assert head[-8:-4] == b"data"
    source.write_bytes(head[:4] + bytes(4) + head[8:-4] + struct.pack("<I", stated) + whole)
    (path,) = wav_cues.write([marked_sound(tmp_path)], tmp_path / "out", OPTIONS)
    assert data_bytes(path) == whole
    (heard,) = SoundReader(path, rate_hz=None)
    (known,) = SoundReader(source, rate_hz=None)
    np.testing.assert_array_equal(heard, known)
    np.testing.assert_array_equal(sf.read(path, dtype="float32")[0].T, known)
    assert known.shape == (2, 96_000)
    assert [chunk.name for chunk in iter_chunks(path)].count("data") == 1
    assert len(WavInfoReader(str(path)).cues.to_dict()) == 2


def test_refusals(tmp_path, rng):
    sf.write(tmp_path / "R001.wav", rng.uniform(-1, 1, 96_000), 48_000)
    marked = marked_sound(tmp_path)
    before = (tmp_path / "R001.wav").read_bytes()
    replace_all = WriteOptions(replace=True)
    with pytest.raises(InputError, match="this is a take"):
        wav_cues.write([marked], tmp_path, replace_all)
    with pytest.raises(InputError, match="own speed"):
        wav_cues.write([replace(marked, speed=Fraction(1, 2))], tmp_path / "out", OPTIONS)
    filmed = from_log(TakeLog(take=make_take(), calls=CALLS))
    with pytest.raises(InputError, match="own speed"):
        wav_cues.write([conform(filmed, RATES[6])], tmp_path / "out", OPTIONS)
    with pytest.raises(InputError, match="leave out --distance"):
        wav_cues.write([advance_to_picture(filmed, 100)], tmp_path / "out", OPTIONS)
    assert (tmp_path / "R001.wav").read_bytes() == before
    assert [path.name for path in tmp_path.iterdir()] == ["R001.wav"]
