"""The sheet: the whole shoot on one page, to look through, to listen to and to print.

One file that needs nothing else, or, for big shoots, a folder with the page and what it shows. The
page runs the script it was written with and no other, loads nothing from a network, and everything
that comes from files or labels is escaped.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path, PureWindowsPath

from markupsafe import Markup

from calltag.errors import InputError
from calltag.learn.labels.vocabulary import is_call
from calltag.log import Log
from calltag.media.copies import each_once
from calltag.media.timing.clock import common_rate
from calltag.media.timing.timecode import Rate
from calltag.own_files import SHEET_INDEX, SHEET_MARK
from calltag.pages.rendering import render, static_text
from calltag.pages.sheet.media import CallMedia, Job, TakeMedia, failed, gather
from calltag.pages.sheet.overview import overview, tally
from calltag.pages.sheet.place import Store, refuse_place, write_file, write_folder
from calltag.pages.sheet.view import CallView, TakeView, call_view, take_view
from calltag.records.found import Call, TakeLog
from calltag.records.take import Problem
from calltag.takes.picture.looking import with_pictures
from calltag.takes.verdict import GRADES, judge
from calltag.workers import work_through

MUCH_BYTES = 60_000_000
"""A single file larger than this opens slowly."""

_DIED = "the program that read it crashed over it, twice; leave it out with --take"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetOptions:
    """How a sheet is made.

    Attributes
    ----------
    folder : bool
        Whether it is a folder, in which the page lies as `SHEET_INDEX`, instead of one file.
    replace : bool
        Whether an existing one may be replaced.
    look : bool
        Whether pictures are measured where they have not been.
    best : int or None
        Only the best calls of each take, by sound and picture, so many at most; None for all.
    workers : int or None
        Processes to work in; `calltag.workers.default_workers` unless given.
    """

    folder: bool = False
    replace: bool = False
    look: bool = True
    best: int | None = None
    workers: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetReport:
    """What came of it.

    Attributes
    ----------
    page : Path
        The page.
    takes, calls : int
        What is on it.
    size_bytes : int
        Its size, with all that belongs to it.
    problems : tuple of Problem
        What could not be read.
    """

    page: Path
    takes: int
    calls: int
    size_bytes: int
    problems: tuple[Problem, ...]


def write_sheet(
    out: Path,
    take_logs: Sequence[TakeLog],
    *,
    log: Log,
    shown: Callable[[Call], bool],
    unread: Iterable[Problem] = (),
    options: SheetOptions | None = None,
    listener: Callable[[int, int], None] | None = None,
) -> SheetReport:
    """Write the sheet of a shoot.

    Parameters
    ----------
    out : Path
        The file, or the folder.
    take_logs : sequence of TakeLog
        The takes, in the order of the sheet; of copies one is shown, and names the others.
    log : Log
        Where they are from; what is measured of pictures is stored there.
    shown : callable
        Tells which calls are shown.
    unread : iterable of Problem
        Takes that could not be logged; they are named at the end.
    options : SheetOptions, optional
        How it is made.
    listener : callable, optional
        Is told how many takes are done, of how many.

    Returns
    -------
    SheetReport
        What came of it. A take whose file cannot be read is on the sheet without picture and sound.

    Raises
    ------
    InputError
        If there is nothing to show, or the sheet cannot be written.
    LogError
        If the log cannot be written.
    """
    options = options or SheetOptions()
    if not take_logs:
        raise InputError(f"{out}: no takes to put on a sheet; `calltag takes` lists them")
    out = out if out.name else out.absolute()  # "." has no name to put one beside
    refuse_place(out, folder=options.folder, replace=options.replace)
    copies = each_once(take_logs)
    take_logs = [one for one in take_logs if one.take.path in copies]
    jobs = [
        Job(
            take_log=replace(one, calls=tuple(filter(shown, one.calls))),
            look=options.look,
            best=options.best,
        )
        for one in take_logs
    ]
    media = _gathered(jobs, log, options.workers, listener)
    page = partial(_page, take_logs, copies, media, unread, log)
    size_bytes = (write_folder if options.folder else write_file)(out, page)
    problems = [
        Problem(path=job.take_log.take.path, reason=reason)
        for job, one in zip(jobs, media, strict=True)
        for reason in one.problems
    ]
    return SheetReport(
        page=out / SHEET_INDEX if options.folder else out,
        takes=len(jobs),
        calls=sum(len(one.shown) for one in media),
        size_bytes=size_bytes,
        problems=tuple(problems),
    )


def _gathered(
    jobs: Sequence[Job],
    log: Log,
    workers: int | None,
    listener: Callable[[int, int], None] | None,
) -> list[TakeMedia]:
    media: dict[int, TakeMedia] = {}
    if listener is not None:
        listener(0, len(jobs))
    with closing(work_through(gather, jobs, workers=workers)) as work:
        for end in work:
            job = jobs[end.index]
            one = end.result or failed(job, _DIED)
            if one.pictures:
                log.put_pictures(job.take_log.take.path, one.pictures)
            media[end.index] = one
            if listener is not None:
                listener(len(media), len(jobs))
    return [media[index] for index in range(len(jobs))]


def _page(
    take_logs: Sequence[TakeLog],
    copies: Mapping[str, tuple[str, ...]],
    media: Sequence[TakeMedia],
    unread: Iterable[Problem],
    log: Log,
    store: Store,
) -> str:
    views = _views(take_logs, copies, media, common_rate(log.takes()), store)
    style = static_text("paper.css") + static_text("sheet.css")
    script = static_text("sheet.js")
    return render(
        "sheet.html",
        mark=Markup(SHEET_MARK),
        policy=_policy(style, script, store.sources),
        style=Markup(style),
        script=Markup(script),
        takes=views,
        grades=GRADES,
        over=overview(views),
        tally=tally(views),
        log=log.path.name,
        rushes=sorted(
            {PureWindowsPath(one.take.rushes).name or one.take.rushes for one in take_logs}
        ),
        written=datetime.now().astimezone().strftime("%Y-%m-%d %H:%M"),
        unread=list(unread),
    )


def _views(
    take_logs: Sequence[TakeLog],
    copies: Mapping[str, tuple[str, ...]],
    media: Sequence[TakeMedia],
    rate: Rate,
    store: Store,
) -> list[TakeView]:
    """Put takes and calls into words, and what is seen and heard of them where the page has it."""
    views: list[TakeView] = []
    n_calls = 0
    for number, (one, found) in enumerate(zip(take_logs, media, strict=True), 1):
        seen = with_pictures(one, found.pictures)
        calls = []
        for call, its in zip(found.shown, found.calls, strict=True):
            n_calls += 1
            view = call_view(seen, call, number=n_calls, rate=rate)
            calls.append(view if its is None else _with_media(view, its, store))
        still = found.still_jpeg
        views.append(
            replace(
                take_view(seen, judge(seen), number=number, rate=rate, calls=calls),
                left_out=sum(is_call(call.label) for call in one.calls) - len(calls),
                still_url="" if still is None else store.put(f"take{number:04}.jpg", still),
                still_s=found.still_s,
                problems=found.problems,
                copies=copies[one.take.path],
            )
        )
    return views


def _with_media(view: CallView, media: CallMedia, store: Store) -> CallView:
    name = f"call{view.number:05}"
    return replace(
        view,
        # The picture is in its own file or address by now.
        picture=replace(media.picture, png=b""),
        picture_url=store.put(f"{name}.png", media.picture.png),
        sound_url=store.put(f"{name}.mp3", media.mp3),
        gain_db=media.gain_db,
    )


def _policy(style: str, script: str, sources: str) -> str:
    """What a browser may do with the page: nothing but what it was written with."""
    return "; ".join(
        (
            "default-src 'none'",
            f"script-src '{_hash(script)}'",
            f"style-src '{_hash(style)}'",
            f"img-src {sources}",
            f"media-src {sources}",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"
