"""`calltag keep`: calls cut into the call library."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace as changed
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calltag.cli._choose import CallFilter, Found, choose_takes, default_order, order_calls
from calltag.cli._library import LIBRARY, LibraryFolder, bar, library_folder
from calltag.cli._options import LOG_NAME, ByHand, LogFile, MinConfidence, MinSnr, Takes, Types
from calltag.cli._output import Column, end, print_table, say
from calltag.errors import InputError
from calltag.records import CALL, LIKELY
from calltag.words import CARE, counted, first_few, position

if TYPE_CHECKING:
    from calltag.library.catalogue import Catalogue
    from calltag.library.keep import KeepOptions, KeepReport, Wanted
    from calltag.log import Log
    from calltag.records import Call, Span, TakeLog

AT_SLACK_S = 0.25
"""How far from a call `--at` may point."""

_MOST_TOLD = 5


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("keep")(keep_command)


def keep_command(
    log: LogFile = LOG_NAME,
    library: LibraryFolder = LIBRARY,
    types: Types = None,
    takes: Takes = None,
    best: Annotated[
        int | None,
        typer.Option(
            min=1,
            metavar="N",
            help="Only the N that are worth most to the edit.",
            show_default=False,
        ),
    ] = None,
    at: Annotated[
        list[float] | None,
        typer.Option(
            "--at",
            metavar="SECONDS",
            help="The call at this second of --take, as `calltag calls` lists it. May be repeated.",
        ),
    ] = None,
    source: Annotated[
        Path | None,
        typer.Option(
            "--from",
            metavar="CALLS.csv",
            help="The calls of this table, which `calltag calls --as csv` wrote and you cut down "
            "to those you want.",
            show_default=False,
        ),
    ] = None,
    min_confidence: MinConfidence = LIKELY,
    min_snr: MinSnr = None,
    clean: Annotated[
        bool, typer.Option("--clean", help="Only calls without noise at the same time.")
    ] = False,
    by_hand: ByHand = False,
    once: Annotated[
        bool,
        typer.Option(
            "--once",
            help="Of a call that several cameras heard, only the best sound. Takes are lined up by "
            "`calltag sync`.",
        ),
    ] = False,
    handles: Annotated[
        float,
        typer.Option("--handles", min=0.0, metavar="SECONDS", help="Sound kept before and after."),
    ] = 1.0,
    flac: Annotated[
        bool,
        typer.Option(
            "--flac",
            help="Write FLAC, which loses nothing and takes half the room, in place of WAV.",
        ),
    ] = False,
    species: Annotated[
        str,
        typer.Option(
            metavar="NAME",
            help="The animal, as you write it. Without it, what stands before the colon of the "
            "call type.",
            show_default=False,
        ),
    ] = "",
    behaviour: Annotated[
        str, typer.Option(metavar="TEXT", help="What it did.", show_default=False)
    ] = "",
    sex: Annotated[str, typer.Option(metavar="TEXT", help="Its sex.", show_default=False)] = "",
    life_stage: Annotated[
        str, typer.Option(metavar="TEXT", help="Its age: adult, juvenile.", show_default=False)
    ] = "",
    place: Annotated[
        str, typer.Option(metavar="TEXT", help="Where it was.", show_default=False)
    ] = "",
    latitude: Annotated[
        float | None,
        typer.Option(
            min=-90,
            max=90,
            metavar="DEGREES",
            help="Where it was, in degrees north of the equator, below zero south of it (WGS 84).",
            show_default=False,
        ),
    ] = None,
    longitude: Annotated[
        float | None,
        typer.Option(
            min=-180,
            max=180,
            metavar="DEGREES",
            help="Where it was, in degrees east of Greenwich, below zero west of it.",
            show_default=False,
        ),
    ] = None,
    date: Annotated[
        str | None,
        typer.Option(
            metavar="DAY",
            help="Day of the recording, as 2026-04-18, for takes that do not state it.",
            show_default=False,
        ),
    ] = None,
    recordist: Annotated[
        str, typer.Option(metavar="NAME", help="Who recorded it.", show_default=False)
    ] = "",
    equipment: Annotated[
        str, typer.Option(metavar="TEXT", help="Camera and microphone.", show_default=False)
    ] = "",
    rights: Annotated[
        str,
        typer.Option(
            metavar="TEXT", help="Whose it is, and how it may be used.", show_default=False
        ),
    ] = "",
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="List what would be kept, and write nothing.")
    ] = False,
    replace: Annotated[
        bool,
        typer.Option(
            "--replace",
            help="Cut anew what is kept already; what you said of it then is kept where you say "
            "nothing else now.",
        ),
    ] = False,
) -> None:
    """Cut calls into your call library.

    Each becomes a file of 24 bit, at the take's own rate and with all its channels, nothing else
    done to it. It carries its own story: what, where, when, who, and how the name came to be. What
    is kept already is not kept twice. What holds for a whole shoot may stand in calltag.toml, as
    `place = "Ashmere"` below [keep]. Takes are only read, never changed.

    \b
    Examples:
      calltag keep --type "marsh hooter" --best 20 --place Ashmere --recordist "A. Keeper"
      calltag keep --take A007.MOV --at 12.4
    """
    from calltag.cli._log import read_takes
    from calltag.edit.marking import check_types
    from calltag.library.keep import KeepOptions
    from calltag.library.rebuild import refuse_lost_catalogue
    from calltag.library.story import Facts
    from calltag.log import Log
    from calltag.media.clock import common_rate

    if not (types or takes or best or by_hand or source):
        raise InputError(
            "say which calls to keep: --type, --take, --best, --by-hand, or --from with a table of "
            "calls"
        )
    wanted = CallFilter(
        types=types or (),
        min_confidence=min_confidence,
        min_snr_db=min_snr,
        noise=False if clean else None,
    )
    facts = Facts(
        species=species,
        behaviour=behaviour,
        sex=sex,
        life_stage=life_stage,
        place=place,
        latitude=latitude,
        longitude=longitude,
        date=_day(date),
        recordist=recordist,
        equipment=equipment,
        rights=rights,
    )
    with Log(log, create=False) as opened:
        every = list(read_takes(opened, features=True))
        check_types(every, types or ())
        chosen = list(choose_takes(every, takes or ()))
        if at:
            found = _at(chosen, at)
        elif source is not None:
            if min_confidence <= LIKELY:  # the table may name doubtful calls
                wanted = changed(wanted, min_confidence=0.0)
            found = _passing(_from_table(every, source, chosen), wanted, by_hand)
        else:
            found = _passing(((one, call) for one in chosen for call in one.calls), wanted, by_hand)
        if once:
            found = _once(found, opened)
        found = order_calls(found, default_order(best))[:best]
        calls = _with_stories(found, every, opened)
    rate = common_rate(one.take for one in every)
    options = KeepOptions(handles_s=handles, as_flac=flac, facts=facts, rate=rate, replace=replace)
    if not calls:
        raise InputError("no call in the log is of that kind; `calltag calls` lists them")
    folder = library_folder(library)
    refuse_lost_catalogue(folder)
    if dry_run:
        _list(folder, calls, options.replace)
        return
    _keep(folder, calls, options)


def _day(text: str | None) -> str | None:
    from datetime import date

    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise InputError(f"--date {text}: write the day as 2026-04-18") from None


def _at(chosen: Sequence[TakeLog], seconds: Sequence[float]) -> list[Found]:
    """The calls at some seconds of the one take that was named."""
    from calltag.learn.labels import is_call

    if len(chosen) != 1:
        several = ", ".join(one.take.path for one in chosen[:2]) + ", …" * (len(chosen) > 2)
        raise InputError(
            "--at counts the seconds of one take; name it with --take, in full where several are "
            f"called so (here {len(chosen)}: {several})"
        )
    (one,) = chosen
    calls = [call for call in one.calls if is_call(call.label)]
    found: list[Found] = []
    for at_s in seconds:
        call = min(calls, key=lambda call: (_away_s(call, at_s), call.span.length_s), default=None)
        if call is None or not _away_s(call, at_s) <= AT_SLACK_S:
            near = f"; the nearest is at {call.start_s:.2f} s" if call else ""
            raise InputError(f"{one.take.path}: no call was found at {at_s:g} s{near}")
        if all(other is not call for _, other in found):
            found.append((one, call))
    return found


def _away_s(call: Call, at_s: float) -> float:
    return max(call.start_s - at_s, at_s - call.end_s, 0.0)


def _passing(named: Iterable[Found], wanted: CallFilter, by_hand: bool) -> list[Found]:
    """Those that pass the filter and, if that is asked for, are labelled by hand."""
    return [
        (one, call) for one, call in named if wanted.passes(call) and (call.by_hand or not by_hand)
    ]


def _from_table(every: Sequence[TakeLog], source: Path, chosen: Sequence[TakeLog]) -> list[Found]:
    """The calls that the rows of a table name, of the takes that were chosen."""
    from calltag.learn.labels import is_call, known_take, read_labels
    from calltag.learn.sameness import ends_apart_s

    by_path = {one.take.path: one for one in every}
    paths = {one.take.path for one in chosen}
    found: dict[int, Found] = {}
    for row in read_labels(source, unnamed=True):
        one = by_path[known_take(row.take, by_path)]
        call = min(
            (call for call in one.calls if is_call(call.label) and _overlap(call.span, row.span)),
            key=lambda call: ends_apart_s(call.span, row.span),
            default=None,
        )
        if call is None:
            raise InputError(
                f"{source.name}: no call was found in {one.take.path} from {row.start_s:.2f} to "
                f"{row.end_s:.2f} s; label it first"
            )
        found[id(call)] = (one, call)
    return [(one, call) for one, call in found.values() if one.take.path in paths]


def _overlap(one: Span, other: Span) -> bool:
    """Whether two spans share enough of the shorter."""
    from calltag.learn.by_hand import common_s
    from calltag.learn.sameness import share_enough

    return common_s(one, other) > 0 and share_enough(one, other)


def _once(found: Sequence[Found], log: Log) -> list[Found]:
    from calltag.edit.seen_twice import merge_seen_twice

    by_take: dict[str, TakeLog] = {}
    for one, call in found:
        own = by_take.get(one.take.path) or changed(one, calls=())
        by_take[one.take.path] = changed(own, calls=(*own.calls, call))
    seen = merge_seen_twice(by_take.values(), log.alignments())
    return [(one.best.take_log, one.best.call) for one in seen]


def _with_stories(found: Sequence[Found], every: Sequence[TakeLog], log: Log) -> list[Wanted]:
    from calltag.library.keep import Wanted, heard_elsewhere

    entries = {entry.take.path: entry for entry in log.entries()}
    elsewhere = heard_elsewhere(every, log.alignments())
    return [
        Wanted(
            take=one.take,
            call=call,
            model=entries[one.take.path].model,
            feature_version=entries[one.take.path].feature_version,
            also_heard=elsewhere.get((one.take.path, call.span), ()),
        )
        for one, call in found
    ]


def _list(folder: Path, calls: Sequence[Wanted], replace: bool) -> None:
    """Say what would be kept."""
    from calltag.library.catalogue import NAME, Catalogue
    from calltag.library.keep import cuts_of

    known: list[Wanted] = []
    if (folder / NAME).is_file() and not replace:
        by_take: dict[str, list[Call]] = {}
        for one in calls:
            by_take.setdefault(one.take.digest, []).append(one.call)
        with Catalogue(folder) as catalogue:
            known = [c for c in calls if cuts_of(catalogue, c, by_take[c.take.digest])]
    new = [one for one in calls if all(one is not other for other in known)]
    if new:
        print_table(
            (
                Column("take", folds=True),
                Column("at", right=True),
                Column("length", right=True, rank=2),
                Column("call type", folds=True),
                Column("above background", right=True, rank=1),
            ),
            [
                [
                    one.take.path,
                    position(one.call.start_s),
                    f"{one.call.span.length_s:.2f} s",
                    one.call.label,
                    f"{one.call.snr_db:.0f} dB",
                ]
                for one in new
            ],
        )
    text = f"{counted(len(new), 'call')} would be kept in {folder}"
    say(f"{text}; {len(known)} more are kept already." if known else f"{text}.")


def _keep(folder: Path, calls: Sequence[Wanted], options: KeepOptions) -> None:
    from calltag.library.catalogue import NAME, Catalogue
    from calltag.library.keep import keep_calls

    begun = not (folder / NAME).is_file()
    with Catalogue(folder, create=True) as catalogue:
        if begun:
            say(f"A new call library begins in {folder}.")
        with bar("keeping") as told:
            report = keep_calls(catalogue, calls, options, told=lambda done: told(done, len(calls)))
        for line in _told(report, folder):
            say(line)
        for line in _same_moments(catalogue, report):
            say(line)
    if begun:
        say(CARE)
    end(report.problems, done=bool(report.kept or report.known))


def _told(report: KeepReport, folder: Path) -> Iterator[str]:
    kinds = Counter(kept.story.label for kept in report.kept)
    if kinds:
        named = ", ".join(f"{label} {number}" for label, number in kinds.most_common())
        yield f"{counted(len(report.kept), 'call')} kept in {folder}: {named}."
    else:
        yield "Nothing new was kept."
    if report.known:
        yield (
            f"{counted(len(report.known), 'call')} kept already, and left alone "
            "(--replace cuts anew)."
        )
    if renamed := _renamed(report):
        yield (
            f"Of those, {len(renamed)} named otherwise in the log now: {first_few(renamed, 3)}; "
            "--replace takes the new name over."
        )
    gone = [kept.path for _, kept in report.known if not kept.file.is_file()]
    if gone:
        yield (
            f"{counted(len(gone), 'file')} of those {'is' if len(gone) == 1 else 'are'} gone or "
            f"moved: {first_few(gone, 3)}. `calltag library rebuild` follows what was moved; what "
            "is gone can be kept again after it."
        )
    yield from report.notes
    for problem in report.problems:
        yield f"{problem.path}: {problem.reason}"


def _renamed(report: KeepReport) -> list[str]:
    """Ids of kept calls that the log names otherwise, with both names."""
    return [
        f"{kept.short_id} ({one.call.label}, kept as {kept.story.label})"
        for one, kept in report.known
        if one.call.label not in (kept.story.label, CALL)
    ]


def _same_moments(catalogue: Catalogue, report: KeepReport) -> Iterator[str]:
    from calltag.library.doubles import doubles_of, pairs

    doubles = doubles_of(catalogue, [kept.key for kept in report.kept])
    told = [
        f"  {kept.short_id} ({kept.story.take} at {position(kept.story.source_start_s)}) and "
        f"{double.short_id}: {double.why}"
        for kept, double in pairs(report.kept, doubles)
    ]
    if told:
        yield "There more than once now:"
        yield from told[:_MOST_TOLD]
        if len(told) > _MOST_TOLD:
            more = len(told) - _MOST_TOLD
            yield f"  and {more} more; `calltag library find --doubles` lists them"
