"""The listening page: one sound at a time, to be labelled by ear.

The page asks for the numbers of the sounds to go through, then for each sound's card, picture,
sound and still, and posts what the user says. Cards are rendered here, from the same parts as all
pages. Nothing in a request is ever taken for a path.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Awaitable, Callable
from dataclasses import asdict
from pathlib import PurePosixPath
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from calltag.edit.clock import take_clock
from calltag.errors import CalltagError, InputError, MediaError
from calltag.learn.labels import is_call_type, noise_kind
from calltag.pages.excerpt import LOUDEST_LUFS, MOST_BOOST_DB
from calltag.pages.heard import Heard, Order, Show
from calltag.pages.rendering import STATIC_TYPES, render, static_names, static_text
from calltag.pages.session import Session
from calltag.records import CALL, NO_CALL, NOISE_KINDS, Span
from calltag.takes.words import hertz

NOISE_KEYS = {"machine": "M", "wind": "W", "water": "A", "voice": "V", "handling": "H"}
"""Keys of the noise kinds; with Shift a detail may be added."""

ORDERS = {
    Order.USEFUL: "most useful to label first",
    Order.TYPE: "by type",
    Order.TAKE: "by take",
    Order.TIME: "by time of day",
}
SHOWN = {Show.OPEN: "not labelled yet", Show.LABELLED: "labelled", Show.ALL: "all"}


def listening_app(session: Session, *, order: Order = Order.USEFUL) -> Starlette:
    """Make the listening page's app; it has to stand behind a `calltag.pages.guard.Guard`.

    Parameters
    ----------
    session : Session
        What the page is about.
    order : Order
        The order to begin with.

    Returns
    -------
    Starlette
        The app.
    """

    def page(_: Request) -> Response:
        return _html(
            render(
                "listening.html",
                log=session.log_path.resolve(),
                orders=ORDERS,
                shown=SHOWN,
                order=order,
                noise_keys=[(kind, NOISE_KEYS[kind]) for kind in NOISE_KINDS],
                no_call=NO_CALL,
                loudest_lufs=LOUDEST_LUFS,
                most_boost_db=MOST_BOOST_DB,
            )
        )

    def queue(request: Request) -> Response:
        by = _one_of(Order, request.query_params.get("order", order))
        show = _one_of(Show, request.query_params.get("show", Show.OPEN))
        if request.query_params.get("reload"):
            session.reload()
        return JSONResponse({"numbers": session.numbers(by, show), **_standing(session)})

    def card(request: Request) -> Response:
        heard = session.heard(request.path_params["number"])
        return _html(_card(session, heard))

    def sound(request: Request) -> Response:
        excerpt, _ = session.shelf.sound(session.heard(request.path_params["number"]))
        return Response(excerpt.wav(), media_type="audio/wav")

    def picture(request: Request) -> Response:
        _, drawn = session.shelf.sound(session.heard(request.path_params["number"]))
        return Response(drawn.png, media_type="image/png")

    def still(request: Request) -> Response:
        jpeg = session.shelf.still(session.heard(request.path_params["number"]))
        if jpeg is None:
            return PlainTextResponse("This take has no picture.\n", 404)
        return Response(jpeg, media_type="image/jpeg")

    def answer(said: dict[str, Any]) -> dict[str, object]:
        saved = session.answer(
            _number(said, "number"),
            str(said.get("label", "")),
            Span(_seconds(said, "start_s"), _seconds(said, "end_s")),
        )
        label = saved.heard.label.label if saved.heard.label else str(said.get("label", ""))
        return {"answer": saved.answer, "label": label, **_standing(session)}

    def undo(said: dict[str, Any]) -> dict[str, object]:
        return {"number": session.undo(_number(said, "answer")).number, **_standing(session)}

    def teach(_: dict[str, Any]) -> dict[str, object]:
        return asdict(session.teaching.begin())

    def taught(_: Request) -> Response:
        return JSONResponse(asdict(session.teaching.state))

    return Starlette(
        routes=[
            Route("/", page),
            Route("/static/{name}", static_file),
            Route("/queue", queue),
            Route("/sound/{number:int}", card),
            Route("/sound/{number:int}/sound.wav", sound),
            Route("/sound/{number:int}/picture.png", picture),
            Route("/sound/{number:int}/still.jpg", still),
            Route("/answer", posted(answer), methods=["POST"]),
            Route("/undo", posted(undo), methods=["POST"]),
            Route("/teach", posted(teach), methods=["POST"]),
            Route("/teach", taught),
        ],
        exception_handlers={CalltagError: told},
    )


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

    async def endpoint(request: Request) -> Response:
        if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return JSONResponse({"problem": "this is no JSON"}, 415)
        try:
            said = json.loads(await request.body())
        except ValueError:
            said = None
        if not isinstance(said, dict):
            return JSONResponse({"problem": "this is no JSON object"}, 400)
        return JSONResponse(await run_in_threadpool(act, said))

    return endpoint


def told(_: Request, error: Exception) -> Response:
    """Tell an error that is worded for the user.

    Parameters
    ----------
    error : CalltagError
        The error.

    Returns
    -------
    Response
        JSON with the sentence as ``problem``.
    """
    status = 400 if isinstance(error, InputError) else 409
    return JSONResponse({"problem": str(error)}, status)


def _card(session: Session, heard: Heard) -> str:
    problem, picture, gain_db = "", None, 0.0
    try:
        excerpt, picture = session.shelf.sound(heard)
        gain_db = excerpt.gain_db
    except MediaError as error:
        problem = str(error)
    guess = heard.call.label
    clock = take_clock(heard.take, session.hearing.rate)
    label = heard.label
    edges = heard.call.span if label is None else label.span
    if picture is not None and (
        edges.start_s < picture.start_s - 0.001 or edges.end_s > picture.end_s + 0.001
    ):
        edges = heard.call.span  # a loose label reaches beyond what is shown
    return render(
        "card.html",
        heard=heard,
        call=heard.call,
        take=heard.take,
        timecode=clock.label(clock.frames(*heard.call.span)[0]),
        band=f"{hertz(heard.call.low_hz)} to {hertz(heard.call.high_hz)}",
        guess="" if guess == CALL or heard.call.by_hand else guess,
        kind="noise" if noise_kind(guess) else "call type" if is_call_type(guess) else "",
        label=label.label if label else "",
        edges=edges,
        picture=picture,
        gain_db=gain_db,
        problem=problem,
    )


def _standing(session: Session) -> dict[str, object]:
    hearing = session.hearing
    said = Counter(one.label is not None for one in hearing.by_number.values())
    return {
        "open": said[False],
        "labels": hearing.n_labels,
        "known": hearing.known,
        "taught": session.model.is_file(),
    }


def _html(text: str) -> Response:
    return Response(text, media_type="text/html")


def _one_of(kind: type[Order] | type[Show], value: str) -> Any:
    try:
        return kind(value)
    except ValueError:
        raise InputError(f"`{value[:40]}` is none of {', '.join(kind)}") from None


def _number(said: dict[str, Any], name: str) -> int:
    value = said.get(name)
    if not isinstance(value, int) or isinstance(value, bool):
        raise InputError(f"{name} is no whole number")
    return value


def _seconds(said: dict[str, Any], name: str) -> float:
    value = said.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise InputError(f"{name} is no number of seconds")
    return float(value)
