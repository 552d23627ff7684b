"""WebVTT, read back by a strict parser of the specification's grammar and by FFmpeg's.

The parser below follows W3C's "WebVTT: The Web Video Text Tracks Format" (Candidate
Recommendation), sections 4.1 to 4.4 on what an author may write; a browser forgives more.
"""

from __future__ import annotations

import html
import re
import shutil
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import av
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calltag.edit.formats import WriteOptions, webvtt
from calltag.edit.markers import TakeMarkers, from_log
from calltag.edit.retime import place_played
from calltag.errors import InputError
from calltag.media.timing.timecode import nearest_frame
from calltag.records.found import TakeLog
from calltag.records.marker import Marker

from ..conftest import RATES, make_call, make_sound, make_take

TIMES = re.compile(
    r"(\d{2,}):([0-5]\d):([0-5]\d)\.(\d{3}) --> (\d{2,}):([0-5]\d):([0-5]\d)\.(\d{3})"
)
ENTITY = re.compile(r"&(?:amp|lt|gt|lrm|rlm|nbsp);")


def strict_cues(text: str) -> list[tuple[str, int, int, str]]:
    """Identifier, start and end in milliseconds, and text of each cue; fails on anything loose."""
    assert "\0" not in text
    assert "\r" not in text
    assert text.endswith("\n")
    head, *blocks = re.split(r"\n{2,}", text.removesuffix("\n"))
    assert head == "WEBVTT"
    cues = []
    for block in blocks:
        lines = block.split("\n")
        assert all(lines), "an empty line ends a block"
        if lines[0].startswith("NOTE "):
            assert "-->" not in block
            continue
        name, times, *payload = lines
        assert "-->" not in name
        found = TIMES.fullmatch(times)
        assert found is not None, times
        parts = [int(part) for part in found.groups()]
        start, end = (((h * 60 + m) * 60 + s) * 1000 + ms for h, m, s, ms in (parts[:4], parts[4:]))
        body = "\n".join(payload)
        assert "-->" not in body
        assert not re.search(r"[<>]", body), "no tag is meant"
        assert "&" not in ENTITY.sub("", body), "an ampersand is escaped"
        cues.append((name, start, end, html.unescape(body)))
    assert all(end > start for _, start, end, _ in cues)
    assert [cue[1] for cue in cues] == sorted(cue[1] for cue in cues)
    assert len({cue[0] for cue in cues}) == len(cues)
    return cues


def with_ffmpeg(path: Path) -> list[tuple[int, int]]:
    with av.open(str(path)) as container:
        stream = container.streams[0]
        assert stream.time_base == Fraction(1, 1000)
        return [(p.pts, p.pts + p.duration) for p in container.demux(stream) if p.size]


@pytest.mark.parametrize("rate", RATES, ids=str)
@pytest.mark.parametrize("speed", [Fraction(1), Fraction(2, 5)])
def test_every_frame_is_read_back(tmp_path, rate, speed):
    calls = tuple(make_call(0.317 + 3.7 * i, 0.9 + 3.7 * i) for i in range(15))
    marked = replace(from_log(TakeLog(take=make_take(rate=rate), calls=calls)), speed=speed)
    (path,) = webvtt.write([marked], tmp_path, WriteOptions())
    cues = strict_cues(path.read_text("utf-8"))
    assert [(start, end) for _, start, end, _ in cues] == with_ffmpeg(path)
    for (_, start, end, _), (_, first, last) in zip(cues, place_played(marked), strict=True):
        for ms, frame in ((start, first), (end, last)):
            assert nearest_frame(Fraction(ms, 1000), rate.fps) == frame
            assert Fraction(ms, 1000) * rate.fps // 1 == frame, "what is on the screen"


def test_what_a_cue_says(morning):
    cues = strict_cues(webvtt.vtt_text(from_log(morning[0])))
    assert cues[0] == (
        "1",
        1000,
        2000,
        "marsh hooter: boom\n90 % sure, 14 dB above background, 180-2210 Hz, -31 dBFS",
    )


@settings(max_examples=80)
@given(
    st.lists(st.tuples(st.floats(0, 400_000), st.floats(0, 9), st.text(), st.text()), max_size=6)
)
def test_no_text_and_no_time_breaks_it(markers):
    take = make_take(duration_s=400_000.0)
    made = tuple(
        Marker(start_s=start, end_s=start + length, name=name, comment=comment)
        for start, length, name, comment in markers
    )
    cues = strict_cues(webvtt.vtt_text(TakeMarkers(take=take, markers=made)))
    assert len(cues) == len(markers)


def test_what_would_be_markup():
    marker = Marker(start_s=0, end_s=1, name="<b>reed & rush --> \n\nNOTE</b>", comment=" ")
    ((_, _, _, text),) = strict_cues(
        webvtt.vtt_text(TakeMarkers(take=make_take(), markers=(marker,)))
    )
    assert text == "<b>reed & rush --> NOTE</b>"


def test_a_file_for_each_take_that_has_a_marker(tmp_path, morning):
    marked = [from_log(take_log) for take_log in morning]
    marked.append(from_log(TakeLog(take=make_take("pit/C.mov"))))
    marked.append(from_log(TakeLog(take=make_sound("pit/A003.wav"), calls=(make_call(1, 2),))))
    paths = webvtt.write(marked, tmp_path / "out", WriteOptions())
    assert [path.relative_to(tmp_path / "out").as_posix() for path in paths] == [
        "pit/A003.mov.vtt",
        "pit/B001.vtt",
        "pit/R001.vtt",
        "pit/A003.wav.vtt",
    ]
    assert all(path.is_file() for path in paths)


def test_a_file_is_no_folder(tmp_path, morning):
    (tmp_path / "out").write_text("mine")
    with pytest.raises(InputError, match="name a folder"):
        webvtt.write([from_log(morning[0])], tmp_path / "out", WriteOptions())


def test_in_a_browser(tmp_path, morning):
    """The browser's own parser, where one is installed."""
    playwright = pytest.importorskip("playwright.sync_api", reason="no playwright")
    browser_path = shutil.which("chromium")
    if browser_path is None:
        pytest.skip("no browser: install Debian's chromium to run this test")
    text = webvtt.vtt_text(from_log(morning[0]))
    with playwright.sync_playwright() as session:
        browser = session.chromium.launch(
            executable_path=browser_path,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        page = browser.new_page()
        cues = page.evaluate(
            """text => new Promise((done, fail) => {
                const video = document.createElement('video');
                const track = document.createElement('track');
                track.src = URL.createObjectURL(new Blob([text], {type: 'text/vtt'}));
                track.onload = () => done(Array.from(track.track.cues,
                    cue => [cue.id, Math.round(cue.startTime * 1000),
                            Math.round(cue.endTime * 1000), cue.getCueAsHTML().textContent]));
                track.onerror = fail;
                video.append(track);
                document.body.append(video);
                track.track.mode = 'hidden';
            })""",
            text,
        )
        browser.close()
    assert [tuple(cue) for cue in cues] == strict_cues(text)
