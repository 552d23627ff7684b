"""Digital silence of sound that was recorded at another rate than the blocks have."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.sound.channels.silences import RecordedSilences


@pytest.mark.parametrize("more", [0, 1, 2, 4800])
def test_silence_that_a_track_ends_with_goes_on_to_the_end_of_the_take(more):
    """The other track of a take may be longer, be it by the one sample that is rounded away."""
    sound = np.full((1, 44_100), 0.1, np.float32)
    sound[:, 22_050:] = 0
    silences = RecordedSilences(48_000)
    silences.add(slice(0, 1), 0, sound, 44_100)
    assert silences.within(0, 48_000 + more) == {0: [(24_000, 48_000 + more)]}


def test_a_sample_that_is_rounded_away_is_no_silence():
    sound = np.full((1, 44_100), 0.1, np.float32)
    silences = RecordedSilences(48_000)
    silences.add(slice(0, 1), 0, sound, 44_100)
    assert silences.within(0, 48_001) == {0: []}
