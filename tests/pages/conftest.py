"""A small log of the demo's clips, a server for its pages, and a browser to drive them."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.types import ASGIApp

from calltag.pages.guard import Guard
from calltag.run import log_rushes

DEMO = Path(__file__).resolve().parents[2] / "demo_audio"
CLIPS = ("ASH_A_0031.MP4", "ASH_A_0032.MP4", "ASH_A_0034.MP4", "ASH_A_0037.MP4")
HOSTILE = "card1/<img src=x onerror=alert(1)> & \"'.MP4"
TOKEN = "a-token"


@pytest.fixture(scope="session")
def logged(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with some of the demo's clips and their log; one clip has a hostile name."""
    folder = tmp_path_factory.mktemp("ashmere")
    rushes = folder / "rushes"
    (rushes / "card1").mkdir(parents=True)
    for name in CLIPS[:-1]:
        shutil.copy(DEMO / name, rushes / name)
    shutil.copy(DEMO / CLIPS[-1], rushes / HOSTILE)
    log_rushes([rushes], folder / "calltag.db", workers=1)
    return folder


@pytest.fixture
def log_path(logged: Path, tmp_path: Path) -> Path:
    """A fresh copy of that log; the clips are where they were."""
    return Path(shutil.copy(logged / "calltag.db", tmp_path / "calltag.db"))


@pytest.fixture
def served() -> Iterator[Callable[[ASGIApp], str]]:
    """Serve an app behind the guard, in a thread, and return the page's address."""
    import uvicorn

    running = []

    def serve(app: ASGIApp) -> str:
        listening = socket.create_server(("127.0.0.1", 0))
        port = listening.getsockname()[1]
        server = uvicorn.Server(
            uvicorn.Config(
                Guard(app, token=TOKEN, port=port),
                log_config=None,
                lifespan="off",
                ws="none",
                timeout_graceful_shutdown=1,
            )
        )
        thread = threading.Thread(target=server.run, args=([listening],))
        thread.start()
        running.append((server, thread, listening))
        while not server.started:
            time.sleep(0.01)
        return f"http://127.0.0.1:{port}/{TOKEN}/"

    yield serve
    for server, thread, listening in running:
        server.should_exit = True
        thread.join(10)
        listening.close()


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """Debian's Chromium; without it the test is skipped. Its loop must not outlive the module."""
    playwright = pytest.importorskip("playwright.sync_api", reason="no playwright")
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no browser: install Debian's chromium to run this test")
    with playwright.sync_playwright() as session:
        chromium = session.chromium.launch(
            executable_path=path,
            args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
        )
        yield chromium
        chromium.close()


@pytest.fixture
def page(browser: Any) -> Iterator[Any]:
    """A page; whatever it complains of fails the test."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    page = context.new_page()
    page.set_default_timeout(15_000)
    complaints: list[str] = []
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("dialog", lambda dialog: (complaints.append(dialog.message), dialog.dismiss()))
    page.on(
        "console",
        lambda said: complaints.append(said.text) if "Content Security" in said.text else None,
    )
    yield page
    context.close()
    assert complaints == []


@pytest.fixture
def photograph() -> Callable[[Any, str], None]:
    """Keep a picture of a page in the folder that CALLTAG_SCREENSHOTS names, if it names one."""

    def photograph(page: Any, name: str) -> None:
        folder = os.environ.get("CALLTAG_SCREENSHOTS")
        if folder:
            Path(folder).mkdir(parents=True, exist_ok=True)
            page.screenshot(path=Path(folder, f"{name}.png"), full_page=True)

    return photograph


@pytest.fixture
def accessible() -> Callable[[Any], None]:
    """Hold a page to the rules of WCAG 2.2 A and AA that axe-core can check."""
    axe = pytest.importorskip("axe_playwright_python", reason="no axe-playwright-python")
    rules = Path(axe.__file__).with_name("axe.min.js").read_text("utf-8")

    def accessible(page: Any) -> None:
        page.evaluate(rules)  # not as a script of the page, which its policy would refuse
        found = page.evaluate(
            "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa',"
            " 'best-practice']})"
        )
        broken = [
            (one["id"], [node["html"][:120] for node in one["nodes"]])
            for one in found["violations"]
        ]
        assert broken == []
        assert len(found["passes"]) > 10

    return accessible


def until(page: Any, condition: str, within_s: float = 15) -> None:
    """Wait for a condition, from outside: the page's policy lets nothing be evaluated within."""
    end = time.monotonic() + within_s
    while not page.evaluate(condition):
        assert time.monotonic() < end, condition
        page.wait_for_timeout(10)
