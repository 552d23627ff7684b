"""Choosing takes and calls from the log: the filters and orders of listings."""

from __future__ import annotations

import os
import re
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from difflib import get_close_matches
from enum import StrEnum
from fnmatch import translate
from functools import cache
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING

from calltag.cli._output import say
from calltag.errors import InputError
from calltag.paths import folded, is_link, is_one, is_there
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
    named = _Names(names)
    in_full: set[str] = set()
    fitting = []
    paths = []
    rushes_of: dict[str, set[str]] = defaultdict(set)
    for take_log in take_logs:
        rushes, path = take_log.take.rushes, take_log.take.path
        paths.append(path)
        file = named.file(rushes, path)
        whole = named.in_full(path, file)
        its = named.fitting(path) | named.at_place(file)
        of_root = named.fitting(_with_root(rushes, path))
        for name in named.roots(rushes):
            rushes_of[name].add(rushes)
        if its or of_root:
            fitting.append((take_log, its, of_root, whole))
        in_full |= whole
    by_root = set(names).difference(*(its for _, its, _, _ in fitting))
    if unseen := by_root.difference(*(of_root for _, _, of_root, _ in fitting)):
        name = min(unseen)
        own = _Names([name])
        for rushes, problem in unread:
            forms = (problem.path, _with_root(rushes, problem.path))
            if any(map(own.fitting, forms)) or own.at_place(own.file(rushes, problem.path)):
                raise InputError(problem.unread)
        raise no_such_take(name, paths)
    for name in sorted(by_root & rushes_of.keys()):
        if len(rushes_of[name]) > 1:
            _say_several(name, tuple(sorted(rushes_of[name])))
    for take_log, its, of_root, whole in fitting:
        if any(name not in in_full or name in whole for name in its | (of_root & by_root)):
            yield take_log


class _Names:
    """What was named, made ready so that each of many takes is asked of all at once."""

    def __init__(self, names: Collection[str]) -> None:
        self._plain: dict[str, set[str]] = defaultdict(set)
        self._patterns: list[tuple[str, str, re.Pattern[str]]] = []
        self._places: dict[str, set[tuple[str, str]]] = defaultdict(set)
        for name in names:
            plain = _plain(name)
            self._plain[plain].add(name)
            if "*" in plain:  # nothing else stands for anything
                literal = _BRACKET.sub("[\\g<0>]", plain)
                longest = max(plain.split("*"), key=len)  # quickly seen not to be in most paths
                self._patterns.append((name, longest, re.compile(translate(literal))))
            if is_there(Path(name)):
                place = os.path.realpath(name)
                self._places[folded(place)].add((name, place))
        self._real = cache(os.path.realpath)
        self._in_folder = cache(self._around)

    def file(self, rushes: str, path: str) -> Path | None:
        """A take's file without links; None where no name leads to a file or folder."""
        if not self._places:
            return None
        named = Path(rushes, path)
        file = Path(self._real(named.parent), named.name)  # a folder is looked up once
        return Path(os.path.realpath(file)) if is_link(file) else file

    def in_full(self, path: str, file: Path | None) -> set[str]:
        """Names that are the whole path of a take, in the log or on its disk."""
        return self._plain.get(_plain(path), set()) | self._at(file)

    def fitting(self, path: str) -> set[str]:
        """Names that are those of a take, of the end of its path, or of a folder that it is in."""
        path = folded(path)
        parts = path.split("/")
        ends = ["/".join(parts[i:]) for i in range(len(parts))]
        heads = ["/".join(parts[:i]) for i in range(1, len(parts))]
        found = set().union(*(self._plain.get(form, ()) for form in (*ends, *heads)))
        return found | {
            name
            for name, longest, pattern in self._patterns
            if longest in path and any(map(pattern.match, ends))
        }

    def at_place(self, file: Path | None) -> set[str]:
        """Names that lead to a take's file, or to a folder that it lies in."""
        return set() if file is None else self._at(file) | self._in_folder(file.parent)

    def roots(self, rushes: str) -> set[str]:
        """Names that are that of a rushes folder."""
        return self._plain.get(folded(Path(rushes).name), set())

    def _at(self, real: Path | None) -> set[str]:
        if real is None:
            return set()
        return {name for name, place in self._places.get(folded(real), ()) if is_one(real, place)}

    def _around(self, folder: Path) -> set[str]:
        above = folder.parent
        return self._at(folder) | (self._in_folder(above) if above != folder else set())


@cache
def _say_several(name: str, rushes: tuple[str, ...]) -> None:
    """Say, once, that a name is that of several rushes folders."""
    say(
        f"{name}: {len(rushes)} rushes folders are called so, and all are taken "
        f"({', '.join(rushes)}); name one in full for its takes alone"
    )


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


def _with_root(rushes: str, path: str) -> str:
    return f"{Path(rushes).name}/{path}"


def _plain(name: str) -> str:
    return folded(name).replace("\\", "/").rstrip("/")


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
