"""What clips say of themselves, in every container that cameras and recorders write."""

from __future__ import annotations

import struct
from fractions import Fraction
from pathlib import Path

import av
import numpy as np
import pytest
import soundfile as sf
import wavinfo

from calltag.media.probe import MediaInfo, probe
from calltag.media.wave_files.bext import Bext
from calltag.media.wave_files.wav_writing import write_wav

# SMPTE ST 12-1: the exact rates.
RATES = [
    Fraction(24000, 1001),
    Fraction(24),
    Fraction(25),
    Fraction(30000, 1001),
    Fraction(30),
    Fraction(50),
    Fraction(60000, 1001),
    Fraction(60),
]

CONTAINERS = {
    "mov": {},
    "mp4": {"video_codec": "libx264"},
    "mkv": {},
    "mts": {"container": "mpegts", "video_codec": "libx264"},
    "avi": {"audio_codec": "pcm_s16le"},
    "mxf": {"video_codec": "mpeg2video", "audio_codec": "pcm_s16le"},
}


@pytest.mark.parametrize("fps", RATES, ids=str)
@pytest.mark.parametrize("suffix", CONTAINERS)
@pytest.mark.parametrize("seconds", [0.4, 2.0])
def test_frame_rates_are_exact_in_every_container(tmp_path, make_clip, suffix, fps, seconds):
    path = make_clip(tmp_path / f"a.{suffix}", fps=fps, seconds=seconds, **CONTAINERS[suffix])
    info = probe(path)
    assert info.fps == fps
    assert not info.variable_rate
    # Matroska and transport streams end with the sound, which lasts up to three frames longer.
    assert info.duration_s == pytest.approx(seconds, abs=0.06)
    assert (info.width, info.height) == (64, 36)
    assert (info.sample_rate_hz, info.channels) == (48_000, 2)


@pytest.mark.parametrize("suffix", CONTAINERS)
def test_the_pictures_own_length_is_told(tmp_path, make_clip, suffix):
    """60 pictures at 30000/1001 last 2.002 s, and the sound a fifth of a second longer."""
    path = make_clip(
        tmp_path / f"a.{suffix}",
        fps=Fraction(30_000, 1001),
        seconds=2.0,
        samples=np.full((1, round(2.2 * 48_000)), 0.1),
        **CONTAINERS[suffix],
    )
    known = None if suffix == "mkv" else pytest.approx(2.002, abs=1e-4)
    assert probe(path).picture_s == known


@pytest.mark.parametrize("fps", [Fraction(100), Fraction(120), Fraction(240)], ids=str)
def test_a_high_speed_take_plays_at_the_containers_rate(tmp_path, make_clip, fps):
    assert probe(make_clip(tmp_path / "a.mp4", fps=fps, audio_codec=None)).fps == fps


def test_a_transport_stream_that_states_a_rounded_rate(tmp_path, make_clip):
    # FFmpeg takes 119.88 for 120 there; the times of the pictures tell.
    fps = Fraction(120000, 1001)
    path = make_clip(tmp_path / "a.mts", fps=fps, container="mpegts", video_codec="libx264")
    assert probe(path).fps == fps


@pytest.mark.parametrize(
    ("video_codec", "suffix"),
    [
        ("libx264", "mp4"),
        ("libx265", "mp4"),
        ("mpeg4", "mov"),
        ("prores_ks", "mov"),
        ("mjpeg", "mov"),
        ("mpeg2video", "mxf"),
        ("dnxhd", "mxf"),
        ("ffv1", "mkv"),
    ],
)
def test_codecs(tmp_path, make_clip, video_codec, suffix):
    options = {"size": (1280, 720), "video_bit_rate": 60_000_000} if video_codec == "dnxhd" else {}
    path = make_clip(
        tmp_path / f"a.{suffix}",
        video_codec=video_codec,
        audio_codec="pcm_s16le" if suffix in ("mxf", "mov") else "aac",
        seconds=0.4,
        **options,
    )
    info = probe(path)
    assert info.fps == 25
    assert info.width == options.get("size", (64, 36))[0]
    assert info.channels == 2


@pytest.mark.parametrize(("subtype", "floats"), [("PCM_24", False), ("FLOAT", True)])
def test_floats_are_told(tmp_path, make_clip, subtype, floats):
    path = tmp_path / "a.wav"
    sf.write(path, np.zeros(4800), 48_000, subtype=subtype)
    assert probe(path).floats is floats
    assert not probe(make_clip(tmp_path / "a.mp4", audio_codec="aac")).floats  # lossy, in floats


TIMECODES = [
    ("10:00:00:00", Fraction(25)),
    ("00:00:00:00", Fraction(50)),
    ("23:59:59:24", Fraction(25)),
    ("10:00:00:23", Fraction(24000, 1001)),
    ("01:02:03:04", Fraction(30000, 1001)),  # non-drop
    ("01:02:00;02", Fraction(30000, 1001)),  # drop-frame
    ("01:02:00;04", Fraction(60000, 1001)),
    ("10:00:00;02", Fraction(30000, 1001)),
]


@pytest.mark.parametrize(
    ("suffix", "timecode", "fps"),
    [
        (suffix, *case)
        for suffix in ("mov", "mp4", "mkv", "mxf")
        for case in TIMECODES
        if not (suffix == "mxf" and case[1] > 50)  # the writer refuses 59.94 drop-frame there
    ],
)
def test_start_timecode(tmp_path, make_clip, suffix, timecode, fps):
    path = make_clip(
        tmp_path / f"a.{suffix}", fps=fps, seconds=0.4, timecode=timecode, **CONTAINERS[suffix]
    )
    assert probe(path).start_tc == timecode


def test_timecode_of_the_timecode_track_alone(tmp_path, make_clip):
    path = make_clip(tmp_path / "a.mov", seconds=0.4, timecode="10:00:00:00")
    with av.open(path) as container:
        assert "timecode" in {k: 0 for s in container.streams.data for k in s.metadata}
    assert probe(path).start_tc == "10:00:00:00"


def count_in_pairs(path: Path, frames: int, pairs: int) -> None:
    """Have the timecode track of a MOV file count pairs of frames, as many cameras do."""
    content = bytearray(path.read_bytes())
    entry = content.index(b"tmcd", content.index(b"stsd", content.index(b"tmcd\0\0\0\0"))) + 20
    _, frame_ticks, per_second = struct.unpack_from(">IIB", content, entry)
    struct.pack_into(">IB", content, entry + 4, 2 * frame_ticks, per_second // 2)
    start = struct.pack(">I", frames)
    assert content.count(start) == 1
    path.write_bytes(content.replace(start, struct.pack(">I", pairs)))


@pytest.mark.parametrize(
    ("fps", "written", "frames", "stated", "pairs"),
    [
        # SMPTE ST 12-1 has labels for 30 frames a second at most: at 50 each is that of two.
        (Fraction(50), "10:00:00:01", 1_800_001, "10:00:00:24", 900_012),
        (Fraction(50), "10:00:00:01", 1_800_001, "10:00:00:00", 900_000),
        (Fraction(60000, 1001), "00:10:00;07", 35_971, "00:10:00;40", 18_002),
        (Fraction(60000, 1001), "00:11:00;05", 39_565, "00:11:00;04", 19_782),
    ],
)
def test_timecode_that_counts_pairs_of_frames(
    tmp_path, make_clip, fps, written, frames, stated, pairs
):
    path = make_clip(tmp_path / "a.mov", fps=fps, seconds=0.4, timecode=written)
    count_in_pairs(path, frames, pairs)
    assert probe(path).start_tc == stated


@pytest.mark.parametrize("said", ["noon", "10:00", "10:00:00", "99:99:99:99", ""])
def test_what_is_no_timecode_is_not_taken_for_one(tmp_path, make_clip, said):
    path = make_clip(tmp_path / "a.mkv", seconds=0.4, metadata={"timecode": said})
    assert probe(path).start_tc is None


def test_a_clip_without_timecode_has_none(tmp_path, make_clip):
    assert probe(make_clip(tmp_path / "a.mp4", seconds=0.4)).start_tc is None


@pytest.mark.parametrize(
    ("rate_hz", "reference"),
    [
        # EBU Tech 3285: samples since midnight; the first two are 10:00:00:00 at 25 frames and
        # 10:00:00;00 at 29.97, the third is 13:00:00 at 96 kHz, which needs the high word.
        (48_000, 1_728_000_000),
        (48_000, 1_727_998_272),
        (96_000, (1 << 32) + 197_832_704),
    ],
)
def test_broadcast_wave(tmp_path, make_clip, rate_hz, reference):
    path = make_clip(
        tmp_path / "a.wav",
        fps=None,
        seconds=0.1,
        rate_hz=rate_hz,
        audio_codec="pcm_s24le",
        options={"write_bext": "1"},
        metadata={
            "time_reference": str(reference),
            "origination_date": "2026-05-03",
            "origination_time": "04:51:07",
        },
    )
    independent = wavinfo.WavInfoReader(str(path)).bext
    info = probe(path)
    assert info.time_reference == independent.time_reference == reference
    assert info.recorded == "2026-05-03T04:51:07"
    assert info.sample_rate_hz == rate_hz
    assert info.fps is None
    assert info.width == 0


@pytest.mark.parametrize(
    ("day", "time"),
    [
        # EBU Tech 3285 allows these signs between the numbers.
        ("2026_05_03", "04_51_07"),
        ("2026:05:03", "04-51-07"),
        ("2026 05 03", "04 51 07"),
        ("2026.05.03", "04.51.07"),
    ],
)
def test_day_and_time_of_a_recorder_that_sets_them_off_in_its_own_way(tmp_path, day, time):
    path = tmp_path / "a.wav"
    write_wav(path, np.zeros((1, 480)), 48_000, bext=Bext(date=day, time=time))
    assert probe(path).recorded == "2026-05-03T04:51:07"


@pytest.mark.parametrize(
    ("reference", "known"),
    [
        (2 * 86_400 * 48_000 - 1, 2 * 86_400 * 48_000 - 1),
        (2 * 86_400 * 48_000, None),
        ((1 << 63) - 1, None),
        ((1 << 64) - 1, None),
    ],
)
def test_a_time_reference_beyond_two_days_is_none(tmp_path, reference, known):
    path = tmp_path / "a.wav"
    write_wav(path, np.zeros((1, 480)), 48_000, bext=Bext(time_reference=reference))
    assert probe(path).time_reference == known


def test_a_time_reference_without_sound_counts_nothing(tmp_path, make_clip):
    path = make_clip(
        tmp_path / "a.mkv", seconds=0.2, audio_codec=None, metadata={"time_reference": "48000"}
    )
    assert probe(path).time_reference is None


def test_a_time_reference_of_endless_digits_is_none(tmp_path, make_clip):
    path = make_clip(
        tmp_path / "a.mka", fps=None, seconds=0.1, metadata={"time_reference": "9" * 5000}
    )
    assert probe(path).time_reference is None


def test_a_bw64_file_of_a_recorder(tmp_path):
    # ITU-R BS.2088: RIFF with another id, sizes in ds64; packed by hand, PyAV writes none.
    samples = np.arange(4800, dtype="<i2").tobytes()
    fmt = struct.pack("<HHIIHH", 1, 1, 48_000, 96_000, 2, 16)
    ds64 = struct.pack("<QQQI", 4 + 36 + 24 + 8 + len(samples), len(samples), 4800, 0)
    path = tmp_path / "a.wav"
    path.write_bytes(
        b"BW64\xff\xff\xff\xffWAVE"
        + (b"ds64" + struct.pack("<I", len(ds64)) + ds64)
        + (b"fmt " + struct.pack("<I", len(fmt)) + fmt)
        + (b"data\xff\xff\xff\xff" + samples)
    )
    info = probe(path)
    assert info.duration_s == pytest.approx(0.1)
    assert (info.sample_rate_hz, info.channels) == (48_000, 1)


@pytest.mark.parametrize(
    ("suffix", "options", "tags", "recorded"),
    [
        ("mov", {}, {"creation_time": "2026-05-03T04:51:07Z"}, "2026-05-03T04:51:07Z"),
        ("mp4", {}, {"creation_time": "2026-05-03T04:51:07.000000Z"}, "2026-05-03T04:51:07Z"),
        ("mkv", {}, {"creation_time": "2026-05-03T04:51:07Z"}, "2026-05-03T04:51:07Z"),
        ("mkv", {}, {"DATE_RECORDED": "2026-05-03 04:51:07"}, "2026-05-03T04:51:07"),
        # As telephones write it: local time, and how far it is from UTC, without a colon.
        ("mkv", {}, {"creationdate": "2026-05-03T06:51:07+0200"}, "2026-05-03T06:51:07+02:00"),
        ("mkv", {}, {"creationdate": "2026-05-02T23:51:07-0500"}, "2026-05-02T23:51:07-05:00"),
        ("mkv", {}, {"DATE_RECORDED": "2026-05-02T23:51-05:00"}, "2026-05-02T23:51-05:00"),
        ("mp3", {"audio_codec": "libmp3lame"}, {"date": "2026-05-03T04:51"}, "2026-05-03T04:51"),
        ("flac", {"audio_codec": "flac"}, {"date": "2026-05-03"}, "2026-05-03"),
        ("flac", {"audio_codec": "flac"}, {"date": "2026-05"}, "2026-05"),
        ("flac", {"audio_codec": "flac"}, {"date": "2026"}, "2026"),
        ("flac", {"audio_codec": "flac"}, {"date": "1970"}, None),
        ("mp4", {}, {"creation_time": "1904-01-01T00:00:00Z"}, None),  # a clock never set
        ("flac", {"audio_codec": "flac"}, {"date": "spring"}, None),
        ("mp4", {}, {}, None),
    ],
)
def test_when_it_was_recorded(tmp_path, make_clip, suffix, options, tags, recorded):
    fps = None if options else 25
    path = make_clip(tmp_path / f"a.{suffix}", fps=fps, seconds=0.4, metadata=tags, **options)
    assert probe(path).recorded == recorded


@pytest.mark.parametrize(
    ("channels", "streams", "suffix", "codec"),
    [
        (1, 1, "mp4", "aac"),
        (2, 1, "mov", "pcm_s24le"),
        (2, 2, "mov", "pcm_s16le"),
        (4, 1, "mov", "pcm_s16le"),
        (4, 4, "mxf", "pcm_s24le"),
        (8, 8, "mxf", "pcm_s16le"),
        (8, 4, "mkv", "aac"),
        (6, 1, "mts", "ac3"),
    ],
)
def test_channels_are_counted_over_all_streams(
    tmp_path, make_clip, channels, streams, suffix, codec
):
    options = {k: v for k, v in CONTAINERS[suffix].items() if k != "audio_codec"}
    path = make_clip(
        tmp_path / f"a.{suffix}",
        seconds=0.4,
        channels=channels,
        streams=streams,
        audio_codec=codec,
        **options,
    )
    assert probe(path).channels == channels


def test_sound_alone_has_no_length_of_picture(tmp_path, make_clip):
    assert probe(make_clip(tmp_path / "a.wav", fps=None, audio_codec="pcm_s16le")).picture_s is None


def test_a_take_without_sound(tmp_path, make_clip):
    info = probe(make_clip(tmp_path / "a.mp4", audio_codec=None, seconds=1.0))
    assert info == MediaInfo(duration_s=1.0, picture_s=1.0, fps=Fraction(25), width=64, height=36)


@pytest.mark.parametrize(
    ("name", "codec", "container", "rate_hz"),
    [
        ("a.wav", "pcm_s16le", None, 44_100),
        ("a.wav", "pcm_s24le", None, 48_000),
        ("a.wav", "pcm_f32le", None, 96_000),
        ("a.flac", "flac", None, 48_000),
        ("a.mp3", "libmp3lame", None, 44_100),
        ("a.ogg", "vorbis", None, 48_000),
        ("a.opus", "libopus", "ogg", 48_000),
        ("a.m4a", "aac", None, 44_100),
        ("a.aac", "aac", "adts", 48_000),
        ("a.aif", "pcm_s16be", "aiff", 48_000),
    ],
)
def test_files_of_sound_alone(tmp_path, make_clip, name, codec, container, rate_hz):
    path = make_clip(
        tmp_path / name, fps=None, audio_codec=codec, container=container, rate_hz=rate_hz
    )
    info = probe(path)
    assert info.fps is None
    assert info.sample_rate_hz == rate_hz
    assert info.duration_s == pytest.approx(2.0, abs=0.03)


@pytest.mark.parametrize(("suffix", "codec"), [("mp3", "libmp3lame"), ("flac", "flac")])
def test_cover_art_is_no_picture(tmp_path, suffix, codec):
    path = tmp_path / f"a.{suffix}"
    with av.open(path, "w") as out:
        sound = out.add_stream(codec, rate=48_000, layout="mono")
        cover = out.add_stream("mjpeg", rate=1)
        cover.width = cover.height = 64
        cover.pix_fmt = "yuvj420p"
        cover.disposition = av.stream.Disposition.attached_pic
        image = av.VideoFrame.from_ndarray(np.full((64, 64, 3), 60, np.uint8), format="rgb24")
        out.mux(cover.encode(image.reformat(format="yuvj420p")) + cover.encode(None))
        frame = av.AudioFrame.from_ndarray(
            np.zeros((1, 48_000), np.float32), format="flt", layout="mono"
        )
        frame.sample_rate = 48_000
        out.mux(sound.encode(frame))
        out.mux(sound.encode(None))
    with av.open(path) as container:
        assert len(container.streams.video) == 1
    info = probe(path)
    assert info.fps is None
    assert (info.width, info.height) == (0, 0)
    assert info.duration_s == pytest.approx(1.0, abs=0.03)


def picture_at(path: Path, times_s: np.ndarray) -> Path:
    """Write a clip whose pictures come at these times."""
    with av.open(path, "w") as out:
        stream = out.add_stream("mpeg4", rate=30)
        stream.width, stream.height, stream.pix_fmt = 64, 36, "yuv420p"
        stream.codec_context.time_base = Fraction(1, 60_000)
        for at_s in times_s:
            frame = av.VideoFrame.from_ndarray(np.full((36, 64, 3), 60, np.uint8), format="rgb24")
            frame = frame.reformat(format="yuv420p")
            frame.pts = round(at_s * 60_000)
            frame.time_base = Fraction(1, 60_000)
            out.mux(stream.encode(frame))
        out.mux(stream.encode(None))
    return path


@pytest.mark.parametrize("suffix", ["mp4", "mov", "mkv"])
def test_a_variable_rate_is_told(tmp_path, rng, suffix):
    steps = 1 / 30 + rng.uniform(-0.008, 0.012, 90)
    info = probe(picture_at(tmp_path / f"a.{suffix}", np.cumsum(steps) - steps[0]))
    assert info.variable_rate
    assert info.fps is not None


@pytest.mark.parametrize("suffix", ["mp4", "mkv"])
def test_pictures_left_out_make_the_rate_variable(tmp_path, suffix):
    times_s = np.delete(np.arange(90) / 30, [40, 41, 60])
    assert probe(picture_at(tmp_path / f"a.{suffix}", times_s)).variable_rate


@pytest.mark.parametrize("suffix", ["mp4", "mov"])
@pytest.mark.parametrize("later", [1 / 24, 1 / 15])
def test_a_rate_that_changes_late_is_told(tmp_path, suffix, later):
    """Telephones film steadily until the light goes."""
    steps = np.repeat([1 / 30, later], [450, 450])
    info = probe(picture_at(tmp_path / f"a.{suffix}", np.cumsum(steps) - steps[0]))
    assert info.variable_rate
    assert info.fps == pytest.approx(900 / (450 / 30 + 450 * later), rel=0.001)


@pytest.mark.parametrize("suffix", ["mp4", "mov"])
@pytest.mark.parametrize("behind", [1, -1])
def test_a_first_or_last_picture_that_is_held_is_no_variable_rate(tmp_path, suffix, behind):
    times_s = np.arange(500) / 25
    times_s[behind:] += 0.2
    info = probe(picture_at(tmp_path / f"a.{suffix}", times_s))
    assert (info.fps, info.variable_rate) == (25, False)


@pytest.mark.parametrize("suffix", ["mp4", "mkv"])
def test_jitter_of_the_clock_is_no_variable_rate(tmp_path, rng, suffix):
    times_s = np.arange(90) / 30 + rng.uniform(-0.0005, 0.0005, 90)
    info = probe(picture_at(tmp_path / f"a.{suffix}", times_s - times_s.min()))
    assert not info.variable_rate
    assert info.fps == 30


def test_a_fragmented_file(tmp_path, make_clip):
    path = make_clip(tmp_path / "a.mp4", options={"movflags": "frag_keyframe+empty_moov"})
    info = probe(path)
    assert info.fps == 25
    assert info.duration_s == pytest.approx(2.0, abs=0.05)


def test_a_file_without_a_stated_length_is_measured(tmp_path, make_clip):
    class Stream:
        """A target that cannot be gone back in, so that no length can be filled in."""

        def __init__(self, path):
            self._file = path.open("wb")

        def write(self, data):
            return self._file.write(data)

        def close(self):
            self._file.close()

    source = make_clip(tmp_path / "a.mkv", seconds=1.5)
    target = Stream(tmp_path / "live.mkv")
    with av.open(source) as given, av.open(target, "w", format="matroska") as out:
        copies = {s.index: out.add_stream_from_template(s) for s in given.streams}
        for packet in given.demux():
            if packet.dts is not None:
                packet.stream = copies[packet.stream.index]
                out.mux(packet)
    target.close()
    with av.open(tmp_path / "live.mkv") as container:
        assert container.duration is None
    assert probe(tmp_path / "live.mkv").duration_s == pytest.approx(1.5, abs=0.05)
