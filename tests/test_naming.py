from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from calltag.errors import InputError, LogError, MediaError, ModelError
from calltag.learn.call_types.model_file import read_card
from calltag.learn.labels.by_hand import with_labels
from calltag.log import Log
from calltag.naming import measure_labels, name_finds, teach_log
from calltag.records.found import Call, NoiseSpan, TakeLog
from calltag.records.label import Label
from calltag.records.span import Span
from calltag.records.take import Levels, Take
from calltag.sound.features import FEATURE_VERSION

LEVELS = Levels(peak_dbfs=-6, clipped=0, loudness_lufs=-30, floor_dbfs=-60)


def take(path: str) -> Take:
    return Take(
        path=path,
        rushes="/ashmere",
        digest=path,
        size_bytes=1,
        duration_s=60.0,
        sample_rate_hz=48_000,
        channels=1,
        levels=LEVELS,
    )


def call(start_s: float, features: np.ndarray) -> Call:
    return Call(
        start_s=start_s,
        end_s=start_s + 1,
        low_hz=900,
        high_hz=1500,
        peak_hz=1000,
        snr_db=3,
        level_dbfs=-44,
        call_probability=0.9,
        confidence=0.9,
        features=features.astype(np.float32),
    )


# Labels whose sound has to be measured


def measured(start_s: float) -> Call:
    return call(start_s, np.ones(4))


@pytest.fixture
def measured_by(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[..., list[Call]]], None]:
    """Call it to have sound measured, from then on, by another than the finder."""

    def measured_by(measure: Callable[..., list[Call]]) -> None:
        monkeypatch.setattr("calltag.naming.finder", lambda: SimpleNamespace(measure=measure))

    return measured_by


@pytest.fixture
def log(tmp_path: Path):
    with Log(tmp_path / "calltag.db") as log:
        log.put(
            TakeLog(take=take("A001.mov"), calls=(measured(1.0),)), feature_version=FEATURE_VERSION
        )
        yield log


def test_the_sound_under_a_label_without_find_is_measured_once(log: Log, measured_by) -> None:
    asked = []
    silent = replace(take("S001.mov"), sample_rate_hz=None, channels=0, levels=None)
    log.put(TakeLog(take=silent), feature_version=FEATURE_VERSION)

    def measure(file, spans):
        asked.append((file, [span.start_s for span in spans]))
        return [measured(span.start_s + 0.004) for span in spans]

    log.change_labels(
        put=[
            Label(take="A001.mov", start_s=1.0, end_s=2.0, label="pit rail"),
            Label(take="A001.mov", start_s=30.0, end_s=31.5, label="pit rail"),
            Label(
                take="S001.mov", start_s=30.0, end_s=31.5, label="pit rail"
            ),  # nothing to measure
        ]
    )
    measured_by(measure)
    assert measure_labels(log) == []
    assert measure_labels(log) == []
    assert asked == [(Path("/ashmere/A001.mov"), [30.0])]
    assert [(c.start_s, c.end_s, c.by_hand) for c in log.take_log("A001.mov").calls] == [
        (1.0, 2.0, False),
        (30.0, 31.5, True),
    ]


def test_a_label_waits_for_a_take_that_is_not_at_hand(log: Log, measured_by) -> None:
    log.change_labels(put=[Label(take="A001.mov", start_s=30.0, end_s=31.0, label="pit rail")])

    def refuse(file, _spans):
        raise MediaError(file, "is gone; check the drive or card")

    measured_by(refuse)
    assert measure_labels(log) == [
        "A001.mov: is gone; check the drive or card (1 of its labels wait for that)"
    ]
    measured_by(lambda _file, _spans: [measured(30.0)])
    assert measure_labels(log) == []
    assert log.take_log("A001.mov").calls[-1].by_hand


# Teaching, on measurements drawn around one point for each type

POINTS = {"marsh hooter: boom": -4.0, "pit rail": 0.0, "no call": 4.0}


@pytest.fixture
def shoot(tmp_path: Path, rng: np.random.Generator):
    """Four takes of nine calls, three of each kind; of each kind two are labelled."""
    with Log(tmp_path / "calltag.db") as log:
        for number in range(4):
            path = f"A00{number}.mov"
            calls, labels = [], []
            for index, (label, point) in enumerate(POINTS.items()):
                for again in range(3):
                    start_s = float(10 * index + 3 * again)
                    calls.append(call(start_s, point + 0.3 * rng.normal(size=6)))
                    if again < 2:
                        labels.append(
                            Label(take=path, start_s=start_s, end_s=start_s + 1, label=label)
                        )
            log.put(TakeLog(take=take(path), calls=tuple(calls)), feature_version=FEATURE_VERSION)
            log.change_labels(put=labels)
        yield log


def test_labels_of_takes_that_another_version_logged_are_told(shoot: Log, tmp_path: Path) -> None:
    for one in list(shoot.take_logs(features=True)):
        shoot.put(one, feature_version=FEATURE_VERSION - 1)
    with pytest.raises(InputError, match="all 24 labels; log the rushes again, the labels stay"):
        teach_log(shoot, tmp_path / "calltag.model")
    assert not (tmp_path / "calltag.model").exists()


def test_copies_teach_nothing_twice_and_are_no_strangers(
    shoot: Log, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A backup's calls are those that were labelled; a label in it is of the same recording."""
    from calltag.learn.call_types import teach as module

    learnt = []
    teach = module.teach
    monkeypatch.setattr(
        module,
        "teach",
        lambda known, *, unlabelled, company: (
            learnt.append((list(known), list(unlabelled)))
            or teach(known, unlabelled=unlabelled, company=company)
        ),
    )
    teach_log(shoot, tmp_path / "alone.model")
    one = shoot.take_log("A000.mov", features=True)
    backup = replace(one.take, path="backup/A000.mov")
    shoot.put(replace(one, take=backup), feature_version=FEATURE_VERSION)
    [first, *_] = [label for label in shoot.labels() if label.take == "A000.mov"]
    moved = replace(first, take=backup.path, group="one animal")
    shoot.change_labels(remove=[first], put=[moved])
    teach_log(shoot, tmp_path / "with.model")
    (known, strangers), (known_too, strangers_too) = learnt
    assert len(known_too) == len(known) == 24
    assert len(strangers_too) == len(strangers) == 12
    groups = Counter(example.group for example in known_too)
    assert groups == {"A000.mov": 5, "A001.mov": 6, "A002.mov": 6, "A003.mov": 6, "one animal": 1}


def test_no_model_is_stored_where_the_log_may_not_be_written_to(
    shoot: Log, tmp_path: Path, archived
) -> None:
    shoot.close()  # what it wrote is in the file itself
    archived()
    with Log(shoot.path) as locked, pytest.raises(LogError, match="may not be written to"):
        teach_log(locked, tmp_path / "calltag.model")
    assert not (tmp_path / "calltag.model").exists()


def test_types_are_learnt_from_labels_and_given_to_all_calls(shoot: Log, tmp_path: Path) -> None:
    shoot.put(shoot.take_log("A003.mov", features=True), feature_version=FEATURE_VERSION + 1)
    model = tmp_path / "calltag.model"
    report, notes = teach_log(shoot, model)
    assert notes == [
        "6 labels are of takes that another version of calltag logged, and were not learnt from; "
        "log the rushes again"
    ]
    assert (report.validation.checked, report.validation.right) == (18, 18)
    assert read_card(model).examples == dict.fromkeys(POINTS, 6)

    *current, other = shoot.take_logs()
    assert {call.label for call in other.calls} == {"call"}
    named = [call for one in current for call in one.calls if call.label != "call"]
    assert len(named) >= 20, "three of four at least"
    assert all(call.label == list(POINTS)[int(call.start_s // 10)] for call in named)
    assert not any(call.by_hand for call in named)
    models = [entry.model for entry in shoot.entries()]
    assert models[0] is not None
    assert models[0].startswith("calltag.model ")
    assert models == [models[0]] * 3 + [None]


def test_types_that_teaching_takes_from_the_model_are_told(shoot: Log, tmp_path: Path) -> None:
    """A second spring: the model came from the library, and this log has labels of one type."""
    model = tmp_path / "calltag.model"
    assert teach_log(shoot, model)[1] == []
    assert teach_log(shoot, model)[1] == [], "nothing is lost"
    shoot.change_labels(
        remove=[one for one in shoot.labels() if one.label in ("marsh hooter: boom", "no call")],
        put=[replace(one, label="pit rail: rasp") for one in shoot.labels() if one.start_s == 10],
    )
    (note,) = teach_log(shoot, model)[1]
    assert note.startswith(
        "The model before knew what these labels do not name: marsh hooter: boom. "
    )
    assert "`calltag library teach`" in note


def test_a_model_names_takes_only_when_it_is_another_than_before(
    log: Log, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tagged = []

    class Tagger:
        classes = ("pit rail",)

        def tag(self, features: np.ndarray, _takes: np.ndarray) -> list[tuple[str, float]]:
            tagged.append(len(features))
            return [("pit rail", 0.8)] * len(features)

    monkeypatch.setattr("calltag.learn.call_types.model_file.load_model", lambda _path: Tagger())
    model = tmp_path / "calltag.model"
    model.write_bytes(b"one")
    for _ in range(2):
        name_finds(log, model)
    assert tagged == [1]
    model.write_bytes(b"another")
    name_finds(log, model)
    assert tagged == [1, 1]
    log.put(log.take_log("A001.mov", features=True), feature_version=FEATURE_VERSION)
    name_finds(log, model)
    assert tagged == [1, 1, 1]


def test_a_model_that_another_command_replaces_meanwhile_is_not_taken_for_the_new_one(
    log: Log, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    model = tmp_path / "calltag.model"
    model.write_bytes(b"pit rail")

    def load(path: Path) -> SimpleNamespace:
        label = path.read_text()
        path.write_bytes(b"marsh hooter")
        return SimpleNamespace(classes=(label,), tag=lambda rows, _: [(label, 0.8)] * len(rows))

    monkeypatch.setattr("calltag.learn.call_types.model_file.load_model", load)
    names = []
    for _ in range(2):
        name_finds(log, model)
        names.append(log.take_log("A001.mov").calls[0].label)
    assert names == ["pit rail", "marsh hooter"]


def test_without_labels_there_is_nothing_to_learn(log: Log, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no label yet; name five or more"):
        teach_log(log, tmp_path / "calltag.model")
    assert not (tmp_path / "calltag.model").exists()


@pytest.mark.parametrize("content", [None, b"", b"not a model", json.dumps({}).encode()])
def test_a_file_that_is_no_model_is_refused(log: Log, tmp_path: Path, content) -> None:
    model = tmp_path / "some.model"
    if content is not None:
        model.write_bytes(content)
    with pytest.raises(ModelError, match=r"some\.model"):
        name_finds(log, model)
    assert log.entries()[0].model is None


# Noise that nothing was found in


def noise(kind: str, start_s: float, end_s: float) -> NoiseSpan:
    return NoiseSpan(
        start_s=start_s,
        end_s=end_s,
        kind=kind,
        confidence=0.9,
        level_dbfs=-40,
        low_hz=50,
        high_hz=900,
    )


@pytest.fixture
def with_noise(shoot: Log, tmp_path: Path, rng: np.random.Generator):
    """The shoot taught a trimmer as well, and a take of steady noise without a find."""
    steady = (noise("machine", 5, 25), noise("machine", 40, 40.5), noise("wind", 30, 38))
    for number in range(4):
        log = shoot.take_log(f"A00{number}.mov", features=True)
        runs = [call(50.0 + 2 * k, 9 + 0.3 * rng.normal(size=6)) for k in range(3)]
        shoot.put(
            TakeLog(take=log.take, calls=(*log.calls, *runs)), feature_version=FEATURE_VERSION
        )
        shoot.change_labels(
            put=[
                Label(
                    take=log.take.path,
                    start_s=c.start_s,
                    end_s=c.end_s,
                    label="machine/hedge trimmer",
                )
                for c in runs
            ]
        )
    shoot.put(
        TakeLog(take=take("B001.mov"), calls=(call(14.0, np.zeros(6)),), noise=steady),
        feature_version=FEATURE_VERSION,
    )
    return shoot


def test_noise_without_finds_is_named_by_an_excerpt(with_noise, tmp_path, measured_by) -> None:
    asked: list[tuple[Path, list[Span]]] = []

    def measure(file, spans):
        asked.append((file, list(spans)))
        return [call(span.start_s, np.full(6, 9.0)) for span in spans]

    measured_by(measure)
    model = tmp_path / "calltag.model"
    _, notes = teach_log(with_noise, model)
    assert notes == []
    # the machine, where it is long enough, and not the wind: no detail of wind was taught
    ((file, (excerpt,)),) = asked
    assert file == Path("/ashmere/B001.mov")
    assert excerpt.length_s == pytest.approx(3)
    assert excerpt.start_s >= 5
    assert excerpt.end_s <= 14 or excerpt.start_s >= 15  # not in what was found there
    shown = with_labels(with_noise.take_log("B001.mov"), [])
    assert [n.kind for n in shown.noise] == ["machine/hedge trimmer", "wind", "machine"]
    # it is measured once; and read again with the take
    assert name_finds(with_noise, model)[1] == []
    assert len(asked) == 1
    again = with_noise.take_log("B001.mov")
    with_noise.put(again, feature_version=FEATURE_VERSION)
    assert name_finds(with_noise, model)[1] == []
    assert len(asked) == 2


@pytest.mark.parametrize(
    ("span_s", "found_s", "excerpt_s"),
    [
        ((5, 25), [], (13.5, 16.5)),  # the middle
        # 17 s can be moved by: a tenth of that later, where nothing was found
        ((5, 25), [14.0], (15.2, 18.2)),
        ((5, 25), [14.0, 17.0], (10.1, 13.1)),  # or where that is nearest: two tenths earlier
        ((5, 6.2), [], (5, 6.2)),  # all of a short one
        ((5, 6), [], (5, 6)),
        ((5, 5.9), [], None),  # too short to tell a detail by
    ],
)
def test_an_excerpt_of_noise_lies_near_its_middle_beside_what_was_found(
    with_noise, tmp_path, measured_by, span_s, found_s, excerpt_s
) -> None:
    asked: list[Span] = []

    def measure(_file, spans):
        asked.extend(spans)
        return [call(span.start_s, np.full(6, 9.0)) for span in spans]

    measured_by(measure)
    found = tuple(call(start_s, np.zeros(6)) for start_s in found_s)
    steady = (noise("machine", *span_s),)
    with_noise.put(
        TakeLog(take=take("B001.mov"), calls=found, noise=steady), feature_version=FEATURE_VERSION
    )
    teach_log(with_noise, tmp_path / "calltag.model")
    assert [tuple(map(pytest.approx, span)) for span in asked] == ([excerpt_s] if excerpt_s else [])


def test_noise_that_sounds_of_nothing_taught_keeps_its_name(with_noise, tmp_path, measured_by):
    measured_by(lambda _file, spans: [call(s.start_s, np.full(6, -4.0)) for s in spans])
    teach_log(with_noise, tmp_path / "calltag.model")
    shown = with_labels(with_noise.take_log("B001.mov"), [])
    assert [n.kind for n in shown.noise] == ["machine", "wind", "machine"]


def test_noise_of_a_take_that_is_not_at_hand_waits(with_noise, tmp_path, measured_by) -> None:
    def refuse(file, _spans):
        raise MediaError(file, "is gone; check the drive or card")

    measured_by(refuse)
    model = tmp_path / "calltag.model"
    _, notes = teach_log(with_noise, model)
    assert notes == [
        "B001.mov: is gone; check the drive or card (its noise has no details until then)"
    ]
    found = [call(9.0, np.full(6, 9.0))]
    measured_by(lambda *_: found)
    assert name_finds(with_noise, model)[1] == []
    assert with_labels(with_noise.take_log("B001.mov"), []).noise[0].kind == "machine/hedge trimmer"


def test_without_a_taught_detail_no_noise_is_measured(shoot, tmp_path, measured_by) -> None:
    shoot.put(
        TakeLog(take=take("B001.mov"), noise=(noise("machine", 5, 25),)),
        feature_version=FEATURE_VERSION,
    )
    model = tmp_path / "calltag.model"
    teach_log(shoot, model)

    def never(*_):
        raise AssertionError

    measured_by(never)
    assert name_finds(shoot, model)[1] == []
