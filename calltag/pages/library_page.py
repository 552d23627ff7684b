"""The library page: kept calls looked through, listened to, and handed out to an edit."""

from __future__ import annotations

import calendar
from functools import partial
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from calltag.errors import CalltagError, ExistsError, InputError, MediaError
from calltag.library.catalogue.catalogue import Catalogue, Kept
from calltag.library.hand_out import hand_out, report_lines
from calltag.library.kept_file.story import call_of
from calltag.library.search.doubles import doubles_of
from calltag.library.search.find import Query, choices, find
from calltag.library.search.order import Order
from calltag.pages.excerpt import LOUDEST_LUFS, MOST_BOOST_DB, Excerpt, whole_excerpt
from calltag.pages.recent import Recent
from calltag.pages.rendering import render
from calltag.pages.responses import html, posted, static_file, told
from calltag.pages.shown_files import inside
from calltag.pages.spectrogram import Spectrogram, draw, shown_up_to_hz
from calltag.records.found import Call
from calltag.words import CARE, hertz

AT_ONCE = 50
"""Kept calls on a sheet."""

MOST_PICKED = 500
"""Kept calls that may be handed out at once."""

_REBUILD = "`calltag library rebuild` makes the catalogue anew from the files"

ORDERS = {
    Order.NEWEST: "newest first",
    Order.TYPE: "by type",
    Order.SNR: "clearest first",
    Order.LEVEL: "loudest first",
    Order.LENGTH: "longest first",
    Order.CONFIDENCE: "surest first",
}


def library_app(library: Path, *, target: Path) -> Starlette:
    """Make the library page's app; it has to stand behind a `calltag.pages.guard.Guard`.

    Parameters
    ----------
    library : Path
        The library's folder.
    target : Path
        The folder that the page proposes to hand out to.

    Returns
    -------
    Starlette
        The app.

    Raises
    ------
    LibraryError
        If the library cannot be used.
    """
    with Catalogue(library):
        pass  # an error is told before a browser is opened
    endpoints = _Endpoints(library, target)
    return Starlette(
        routes=[
            Route("/", endpoints.page),
            Route("/static/{name}", static_file),
            Route("/found", endpoints.found),
            Route("/kept/{key:int}", endpoints.card),
            Route("/kept/{key:int}/sound.wav", endpoints.sound),
            Route("/kept/{key:int}/picture.png", endpoints.picture),
            Route("/picked", posted(endpoints.picked), methods=["POST"]),
            Route("/hand-out", posted(endpoints.hand_out), methods=["POST"]),
        ],
        exception_handlers={CalltagError: told},
    )


class _Endpoints:
    """What each address of the page answers."""

    def __init__(self, library: Path, target: Path) -> None:
        self._library, self._target = library, target
        self._sounds: Recent[tuple[Excerpt, Spectrogram]] = Recent()

    def page(self, _: Request) -> Response:
        with Catalogue(self._library) as catalogue:
            there = choices(catalogue)
        return html(
            render(
                "library.html",
                library=self._library,
                target=self._target,
                there=there,
                months=[(month, calendar.month_name[month], n) for month, n in there.months],
                orders=ORDERS,
                care=CARE,
                loudest_lufs=LOUDEST_LUFS,
                most_boost_db=MOST_BOOST_DB,
            )
        )

    def found(self, request: Request) -> Response:
        query = _query(request)
        with Catalogue(self._library) as catalogue:
            found = find(catalogue, query)
            again = doubles_of(catalogue, [one.key for one in found.kept])
        return html(
            render("found.html", found=found, again=again, offset=query.offset, at_once=AT_ONCE)
        )

    def card(self, request: Request) -> Response:
        kept = self._kept(request)
        problem, picture = "", None
        try:
            _, picture = self._sound(kept)
        except MediaError as error:
            problem = str(error)
        band = ""
        if kept.story.low_hz and kept.story.high_hz:
            band = f"{hertz(kept.story.low_hz)} to {hertz(kept.story.high_hz)}"
        return html(
            render("kept.html", kept=kept, story=kept.story, picture=picture, problem=problem,
                   band=band, mark=_mark(kept))
        )  # fmt: skip

    def sound(self, request: Request) -> Response:
        excerpt, _ = self._sound(self._kept(request))
        return Response(excerpt.wav(), media_type="audio/wav")

    def picture(self, request: Request) -> Response:
        _, drawn = self._sound(self._kept(request))
        return Response(drawn.png, media_type="image/png")

    def picked(self, said: dict[str, Any]) -> dict[str, object]:
        """Of what was picked before, what is there still: a key may be that of another by now."""
        pairs = said.get("picked")
        if not isinstance(pairs, list) or not all(map(_is_pick, pairs)):
            raise InputError("what was picked is no list of keys and ids")
        with Catalogue(self._library) as catalogue:
            there = [pair for pair in pairs if catalogue.holds(*pair)]
        return {"picked": there}

    def hand_out(self, said: dict[str, Any]) -> dict[str, object]:
        keys = said.get("keys")
        if not isinstance(keys, list) or not all(type(key) is int for key in keys):
            raise InputError("keys are no list of whole numbers")
        if len(keys) > MOST_PICKED:
            raise InputError(f"{len(keys)} calls are picked; hand out {MOST_PICKED} at a time")
        folder = str(said.get("folder", "")).strip()
        if not folder or "\0" in folder:
            raise InputError("name the folder to copy to")
        loudness = said.get("loudness_lufs")
        if loudness is not None and type(loudness) not in (int, float):
            raise InputError("the loudness is no number")
        try:
            target = Path(folder).expanduser()
        except RuntimeError:
            raise InputError(f"{folder}: there is no such user; name the folder in full") from None
        with Catalogue(self._library) as catalogue:
            kept = [self._of_key(catalogue, key) for key in dict.fromkeys(keys)]
        try:
            report = hand_out(kept, target, library=self._library, loudness_lufs=loudness)
        except ExistsError as error:
            raise InputError(
                f"{error.path}: exists already, so nothing was copied; name another folder"
            ) from None
        return {"lines": [*report_lines(report, target.resolve(), loudness), CARE]}

    def _kept(self, request: Request) -> Kept:
        with Catalogue(self._library) as catalogue:
            return self._of_key(catalogue, request.path_params["key"])

    def _of_key(self, catalogue: Catalogue, key: int) -> Kept:
        kept = catalogue.kept_where("cuts.id = ?", [key]) if key < 2**63 else []
        if not kept:
            raise InputError(f"there is no kept call {key}; load the page again")
        inside(self._library, kept[0].path, mend=_REBUILD)
        return kept[0]

    def _sound(self, kept: Kept) -> tuple[Excerpt, Spectrogram]:
        return self._sounds.get((kept.key, kept.file_hash), partial(_cut_and_drawn, kept))


def _is_pick(pair: object) -> bool:
    return isinstance(pair, list) and [*map(type, pair)] == [int, str] and pair[0] < 2**63


def _cut_and_drawn(kept: Kept) -> tuple[Excerpt, Spectrogram]:
    excerpt = whole_excerpt(kept.file)
    top_hz = shown_up_to_hz(kept.story.high_hz)
    return excerpt, draw(excerpt.raw, width=800, height=220, high_hz=top_hz)


def _mark(kept: Kept) -> list[Call]:
    """The call in its file, as pictures mark it."""
    story = kept.story
    return [] if story.low_hz is None or story.high_hz is None else [call_of(story)]


def _query(request: Request) -> Query:
    asked = request.query_params
    try:
        order = Order(asked.get("order") or Order.NEWEST)
        months = [int(asked["month"])] if asked.get("month") else []
        offset = max(0, min(int(asked.get("offset") or 0), 10**9))
    except ValueError:
        raise InputError("a month, a number or an order in the question is none") from None
    noise = {"clean": False, "noise": True}.get(asked.get("noise", ""))
    return Query(
        words=asked.get("words", ""),
        types=[asked["type"]] if asked.get("type") else [],
        place=asked.get("place", ""),
        whole=True,
        months=months,
        noise=noise,
        by_hand=True if asked.get("hand") else None,
        order=order,
        limit=AT_ONCE,
        offset=offset,
    )
