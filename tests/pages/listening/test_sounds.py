"""All sounds of a log on the listening page: what is offered, in which order, with whose label."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from calltag.log import Log
from calltag.pages.listening.heard import Heard, Numbers, of_recording, of_take
from calltag.pages.listening.order import Order, Show
from calltag.pages.listening.sounds import Sounds, sounds_of
from calltag.records.found import Call, TakeLog
from calltag.records.label import CALL, NO_CALL, NOISE_KINDS, Label
from calltag.records.take import Take


def call(start_s: float, label: str = CALL, confidence: float = 0.5, **changes: object) -> Call:
    values: dict[str, object] = {
        "low_hz": 300.0,
        "high_hz": 600.0,
        "peak_hz": 400.0,
        "snr_db": 20.0,
        "level_dbfs": -40.0,
        "call_probability": 0.7,
    }
    return Call(
        start_s=start_s,
        end_s=start_s + 0.5,
        label=label,
        confidence=confidence,
        **(values | changes),
    )


def take(path: str, **changes: object) -> Take:
    values: dict[str, object] = {"rushes": "/r", "digest": path, "size_bytes": 1}
    return Take(path=path, duration_s=20.0, **(values | changes))


def said(path: str, start_s: float, label: str) -> Label:
    return Label(take=path, start_s=start_s, end_s=start_s + 0.5, label=label)


# One take


def test_a_sound_keeps_its_number() -> None:
    numbers = Numbers()
    one, other = take("A.mov"), take("B.mov")
    first = [numbers.of(one, call(1)), numbers.of(one, call(2)), numbers.of(other, call(1))]
    assert first == [1, 2, 3]
    assert numbers.of(one, replace(call(1), end_s=1.7)) == 4
    assert numbers.of(one, call(2, "pit rail: rasp")) == 2


def test_a_guess_is_what_was_named_and_no_more() -> None:
    named, open_, by_hand = call(1, "pit rail: rasp"), call(3), call(5, "lark", by_hand=True)
    log = TakeLog(take=take("A.mov"), calls=(named, open_, by_hand))
    labels = [said("A.mov", 5, "lark"), said("A.mov", 1, "pit rail: tick")]
    heard = of_take(log, labels, Numbers())
    assert [one.call for one in heard] == [named, open_, by_hand]
    assert [one.guess for one in heard] == ["pit rail: rasp", "", ""]
    assert [one.confidence for one in heard] == [0.5, 0.7, 1.0]
    assert [one.label and one.label.label for one in heard] == ["pit rail: tick", None, "lark"]


def test_of_copies_each_sound_is_there_once_with_the_label_of_either() -> None:
    """The take that stands for the recording first; of a sound that it lacks, a label counts."""

    def sounds(path: str, **labels: str) -> list[Heard]:
        return [
            Heard(
                number=0,
                take=take(path),
                call=call(start_s),
                label=said(path, start_s, labels[at]) if at in labels else None,
            )
            for at, start_s in (("one", 1.0), ("two", 2.0), ("before", 0.4))
        ]

    stands = [*sounds("A.mov", one="rasp")[:2]]
    copies = [sounds("B.mov", one="tick", two="boom"), sounds("C.mov", two="hiss", before="lark")]
    told = of_recording(stands, copies)
    assert [(one.take.path, one.call.start_s, one.label.label) for one in told] == [
        ("C.mov", 0.4, "lark"),
        ("A.mov", 1.0, "rasp"),
        ("B.mov", 2.0, "boom"),
    ]
    assert of_recording(stands, [sounds("B.mov")]) == stands


# All of a log


@pytest.fixture
def log(tmp_path: Path):
    with Log(tmp_path / "calltag.db") as opened:
        yield opened


def heard_of(log: Log, tmp_path: Path) -> Sounds:
    return sounds_of(log, Numbers(), model=tmp_path / "none.model")


def in_order(sounds: Sounds, order: Order, show: Show = Show.ALL) -> list[tuple[str, float]]:
    of = [sounds.by_number[number] for number in sounds.numbers(order, show)]
    return [(one.take.path, one.call.start_s) for one in of]


def test_labels_to_choose_from_begin_with_the_types_most_in_use(log, tmp_path) -> None:
    log.put(TakeLog(take=take("A.mov")), feature_version=1)
    names = ["tick", "boom", "rasp", "rasp", "machine/mower", "machine/mower", "machine/mower"]
    for n, name in enumerate(names):
        log.change_labels(put=[said("A.mov", float(n), name)])
    sounds = heard_of(log, tmp_path)
    others = sorted({"machine/mower", NO_CALL, *NOISE_KINDS})
    assert sounds.known == ["rasp", "boom", "tick", *others]
    assert sounds.lasting == {NO_CALL, *NOISE_KINDS}
    assert sounds.n_labels == len(names)


def test_by_type_the_calls_come_first_and_the_surest_of_each(log, tmp_path) -> None:
    calls = (
        call(1, "wind", 0.9),
        call(2, "Tick", 0.6),
        call(3, "rasp", 0.6),
        call(4, "rasp", 0.8),
        call(5),
        call(6, "tick", 0.7),
    )
    log.put(TakeLog(take=take("A.mov"), calls=calls), feature_version=1)
    log.change_labels(put=[said("A.mov", 3, "boom")])
    by_type = in_order(heard_of(log, tmp_path), Order.TYPE)
    # boom by the label, then rasp, and tick however it is spelt; then what is no call type
    assert [start_s for _, start_s in by_type][:4] == [3, 4, 6, 2]
    assert {start_s for _, start_s in by_type[4:]} == {1, 5}


def test_by_time_of_day_takes_without_a_date_go_by_timecode_and_then_by_name(log, tmp_path) -> None:
    for one in (
        take("A10.mov"),
        take("A9.mov"),
        take("B.mov", start_tc="09:00:00:00"),
        take("C.mov", start_tc="08:00:00:00"),
        take("D.mov", recorded="2026-04-18T06:00:05"),
        take("E.mov", recorded="2026-04-18T06:00:00"),
    ):
        log.put(TakeLog(take=one, calls=(call(2), call(9))), feature_version=1)
    sounds = heard_of(log, tmp_path)
    by_time = in_order(sounds, Order.TIME)
    assert by_time == [
        ("E.mov", 2),
        ("D.mov", 2),
        ("E.mov", 9),
        ("D.mov", 9),
        *((path, at) for path in ("C.mov", "B.mov", "A9.mov", "A10.mov") for at in (2, 9)),
    ]


def test_sounds_are_shown_by_whether_they_are_labelled(log, tmp_path) -> None:
    log.put(TakeLog(take=take("A.mov"), calls=(call(1), call(2), call(3))), feature_version=1)
    log.change_labels(put=[said("A.mov", 2, "boom")])
    sounds = heard_of(log, tmp_path)
    for show, starts_s in ((Show.ALL, [1, 2, 3]), (Show.OPEN, [1, 3]), (Show.LABELLED, [2])):
        assert [start_s for _, start_s in in_order(sounds, Order.TAKE, show)] == starts_s
    # what was not measured has no order of use: it comes after, as it lies in its take
    assert [start_s for _, start_s in in_order(sounds, Order.USEFUL)] == [1, 2, 3]
