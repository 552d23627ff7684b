"""The listening page: one sound at a time, to be labelled by ear.

The page asks for the numbers of the sounds to go through, then for each sound's card, picture,
sound and still, and posts what the user says. Cards are rendered here, from the same parts as all
pages. Nothing in a request is ever taken for a path.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from calltag.errors import CalltagError, InputError, MediaError
from calltag.media.timing.clock import take_clock
from calltag.pages.excerpt import LOUDEST_LUFS, MOST_BOOST_DB
from calltag.pages.listening.heard import Heard
from calltag.pages.listening.order import Order, Show
from calltag.pages.listening.session import Session
from calltag.pages.rendering import render
from calltag.pages.responses import html, posted, static_file, told
from calltag.records.label import NO_CALL, NOISE_KINDS
from calltag.records.span import Span
from calltag.words import hertz

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
    endpoints = _Endpoints(session, order)
    return Starlette(
        routes=[
            Route("/", endpoints.page),
            Route("/static/{name}", static_file),
            Route("/queue", endpoints.queue),
            Route("/sound/{number:int}", endpoints.card),
            Route("/sound/{number:int}/sound.wav", endpoints.sound),
            Route("/sound/{number:int}/picture.png", endpoints.picture),
            Route("/sound/{number:int}/still.jpg", endpoints.still),
            Route("/answer", posted(endpoints.answer), methods=["POST"]),
            Route("/removal", posted(endpoints.take_away), methods=["POST"]),
            Route("/undo", posted(endpoints.undo), methods=["POST"]),
            Route("/teach", posted(endpoints.teach), methods=["POST"]),
            Route("/teach", endpoints.taught),
        ],
        exception_handlers={CalltagError: told},
    )


class _Endpoints:
    """What each address of the page answers."""

    def __init__(self, session: Session, order: Order) -> None:
        self._session, self._order = session, order

    def page(self, _: Request) -> Response:
        return html(
            render(
                "listening.html",
                log="/".join(self._session.log_path.resolve().parts[-2:]),
                orders=ORDERS,
                shown=SHOWN,
                order=self._order,
                noise_keys=[(kind, NOISE_KEYS[kind]) for kind in NOISE_KINDS],
                no_call=NO_CALL,
                loudest_lufs=LOUDEST_LUFS,
                most_boost_db=MOST_BOOST_DB,
            )
        )

    def queue(self, request: Request) -> Response:
        order = _one_of(Order, request.query_params.get("order", self._order))
        show = _one_of(Show, request.query_params.get("show", Show.OPEN))
        if request.query_params.get("reload"):
            self._session.reload()
        return JSONResponse(
            {"numbers": self._session.numbers(order, show), **_standing(self._session)}
        )

    def card(self, request: Request) -> Response:
        return html(_card(self._session, self._heard(request)))

    def sound(self, request: Request) -> Response:
        excerpt, _ = self._session.shelf.sound(self._heard(request))
        return Response(excerpt.wav(), media_type="audio/wav")

    def picture(self, request: Request) -> Response:
        _, drawn = self._session.shelf.sound(self._heard(request))
        return Response(drawn.png, media_type="image/png")

    def still(self, request: Request) -> Response:
        jpeg = self._session.shelf.still(self._heard(request))
        if jpeg is None:
            return PlainTextResponse("This take has no picture.\n", 404)
        return Response(jpeg, media_type="image/jpeg")

    def answer(self, said: dict[str, Any]) -> dict[str, object]:
        saved = self._session.answer(
            _number(said, "number"),
            str(said.get("label", "")),
            Span(_seconds(said, "start_s"), _seconds(said, "end_s")),
        )
        return {"answer": saved.answer, "label": saved.label, **_standing(self._session)}

    def take_away(self, said: dict[str, Any]) -> dict[str, object]:
        given = self._session.take_away(_number(said, "number"))
        return {"answer": given, **_standing(self._session)}

    def undo(self, said: dict[str, Any]) -> dict[str, object]:
        heard = self._session.undo(_number(said, "answer"))
        return {"number": heard.number, **_standing(self._session)}

    def teach(self, _: dict[str, Any]) -> dict[str, object]:
        return asdict(self._session.teaching.begin())

    def taught(self, _: Request) -> Response:
        return JSONResponse(asdict(self._session.teaching.state))

    def _heard(self, request: Request) -> Heard:
        return self._session.heard(request.path_params["number"])


def _card(session: Session, heard: Heard) -> str:
    problem, picture, gain_db = "", None, 0.0
    try:
        excerpt, picture = session.shelf.sound(heard)
        gain_db = excerpt.gain_db
    except MediaError as error:
        problem = str(error)
    clock = take_clock(heard.take, session.sounds.rate)
    label = heard.label
    edges = heard.call.span if label is None else label.span
    beyond = picture is not None and (
        edges.start_s < picture.start_s - 0.001
        or edges.end_s > max(picture.end_s, heard.call.end_s) + 0.001
    )
    if beyond or session.shares_label(heard):
        edges = heard.call.span  # the label was drawn loosely; an answer is of this sound alone
    return render(
        "card.html",
        heard=heard,
        call=heard.call,
        take=heard.take,
        timecode=clock.label(clock.frames(*heard.call.span)[0]),
        band=f"{hertz(heard.call.low_hz)} to {hertz(heard.call.high_hz)}",
        guess=heard.guess,
        label=label.label if label else "",
        edges=edges,
        picture=picture,
        gain_db=gain_db,
        problem=problem,
    )


def _standing(session: Session) -> dict[str, object]:
    sounds = session.sounds
    said = Counter(one.label is not None for one in sounds.by_number.values())
    return {
        "open": said[False],
        "labels": sounds.n_labels,
        "known": sounds.known,
        "taught": session.model.is_file(),
    }


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
