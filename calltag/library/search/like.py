"""The kept calls that are most like a sound.

Every kept call has a vector (`calltag.library.search.likeness`), and all are compared with that of
the sound: of a hundred thousand, that takes a fraction of a second. Calls that were measured by
another version of calltag cannot be compared until `calltag.library.catalogue.measured_again` has
measured them again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass

import numpy as np

from calltag.arrays import FloatArray
from calltag.errors import LibraryError
from calltag.library.catalogue.catalogue import Catalogue, Kept
from calltag.library.search.likeness import PLACES_VERSION, place
from calltag.sound.features import FEATURE_NAMES, FEATURE_VERSION


@dataclass(frozen=True, slots=True)
class Alike:
    """A kept call and how like it is.

    Attributes
    ----------
    kept : Kept
        The kept call; its sound is `Kept.file`.
    score : float
        From 0, nothing in common, to 1, the same; no probability.
    """

    kept: Kept
    score: float


def like(
    catalogue: Catalogue,
    features: FloatArray,
    *,
    limit: int = 10,
    without: Collection[str] = (),
) -> list[Alike]:
    """Find the kept calls that are most like a sound.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    features : np.ndarray, shape (n_features,)
        Measurements of the sound, of version `FEATURE_VERSION`.
    limit : int
        How many to return, at most.
    without : collection of str
        Ids to leave out, such as that of the sound itself.

    Returns
    -------
    list of Alike
        The most alike first.

    Raises
    ------
    LibraryError
        If the catalogue cannot be used.
    ModelError
        If what makes sounds alike is missing from the installation.
    """
    waiting: list[tuple[int, FloatArray]] = []
    try:
        prepare(catalogue)
    except LibraryError:  # a library that may only be read can be asked, too
        waiting = [pair for batch in _placed(catalogue) for pair in batch]
    keys, vectors = catalogue.all_vectors(PLACES_VERSION)
    if waiting:
        keys = [*keys, *(key for key, _ in waiting)]
        vectors = np.stack([*vectors, *(vector for _, vector in waiting)])
    if not keys or limit < 1:
        return []
    scores = vectors @ place(features[None])[0]
    if without:
        marks = ", ".join("?" * len(without))
        rows = catalogue.read(f"SELECT id FROM cuts WHERE cut_id IN ({marks})", list(without))
        left_out = {key for (key,) in rows}
        scores[[i for i, key in enumerate(keys) if key in left_out]] = -np.inf
    alike = []
    for i in np.argsort(-scores, kind="stable")[:limit]:
        if np.isfinite(scores[i]):
            kept = catalogue.kept_where("cuts.id = ?", [keys[i]])
            alike += [Alike(one, float(np.clip(scores[i], 0.0, 1.0))) for one in kept]
    return alike


def prepare(catalogue: Catalogue) -> int:
    """Place the kept calls that have measurements and no vector yet.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.

    Returns
    -------
    int
        How many there were.

    Raises
    ------
    LibraryError
        If the catalogue cannot be used.
    ModelError
        If what makes sounds alike is missing from the installation.
    """
    placed = 0
    for batch in _placed(catalogue):
        catalogue.put_vectors(PLACES_VERSION, batch)
        placed += len(batch)
    return placed


def _placed(catalogue: Catalogue) -> Iterator[list[tuple[int, FloatArray]]]:
    """Yield the keys of kept calls without a vector, and their vectors, some at a time."""
    after = 0
    while waiting := catalogue.features_without_vector(
        FEATURE_VERSION, PLACES_VERSION, after=after
    ):
        after = waiting[-1][0]
        alike = [(key, vector) for key, vector in waiting if len(vector) == len(FEATURE_NAMES)]
        if alike:
            vectors = place(np.stack([vector for _, vector in alike]))
            yield list(zip((key for key, _ in alike), vectors, strict=True))
