"""Sound that holds nothing, at the lowest and the highest rates in use: no error, no find."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.records.take import ChannelFault, FaultKind
from calltag.sound.beats.engine import describe_machine, listen_for_beat
from calltag.sound.beats.hum import find_hum
from calltag.sound.channels.choosing import Chooser
from calltag.sound.channels.dropouts import dropouts
from calltag.sound.filters import filtered, low_cut
from calltag.sound.gain_steps import gain_steps
from calltag.sound.loudness.meters import integrated_lufs, ungated_lufs
from calltag.sound.loudness.true_peak import true_peak_dbtp

SECONDS = 6


def chosen(sound, rate_hz):
    chooser = Chooser(rate_hz)
    for first in range(0, len(sound), 2 * rate_hz):
        chooser.choose(sound[None, first : first + 2 * rate_hz])
    return chooser


@pytest.fixture(params=[8000, 192_000])
def rate_hz(request):
    return request.param


@pytest.mark.parametrize("level", [0.0, 1e-30, 0.3])
@pytest.mark.parametrize("length", ["none", "one sample", "two samples", "whole"])
def test_nothing_beats_hums_or_steps_where_nothing_moves(rate_hz, level, length):
    n = {"none": 0, "one sample": 1, "two samples": 2, "whole": SECONDS * rate_hz}[length]
    sound = np.full(n, level, np.float32)
    assert find_hum(sound, rate_hz) is None
    beat = listen_for_beat(sound, rate_hz)
    assert (beat is None) == (length != "whole")
    assert beat is None or beat.engine is None
    assert describe_machine(sound, rate_hz) == ""
    assert gain_steps(sound, rate_hz) == []
    assert dropouts(sound, rate_hz) == ([(0, n)] if level < 0.1 and length == "whole" else [])
    cut = list(filtered([sound[None]], low_cut(100, rate_hz), rate_hz))
    assert sum(part.shape[1] for part in cut) == n
    assert all(np.abs(part).max() < 1e-4 for part in cut)


def test_what_silence_reads(rate_hz):
    silence = np.zeros((2, SECONDS * rate_hz), np.float32)
    for reading in (integrated_lufs(silence, rate_hz), ungated_lufs(silence, rate_hz)):
        assert reading == float("-inf")
    assert true_peak_dbtp(silence) == float("-inf")
    chooser = chosen(silence[0], rate_hz)
    assert chooser.report().found == (ChannelFault(FaultKind.NO_SOUND, (1,)),)
    assert [tuple(span) for span in chooser.silences()] == [(0.0, SECONDS)]


def test_what_dc_reads(rate_hz):
    report = chosen(np.full(SECONDS * rate_hz, 0.3, np.float32), rate_hz).report()
    assert report.peak_dbfs == pytest.approx(20 * np.log10(0.3), abs=1e-5)
    assert report.clipped == 0


def test_a_square_wave_at_full_scale_is_clipped_from_end_to_end(rate_hz):
    square = np.tile(np.repeat(np.float32([1, -1]), rate_hz // 200), SECONDS * 100)
    report = chosen(square, rate_hz).report()
    assert report.clipped == len(square) == SECONDS * rate_hz
    assert report.peak_dbfs == 0.0
