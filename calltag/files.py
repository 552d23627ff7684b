"""Files that appear whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from calltag.errors import CalltagError, InputError


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Write a file under a name beside it, and give it its own name when it is complete.

    Parameters
    ----------
    path : Path
        The file to write; its folder is made where there is none. An existing file is replaced.

    Yields
    ------
    Path
        Where to write. If the block ends by an error, nothing is left there.

    Raises
    ------
    InputError
        If the file cannot be written.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = Path(folder) / "calls.csv"
    ...     with written_whole(path) as partial:
    ...         _ = partial.write_text("take,start_s")
    ...     path.read_text()
    'take,start_s'
    """
    partial = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield partial
        partial.replace(path)
    except CalltagError:
        raise
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(f"{path}: cannot be written ({reason}); name another place") from error
    finally:
        with suppress(OSError):
            partial.unlink()


def refuse_existing(paths: Collection[Path], *, replace: bool) -> None:
    """Make sure that nothing is overwritten by mistake.

    Parameters
    ----------
    paths : collection of Path
        Files that are about to be written.
    replace : bool
        Whether existing ones may be replaced.

    Raises
    ------
    InputError
        If one exists and may not be, or is a folder.
    """
    for path in paths:
        if path.is_dir():
            raise InputError(f"{path}: there is a folder of this name; name another file")
        if path.exists() and not replace:
            raise InputError(f"{path}: exists already; name another file, or add --replace")


def write_texts(texts: Mapping[Path, str], *, replace: bool) -> list[Path]:
    """Write text files, all or, where one exists and may not be replaced, none.

    Parameters
    ----------
    texts : mapping of Path to str
        What to write where; line ends are kept as they are.
    replace : bool
        Whether existing files may be replaced.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    InputError
        If one may not be replaced or cannot be written.
    """
    refuse_existing(texts, replace=replace)
    for path, text in texts.items():
        with written_whole(path) as partial:
            partial.write_bytes(text.encode("utf-8"))
    return list(texts)
