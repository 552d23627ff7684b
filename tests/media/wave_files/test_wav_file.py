"""Wave files against two independent readers (wavinfo, soundfile) and EBU Tech 3285's figures."""

from __future__ import annotations

import struct
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from wavinfo import WavInfoReader

from calltag.errors import InputError, MediaError
from calltag.media.wave_files import wav_writing
from calltag.media.wave_files.bext import Bext, read_bext
from calltag.media.wave_files.wav_file import announced_bytes, iter_chunks
from calltag.media.wave_files.wav_writing import Cue, write_wav


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "FLOAT"])
@pytest.mark.parametrize("channels", [1, 2, 5])
def test_samples_survive_to_half_a_step(tmp_path, rng, subtype, channels):
    samples = rng.uniform(-1, 1, (channels, 1001)).astype(np.float32)
    path = tmp_path / "a.wav"
    assert write_wav(path, samples, 48_000, subtype=subtype) == 1001
    back, rate_hz = sf.read(path, always_2d=True)
    assert rate_hz == 48_000
    assert sf.info(path).subtype == subtype
    step = {"PCM_16": 2**-15, "PCM_24": 2**-23, "FLOAT": 1e-12}[subtype]
    # a sample within half a step of +1 is stored one step lower: there is no +1 in integer samples
    assert np.abs(back.T - samples).max() <= step


def test_24_bit_integers_are_exact(tmp_path, rng):
    whole = (rng.integers(-(2**23), 2**23, (2, 500)) << 8).astype(np.int32)
    write_wav(tmp_path / "a.wav", whole, 96_000)
    back, _ = sf.read(tmp_path / "a.wav", dtype="int32", always_2d=True)
    np.testing.assert_array_equal(back.T, whole)


def test_over_full_scale_is_limited_not_wrapped(tmp_path):
    write_wav(tmp_path / "a.wav", np.array([1.5, -1.5, 1.0, -1.0]), 48_000)
    back, _ = sf.read(tmp_path / "a.wav", dtype="float64")
    np.testing.assert_array_equal(back, [1 - 2**-23, -1, 1 - 2**-23, -1])


def test_blocks_equal_one_piece(tmp_path, rng):
    samples = rng.uniform(-1, 1, (2, 999)).astype(np.float32)
    write_wav(tmp_path / "a.wav", samples, 48_000)
    write_wav(tmp_path / "b.wav", (samples[:, i : i + 100] for i in range(0, 999, 100)), 48_000)
    assert (tmp_path / "a.wav").read_bytes() == (tmp_path / "b.wav").read_bytes()


# Samples since midnight as derived in EBU Tech 3285's terms; the last needs the high word.
@pytest.mark.parametrize(
    ("time_reference", "rate_hz", "high", "low"),
    [
        (1_728_000_000, 48_000, 0, 1_728_000_000),
        (13 * 3600 * 96_000, 96_000, 1, 197_832_704),
    ],
)
def test_time_reference_is_read_by_wavinfo_and_lies_where_the_standard_says(
    tmp_path, time_reference, rate_hz, high, low
):
    path = tmp_path / "a.wav"
    bext = Bext(description="reeds", date="2026-05-01", time_reference=time_reference)
    write_wav(path, np.zeros((1, 10)), rate_hz, bext=bext)
    assert WavInfoReader(path).bext.time_reference == time_reference
    chunk = next(c for c in iter_chunks(path) if c.name == "bext")
    content = path.read_bytes()[chunk.offset :]
    assert struct.unpack_from("<II", content, 338) == (low, high)


def test_every_bext_field_is_read_by_wavinfo(tmp_path):
    bext = Bext(
        description="Bed of Ashmere, dawn",
        originator="calltag",
        originator_reference="bed-7",
        date="2026-05-01",
        time="05:30:00",
        time_reference=12,
        loudness_lufs=-41.27,
        loudness_range_lu=3.5,
        true_peak_dbtp=-20.01,
        history="A=PCM,F=48000,W=24,M=stereo\nfrom A003.mov 12.0-40.0 s",
    )
    path = tmp_path / "a.wav"
    write_wav(path, np.zeros((2, 11)), 48_000, bext=bext)
    seen = WavInfoReader(path).bext
    assert (seen.description, seen.originator, seen.originator_ref) == (
        bext.description,
        "calltag",
        "bed-7",
    )
    assert (seen.originator_date, seen.originator_time) == ("2026-05-01", "05:30:00")
    assert seen.version == 2
    assert seen.loudness_value == pytest.approx(-41.27)
    assert seen.loudness_range == pytest.approx(3.5)
    assert seen.max_true_peak == pytest.approx(-20.01)
    assert seen.coding_history.splitlines() == bext.history.splitlines()
    assert read_bext(path) == bext


def test_accents_and_long_text_do_not_break_the_fields(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(
        path, np.zeros(4), 48_000, bext=Bext(description="é" * 400, originator="Ł日" + "x" * 40)
    )
    back = read_bext(path)
    assert back is not None
    assert back.description == "e" * 256
    assert back.originator == "L?" + "x" * 30


def test_accents_as_other_recorders_write_them_are_no_text_and_hide_nothing(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, np.zeros((1, 480)), 48_000, bext=Bext(description="pit, Mai", time_reference=7))
    path.write_bytes(path.read_bytes().replace(b"pit, Mai", b"pit, M\xe4i"))
    assert read_bext(path) == Bext(description="pit, M\ufffdi", time_reference=7)


def test_dashes_and_quotation_marks_have_their_likeness_in_the_fields(tmp_path):
    """EBU Tech 3285 wants ASCII; names of takes hold more."""
    path = tmp_path / "a.wav"
    said = Bext(description="sound of Hütte – „Süd“ 2−3.wav", history="T=l’étang «A»")
    write_wav(path, np.zeros(4), 48_000, bext=said)
    back = read_bext(path)
    assert back is not None
    assert back.description == 'sound of Hutte - "Sud" 2-3.wav'
    assert back.history == 'T=l\'etang "A"'


def test_cues_and_info_are_read_by_wavinfo(tmp_path):
    cues = [Cue(2400, "pit rail", 4800), Cue(480, "hooter: boom"), Cue(9000, "odd", 1)]
    path = tmp_path / "a.wav"
    write_wav(
        path, np.zeros((1, 10_001)), 48_000, cues=cues, info={"ICMT": "odd", "ISFT": "calltag"}
    )
    seen = WavInfoReader(path)
    assert [c.sample_offset for c in seen.cues.cues] == [480, 2400, 9000]
    names = [seen.cues.label_and_note(c.name)[0] for c in seen.cues.cues]
    assert names == ["hooter: boom", "pit rail", "odd"]
    lengths = [seen.cues.range(c.name) for c in seen.cues.cues]
    assert lengths == [None, 4800, 1]
    assert (seen.info.comment, seen.info.software) == ("odd", "calltag")
    assert sf.info(path).frames == 10_001


def test_longer_than_32_bits_becomes_rf64(tmp_path, monkeypatch, rng):
    monkeypatch.setattr(wav_writing, "_RIFF_LIMIT", 5000)
    samples = rng.uniform(-1, 1, (2, 2000)).astype(np.float32)
    path = tmp_path / "long.wav"
    write_wav(path, samples, 48_000, bext=Bext(time_reference=7), cues=[Cue(5, "late")])
    assert path.read_bytes()[:4] == b"RF64"
    assert sf.info(path).format == "RF64"
    back, _ = sf.read(path, always_2d=True)
    np.testing.assert_allclose(back.T, samples, atol=2**-23)
    chunks = {c.name: c for c in iter_chunks(path)}
    assert chunks["data"].size == 2000 * 2 * 3
    assert "cue " in chunks
    assert read_bext(path) == Bext(time_reference=7)
    assert WavInfoReader(path).data.frame_count == 2000


FMT = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, 48_000, 96_000, 2, 16)
DS64 = struct.pack("<4sIQQQI", b"ds64", 28, 0, 0, 0, 0)
LIST = struct.pack("<4sI", b"LIST", 5) + b"INFO?\0"


@pytest.mark.parametrize(
    ("head", "stated", "rest", "size"),
    [
        (b"", 0, b"\x01\x80" * 500, 1000),  # a recorder that lost power
        (b"", 0, bytes(1000), 1000),
        (b"", 0, b"AB\0\0" * 250, 1000),
        (b"", 0, b"ABCD\x08\0\0\0" * 125, 1000),
        (b"", 0, b"\x01\x80", 2),
        (b"", 0xFFFFFFFF, b"\x01\x80" * 500, 1000),  # written to a pipe
        (b"", 0xFFFFFFFF, LIST, len(LIST)),
        (DS64, 0xFFFFFFFF, b"\x01\x80" * 500, 1000),
        (b"", 0, b"", 0),  # nothing recorded
        (b"", 0, LIST, 0),
        (b"", 0, LIST[:-1], 0),
        (b"", 0, LIST + LIST, 0),
        (DS64, 0xFFFFFFFF, LIST, 0),
    ],
)
def test_sound_of_unknown_length_goes_on_to_the_end(tmp_path, head, stated, rest, size):
    path = tmp_path / "a.wav"
    start = b"RF64" if head else b"RIFF"
    content = head + FMT + struct.pack("<4sI", b"data", stated) + rest
    path.write_bytes(start + struct.pack("<I4s", 0, b"WAVE") + content)
    chunks = list(iter_chunks(path))
    (data,) = (chunk for chunk in chunks if chunk.name == "data")
    assert (data.offset, data.size) == (path.stat().st_size - len(rest), size)
    behind = (LIST, LIST[:-1], LIST + LIST).index(rest) // 2 + 1 if not size and rest else 0
    assert [chunk.name for chunk in chunks[chunks.index(data) + 1 :]] == ["LIST"] * behind


@pytest.mark.parametrize(
    ("spoilt", "names"),
    [
        (DS64[:18], ["ds64"]),  # the copy ended there
        (
            struct.pack("<4sIQQQI", b"ds64", 28, *[2**64 - 1] * 3, 0)
            + FMT
            + struct.pack("<4sI", b"data", 0xFFFFFFFF)
            + bytes(8),
            ["ds64", "fmt ", "data"],
        ),
    ],
)
def test_a_spoilt_head_ends_the_walk_and_nothing_else(tmp_path, spoilt, names):
    path = tmp_path / "a.wav"
    path.write_bytes(b"RF64\xff\xff\xff\xffWAVE" + spoilt)
    assert [chunk.name for chunk in iter_chunks(path)] == names
    assert read_bext(path) is None
    assert announced_bytes(path) is None


def test_a_chunk_with_a_spoilt_size_takes_no_more_memory_than_the_file(tmp_path):
    path = tmp_path / "a.wav"
    spoilt = struct.pack("<4sI", b"bext", 0xFFFFFFF0) + bytes(700)
    path.write_bytes(b"RIFF" + struct.pack("<I4s", 0, b"WAVE") + spoilt)
    assert [(chunk.name, chunk.size) for chunk in iter_chunks(path)] == [("bext", 700)]
    tracemalloc.start()
    try:
        assert read_bext(path) is not None
        _, peak_bytes = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak_bytes < 1_000_000


def test_a_failed_write_leaves_the_old_file_and_nothing_else(tmp_path):
    path = tmp_path / "a.wav"
    write_wav(path, np.zeros(10), 48_000)
    before = path.read_bytes()

    def blocks():
        yield np.zeros((1, 5))
        raise OSError("the card was pulled out")

    with pytest.raises(InputError, match="card"):
        write_wav(path, blocks(), 48_000)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["a.wav"]


def test_bad_input_is_named(tmp_path):
    with pytest.raises(InputError, match="PCM_12"):
        write_wav(tmp_path / "a.wav", np.zeros(3), 48_000, subtype="PCM_12")
    with pytest.raises(InputError, match="before"):
        write_wav(tmp_path / "a.wav", np.zeros(3), 48_000, cues=[Cue(-1, "x")])
    other = Path(tmp_path / "b.wav")
    other.write_bytes(b"not a wave file at all")
    with pytest.raises(MediaError, match=r"b\.wav"):
        list(iter_chunks(other))
