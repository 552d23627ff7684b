"""The log as it is read and written.

What goes in and comes out are the records of `calltag.records`. Each take is written in one
transaction, so that a run that is killed leaves whole takes behind.
"""

from __future__ import annotations

from pathlib import Path

from calltag.database import BUSY_TIMEOUT_S, Database, Kind, refuse_locked
from calltag.errors import LogError
from calltag.log.alignments import AlignmentQueries
from calltag.log.call_types import CallTypeQueries
from calltag.log.labels import LabelQueries
from calltag.log.schema import APPLICATION_ID, MIGRATIONS
from calltag.log.takes import ProblemQueries, TakeQueries
from calltag.paths import is_file

_KIND = Kind(
    name="log",
    error=LogError,
    application_id=APPLICATION_ID,
    elsewhere="name the log with --log",
    mend="log the rushes again into a new one",
)


class Log(TakeQueries, ProblemQueries, LabelQueries, CallTypeQueries, AlignmentQueries):
    """The log of a shoot, open for reading and writing; a context manager.

    Takes are named by `Take.path`, which no two takes of a log share.

    Parameters
    ----------
    path : Path
        The SQLite file.
    create : bool
        Whether to begin a new log where there is none.
    busy_timeout_s : float
        How long to wait for another process that is writing.

    Raises
    ------
    LogError
        If there is no file and `create` is false, or if the file is no log, is damaged, cannot be
        opened, or was written by a newer version of calltag.

    Examples
    --------
    >>> import tempfile
    >>> from calltag.records.found import TakeLog
    >>> from calltag.records.take import Take
    >>> folder = tempfile.TemporaryDirectory()
    >>> take = Take(
    ...     path="gauge/A001.mov", rushes="/ashmere", digest="d1", size_bytes=9, duration_s=4.0
    ... )
    >>> with Log(Path(folder.name) / "calltag.db") as log:
    ...     _ = log.put(TakeLog(take=take), feature_version=1)
    ...     [t.path for t in log.takes()]
    ['gauge/A001.mov']
    >>> folder.cleanup()
    """

    def __init__(
        self, path: Path, *, create: bool = True, busy_timeout_s: float = BUSY_TIMEOUT_S
    ) -> None:
        self.path = path
        if not create and not is_file(path):
            refuse_locked(path, _KIND)
            raise LogError(
                f"{path}: there is no log here; make one with `calltag log RUSHES`, or go to the "
                "folder that you made it in, or name it with --log"
            )
        self._database = Database(path, _KIND, MIGRATIONS, busy_timeout_s=busy_timeout_s)

    def check_writable(self) -> None:
        """Make sure that the log can be written, before the work that goes into it.

        Raises
        ------
        LogError
            If it cannot.
        """
        self._database.check_writable()
