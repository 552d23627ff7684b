"""Pages served until Ctrl-C, for the commands that open one."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from calltag.cli._output import say

if TYPE_CHECKING:
    from starlette.types import ASGIApp


def serve_page(app: ASGIApp, name: str, *, browser: bool, kept: str = "") -> None:
    """Serve a page on this computer until the user ends it; its address goes to stdout."""
    from calltag.pages.server import serve

    def tell(address: str, opened: bool) -> None:
        say(f"{name} is open in your browser:" if opened else "Open in your browser:")
        typer.echo(address)
        say(f"Ctrl-C ends it.{kept}")

    serve(app, open_browser=browser, tell=tell)
