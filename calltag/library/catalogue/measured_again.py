"""Kept calls measured again, where another version of calltag measured them."""

from __future__ import annotations

from pathlib import Path

from calltag.arrays import FloatArray
from calltag.errors import MediaError
from calltag.learn.finding.loaded import finder
from calltag.library.catalogue.catalogue import Catalogue
from calltag.records.span import Span
from calltag.sound.features import FEATURE_VERSION


def measure_outdated(catalogue: Catalogue) -> tuple[int, list[str]]:
    """Measure kept calls again whose measurements are of another version, or missing.

    The measurements go into the catalogue; the files stay as they are.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.

    Returns
    -------
    measured : int
        How many were measured.
    notes : list of str
        A sentence for each that cannot be read.

    Raises
    ------
    LibraryError
        If the catalogue cannot be used.
    ModelError
        If a model that calltag comes with is missing or damaged.
    """
    waiting = catalogue.kept_where(
        "NOT EXISTS (SELECT 1 FROM features WHERE cut = cuts.id AND version = ?)",
        [FEATURE_VERSION],
    )
    notes = []
    measured = 0
    for kept in waiting:
        try:
            features = measure(kept.file, kept.story.call)
        except MediaError as error:
            notes.append(f"{kept.path}: {error.reason}")
            continue
        catalogue.put_features(kept.key, FEATURE_VERSION, features)
        measured += 1
    return measured, notes


def measure(file: Path, span: Span) -> FloatArray:
    """Measure one stretch of a file.

    Parameters
    ----------
    file : Path
        The file; it is only read.
    span : Span
        The stretch.

    Returns
    -------
    np.ndarray, shape (n_features,)
        Its measurements, of version `FEATURE_VERSION`.

    Raises
    ------
    MediaError
        If the file cannot be read.
    ModelError
        If a model that calltag comes with is missing or damaged.
    """
    (call,) = finder().measure(file, [span])
    assert call.features is not None
    return call.features
