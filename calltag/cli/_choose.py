"""Choosing takes and calls from the log: the filters and orders of listings."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from difflib import get_close_matches
from enum import StrEnum
from fnmatch import fnmatchcase
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from calltag.errors import InputError
from calltag.paths import folded, is_one, is_there
from calltag.spelling import name_order

if TYPE_CHECKING:
    from calltag.records.found import Call, TakeLog
    from calltag.records.take import Problem


Found = tuple["TakeLog", "Call"]
"""A call and the take that it is in."""

_BRACKET = re.compile(r"[\[?]")


class CallOrder(StrEnum):
    """What calls may be ordered by."""

    START = "start"
    WORTH = "worth"
    CONFIDENCE = "confidence"
    SNR = "snr"
    LEVEL = "level"
    LENGTH = "length"


def choose_takes(
    take_logs: Iterable[TakeLog],
    names: Collection[str],
    unread: Iterable[tuple[str, Problem]] = (),
) -> Iterator[TakeLog]:
    """Yield the takes that are named: by path, file name, folder or a pattern with ``*``.

    A path may be that of the log or that of the file or folder itself. A path in full is that take,
    whichever others end so. What no take is called so may begin with the rushes folder's own name,
    which paths in the log leave out. A name that no take has is an `InputError`, told when all
    takes have been seen; of one in `unread`, the problems of the log, it says why it could not be
    read.
    """
    if not names:
        yield from take_logs
        return
    places = {name: os.path.realpath(name) for name in names if is_there(Path(name))}
    in_full: set[str] = set()
    fitting = []
    paths = []
    for take_log in take_logs:
        path = take_log.take.path
        paths.append(path)
        file = os.path.realpath(Path(take_log.take.rushes, path)) if places else ""
        whole = {
            name
            for name in names
            if _plain(path) == _plain(name) or (name in places and is_one(file, places[name]))
        }
        its = {name for name in names if _is_named(path, name) or _lies_at(file, name, places)}
        with_root = _with_root(take_log.take.rushes, path)
        of_root = {name for name in names if _is_named(with_root, name)}
        if its or of_root:
            fitting.append((take_log, its, of_root, whole))
        in_full |= whole
    by_root = set(names).difference(*(its for _, its, _, _ in fitting))
    if unseen := by_root.difference(*(of_root for _, _, of_root, _ in fitting)):
        name = min(unseen)
        for rushes, problem in unread:
            file = os.path.realpath(Path(rushes, problem.path)) if name in places else ""
            paths_of_it = (problem.path, _with_root(rushes, problem.path))
            if any(_is_named(path, name) for path in paths_of_it) or _lies_at(file, name, places):
                raise InputError(f"{problem.path}: could not be read: {problem.reason}")
        raise no_such_take(name, paths)
    for take_log, its, of_root, whole in fitting:
        if any(name not in in_full or name in whole for name in its | (of_root & by_root)):
            yield take_log


def no_such_take(
    name: str, paths: Sequence[str], what: str = "no such take in the log"
) -> InputError:
    """Make the error of a name that no take has; it says which one may be meant."""
    meant = " or ".join(_meant(name, paths)[:3])
    hint = f"did you mean {meant}? " if meant else ""
    return InputError(f"{name}: {what}; {hint}`calltag takes` lists the takes")


def _meant(name: str, paths: Sequence[str]) -> list[str]:
    """Takes that differ from a name in the suffix alone, or else the one that is nearest to it."""
    wanted = PurePosixPath(_plain(name))
    files = {path: PurePosixPath(_plain(path)) for path in paths}
    if alike := [path for path, file in files.items() if file.stem == wanted.stem]:
        return alike
    forms = {form: path for path, file in files.items() for form in (str(file), file.name)}
    return [forms[form] for form in get_close_matches(str(wanted), forms, n=1, cutoff=0.8)]


def _lies_at(file: str, name: str, places: Mapping[str, str]) -> bool:
    place = places.get(name)
    if place is None:
        return False
    return is_one(Path(*Path(file).parts[: len(Path(place).parts)]), place)


def _with_root(rushes: str, path: str) -> str:
    return f"{Path(rushes).name}/{path}"


def _plain(name: str) -> str:
    return folded(name).replace("\\", "/").rstrip("/")


def _is_named(path: str, name: str) -> bool:
    path, name = folded(path), _plain(name)
    literal = _BRACKET.sub("[\\g<0>]", name)  # only * stands for anything
    return path.startswith(f"{name}/") or any(
        fnmatchcase(path, pattern) for pattern in (literal, f"*/{literal}")
    )


def order_calls(calls: Iterable[Found], by: CallOrder) -> list[Found]:
    """Order calls: by take and start, or the highest value first."""
    in_order = sorted(calls, key=lambda found: (name_order(found[0].take.path), found[1].start_s))
    if by is CallOrder.START:
        return in_order
    value = _value_of(by)
    return sorted(in_order, key=lambda found: value(*found), reverse=True)


def default_order(best: int | None) -> CallOrder:
    """Order calls by take and start, but where only the best are wanted, by what they are worth."""
    return CallOrder.START if best is None else CallOrder.WORTH


def _value_of(by: CallOrder) -> Callable[[TakeLog, Call], float]:
    from calltag.edit.worth import worth

    return {
        CallOrder.WORTH: worth,
        CallOrder.CONFIDENCE: lambda _, call: call.sureness,
        CallOrder.SNR: lambda _, call: call.snr_db,
        CallOrder.LEVEL: lambda _, call: call.level_dbfs,
        CallOrder.LENGTH: lambda _, call: call.span.length_s,
    }[by]
