"""Teaching while the page goes on: in a thread of its own, one at a time."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from calltag.errors import CalltagError
from calltag.log import Log
from calltag.naming import teach_log

_logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """How far teaching is.

    Attributes
    ----------
    running : bool
        Whether it goes on.
    step : str
        What is being done, in a few words.
    seconds : float
        How long it has taken so far, or took.
    report : str
        What was learnt; empty until it is done.
    problem : str
        Why nothing was learnt; empty unless so.
    times : int
        How often teaching has ended well.
    """

    running: bool = False
    step: str = ""
    seconds: float = 0.0
    report: str = ""
    problem: str = ""
    times: int = 0


class Teaching:
    """Teaches from a log in the background.

    Parameters
    ----------
    log : Path
        The log.
    model : Path
        Where to store what was learnt.
    done : callable
        Called in the teaching thread when it has ended well.
    """

    def __init__(self, log: Path, model: Path, done: Callable[[], None]) -> None:
        self._log, self._model, self._done = log, model, done
        self._lock = threading.Lock()
        self._state = State()
        self._begun = 0.0

    @property
    def state(self) -> State:
        """How far it is."""
        with self._lock:
            return self._now()

    def begin(self) -> State:
        """Begin to teach, unless that is being done.

        Returns
        -------
        State
            How far it is.
        """
        with self._lock:
            if not self._state.running:
                self._begun = time.monotonic()
                self._state = State(running=True, step="beginning", times=self._state.times)
                # A daemon: Ctrl-C does not wait for it. What it writes, it writes whole.
                threading.Thread(target=self._teach, name="teaching", daemon=True).start()
            return self._now()

    def _now(self) -> State:
        state = self._state
        if not state.running:
            return state
        return State(
            running=True,
            step=state.step,
            seconds=time.monotonic() - self._begun,
            times=state.times,
        )

    def _tell(self, step: str) -> None:
        with self._lock:
            self._state = State(running=True, step=step, times=self._state.times)

    def _teach(self) -> None:
        report = problem = ""
        try:
            with Log(self._log, create=False) as log:
                learnt, notes = teach_log(log, self._model, tell=self._tell)
            report = "\n\n".join([learnt.text(), *notes])
            self._done()
        except CalltagError as error:
            problem = str(error)
        except Exception:  # a defect of ours must not leave the page waiting
            _logger.exception("teaching")
            problem = "teaching broke off; `calltag teach` in a terminal tells more"
        with self._lock:
            self._state = State(
                step="done",
                seconds=time.monotonic() - self._begun,
                report=report,
                problem=problem,
                times=self._state.times + (not problem),
            )
