"""A small server for one page on this computer, until Ctrl-C."""

from __future__ import annotations

import logging
import socket
import webbrowser
from collections.abc import Callable

from starlette.types import ASGIApp

from calltag.errors import InputError, reason_of
from calltag.pages.guard import Guard, new_token

_HOST = "127.0.0.1"


def serve(app: ASGIApp, *, open_browser: bool, tell: Callable[[str, bool], None]) -> None:
    """Serve an app on this computer alone until the user ends it with Ctrl-C.

    Parameters
    ----------
    app : ASGIApp
        The app; it is put behind a `Guard`.
    open_browser : bool
        Whether to open the page in the browser.
    tell : callable
        Told the page's address, and whether a browser was opened, when the server answers.

    Raises
    ------
    InputError
        If no port can be opened.
    """
    import uvicorn

    try:
        listening = socket.create_server((_HOST, 0))
    except OSError as error:
        reason = reason_of(error)
        raise InputError(
            f"no port can be opened on this computer ({reason}); close other programs and try again"
        ) from None
    with listening:
        port, token = listening.getsockname()[1], new_token()
        address = f"http://{_HOST}:{port}/{token}/"
        # The socket listens already: a browser that is faster than the server waits for it.
        tell(address, open_browser and _opened(address))
        config = uvicorn.Config(
            Guard(app, token=token, port=port),
            log_config=None,
            access_log=False,
            server_header=False,
            lifespan="off",
            ws="none",
            timeout_graceful_shutdown=2,
        )
        logging.getLogger("asyncio").addFilter(_worth_telling)
        try:
            uvicorn.Server(config).run(sockets=[listening])
        except KeyboardInterrupt:
            return


def _worth_telling(record: logging.LogRecord) -> bool:
    """False of a browser that dropped its connection: on Windows each has a traceback."""
    return not (record.exc_info and isinstance(record.exc_info[1], ConnectionResetError))


def _opened(address: str) -> bool:
    try:
        browser = webbrowser.get()
        # One that runs in the terminal would take the terminal, and show nothing of the page.
        return type(browser) is not webbrowser.GenericBrowser and browser.open(address)
    except webbrowser.Error:
        return False
