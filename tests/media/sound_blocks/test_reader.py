"""The sound of takes: every sample, at its place, in every container; what is noted on the way."""

from __future__ import annotations

import tracemalloc
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from calltag.errors import InputError, MediaError
from calltag.media.opening import open_take
from calltag.media.probe import probe
from calltag.media.sound_blocks._canvas import GATHER_SAMPLES, WARM_UP_S
from calltag.media.sound_blocks._decoding import Decoder
from calltag.media.sound_blocks._gathering import Gathering
from calltag.media.sound_blocks._seeking import holds_joined_clips
from calltag.media.sound_blocks.reader import SoundReader, read_blocks, read_span

RATE_HZ = 48_000


def whole(path: Path, **options) -> np.ndarray:
    return np.concatenate(list(read_blocks(path, **options)), axis=1)


def noise(n_channels: int, n: int, seed: int = 5) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return np.clip(rng.normal(0, 0.2, (n_channels, n)), -1, 1).astype(np.float32)


def clicks(n: int, every: int = 4800) -> np.ndarray:
    sound = np.zeros((1, n), np.float32)
    sound[0, ::every] = 0.8
    return sound


PCM = {
    # codec: largest error, half a step but where it is told
    "pcm_u8": 2**-8,
    "pcm_s16le": 2**-16,
    "pcm_s24le": 2**-23,  # the writer cuts off
    "pcm_s32le": 2**-25,  # what 32-bit floats keep
    "pcm_f32le": 0.0,
    "pcm_f64le": 0.0,
}


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
@pytest.mark.parametrize("codec", PCM)
def test_every_pcm_sample_comes_back(tmp_path, make_clip, codec, rate_hz):
    sound = noise(2, rate_hz // 2)
    path = make_clip(
        tmp_path / "a.wav", fps=None, samples=sound, rate_hz=rate_hz, audio_codec=codec
    )
    got = whole(path, rate_hz=None)
    assert got.dtype == np.float32
    assert got.shape == sound.shape
    assert np.abs(got - sound).max() <= PCM[codec] * 1.01


@pytest.mark.parametrize(
    ("name", "codec"),
    [("a.wav", "pcm_s16le"), ("a.wav", "pcm_s24le"), ("a.wav", "pcm_f32le"), ("a.flac", "flac")],
)
def test_the_same_samples_as_libsndfile(tmp_path, make_clip, name, codec):
    path = make_clip(tmp_path / name, fps=None, samples=noise(3, 30_000), audio_codec=codec)
    expected, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    np.testing.assert_array_equal(whole(path, rate_hz=None), expected.T)
    assert rate_hz == RATE_HZ


def test_rf64_is_read_as_libsndfile_wrote_it(tmp_path):
    # EBU Tech 3306, written by another library
    sound = noise(2, 20_000)
    path = tmp_path / "a.wav"
    soundfile.write(path, sound.T, RATE_HZ, format="RF64", subtype="FLOAT")
    assert path.read_bytes()[:4] == b"RF64"
    np.testing.assert_array_equal(whole(path), sound)


@pytest.mark.parametrize("rate_hz", [44_100, 48_000, 96_000])
def test_sound_of_another_rate_is_shown_as_it_was_recorded(tmp_path, make_clip, rate_hz):
    sound = noise(2, 3 * rate_hz)
    path = make_clip(
        tmp_path / "a.wav", fps=None, samples=sound, rate_hz=rate_hz, audio_codec="pcm_f32le"
    )
    shown = []

    def recorded(rows, at, samples, its_rate_hz):
        assert (rows, its_rate_hz) == (slice(0, 2), rate_hz)
        assert at == sum(piece.shape[1] for piece in shown)
        shown.append(samples)

    for i, block in enumerate(SoundReader(path, block_s=1.0, recorded=recorded)):
        assert block.shape == (2, 48_000)
        assert rate_hz == 48_000 or sum(map(np.size, shown)) >= 2 * rate_hz * (i + 1)
    assert rate_hz != 48_000 or not shown  # the blocks themselves are what was recorded
    if shown:
        np.testing.assert_array_equal(np.concatenate(shown, axis=1), sound)


@pytest.mark.parametrize("block_s", [0.1, 0.7, 1.0, 60.0])
def test_blocks_join_to_the_whole(tmp_path, make_clip, block_s):
    sound = noise(2, 100_000)
    path = make_clip(tmp_path / "a.wav", fps=None, samples=sound, audio_codec="pcm_f32le")
    blocks = list(read_blocks(path, block_s=block_s))
    assert {block.shape[1] for block in blocks[:-1]} <= {round(block_s * RATE_HZ)}
    assert 0 < blocks[-1].shape[1] <= block_s * RATE_HZ
    np.testing.assert_array_equal(np.concatenate(blocks, axis=1), sound)


def test_a_long_block_is_not_changed_by_the_next(tmp_path, make_clip):
    path = make_clip(
        tmp_path / "a.wav", fps=None, samples=noise(1, 96_000), audio_codec="pcm_s16le"
    )
    blocks = []
    copies = []
    for block in read_blocks(path, block_s=0.25):
        blocks.append(block)
        copies.append(block.copy())
    for block, copy in zip(blocks, copies, strict=True):
        np.testing.assert_array_equal(block, copy)


@pytest.mark.parametrize(
    ("suffix", "codec", "channels", "streams", "options"),
    [
        ("mov", "pcm_s16le", 1, 1, {}),
        ("mov", "pcm_s24le", 2, 2, {}),
        ("mov", "pcm_s16le", 4, 2, {}),
        ("mxf", "pcm_s24le", 4, 4, {"video_codec": "mpeg2video"}),
        ("mxf", "pcm_s16le", 8, 8, {"video_codec": "mpeg2video"}),
        ("mkv", "pcm_s16le", 3, 3, {}),
        ("avi", "pcm_s16le", 2, 1, {}),
    ],
)
def test_all_channels_of_all_streams_in_order(
    tmp_path, make_clip, suffix, codec, channels, streams, options
):
    sound = noise(channels, 57_600)
    path = make_clip(
        tmp_path / f"a.{suffix}",
        samples=sound,
        seconds=1.2,
        streams=streams,
        audio_codec=codec,
        fps=25,
        **options,
    )
    got = whole(path, block_s=0.5)[:, : sound.shape[1]]
    np.testing.assert_allclose(got, sound, atol=2**-16)


def test_streams_of_unequal_length_are_padded_with_silence(tmp_path):
    long, short = noise(1, 48_000), noise(1, 20_000, seed=6)
    path = tmp_path / "a.mov"
    with av.open(path, "w") as out:
        streams = [out.add_stream("pcm_f32le", rate=RATE_HZ, layout="mono") for _ in range(2)]
        for stream, sound in zip(streams, (long, short), strict=True):
            frame = av.AudioFrame.from_ndarray(sound, format="fltp", layout="mono")
            frame.sample_rate = RATE_HZ
            out.mux(stream.encode(frame))
            out.mux(stream.encode(None))
    got = whole(path, block_s=0.3)
    np.testing.assert_array_equal(got[0], long[0])
    np.testing.assert_array_equal(got[1, :20_000], short[0])
    assert not got[1, 20_000:].any()


@pytest.mark.parametrize("delay_s", [0.0, 0.5, 0.12])
@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("a.mov", {"audio_codec": "pcm_s16le"}),
        ("a.mov", {"audio_codec": "aac"}),
        ("a.mp4", {"audio_codec": "aac", "video_codec": "libx264"}),
        ("a.mkv", {"audio_codec": "pcm_s16le"}),
        ("a.mkv", {"audio_codec": "aac"}),
        ("a.mts", {"container": "mpegts", "video_codec": "libx264", "audio_codec": "ac3"}),
        ("a.mts", {"container": "mpegts", "video_codec": "mpeg2video", "audio_codec": "aac"}),
    ],
)
def test_second_0_is_the_first_picture(tmp_path, make_clip, name, options, delay_s):
    sound = clicks(96_000)
    sound[0, 0] = 0  # an encoder spreads a click at the very edge
    path = make_clip(
        tmp_path / name,
        samples=sound,
        sound_delay_s=delay_s,
        # Edit lists count in the film's clock, milliseconds unless told.
        options={"movie_timescale": "48000"} if name.endswith(("mov", "mp4")) else None,
        **options,
    )
    got = whole(path)
    at = 4800 * 3 + round(delay_s * RATE_HZ)
    near = got[0, at - 2000 : at + 2000]
    coarse = 24 if name.endswith("mkv") and delay_s == 0.12 else 0  # its clock counts milliseconds
    if options["audio_codec"] == "ac3":
        coarse = 256  # its decoder's delay is left in by the encoder
    assert abs(int(np.argmax(np.abs(near))) - 2000) <= coarse
    assert not got[0, : round(delay_s * RATE_HZ) - 1100].any() if delay_s > 0.1 else True


@pytest.mark.parametrize(
    ("name", "codec"),
    [("a.mp3", "libmp3lame"), ("a.opus", "libopus"), ("a.ogg", "vorbis"), ("a.m4a", "aac")],
)
def test_what_encoders_put_before_the_sound_is_left_out(tmp_path, make_clip, name, codec):
    container = "ogg" if name.endswith("opus") else None
    sound = np.repeat(clicks(96_000), 2, axis=0)  # the one for Vorbis knows stereo alone
    path = make_clip(
        tmp_path / name, fps=None, samples=sound, audio_codec=codec, container=container
    )
    got = whole(path)
    for at in range(4800, 90_000, 4800):
        near = np.abs(got[0, at - 2000 : at + 2000])
        assert abs(int(np.argmax(near)) - 2000) <= 1
    assert got.shape[1] == pytest.approx(96_000, abs=1024)


def with_gap(
    path: Path, gap: int, at: int, total: int, **stream_options
) -> tuple[Path, np.ndarray]:
    """Write a clip whose second part of sound comes `gap` samples late."""
    sound = noise(1, total)
    with av.open(path, "w") as out:
        stream = out.add_stream("pcm_s16le", rate=RATE_HZ, layout="mono")
        for start in range(0, total, 1000):
            data = np.round(sound[:, start : start + 1000] * 2**15).astype(np.int16)
            frame = av.AudioFrame.from_ndarray(data, format="s16", layout="mono")
            frame.sample_rate = RATE_HZ
            frame.pts = start + (gap if start >= at else 0)
            frame.time_base = Fraction(1, RATE_HZ)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    expected = np.zeros((1, total + gap), np.float32)
    expected[:, :at] = sound[:, :at]
    expected[:, at + gap :] = sound[:, at:]
    return path, expected


@pytest.mark.parametrize("gap", [4800, 48_000, 100_320])
def test_gaps_are_filled_with_silence(tmp_path, gap):
    path, expected = with_gap(tmp_path / "a.mkv", gap, 30_000, 60_000)
    reader = SoundReader(path, block_s=0.4)
    got = np.concatenate(list(reader), axis=1)
    np.testing.assert_allclose(got, expected, atol=2**-16)
    (fault,) = reader.faults
    ends = f"{30_000 / RATE_HZ:.2f} and {(30_000 + gap) / RATE_HZ:.2f} s"
    assert fault == f"sound is missing between {ends}"


def with_gaps(path: Path, gaps_s: list[list[tuple[float, float]]], seconds: int = 6) -> Path:
    """A file of streams that lack a tenth of a second wherever one of their gaps has begun."""
    with av.open(path, "w") as out:
        streams = [out.add_stream("pcm_s16le", rate=RATE_HZ, layout="mono") for _ in gaps_s]
        sound = np.round(noise(1, 4800) * 2**15).astype(np.int16)
        for tenth in range(10 * seconds):
            for stream, gaps in zip(streams, gaps_s, strict=True):
                if any(start_s <= tenth / 10 < end_s for start_s, end_s in gaps):
                    continue
                frame = av.AudioFrame.from_ndarray(sound, format="s16", layout="mono")
                frame.sample_rate, frame.pts = RATE_HZ, tenth * 4800
                frame.time_base = Fraction(1, RATE_HZ)
                out.mux(stream.encode(frame))
        for stream in streams:
            out.mux(stream.encode(None))
    return path


@pytest.mark.parametrize(
    ("gaps_s", "broken", "faults"),
    [
        ([[], [(1, 3)]], [], ["sound of channel 2 is missing between 1.00 and 3.00 s"]),
        (
            [[(1, 3)], [(2, 4)]],
            [(2, 3)],
            [
                "sound of channel 1 is missing between 1.00 and 3.00 s",
                "sound of channel 2 is missing between 2.00 and 4.00 s",
            ],
        ),
        ([[(1, 3), (5, 6)], [(1, 3)]], [(1, 3)], ["sound is missing between 1.00 and 3.00 s"]),
        (
            [[], [(1, 2)], [(1, 2)]],
            [],
            ["sound of channels 2 and 3 is missing between 1.00 and 2.00 s"],
        ),
    ],
)
def test_a_gap_of_one_stream_is_its_own(tmp_path, gaps_s, broken, faults):
    reader = SoundReader(with_gaps(tmp_path / "a.mkv", gaps_s))
    got = np.concatenate(list(reader), axis=1)
    assert got.shape == (len(gaps_s), 6 * RATE_HZ)
    assert np.array(reader.broken) == pytest.approx(np.array(broken), abs=0.002)
    assert reader.faults == faults


def test_jitter_of_timestamps_makes_no_holes(tmp_path):
    sound = noise(1, 96_000)
    rng = np.random.default_rng(2)
    path = tmp_path / "a.mkv"
    with av.open(path, "w") as out:
        stream = out.add_stream("pcm_s16le", rate=RATE_HZ, layout="mono")
        for start in range(0, 96_000, 1000):
            data = np.round(sound[:, start : start + 1000] * 2**15).astype(np.int16)
            frame = av.AudioFrame.from_ndarray(data, format="s16", layout="mono")
            frame.sample_rate = RATE_HZ
            frame.pts = start + (int(rng.integers(0, 300)) if start else 0)  # 6 ms
            frame.time_base = Fraction(1, RATE_HZ)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    reader = SoundReader(path)
    np.testing.assert_allclose(np.concatenate(list(reader), axis=1), sound, atol=2**-16)
    assert reader.faults == []


def test_a_clock_that_jumps_by_hours_makes_no_hours_of_silence(tmp_path):
    path, _ = with_gap(tmp_path / "a.mkv", 3600 * RATE_HZ, 30_000, 60_000)
    reader = SoundReader(path)
    assert sum(block.shape[1] for block in reader) == 60_000
    assert reader.faults == ["its clock jumps at 0.6 s; sound is taken to go on"]


def joined_clips(folder, make_clip, *lengths_s):
    """Clips joined end to end, each of other noise."""
    parts = [
        make_clip(
            folder / f"{seconds}.mts",
            seconds=seconds,
            samples=noise(1, round(seconds * RATE_HZ), seed=i),
            audio_codec="ac3",
            container="mpegts",
            video_codec="libx264",
        )
        for i, seconds in enumerate(lengths_s)
    ]
    path = folder / "joined.mts"
    path.write_bytes(b"".join(part.read_bytes() for part in parts))
    return path, parts


@pytest.mark.parametrize("lengths_s", [(4.0, 3.0), (3.0, 9.0), (1.0, 20.0)])
def test_a_stretch_of_joined_clips_is_found_in_the_right_one(tmp_path, make_clip, lengths_s):
    path, _ = joined_clips(tmp_path, make_clip, *lengths_s)
    whole = np.concatenate(list(read_blocks(path)), axis=1)
    for start_s in np.arange(0.25, sum(lengths_s) - 1, sum(lengths_s) / 12):
        first, n = round(start_s * RATE_HZ), RATE_HZ // 2
        span, _ = read_span(path, start_s, start_s + 0.5)
        np.testing.assert_allclose(span, whole[:, first : first + n], atol=0.01)


def test_a_take_is_looked_into_for_joined_clips_once(tmp_path, make_clip):
    path, _ = joined_clips(tmp_path, make_clip, 4.0, 3.0)
    holds_joined_clips.cache_clear()
    for start_s in (1.0, 2.0, 5.0):
        read_span(path, start_s, start_s + 0.5)
    assert holds_joined_clips.cache_info().misses == 1


def test_a_clip_in_the_place_of_joined_ones_is_read_as_what_it_is(tmp_path, make_clip):
    path, parts = joined_clips(tmp_path, make_clip, 4.0, 3.0)
    read_span(path, 5.0, 5.5)
    path.write_bytes(parts[1].read_bytes())
    whole = np.concatenate(list(read_blocks(path)), axis=1)
    span, _ = read_span(path, 1.0, 1.5)
    expected = whole[0, RATE_HZ : RATE_HZ + RATE_HZ // 2]
    assert np.corrcoef(span[0], expected)[0, 1] > 0.9  # AC-3's dither is another each time


def test_clips_that_were_joined_end_to_end_are_read_and_told(tmp_path, make_clip):
    path, parts = joined_clips(tmp_path, make_clip, 4.0, 3.0)
    reader = SoundReader(path)
    got = np.concatenate(list(reader), axis=1)
    assert got.shape[1] == pytest.approx(7.0 * RATE_HZ, abs=0.1 * RATE_HZ)
    assert (np.abs(got[0]) > 0).mean() > 0.98
    (fault,) = reader.faults
    assert fault.startswith("its clock begins anew at 4.0 s, as where clips are joined end to end")
    assert reader.broken == []
    assert reader.joined_s == got.shape[1] / RATE_HZ
    list(alone := SoundReader(parts[0]))
    assert alone.joined_s is None
    assert alone.faults == []


@pytest.mark.parametrize("picture_goes_on", [True, False])
def test_a_gap_of_minutes_is_one_where_the_picture_goes_on(tmp_path, picture_goes_on):
    path = tmp_path / "a.mkv"
    sound = np.round(noise(1, RATE_HZ // 5) * 2**15).astype(np.int16)
    with av.open(path, "w") as out:
        picture = out.add_stream("mpeg4", rate=5)
        picture.width, picture.height, picture.pix_fmt = 64, 36, "yuv420p"
        stream = out.add_stream("pcm_s16le", rate=RATE_HZ, layout="mono")
        for fifth in range(5 * 100):
            gap = 5 <= fifth / 5 < 95
            if picture_goes_on or not gap:
                image = np.full((36, 64, 3), fifth % 200, np.uint8)
                shown = av.VideoFrame.from_ndarray(image).reformat(format="yuv420p")
                shown.pts, shown.time_base = fifth, Fraction(1, 5)
                out.mux(picture.encode(shown))
            if not gap:
                frame = av.AudioFrame.from_ndarray(sound, format="s16", layout="mono")
                frame.sample_rate, frame.pts = RATE_HZ, fifth * len(sound[0])
                frame.time_base = Fraction(1, RATE_HZ)
                out.mux(stream.encode(frame))
        out.mux(picture.encode(None))
        out.mux(stream.encode(None))
    reader = SoundReader(path)
    read_s = sum(block.shape[1] for block in reader) / RATE_HZ
    if picture_goes_on:
        assert read_s == pytest.approx(100, abs=0.01)
        assert reader.faults == ["sound is missing between 5.00 and 95.00 s"]
        assert reader.broken == [(5.0, 95.0)]
        after, _ = read_span(path, 96.0, 97.0)
        assert np.abs(after).max() > 0.1
    else:
        assert read_s == pytest.approx(10, abs=0.01)
        assert reader.faults == ["its clock jumps at 5.0 s; sound is taken to go on"]


def test_an_avi_file_that_lacks_its_end_is_told(tmp_path, make_clip):
    whole = make_clip(
        tmp_path / "whole.avi",
        seconds=4,
        audio_codec="pcm_s16le",
        video_codec="mjpeg",
        noisy_picture=True,
    )
    content = whole.read_bytes()
    half = tmp_path / "half.avi"
    half.write_bytes(content[: len(content) // 2])
    unfinished = tmp_path / "unfinished.avi"
    unfinished.write_bytes(content[:4] + bytes(4) + content[8 : len(content) // 2])
    unknown = tmp_path / "unknown.avi"
    unknown.write_bytes(content[:4] + b"\xff" * 4 + content[8:])
    told = {}
    for path in (whole, half, unfinished, unknown):
        reader = SoundReader(path)
        assert sum(block.shape[1] for block in reader) > RATE_HZ
        told[path.name] = reader.faults
    assert told["whole.avi"] == told["unknown.avi"] == []
    assert told["half.avi"][-1] == (
        f"is cut short: {len(content):,} bytes were announced and {len(content) // 2:,} are there; "
        "copy it from the card again"
    )
    assert told["unfinished.avi"][-1].startswith("was never finished: its length was not written")


@pytest.mark.parametrize(
    ("from_hz", "to_hz"), [(44_100, 48_000), (96_000, 48_000), (48_000, 44_100)]
)
def test_resampling_keeps_a_tone(tmp_path, make_clip, from_hz, to_hz):
    # A closed form: the tone, sampled at the other rate.
    def tone(rate_hz):
        return 0.5 * np.sin(2 * np.pi * 997 * np.arange(2 * rate_hz) / rate_hz)[None]

    path = make_clip(
        tmp_path / "a.wav",
        fps=None,
        samples=tone(from_hz),
        rate_hz=from_hz,
        audio_codec="pcm_f32le",
    )
    got = whole(path, rate_hz=to_hz, block_s=0.3)
    assert got.shape == (1, 2 * to_hz)
    middle = slice(4000, -4000)
    error = np.abs(got[:, middle] - tone(to_hz)[:, middle]).max()
    assert 20 * np.log10(error / 0.5) < -110  # float32 and soxr's HQ together


def test_resampling_leaves_out_what_the_lower_rate_cannot_hold(tmp_path, make_clip):
    ultrasound = 0.5 * np.sin(2 * np.pi * 30_000 * np.arange(96_000) / 96_000)[None]
    path = make_clip(
        tmp_path / "a.wav", fps=None, samples=ultrasound, rate_hz=96_000, audio_codec="pcm_f32le"
    )
    assert np.abs(whole(path)[:, 2000:-2000]).max() < 1e-4


def test_streams_of_different_rates_come_at_one(tmp_path):
    path = tmp_path / "a.mkv"
    with av.open(path, "w") as out:
        for rate_hz in (48_000, 44_100):
            out.add_stream("pcm_s16le", rate=rate_hz, layout="mono")
        for stream in out.streams:
            tone = np.sin(2 * np.pi * 1000 * np.arange(stream.rate) / stream.rate)
            frame = av.AudioFrame.from_ndarray(
                np.round(tone[None] * 16_000).astype(np.int16), format="s16", layout="mono"
            )
            frame.sample_rate = stream.rate
            out.mux(stream.encode(frame))
            out.mux(stream.encode(None))
    got = whole(path, rate_hz=None)
    assert got.shape == (2, 48_000)
    np.testing.assert_allclose(got[0, 1000:-1000], got[1, 1000:-1000], atol=1e-4)


@pytest.mark.parametrize("rate_hz", [48_000, 44_100])
def test_a_track_that_ends_minutes_before_another_keeps_its_end(tmp_path, rate_hz):
    path = tmp_path / "a.mkv"
    with av.open(path, "w") as out:
        long = out.add_stream("pcm_s16le", rate=RATE_HZ, layout="mono")
        short = out.add_stream("pcm_s16le", rate=rate_hz, layout="mono")
        for second in range(100):
            for stream in (long, short) if second < 7 else (long,):
                tone = 16_000 * np.ones((1, stream.rate), np.int16)
                frame = av.AudioFrame.from_ndarray(tone, format="s16", layout="mono")
                frame.sample_rate = stream.rate
                frame.pts = second * stream.rate
                frame.time_base = Fraction(1, stream.rate)
                out.mux(stream.encode(frame))
    got = whole(path)[1]
    assert np.flatnonzero(got > 0.25)[-1] == pytest.approx(7 * RATE_HZ, abs=3)
    assert np.abs(got[7 * RATE_HZ + 4800 :]).max() < 1e-4


def test_real_recordings_as_libsndfile_reads_them(field):
    paths = sorted((field / "calls").glob("*.ogg")) + sorted(field.glob("esc10/*/*.ogg"))[::60]
    assert len(paths) >= 8
    for path in paths:
        expected, _ = soundfile.read(path, dtype="float32", always_2d=True)
        reader = SoundReader(path, rate_hz=None)
        got = np.concatenate(list(reader), axis=1)
        assert got.shape == expected.T.shape
        np.testing.assert_allclose(got, expected.T, atol=2e-6)  # two decoders of Vorbis
        assert reader.faults == []
        first = expected.shape[0] // 2
        rate_hz = reader.rate_hz
        span, _ = read_span(path, first / rate_hz, (first + 5000) / rate_hz)
        np.testing.assert_allclose(span, expected.T[:, first : first + 5000], atol=2e-6)


SPANS = {
    "a.wav": {"fps": None, "audio_codec": "pcm_s24le"},
    "a.mov": {"audio_codec": "pcm_s16le", "streams": 2},
    "a.mp4": {"audio_codec": "aac", "video_codec": "libx264", "sound_delay_s": 0.2},
    "b.mp4": {"audio_codec": "aac", "options": {"movflags": "frag_keyframe+empty_moov"}},
    "a.mkv": {"audio_codec": "aac"},
    "b.mkv": {"audio_codec": "pcm_s16le", "sound_delay_s": 0.1},
    "a.mxf": {"audio_codec": "pcm_s24le", "video_codec": "mpeg2video", "streams": 2},
    "a.mts": {"audio_codec": "aac", "video_codec": "libx264", "container": "mpegts"},
    "a.avi": {"audio_codec": "pcm_s16le"},
    "a.flac": {"fps": None, "audio_codec": "flac"},
    "a.mp3": {"fps": None, "audio_codec": "libmp3lame"},
    "a.ogg": {"fps": None, "audio_codec": "vorbis"},
    "a.opus": {"fps": None, "audio_codec": "libopus", "container": "ogg"},
}


@pytest.fixture(scope="module")
def span_clips(make_clip, tmp_path_factory) -> dict[str, tuple[Path, np.ndarray]]:
    folder = tmp_path_factory.mktemp("spans")
    made = {}
    for name, options in SPANS.items():
        path = make_clip(folder / name, seconds=6.0, **options)
        made[name] = (path, whole(path, rate_hz=None))
    return made


@pytest.mark.parametrize("name", SPANS)
@pytest.mark.parametrize("start_s", [0.0, 0.01, 2.5, 4.12345, 5.7])
def test_a_span_has_the_samples_of_the_whole(span_clips, name, start_s):
    path, expected = span_clips[name]
    got, rate_hz = read_span(path, start_s, start_s + 0.4)
    first = round(start_s * rate_hz)
    expected = expected[:, first : round((start_s + 0.4) * rate_hz)]
    if name == "a.opus":  # carries rounding on from where decoding began
        np.testing.assert_allclose(got, expected, atol=1e-6)
    else:
        np.testing.assert_array_equal(got, expected)


def test_plain_samples_are_read_from_any_sample_on(span_clips):
    # Sought sound begins at any sample, just beside a multiple of the packets' length as well.
    path, expected = span_clips["a.wav"]
    with av.open(str(path)) as clip:
        n = next(clip.decode(audio=0)).samples
    warm_up = round(WARM_UP_S * RATE_HZ)
    for first in (warm_up + k * n + off for k in (9, 10) for off in range(-3, 4)):
        got, _ = read_span(path, first / RATE_HZ, (first + 16) / RATE_HZ)
        np.testing.assert_array_equal(got, expected[:, first : first + 16])


@settings(max_examples=25, deadline=None)
@given(start_s=st.floats(-1, 7), length_s=st.floats(0.001, 3))
def test_any_span_of_an_aac_clip(span_clips, start_s, length_s):
    path, expected = span_clips["a.mp4"]
    got, rate_hz = read_span(path, start_s, start_s + length_s)
    first, last = (max(0, round(s * rate_hz)) for s in (start_s, start_s + length_s))
    np.testing.assert_array_equal(got, expected[:, first:last])


@pytest.mark.parametrize("start_s", [0.0, 1.0, 3.3333, 7.7])
def test_a_resampled_span_has_the_samples_of_the_whole(tmp_path, make_clip, start_s):
    path = make_clip(
        tmp_path / "a.wav", fps=None, seconds=8.0, rate_hz=44_100, audio_codec="pcm_s16le"
    )
    expected = whole(path)
    got, rate_hz = read_span(path, start_s, start_s + 0.5, rate_hz=RATE_HZ)
    first = round(start_s * RATE_HZ)
    expected = expected[:, first : round((start_s + 0.5) * RATE_HZ)]
    assert rate_hz == RATE_HZ
    assert got.shape == expected.shape
    np.testing.assert_allclose(got, expected, atol=1e-6)


def test_a_span_outside_the_take_is_empty(span_clips):
    got, _ = read_span(span_clips["a.wav"][0], 20.0, 21.0)
    assert got.shape == (2, 0)


@pytest.mark.parametrize(("start_s", "end_s"), [(1.0, 1.0), (2.0, 1.0), (0.0, float("nan"))])
def test_a_span_without_length_is_refused(span_clips, start_s, end_s):
    with pytest.raises(InputError, match="has no length"):
        read_span(span_clips["a.wav"][0], start_s, end_s)


def test_a_take_without_sound(tmp_path, make_clip):
    path = make_clip(tmp_path / "a.mp4", audio_codec=None, seconds=0.5)
    assert list(read_blocks(path)) == []
    with pytest.raises(MediaError, match=r"a\.mp4: has no sound"):
        read_span(path, 0.0, 0.2)


@pytest.mark.parametrize("options", [{"rate_hz": 0}, {"rate_hz": -1}, {"block_s": 0.0}])
def test_senseless_settings_are_refused(tmp_path, options):
    with pytest.raises(InputError, match="makes no sense"):
        SoundReader(tmp_path / "a.mov", **options)


def spoil(path: Path, start: float, end: float, *, seed: int = 0) -> None:
    """Overwrite a part of a file with random bytes."""
    data = bytearray(path.read_bytes())
    first, last = int(start * len(data)), int(end * len(data))
    data[first:last] = np.random.default_rng(seed).bytes(last - first)
    path.write_bytes(data)


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("a.mp4", {"audio_codec": "aac"}),
        ("a.mkv", {"audio_codec": "aac"}),
        ("a.mts", {"audio_codec": "aac", "container": "mpegts", "video_codec": "libx264"}),
        ("a.flac", {"fps": None, "audio_codec": "flac"}),
    ],
)
def test_damage_in_the_middle_is_survived_and_told(tmp_path, make_clip, name, options):
    path = make_clip(tmp_path / name, seconds=8.0, channels=1, **options)
    good = whole(path)
    spoil(path, 0.5, 0.55)
    reader = SoundReader(path)
    got = np.concatenate(list(reader), axis=1)
    assert got.shape == good.shape  # what follows stays at its time
    for part in (slice(0, 3 * RATE_HZ), slice(6 * RATE_HZ, None)):
        np.testing.assert_array_equal(got[:, part], good[:, part])
    assert reader.faults
    assert all("sound is damaged between" in f or "is missing between" in f for f in reader.faults)
    assert any(" 4." in fault or " 3." in fault for fault in reader.faults)


@pytest.mark.parametrize("streams", [1, 2])
def test_damage_at_the_very_end_is_broken(tmp_path, make_clip, streams):
    path = make_clip(tmp_path / "a.mp4", seconds=3.0, streams=streams, audio_codec="aac")
    with av.open(str(path)) as container:
        packets = list(container.demux(*container.streams.audio))
    last = [(one.pos, one.size) for one in packets if one.size and one.pts * one.time_base > 2.8]
    data = bytearray(path.read_bytes())
    for start, n in last:
        data[start : start + n] = b"\xff" * n
    path.write_bytes(data)
    reader = SoundReader(path)
    list(reader)
    assert any("sound is damaged between 2.8" in fault for fault in reader.faults)
    assert reader.broken == [(pytest.approx(2.82, abs=0.03), pytest.approx(3.0, abs=0.03))]


def test_faults_are_of_the_last_reading_alone(tmp_path):
    path, _ = with_gap(tmp_path / "a.mkv", 9600, 30_000, 60_000)
    reader = SoundReader(path)
    for _ in range(2):
        list(reader)
        assert len(reader.faults) == len(reader.broken) == 1


def test_many_places_are_counted(tmp_path, make_clip):
    path = make_clip(tmp_path / "a.mp4", seconds=12.0, channels=1)
    for i in range(1, 10):
        spoil(path, i / 10, i / 10 + 0.004)
    reader = SoundReader(path)
    list(reader)
    assert len(reader.faults) == 4
    assert reader.faults[-1].startswith("sound is damaged in ")
    assert reader.faults[-1] == f"sound is damaged in {len(reader.broken) - 3} more places"
    assert len(reader.broken) > 3
    for span, fault in zip(reader.broken, reader.faults[:3], strict=False):
        assert fault == f"sound is damaged between {span.start_s:.2f} and {span.end_s:.2f} s"
    assert all(one.end_s < other.start_s for one, other in pairwise(reader.broken))


def test_sound_that_is_damaged_throughout_is_an_error(tmp_path, make_clip):
    path = make_clip(tmp_path / "a.mp4", seconds=1.0, channels=1, options={"movflags": "faststart"})
    data = path.read_bytes()
    start = data.index(b"mdat") + 4
    path.write_bytes(data[:start] + b"\xff" * (len(data) - start))
    with pytest.raises(MediaError, match="has sound, but all of it is damaged"):
        list(read_blocks(path))


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("a.mp4", {"options": {"movflags": "faststart"}}),
        ("a.mkv", {}),
        ("a.mxf", {"video_codec": "mpeg2video", "audio_codec": "pcm_s16le"}),
        ("a.flac", {"fps": None, "audio_codec": "flac"}),
    ],
)
def test_a_clip_that_is_cut_short_is_read_as_far_as_it_goes(tmp_path, make_clip, name, options):
    path = make_clip(tmp_path / name, seconds=6.0, **options)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * 0.6)])
    reader = SoundReader(path)
    read_s = sum(block.shape[1] for block in reader) / RATE_HZ
    assert 3.0 < read_s < 4.2
    assert reader.broken == [(pytest.approx(read_s, abs=0.001), pytest.approx(6.0, abs=0.1))]
    assert f"sound ends at {read_s:.1f} s" in reader.faults[-1]
    assert reader.faults[-1].endswith("s before the end of the take")


def test_sound_that_begins_or_ends_apart_from_the_picture_is_told(tmp_path, make_clip):
    path = make_clip(
        tmp_path / "a.mov",
        seconds=6.0,
        samples=noise(1, 2 * RATE_HZ),
        sound_delay_s=1.5,
        audio_codec="pcm_s16le",
    )
    reader = SoundReader(path)
    assert sum(block.shape[1] for block in reader) == 3.5 * RATE_HZ
    assert reader.faults == [
        "sound starts 1.5 s after the picture",
        "sound ends at 3.5 s, 2.5 s before the end of the take",
    ]
    assert reader.broken == [(0.0, 1.5), (3.5, 6.0)]


@pytest.mark.parametrize("streams", [1, 2])
def test_sound_that_begins_a_little_after_the_picture_is_not_broken(tmp_path, make_clip, streams):
    path = make_clip(
        tmp_path / "a.mkv", sound_delay_s=0.2, streams=streams, audio_codec="pcm_s16le"
    )
    reader = SoundReader(path)
    list(reader)
    assert reader.faults == reader.broken == []


@pytest.mark.parametrize("name", ["a.mov", "a.mkv"])
def test_sound_may_begin_minutes_after_the_picture(tmp_path, make_clip, name):
    sound = noise(1, RATE_HZ)
    path = make_clip(
        tmp_path / name,
        seconds=80.0,
        fps=5,
        samples=sound,
        sound_delay_s=70.0,
        audio_codec="pcm_s16le",
    )
    reader = SoundReader(path)
    got = np.concatenate(list(reader), axis=1)
    assert got.shape[1] == 71 * RATE_HZ
    assert not got[0, : 70 * RATE_HZ].any()
    np.testing.assert_allclose(got[0, 70 * RATE_HZ :], sound[0], atol=2**-15)
    assert reader.faults[0] == "sound starts 70.0 s after the picture"
    assert reader.broken[0] == (0.0, 70.0)


def test_a_good_clip_has_no_faults(tmp_path, make_clip):
    for name, options in SPANS.items():
        reader = SoundReader(make_clip(tmp_path / name, **(options | {"seconds": 1.0})))
        list(reader)
        assert reader.faults == reader.broken == [], name


def test_samples_that_are_no_numbers_become_silence(tmp_path):
    sound = noise(1, 48_000)
    sound[0, 100] = np.nan
    sound[0, 200] = np.inf
    path = tmp_path / "a.wav"
    soundfile.write(path, sound.T, RATE_HZ, subtype="FLOAT")
    reader = SoundReader(path)
    got = np.concatenate(list(reader), axis=1)
    assert np.isfinite(got).all()
    assert got[0, 100] == got[0, 200] == 0
    assert reader.faults == ["some samples are no numbers; they were taken for silence"]


def test_samples_are_turned_into_numbers_many_at_a_time(tmp_path, make_clip, monkeypatch):
    path = make_clip(tmp_path / "a.mp4", seconds=3.0, samples=noise(2, 3 * RATE_HZ))
    n_samples = []
    take = Gathering.take

    def noted(self):
        taken = take(self)
        n_samples.append(taken[0])
        return taken

    monkeypatch.setattr(Gathering, "take", noted)
    list(SoundReader(path))
    *whole, _ = filter(None, n_samples)
    assert len(whole) == 3 * RATE_HZ // GATHER_SAMPLES
    assert min(whole) >= GATHER_SAMPLES


def test_samples_too_large_to_be_squared_are_numbers(tmp_path):
    sound = noise(1, 48_000)
    sound[0, 100] = 1e30  # its square passes single precision
    path = tmp_path / "a.wav"
    soundfile.write(path, sound.T, RATE_HZ, subtype="FLOAT")
    reader = SoundReader(path)
    got = np.concatenate(list(reader), axis=1)
    assert got[0, 100] == np.float32(1e30)
    assert reader.faults == []


def test_a_stream_that_changes_its_channels_keeps_their_number(tmp_path, make_clip):
    # Broadcast sound does: 5.1 in the film, stereo between.
    parts = [
        make_clip(
            tmp_path / f"{n}.ac3",
            fps=None,
            container="ac3",
            audio_codec="ac3",
            samples=noise(n, 48_000, seed=n),
        ).read_bytes()
        for n in (2, 6, 1)
    ]
    path = tmp_path / "a.ac3"
    path.write_bytes(b"".join(parts))
    got = whole(path)
    assert got.shape[0] == probe(path).channels
    assert got.shape[1] == pytest.approx(3 * 48_000, abs=3 * 1536)
    for part in np.split(got[:, : 3 * 46_000], 3, axis=1):
        assert 0.02 < np.sqrt(np.mean(part**2)) < 0.5


@pytest.mark.parametrize("which", [20, 50])
def test_a_damaged_frame_that_claims_impossible_channels_is_damage(
    tmp_path, make_clip, monkeypatch, which
):
    # Of two hundred AAC packets with a few bytes spoilt, one makes such a frame.
    path = make_clip(tmp_path / "a.mp4", seconds=3.0, samples=noise(1, 3 * RATE_HZ))
    expected = whole(path)
    decode = Decoder.decode
    fed = 0

    def one_spoilt(self, packet):
        nonlocal fed
        fed += 1
        frames = decode(self, packet)
        if fed != which:
            return frames
        (frame,) = frames
        odd = av.AudioFrame(frame.format.name, "41 channels", samples=frame.samples)
        odd.sample_rate, odd.pts = frame.sample_rate, frame.pts
        return [odd]

    monkeypatch.setattr(Decoder, "decode", one_spoilt)
    reader = SoundReader(path)
    got = np.concatenate(list(reader), axis=1)
    (lost,) = reader.broken
    assert reader.faults == [f"sound is damaged between {lost.start_s:.2f} and {lost.end_s:.2f} s"]
    assert lost.length_s == pytest.approx(1024 / RATE_HZ, abs=0.001)
    first, last = (round(edge_s * RATE_HZ) for edge_s in lost)
    assert not got[:, first:last].any()
    np.testing.assert_array_equal(got[:, :first], expected[:, :first])
    begun = last + 1024  # the new decoder's first frame lacks the half of the one before
    np.testing.assert_allclose(got[:, begun:], expected[:, begun:], atol=1e-4)


def test_memory_does_not_grow_with_length(tmp_path):
    path = tmp_path / "long.wav"
    with soundfile.SoundFile(path, "w", 8000, 2, "PCM_16") as file:
        minute = np.round(noise(2, 8000 * 60).T * 2**15).astype(np.int16)
        for _ in range(10):
            file.write(minute)
    whole_bytes = 10 * 60 * 8000 * 2 * 4
    tracemalloc.start()
    try:
        n = sum(block.shape[1] for block in read_blocks(path, rate_hz=None, block_s=5.0))
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert n == 10 * 60 * 8000
    assert peak < whole_bytes / 15  # blocks of a 120th, and what waits to be written


def bytes_read() -> int:
    """Bytes that this process has read from files, by the kernel's count."""
    counted = Path("/proc/self/io").read_text("utf-8")
    return int(counted.split("rchar: ")[1].split()[0])


@pytest.mark.skipif(not Path("/proc/self/io").exists(), reason="only Linux counts what is read")
@pytest.mark.parametrize(
    ("suffix", "options"),
    [
        ("mov", {"video_codec": "mjpeg", "audio_codec": "pcm_s16le"}),
        (
            "mxf",
            {"video_codec": "mpeg2video", "video_bit_rate": 100_000_000, "streams": 2}
            | {"audio_codec": "pcm_s24le"},
        ),
    ],
)
def test_the_picture_is_not_read(tmp_path, make_clip, suffix, options):
    seconds = 3.0
    path = make_clip(
        tmp_path / f"a.{suffix}", seconds=seconds, size=(800, 450), noisy_picture=True, **options
    )
    sound_bytes = seconds * RATE_HZ * 2 * (3 if "24" in options["audio_codec"] else 2)
    before = bytes_read()
    with open_take(path):
        pass
    opening = bytes_read() - before  # finding out what is in it
    list(read_blocks(path))
    reading = bytes_read() - before - 2 * opening
    assert path.stat().st_size > 8 * sound_bytes
    assert reading <= 1.3 * sound_bytes


def test_a_wave_file_that_was_cut_short_is_told(tmp_path):
    whole = tmp_path / "whole.wav"
    soundfile.write(whole, np.full(48_000, 0.1), 48_000, subtype="PCM_24")
    content = whole.read_bytes()
    half = tmp_path / "half.wav"
    half.write_bytes(content[:80_000])
    never_stated = tmp_path / "pipe.wav"
    at = content.index(b"data") + 4
    never_stated.write_bytes(content[:at] + b"\xff\xff\xff\x7f" + content[at + 4 :])
    faults = {}
    for path in (whole, half, never_stated):
        reader = SoundReader(path)
        assert sum(block.shape[1] for block in reader) > 20_000
        faults[path.name] = reader.faults
    assert faults == {
        "whole.wav": [],
        "half.wav": [
            f"is cut short: {len(content):,} bytes were announced and 80,000 are there; copy it "
            "from the card again"
        ],
        "pipe.wav": [],
    }
