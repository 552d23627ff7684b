"""Matroska copies with chapters, read back by FFmpeg."""

from __future__ import annotations

import errno
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import islice, pairwise

import av
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.edit.formats import WriteOptions, chapters
from calltag.edit.markers import TakeMarkers, from_log, place
from calltag.errors import InputError, MediaError
from calltag.media.opening import open_take
from calltag.media.probe import probe
from calltag.media.streams import take_start_s
from calltag.media.timing.timecode import nearest_frame
from calltag.records.found import TakeLog
from calltag.records.marker import Marker

from ..conftest import RATES, make_call, make_sound, make_take

OPTIONS = WriteOptions()
CALLS = (make_call(0.21, 0.4), make_call(0.5, 1.1), make_call(0.9, 1.4, "pit rail: tick"))


def packets(path):
    with av.open(str(path)) as container:
        streams = [*container.streams.video, *container.streams.audio]
        found = {stream.index: [] for stream in streams}
        for packet in container.demux(streams):
            if packet.size:
                found[packet.stream.index].append(bytes(packet))
        return list(found.values())


def times_s(path):
    with av.open(str(path)) as container:
        found = container.demux(*container.streams.video)
        return [packet.pts * packet.time_base for packet in found if packet.size]


@pytest.mark.parametrize("codec", ["aac", "pcm_s16le"])
@pytest.mark.parametrize("rate", RATES, ids=str)
def test_every_frame_is_read_back(tmp_path, make_clip, rate, codec):
    # AAC begins before the picture, so that the writer moves the picture by its lead.
    clip = make_clip(tmp_path / "A003.mov", fps=rate.fps, audio_codec=codec)
    take = make_take(clip.name, rate, rushes=str(tmp_path), duration_s=2.0)
    marked = from_log(TakeLog(take=take, calls=CALLS))
    (path,) = chapters.write([marked], tmp_path / "out", OPTIONS)
    assert path.name == "A003.mkv"
    expected = place(marked)
    with av.open(str(path)) as container:
        start_s = take_start_s(container)
        pictures = [Fraction(f.pts * f.time_base) - start_s for f in container.decode(video=0)]
        found = container.chapters()
        length_s = container.duration / 1_000_000
    # Only what begins before zero moves all by its lead: a frame of AAC, 1024 samples.
    assert start_s == (0 if codec == "pcm_s16le" else Fraction(22, 1000))
    assert length_s == pytest.approx(2, abs=0.05)
    assert len(pictures) == marked.clock.n_frames
    assert [c["metadata"]["title"] for c in found] == [p.marker.name for p in expected]
    ends = [
        min(p.end, q.first) for p, q in zip(expected, [*expected[1:], expected[-1]], strict=True)
    ]
    ends[-1] = expected[-1].end
    for chapter, (_, first, _), end in zip(found, expected, ends, strict=True):
        assert chapter["time_base"] == Fraction(1, 10**9)
        begin, finish = (
            chapter[edge] * chapter["time_base"] - start_s for edge in ("start", "end")
        )
        assert nearest_frame(begin, rate.fps) == first
        assert nearest_frame(finish, rate.fps) == end
        # A player that goes to the chapter shows the first picture at or after its start.
        assert min(i for i, time in enumerate(pictures) if time >= begin) == first


@pytest.mark.parametrize("picture", ["mpeg4", "libx264"])
@pytest.mark.parametrize("codec", ["aac", "pcm_s24le"])
def test_picture_and_sound_are_untouched(tmp_path, make_clip, codec, picture):
    clip = make_clip(
        tmp_path / "A003.mov", audio_codec=codec, video_codec=picture, timecode="10:00:00:00"
    )
    before = clip.read_bytes()
    take = make_take(clip.name, rushes=str(tmp_path), duration_s=2.0)
    (path,) = chapters.write([from_log(TakeLog(take=take, calls=CALLS))], tmp_path / "out", OPTIONS)
    assert clip.read_bytes() == before
    assert packets(path) == packets(clip)
    assert probe(path).start_tc == "10:00:00:00"


def test_sound_alone(tmp_path, make_clip):
    clip = make_clip(tmp_path / "R001.wav", fps=None, audio_codec="pcm_s16le")
    take = make_sound(clip.name, rushes=str(tmp_path), duration_s=2.0)
    (path,) = chapters.write([from_log(TakeLog(take=take, calls=CALLS))], tmp_path / "out", OPTIONS)
    assert path.name == "R001.mka"
    (copied,), (original,) = packets(path), packets(clip)
    assert b"".join(copied) == b"".join(original) != b""
    with av.open(str(path)) as container:
        assert len(container.chapters()) == 3


@pytest.mark.parametrize("day", ["2019-04-18", None])
def test_the_copy_of_a_recorders_take_is_not_of_today(tmp_path, make_clip, day):
    """A broadcast wave states day and time apart (EBU Tech 3285)."""
    tags = {"origination_time": "05:09:52", "time_reference": "10"}
    if day:
        tags["origination_date"] = day
    path = make_clip(
        tmp_path / "R001.wav", seconds=1, fps=None, audio_codec="pcm_s24le", metadata=tags,
        options={"write_bext": "1"},
    )  # fmt: skip
    take = make_sound("R001.wav", rushes=str(tmp_path), duration_s=1, recorded=probe(path).recorded)
    marked = TakeMarkers(take=take, markers=(Marker(start_s=0.2, end_s=0.4, name="boom"),))
    (copy,) = chapters.write([marked], tmp_path / "copies", WriteOptions())
    with av.open(str(copy)) as written:
        made = written.metadata.get("creation_time")
    if day is None:
        assert made is None
    else:  # in universal time, wherever the test runs
        stated = datetime(2019, 4, 18, 5, 9, 52, tzinfo=UTC)
        assert abs(datetime.fromisoformat(made) - stated) < timedelta(hours=15)


def test_a_thumbnail_is_no_picture_of_the_copy(tmp_path, make_clip):
    """Cover art of a clip or of sound alone would become a film of one frame."""
    plain = make_clip(tmp_path / "plain.mp4")
    clip = tmp_path / "A003.mp4"
    with av.open(str(plain)) as known, av.open(str(clip), "w") as out:
        thumbnail = out.add_stream("mjpeg", rate=1)
        thumbnail.width, thumbnail.height, thumbnail.pix_fmt = 64, 36, "yuvj420p"
        thumbnail.disposition = av.stream.Disposition.attached_pic
        copies = [out.add_stream_from_template(stream) for stream in known.streams]
        still = av.VideoFrame(64, 36, "yuvj420p")
        out.mux(thumbnail.encode(still) + thumbnail.encode(None))
        for packet in known.demux():
            if packet.size:
                packet.stream = copies[packet.stream.index]
                out.mux(packet)
    take = make_take(clip.name, rushes=str(tmp_path), duration_s=2.0)
    (path,) = chapters.write([from_log(TakeLog(take=take, calls=CALLS))], tmp_path / "out", OPTIONS)
    assert packets(path) == packets(plain)
    assert probe(path).fps == 25


@given(st.lists(st.tuples(st.floats(0, 59), st.floats(0, 30)), max_size=12))
def test_chapters_never_overlap(spans):
    """RFC 9559, clause 5.1.7: starts do not decrease, and an end does not pass the next start."""
    markers = tuple(Marker(start_s=a, end_s=a + n, name=str(i)) for i, (a, n) in enumerate(spans))
    made = chapters.chapters_of(TakeMarkers(take=make_take(), markers=markers), Fraction(0))
    for chapter, following in pairwise(made):
        assert chapter["start"] < chapter["end"] <= following["start"]
    assert all(chapter["id"] > 0 for chapter in made)
    names = " + ".join(chapter["metadata"]["title"] for chapter in made).split(" + ")
    assert sorted(filter(None, names)) == sorted(marker.name for marker in markers)


def test_a_track_without_sound_is_not_waited_for(tmp_path, make_clip, monkeypatch):
    whole = make_clip(tmp_path / "whole.mkv", seconds=30.0, fps=10)
    clip = tmp_path / "A003.mkv"
    with av.open(str(whole)) as container, av.open(str(clip), "w") as copy:
        streams = [copy.add_stream_from_template(stream) for stream in container.streams]
        for packet in container.demux(video=0):
            if packet.size:
                packet.stream = streams[packet.stream.index]
                copy.mux(packet)
    held = []

    def counted(packets, n_streams):
        waiting, shift_ms = first_packets(packets, n_streams)
        held.append(len(waiting))
        return waiting, shift_ms

    first_packets = chapters._first_packets
    monkeypatch.setattr(chapters, "_first_packets", counted)
    take = make_take(clip.name, rushes=str(tmp_path), duration_s=30.0)
    (path,) = chapters.write([from_log(TakeLog(take=take, calls=CALLS))], tmp_path / "out", OPTIONS)
    assert packets(path) == packets(clip)
    assert times_s(path) == times_s(clip)
    assert [len(found) for found in packets(clip)] == [300, 0]
    assert held == [102]  # ten seconds, and the one that tells


class Breaking:
    """An open clip of which only some packets can be read."""

    def __init__(self, container, n_packets):
        self.container, self.n_packets = container, n_packets

    def __getattr__(self, name):
        return getattr(self.container, name)

    def demux(self, *streams):
        yield from islice(self.container.demux(*streams), self.n_packets)
        raise av.error.InvalidDataError(1094995529, "Invalid data found", self.container.name)


@pytest.mark.parametrize("n_packets", [0, 1, 40])
def test_a_clip_that_breaks_off_costs_its_own_copy_alone(
    tmp_path, make_clip, monkeypatch, n_packets
):
    @contextmanager
    def opened(path):
        with open_take(path) as container:
            yield Breaking(container, n_packets) if path.stem == "A002" else container

    monkeypatch.setattr(chapters, "open_take", opened)
    marked = []
    for name in ("A001.mov", "A002.mov", "A003.mov"):
        make_clip(tmp_path / name)
        take = make_take(name, rushes=str(tmp_path), duration_s=2.0)
        marked.append(from_log(TakeLog(take=take, calls=CALLS)))
    out, problems = tmp_path / "out", []
    written = chapters.write(marked, out, WriteOptions(on_problem=problems.append))
    assert sorted(out.iterdir()) == written == [out / "A001.mkv", out / "A003.mkv"]
    (problem,) = problems
    assert problem.path == "A002.mov"
    assert problem.reason.startswith("cannot be read to its end (")
    with pytest.raises(MediaError, match=r"A002\.mov: cannot be read to its end"):
        chapters.write(marked, tmp_path / "again", OPTIONS)
    assert [path.name for path in (tmp_path / "again").iterdir()] == ["A001.mkv"]


def test_a_take_that_matroska_cannot_hold_is_named_and_the_others_go_on(
    tmp_path, make_clip, monkeypatch
):
    copied = chapters._to_milliseconds

    def backwards(packet, shift_ms):
        copied(packet, shift_ms)
        if packet.stream.container.name.endswith("A002.mov"):
            packet.dts = -packet.dts

    monkeypatch.setattr(chapters, "_to_milliseconds", backwards)
    marked = []
    for name in ("A001.mov", "A002.mov", "A003.mov"):
        make_clip(tmp_path / name)
        take = make_take(name, rushes=str(tmp_path), duration_s=2.0)
        marked.append(from_log(TakeLog(take=take, calls=CALLS)))
    problems = []
    written = chapters.write(marked, tmp_path / "out", WriteOptions(on_problem=problems.append))
    assert [path.name for path in written] == ["A001.mkv", "A003.mkv"]
    (problem,) = problems
    assert (problem.path, "does not fit a Matroska file" in problem.reason) == ("A002.mov", True)


def test_a_full_disk_is_told_as_one(tmp_path, make_clip, monkeypatch):
    def full(_packet, _shift_ms):
        av.error.err_check(-errno.ENOSPC)

    clip = make_clip(tmp_path / "A003.mov")
    take = make_take(clip.name, rushes=str(tmp_path), duration_s=2.0)
    monkeypatch.setattr(chapters, "_to_milliseconds", full)
    with pytest.raises(InputError, match=r"cannot be written \(no space left on device\)"):
        chapters.write([from_log(TakeLog(take=take, calls=CALLS))], tmp_path / "out", OPTIONS)
    assert list((tmp_path / "out").iterdir()) == []


def test_refusals(tmp_path, make_clip):
    clip = make_clip(tmp_path / "A003.mkv")
    take = make_take(clip.name, rushes=str(tmp_path), duration_s=2.0)
    marked = from_log(TakeLog(take=take, calls=CALLS))
    before = clip.read_bytes()
    with pytest.raises(InputError, match="this is a take"):
        chapters.write([marked], tmp_path, WriteOptions(replace=True))
    with pytest.raises(InputError, match="own speed"):
        chapters.write([replace(marked, speed=Fraction(1, 2))], tmp_path / "out", OPTIONS)
    assert clip.read_bytes() == before
