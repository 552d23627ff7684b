"""Which takes `calltag sync` is to line up, and what is known of each."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from calltag.cli._choose import choose_takes, no_such_take
from calltag.errors import InputError, MediaError
from calltag.paths import is_file
from calltag.records.found import TakeLog
from calltag.records.take import Take

if TYPE_CHECKING:
    from calltag.edit.sync.lining_up import Source


def sources_of(names: Sequence[str], known: Sequence[Take]) -> Iterator[list[Source]]:
    """Yield the takes of each name, each once; of copies in folders, the first."""
    from calltag.edit.sync.lining_up import Source

    logged = {take.file.resolve(): take.path for take in known}
    names_of_log = set(logged.values())
    contents = {take.file.resolve(): take.digest for take in known}
    seen: set[Path | str] = set()
    for name in names:
        file = Path(name)
        files = [file.resolve()] if is_file(file) else _named(name, known)
        if len(files) == 1 and files[0] in seen:
            raise InputError(f"{name}: named twice; name two takes of the same moment")
        of_name = []
        for path in files:
            content = contents.get(path)
            if path not in seen and (len(files) == 1 or content not in seen):
                seen |= {path, content or path}
                # another file of a logged take's name, as cameras give them, is not that take
                unlogged = str(path) if path.name in names_of_log else path.name
                of_name.append(Source(logged.get(path, unlogged), path))
        yield of_name


def _named(name: str, known: Sequence[Take]) -> list[Path]:
    try:
        chosen = [one.take for one in choose_takes((TakeLog(take=take) for take in known), [name])]
    except InputError:
        paths = [take.path for take in known]
        if not paths:
            raise InputError(
                f"{name}: there is no such file, and no take in a log here; write its whole path"
            ) from None
        raise no_such_take(name, paths, "neither a file nor a take of the log") from None
    exact = [take for take in chosen if take.path == name]
    return [take.file.resolve() for take in exact or chosen]


def take_of(by_name: Mapping[str, Take], source: Source) -> Take:
    """Tell what is known of a take, by the log or its file."""
    from calltag.media import probe

    take = by_name.get(source.name)
    if take is not None:
        return take
    return probe.take_of(probe.probe(source.path), path=source.path.as_posix())


def clock_s(by_name: Mapping[str, Take], source: Source) -> tuple[float, float]:
    """Tell at what time of day a take begins, and how long that day is."""
    from calltag.media.timing.clock import day_s, time_of_day_s

    take = take_of(by_name, source)
    found = time_of_day_s(take)
    if found is None:
        raise MediaError(source.path, "has no timecode; say with --around where to look")
    return found, day_s(take)
