"""All sounds of a log as the listening page goes through them, in any of its orders."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from calltag.edit.worth import is_cut_at_end, is_cut_at_start
from calltag.errors import ModelError
from calltag.learn.call_types.examples import Sound
from calltag.learn.call_types.listening_order import listening_order
from calltag.learn.call_types.model_file import load_model
from calltag.learn.call_types.tagger import Tagger
from calltag.learn.labels.vocabulary import is_call_type
from calltag.log import Log
from calltag.media.copies import at_hand, each_once
from calltag.media.timing.clock import common_rate
from calltag.media.timing.timecode import Rate
from calltag.media.timing.when import moment
from calltag.pages.listening.heard import Heard, Numbers, of_recording, of_take
from calltag.pages.listening.order import Order, Show
from calltag.records.found import TakeLog
from calltag.records.label import NO_CALL, NOISE_KINDS
from calltag.records.take import Take
from calltag.spelling import name_order


@dataclass(frozen=True, slots=True)
class Sounds:
    """All sounds of a log at one moment.

    Attributes
    ----------
    by_number : dict of int to Heard
        The sounds, in order of take and start; those of copies of a take once.
    orders : dict of Order to list of int
        Their numbers in each order.
    known : list of str
        Labels to choose from: call types, the most used first.
    lasting : frozenset of str
        Those of them that are there without a label in the log: what the model was taught, the
        kinds of noise, and `no call`.
    n_labels : int
        Labels in the log.
    rate : Rate
        How to count timecode where a take has no rate of its own.
    """

    by_number: dict[int, Heard]
    orders: dict[Order, list[int]]
    known: list[str]
    lasting: frozenset[str]
    n_labels: int
    rate: Rate

    def numbers(self, order: Order, show: Show) -> list[int]:
        """List sounds.

        Parameters
        ----------
        order : Order
            By what.
        show : Show
            Which.

        Returns
        -------
        list of int
            Their numbers.
        """
        return [
            number
            for number in self.orders[order]
            if show is Show.ALL or (self.by_number[number].label is None) == (show is Show.OPEN)
        ]


def sounds_of(
    log: Log,
    numbers: Numbers,
    *,
    model: Path,
    choose: Callable[[Iterable[TakeLog]], Iterable[TakeLog]] | None = None,
) -> Sounds:
    """Read the sounds of a log.

    Parameters
    ----------
    log : Log
        The log.
    numbers : Numbers
        Numbers of sounds that were read before.
    model : Path
        The taught model; it need not be there.
    choose : callable, optional
        Chooses among the takes.

    Returns
    -------
    Sounds
        The sounds.

    Raises
    ------
    LogError
        If the log cannot be read.
    """
    labels = log.labels_by_take()
    tagger = _tagger(model)
    take_logs = at_hand(log.take_logs(features=True), log.takes())
    chosen = list(choose(take_logs) if choose else take_logs)
    by_take = {
        one.take.path: of_take(one, labels.get(one.take.path, []), numbers) for one in chosen
    }
    heard: list[Heard] = []
    for path, copies in each_once(chosen).items():
        heard += of_recording(by_take[path], [by_take[copy] for copy in copies])
    heard = _guessed(heard, tagger)
    used = Counter(label.label for own in labels.values() for label in own)
    taught = tagger.classes if tagger is not None else ()
    used.update(dict.fromkeys(taught, 0))
    lasting = frozenset({NO_CALL, *NOISE_KINDS, *taught})
    return Sounds(
        by_number={one.number: one for one in heard},
        orders=_orders(heard, tagger),
        known=sorted((n for n in used if is_call_type(n)), key=lambda n: (-used[n], n))
        + sorted({n for n in used if not is_call_type(n)} | {NO_CALL, *NOISE_KINDS}),
        lasting=lasting,
        n_labels=sum(map(len, labels.values())),
        rate=common_rate(log.takes()),
    )


def _tagger(model: Path) -> Tagger | None:
    if not model.is_file():
        return None
    try:
        return load_model(model)
    except ModelError:  # teaching, which is one key away, writes it anew
        return None


def _guessed(heard: Sequence[Heard], tagger: Tagger | None) -> list[Heard]:
    """Give each sound its likeliest label, also where it is not sure enough for the log."""
    if tagger is None:
        return list(heard)
    n_features = tagger.panel.n_features
    fitting = {
        one.number: (one.call.features, one.take.path)
        for one in heard
        if one.call.features is not None and len(one.call.features) == n_features
    }
    if not fitting:
        return list(heard)
    features, takes = zip(*fitting.values(), strict=True)
    label, sure, _ = tagger.verdict(np.stack(features), np.array(takes))
    guesses = dict(zip(fitting, zip(label.tolist(), sure.tolist(), strict=True), strict=True))
    return [
        replace(one, guess=guesses[one.number][0], confidence=guesses[one.number][1])
        if one.number in guesses
        else one
        for one in heard
    ]


def _orders(heard: Sequence[Heard], tagger: Tagger | None) -> dict[Order, list[int]]:
    by_take = [one.number for one in heard]
    waiting = [
        (one, Sound(one.call.features, one.take.path, one.call.span))
        for one in heard
        if one.label is None and one.call.features is not None
    ]
    sounds = [sound for _, sound in waiting]
    odds = [one.call.call_probability for one, _ in waiting]
    cut_off = [is_cut_at_start(one.call) or is_cut_at_end(one.take, one.call) for one, _ in waiting]
    useful = [waiting[i][0].number for i in listening_order(sounds, odds, tagger, cut_off)]
    placed = set(useful)
    typed = sorted(heard, key=lambda one: (_type_key(one), -one.confidence))
    timed = sorted(heard, key=lambda one: _time_key(one.take, one.call.start_s))
    return {
        Order.USEFUL: useful + [number for number in by_take if number not in placed],
        Order.TYPE: [one.number for one in typed],
        Order.TAKE: by_take,
        Order.TIME: [one.number for one in timed],
    }


def _type_key(one: Heard) -> tuple[bool, str]:
    name = one.label.label if one.label else one.guess or one.call.label
    return not is_call_type(name), name.casefold()


def _time_key(take: Take, start_s: float) -> tuple[object, ...]:
    # To the day at least; what states no time goes by its timecode, then by its name.
    when = moment(take.recorded, start_s) or ""
    return when or "~", take.start_tc or "~", name_order(take.path), start_s
