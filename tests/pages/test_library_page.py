"""The library page in a real browser: find, listen, pick, hand out."""

from __future__ import annotations

import http.client
import json
import shutil
import urllib.error
import urllib.request
from pathlib import Path
from urllib.parse import urlsplit

import pytest
import soundfile

from calltag.errors import LibraryError
from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.keep import KeepOptions, Wanted, keep_calls
from calltag.library.kept_file.story import Facts
from calltag.library.search.find import Query, find
from calltag.log import Log
from calltag.pages import library_page
from calltag.pages.library_page import library_app
from calltag.sound.features import FEATURE_VERSION
from calltag.words import sure

from .conftest import until


@pytest.fixture(scope="session")
def kept(logged: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library of some calls of the log, one of them with a hostile name."""
    library = tmp_path_factory.mktemp("library") / "kept"
    with Log(logged / "calltag.db") as log:
        found = [(t.take, call) for t in log.take_logs(features=True) for call in t.calls[:4]]
    wanted = [
        Wanted(take=take, call=call, model="", feature_version=FEATURE_VERSION)
        for take, call in found
    ]
    facts = Facts(place="Ashmere <i>north</i>", recordist="A. Keeper", rights="free for this film")
    with Catalogue(library, create=True) as catalogue:
        keep_calls(catalogue, wanted, KeepOptions(facts=facts))
        assert catalogue.count() == 16
    return library


@pytest.fixture
def address(kept, served, tmp_path) -> str:
    return served(library_app(kept, target=tmp_path / "out"))


@pytest.fixture
def opened(page, address):
    page.goto(address)
    page.wait_for_selector("tr[data-key]")
    return page


def test_find_listen_pick_and_hand_out_by_keyboard(opened, tmp_path, photograph) -> None:
    page = opened
    assert page.locator("tr[data-key]").count() == 16
    page.locator(".hear").first.focus()
    page.keyboard.press("Enter")
    page.wait_for_selector("dialog[open]")
    page.keyboard.press("Enter")
    until(page, "document.querySelector('.needle')?.hidden === false")
    page.keyboard.press("Space")
    until(page, "document.querySelector('.needle').hidden")
    page.keyboard.press("p")
    for _ in range(2):
        page.keyboard.press("ArrowDown")
    page.keyboard.press("p")
    page.keyboard.press("ArrowDown")
    page.keyboard.press("p")
    page.keyboard.press("p")  # and put back
    assert page.inner_text("#picked") == "2"
    photograph(page, "library")
    page.locator("#hand-out").press("Enter")
    page.wait_for_selector("#report:not([hidden])")
    report = page.inner_text("#report-text")
    assert "2 calls copied to" in report
    assert "do not play these calls to wild animals" in report
    copies = list((tmp_path / "out").glob("*.wav"))
    assert len(copies) == 2
    assert all(soundfile.info(copy).duration > 1 for copy in copies)
    assert (tmp_path / "out" / "calls.otio").is_file()
    page.locator("#hand-out").press("Enter")  # once more: what exists is not replaced
    page.wait_for_selector("#alert:not([hidden])")
    assert "exists" in page.inner_text("#alert")


def focused(page) -> str:
    return page.evaluate("document.activeElement.id || document.activeElement.className")


def test_a_key_goes_to_handing_out_and_what_fails_there_is_seen(opened, tmp_path) -> None:
    """With fifty calls on a sheet, Tab would need a hundred steps, and their head is far away."""
    page = opened
    for _ in range(16):
        page.keyboard.press("ArrowDown")
    page.keyboard.press("h")
    assert "Nothing is picked yet" in page.inner_text("#alert")
    page.keyboard.press("p")
    assert page.inner_text("#hand-out") == "Copy 1 call to the folder"
    page.keyboard.press("h")
    assert focused(page) == "hand-out"
    page.keyboard.press("Enter")
    page.wait_for_selector("#report:not([hidden])")
    assert focused(page) == "report"
    page.keyboard.press("h")
    page.keyboard.press("Enter")  # the same folder again
    page.wait_for_selector("#alert:not([hidden])")
    told = page.inner_text("#alert")
    assert "exists already, so nothing was copied; name another folder" in told
    assert "--replace" not in told, "the page has no such option"
    assert page.inner_text("#status") == ""
    assert page.is_hidden("#report"), "it was of the copies before"
    assert focused(page) == "hand-out"
    page.mouse.move(300, 500)
    page.mouse.wheel(0, 10_000)
    page.wait_for_timeout(200)
    assert page.evaluate("scrollY") > 0
    box = page.locator("#alert").bounding_box()
    assert box is not None
    assert 0 <= box["y"] < 900
    page.fill("#folder", str(tmp_path / "second"))
    page.click("#hand-out")
    page.wait_for_selector("#report:not([hidden])")
    assert page.is_hidden("#alert")
    page.locator("#none").press("Enter")
    assert page.inner_text("#picked") == "0"
    assert focused(page) in ("hear", "words"), "the button cannot be pressed any more"


@pytest.mark.parametrize(("width", "height"), [(1366, 768), (390, 844)])
def test_a_mouse_gets_to_handing_out_in_one_step(opened, width, height) -> None:
    """Beside a chosen call, and below a long list, it is out of view."""
    page = opened
    page.set_viewport_size({"width": width, "height": height})
    page.click("#to-out")
    assert "Nothing is picked yet: tick calls" in page.inner_text("#alert")
    page.locator(".pick").first.check()
    page.locator(".hear").first.click()
    page.wait_for_selector("dialog[open]")
    page.keyboard.press("Escape")
    page.wait_for_selector("#kept .card")
    page.click("#to-out")
    assert focused(page) == "hand-out"
    box = page.locator("#hand-out").bounding_box()
    assert 0 <= box["y"] <= height - box["height"]


def test_what_is_picked_stays_while_one_asks_for_other_calls(opened, kept) -> None:
    page = opened
    page.locator(".pick").nth(3).check()
    key = page.locator("tr[data-key]").nth(3).get_attribute("data-key")
    page.fill("#words", "nothing-is-called-so")
    page.keyboard.press("Enter")
    until(page, "document.querySelectorAll('tr[data-key]').length === 0")
    assert "No kept call is like that" in page.inner_text("#found")
    page.fill("#words", "keeper")
    page.keyboard.press("Enter")
    until(page, "document.querySelectorAll('tr[data-key]').length === 16")
    assert page.inner_text("#picked") == "1"
    assert page.locator(f"tr[data-key='{key}'] .pick").is_checked()
    page.select_option("[name=order]", "length")
    until(
        page,
        "document.querySelector('#status').textContent.startsWith('16')"
        " && parseFloat(document.querySelectorAll('tr[data-key] td.number')[0].textContent)"
        " >= parseFloat(document.querySelectorAll('tr[data-key] td.number')[2].textContent)",
    )


def test_what_is_picked_stays_when_the_page_is_loaded_again(kept, served, page, tmp_path) -> None:
    """Unless it is gone: another call may be kept under its number by then."""
    library = Path(shutil.copytree(kept, tmp_path / "kept"))
    address = served(library_app(library, target=tmp_path / "out"))
    page.goto(address)
    page.wait_for_selector("tr[data-key]")
    for place in 5, 3:
        page.locator(".pick").nth(place).check()
    page.goto(address)
    until(page, "document.querySelector('#status').textContent.startsWith('16')")
    assert page.inner_text("#status") == "16 kept calls found. 2 picked before."
    assert page.inner_text("#picked") == "2"
    assert page.inner_text("#hand-out") == "Copy 2 calls to the folder"
    picked = page.locator("tr[data-key]:has(.pick:checked)")
    keys = [int(row.get_attribute("data-key")) for row in picked.all()]
    with Catalogue(library) as catalogue:
        gone, left = (catalogue.kept_where("cuts.id = ?", [key])[0] for key in keys)
        catalogue.remove([gone.path])
    page.reload()
    until(page, "document.querySelector('#status').textContent.startsWith('15')")
    assert page.inner_text("#status").endswith("1 picked before. 1 that was picked before is gone.")
    assert page.locator("tr:has(.pick:checked)").get_attribute("data-key") == str(left.key)
    page.click("#none")
    page.reload()
    until(page, "document.querySelector('#status').textContent.startsWith('15')")
    assert page.inner_text("#status") == "15 kept calls found."


def test_so_do_more_than_one_request_may_hold(kept, served, page, tmp_path) -> None:
    page.goto(served(library_app(kept, target=tmp_path / "out")))
    page.wait_for_selector("tr[data-key]")
    page.locator(".pick").first.check()
    page.evaluate(
        """() => {
          const picked = JSON.parse(sessionStorage.getItem(sessionStorage.key(0)));
          const gone = Array.from({length: 2000}, (_, i) => [10_000 + i, "0".repeat(36)]);
          sessionStorage.setItem(sessionStorage.key(0), JSON.stringify([...gone, ...picked]));
        }"""
    )
    page.reload()
    until(page, "document.querySelector('#status').textContent.startsWith('16')")
    told = "16 kept calls found. 1 picked before. 2000 that were picked before are gone."
    assert page.inner_text("#status") == told


def test_space_plays_nothing_where_there_is_nothing_to_play(opened) -> None:
    page = opened
    key = page.locator("tr[data-key]").nth(1).get_attribute("data-key")

    def unplayable(route) -> None:
        answer = route.fetch()
        text = answer.text().replace('data-playable="yes"', 'data-playable="no"')
        route.fulfill(response=answer, body=text)

    page.route(f"**/kept/{key}", unplayable)
    page.locator(".hear").first.press("Enter")
    page.wait_for_selector("dialog[open]")
    page.keyboard.press("Enter")
    until(page, "document.querySelector('.needle')?.hidden === false")
    page.locator(".hear").nth(1).press("Enter")
    page.wait_for_selector(".card[data-playable=no]")
    page.keyboard.press("Space")
    page.wait_for_timeout(300)
    assert page.evaluate("document.querySelector('.needle').hidden")
    assert page.inner_text("#play span") == "Play"


def test_the_focus_stays_on_the_button_that_turns(page, address, monkeypatch) -> None:
    monkeypatch.setattr(library_page, "AT_ONCE", 6)
    page.goto(address)
    page.wait_for_selector("tr[data-key]")
    page.get_by_role("button", name="Next page").press("Enter")
    until(page, "document.querySelector('.sheet').dataset.offset === '6'")
    assert page.evaluate("document.activeElement.textContent") == "Next page"
    page.keyboard.press("Enter")
    until(page, "document.querySelector('.sheet').dataset.offset === '12'")
    assert page.evaluate("document.activeElement === document.querySelector('.hear')")


@pytest.mark.parametrize("how_the_first_ends", ["continue_", "abort"])
def test_of_two_questions_the_later_is_answered(opened, how_the_first_ends) -> None:
    page = opened
    held = []
    page.route("**/found?*words=none*", lambda route: held.append(route))
    page.fill("#words", "none")
    page.keyboard.press("Enter")
    for _ in range(1500):
        if held:
            break
        page.wait_for_timeout(10)
    assert held
    page.fill("#words", "keeper")
    page.keyboard.press("Enter")
    until(page, "document.querySelector('#status').textContent.startsWith('16')")
    for route in held:
        getattr(route, how_the_first_ends)()
    page.wait_for_timeout(300)
    assert page.locator("tr[data-key]").count() == 16
    assert page.locator("#alert").is_hidden()


def test_only_the_users_word_is_certain(opened, kept) -> None:
    with Catalogue(kept) as catalogue:
        confidences = [one.story.confidence for one in find(catalogue, Query()).kept]
    assert max(confidences) > 0.995
    cells = opened.locator("tr[data-key] td.sure").all_inner_texts()
    assert cells == [sure(confidence) for confidence in confidences]


def test_names_are_only_text(opened) -> None:
    page = opened
    assert "Ashmere <i>north</i>" in page.inner_text("#found")
    assert page.locator("#found i, #kept i").count() == 0
    row = page.locator("tr[data-key]").filter(has=page.locator(".hear"))
    for number in range(row.count()):
        row.nth(number).locator(".hear").click()
        if number == 0:
            page.keyboard.press("Escape")
        until(
            page,
            f"document.querySelector('#kept .card')?.dataset.key"
            f" === document.querySelectorAll('tr[data-key]')[{number}].dataset.key",
        )
        page.keyboard.press("Escape")
        if "onerror" in page.inner_text("#kept"):
            break
    assert "<img src=x onerror=alert(1)>" in page.inner_text("#kept")
    assert page.locator("#kept img").count() == 1


def test_everybody_can_use_it(opened, accessible, photograph) -> None:
    page = opened
    accessible(page)
    page.locator(".hear").first.click()
    page.wait_for_selector("dialog[open]")
    page.keyboard.press("Enter")
    until(page, "document.querySelector('#play')?.disabled === false")
    accessible(page)
    page.emulate_media(color_scheme="dark")
    accessible(page)
    photograph(page, "library-dark")
    page.set_viewport_size({"width": 320, "height": 640})
    photograph(page, "library-narrow")
    assert page.evaluate("document.documentElement.scrollWidth") <= 320


@pytest.mark.parametrize("width", [1440, 1024])
def test_a_call_type_stands_on_one_line_beside_the_chosen_call(opened, width) -> None:
    page = opened
    page.set_viewport_size({"width": width, "height": 768})
    page.locator(".hear").evaluate_all(
        "all => { for (const one of all) one.textContent = 'lesser reedling: whistle'; }"
    )
    assert (
        page.locator(".hear").evaluate_all("all => Math.max(...all.map(a => a.offsetHeight))") < 30
    )
    found = page.locator("#found")
    assert found.evaluate("list => list.scrollWidth <= list.clientWidth")


@pytest.mark.parametrize(
    ("width", "height"),
    [(1920, 1080), (1280, 800), (1024, 768), (800, 600), (390, 844), (360, 740)],
)
def test_no_column_is_cut_and_the_chosen_call_is_in_view(opened, photograph, width, height) -> None:
    page = opened
    page.set_viewport_size({"width": width, "height": height})
    page.locator(".hear").last.click()
    page.wait_for_selector("dialog[open]")
    page.keyboard.press("Escape")
    until(page, "document.querySelector('#kept .card') !== null")
    photograph(page, f"library-{width}")
    found = page.locator("#found")
    assert found.evaluate("list => list.scrollWidth <= list.clientWidth")
    in_parts = "dates => dates.filter(one => one.getClientRects().length > 1).length"
    assert page.locator("#found .whole").evaluate_all(in_parts) == 0
    if width < 62 * 16:  # one below the other: the call stays above the list that is scrolled
        box = page.locator("#kept .card-title").bounding_box()
        assert box is not None
        assert 0 <= box["y"] < height / 2
    page.locator(".hear").last.focus()
    assert page.locator(".hear").last.evaluate(
        "one => { const box = one.getBoundingClientRect();"
        " return one.contains(document.elementFromPoint(box.x + 5, box.y + box.height / 2)); }"
    )


@pytest.mark.parametrize(("width", "height"), [(1366, 768), (683, 384), (360, 740)])
def test_the_row_that_was_pressed_stays_in_view(opened, width, height) -> None:
    """In a narrow window the chosen call comes above the list, which moves down for it."""
    page = opened
    page.set_viewport_size({"width": width, "height": height})
    page.locator(".hear").first.click()
    page.wait_for_selector("dialog[open]")
    page.keyboard.press("Escape")
    until(page, "document.querySelector('#kept .card') !== null")
    page.wait_for_timeout(100)
    assert page.locator(".hear").first.evaluate(
        "one => { const box = one.getBoundingClientRect();"
        " return box.bottom <= innerHeight + 1"
        " && one.contains(document.elementFromPoint(box.x + 5, box.y + box.height / 2)); }"
    )


@pytest.fixture
def ask(address):
    """Ask the library page's server."""
    parts = urlsplit(address)

    def ask(path: str, body: object = None, **headers: str) -> tuple[int, str]:
        connection = http.client.HTTPConnection(parts.hostname, parts.port, timeout=20)
        given = {"Content-Type": "application/json"} if body is not None else {}
        text = None if body is None else json.dumps(body)
        connection.request("GET" if body is None else "POST", path, text, given | headers)
        answer = connection.getresponse()
        told = answer.status, answer.read().decode("utf-8", "replace")
        connection.close()
        return told

    return ask


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/wrong/", 404),
        ("/a-token/kept/99999", 400),
        ("/a-token/kept/99999999999999999999999/sound.wav", 400),
        ("/a-token/kept/../../etc/passwd/sound.wav", 404),
        ("/a-token/static/..%2fguard.py", 404),
        ("/a-token/found?order=x", 400),
        ("/a-token/found?month=x", 400),
        ("/a-token/found?month=99", 400),
        ("/a-token/found?words=%22%27%3B--", 200),
    ],
)
def test_tricks_find_nothing(ask, path, status) -> None:
    told, text = ask(path)
    assert told == status
    assert "root:" not in text


def test_a_place_that_is_chosen_is_that_place_alone(ask) -> None:
    assert "data-key" not in ask("/a-token/found?place=Ashmere")[1]
    assert "16 kept calls" in ask("/a-token/found?place=Ashmere+%3Ci%3Enorth%3C/i%3E")[1]


@pytest.mark.parametrize(
    ("body", "sentence"),
    [
        ({"keys": [], "folder": "out"}, "no kept call was chosen"),
        ({"keys": ["1"], "folder": "out"}, "whole numbers"),
        ({"keys": [1], "folder": " "}, "name the folder"),
        ({"keys": [1], "folder": "a\0b"}, "name the folder"),
        ({"keys": [999], "folder": "out"}, "no kept call 999"),
        ({"keys": [1], "folder": "out", "loudness_lufs": "loud"}, "no number"),
        ({"keys": [1], "folder": "out", "loudness_lufs": 12}, "give LUFS"),
        ({"keys": list(range(501)), "folder": "out"}, "at a time"),
    ],
)
def test_bad_hand_outs_are_refused(ask, body, sentence, tmp_path, monkeypatch) -> None:
    monkeypatch.chdir(tmp_path)
    status, text = ask("/a-token/hand-out", body)
    assert status == 400
    assert sentence in json.loads(text)["problem"]
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("pairs", [None, 1, [1], [[1]], [["1", "a"]], [[1, 2]], [[2**63, "a"]]])
def test_picks_of_another_make_are_refused(ask, pairs) -> None:
    status, text = ask("/a-token/picked", {"picked": pairs})
    assert (status, json.loads(text)["problem"]) == (
        400,
        "what was picked is no list of keys and ids",
    )


def test_nothing_is_handed_out_into_the_library_or_for_another_page(ask, kept, tmp_path) -> None:
    with Catalogue(kept) as catalogue:
        key = find(catalogue, Query(limit=1)).kept[0].key
    status, text = ask("/a-token/hand-out", {"keys": [key], "folder": str(kept / "out")})
    assert status == 400
    assert "lies in the library" in text
    body = {"keys": [key], "folder": str(tmp_path / "out")}
    assert ask("/a-token/hand-out", body, Origin="http://ashmere.example")[0] == 403
    assert not (tmp_path / "out").exists()


def test_no_catalogue_leads_out_of_its_library(kept, served, tmp_path) -> None:
    library = tmp_path / "kept"
    with Catalogue(kept) as one, Catalogue(library, create=True) as other:
        other.put([("../secret.wav", find(one, Query(limit=1)).kept[0].story, 1, "")])
    address = served(library_app(library, target=tmp_path))
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(f"{address}kept/1/sound.wav", timeout=20)
    told = json.loads(refused.value.read())["problem"]
    refused.value.close()
    assert "secret.wav" in told
    assert "lies outside" in told
    assert told.endswith("`calltag library rebuild` makes the catalogue anew from the files")


def test_without_a_library_it_is_told_before_a_browser_opens(tmp_path) -> None:
    with pytest.raises(LibraryError, match="no call library here"):
        library_app(tmp_path / "none", target=tmp_path)
