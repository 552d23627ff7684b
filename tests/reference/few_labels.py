"""Call types learnt from a few labels, with calls of types about that nobody taught.

`python tests/reference/few_labels.py TAUGHT JUDGED --labels 5` teaches with finds in one folder of
scenes and judges by those in another, made of other clips; or in the same folder, by those that
were not labelled. With `--beside`, the other folder's scenes are in the log too, without a label:
their finds are there when it is taught. With `--noise N`, the user labels noise too, as users do: N
stretches without a call of each background that is a noise, and N false finds as `no call`. With
`--kept N`, the library teaches: the N clearest calls of each type are kept, as what was taught
first names them, with what else was found in their takes; with `--alone` without that.

Each folder holds wave files and a `truth.csv` with the columns ``take,start_s,end_s,label,snr_db``,
and ``background`` for noise. Of the types of call, `--untaught` are drawn and taught by nobody; of
each of the others, so many finds are labelled. That is drawn `--draws` times, and the means are
printed:

- macro F1 of the taught types over the finds at 10 dB and above, strangers and false finds about;
- the share of strangers that get a name, and of calls of taught types that are named rightly, at
  the threshold that teaching chooses;
- the share of calls, taught or not, that are taken for noise or `no call`;
- the share of strangers named where 90 % of the calls of taught types would be named, and where
  90 % of each type would be on average, however many calls it has;
- expected calibration error of finds of taught types, in ten bins, all draws together.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
from sklearn.metrics import f1_score

from calltag.arrays import FloatArray
from calltag.learn.call_types.confidence import calibration_error
from calltag.learn.call_types.examples import Example, Sound
from calltag.learn.call_types.panel import are_calls
from calltag.learn.call_types.tagger import Tagger
from calltag.learn.call_types.teach import teach
from calltag.learn.finding.finder import Finder
from calltag.learn.labels.sameness import common_s
from calltag.library.lessons import SURE
from calltag.media.probe import probe
from calltag.records.label import CALL, NO_CALL
from calltag.records.span import Span

OVERLAP = 0.5
"""Share of a find that has to lie in a call for it to be one of that type."""

CLEAR_DB = 10.0
RECALL = 0.9
STRANGER, FALSE = "of no taught type", NO_CALL

NOISES = {
    "chainsaw": "machine/chainsaw",
    "helicopter": "machine/helicopter",
    "rain": "water/rain",
    "waves": "water/waves",
}
"""Backgrounds of scenes that are a noise, as a user would label them."""

STRETCHES_S = (0.5, 0.8, 1.2, 2.0, 3.0)
"""Lengths of labelled noise."""

_SCENE_S, _FREE_S = 60.0, 0.3  # of a scene; to each side of labelled noise


class Trial(NamedTuple):
    """What came of one draw: its figures, and of each find of a taught type how sure and right."""

    figures: dict[str, float]
    confidence: np.ndarray
    right: np.ndarray


class Find(NamedTuple):
    """A find in a scene, and what it is."""

    take: str
    span: Span
    features: FloatArray
    label: str
    snr_db: float
    call_probability: float


def finds(finder: Finder, folder: Path) -> list[Find]:
    """What is found in a folder of scenes at even odds and above; `FALSE` for what is no call."""
    truth = defaultdict(list)
    with (folder / "truth.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            truth[row["take"]].append(row)
    found = []
    for path in sorted(folder.glob("*.wav")):
        for call in finder.analyse(path, probe(path)).calls:
            if call.call_probability < 0.5:
                continue
            label, snr_db, most = FALSE, float("nan"), OVERLAP * call.span.length_s
            for row in truth[path.name]:
                common = common_s(call.span, Span(float(row["start_s"]), float(row["end_s"])))
                if common >= most:
                    label, snr_db, most = row["label"], float(row["snr_db"]), common
            found.append(
                Find(str(path), call.span, call.features, label, snr_db, call.call_probability)
            )
    return found


def noise_stretches(finder: Finder, folder: Path, *, each: int = 5) -> list[Find]:
    """Stretches of noise without a call, so many of each scene."""
    busy, background = defaultdict(list), {}
    with (folder / "truth.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            busy[row["take"]].append(Span(float(row["start_s"]), float(row["end_s"])))
            background[row["take"]] = row["background"]
    stretches = []
    for number, path in enumerate(sorted(folder.glob("*.wav"))):
        label = NOISES.get(background.get(path.name) or path.stem.partition("_")[2])
        if label is None:
            continue
        rng = np.random.default_rng(number)
        spans: list[Span] = []
        for _ in range(100 * each):
            start_s, length_s = rng.uniform(1, _SCENE_S - 3), float(rng.choice(STRETCHES_S))
            around = Span(max(0.0, start_s - _FREE_S), start_s + length_s + _FREE_S)
            if not any(common_s(around, other) for other in (*busy[path.name], *spans)):
                spans.append(Span(start_s, start_s + length_s))
            if len(spans) == each:
                break
        stretches += [
            Find(str(path), call.span, call.features, label, float("nan"), call.call_probability)
            for call in finder.measure(path, spans)
        ]
    return stretches


def trial(
    taught: list[Find],
    judged: list[Find],
    types: list[str],
    n_labels: int,
    rng: np.random.Generator,
    *,
    beside: bool = False,
    noise: Sequence[Find] = (),
    n_noise: int = 0,
    n_kept: int = 0,
    alone: bool = False,
) -> Trial:
    """Teach so many labels of each of these types, and of noise, and judge.

    If some are kept of each type, those teach, with what else was found in their takes unless they
    are to teach alone.
    """
    labelled = set()
    for label, n in [*((label, n_labels) for label in types), (FALSE, n_noise)]:
        of_type = [i for i, find in enumerate(taught) if find.label == label]
        labelled |= {int(i) for i in rng.permutation(of_type)[:n]}
    stretches = [
        find
        for label in sorted({find.label for find in noise})
        for find in _drawn([find for find in noise if find.label == label], n_noise, rng)
    ]
    examples = [_example(find) for find in (*(taught[i] for i in sorted(labelled)), *stretches)]
    others = [_sound(find) for i, find in enumerate(taught) if i not in labelled]
    if beside:
        others += [_sound(find) for find in judged]
    tagger = teach(examples, unlabelled=others).tagger
    if n_kept:
        examples, company = _kept(taught, labelled, tagger, types, n_kept)
        tagger = teach(examples, company=() if alone else company).tagger
    if judged is taught:
        judged = [find for i, find in enumerate(taught) if i not in labelled]
    features = np.stack([find.features for find in judged])
    truth = np.array([find.label if find.label in (*types, FALSE) else STRANGER for find in judged])
    best, confidence, given = tagger.verdict(features, np.array([find.take for find in judged]))
    said = np.where(given, best, CALL)

    known, strange = np.isin(truth, types), truth == STRANGER
    right, named, like_a_type = best == truth, np.isin(said, types), np.isin(best, types)
    clear = np.array([not find.snr_db < CLEAR_DB for find in judged])
    at_recall = np.quantile(confidence[known], 1 - RECALL)
    at_mean_recall = _quantile_of_types(confidence[known], truth[known], 1 - RECALL)
    figures = {
        "macro_f1": f1_score(
            truth[clear], said[clear], labels=types, average="macro", zero_division=0
        ),
        "strangers_named": named[strange].mean(),
        "calls_lost": (~are_calls(said))[known | strange].mean(),
        "taught_named_rightly": (said == truth)[known].mean(),
        "strangers_named_at_recall": (like_a_type & (confidence >= at_recall))[strange].mean(),
        "strangers_named_at_mean_recall": (like_a_type & (confidence >= at_mean_recall))[
            strange
        ].mean(),
    }
    return Trial(figures, confidence[known], right[known])


def _example(find: Find, label: str | None = None) -> Example:
    return Example(
        take=find.take,
        span=find.span,
        label=label or find.label,
        features=find.features,
        group=find.take,
    )


def _sound(find: Find) -> Sound:
    return Sound(take=find.take, span=find.span, features=find.features)


def _kept(
    taught: list[Find], labelled: set[int], tagger: Tagger, types: list[str], n_kept: int
) -> tuple[list[Example], list[Sound]]:
    """The clearest calls of each type as they are named, and what else is found in their takes."""
    tags = tagger.tag(
        np.stack([find.features for find in taught]), np.array([find.take for find in taught])
    )
    of_type = defaultdict(list)
    for i, (find, tag) in enumerate(zip(taught, tags, strict=True)):
        if i in labelled:
            of_type[find.label].append(i)
        elif tag.confidence >= SURE:
            of_type[tag.label].append(i)
    kept = {
        i: label
        for label in types
        for i in sorted(of_type[label], key=lambda i: -np.nan_to_num(taught[i].snr_db))[:n_kept]
    }
    takes = {taught[i].take for i in kept}
    company = [
        _sound(find) for i, find in enumerate(taught) if i not in kept and find.take in takes
    ]
    return [_example(taught[i], label) for i, label in kept.items()], company


def _drawn(finds: Sequence[Find], n: int, rng: np.random.Generator) -> list[Find]:
    return [finds[i] for i in rng.permutation(len(finds))[:n]]


def _quantile_of_types(values: np.ndarray, types: np.ndarray, share: float) -> float:
    """The value below which lies such a share of each type, on average over types."""
    _, codes, counts = np.unique(types, return_inverse=True, return_counts=True)
    order = np.argsort(values)
    below = np.cumsum(1 / counts[codes][order]) / len(counts)
    return float(values[order][min(np.searchsorted(below, share), len(values) - 1)])


def measure(
    finder: Finder,
    taught: Path,
    judged: Path,
    *,
    n_labels: int,
    n_untaught: int,
    draws: int,
    beside: bool = False,
    n_noise: int = 0,
    n_kept: int = 0,
    alone: bool = False,
) -> dict[str, float]:
    """Means of the figures over draws of untaught types and of labels."""
    own = finds(finder, taught)
    noise = noise_stretches(finder, taught) if n_noise else []
    other = own if judged.samefile(taught) else finds(finder, judged)
    types = sorted({find.label for find in own} - {FALSE})
    trials = []
    for draw in range(draws):
        rng = np.random.default_rng(draw)
        kept = sorted(str(one) for one in rng.permutation(types)[n_untaught:])
        trials.append(
            trial(
                own,
                other,
                kept,
                n_labels,
                rng,
                beside=beside,
                noise=noise,
                n_noise=n_noise,
                n_kept=n_kept,
                alone=alone,
            )
        )
    confidence, right = (
        np.concatenate(parts)
        for parts in zip(*[(one.confidence, one.right) for one in trials], strict=True)
    )
    means = {key: float(np.mean([t.figures[key] for t in trials])) for key in trials[0].figures}
    return means | {
        "calibration_error": calibration_error(confidence, right),
        "finds_judged": len(other),
        "draws": draws,
    }


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("taught", type=Path)
    parser.add_argument("judged", type=Path)
    parser.add_argument("--model", type=Path, help="another starter model; its parts lie beside it")
    parser.add_argument("--labels", type=int, default=5, help="of each type")
    parser.add_argument("--untaught", type=int, default=3, help="types")
    parser.add_argument("--draws", type=int, default=6)
    parser.add_argument("--beside", action="store_true", help="judged scenes are in the log")
    parser.add_argument("--noise", type=int, default=0, help="labels of each noise")
    parser.add_argument("--kept", type=int, default=0, help="calls of each type in the library")
    parser.add_argument("--alone", action="store_true", help="they teach without company")
    arguments = parser.parse_args()
    figures = measure(
        Finder.load(arguments.model),
        arguments.taught,
        arguments.judged,
        n_labels=arguments.labels,
        n_untaught=arguments.untaught,
        draws=arguments.draws,
        beside=arguments.beside,
        n_noise=arguments.noise,
        n_kept=arguments.kept,
        alone=arguments.alone,
    )
    print(json.dumps({key: round(value, 3) for key, value in figures.items()}, indent=2))


if __name__ == "__main__":
    main()
