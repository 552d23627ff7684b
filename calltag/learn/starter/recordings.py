"""The labelled recordings that the starter model learns from, listed in `models/sources.csv`."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath

import librosa
import numpy as np

from calltag.arrays import FloatArray
from calltag.errors import InputError, reason_of
from calltag.paths import is_file
from calltag.records.label import NOISE_KINDS
from calltag.sound.spectrum import RATE_HZ

KINDS = (*NOISE_KINDS, "call", "other")
"""What a recording may hold; ``other`` is a sound that is neither call nor one of the kinds."""


@dataclass(frozen=True, slots=True)
class Recording:
    """One labelled recording.

    Attributes
    ----------
    name : str
        Its path below the folder of recordings.
    kind : str
        One of `KINDS`.
    sort : str
        What it is of its kind: a rotor and a saw are both machines.
    group : str
        What validation leaves out together.
    samples : np.ndarray, shape (n,), float32
        One channel at `RATE_HZ`.
    """

    name: str
    kind: str
    sort: str
    group: str
    samples: FloatArray


def load_recordings(sources: Path, folder: Path) -> list[Recording]:
    """Read the recordings that a list names.

    Parameters
    ----------
    sources : Path
        CSV with the columns ``path,kind,group``; ``sort``, if it is there, is the folder that a
        recording lies in unless it says otherwise.
    folder : Path
        Folder that the paths start from.

    Returns
    -------
    list of Recording
        In the order of the list.

    Raises
    ------
    InputError
        If the list or a recording is missing, or a line lacks something or is of no known kind.
    """
    rows = _rows(sources)
    _check_there(sources, folder, [row["path"] for row in rows])
    recordings = []
    for row in rows:
        mono = librosa.load(folder / row["path"], sr=RATE_HZ, mono=True)[0]
        sounding = np.flatnonzero(np.abs(mono) > 1e-4)  # silent tails teach nothing
        if len(sounding) > RATE_HZ // 4:
            mono = mono[sounding[0] : sounding[-1] + 1]
            sort = row.get("sort") or PurePath(row["path"]).parent.name
            recordings.append(Recording(row["path"], row["kind"], sort, row["group"], mono))
    return recordings


def _rows(sources: Path) -> list[dict[str, str]]:
    """Read the list, and make sure that each line says what it has to."""
    try:
        with sources.open(newline="", encoding="utf-8") as file:
            rows = list(csv.DictReader(file))
    except OSError as error:
        raise InputError(
            f"{sources}: the list of recordings cannot be read ({reason_of(error)}); start where"
            " its path begins, or name another"
        ) from error
    for line, row in enumerate(rows, start=2):
        if not all(row.get(column) for column in ("path", "kind", "group")):
            raise InputError(f"{sources.name}, line {line}: path, kind or group is lacking")
        if row["kind"] not in KINDS:
            raise InputError(f"{sources.name}, line {line}: kind must be one of {KINDS}")
    return rows


def _check_there(sources: Path, folder: Path, paths: Sequence[str]) -> None:
    """Make sure that all recordings are there before the first is read."""
    lacking = [path for path in paths if not is_file(folder / path)]
    if lacking:
        raise InputError(
            f"{len(lacking)} of the {len(paths)} recordings that {sources.name} names are not below"
            f" {folder}, the first of them {lacking[0]}; DEVELOPERS.md says where they come from"
        )
