"""The kept calls that are most like a sound.

Every kept call has a vector (`calltag.library.likeness`), and all are compared with that of the
sound: of a hundred thousand, that takes a fraction of a second. Calls that were measured by another
version of calltag cannot be compared; `measure_outdated` measures their sound again.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calltag.arrays import FloatArray
from calltag.errors import LibraryError, MediaError
from calltag.learn.finder import Finder
from calltag.library.catalogue import Catalogue, Kept
from calltag.library.likeness import PLACES_VERSION, place
from calltag.library.sound_file import SUFFIXES, read_story
from calltag.media.probe import probe
from calltag.media.reader import read_span
from calltag.records.span import Span
from calltag.sound.channels import Chooser
from calltag.sound.features import FEATURE_NAMES, FEATURE_VERSION

_LOUD_DB = 40.0  # of a sound without a call, what is no further below its loudest is compared
_STEP_S = 0.01  # levels are told apart this finely
_LOOKED_AT_S = 60.0  # of a file, where no call is found in it
_LEAST_S, _LONGEST_S = 0.1, 10.0  # of its loud part


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


@dataclass(frozen=True, slots=True)
class Sample:
    """A sound to look for.

    Attributes
    ----------
    features : np.ndarray, shape (n_features,)
        Its measurements.
    span : Span
        Where in its file.
    is_call : bool
        Whether a call was found there; else it is the loud part of the file.
    kept_id : str or None
        Its id, if it is a kept call.
    """

    features: FloatArray
    span: Span
    is_call: bool = True
    kept_id: str | None = None


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


def sample_of_kept(catalogue: Catalogue, kept: Kept) -> Sample:
    """Take a kept call for the sound to look for.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    kept : Kept
        The kept call; measured again if another version of calltag measured it.

    Returns
    -------
    Sample
        It.

    Raises
    ------
    MediaError
        If it has to be measured and cannot be read.
    """
    stored = catalogue.features_of(kept.key)
    if stored is not None and stored[0] == FEATURE_VERSION:
        features = stored[1]
    else:
        features = _measured(Finder.load(), kept.file, kept.story.call)
    return Sample(features, kept.story.call, kept_id=kept.story.id)


def sample_of_file(file: Path, span: Span | None = None, finder: Finder | None = None) -> Sample:
    """Take a sound file, or a take, for the sound to look for.

    Parameters
    ----------
    file : Path
        The file.
    span : Span or None
        The stretch to compare; the call that stands out most unless given, or, where no call is
        found, the loud part.
    finder : Finder or None
        What finds and measures; loaded unless given.

    Returns
    -------
    Sample
        The sound.

    Raises
    ------
    MediaError
        If the file cannot be read, has no sound, or ends before the stretch begins.
    """
    finder = finder or Finder.load()
    if span is not None:
        length_s = probe(file).duration_s
        if not span.start_s < length_s:
            raise MediaError(
                file, f"ends at {length_s:.2f} s, before {span.start_s:.2f} s; name a second in it"
            )
        return Sample(_measured(finder, file, span), span)
    if file.suffix.lower() in SUFFIXES:
        try:
            story, _ = read_story(file)
        except MediaError:  # any sound file
            pass
        else:
            if story.feature_version == FEATURE_VERSION and story.features is not None:
                return Sample(story.features, story.call, kept_id=story.id)
            return Sample(_measured(finder, file, story.call), story.call, kept_id=story.id)
    info = probe(file)
    if info.sample_rate_hz is None:
        raise MediaError(file, "has no sound to compare; name a file that has some")
    calls = finder.analyse(file, info).calls
    if calls:
        best = max(calls, key=lambda call: call.call_probability * max(call.snr_db, 0.0))
        assert best.features is not None
        return Sample(best.features, best.span)
    loud = _loud_part(file)
    return Sample(_measured(finder, file, loud), loud, is_call=False)


def measure_outdated(catalogue: Catalogue, finder: Finder | None = None) -> tuple[int, list[str]]:
    """Measure kept calls again whose measurements are of another version, or missing.

    The measurements go into the catalogue; the files stay as they are.

    Parameters
    ----------
    catalogue : Catalogue
        The library's catalogue.
    finder : Finder or None
        What measures; loaded unless given.

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
    """
    waiting = catalogue.kept_where(
        "NOT EXISTS (SELECT 1 FROM features WHERE cut = cuts.id AND version = ?)",
        [FEATURE_VERSION],
    )
    notes = []
    measured = 0
    for kept in waiting:
        finder = finder or Finder.load()
        try:
            features = _measured(finder, kept.file, kept.story.call)
        except MediaError as error:
            notes.append(f"{kept.path}: {error.reason}")
            continue
        catalogue.put_features(kept.key, FEATURE_VERSION, features)
        measured += 1
    return measured, notes


def _measured(finder: Finder, file: Path, span: Span) -> FloatArray:
    (call,) = finder.measure(file, [span])
    assert call.features is not None
    return call.features


def _loud_part(file: Path) -> Span:
    samples, rate_hz = read_span(file, 0.0, _LOOKED_AT_S)
    sound = Chooser(rate_hz).choose(samples)
    step = max(1, round(_STEP_S * rate_hz))
    power = np.square(sound[: len(sound) // step * step]).reshape(-1, step).mean(axis=1)
    if not power.size or power.max() <= 0:
        raise MediaError(
            file, "holds nothing but silence; name another, or say with --at where to listen"
        )
    loud = np.flatnonzero(power >= power.max() * 10 ** (-_LOUD_DB / 10))
    start_s = float(loud[0] * step / rate_hz)
    end_s = min(float((loud[-1] + 1) * step / rate_hz), start_s + _LONGEST_S)
    return Span(start_s, max(end_s, start_s + _LEAST_S))
