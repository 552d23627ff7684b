"""How far a run is: a bar on a terminal, now and then a line elsewhere."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import TracebackType
from typing import TYPE_CHECKING, Self

from calltag.cli._output import say
from calltag.words import counted, duration

if TYPE_CHECKING:
    from rich.progress import Progress as Bar

    from calltag.intake import Progress

FEW = 3
"""Takes to be done before the time left is told."""

SETTLED_S = 10.0
"""How long a run goes on before the time left is told: at first, the workers only start."""

LITTLE = 50
"""Where more than so many times what is done is still to go, too little is known to tell."""

FEW_STEPS = 12
"""So few steps are begun without a word, where there is no terminal."""

QUIET_S = 5.0
"""Least time between two lines where there is no terminal."""


class _OnTerminal:
    """Has a bar, once there is something to show on a terminal, until it is left."""

    def __init__(self) -> None:
        self._bar: Bar | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._bar is not None:
            self._bar.stop()


class Teller(_OnTerminal):
    """Tells the user how far a run is; give its `tell` to the run as listener."""

    def __init__(self) -> None:
        super().__init__()
        self._begun = time.monotonic()
        self._said = -QUIET_S

    def tell(self, progress: Progress) -> None:
        """Tell what a listener hears."""
        if progress.total == 0:
            return
        parts = [
            f"{progress.done} of {counted(progress.total, 'take')}",
            f"{duration(progress.sound_s)} of sound" if progress.sound_s is not None else "",
            self._left(progress),
        ]
        text = ", ".join(part for part in parts if part)
        if sys.stderr.isatty():
            self._bar = self._bar or _started_bar()
            self._bar.update(self._bar.task_ids[0], completed=progress.share, description=text)
        elif self._is_time(progress):
            say(text)

    def tell_counted(self, done: int, total: int) -> None:
        """Tell how many takes are done, where one takes as long as another."""
        from calltag.intake import Progress

        to_go = (total - done) / done if done else None
        self.tell(Progress(done=done, total=total, share=done / total, sound_s=None, to_go=to_go))

    def _is_time(self, progress: Progress) -> bool:
        now = time.monotonic()
        due = now - self._said >= QUIET_S or progress.done == progress.total
        if due:
            self._said = now
        return due

    def _left(self, progress: Progress) -> str:
        spent_s = time.monotonic() - self._begun
        to_go = progress.to_go
        if not FEW <= progress.done < progress.total or spent_s < SETTLED_S:
            return ""
        return "" if to_go is None or to_go > LITTLE else f"about {duration(spent_s * to_go)} left"


def _started_bar() -> Bar:
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    bar = Progress(
        BarColumn(bar_width=None),
        TextColumn("{task.description}", markup=False),
        console=Console(stderr=True),
        expand=True,
    )
    bar.add_task("", total=1.0)
    bar.start()
    return bar


class Stages(_OnTerminal):
    """Tells how far a run of several stages is, and how long each still takes.

    Of stages that are not steady, much may be spared later. Steps take as long as their takes are,
    so even then no more than about how long is said.
    """

    def __init__(self, *, steady: bool = True) -> None:
        super().__init__()
        self._steady = steady
        self._what = ""
        self._begun = self._said = 0.0

    def tell(self, what: str, done: int, of: int) -> None:
        """Tell how many of how many are done of a stage; one that begins is told at once."""
        now = time.monotonic()
        begins = what != self._what
        if begins:
            self._what, self._begun = what, now
            self._said = now - QUIET_S if of > FEW_STEPS else now
        if sys.stderr.isatty():
            self._show(what, done, of, begins=begins)
        elif now - self._said >= QUIET_S and done < of:
            self._said = now
            say(f"{what}: {done} of {of}{self._left(now, done, of)}")

    def _left(self, now: float, done: int, of: int) -> str:
        spent_s = now - self._begun
        if done < FEW or spent_s < QUIET_S:
            return ""
        left = duration(max(1.0, spent_s / done * (of - done)))
        return f", about {left} left" + ("" if self._steady else ", or less")

    def _show(self, what: str, done: int, of: int, *, begins: bool) -> None:
        if self._bar is None:
            self._bar = _counting_bar()
            self._bar.add_task("", total=None)
            self._bar.start()
        task = self._bar.task_ids[0]
        if begins:
            self._bar.reset(task, description=what, total=of)
        self._bar.update(task, completed=done, total=of)


def _counting_bar() -> Bar:
    from rich.console import Console
    from rich.progress import MofNCompleteColumn, Progress

    columns = (*Progress.get_default_columns(), MofNCompleteColumn())
    return Progress(*columns, console=Console(stderr=True), transient=True)


@contextmanager
def bar(what: str) -> Iterator[Callable[[int, int], None]]:
    """Show how far it is; yields what is to be told how many of how many are done.

    Where there is no terminal, a line says so now and then, for who has to wait.
    """
    if not sys.stderr.isatty():
        said = time.monotonic()

        def tell(done: int, of: int) -> None:
            nonlocal said
            if (now := time.monotonic()) - said >= QUIET_S and done < of:
                said = now
                say(f"{what}: {done} of {of}")

        yield tell
        return
    with _counting_bar() as shown:
        task = shown.add_task(what, total=None)
        yield lambda done, of: shown.update(task, completed=done, total=of)
