"""The work on one clip, as a worker does it."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from dataclasses import replace
from typing import TypeVar

from calltag.errors import ModelError, why_failed
from calltag.learn.finding.loaded import finder
from calltag.plan import Job
from calltag.records.found import Call, NoiseSpan, TakeLog

logger = logging.getLogger(__name__)

_Find = TypeVar("_Find", Call, NoiseSpan)

DIED = (
    "the program that read it crashed over it, twice; convert the clip to another format, "
    "or leave it out"
)
"""Why a clip was not analysed over which the worker itself ended."""


def analyse_take(job: Job) -> TakeLog:
    """Analyse one clip: what it says of itself, and what is in its sound.

    Parameters
    ----------
    job : Job
        The clip.

    Returns
    -------
    TakeLog
        The take with its calls and noise; without levels where it has no sound.

    Raises
    ------
    MediaError
        If the clip cannot be read.
    ModelError
        If the model that finds calls is missing or damaged.
    """
    from calltag.media.probe import probe, take_of

    info = probe(job.file)
    take = take_of(
        info, path=job.path, rushes=job.rushes, digest=job.digest, size_bytes=job.size_bytes
    )
    if not take.has_sound:
        return TakeLog(take=take)
    found = finder().analyse(job.file, info)
    take = replace(take, levels=found.levels)
    if found.joined_s is not None:  # what is stated is the length of a part
        length_s = max(take.duration_s, found.joined_s)
        take = replace(take, duration_s=length_s, picture_s=None)
    return TakeLog(
        take=take,
        calls=_within(found.calls, take.duration_s),
        noise=_within(found.noise, take.duration_s),
    )


def _within(found: Iterable[_Find], length_s: float) -> tuple[_Find, ...]:
    """Cut at the end of a take what passes it: codecs fill their last packet up with silence."""
    return tuple(
        replace(one, end_s=length_s) if one.start_s < length_s < one.end_s else one for one in found
    )


def outcome(analyse: Callable[[Job], TakeLog], job: Job) -> TakeLog | str:
    """Analyse one clip so that it cannot end the work on others.

    Parameters
    ----------
    analyse : callable
        What is done with the clip; `analyse_take`.
    job : Job
        The clip.

    Returns
    -------
    TakeLog or str
        What was found, or why the clip could not be read.

    Raises
    ------
    ModelError
        If the model that finds calls is missing or damaged.
    """
    try:
        return analyse(job)
    except ModelError:  # not the clip's fault: it would be the same for all
        raise
    except Exception as error:
        logger.debug("%s", job.file, exc_info=True)
        return why_failed(error, "could not be analysed")
