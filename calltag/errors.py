"""Errors that reach the user as one sentence.

Every error raised for a reason outside the program derives from `CalltagError`. Its text is one
clear sentence: it names the file or the option, says why, and says what to do. `calltag.cli` prints
that sentence and nothing else; a traceback means a defect of ours.
"""

from __future__ import annotations

from pathlib import Path

_GONE_ON_WINDOWS = frozenset((21, 123))  # the drive is not ready; no file there can have the name
_DENIED_ON_WINDOWS = 5


def reason_of(error: OSError) -> str:
    """Say why the system could not do something.

    Parameters
    ----------
    error : OSError
        What it raised.

    Returns
    -------
    str
        Its words in small letters, to stand in a sentence.

    Examples
    --------
    >>> reason_of(OSError(28, "No space left on device", "A001.wav"))
    'no space left on device'
    """
    return (error.strerror or str(error) or type(error).__name__).lower()


def says_gone(error: OSError) -> bool:
    """Tell whether the system could not do something because there is no such file.

    Parameters
    ----------
    error : OSError
        What it raised.

    Returns
    -------
    bool
        Whether there is none; of a drive of Windows without a card in it, too.
    """
    gone = isinstance(error, FileNotFoundError | NotADirectoryError)
    return gone or getattr(error, "winerror", None) in _GONE_ON_WINDOWS


def may_be_open(error: OSError) -> bool:
    """Tell whether a file could not be replaced because another program may have it open.

    Parameters
    ----------
    error : OSError
        What the system raised.

    Returns
    -------
    bool
        Whether Windows said no more than that access is denied.
    """
    return getattr(error, "winerror", None) == _DENIED_ON_WINDOWS


class CalltagError(Exception):
    """Base of every error whose text is written for the user."""


class InputError(CalltagError, ValueError):
    """An argument, a label file or a setting that cannot be used as it is."""


class ExistsError(InputError):
    """A file that would be written, exists, and may not be replaced.

    Parameters
    ----------
    path : Path
        The file.
    reason : str
        What to do.
    """

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(f"{path}: {reason}")
        self.path = path
        self.reason = reason

    def __reduce__(self) -> tuple[type[ExistsError], tuple[Path, str]]:
        """Pickle by the arguments, so that a worker process can hand it back."""
        return type(self), (self.path, self.reason)


class OutputError(CalltagError):
    """Standard output or error that cannot be written.

    Parameters
    ----------
    reason : str
        Why it cannot be.
    """

    def __init__(self, reason: str) -> None:
        super().__init__(f"the output cannot be written ({reason}); send it to another place")
        self.reason = reason

    def __reduce__(self) -> tuple[type[OutputError], tuple[str]]:
        """Pickle by the arguments, so that a worker process can hand it back."""
        return type(self), (self.reason,)


class MediaError(CalltagError, OSError):
    """A file that cannot be read as a take.

    Parameters
    ----------
    path : Path
        The file.
    reason : str
        Why it cannot be read and what to do about it, without the file's name.
    take : str, optional
        What the log calls it, where it is one of several takes: cameras use file names again.
    """

    def __init__(self, path: Path, reason: str, take: str | None = None) -> None:
        super().__init__(f"{take or path.name}: {reason}")
        self.path = path
        self.reason = reason
        self.take = take

    def __reduce__(self) -> tuple[type[MediaError], tuple[Path, str, str | None]]:
        """Pickle by the arguments, so that a worker process can hand it back."""
        return type(self), (self.path, self.reason, self.take)


class WriteError(InputError):
    """A file that cannot be written.

    Parameters
    ----------
    path : Path
        The file.
    reason : str
        Why it cannot be written.
    """

    def __init__(self, path: Path, reason: str) -> None:
        super().__init__(f"{path}: cannot be written ({reason}); name another place")
        self.path = path
        self.reason = reason

    def __reduce__(self) -> tuple[type[WriteError], tuple[Path, str]]:
        """Pickle by the arguments, so that a worker process can hand it back."""
        return type(self), (self.path, self.reason)


def why_failed(error: Exception, what: str) -> str:
    """Say why the work on one file ended, so that the work on others goes on.

    Parameters
    ----------
    error : Exception
        What ended it.
    what : str
        What could not be done, to go before the name of an error that nobody foresaw.

    Returns
    -------
    str
        The reason and what to do, without the file's name.

    Examples
    --------
    >>> why_failed(KeyError("pond"), "could not be analysed")
    "could not be analysed (KeyError: 'pond'); please report this"
    """
    if isinstance(error, MediaError):
        return error.reason
    if isinstance(error, CalltagError):
        return str(error)
    if isinstance(error, MemoryError):
        return (
            "there was not enough memory for it; close other programs, or use --workers 1 where "
            "the command has it"
        )
    return f"{what} ({type(error).__name__}: {error}); please report this"


class LogError(CalltagError):
    """A log that cannot be opened, or that another version wrote."""


class NameTakenError(LogError):
    """A name that the log has for another file."""


class LibraryError(CalltagError):
    """A call library, or its catalogue, that cannot be used."""


class ModelError(CalltagError):
    """A model file that cannot be used: damaged, or made for other features."""
