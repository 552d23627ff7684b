from __future__ import annotations

import io

import av
import numpy as np
import pyloudnorm
import pytest
import soundfile

from calltag.errors import InputError, MediaError
from calltag.pages.excerpt import (
    LOUDEST_LUFS,
    MOST_BOOST_DB,
    PEAK_DBTP,
    cut_excerpt,
    safe_gain_db,
)
from calltag.records.span import Span
from calltag.records.take import Levels, Take
from calltag.sound.loudness.true_peak import true_peak_dbtp
from calltag.sound.spectrum import RATE_HZ


@pytest.fixture
def take(tmp_path, make_clip, rng):
    """Six seconds: a quiet first channel, a tone on the second, which is the one that is used."""
    t = np.arange(6 * RATE_HZ) / RATE_HZ
    samples = np.stack([rng.normal(0, 1e-3, len(t)), 0.5 * np.sin(2 * np.pi * 997 * t)])
    make_clip(
        tmp_path / "A001.wav", fps=None, samples=samples.astype(np.float32), audio_codec="pcm_s24le"
    )
    levels = Levels(peak_dbfs=-6, clipped=0, loudness_lufs=-10, floor_dbfs=-20, channel="2")
    take = Take(
        path="A001.wav",
        rushes=str(tmp_path),
        digest="1",
        size_bytes=1,
        duration_s=6.0,
        sample_rate_hz=RATE_HZ,
        channels=2,
        levels=levels,
    )
    return tmp_path / "A001.wav", take


def test_an_excerpt_has_pre_roll_and_the_used_channel(take) -> None:
    excerpt = cut_excerpt(*take, Span(2.0, 3.0))
    assert (excerpt.start_s, excerpt.end_s) == (1.0, 3.5)
    assert np.abs(excerpt.raw).max() == pytest.approx(0.5, abs=1e-3)
    first = cut_excerpt(*take, Span(0.2, 0.5))
    assert (first.start_s, first.end_s) == (0.0, 1.0)
    last = cut_excerpt(*take, Span(5.5, 5.9))
    assert last.end_s == pytest.approx(6.0)


@pytest.mark.parametrize("level", [1.0, 0.25, 0.01])
def test_the_level_is_held_as_a_reference_library_measures_it(level) -> None:
    """pyloudnorm on a steady sound, whose momentary and integrated loudness are one."""
    t = np.arange(4 * RATE_HZ) / RATE_HZ
    tone = (level * np.sin(2 * np.pi * 997 * t)).astype(np.float32)
    played = tone * 10 ** (safe_gain_db(tone) / 20)
    measured = pyloudnorm.Meter(RATE_HZ).integrated_loudness(played)
    assert measured == pytest.approx(LOUDEST_LUFS, abs=0.1)


def test_a_click_is_held_by_its_peak(rng) -> None:
    click = rng.normal(0, 1e-5, RATE_HZ).astype(np.float32)
    click[20_000:20_020] = 0.9
    played = click * np.float32(10 ** (safe_gain_db(click) / 20))
    assert true_peak_dbtp(played) == pytest.approx(PEAK_DBTP, abs=0.1)


def test_one_loud_moment_counts_not_the_mean(rng) -> None:
    """A call of 0.5 s in four seconds of hush: what it alone would be held to."""
    sound = np.zeros(4 * RATE_HZ, np.float32)
    burst = (0.2 * np.sin(2 * np.pi * 997 * np.arange(RATE_HZ // 2) / RATE_HZ)).astype(np.float32)
    sound[RATE_HZ : RATE_HZ + len(burst)] = burst
    assert safe_gain_db(sound) == pytest.approx(safe_gain_db(burst), abs=0.2)


@pytest.mark.parametrize("level", [1e-4, 1e-6, 0.0])
def test_hiss_and_silence_are_raised_by_no_more_than_the_limit(level, rng) -> None:
    hiss = rng.normal(0, level, RATE_HZ).astype(np.float32)
    assert safe_gain_db(hiss) == MOST_BOOST_DB


def test_both_encodings_hold_the_sound(take) -> None:
    excerpt = cut_excerpt(*take, Span(2.0, 3.0))
    wav, rate_hz = soundfile.read(io.BytesIO(excerpt.wav()), dtype="float32")
    assert rate_hz == RATE_HZ
    np.testing.assert_allclose(wav, excerpt.samples, atol=2**-15)
    assert abs(wav[0]) < 1e-3
    assert abs(wav[-1]) < 1e-3
    small = excerpt.mp3()
    assert len(small) < len(excerpt.wav()) / 6
    with av.open(io.BytesIO(small)) as container:  # FFmpeg's decoder, not the one that wrote it
        frames = [frame.to_ndarray() for frame in container.decode(audio=0)]
    decoded = np.concatenate(frames, axis=-1)[0]
    assert len(decoded) / RATE_HZ == pytest.approx(2.5, abs=0.1)
    assert np.sqrt(np.mean(decoded**2)) == pytest.approx(np.sqrt(np.mean(wav**2)), rel=0.05)


def test_what_is_not_there_is_told(take) -> None:
    path, known = take
    with pytest.raises(MediaError, match=r"has no sound at 9\.0 s"):
        cut_excerpt(path, known, Span(9.0, 9.5), before_s=0)
    with pytest.raises(InputError, match="zero or more"):
        cut_excerpt(path, known, Span(2.0, 3.0), before_s=-1)
