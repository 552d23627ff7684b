"""How the pages' servers answer: static files, JSON in and out, errors as one sentence."""

from __future__ import annotations

import json
from collections.abc import Awaitable, Callable
from pathlib import PurePosixPath
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response

from calltag.errors import InputError
from calltag.pages.rendering import STATIC_TYPES, static_names, static_text


def html(text: str) -> Response:
    """Answer with a page, or part of one.

    Parameters
    ----------
    text : str
        Rendered by `calltag.pages.rendering`.

    Returns
    -------
    Response
        The answer.
    """
    return Response(text, media_type="text/html")


def static_file(request: Request) -> Response:
    """Answer with a file of ``static/``.

    Parameters
    ----------
    request : Request
        Its path parameter ``name`` is the file's name.

    Returns
    -------
    Response
        The file; 404 for any name that is not one of ours.
    """
    name = request.path_params["name"]
    if name not in static_names():
        return PlainTextResponse("There is nothing here.\n", 404)
    return Response(static_text(name), media_type=STATIC_TYPES[PurePosixPath(name).suffix])


def posted(
    act: Callable[[dict[str, Any]], dict[str, object]],
) -> Callable[[Request], Awaitable[Response]]:
    """Make an endpoint that is given a JSON object and answers with one.

    Parameters
    ----------
    act : callable
        Does what is asked, in a thread of its own.

    Returns
    -------
    callable
        The endpoint.
    """

    async def _endpoint(request: Request) -> Response:
        if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return JSONResponse({"problem": "this is no JSON"}, 415)
        try:
            said = json.loads(await request.body())
        except ValueError:
            said = None
        if not isinstance(said, dict):
            return JSONResponse({"problem": "this is no JSON object"}, 400)
        return JSONResponse(await run_in_threadpool(act, said))

    return _endpoint


def told(request: Request, error: Exception) -> Response:
    """Tell an error that is worded for the user.

    Parameters
    ----------
    request : Request
        What was asked.
    error : CalltagError
        The error.

    Returns
    -------
    Response
        JSON with the sentence as ``problem``.
    """
    del request
    status = 400 if isinstance(error, InputError) else 409
    return JSONResponse({"problem": str(error)}, status)
