"""What labels bring that are given in the order the listening page proposes.

`python tests/reference/labels_in_order.py SCENES` finds the calls in a folder of scenes, with wave
files and a `truth.csv` as `few_labels.py` takes them, and labels them as a user would who knows
every answer: the first fourteen in the order of `calltag.learn.call_types.listening_order`, then
those that it proposes once they are taught, and so on; and, to compare, as many drawn at random.
That is done `--draws` times, each time with three quarters of the takes. Printed are means, for
each number of labels: macro F1 of all finds of the folder by type, labelled ones counting as named,
and how many types have been heard at all.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from few_labels import FALSE, Find, finds
from sklearn.metrics import f1_score

from calltag.errors import InputError
from calltag.learn.call_types.examples import Example, Sound
from calltag.learn.call_types.listening_order import listening_order
from calltag.learn.call_types.tagger import Tagger
from calltag.learn.call_types.teach import teach
from calltag.learn.finding.finder import Finder

STEPS = (14, 28, 42, 56, 70)
"""Labels after which it is taught."""

OF_TAKES = 0.75


def labelled_in_order(
    found: Sequence[Find], rng: np.random.Generator, *, proposed: bool
) -> list[tuple[float, int]]:
    """Label so many finds, as proposed or at random: macro F1 and types heard after each step."""
    sounds = [Sound(take=one.take, span=one.span, features=one.features) for one in found]
    odds = [one.call_probability for one in found]
    truth = np.array([one.label for one in found])
    types = sorted({*truth} - {FALSE})
    done: list[int] = []
    tagger: Tagger | None = None
    figures = []
    for step in STEPS:
        left = [i for i in range(len(found)) if i not in set(done)]
        order = (
            listening_order([sounds[i] for i in left], [odds[i] for i in left], tagger)
            if proposed
            else rng.permutation(len(left))
        )
        done += [left[i] for i in order[: step - len(done)]]
        tagger = _taught(found, sounds, done)
        said = truth.copy()
        others = np.setdiff1d(np.arange(len(found)), done)
        features = np.stack([found[i].features for i in others])
        takes = np.array([found[i].take for i in others])
        said[others] = [tag.label for tag in tagger.tag(features, takes)] if tagger else FALSE
        f1 = f1_score(truth, said, labels=types, average="macro", zero_division=0)
        figures.append((float(f1), len({*truth[done]} - {FALSE})))
    return figures


def _taught(found: Sequence[Find], sounds: Sequence[Sound], done: Sequence[int]) -> Tagger | None:
    examples = [
        Example(
            take=found[i].take,
            span=found[i].span,
            label=found[i].label,
            features=found[i].features,
            group=found[i].take,
        )
        for i in done
    ]
    known = set(done)
    try:
        return teach(
            examples, unlabelled=[one for i, one in enumerate(sounds) if i not in known]
        ).tagger
    except InputError:  # too few of any type so far
        return None


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("scenes", type=Path)
    parser.add_argument("--draws", type=int, default=6)
    arguments = parser.parse_args()
    found = finds(Finder.load(), arguments.scenes)
    takes = sorted({one.take for one in found})
    for way, proposed in (("proposed", True), ("at random", False)):
        runs = []
        for draw in range(arguments.draws):
            rng = np.random.default_rng(draw)
            some = {*rng.permutation(takes)[: round(OF_TAKES * len(takes))]}
            own = [one for one in found if one.take in some]
            runs.append(labelled_in_order(own, rng, proposed=proposed))
        for step, (f1, heard) in zip(STEPS, np.mean(runs, axis=0), strict=True):
            print(f"{way}, {step} labels: macro F1 {f1:.2f}, {heard:.1f} types heard")


if __name__ == "__main__":
    main()
