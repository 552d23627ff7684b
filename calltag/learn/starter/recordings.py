"""The labelled recordings that the starter model learns from, listed in `models/sources.csv`."""

from __future__ import annotations

import csv
import itertools
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path, PurePath

import librosa
import numpy as np

from calltag.arrays import FloatArray
from calltag.errors import InputError
from calltag.learn.segments import LONGEST_GAP_S
from calltag.records.label import NOISE_KINDS
from calltag.sound.spectrum import HOP, RATE_HZ

KINDS = (*NOISE_KINDS, "call", "other")
"""What a recording may hold; ``other`` is a sound that is neither call nor one of the kinds."""

DROP_DB = 25.0
"""A call sounds where its level is within this of its highest."""


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


def level_frames(samples: FloatArray) -> FloatArray:
    """RMS level of every 10 ms, shape (n // HOP,)."""
    n = len(samples) // HOP
    return np.sqrt((samples[: n * HOP].reshape(n, HOP) ** 2).mean(axis=1) + 1e-14)


def active_frames(samples: FloatArray) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Where a call sounds, per 10 ms: within `DROP_DB` of its highest level, short gaps closed.

    Parameters
    ----------
    samples : np.ndarray, shape (n,), float32
        A call at `RATE_HZ`.

    Returns
    -------
    np.ndarray, shape (n // HOP,), bool
        True where it sounds.
    """
    level = level_frames(samples)
    if not len(level):
        return np.zeros(0, bool)
    active = level > level.max() * 10 ** (-DROP_DB / 20)
    on = np.flatnonzero(active)
    for left, right in itertools.pairwise(on):
        if right - left <= LONGEST_GAP_S * RATE_HZ / HOP:
            active[left:right] = True
    return active


def load_recordings(
    sources: Path, folder: Path, *, groups: Collection[str] | None = None
) -> list[Recording]:
    """Read the recordings that a list names.

    Parameters
    ----------
    sources : Path
        CSV with the columns ``path,kind,group``; ``sort``, if it is there, is the folder that a
        recording lies in unless it says otherwise.
    folder : Path
        Folder that the paths start from.
    groups : collection of str, optional
        Only these groups; all unless given.

    Returns
    -------
    list of Recording
        In the order of the list.

    Raises
    ------
    InputError
        If a recording is missing or its kind is unknown.
    """
    recordings = []
    with sources.open(newline="", encoding="utf-8") as file:
        for line, row in enumerate(csv.DictReader(file), start=2):
            if groups is not None and row["group"] not in groups:
                continue
            if row["kind"] not in KINDS:
                raise InputError(f"{sources.name}, line {line}: kind must be one of {KINDS}")
            path = folder / row["path"]
            if not path.is_file():
                raise InputError(
                    f"{row['path']} is not below {folder}; it is named in {sources.name}"
                )
            mono = librosa.load(path, sr=RATE_HZ, mono=True)[0]
            sounding = np.flatnonzero(np.abs(mono) > 1e-4)  # silent tails teach nothing
            if len(sounding) > RATE_HZ // 4:
                mono = mono[sounding[0] : sounding[-1] + 1]
                sort = row.get("sort") or PurePath(row["path"]).parent.name
                recordings.append(Recording(row["path"], row["kind"], sort, row["group"], mono))
    return recordings
