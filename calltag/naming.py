"""Call types: taught from the labels of a log, and given to its calls.

Nothing is decoded for it but the sound under labels where nothing had been found, and an excerpt of
each noise that a detail was taught of: the measurements of all finds are in the log.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from calltag.errors import InputError, MediaError, ModelError
from calltag.learn.call_types.examples import examples, unlabelled
from calltag.learn.finding.loaded import finder
from calltag.learn.labels.by_hand import unmeasured
from calltag.learn.labels.sameness import common_s
from calltag.learn.labels.vocabulary import is_call_type, noise_kind
from calltag.log import Log
from calltag.media.copies import each_once, with_copies
from calltag.overwriting import refuse_other_than_model
from calltag.own_files import MODEL_SUFFIX
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.label import Label
from calltag.records.span import Span
from calltag.spelling import name_order
from calltag.words import counted, first_few

if TYPE_CHECKING:
    from calltag.learn.call_types.examples import Example, Sound
    from calltag.learn.call_types.teach import Report

MODEL_NAME = f"calltag{MODEL_SUFFIX}"
"""The taught model that is used unless another is named: it lies beside the log."""

_LEAST_NOISE_S, _EXCERPT_S = 1.0, 3.0


def teach_log(
    log: Log,
    model: Path,
    *,
    more: Sequence[Example] = (),
    company: Sequence[Sound] = (),
    tell: Callable[[str], None] | None = None,
) -> tuple[Report, list[str]]:
    """Learn call types from the labels of a log, store the model, and name all calls with it.

    Parameters
    ----------
    log : Log
        The log.
    model : Path
        Where to store the model.
    more : sequence of Example
        What is learnt from beside them, as the calls of the library.
    company : sequence of Sound
        What else there is, beside the finds of the log.
    tell : callable, optional
        Told in a few words what is being done, at the beginning of each step.

    Returns
    -------
    report : Report
        What was learnt, and how well.
    notes : list of str
        What else the user should know, one sentence each.

    Raises
    ------
    InputError
        If the labels are too few to learn from, or the model cannot be written, or would overwrite
        something that is no model.
    LogError
        If the log cannot be used.
    ModelError
        If the model that finds calls is missing or damaged.
    """
    from calltag.learn.call_types.model_file import save_model
    from calltag.learn.call_types.teach import teach
    from calltag.sound.features import FEATURE_VERSION

    refuse_other_than_model(model)
    log.check_writable()  # or the model would be stored, and no call named by it
    tell = tell or (lambda _: None)
    tell("measuring labelled sounds")
    notes = measure_labels(log)
    labels = log.labels_by_take()
    current = {e.take.path for e in log.entries() if e.feature_version == FEATURE_VERSION}
    if left := sum(len(ones) for path, ones in labels.items() if path not in current):
        notes.append(
            f"{counted(left, 'label is', 'labels are')} of takes that another version of calltag "
            f"logged, and {'was' if left == 1 else 'were'} not learnt from; log the rushes again"
        )
    take_logs = [one for one in log.take_logs(features=True) if one.take.path in current]
    learnt, unknown = _of_recordings(take_logs, labels)
    known = [*more, *learnt]
    if left and not known:
        raise InputError(
            f"another version of calltag logged the takes of all {left} labels; log the rushes"
            " again, the labels stay"
        )
    tell("learning, and checking what was learnt")
    taught = teach(known, unlabelled=unknown, company=company)
    tell("naming the calls")
    before = _types_known(model)
    save_model(model, taught)
    if lost := sorted(before - _types_known(model), key=name_order):
        notes.append(
            f"The model before knew what these labels do not name: {first_few(lost)}. No call has "
            "such a name now; `calltag library teach` learns what your call library holds, too"
        )
    return taught.report, notes + name_finds(log, model)[1]


def _types_known(model: Path) -> set[str]:
    """The call types that a model names; none where there is no model that can be read."""
    from calltag.learn.call_types.model_file import read_card

    try:
        return set(filter(is_call_type, read_card(model).examples))
    except ModelError:
        return set()


def _of_recordings(
    take_logs: Sequence[TakeLog], labels: Mapping[str, Sequence[Label]]
) -> tuple[list[Example], list[Sound]]:
    """Collect what is learnt from: each sound once, whichever copies of its take are in the log."""
    known: list[Example] = []
    unknown: list[Sound] = []
    by_path = {one.take.path: one for one in take_logs}
    for path, copies in each_once(take_logs).items():
        taken: set[Span] = set()
        same = [(by_path[one], labels.get(one, [])) for one in (path, *copies)]
        for take_log, own in same:
            new = [one for one in examples(take_log, own) if one.span not in taken]
            known += [one._replace(group=path) if one.group == one.take else one for one in new]
            taken.update(one.span for one in new)
        for take_log, own in same:
            rest = [one for one in unlabelled(take_log, own) if one.span not in taken]
            unknown += rest
            taken.update(one.span for one in rest)
    return known, unknown


def teach_without_log(
    known: Sequence[Example], model: Path, *, company: Sequence[Sound] = ()
) -> Report:
    """Learn call types from examples alone, and store the model.

    Parameters
    ----------
    known : sequence of Example
        Labelled sounds, as the calls of the library.
    model : Path
        Where to store the model.
    company : sequence of Sound
        What else there is.

    Returns
    -------
    Report
        What was learnt, and how well.

    Raises
    ------
    InputError
        If the examples are too few to learn from, or the model cannot be written, or would
        overwrite something that is no model.
    ModelError
        If what is known of call types beforehand is missing or damaged.
    """
    from calltag.learn.call_types.model_file import save_model
    from calltag.learn.call_types.teach import teach

    refuse_other_than_model(model)
    taught = teach(known, company=company)
    save_model(model, taught)
    return taught.report


def name_finds(log: Log, model: Path) -> tuple[str, list[str]]:
    """Give finds and noise of a log the names that a taught model has for their measurements.

    Parameters
    ----------
    log : Log
        The log.
    model : Path
        The model.

    Returns
    -------
    name : str
        Name of the model, as the log keeps it.
    notes : list of str
        A sentence for each take that could not be read; its noise keeps its plain name until then.

    Raises
    ------
    ModelError
        If the model cannot be used.
    LogError
        If the log cannot be used.
    """
    from calltag.learn.call_types.model_file import load_model
    from calltag.sound.features import FEATURE_VERSION

    name = _name_of(model)  # before it is loaded: one that is replaced meanwhile has to name again
    tagger = load_model(model)
    notes = _measure_noise(log, tagger.classes)
    entries = [entry for entry in log.entries() if entry.feature_version == FEATURE_VERSION]
    if any(entry.model != name for entry in entries):
        log.give_types(tagger.tag, feature_version=FEATURE_VERSION, model=name)
    return name, notes


def _name_of(model: Path) -> str:
    """The name that a log keeps of a model, by which another of the same file name is known."""
    try:
        content = model.read_bytes()
    except OSError:  # why is told where it is loaded
        content = b""
    return f"{model.name} {hashlib.sha256(content).hexdigest()[:12]}"


def _measure_noise(log: Log, names: Iterable[str]) -> list[str]:
    """Measure excerpts of noise that a model may have a name for, and store them.

    Steady noise has no finds in it, which a model could name. It is measured only where the model
    was taught a detail of its kind, such as ``machine/hedge trimmer``, and only once.
    """
    from calltag.sound.features import FEATURE_VERSION

    kinds = {noise_kind(name) for name in names if "/" in name}
    if not kinds - {None}:
        return []
    notes = []
    files = _files(log)
    for entry in log.entries():
        path = entry.take.path
        if entry.feature_version != FEATURE_VERSION:
            continue
        waiting = [
            noise
            for noise in log.unmeasured_noise(path)
            if noise.kind in kinds and noise.span.length_s >= _LEAST_NOISE_S
        ]
        if not waiting:
            continue
        found = log.take_log(path).calls
        excerpts = [_excerpt(noise, found) for noise in waiting]
        try:
            calls = finder().measure(files[path], excerpts)
        except MediaError as error:
            notes.append(f"{path}: {error.reason} (its noise has no details until then)")
            continue
        log.put_measured_noise(
            path,
            [
                (noise, call.features)
                for noise, call in zip(waiting, calls, strict=True)
                if call.features is not None
            ],
        )
    return notes


def _files(log: Log) -> dict[str, Path]:
    return {take.path: take.file for take in with_copies(log.takes())}


def _excerpt(noise: NoiseSpan, found: Sequence[Call]) -> Span:
    """Choose a stretch of a noise that as little as possible was found in, near its middle."""
    length_s = min(noise.span.length_s, _EXCERPT_S)
    spare_s = noise.span.length_s - length_s
    starts_s = [noise.start_s + spare_s * (0.5 + 0.1 * step) for step in (0, 1, -1, 2, -2, 3, -3)]
    spans = [Span(start_s, start_s + length_s) for start_s in starts_s]
    return min(spans, key=lambda span: sum(common_s(span, call.span) for call in found))


def measure_labels(log: Log) -> list[str]:
    """Measure the sound under labels that no find belongs to, and store it.

    Parameters
    ----------
    log : Log
        The log.

    Returns
    -------
    list of str
        A sentence for each take that could not be read; its labels wait for another time.

    Raises
    ------
    LogError
        If the log cannot be used.
    ModelError
        If the model that finds calls is missing or damaged.
    """
    notes = []
    files = _files(log)
    for path, labels in log.labels_by_take().items():
        take_log = log.take_log(path)
        waiting = unmeasured(take_log, labels) if take_log.take.has_sound else []
        if not waiting:
            continue
        try:
            calls = finder().measure(files[path], [label.span for label in waiting])
        except MediaError as error:
            notes.append(f"{path}: {error.reason} ({len(waiting)} of its labels wait for that)")
            continue
        log.put_measured(
            (label, replace(call, start_s=label.start_s, end_s=label.end_s))
            for label, call in zip(waiting, calls, strict=True)
        )
    return notes
