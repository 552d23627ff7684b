"""The one take that a command is for, and the new sound file that it writes."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from calltag.cli._choose import choose_takes
from calltag.errors import InputError
from calltag.overwriting import refuse_existing, refuse_footage

if TYPE_CHECKING:
    from calltag.records.found import TakeLog
    from calltag.records.take import Problem


def one_take(
    take_logs: Sequence[TakeLog], name: str, unread: Sequence[tuple[str, Problem]] = ()
) -> TakeLog:
    """Return the one take of a name, of copies one; several, or none, are an `InputError`."""
    from calltag.media.copies import without_copies

    chosen = list(choose_takes(take_logs, [name], unread))
    chosen = [one for one in chosen if one.take.path == name] or chosen
    chosen = without_copies(chosen)
    if len(chosen) > 1:
        names = ", ".join(one.take.path for one in chosen[:3])
        raise InputError(f"{name}: several takes are called so ({names}); name one of them in full")
    return chosen[0]


def sound_target(
    out: Path | None, default: str, take_logs: Sequence[TakeLog], *, replace: bool
) -> Path:
    """Return the wave file to write, or say why it cannot be: footage and its folder are safe."""
    target = out or Path(default)
    check_wave_name(target)
    takes = [one.take for one in take_logs]
    refuse_footage([target], [take.file for take in takes])
    there = target.resolve()
    for take in takes:
        if out is None and there.is_relative_to(Path(take.rushes).resolve()):
            raise InputError(
                f"{target}: this folder lies in the rushes, where nothing is written unasked; "
                "name a place with --out"
            )
    refuse_existing([target], replace=replace)
    return target


def check_wave_name(target: Path) -> None:
    """Make sure that a file of sound is called what it is."""
    if target.suffix.lower() != ".wav":
        raise InputError(f"{target}: the sound is written as a wave file; end its name in .wav")
