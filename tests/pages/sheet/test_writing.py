"""The sheet of some of the demo's clips, one with a hostile name: written, read back, opened."""

from __future__ import annotations

import base64
import errno
import hashlib
import io
import math
import re
import subprocess
import sys
from collections.abc import Callable
from contextlib import nullcontext
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile
from PIL import Image

from calltag.errors import InputError
from calltag.learn.labels.by_hand import with_labels
from calltag.log import Log
from calltag.own_files import SHEET_INDEX
from calltag.pages.excerpt import LOUDEST_LUFS, PEAK_DBTP
from calltag.pages.sheet.place import Store, write_folder
from calltag.pages.sheet.writing import SheetOptions, SheetReport, write_sheet
from calltag.records.found import TakeLog
from calltag.records.label import CALL, Label
from calltag.records.take import Problem
from calltag.sound.loudness.meters import LoudnessMeter

from ..conftest import until

ROOT = Path(__file__).resolve().parents[3]
HOSTILE_LABEL = "pit rail: </script><script>alert(2)</script> \"'&"


def read(log: Log) -> list[TakeLog]:
    labels = log.labels_by_take()
    return [with_labels(one, labels.get(one.take.path, [])) for one in log.take_logs()]


def written(log_path: Path, out: Path, **options: Any) -> SheetReport:
    with Log(log_path) as log:
        return write_sheet(
            out,
            read(log),
            log=log,
            shown=lambda call: call.call_probability >= 0.5,
            unread=[Problem(path="card2/<b>broken</b>.MOV", reason="it is empty")],
            options=SheetOptions(workers=1, best=6, **options),
        )


@pytest.fixture(scope="module")
def sheet(logged: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sheet, and beside it the log that it is of; one call has a hostile label."""
    folder = tmp_path_factory.mktemp("sheet")
    log_path = folder / "calltag.db"
    log_path.write_bytes((logged / "calltag.db").read_bytes())
    with Log(log_path) as log:
        first = next(one for one in log.take_logs() if one.calls)
        call = max(first.calls, key=lambda call: call.snr_db)
        log.change_labels(
            put=[
                Label(
                    take=first.take.path,
                    start_s=call.start_s,
                    end_s=call.end_s,
                    label=HOSTILE_LABEL,
                )
            ]
        )
    report = written(log_path, folder / "sheet.html")
    assert report.problems == ()
    assert report.takes == 4
    assert report.size_bytes == report.page.stat().st_size
    return report.page


class Page(HTMLParser):
    """Collects a page's elements and what they say."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.elements if name == tag]


def test_every_take_and_call_is_there(sheet: Path) -> None:
    text = sheet.read_text("utf-8")
    page = Page(text)
    with Log(sheet.with_name("calltag.db")) as log:
        takes = read(log)
    assert len(page.all("article")) == len(takes)
    shown = sum(min(6, sum(call.call_probability >= 0.5 for call in one.calls)) for one in takes)
    plays = [one for one in page.all("button") if one.get("class") == "play"]
    assert len(plays) == shown > 10
    assert "card2/&lt;b&gt;broken&lt;/b&gt;.MOV: it is empty" in text
    top, _, _ = text.partition('<div id="takes">')
    assert '<a href="#unread">1 clip could not be read</a>' in top
    assert re.search(r"ASH_A_0034.MP4</a>: usable 0:\d\d\.\d\d–0:\d\d\.\d\d ", top)


def test_calls_have_the_timecode_of_their_first_frame(sheet: Path) -> None:
    """Of the first take, which runs at 25 frames a second from 05:12:00 on."""
    _, first, *_ = re.split("<article ", sheet.read_text("utf-8"))
    assert ">05:12:00:00<" in first.partition("<li ")[0]
    starts = re.findall(r'data-start="([\d.]+)"', first)
    frames = [math.floor(25 * float(start) + 0.5) for start in starts]
    assert len(frames) == 6
    told = re.findall(r"above background, 05:12:(\d\d):(\d\d)", first)
    assert [25 * int(seconds) + int(frame) for seconds, frame in told] == frames


@pytest.mark.usefixtures("in_one_process")
def test_a_take_without_timecode_says_so(log_path: Path, tmp_path: Path) -> None:
    with Log(log_path) as log:
        for one in list(log.take_logs()):
            mute = replace(one.take, start_tc=None, time_reference=None)
            log.put(replace(one, take=mute), feature_version=1)
    text = written(log_path, tmp_path / "sheet.html", look=False).page.read_text("utf-8")
    assert text.count(">none, counts from 00:00:00:00<") == 4


@pytest.mark.usefixtures("in_one_process")
def test_of_copies_one_is_shown_and_names_the_others(log_path: Path, tmp_path: Path) -> None:
    with Log(log_path) as log:
        for one in list(log.take_logs()):
            copy = replace(one.take, path=f"backup/{one.take.path}")
            log.put(replace(one, take=copy), feature_version=1)
    report = written(log_path, tmp_path / "sheet.html", look=False)
    text = report.page.read_text("utf-8")
    assert report.takes == len(Page(text).all("article")) == 4
    assert "<p>4 takes and 4 copies: " in text
    assert "The log has a copy of it: backup/ASH_A_0031.MP4." in text


def test_the_pictures_are_looked_at_and_kept(sheet: Path) -> None:
    with Log(sheet.with_name("calltag.db")) as log:
        assert all(len(one.pictures) >= 3 for one in log.take_logs())
    assert "steady, sharp" in sheet.read_text("utf-8")


def data(url: str | None, kind: str) -> bytes:
    head, _, body = str(url).partition(",")
    assert head == f"data:{kind};base64"
    return base64.b64decode(body)


def test_sounds_play_low_and_are_the_calls(sheet: Path) -> None:
    """Each is decoded again: its length, and its level by the standard's measure (BS.1770)."""
    page = Page(sheet.read_text("utf-8"))
    plays = [one for one in page.all("button") if one.get("class") == "play"]
    assert len(plays) > 6
    for button in plays[:6]:
        samples, rate_hz = soundfile.read(io.BytesIO(data(button["data-sound"], "audio/mpeg")))
        assert rate_hz == 48_000
        assert samples.ndim == 1
        assert 0.8 < len(samples) / rate_hz < 8
        assert np.abs(samples).max() <= 10 ** ((PEAK_DBTP + 1) / 20)
        meter = LoudnessMeter(rate_hz, 1)
        meter.add(samples[None].astype(np.float32))
        assert -60 < meter.loudest_lufs() <= LOUDEST_LUFS + 1


def test_pictures_are_pictures(sheet: Path) -> None:
    page = Page(sheet.read_text("utf-8"))
    stills = [one for one in page.all("img") if str(one["src"]).startswith("data:image/jpeg")]
    sounds = [one for one in page.all("img") if str(one["src"]).startswith("data:image/png")]
    assert len(stills) == 4
    assert len(sounds) >= 5
    for one in (*stills, *sounds[:5]):
        kind = str(one["src"])[5:].partition(";")[0]
        image = Image.open(io.BytesIO(data(one["src"], kind)))
        assert min(image.size) >= 100
        assert one["alt"]


def test_nothing_is_fetched_and_only_our_script_runs(sheet: Path) -> None:
    text = sheet.read_text("utf-8")
    page = Page(text)
    for tag, attributes in page.elements:
        assert not any(name.startswith("on") or name == "style" for name in attributes), tag
        for name in ("src", "href", "data-sound"):
            url = attributes.get(name)
            assert url is None or str(url).startswith(("data:", "#")), url
    [policy] = [one["content"] for one in page.all("meta") if "http-equiv" in one]
    assert str(policy).startswith("default-src 'none'; script-src 'sha256-")
    assert "unsafe" not in str(policy)
    for tag, directive in (("script", "script-src"), ("style", "style-src")):
        [body] = re.findall(rf"<{tag}[^>]*>(.*?)</{tag}>", text, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(body.encode()).digest()).decode()
        assert f"{directive} 'sha256-{digest}'" in str(policy)


def test_hostile_names_and_labels_stay_text(sheet: Path) -> None:
    text = sheet.read_text("utf-8")
    assert len(re.findall("<script", text)) == 1
    assert "<img src=x" not in text
    assert "onerror=alert(1)&gt; &amp; &#34;&#39;.MP4" in text
    page = Page(text)
    assert HOSTILE_LABEL in [one.get("data-type") for one in page.all("li")]


def test_the_strip_is_to_scale(sheet: Path) -> None:
    """Places of calls on the strip, turned back into seconds, are those of the log."""
    with Log(sheet.with_name("calltag.db")) as log:
        first = read(log)[0]
    text = sheet.read_text("utf-8")
    row = re.search(r'<svg class="row of-call".*?</svg>', text, re.DOTALL)
    assert row is not None
    drawn = re.findall(r'<rect x="([\d.]+)%" width="([\d.]+)%"', row[0])
    spans = {(round(c.start_s, 1), round(c.end_s, 1)) for c in first.calls}
    assert len(drawn) == 6
    for x, width in drawn:
        start_s = float(x) / 100 * first.take.duration_s
        end_s = start_s + float(width) / 100 * first.take.duration_s
        assert any(abs(start_s - a) < 0.11 and abs(end_s - b) < 0.11 for a, b in spans)


def test_an_existing_file_is_kept(sheet: Path) -> None:
    before = sheet.read_bytes()
    with pytest.raises(InputError, match="exists already"):
        written(sheet.with_name("calltag.db"), sheet)
    with pytest.raises(InputError, match=r"a sheet is a web page; name it sheet.html,"):
        written(sheet.with_name("calltag.db"), sheet.with_name("sheet.pdf"))
    assert sheet.read_bytes() == before


@pytest.mark.usefixtures("in_one_process")
def test_a_take_that_is_gone_is_on_the_sheet_all_the_same(sheet: Path, tmp_path: Path) -> None:
    with Log(sheet.with_name("calltag.db")) as log:
        lost, kept = read(log)[:2]
        lost = replace(lost, take=replace(lost.take, rushes=str(tmp_path / "gone")))
        report = write_sheet(
            tmp_path / "sheet.html",
            [lost, kept],
            log=log,
            shown=lambda call: call.label == CALL,
            options=SheetOptions(workers=1, best=1, look=False),
        )
    assert {problem.path for problem in report.problems} == {lost.take.path}
    assert "not there" in report.problems[0].reason
    text = report.page.read_text("utf-8")
    assert text.count("<article") == 2
    assert text.count('class="play"') == 1
    assert "Its sound could not be read" in text


def test_a_worker_of_the_sheet_loads_nothing_that_learns() -> None:
    """It takes three seconds in each worker to load that, and none of it is used there."""
    program = (
        "import sys, calltag.pages.sheet.media\n"
        "print(sorted({'sklearn', 'skops', 'onnxruntime', 'librosa'} & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert done.stdout == "[]\n"


@pytest.fixture(scope="module")
def folder(sheet: Path) -> Path:
    """The same as a folder, of a single take."""
    return few(sheet.with_name("calltag.db"), sheet.with_name("folder"), folder=True).page.parent


def few(log_path: Path, out: Path, **options: Any) -> SheetReport:
    """The sheet of one take, one call on it."""
    with Log(log_path) as log:
        return write_sheet(
            out,
            read(log)[:1],
            log=log,
            shown=lambda _: True,
            options=SheetOptions(workers=1, best=1, look=False, **options),
        )


def test_a_folder(folder: Path) -> None:
    page = Page((folder / SHEET_INDEX).read_text("utf-8"))
    urls = [one["src"] for one in page.all("img")]
    urls += [one["data-sound"] for one in page.all("button") if "data-sound" in one]
    assert {str(url) for url in urls} | {SHEET_INDEX} == {file.name for file in folder.iterdir()}
    assert [file.name for file in folder.parent.iterdir() if file.name.startswith(".")] == []


@pytest.mark.usefixtures("in_one_process")
def test_a_folder_replaces_a_sheet_and_nothing_else(
    sheet: Path, folder: Path, tmp_path: Path
) -> None:
    log_path = sheet.with_name("calltag.db")
    with pytest.raises(InputError, match="exists already"):
        few(log_path, folder, folder=True)
    other = tmp_path / "holiday"
    other.mkdir()
    (other / "letter.txt").write_text("dear")
    with pytest.raises(InputError, match="holds no sheet of calltag"):
        few(log_path, other, folder=True, replace=True)
    assert (other / "letter.txt").exists()
    (folder / "call09999.png").write_bytes(b"")
    (folder / "._index.html").write_bytes(b"")  # as Macs leave beside files on other systems' disks
    (folder / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match=r"holds notes\.txt, which is no part of a sheet"):
        few(log_path, folder, folder=True, replace=True)
    (folder / "notes.txt").unlink()
    few(log_path, folder, folder=True, replace=True)
    assert not (folder / "call09999.png").exists()
    assert (folder / SHEET_INDEX).exists()


def test_a_link_to_a_folder_on_another_disk_is_followed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    disk, link = tmp_path / "disk" / "sheet", tmp_path / "sheet"
    link.symlink_to(disk)
    move = Path.replace

    def on_one_disk(path: Path, target: Path) -> Path:
        if path.resolve().is_relative_to(disk.parent) != target.resolve().is_relative_to(
            disk.parent
        ):
            raise OSError(errno.EXDEV, "invalid cross-device link")
        return move(path, target)

    monkeypatch.setattr(Path, "replace", on_one_disk)
    for text in ("before", "after"):  # first there is nothing where the link leads
        write_folder(link, lambda store, text=text: store.put("take0001.jpg", text.encode()))
        shown = (disk / SHEET_INDEX).read_text()
        assert {file.name for file in disk.iterdir()} == {shown, SHEET_INDEX}
        assert (disk / shown).read_text() == text
    assert link.is_symlink()
    assert list(disk.parent.iterdir()) == [disk]


@pytest.mark.parametrize("stop_at", range(5))
def test_a_folder_is_whole_at_any_moment_while_it_is_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stop_at: int
) -> None:
    """So that one who is killed has a sheet: that before, or the new one."""
    out, moments = tmp_path / "sheet", 0

    def page(still: bytes) -> Callable[[Store], str]:
        return lambda store: (
            store.put("take0001.jpg", b"same") + " " + store.put("take0002.jpg", still)
        )

    def shows() -> list[bytes]:
        return [(out / name).read_bytes() for name in (out / SHEET_INDEX).read_text().split()]

    def watched(name: str) -> None:
        done = getattr(Path, name)

        def stopped(path: Path, *args: Any, **kwargs: Any) -> None:
            nonlocal moments
            done(path, *args, **kwargs)
            moments += 1
            assert shows() in ([b"same", b"before"], [b"same", b"after"])
            if moments == stop_at:
                raise KeyboardInterrupt

        monkeypatch.setattr(Path, name, stopped)

    write_folder(out, page(b"before"))
    was = set(out.iterdir())
    for name in ("rename", "replace", "unlink"):
        watched(name)
    with pytest.raises(KeyboardInterrupt) if stop_at else nullcontext():
        write_folder(out, page(b"after"))
    monkeypatch.undo()
    assert list(tmp_path.iterdir()) == [out]
    if shows()[1] == b"before":
        assert set(out.iterdir()) == was
    write_folder(out, page(b"after"))
    assert shows() == [b"same", b"after"]
    assert len(list(out.iterdir())) == 3


@pytest.mark.usefixtures("in_one_process")
@pytest.mark.parametrize("name", ["sheet.html", "sheet"])
def test_stopping_leaves_nothing(sheet: Path, tmp_path: Path, name: str) -> None:
    """Ctrl-C when the work is done and the page is about to be written."""

    def stop(done: int, total: int) -> None:
        if done:
            raise KeyboardInterrupt

    out = tmp_path / "out" / name
    with Log(sheet.with_name("calltag.db")) as log, pytest.raises(KeyboardInterrupt):
        write_sheet(
            out,
            [one for one in read(log) if one.calls][:1],
            log=log,
            shown=lambda _: False,
            options=SheetOptions(workers=1, folder=name == "sheet", look=False),
            listener=stop,
        )
    assert not out.parent.exists()


# In a browser


def laid_out(page: Any) -> None:
    """Lay out the takes that are out of sight too, as if all had been scrolled to."""
    page.evaluate(
        "for (const one of document.querySelectorAll('.take')) one.style.contentVisibility = "
        "'visible'"
    )


ALL_SHOWN = "document.querySelectorAll('.take:not([hidden])').length === 4"
PLAYING = "parseFloat(document.querySelector('.needle:not([hidden])')?.style.left) > 10"


def test_sort_choose_and_play_by_keyboard(
    sheet: Path, page: Any, accessible: Callable[[Any], None], photograph: Callable[..., None]
) -> None:
    page.goto(sheet.as_uri())
    count = page.locator("#count")
    everything = count.inner_text()
    laid_out(page)
    accessible(page)
    photograph(page, "sheet")
    page.emulate_media(color_scheme="dark")
    accessible(page)
    photograph(page, "sheet-dark")
    page.emulate_media(color_scheme="light")

    page.locator("#verdict").select_option("clean")
    n_clean = page.locator('.take[data-verdict="clean"]').count()
    assert page.locator(".take:visible").count() == n_clean < 4
    page.locator("#words").fill("nothing is called so")
    assert page.locator("#none").is_visible()
    page.get_by_role("button", name="Show all").press("Enter")
    until(page, ALL_SHOWN)
    assert count.inner_text() == everything

    page.locator("#type").select_option(HOSTILE_LABEL)
    assert page.locator(".call:visible").count() == 1
    page.get_by_role("button", name="Show all").press("Enter")
    until(page, ALL_SHOWN)

    page.locator("#grade").select_option("good")
    good = page.locator(".call", has_text="picture steady, sharp")
    assert page.locator(".call:visible").count() == good.count() > 0
    page.get_by_role("button", name="Show all").press("Enter")
    until(page, ALL_SHOWN)

    page.locator("#verdict").select_option("clean")
    page.goto("about:blank")
    page.go_back()
    chosen = page.locator("#verdict").input_value()
    fitting = f'.take[data-verdict="{chosen}"]' if chosen else ".take"
    assert page.locator(".take:visible").count() == page.locator(fitting).count()
    page.get_by_role("button", name="Show all").press("Enter")
    until(page, ALL_SHOWN)

    page.locator("#take-order").select_option("best")
    best = page.locator(".take").evaluate_all("all => all.map((one) => +one.dataset.best)")
    assert best == sorted(best, reverse=True)
    page.locator("#call-order").select_option("above")
    above = (
        page.locator(".take")
        .first.locator(".call")
        .evaluate_all("all => all.map((one) => +one.dataset.above)")
    )
    assert above == sorted(above, reverse=True)

    play = page.locator(".play").first
    play.focus()
    page.keyboard.press("Enter")
    page.locator('.play[aria-pressed="true"]').wait_for()
    until(page, PLAYING)
    page.keyboard.press("Enter")
    assert page.locator('.play[aria-pressed="true"]').count() == 0
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement === document.querySelectorAll('.play')[1]")


def test_links_on_top_lead_to_calls_even_when_they_are_hidden(sheet: Path, page: Any) -> None:
    page.goto(sheet.as_uri())
    page.locator("#words").fill("nothing is called so")
    link = page.locator(".overview td a").first
    target = link.get_attribute("href")
    link.focus()
    page.keyboard.press("Enter")
    page.locator(f"{target} .play").wait_for(state="visible")
    until(page, f"document.activeElement === document.querySelector('{target} .play')")


def test_a_link_to_a_hidden_call_scrolls_to_it(sheet: Path, page: Any) -> None:
    page.set_viewport_size({"width": 1280, "height": 600})
    page.goto(sheet.as_uri())
    page.locator("#words").fill("nothing is called so")
    link = page.locator(".overview td a").last
    target = link.get_attribute("href")
    link.press("Enter")
    until(page, f"document.activeElement === document.querySelector('{target} .play')")
    until(
        page,
        f"(({{top, bottom}}) => top >= 0 && bottom <= innerHeight)"
        f"(document.querySelector('{target} h3').getBoundingClientRect())",
    )


def test_a_sound_that_is_stopped_at_once_can_be_played(sheet: Path, page: Any) -> None:
    page.goto(sheet.as_uri())
    page.evaluate(
        "for (const at of [0, 0, 1, 2, 2]) document.querySelectorAll('.play')[at].click()"
    )
    page.wait_for_timeout(300)
    for at in range(3):
        assert page.locator(".play span").nth(2 * at).inner_text() == "Play"
    assert page.locator('.play[aria-pressed="true"]').count() == 0


def test_the_name_of_a_button_is_what_it_says(sheet: Path, page: Any) -> None:
    """WCAG 2.2, 2.5.3: what is seen is part of the name."""
    page.goto(sheet.as_uri())
    call = page.locator(".call").first.get_attribute("data-type")
    page.get_by_role("button", name=f"Play {call} at ").first.press("Enter")
    page.get_by_role("button", name=f"Stop {call} at ").wait_for()


@pytest.mark.parametrize("width", [1440, 1024])
def test_heads_and_controls_stand_in_one_row(sheet: Path, page: Any, width: int) -> None:
    page.set_viewport_size({"width": width, "height": 768})
    page.goto(sheet.as_uri())
    for parts in (".form-head .box", "#sift :is(select, input, button)"):
        feet = page.locator(parts).evaluate_all(
            "all => all.map((one) => Math.round(one.getBoundingClientRect().bottom))"
        )
        assert len(feet) > 5
        assert max(feet) - min(feet) <= 1


def test_what_is_in_focus_is_not_below_the_form_on_top(sheet: Path, page: Any) -> None:
    """WCAG 2.2, 2.4.11, also on the way back up."""
    page.set_viewport_size({"width": 1024, "height": 600})
    page.goto(sheet.as_uri())
    page.locator(".play").nth(12).focus()
    for _ in range(10):
        page.keyboard.press("Shift+Tab")
        assert page.evaluate(
            "document.activeElement.getBoundingClientRect().top"
            " >= document.getElementById('sift').getBoundingClientRect().bottom"
        )


def test_a_keyboard_need_not_go_through_all_links_on_top(sheet: Path, page: Any) -> None:
    page.goto(sheet.as_uri())
    page.keyboard.press("Tab")
    page.keyboard.press("Tab")
    link = page.locator(":focus")
    assert link.inner_text() == "Go to finding and sorting, above the takes"
    box = link.bounding_box()
    assert box["x"] >= 0, "in focus it is seen"
    page.keyboard.press("Enter")
    until(page, "document.activeElement.id === 'words'")
    for _ in range(8):
        page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "play"


def test_a_narrow_window_and_paper(
    sheet: Path, page: Any, accessible: Callable[[Any], None], photograph: Callable[..., None]
) -> None:
    page.set_viewport_size({"width": 360, "height": 740})
    page.goto(sheet.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    laid_out(page)
    accessible(page)
    photograph(page, "sheet-narrow")
    page.set_viewport_size({"width": 760, "height": 1075})
    page.emulate_media(media="print")
    assert page.locator("#sift").is_hidden()
    assert page.locator(".play:visible").count() == 0
    assert page.locator(".take:visible").count() == 4
    lines = page.locator(".short li")
    assert lines.count() > 0
    assert set(lines.evaluate_all("all => all.map(one => getComputedStyle(one).breakInside)")) == {
        "avoid"
    }, "a take's line goes on on the next page"
    photograph(page, "sheet-print")


@pytest.mark.usefixtures("in_one_process")
def test_a_sheet_without_calls_says_so_in_place_of_a_table(
    log_path: Path, tmp_path: Path, page: Any
) -> None:
    out = tmp_path / "none.html"
    with Log(log_path) as log:
        write_sheet(
            out,
            read(log)[:1],
            log=log,
            shown=lambda _: False,
            options=SheetOptions(look=False, workers=1),
        )
    page.goto(out.as_uri())
    assert page.locator(".of-types").inner_text() == "No call is on this sheet."


def test_the_folder_opens_from_the_disk(folder: Path, page: Any) -> None:
    page.goto((folder / SHEET_INDEX).as_uri())
    until(page, "[...document.images].every((one) => one.naturalWidth > 0)")
    page.locator(".play").first.press("Enter")
    until(page, PLAYING)


@pytest.mark.usefixtures("in_one_process")
def test_rushes_that_are_a_whole_drive_have_its_name(logged: Path, tmp_path: Path) -> None:
    with Log(logged / "calltag.db") as log:
        away = [
            replace(one, take=replace(one.take, rushes=rushes))
            for one, rushes in zip(log.take_logs(), ("E:\\", "E:\\card 2"), strict=False)
        ]
        out = tmp_path / "sheet.html"
        options = SheetOptions(workers=1)
        write_sheet(out, away, log=log, shown=lambda _: False, unread=[], options=options)
    assert "E:\\, card 2<" in out.read_text("utf-8")
