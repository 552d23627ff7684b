"""The broadcast extension, read back by a library that knows nothing of ours."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from wavinfo import WavInfoReader

from calltag.media.wave_files.bext import Bext, read_bext
from calltag.media.wave_files.wav_file import iter_chunks
from calltag.media.wave_files.wav_writing import write_wav


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
