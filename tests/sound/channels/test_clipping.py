"""Which samples are clipped, whatever they are kept as."""

from __future__ import annotations

import numpy as np
import pytest
import soundfile

from calltag.media.probe import probe
from calltag.media.sound_blocks.reader import SoundReader
from calltag.sound.channels.choosing import Chooser
from calltag.sound.channels.faults import clipped_samples

from .conftest import RATE_HZ, A, choose


def test_clipped_samples_are_counted_exactly():
    sound = A.copy()
    sound[1000:1007] = 1.0  # 7
    sound[2000:2003] = -1.0  # 3
    sound[3000:3002] = 1.0  # two are a peak, no clipping
    sound[RATE_HZ - 2 : RATE_HZ + 3] = 32767 / 32768  # 5, over the border of a second
    sound[4000] = 1.0
    _, report = choose(sound)
    assert report.clipped == 15
    assert report.peak_dbfs == 0.0
    assert report.faults == ("channel 1 is clipped (15 samples)",)


@pytest.mark.parametrize("rate_hz", [8000, 44_100, RATE_HZ, 96_000, 192_000])
@pytest.mark.parametrize("subtype", ["PCM_U8", "ULAW", "ALAW", "PCM_16", "PCM_24", "FLOAT"])
def test_clipped_samples_are_counted_whatever_they_are_kept_as(tmp_path, subtype, rate_hz):
    """The highest value of eight bits lies below full scale, and on one side only, or on both.

    A change of rate makes ripples of flat tops, and shallow ones of the highest samples.
    """
    path = tmp_path / "a.wav"
    sound = np.clip(A[: 2 * rate_hz] * 4, -0.9, 0.9)
    sound[1000:1070] = 1.0
    sound[2000:2030] = -1.0
    safe = 0.5 * sound
    soundfile.write(path, np.stack([safe, sound], axis=1), rate_hz, subtype=subtype)
    info = probe(path)
    chooser = Chooser(floats=info.floats, highest=info.highest)
    for block in SoundReader(path, block_s=0.5, recorded=chooser.note_recorded):
        chooser.choose(block)
    assert chooser.report().clipped == 100
    assert list(clipped_samples(chooser.report().found)) == [2]


def test_a_limiter_below_full_scale_clips_nothing():
    sound = A.copy()
    sound[1000:1010] = 10 ** (-0.05 / 20)  # -0.05 dBFS
    assert choose(sound)[1].clipped == 0


def test_a_lossy_codec_overshoots_where_it_was_clipped():
    sound = A.copy()
    sound[1000:1005] = [1.02, 1.05, 1.01, 1.03, 1.0]
    assert choose(sound)[1].clipped == 5


def test_of_floats_only_flat_tops_are_clipped():
    chooser = Chooser(floats=True)
    sound = 20 * A
    sound[1000:1005] = 1.0
    chooser.choose(sound[None])
    report = chooser.report()
    assert report.peak_dbfs > 6
    assert report.clipped == 5


@pytest.mark.parametrize("hz", [100, 440, 997, 5000])
def test_a_full_scale_tone_is_not_clipped(hz):
    # BS.1770 counts a full-scale sine as 0 dBFS peak; its tops are round.
    tone = np.sin(2 * np.pi * hz * np.arange(2 * RATE_HZ) / RATE_HZ)
    tone = (np.round(tone * 32767) / 32768).astype(np.float32)
    _, report = choose(tone)
    assert report.clipped == 0
    assert report.peak_dbfs == pytest.approx(0.0, abs=0.01)
