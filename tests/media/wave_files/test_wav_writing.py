"""Wave files as the edit wants them, read back by other libraries."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from wavinfo import WavInfoReader

from calltag.errors import InputError, MediaError
from calltag.media.wave_files import wav_writing
from calltag.media.wave_files.bext import Bext, read_bext
from calltag.media.wave_files.wav_file import iter_chunks
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
