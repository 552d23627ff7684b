"""What comes of the work on clips, written into the log as it comes, and how far that is."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from calltag.errors import NameTakenError
from calltag.log import Log
from calltag.plan import Job, Plan, longer_name
from calltag.records.found import TakeLog
from calltag.records.take import Problem, Take


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """How far a run is.

    Attributes
    ----------
    done, total : int
        Takes.
    sound_s : float or None
        Sound that was analysed so far; None where that is not what the run is for.
    share : float
        Share of the work that is done, by size of the files; from 0 to 1.
    to_go : float or None
        Work that is still to go, in proportion to what is done; None while too little is known.
    """

    done: int
    total: int
    sound_s: float | None = 0.0
    share: float = 0.0
    to_go: float | None = None


class _ToGo:
    """Reckons how much sound is still to go.

    How long a take is shows only when it is read. Until then it is taken to be as long as its size
    makes it, by what a second weighs in the takes of its sort that are done.
    """

    def __init__(self, jobs: Iterable[Job]) -> None:
        self._waiting_bytes: Counter[str] = Counter()
        self._done_bytes: Counter[str] = Counter()
        self._done_s: dict[str, float] = defaultdict(float)
        for job in jobs:
            self._waiting_bytes[_sort(job)] += job.size_bytes

    def ended(self, job: Job, take: Take | None) -> None:
        """Count a take that is done; None where it could not be read."""
        self._waiting_bytes[_sort(job)] -= job.size_bytes
        if take is not None:
            self._done_bytes[_sort(job)] += job.size_bytes
            self._done_s[_sort(job)] += take.duration_s if take.has_sound else 0.0

    def in_proportion(self) -> float | None:
        """Sound still to go for each second that is done; None while a sort of takes is unknown."""
        waiting = +self._waiting_bytes
        done_s = sum(self._done_s.values())
        if not done_s or any(not self._done_bytes[sort] for sort in waiting):
            return None
        to_go_s = sum(
            size * self._done_s[sort] / self._done_bytes[sort] for sort, size in waiting.items()
        )
        return to_go_s / done_s


def _sort(job: Job) -> str:
    return job.file.suffix.lower()


class Intake:
    """Writes results into the log as they come, and keeps count.

    Parameters
    ----------
    plan : Plan
        What the run is to do.
    log : Log
        Where results go.
    feature_version : int
        Version of the features that are measured.
    listener : callable or None
        Is told, by `tell`, how far the run is.

    Attributes
    ----------
    analysed, copied : int
        Takes that were analysed, and files that share what was found in another.
    sound_s : float
        Sound that was analysed.
    silent : list of str
        Takes without sound.
    problems : list of Problem
        Takes that could not be read.
    replaced : list of tuple of str
        Names that went to another recording, and those that what was there is kept under.
    """

    def __init__(
        self,
        plan: Plan,
        log: Log,
        feature_version: int,
        listener: Callable[[Progress], None] | None,
    ) -> None:
        self._plan = plan
        self._log = log
        self._feature_version = feature_version
        self._listener = listener
        self._total = sum(len(same) for same in plan.jobs)
        self._size = sum(job.size_bytes for same in plan.jobs for job in same)
        self._size_done = 0
        self._to_go = _ToGo([same[0] for same in plan.jobs])
        self._ended = 0
        self.analysed = 0
        self.copied = 0
        self.sound_s = 0.0
        self.silent: list[str] = []
        self.problems = [problem for _, problem in plan.problems]
        self.replaced = [(old, name) for old, (_, name) in plan.replaced.items()]

    def take(self, same: Sequence[Job], outcome: TakeLog | str) -> None:
        """Write down the end of the work on a clip, and on others of the same content.

        Parameters
        ----------
        same : sequence of Job
            The clips, of which the first was analysed.
        outcome : TakeLog or str
            What was found, or why it could not be read.
        """
        if isinstance(outcome, str):
            self._to_go.ended(same[0], None)
            self._note(same, outcome)
        else:
            self._to_go.ended(same[0], outcome.take)
            self._store(same, outcome)
        self._ended += len(same)
        self._size_done += sum(job.size_bytes for job in same)
        self.tell()

    def _note(self, same: Sequence[Job], reason: str) -> None:
        for job in same:
            problem = Problem(path=job.path, reason=reason)
            self._log.put_problem(job.rushes, problem)
            self.problems.append(problem)

    def _store(self, same: Sequence[Job], found: TakeLog) -> None:
        for is_copy, job in enumerate(same):
            take = self._put(found, job)  # may break off, and what is stored by then counts
            if is_copy:
                self.copied += 1
            else:
                self.analysed += 1
                self.sound_s += take.duration_s if take.has_sound else 0.0
            if not take.has_sound:
                self.silent.append(take.path)

    def copies(self) -> None:
        """Give files with the content of a known take what the log has of it."""
        for path, job in self._plan.copies:
            known = self._log.take_log(path, features=True)
            found = tuple(call for call in known.calls if not call.by_hand)
            self._put(replace(known, calls=found), job)
            self.copied += 1

    def _put(self, found: TakeLog, job: Job) -> Take:
        """Store what was found under the clip's name, a longer one if another run took that."""
        take = replace(found.take, path=job.path, rushes=job.rushes)
        try:
            earlier = self._log.put(
                replace(found, take=take), feature_version=self._feature_version
            )
        except NameTakenError:
            longer = longer_name(job.file, job.path)
            if longer is None:
                raise
            rushes, path = longer
            return self._put(found, replace(job, rushes=rushes, path=path))
        if earlier is not None:
            self.replaced.append((take.path, earlier))
        return take

    def tell(self) -> None:
        """Tell the listener, if there is one, how far the run is."""
        if self._listener is None:
            return
        self._listener(
            Progress(
                done=self._ended,
                total=self._total,
                sound_s=self.sound_s,
                share=self._size_done / self._size if self._size else 1.0,
                to_go=self._to_go.in_proportion(),
            )
        )
