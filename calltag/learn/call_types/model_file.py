"""The model file: a tagger and its card in one file that holds no code.

The file is a zip archive of two members: ``card.json``, which says what the model is, and
``tagger.skops``, which holds it in the skops format: numbers, text and arrays, and no objects of
any library. Loading goes through four gates, and only what passes all of them is used:

1. the card is of this layout and of the features that this calltag measures;
2. the content has the digest that the card states, so damage is noticed;
3. nothing in it is of another type than those few, checked before it is loaded;
4. the loaded tagger gives a stored set of probes the votes that it gave them when it was stored.

As there are no objects in it, a model works whatever version of scikit-learn taught it; the card
states the versions all the same, and the fourth gate would notice a difference.
"""

from __future__ import annotations

import hashlib
import io
import json
import platform
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path
from typing import Any

import numpy as np
import skops.io

import calltag
from calltag.arrays import DoubleArray
from calltag.errors import ModelError, reason_of
from calltag.files import written_whole
from calltag.learn.call_types.confidence import Confidence
from calltag.learn.call_types.judges import Judges
from calltag.learn.call_types.kinship import Kin, Kinship
from calltag.learn.call_types.panel import Panel
from calltag.learn.call_types.tagger import Tagger
from calltag.learn.call_types.teach import Taught
from calltag.learn.call_types.trust import Trust
from calltag.overwriting import refuse_other_than_model
from calltag.own_files import MODEL_CARD
from calltag.sound.features import FEATURE_VERSION
from calltag.sound.spectrum import FRAMES_PER_S, RATE_HZ

FORMAT = 7
"""Version of the file's layout."""

LARGEST_BYTES = 500_000_000
"""A file that unpacks to more is no model."""

_CARD, _CONTENT = MODEL_CARD, "tagger.skops"
_LIBRARIES = ("numpy", "scipy", "scikit-learn", "skops")
_N_PROBES = 16
_VOTE_TOLERANCE = 1e-6

_ALLOWED_TYPES = frozenset(
    {
        "builtins.dict",
        "builtins.float",
        "builtins.list",
        "builtins.str",
        "numpy.ndarray",
    }
)
_ALLOWED_LOADERS = frozenset({"DictNode", "JsonNode", "ListNode", "NdArrayNode", "TypeNode"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """What a model file says of itself.

    Attributes
    ----------
    format : int
        Version of the file's layout.
    feature_version : int
        Version of the features that it judges.
    n_features : int
        How many those are.
    sample_rate_hz, frames_per_s : int
        Rates that they are measured at.
    examples : mapping of str to int
        Labels it knows, and how many examples taught each.
    groups : int
        Takes, or groups, that they came from.
    validation : mapping of str to float or None
        Figures of the examples judged without their groups; None for what could not be checked.
    threshold : float
        Confidence below which it gives no label.
    created : str
        When it was made, ISO 8601, UTC.
    calltag : str
        Version of calltag that made it.
    libraries : mapping of str to str
        Versions of Python and of the libraries that made it.
    digest : str
        SHA-256 of its content.
    """

    format: int
    feature_version: int
    n_features: int
    sample_rate_hz: int
    frames_per_s: int
    examples: Mapping[str, int]
    groups: int
    validation: Mapping[str, float | None]
    threshold: float
    created: str
    calltag: str
    libraries: Mapping[str, str]
    digest: str


def save_model(path: Path, taught: Taught) -> Card:
    """Store a tagger.

    Parameters
    ----------
    path : Path
        The file to write. What was there stays whole until the new one is complete.
    taught : Taught
        The tagger and its report.

    Returns
    -------
    Card
        The card of the file.

    Raises
    ------
    InputError
        If the file cannot be written, or something other than a model is there.
    """
    refuse_other_than_model(path)
    content = skops.io.dumps(_state(taught.tagger), compression=zipfile.ZIP_DEFLATED)
    card = _card(taught, hashlib.sha256(content).hexdigest())
    with written_whole(path) as partial, zipfile.ZipFile(partial, "w") as archive:
        archive.writestr(_CARD, json.dumps(asdict(card), ensure_ascii=False, indent=2))
        archive.writestr(_CONTENT, content)
    return card


def load_model(path: Path) -> Tagger:
    """Load a tagger.

    Parameters
    ----------
    path : Path
        A file that `save_model` wrote.

    Returns
    -------
    Tagger
        The tagger.

    Raises
    ------
    ModelError
        If it is missing, damaged, no model at all, made for other features, or does not judge as it
        did when it was stored. Nothing in the file is run.
    """
    card = read_card(path)
    if card.feature_version != FEATURE_VERSION:
        raise ModelError(
            f"{path.name}: was taught with version {card.feature_version} of the measurements, this"
            f" calltag takes version {FEATURE_VERSION}; log the rushes and teach again"
        )
    content = _member(path, _CONTENT)
    if hashlib.sha256(content).hexdigest() != card.digest:
        raise _damaged(path)
    try:
        _check_types(content)
        tagger, probes, votes = _restored(skops.io.loads(content, trusted=sorted(_ALLOWED_TYPES)))
        same = np.allclose(_votes(tagger.panel, probes), votes, rtol=0, atol=_VOTE_TOLERANCE)
    except ModelError as error:
        raise ModelError(f"{path.name}: {error}") from None
    except Exception as error:  # whatever foreign content makes the libraries raise
        raise _damaged(path) from error
    if not same:
        raise ModelError(
            f"{path.name}: does not judge here as it did where it was made (calltag"
            f" {card.calltag}); teach again"
        )
    return tagger


def read_card(path: Path) -> Card:
    """Read what a model file says of itself, without loading the model.

    Parameters
    ----------
    path : Path
        A file that `save_model` wrote.

    Returns
    -------
    Card
        Its card.

    Raises
    ------
    ModelError
        If it is missing, damaged, or no model.
    """
    try:
        fields = json.loads(_member(path, _CARD))
        found = fields["format"]
        if found == FORMAT:
            return Card(**fields)
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise _damaged(path) from error
    raise ModelError(
        f"{path.name}: is a model of layout {found}, this calltag reads layout {FORMAT}; teach"
        " again, or use the calltag that made it"
    )


def _card(taught: Taught, digest: str) -> Card:
    tagger, figures = taught.tagger, taught.report.validation
    measured = {
        "checked": figures.checked,
        "accuracy": figures.accuracy,
        "accuracy_low": figures.accuracy_interval.low,
        "accuracy_high": figures.accuracy_interval.high,
        "balanced_accuracy": figures.balanced_accuracy,
        "macro_f1": figures.macro_f1,
        "calibration_error": figures.calibration_error,
        "strangers_named": (
            figures.strangers_named / figures.strangers if figures.strangers else float("nan")
        ),
    }
    return Card(
        format=FORMAT,
        feature_version=FEATURE_VERSION,
        n_features=tagger.panel.n_features,
        sample_rate_hz=RATE_HZ,
        frames_per_s=FRAMES_PER_S,
        examples={each.label: each.n for each in figures.by_label},
        groups=figures.groups,
        validation={
            name: round(value, 4) if np.isfinite(value) else None
            for name, value in measured.items()
        },
        threshold=tagger.trust.of_types.threshold,
        created=datetime.now(UTC).isoformat(timespec="seconds"),
        calltag=calltag.__version__,
        libraries=_libraries(),
        digest=digest,
    )


def _libraries() -> dict[str, str]:
    return {"python": platform.python_version()} | {name: version(name) for name in _LIBRARIES}


def _state(tagger: Tagger) -> dict[str, Any]:
    panel, trust = tagger.panel, tagger.trust
    everything = panel.everything
    # Probes between and beyond the examples: normal draws, spread as the examples were.
    drawn = np.random.default_rng(0).standard_normal((_N_PROBES, panel.n_features))
    probes = everything.mean + everything.scale * drawn
    return {
        "everything": _stored(everything),
        "types": _stored(panel.types) if panel.types else {},
        "trust": _curve(trust.everything),
        "types_trust": _curve(trust.types) if trust.types else {},
        "share": [] if trust.share is None else [trust.share],
        "probes": probes,
        "votes": _votes(panel, probes),
    }


def _restored(state: Any) -> tuple[Tagger, Any, Any]:
    panel = Panel(_judges(state["everything"]), _judges(state["types"]) if state["types"] else None)
    trust = Trust(
        _confidence(state["trust"]),
        _confidence(state["types_trust"]) if state["types_trust"] else None,
        *state["share"],
    )
    return Tagger(panel, trust), state["probes"], state["votes"]


def _votes(panel: Panel, probes: DoubleArray) -> DoubleArray:
    """Votes of all judges, side by side."""
    judges = [panel.everything, *([panel.types] if panel.types else [])]
    return np.concatenate([each.judge(probes).votes for each in judges], axis=1)


def _stored(judges: Judges) -> dict[str, Any]:
    return {
        "judges": _fields(judges, without="kin"),
        "kin": _fields(judges.kin, without="known") if judges.kin else {},
        "kinship": judges.kin.known.arrays() if judges.kin else {},
    }


def _judges(state: Any) -> Judges:
    known = Kinship(**state["kinship"]) if state["kinship"] else None
    kin = Kin(known, **state["kin"]) if known else None
    return Judges(**state["judges"], kin=kin)


def _curve(confidence: Confidence) -> dict[str, Any]:
    return {"curve": list(confidence.curve), "threshold": confidence.threshold}


def _confidence(state: Any) -> Confidence:
    constant, votes, likeness, kinship = state["curve"]
    return Confidence((constant, votes, likeness, kinship), state["threshold"])


def _fields(value: Judges | Kin, *, without: str) -> dict[str, Any]:
    return {name: getattr(value, name) for name in value.__dataclass_fields__ if name != without}


def _member(path: Path, name: str) -> bytes:
    """Read a member of the archive; its checksum is checked on the way."""
    try:
        with zipfile.ZipFile(path) as archive:
            if sum(member.file_size for member in archive.infolist()) > LARGEST_BYTES:
                raise _damaged(path)
            return archive.read(name)
    except FileNotFoundError:
        raise ModelError(
            f"{path.name}: there is no such model; `calltag teach` makes one"
        ) from None
    except (zipfile.BadZipFile, KeyError, EOFError, NotImplementedError, RuntimeError) as error:
        raise _damaged(path) from error
    except OSError as error:
        reason = reason_of(error)
        raise ModelError(f"{path.name}: cannot be read ({reason}); name another model") from error


def _check_types(content: bytes) -> None:
    """Refuse content that names any type, or way of loading, that no tagger has."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        if sum(member.file_size for member in archive.infolist()) > LARGEST_BYTES:
            raise ModelError("unpacks to far more than a model holds; get it again from its source")
        schema = json.loads(archive.read("schema.json"))
    for node in _nodes(schema):
        name = f"{node.get('__module__')}.{node.get('__class__')}"
        if node.get("__loader__") not in _ALLOWED_LOADERS or name not in _ALLOWED_TYPES:
            raise ModelError(
                f"holds `{name}`, which no calltag model has, so it was not loaded; do not use it,"
                " get it again from its source"
            )


def _nodes(value: Any) -> Iterator[dict[str, Any]]:
    """Every part of a skops schema that says how something is to be loaded."""
    waiting = [value]
    while waiting:
        part = waiting.pop()
        if isinstance(part, dict):
            if "__loader__" in part or "__class__" in part or "__module__" in part:
                yield part
            waiting.extend(part.values())
        elif isinstance(part, list):
            waiting.extend(part)


def _damaged(path: Path) -> ModelError:
    return ModelError(
        f"{path.name}: is damaged, or no calltag model; teach again, or copy it again"
    )
