"""Cuts against their source, both decoded anew by programs that calltag has no part in."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calltag.errors import InputError, MediaError
from calltag.library.cuts import FADE_S, cut_call
from calltag.library.keep import cut_path
from calltag.library.kept_file.story import BY_HAND, Heard
from calltag.media.identity import digest
from calltag.media.wave_files.bext import read_bext
from calltag.records.label import CALL
from calltag.records.span import Span
from calltag.records.take import Take

from .conftest import RATE_HZ, Shot, call, plain_story, shoot, wanted


def decoded(path) -> np.ndarray:
    """Integers at the top of 32 bits, or floats, as PyAV has them."""
    with av.open(str(path)) as container:
        frames = [frame.to_ndarray() for frame in container.decode(audio=0)]
        channels = container.streams.audio[0].codec_context.channels
    whole = np.concatenate(frames, axis=-1)
    return whole.reshape(-1, channels).T if whole.shape[0] == 1 else whole


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
@pytest.mark.parametrize(("rate_hz", "channels"), [(48_000, 2), (44_100, 1), (96_000, 4)])
def test_every_sample_is_the_sources(keep, tmp_path, suffix, rate_hz, channels):
    shot = shoot(tmp_path / "r", rate_hz=rate_hz, channels=channels, time_reference=None)
    (kept,) = keep(wanted(shot, call(3.0)), as_flac=suffix == ".flac")
    assert kept.file.suffix == suffix
    source, _ = soundfile.read(shot.path, dtype="int32", always_2d=True)
    cut, rate_read_hz = soundfile.read(kept.file, dtype="int32", always_2d=True)
    assert (rate_read_hz, cut.shape[1]) == (rate_hz, channels)
    assert soundfile.info(kept.file).subtype == "PCM_24"
    fade, first = round(FADE_S * rate_hz), 2 * rate_hz
    assert len(cut) == round(2.5 * rate_hz)
    expected = source[first : first + len(cut)]
    np.testing.assert_array_equal(cut[fade:-fade], expected[fade:-fade])
    np.testing.assert_array_equal(decoded(kept.file)[:, fade:-fade], expected[fade:-fade].T)
    assert not cut[0].any()
    quieter = np.abs(cut[:fade].astype(float)) <= np.abs(expected[:fade].astype(float)) + 256
    assert quieter.all()


def test_sound_of_a_clip_is_cut_to_the_sample(keep, tmp_path, make_clip):
    path = make_clip(tmp_path / "r" / "A001.mov", seconds=6.0, timecode="10:00:00:00")
    take = Take(
        path="A001.mov",
        rushes=str(tmp_path / "r"),
        digest=digest(path),
        size_bytes=1,
        duration_s=6.0,
        fps=Fraction(25),
        start_tc="10:00:00:00",
        sample_rate_hz=48_000,
        channels=2,
        width=64,
    )
    (kept,) = keep(wanted(Shot(take, np.zeros(0)), call(3.0)))
    with av.open(str(path)) as container:  # AAC decodes to floats; its priming lies before zero
        stream = container.streams.audio[0]
        frames = list(container.decode(stream))
        at = round(float(frames[0].pts * frames[0].time_base) * RATE_HZ)
        source = np.concatenate([frame.to_ndarray() for frame in frames], axis=1)
    cut, _ = soundfile.read(kept.file, dtype="float64", always_2d=True)
    fade = round(FADE_S * RATE_HZ)
    expected = source[:, 2 * RATE_HZ - at :][:, : len(cut)]
    off = np.abs(cut[fade:-fade].T - expected[:, fade:-fade])
    assert off.max() <= 2**-24  # half a step of 24 bits: rounded once, and no more
    assert kept.story.start_tc == "10:00:03:00"
    assert read_bext(kept.file).time_reference == (10 * 3600 + 2) * RATE_HZ  # by hand


def test_samples_since_midnight_go_beyond_32_bits(keep, tmp_path):
    # EBU Tech 3285: 13:00:00 at 96 kHz is 4 492 800 000, the high word 1.
    shot = shoot(tmp_path / "r", rate_hz=96_000, time_reference=13 * 3600 * 96_000)
    (kept,) = keep(wanted(shot, call(2.0)))
    assert read_bext(kept.file).time_reference == 4_492_800_000 + 96_000


@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    start_s=st.floats(0.0, 2.4),
    length_s=st.floats(0.02, 0.5),
    handles_s=st.sampled_from([0.0, 0.003, 0.2, 5.0]),
)
def test_the_call_is_never_faded(tmp_path_factory, start_s, length_s, handles_s):
    folder = tmp_path_factory.getbasetemp() / "faded"
    if not (folder / "A.wav").exists():
        shoot(folder, "A.wav", seconds=3.0)
    source, _ = soundfile.read(folder / "A.wav", always_2d=True)
    cut = cut_call(folder / "A.wav", Span(start_s, start_s + length_s), handles_s=handles_s)
    begin, end = (round(at_s * RATE_HZ) for at_s in cut.call)
    inside = source[cut.first + begin : cut.first + end].T
    np.testing.assert_array_equal(cut.samples[:, begin:end], inside.astype(np.float32))
    assert cut.fades[0] <= begin
    assert cut.fades[1] <= cut.samples.shape[1] - end


def test_a_recorder_that_went_above_full_scale_loses_nothing(keep, tmp_path):
    from calltag.media.wave_files.wav_writing import write_wav

    shot = shoot(tmp_path / "r", seconds=4.0)
    loud = (shot.samples * 40).astype(np.float32)
    write_wav(shot.path, loud, RATE_HZ, subtype="FLOAT")
    (kept,) = keep(wanted(shot, call(1.0)))
    cut, _ = soundfile.read(kept.file, dtype="float32", always_2d=True)
    assert soundfile.info(kept.file).subtype == "FLOAT"
    assert np.abs(cut).max() > 1
    fade = round(FADE_S * RATE_HZ)
    np.testing.assert_array_equal(cut[fade:-fade].T, loud[:, : len(cut)][:, fade:-fade])


def test_handles_go_as_far_as_the_take(keep, shot):
    first, last = keep(wanted(shot, call(0.25)), wanted(shot, call(7.25)))
    assert (first.story.call_start_s, first.story.first_sample) == (0.25, 0)
    assert last.story.duration_s == pytest.approx(1.75)


def test_the_story_says_what_is_known(keep, shot):
    elsewhere = Heard("other", "card2/B001.mov", 1.0, 1.5)
    one = wanted(shot, call(3.0, noise=("wind",)), also_heard=(elsewhere,))
    (kept,) = keep(one)
    story = kept.story
    assert (story.species, story.place) == ("marsh hooter", "Ashmere, north hide")
    assert story.recorded == "2026-04-18T05:12:03.000+01:00"
    assert (story.start_tc, story.frame_rate) == ("10:00:03:00", "25")
    assert (story.labelled_by, story.confidence) == ("calltag.model 1", 0.9)
    assert (story.also_heard, story.noise) == ((elsewhere,), ("wind",))


@pytest.mark.parametrize(
    ("one", "by"),
    [(call(1.0, by_hand=True), BY_HAND), (call(1.0), "calltag.model 1"), (call(1.0, CALL), "")],
    ids=["by hand", "model", "unknown"],
)
def test_who_says_so(keep, shot, one, by):
    (kept,) = keep(wanted(shot, one))
    assert kept.story.labelled_by == by


def test_every_call_lies_in_a_folder_of_its_species(keep, shot):
    (untold,) = keep(wanted(shot, call(3.0, CALL)))
    assert untold.path == f"calls/call_{Path(shot.take.path).stem}_3.00s_{untold.story.id[:8]}.wav"
    for species, folder in [
        ("Marsh Hooter", "marsh-hooter"),
        ("???", "calls"),
        ("pit/rail", "pit-rail"),
        ("CON", "con-"),  # which Windows keeps for itself
        ("Com1", "com1-"),
        ("nul.2", "nul-.2"),
        ("LPT²", "lpt²-"),  # which Windows reads as 2
        (59 * "a" + ".b", 59 * "a"),  # Windows drops a full stop at the end
    ]:
        assert cut_path(plain_story(species=species), ".flac").rpartition("/")[0] == folder


def test_what_cannot_be_cut_is_told(shot, tmp_path):
    with pytest.raises(InputError, match="handles -1"):
        cut_call(shot.path, Span(1.0, 2.0), handles_s=-1.0)
    with pytest.raises(MediaError, match="no sound at 20"):
        cut_call(shot.path, Span(20.0, 21.0))
