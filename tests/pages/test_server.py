from __future__ import annotations

import asyncio
import re
import socket
import threading
import urllib.request
import webbrowser

import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from calltag.errors import InputError
from calltag.pages.server import serve


@pytest.fixture
def app() -> Starlette:
    return Starlette(routes=[Route("/", lambda _: PlainTextResponse("here"))])


class _Asking:
    """Takes what the server tells, asks for the page from another thread, then presses Ctrl-C."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        import uvicorn

        self.told: list[tuple[str, bool]] = []
        self.answers: list[bytes] = []
        run = uvicorn.Server.run

        def run_until_asked(server, sockets=None):
            def ask():
                with urllib.request.urlopen(self.told[0][0], timeout=10) as answer:
                    self.answers.append(answer.read())
                server.should_exit = True

            threading.Thread(target=ask).start()
            run(server, sockets)
            raise KeyboardInterrupt  # as uvicorn has it, once all is closed

        monkeypatch.setattr(uvicorn.Server, "run", run_until_asked)

    def tell(self, address: str, opened: bool) -> None:
        self.told.append((address, opened))


def test_an_app_is_served_at_a_secret_address_of_this_computer(app, monkeypatch) -> None:
    asking = _Asking(monkeypatch)
    serve(app, open_browser=False, tell=asking.tell)
    ((address, opened),) = asking.told
    assert re.fullmatch(r"http://127\.0\.0\.1:\d+/[\w-]{43}/", address)
    assert not opened
    assert asking.answers == [b"here"]


@pytest.mark.parametrize(
    ("browser", "opens"),
    [
        (webbrowser.BackgroundBrowser("true"), True),
        (webbrowser.GenericBrowser("true"), False),  # one that would run in the terminal
        (None, False),
    ],
)
def test_a_browser_is_opened_where_there_is_one(app, monkeypatch, browser, opens) -> None:
    seen: list[str] = []

    def get():
        if browser is None:
            raise webbrowser.Error("none")
        monkeypatch.setattr(browser, "open", lambda address: seen.append(address) or True)
        return browser

    monkeypatch.setattr(webbrowser, "get", get)
    asking = _Asking(monkeypatch)
    serve(app, open_browser=True, tell=asking.tell)
    assert asking.told[0][1] is opens
    assert seen == ([asking.told[0][0]] if opens else [])


def test_without_a_port_one_sentence_is_told(app, monkeypatch) -> None:
    def refused(*_args, **_kwargs):
        raise OSError(98, "Address already in use")

    monkeypatch.setattr(socket, "create_server", refused)
    with pytest.raises(InputError, match="no port can be opened"):
        serve(app, open_browser=False, tell=lambda *_: None)


def test_a_browser_that_drops_its_connection_is_not_told(monkeypatch, caplog) -> None:
    """On Windows the event loop has a traceback for each; other things it has to say are told."""

    async def here(_request: object) -> PlainTextResponse:
        for error in (ConnectionResetError(10054, "closed by the remote host"), ValueError("odd")):
            context = {"message": f"of {type(error).__name__}", "exception": error}
            asyncio.get_running_loop().call_exception_handler(context)
        return PlainTextResponse("here")

    asking = _Asking(monkeypatch)
    serve(Starlette(routes=[Route("/", here)]), open_browser=False, tell=asking.tell)
    assert [record.message for record in caplog.records if record.name == "asyncio"] == [
        "of ValueError"
    ]
