from __future__ import annotations

from dataclasses import replace

import pytest

from calltag.records.take import ChannelFault, FaultKind, Levels, Take
from calltag.takes.used_channels import clipped_ppm, used_channel


@pytest.mark.parametrize(("channel", "expected"), [("2", 1), ("2, 1", 1), ("1", 0), ("", 0)])
def test_the_channel_that_was_listened_to(channel, expected):
    levels = Levels(peak_dbfs=-3, clipped=0, loudness_lufs=-30, floor_dbfs=-50, channel=channel)
    take = Take(
        path="a.mov", rushes="/", digest="", size_bytes=0, duration_s=1, channels=2, levels=levels
    )
    assert used_channel(take) == expected


def test_a_channel_that_stops_is_not_listened_to_once_another_goes_on():
    levels = Levels(
        peak_dbfs=-3,
        clipped=0,
        loudness_lufs=-30,
        floor_dbfs=-50,
        channel="1, 2",
        channel_faults=(ChannelFault(FaultKind.STOPS, (1,), at_s=40.0),),
    )
    take = Take(
        path="a.mov", rushes="/", digest="", size_bytes=0, duration_s=90, channels=2, levels=levels
    )
    assert used_channel(take) == 1


def listened(channel, **levels):
    """A take of ten seconds and four channels, of which some were listened to."""
    measured = {"peak_dbfs": 0, "clipped": 480, "loudness_lufs": -30, "floor_dbfs": -50} | levels
    return Take(
        path="a.mov",
        rushes="/",
        digest="",
        size_bytes=0,
        duration_s=10,
        channels=4,
        levels=Levels(channel=channel, **measured),
    )


HOT = (ChannelFault(FaultKind.CLIPPED, (1,), amount=480),)


@pytest.mark.parametrize(
    ("take", "channel", "ppm"),
    [
        # 480 samples of the 480 000 that a channel has in ten seconds at 48 kHz
        (listened("1", channel_faults=HOT), None, 1000.0),
        (listened("1, 2", channel_faults=HOT), None, 0.0),  # the safety track is whole
        (listened("2", channel_faults=HOT), 0, 1000.0),
        (listened("2", channel_faults=HOT), 1, 0.0),
        (listened("1"), None, 250.0),  # it is not said which of the four
        (listened("1", clipped=0), None, 0.0),
        (replace(listened("1"), levels=None), None, 0.0),
        # a second of 96 kHz has twice as many
        (replace(listened("1", channel_faults=HOT), sample_rate_hz=96_000), None, 500.0),
    ],
)
def test_clipped_samples_per_million(take, channel, ppm):
    assert clipped_ppm(take, channel) == pytest.approx(ppm)


def test_the_first_channel_where_nothing_was_measured():
    assert used_channel(replace(listened("2"), levels=None)) == 0
