"""A sound to look for in the library: a kept call, or what calls, or is loud, in any file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from calltag.arrays import FloatArray
from calltag.errors import MediaError
from calltag.learn.finding.loaded import finder
from calltag.library.catalogue.catalogue import Catalogue, Kept
from calltag.library.catalogue.measured_again import measure
from calltag.library.kept_file.sound_file import SUFFIXES, read_story
from calltag.media.probe import probe
from calltag.media.sound_blocks.reader import read_span
from calltag.records.span import Span
from calltag.sound.channels.choosing import Chooser
from calltag.sound.features import FEATURE_VERSION

_LOUD_DB = 40.0  # of a sound without a call, what is no further below its loudest is compared
_STEP_S = 0.01  # levels are told apart this finely
_LOOKED_AT_S = 60.0  # of a file, where no call is found in it
_LEAST_S, _LONGEST_S = 0.1, 10.0  # of its loud part


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
        Its call.

    Raises
    ------
    MediaError
        If it has to be measured and cannot be read.
    ModelError
        If a model that calltag comes with is missing or damaged.
    """
    stored = catalogue.features_of(kept.key)
    if stored is not None and stored[0] == FEATURE_VERSION:
        features = stored[1]
    else:
        features = measure(kept.file, kept.story.call)
    return Sample(features, kept.story.call, kept_id=kept.story.id)


def sample_of_file(file: Path, span: Span | None = None) -> Sample:
    """Take a sound file, or a take, for the sound to look for.

    Parameters
    ----------
    file : Path
        The file.
    span : Span or None
        The stretch to compare; the call that stands out most unless given, or, where no call is
        found, the loud part.

    Returns
    -------
    Sample
        The sound.

    Raises
    ------
    MediaError
        If the file cannot be read, has no sound, or ends before the stretch begins.
    ModelError
        If a model that calltag comes with is missing or damaged.
    """
    if span is not None:
        length_s = probe(file).duration_s
        if not span.start_s < length_s:
            raise MediaError(
                file, f"ends at {length_s:.2f} s, before {span.start_s:.2f} s; name a second in it"
            )
        return Sample(measure(file, span), span)
    if file.suffix.lower() in SUFFIXES:
        try:
            story, _ = read_story(file)
        except MediaError:  # any sound file
            pass
        else:
            if story.feature_version == FEATURE_VERSION and story.features is not None:
                return Sample(story.features, story.call, kept_id=story.id)
            return Sample(measure(file, story.call), story.call, kept_id=story.id)
    info = probe(file)
    if info.sample_rate_hz is None:
        raise MediaError(file, "has no sound to compare; name a file that has some")
    calls = finder().analyse(file, info).calls
    if calls:
        best = max(calls, key=lambda call: call.call_probability * max(call.snr_db, 0.0))
        assert best.features is not None
        return Sample(best.features, best.span)
    loud = _loud_part(file)
    return Sample(measure(file, loud), loud, is_call=False)


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
