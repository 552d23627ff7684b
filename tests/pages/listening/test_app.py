"""The listening page in a real browser, driven as a user would drive it."""

from __future__ import annotations

import csv
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path
from threading import Event

import pytest

from calltag.log import Log
from calltag.pages.listening.app import listening_app
from calltag.pages.listening.order import Order, Show
from calltag.pages.listening.session import Session
from calltag.records.label import Label

from ..conftest import until

ROOT = Path(__file__).resolve().parents[3]
TRUTH = ROOT / "demo_audio" / "truth.csv"


@pytest.fixture
def opened(page, served, log_path):
    """The page, open, with its first sound in view."""
    page.goto(served(listening_app(Session(log_path))))
    page.wait_for_selector(".card")
    return page


def labels(log_path: Path) -> list[str]:
    with Log(log_path) as log:
        return [one.label for one in log.labels()]


def wait_for_labels(page, number: int) -> None:
    until(page, f"document.getElementById('labels').textContent === '{number}'")
    ready(page)


def ready(page) -> None:
    """Until a sound is in view and keys go to it."""
    until(page, "document.getElementById('card').getAttribute('aria-busy') === 'false'")


def start_listening(page, look=None) -> None:
    """Press Space, and Enter at the warning; `look` may look at that first."""
    ready(page)
    until(page, "!document.getElementById('play').disabled")
    page.keyboard.press("Space")
    page.wait_for_selector("dialog[open]")
    if look is not None:
        look(page)
    page.keyboard.press("Enter")


@pytest.mark.parametrize(("key", "focus"), [("Space", "h2"), ("Enter", "#play")])
def test_a_key_that_is_held_does_not_answer_the_warning(opened, key, focus) -> None:
    page = opened
    ready(page)
    until(page, "!document.getElementById('play').disabled")
    page.locator(f"{focus}:visible").first.focus()
    for _ in range(4):  # the first asks for the sound, the others repeat it
        page.keyboard.down(key)
    page.keyboard.up(key)
    page.wait_for_timeout(100)
    assert page.is_visible("dialog[open]"), "it was not read yet"
    page.keyboard.press(key)
    until(page, "!document.getElementById('warning').open")


def true_type(page) -> str:
    """What the demo's own list says of the sound in view."""
    card = page.locator(".card")
    take = card.locator(".card-title").inner_text().rpartition(",")[0]
    name = take if take.startswith("ASH") else "ASH_A_0037.MP4"
    start_s = float(card.get_attribute("data-start"))
    end_s = float(card.get_attribute("data-end"))
    with TRUTH.open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["take"] == name and (
                min(end_s, float(row["end_s"])) - max(start_s, float(row["start_s"])) > 0.05
            ):
                return row["label"]
    return "no call"


def test_twenty_labels_by_keyboard_and_a_taught_model(log_path, page, photograph) -> None:
    """From the command to a taught model without a mouse, and Ctrl-C at the end.

    The measure is twenty labels in two minutes; the page may take a quarter of that for itself.
    """
    command = subprocess.Popen(
        [sys.executable, "-m", "calltag", "label", "--no-open"],
        cwd=log_path.parent,
        env=os.environ | {"PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        address = command.stdout.readline().strip()
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/[\w-]{43}/", address)
        page.goto(address)
        start_listening(page)
        typed: list[str] = []
        begun = time.monotonic()
        for number in range(1, 21):
            label = true_type(page)
            if label == "no call":
                page.keyboard.press("n")
            elif label in typed:
                page.keyboard.press(str(typed.index(label) + 1))
            else:
                typed.append(label)
                page.keyboard.press("t")
                page.keyboard.type(label)
                page.keyboard.press("Enter")
            wait_for_labels(page, number)
        took_s = time.monotonic() - begun
        print(f"twenty labels took the page {took_s:.1f} s")
        assert took_s < 30
        assert len(labels(log_path)) == 20
        photograph(page, "listening")

        page.keyboard.press("g")
        page.wait_for_selector("#report:not([hidden])", timeout=60_000)
        assert re.search(r"Learnt \d labels from \d+ sounds", page.inner_text("#report-text"))
        page.set_viewport_size({"width": 390, "height": 844})  # little room for columns there
        assert "  " not in page.inner_text("#report-text")
        right = page.evaluate(
            """() => [...document.querySelectorAll("#report-text > .entry")]
            .filter((one) => one.lastChild.textContent.trim())
            .map((one) => Math.round(one.lastChild.getBoundingClientRect().right))"""
        )
        assert len(right) >= 2
        assert len(set(right)) == 1, f"figures end at one place: {right}"
        page.set_viewport_size({"width": 1280, "height": 900})
        ready(page)
        assert log_path.with_name("calltag.model").is_file()
        page.wait_for_selector("#yes:not(:disabled)")  # now there is a guess to say yes to
        guess = page.locator(".card").get_attribute("data-guess")
        page.keyboard.press("y")
        wait_for_labels(page, 21)
        assert labels(log_path).count(guess) >= 1
        photograph(page, "taught")
        command.send_signal(signal.SIGINT)
        out, err = command.communicate(timeout=20)
    finally:
        command.kill()
    assert command.returncode == 0
    assert out == ""
    assert "21 labels in the log, +21 in this sitting." in err
    assert "Traceback" not in err


def keys_wait(page) -> None:
    """The warning has the focus, and says that keys which answer wait for it; so they do."""
    assert page.evaluate("document.activeElement.closest('dialog')?.id") == "warning"
    text = page.inner_text(f"#{page.get_attribute('dialog', 'aria-describedby')}")
    assert "Until you choose, all other keys wait" in text
    keys = page.locator("dialog button")
    assert keys.all_inner_texts() == ["EnterIt is low; play", "EscNot now"]
    title = page.inner_text(".card-title")
    page.keyboard.press("n")
    page.keyboard.press("ArrowRight")
    assert page.is_visible("dialog")
    assert (page.inner_text(".card-title"), page.inner_text("#labels")) == (title, "0")


def test_a_sound_is_played_after_a_warning(opened, photograph) -> None:
    page = opened
    page.evaluate(
        """() => {
            window.heard = [];
            const start = AudioBufferSourceNode.prototype.start;
            AudioBufferSourceNode.prototype.start = function (...given) {
                const samples = this.buffer.getChannelData(0);
                window.heard.push({
                    seconds: this.buffer.duration, rate: this.playbackRate.value, loop: this.loop,
                    peak: samples.reduce((most, one) => Math.max(most, Math.abs(one)), 0),
                });
                return start.apply(this, given);
            };
        }"""
    )
    ready(page)
    until(page, "!document.getElementById('play').disabled")
    page.keyboard.press("Space")
    page.wait_for_selector("dialog[open]")
    assert "Turn your headphones down" in page.inner_text("dialog")
    photograph(page, "warning")
    page.keyboard.press("Escape")
    assert page.evaluate("window.heard") == []
    start_listening(page, look=keys_wait)
    until(page, "window.heard.length === 1")
    card = page.locator(".card")
    length_s = float(card.get_attribute("data-last")) - float(card.get_attribute("data-first"))
    (heard,) = page.evaluate("window.heard")
    assert heard["seconds"] == pytest.approx(length_s, abs=0.001)
    assert 0.005 < heard["peak"] <= 10 ** (-12 / 20) + 0.001
    until(page, "!document.querySelector('.needle').hidden")
    first = page.evaluate("document.querySelector('.needle').style.left")
    until(page, f"document.querySelector('.needle').style.left !== '{first}'")
    page.keyboard.press("s")
    page.keyboard.press("l")
    assert page.get_attribute("#slow", "aria-pressed") == "true"
    page.keyboard.press("Space")
    until(page, "document.querySelector('.needle').hidden")
    page.keyboard.press("Space")
    until(page, "!document.querySelector('.needle').hidden")
    last = page.evaluate("window.heard.at(-1)")
    assert (last["rate"], last["loop"]) == (0.5, True)


def test_the_ends_are_moved_by_keyboard_and_mouse(opened, log_path, photograph) -> None:
    page = opened
    ready(page)
    card = page.locator(".card")
    start_s = float(card.get_attribute("data-start"))
    first_s, last_s = (float(card.get_attribute(f"data-{one}")) for one in ("first", "last"))
    page.keyboard.press("e")
    page.keyboard.press("Shift+ArrowLeft")
    page.keyboard.press("ArrowRight")
    assert float(page.get_attribute(".edge.start", "aria-valuenow")) == pytest.approx(
        start_s - 0.09, abs=0.006
    )
    now_s = float(page.get_attribute(".edge.start", "aria-valuenow"))
    assert page.inner_text("dd.from") == f"0:{now_s:05.2f}"
    photograph(page, "ends")
    plot, handle = page.locator(".plot").bounding_box(), page.locator(".edge.end").bounding_box()
    to_x = plot["x"] + plot["width"] * 0.95
    page.mouse.move(handle["x"] + handle["width"] / 2, handle["y"] + 20)
    page.mouse.down()
    page.mouse.move(to_x, handle["y"] + 20, steps=4)
    page.mouse.up()
    page.keyboard.press("Escape")
    page.keyboard.press("n")
    wait_for_labels(page, 1)
    with Log(log_path) as log:
        (label,) = log.labels()
    assert label.start_s == pytest.approx(start_s - 0.09, abs=0.002)
    assert label.end_s == pytest.approx(first_s + 0.95 * (last_s - first_s), abs=0.02)


def test_a_call_that_is_longer_than_its_picture_keeps_its_end(
    page, served, log_path, monkeypatch
) -> None:
    """Its end stands at the edge of the picture, and is moved from where it is."""
    monkeypatch.setattr("calltag.pages.excerpt.LONGEST_S", 1.2)
    page.goto(served(listening_app(Session(log_path))))
    page.wait_for_selector(".card")
    ready(page)
    card = page.locator(".card")
    start_s, end_s = (float(card.get_attribute(f"data-{one}")) for one in ("start", "end"))
    assert end_s > float(card.get_attribute("data-last")) + 0.1
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert page.evaluate("document.querySelector('.edge.end').style.left") == "100%"
    title = page.inner_text(".card-title")
    for _ in range(2):
        page.keyboard.press("e")
    page.keyboard.press("ArrowLeft")
    page.keyboard.press("e")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("n")
    wait_for_labels(page, 1)
    with Log(log_path) as log:
        (label,) = log.labels()
    assert [*label.span] == pytest.approx([start_s + 0.01, end_s - 0.01], abs=0.002)
    page.select_option("#show", "labelled")
    until(page, f"document.querySelector('.card-title')?.textContent.startsWith('{title[:14]}')")
    ready(page)
    shown = [float(card.get_attribute(f"data-{one}")) for one in ("start", "end")]
    assert shown == pytest.approx([*label.span], abs=0.001)


def test_undo_same_again_not_sure_noise_and_details(opened, log_path) -> None:
    page = opened
    ready(page)
    first = page.inner_text(".card-title")
    page.keyboard.press("w")
    wait_for_labels(page, 1)
    page.keyboard.press("r")
    wait_for_labels(page, 2)
    page.keyboard.press("Shift+M")
    page.keyboard.type("hedge trimmer")
    page.keyboard.press("Enter")
    wait_for_labels(page, 3)
    assert sorted(labels(log_path)) == ["machine/hedge trimmer", "wind", "wind"]
    third = page.inner_text(".card-title")
    page.keyboard.press("q")
    until(page, "document.getElementById('place').textContent.includes('sound 5 of')")
    ready(page)
    for left in (2, 1, 0):
        page.keyboard.press("u")
        wait_for_labels(page, left)
    assert labels(log_path) == []
    assert page.inner_text(".card-title") == first
    assert first != third
    assert page.is_disabled("#undo")


def test_a_label_of_an_earlier_sitting_is_taken_away_by_key_and_by_mouse(
    page, served, log_path, photograph
) -> None:
    with Log(log_path) as log:
        take_log = next(one for one in log.take_logs() if len(one.calls) > 1)
        log.change_labels(
            put=[
                Label(take=take_log.take.path, label=name, start_s=call.start_s, end_s=call.end_s)
                for name, call in zip(("pit rail: rasp", "no call"), take_log.calls, strict=False)
            ]
        )
    page.goto(served(listening_app(Session(log_path))))
    page.wait_for_selector(".card")
    ready(page)
    assert page.is_hidden("#away"), "this sound has no label"
    page.keyboard.press("x")
    page.select_option("#show", "labelled")
    until(page, "document.getElementById('place').textContent === 'sound 1 of 2'")
    ready(page)
    page.focus(".card-title")
    title = page.inner_text(".card-title")
    said = page.inner_text(".guess b >> nth=-1")
    photograph(page, "label to take away")
    page.keyboard.press("x")
    wait_for_labels(page, 1)
    assert page.inner_text(".card-title") == title, "it stays in view, for another answer"
    assert page.is_hidden("#away")
    assert "You said" not in page.inner_text(".guess")
    assert "taken away" in page.inner_text("#status")
    page.keyboard.press("x")  # nothing is there to be taken away
    page.keyboard.press("u")
    wait_for_labels(page, 2)
    assert page.inner_text(".guess b >> nth=-1") == said
    assert sorted(labels(log_path)) == ["no call", "pit rail: rasp"]
    page.click("#away")
    wait_for_labels(page, 1)
    assert said not in labels(log_path)
    assert page.inner_text("#sitting") == "0"


@pytest.mark.parametrize("width", [1440, 390])
def test_what_was_said_last_moves_no_key(opened, photograph, width) -> None:
    """Its label stands on a key among others, which a hand has learnt to find."""
    page = opened
    page.set_viewport_size({"width": width, "height": 900})
    ready(page)
    own = "document.querySelector('#again').closest('fieldset').getBoundingClientRect().top"
    tops = (
        f"['no', 'again', 'unsure', 'undo', 'type'].map((id) => "
        f"document.getElementById(id).getBoundingClientRect().top - {own})"
    )
    before = page.evaluate(tops)
    photograph(page, f"listening-none-said-{width}")
    page.keyboard.press("t")
    page.keyboard.type("lesser reedling: " + "long trill with a rising end, " * 2)
    page.keyboard.press("Enter")
    wait_for_labels(page, 1)
    assert "Same as last: lesser" in page.inner_text("#again")
    assert page.evaluate(tops) == before
    photograph(page, f"listening-last-said-{width}")


def test_same_as_last_forgets_what_was_taken_back(opened, log_path) -> None:
    page = opened
    ready(page)
    for number, name in enumerate(("pit rail: rasp", "pit rale: rasp"), 1):
        page.keyboard.press("t")
        page.keyboard.type(name)
        page.keyboard.press("Enter")
        wait_for_labels(page, number)
    assert page.locator("#known button").count() == 2
    page.keyboard.press("u")
    wait_for_labels(page, 1)
    assert "Same as last: pit rail: rasp" in page.inner_text("#again")
    assert page.locator("#known button").get_attribute("data-label") == "pit rail: rasp"
    page.keyboard.press("t")
    page.keyboard.type("pit ra")
    assert page.locator("#choices [role=option]").all_inner_texts() == ["pit rail: rasp"]
    page.fill("#typed", "")
    page.keyboard.press("Escape")
    page.keyboard.press("r")
    wait_for_labels(page, 2)
    assert labels(log_path) == ["pit rail: rasp"] * 2
    for number in (1, 0):
        page.keyboard.press("u")
        wait_for_labels(page, number)
    assert page.locator("#again").is_disabled()
    assert page.inner_text("#again span") == "Same as last"


def test_completion_offers_what_is_in_use(opened, log_path, photograph) -> None:
    page = opened
    ready(page)
    page.keyboard.press("t")
    page.keyboard.type("lesser reedling: trill")
    page.keyboard.press("Enter")
    wait_for_labels(page, 1)
    page.keyboard.press("t")
    page.keyboard.type("REED")
    page.wait_for_selector("#choices li")
    assert page.get_attribute("#typed", "aria-expanded") == "true"
    photograph(page, "completion")
    page.keyboard.press("ArrowDown")
    assert page.get_attribute("#choices li", "aria-selected") == "true"
    page.keyboard.press("Enter")
    wait_for_labels(page, 2)
    assert labels(log_path) == ["lesser reedling: trill"] * 2


def test_a_bad_label_is_told_and_nothing_is_lost(opened, log_path) -> None:
    page = opened
    ready(page)
    page.keyboard.press("t")
    page.keyboard.type("river/ice")
    page.keyboard.press("Enter")
    page.wait_for_selector("#alert:not([hidden])")
    assert "is no noise kind" in page.inner_text("#alert")
    assert page.input_value("#typed") == "river/ice"
    assert labels(log_path) == []


def test_too_few_labels_to_teach_is_told(opened) -> None:
    page = opened
    ready(page)
    page.keyboard.press("g")
    page.wait_for_selector("#alert:not([hidden])", timeout=60_000)
    assert "name five or more sounds of each type" in page.inner_text("#alert")


@pytest.fixture
def taught(page):
    """Answers for the server that teaching runs, until `end` is called; then lists are reversed."""
    state = {"running": True, "step": "fitting", "seconds": 1, "report": "Learnt.", "problem": ""}

    def queue(route) -> None:
        answer = route.fetch()
        said = answer.json()
        if not state["running"]:
            said["numbers"].reverse()
        route.fulfill(response=answer, json=said)

    page.route("**/teach", lambda route: route.fulfill(json=state))
    page.route("**/queue?*", queue)
    return lambda: state.update(running=False)


def test_what_is_typed_when_teaching_ends_is_of_the_sound_in_view(taught, opened, log_path) -> None:
    page = opened
    ready(page)
    page.keyboard.press("ArrowRight")
    until(page, "document.getElementById('place').textContent.startsWith('sound 2 of')")
    ready(page)
    title = page.inner_text(".card-title")
    count = int(page.inner_text("#place").rpartition(" ")[2])
    last = Session(log_path).numbers(Order.USEFUL, Show.OPEN)[-1]  # the first after teaching
    page.keyboard.press("e")
    page.keyboard.press("ArrowLeft")
    end_s = float(page.get_attribute(".edge.start", "aria-valuenow"))
    page.keyboard.press("g")
    page.keyboard.press("t")
    page.keyboard.type("now")
    taught()
    until(page, "document.getElementById('status').textContent.includes('in order again')")
    page.keyboard.type(" heard")
    assert page.input_value("#typed") == "now heard"
    assert page.inner_text(".card-title") == title
    assert page.inner_text("#place") == f"sound 1 of {count}"
    page.keyboard.press("Enter")
    wait_for_labels(page, 1)
    until(page, f"document.querySelector('.card').dataset.number === '{last}'")
    assert page.input_value("#typed") == ""
    with Log(log_path) as log:
        (label,) = log.labels()
    assert label.label == "now heard"
    assert label.start_s == pytest.approx(end_s, abs=0.006)


def test_digits_keep_their_types_when_teaching_ends(taught, opened, log_path) -> None:
    """A digit that is pressed just then gives the type that stood beside it."""
    page = opened
    ready(page)
    for number, name in enumerate(("pit rail: rasp", "marsh hooter: boom"), 1):
        page.keyboard.press("t")
        page.keyboard.type(name)
        page.keyboard.press("Enter")
        wait_for_labels(page, number)
    page.keyboard.press("r")  # now the second is used more often
    wait_for_labels(page, 3)
    page.keyboard.press("g")
    taught()
    until(page, "document.getElementById('status').textContent.includes('in order again')")
    page.keyboard.press("1")
    wait_for_labels(page, 4)
    assert labels(log_path).count("pit rail: rasp") == 2


def test_an_order_asked_for_while_the_page_is_busy_comes_after(
    page, served, log_path, monkeypatch
) -> None:
    session, asked, go_on = Session(log_path), Event(), Event()
    answer = session.answer

    def answer_late(*said):
        asked.set()
        assert go_on.wait(15)
        return answer(*said)

    monkeypatch.setattr(session, "answer", answer_late)
    page.goto(served(listening_app(session)))
    page.wait_for_selector(".card")
    ready(page)
    page.keyboard.press("n")
    until(page, "document.getElementById('card').getAttribute('aria-busy') === 'true'")
    page.select_option("#show", "labelled")
    assert asked.wait(15)
    go_on.set()
    until(page, "document.getElementById('place').textContent === 'sound 1 of 1'")
    ready(page)
    assert "You said no call" in page.inner_text(".card .guess")


def test_a_key_that_is_held_labels_one_sound(opened, log_path) -> None:
    page = opened
    ready(page)
    page.keyboard.down("n")
    wait_for_labels(page, 1)
    for _ in range(3):
        page.keyboard.down("n")  # as the keyboard repeats it
        page.wait_for_timeout(100)
        ready(page)
    page.keyboard.up("n")
    assert labels(log_path) == ["no call"]
    for place in (3, 4):
        page.keyboard.down("ArrowRight")
        until(page, f"document.getElementById('place').textContent.startsWith('sound {place} of')")
        ready(page)


def test_a_sound_that_cannot_be_shown_is_not_answered_for(page, served, log_path) -> None:
    session = Session(log_path)
    first, second = session.numbers(Order.USEFUL, Show.OPEN)[:2]
    address = f"**/sound/{second}"
    page.route(address, lambda route: route.fulfill(status=500, body="Out of order."))
    page.goto(served(listening_app(session)))
    page.wait_for_selector(".card")
    ready(page)
    page.keyboard.press("n")
    page.wait_for_selector("#alert:not([hidden])")
    ready(page)
    assert page.inner_text("#alert") == "Out of order."
    assert page.locator(".card").count() == 0
    page.keyboard.press("w")
    page.wait_for_timeout(300)
    assert labels(log_path) == ["no call"]
    page.unroute(address)
    page.keyboard.press("ArrowLeft")
    page.wait_for_selector(f".card[data-number='{first}']")
    ready(page)
    page.keyboard.press("ArrowRight")
    page.wait_for_selector(f".card[data-number='{second}']")
    ready(page)
    page.keyboard.press("w")
    wait_for_labels(page, 2)
    assert session.heard(second).label.label == "wind"


def test_a_list_without_sounds_offers_nothing_that_needs_one(opened) -> None:
    page = opened
    ready(page)
    page.select_option("#show", "labelled")
    until(page, "document.querySelector('.finished') !== null")
    assert "There is no sound" in page.inner_text("#card")
    assert "teach" not in page.inner_text("#card")
    assert page.locator("#desk button[data-label]:enabled").count() == 0
    page.select_option("#show", "open")
    page.wait_for_selector(".card")
    ready(page)
    assert page.locator("#desk button[data-label]:disabled").count() == 0


def test_after_the_last_sound_no_further_one_is_counted(opened, log_path) -> None:
    page = opened
    ready(page)
    page.keyboard.press("n")
    wait_for_labels(page, 1)
    page.select_option("#show", "labelled")
    until(page, "document.getElementById('place').textContent === 'sound 1 of 1'")
    ready(page)
    page.keyboard.press("ArrowRight")
    page.wait_for_selector(".finished")
    assert page.inner_text(".finished h2") == "That was the last sound of this list."
    assert page.inner_text("#place") == ""
    page.keyboard.press("ArrowLeft")
    until(page, "document.getElementById('place').textContent === 'sound 1 of 1'")


def test_an_undo_that_fails_can_be_tried_again(opened, log_path) -> None:
    page = opened
    locked = True

    def answer(route) -> None:
        if locked:
            route.fulfill(status=409, json={"problem": "Locked."})
        else:
            route.continue_()

    page.route("**/undo", answer)  # at first, since a busy browser takes a while to heed it
    ready(page)
    page.keyboard.press("n")
    wait_for_labels(page, 1)
    page.keyboard.press("u")
    page.wait_for_selector("#alert:not([hidden])")
    assert page.inner_text("#alert") == "Locked."
    ready(page)
    locked = False
    page.keyboard.press("u")
    wait_for_labels(page, 0)
    assert page.is_disabled("#undo")


def test_space_plays_nothing_where_there_is_nothing_to_play(page, served, log_path) -> None:
    session = Session(log_path)
    second = session.numbers(Order.USEFUL, Show.OPEN)[1]

    def unplayable(route) -> None:
        answer = route.fetch()
        text = answer.text().replace('data-playable="yes"', 'data-playable="no"')
        route.fulfill(response=answer, body=text)

    page.route(f"**/sound/{second}", unplayable)
    page.goto(served(listening_app(session)))
    page.wait_for_selector(".card")
    start_listening(page)
    until(page, "!document.querySelector('.needle').hidden")
    page.keyboard.press("ArrowRight")
    page.wait_for_selector(f".card[data-number='{second}']")
    ready(page)
    page.keyboard.press("Space")
    page.wait_for_timeout(300)
    assert page.evaluate("document.querySelector('.needle').hidden")
    assert page.inner_text("#play span") == "Play"


def test_sound_goes_on_after_the_computer_slept(page, served, log_path) -> None:
    """The browser of Macs calls its output interrupted then (Web Audio API, AudioContextState)."""
    page.add_init_script(
        """window.interrupted = false; window.resumed = 0;
        const own = Object.getOwnPropertyDescriptor(BaseAudioContext.prototype, "state").get;
        Object.defineProperty(BaseAudioContext.prototype, "state", {
          get() { return window.interrupted ? "interrupted" : own.call(this); } });
        const resume = AudioContext.prototype.resume;
        AudioContext.prototype.resume = function () {
          window.interrupted = false; window.resumed += 1; return resume.call(this); };"""
    )
    page.goto(served(listening_app(Session(log_path))))
    page.wait_for_selector(".card")
    start_listening(page)
    until(page, "!document.querySelector('.needle').hidden")
    page.keyboard.press("Space")
    until(page, "document.querySelector('.needle').hidden")
    page.evaluate("window.interrupted = true; window.resumed = 0")
    page.keyboard.press("Space")
    until(page, "window.resumed === 1 && !document.querySelector('.needle').hidden")


def test_a_name_from_right_to_left_leaves_the_figures_in_order(opened) -> None:
    page = opened
    ready(page)
    page.evaluate(
        "document.querySelector('.guess').innerHTML ="
        " '<b>الواق</b> <span class=printed>6 % sure</span>'"
    )
    drawn_in_parts = "document.querySelector('.guess .printed').getClientRects().length"
    assert page.evaluate(drawn_in_parts) == 1


def test_letter_keys_can_be_switched_off(opened, log_path) -> None:
    """WCAG 2.2, 2.1.4: single letters as shortcuts can be turned off."""
    page = opened
    ready(page)
    page.uncheck("#letters")
    page.locator(".card-title").focus()
    page.keyboard.press("n")
    page.wait_for_timeout(300)
    assert labels(log_path) == []


def test_hostile_names_and_labels_are_only_text(page, served, log_path) -> None:
    """What is not text would open a dialogue, break the policy, or make elements."""
    bad = "rail: <b onclick=alert(2)>x</b> \"'&amp;<script>alert(3)</script>"
    session = Session(
        log_path, choose=lambda logs: (one for one in logs if "onerror" in one.take.path)
    )
    page.goto(served(listening_app(session)))
    page.wait_for_selector(".card")
    ready(page)
    title = page.inner_text(".card-title")
    assert title.startswith("card1/<img src=x onerror=alert(1)> & \"'.MP4")
    page.keyboard.press("t")
    page.keyboard.type(bad)
    page.keyboard.press("Enter")
    wait_for_labels(page, 1)
    assert labels(log_path) == [bad]
    assert page.inner_text("#known button").endswith(bad)
    assert bad in page.inner_text("#status")
    page.keyboard.press("t")
    page.keyboard.type("rail: <b")
    page.wait_for_selector("#choices li")
    assert page.inner_text("#choices li") == bad
    page.keyboard.press("Escape")
    page.keyboard.press("u")
    wait_for_labels(page, 0)
    assert page.locator(".card img").count() == 2  # the picture and the still
    assert page.locator("b[onclick], script:not([src])").count() == 0


def test_the_take_is_gone_and_can_be_labelled_all_the_same(
    page, served, log_path, tmp_path, logged
) -> None:
    with Log(log_path) as log:
        places = {t.path: (str(tmp_path / "unplugged"), t.path) for t in log.takes()}
        log.move(places)
    page.goto(served(listening_app(Session(log_path))))
    page.wait_for_selector(".card")
    assert "ASH" in page.inner_text(".card .stamp")
    assert page.is_disabled("#play")
    ready(page)
    page.keyboard.press("n")
    wait_for_labels(page, 1)
    assert labels(log_path) == ["no call"]


def test_loading_the_page_again_reads_the_log_again(opened, log_path) -> None:
    """As after takes were logged, moved or labelled by another command."""
    page = opened
    ready(page)
    count = int(page.inner_text("#open"))
    with Log(log_path) as log:
        take_log = next(one for one in log.take_logs() if one.calls)
        span = take_log.calls[0].span
        log.change_labels(
            put=[Label(take=take_log.take.path, start_s=span[0], end_s=span[1], label="wind")]
        )
    page.reload()
    page.wait_for_selector(".card")
    ready(page)
    assert page.inner_text("#open") == str(count - 1)
    assert page.inner_text("#labels") == "1"


def test_two_pages_at_once(browser, served, log_path) -> None:
    address = served(listening_app(Session(log_path)))
    pages = [browser.new_context().new_page() for _ in range(2)]
    for page in pages:
        page.goto(address)
        page.wait_for_selector(".card")
        ready(page)
    pages[0].keyboard.press("n")
    wait_for_labels(pages[0], 1)
    pages[1].keyboard.press("w")  # the same sound
    wait_for_labels(pages[1], 1)
    assert labels(log_path) == ["wind"]
    pages[0].keyboard.press("u")
    pages[0].wait_for_selector("#alert:not([hidden])")
    assert "changed again meanwhile" in pages[0].inner_text("#alert")
    pages[1].keyboard.press("u")
    wait_for_labels(pages[1], 1)
    assert labels(log_path) == ["no call"]
    for page in pages:
        page.context.close()


def test_the_page_can_be_used_by_everybody(opened, accessible) -> None:
    page = opened
    ready(page)
    accessible(page)
    page.keyboard.press("t")
    page.keyboard.type("marsh hooter: boom")
    page.keyboard.press("Enter")
    wait_for_labels(page, 1)
    page.keyboard.press("t")
    page.keyboard.type("mar")
    page.wait_for_selector("#choices li")
    accessible(page)
    page.emulate_media(color_scheme="dark")
    accessible(page)
    page.keyboard.press("Escape")
    start_listening(page, accessible)


def test_pictures_of_sound_are_light_on_dark_where_the_page_is(opened) -> None:
    """A screen in a dark room: the page and the pictures of sound are dark, a print is not."""
    page = opened
    ready(page)

    def drawn(scheme: str, medium: str) -> tuple[float, str]:
        page.emulate_media(color_scheme=scheme, media=medium)
        paper = page.evaluate("getComputedStyle(document.body).backgroundColor")
        shades = [int(one) for one in re.findall(r"\d+", paper)[:3]]
        return sum(shades) / 3, page.evaluate(
            "getComputedStyle(document.querySelector('.plot img')).filter"
        )

    assert drawn("light", "screen")[0] > 230
    assert drawn("light", "screen")[1] == "none"
    assert drawn("dark", "screen")[0] < 40
    assert drawn("dark", "screen")[1].startswith("invert(1)")
    assert drawn("dark", "print")[1] == "none"


def test_what_colours_say_is_seen_in_forced_colours(opened) -> None:
    """Axes are written in the system's ink; what is pressed or chosen looks unlike the rest."""
    page = opened
    ready(page)
    page.emulate_media(forced_colors="active", color_scheme="dark")
    for name in ("pit rail: rasp", "pit rail: squeal"):
        page.keyboard.press("t")
        page.keyboard.type(name)
        page.keyboard.press("Enter")
        ready(page)

    def style(selector: str, name: str) -> str:
        return page.evaluate(f"getComputedStyle(document.querySelector('{selector}')).{name}")

    assert style(".axis text", "fill") == style(".card-title", "color")
    page.keyboard.press("l")
    assert style("#loop", "backgroundColor") != style("#slow", "backgroundColor")
    page.keyboard.press("t")
    page.keyboard.type("pit")
    page.wait_for_selector("#choices li")
    page.keyboard.press("ArrowDown")
    chosen, other = (f"#choices li:nth-child({n})" for n in (1, 2))
    assert style(chosen, "backgroundColor") != style(other, "backgroundColor")


def test_the_guess_is_read_out_with_each_new_sound(opened) -> None:
    """The focus goes to the title of the sound: what Y would say belongs to that."""
    page = opened
    ready(page)
    described = "document.getElementById(document.activeElement.getAttribute('aria-describedby'))"
    assert page.evaluate("document.activeElement.className") == "card-title typed"
    assert page.evaluate(f"{described}.textContent").split()[:2] == ["Sounds", "like"]


def test_tab_reaches_every_control_in_the_order_of_the_page(opened) -> None:
    page = opened
    ready(page)
    until(page, "!document.getElementById('play').disabled")
    page.locator(".skip").focus()
    seen = ["skip"]
    for _ in range(60):
        page.keyboard.press("Tab")
        name = page.evaluate("document.activeElement.id || document.activeElement.className")
        if name == "skip":
            break
        seen.append(name)
    wanted = ["skip", "order", "show", "on", "edge start", "edge end", "play", "no", "typed"]
    assert [name for name in seen if name in wanted] == wanted
    assert "teach" in seen


@pytest.mark.parametrize("width", [1440, 1024, 800, 390])
def test_the_desk_is_seen_in_the_order_in_which_tab_goes(opened, width) -> None:
    page = opened
    ready(page)
    page.set_viewport_size({"width": width, "height": 900})
    places = page.evaluate(
        "[...document.querySelectorAll('.desk fieldset')].map(one => one.getBoundingClientRect())"
        ".map(box => [Math.round(box.top), Math.round(box.left)])"
    )
    assert len(places) == 5
    assert places == sorted(places)


def test_the_keys_for_noise_stand_high_enough_for_a_laptop(opened) -> None:
    page = opened
    ready(page)
    page.set_viewport_size({"width": 1366, "height": 768})
    listen, noise = (page.locator(f".desk .{name}").bounding_box() for name in ("listen", "noises"))
    assert noise["y"] == pytest.approx(listen["y"] + listen["height"], abs=1), "nothing between"
    key = page.locator(".noise").first.bounding_box()
    assert key["y"] + key["height"] <= 768


@pytest.mark.parametrize("width", [1440, 1024, 800, 390])
def test_the_keys_to_the_sound_before_and_the_next_stand_side_by_side(opened, width) -> None:
    page = opened
    ready(page)
    page.set_viewport_size({"width": width, "height": 900})
    back, on = (page.locator(name).bounding_box() for name in ("#back", "#on"))
    assert back["y"] == on["y"]
    assert back["x"] + back["width"] < on["x"]
    main = page.locator("main").bounding_box()
    assert on["x"] + on["width"] == pytest.approx(main["x"] + main["width"], abs=1)
    if width >= 1024:  # and beside what the list is of
        order = page.locator("#order").bounding_box()
        assert order["y"] == pytest.approx(on["y"], abs=1)


def test_small_and_zoomed_windows_lose_nothing(opened, photograph) -> None:
    """WCAG 2.2, 1.4.10: at 320 pixels nothing is scrolled sideways."""
    page = opened
    ready(page)
    page.set_viewport_size({"width": 320, "height": 640})
    photograph(page, "narrow")
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


@pytest.mark.parametrize("width", [1920, 1280, 800, 390])
def test_times_and_bands_stand_on_one_line(opened, photograph, width) -> None:
    page = opened
    ready(page)
    page.set_viewport_size({"width": width, "height": 800})
    photograph(page, f"listening-{width}")
    heights = page.evaluate(
        "[...document.querySelectorAll('.strip dd')].slice(0, 4).map(one => one.clientHeight)"
    )
    assert max(heights) < 30


def test_the_queue_is_plain_data(served, log_path, page) -> None:
    address = served(listening_app(Session(log_path)))
    page.goto(address)
    queue = json.loads(page.evaluate("fetch('queue?order=take&show=all').then(a => a.text())"))
    assert len(queue["numbers"]) == queue["open"] > 20
