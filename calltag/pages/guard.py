"""Who may talk to the server: the browser that was given the address, and nobody else.

The server listens on this computer alone, but other programs, and web pages open in the same
browser, can reach it there. So the address holds a random token; the Host header has to name the
server's own address, against names that are made to point here (DNS rebinding); and a request that
says it comes from another origin is refused. Pages are told to load nothing from elsewhere.

References
----------
.. [1] A. Barth, RFC 6454, "The Web Origin Concept", 2011.
.. [2] W3C, "Content Security Policy Level 3"; "Fetch Metadata Request Headers".
"""

from __future__ import annotations

import secrets
from http import HTTPStatus

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BYTES = 65_536
"""A request's body may be no longer."""

SECURITY_HEADERS = {
    "content-security-policy": "; ".join(
        (
            "default-src 'none'",
            "script-src 'self'",
            "style-src 'self'",
            "img-src 'self' data:",
            "connect-src 'self'",
            "base-uri 'none'",
            "form-action 'none'",
            "frame-ancestors 'none'",
        )
    ),
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}
"""What every answer says."""


def new_token() -> str:
    """Make a token that cannot be guessed.

    Returns
    -------
    str
        43 letters, digits, ``-`` and ``_``: 256 random bits.
    """
    return secrets.token_urlsafe(32)


class Guard:
    """Lets requests through to an app that carry the token and come from its own pages.

    The app sees paths without the token.

    Parameters
    ----------
    app : ASGIApp
        What is guarded.
    token : str
        The first part of every path.
    port : int
        The port that the server listens on.
    """

    def __init__(self, app: ASGIApp, *, token: str, port: int) -> None:
        self._app = app
        self._token = token.encode()
        self._hosts = frozenset((f"127.0.0.1:{port}", f"localhost:{port}"))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return

        async def send_safely(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(SECURITY_HEADERS)
            await send(message)

        refusal = self._refusal(Headers(scope=scope))
        token, slash, rest = scope["path"].removeprefix("/").partition("/")
        if refusal is None and not (
            slash and secrets.compare_digest(token.encode("utf-8", "replace"), self._token)
        ):
            refusal = HTTPStatus.NOT_FOUND, "There is nothing here. Use the address as printed."
        if refusal is not None:
            status, sentence = refusal
            await PlainTextResponse(sentence + "\n", status)(scope, receive, send_safely)
            return
        path = f"/{rest}"
        await self._app(
            {**scope, "path": path, "raw_path": path.encode("utf-8", "replace")},
            receive,
            send_safely,
        )

    def _refusal(self, headers: Headers) -> tuple[HTTPStatus, str] | None:
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self._hosts:
            return HTTPStatus.MISDIRECTED_REQUEST, "This server goes by another name."
        origin = headers.get("origin")
        if origin is not None and origin.removeprefix("http://") not in self._hosts:
            return HTTPStatus.FORBIDDEN, "This request comes from another page."
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            return HTTPStatus.FORBIDDEN, "This request comes from another page."
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > MOST_BYTES or "transfer-encoding" in headers:
            return HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "That is more than a page would send."
        return None
