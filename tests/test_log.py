from __future__ import annotations

import json
import math
import shutil
import signal
import sqlite3
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from calltag.errors import LogError, NameTakenError
from calltag.log import APPLICATION_ID, MIGRATIONS, SCHEMA_VERSION, Log
from calltag.records.alignment import Alignment
from calltag.records.found import Call, NoiseSpan, Picture, TakeLog, with_noise
from calltag.records.label import NOISE_KINDS, Label
from calltag.records.span import Span
from calltag.records.take import ChannelFault, FaultKind, Levels, Problem, Take
from calltag.sound.faults import said

ROOT = Path(__file__).resolve().parents[1]


def take(path: str = "A001.mov", **changes: object) -> Take:
    values: dict[str, object] = {
        "path": path,
        "rushes": "/ashmere",
        "digest": f"digest of {path}",
        "size_bytes": 1234,
        "duration_s": 60.0,
    }
    return Take(**(values | changes))  # type: ignore[arg-type]


def call(start_s: float = 1.0, **changes: object) -> Call:
    values: dict[str, object] = {
        "start_s": start_s,
        "end_s": start_s + 0.5,
        "low_hz": 2000.0,
        "high_hz": 4000.0,
        "peak_hz": 3000.0,
        "snr_db": 12.5,
        "level_dbfs": -31.0,
        "call_probability": 0.9,
        "features": np.array([start_s, 2.0, 3.0], np.float32),
    }
    return Call(**(values | changes))  # type: ignore[arg-type]


@pytest.fixture
def log(tmp_path: Path):
    with Log(tmp_path / "calltag.db") as log:
        yield log


# What goes in comes out

floats = st.floats(allow_nan=False, width=64)
words = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=12)
optional_levels = st.none() | st.builds(
    Levels,
    peak_dbfs=floats,
    clipped=st.integers(0, 2**40),
    loudness_lufs=floats,
    floor_dbfs=floats,
    channel=st.sampled_from(["1", "2", "1+2"]),
    faults=st.lists(words, max_size=3).map(tuple),
    channel_faults=st.lists(
        st.builds(
            ChannelFault,
            st.sampled_from(FaultKind),
            st.lists(st.integers(1, 64), max_size=3).map(tuple),
            st.integers(0, 64),
            st.floats(0, 1e5),
            floats,
        ),
        max_size=3,
    ).map(tuple),
    broken=st.lists(st.builds(Span, st.floats(0, 1e5), st.floats(0, 1e5)), max_size=5).map(tuple),
)
takes = st.builds(
    Take,
    path=words.filter(bool),
    rushes=words,
    digest=words,
    size_bytes=st.integers(0, 2**62),
    duration_s=st.floats(0, 1e6),
    fps=st.none() | st.fractions(Fraction(1), Fraction(1000), max_denominator=1001),
    variable_rate=st.booleans(),
    picture_s=st.none() | floats,
    start_tc=st.none() | st.sampled_from(["10:00:00;00", "23:59:59:24"]),
    time_reference=st.none() | st.integers(0, 2**62),
    recorded=st.none() | words,
    sample_rate_hz=st.none() | st.integers(8000, 768_000),
    channels=st.integers(0, 64),
    width=st.integers(0, 8192),
    height=st.integers(0, 8192),
    levels=optional_levels,
)
calls = st.builds(
    Call,
    start_s=st.floats(0, 1e5),
    end_s=st.floats(0, 1e5),
    low_hz=floats,
    high_hz=floats,
    peak_hz=floats,
    snr_db=floats,
    level_dbfs=floats,
    call_probability=st.floats(0, 1),
    label=words,
    confidence=st.floats(0, 1),
)
noises = st.builds(
    NoiseSpan,
    start_s=st.floats(0, 1e5),
    end_s=st.floats(0, 1e5),
    kind=words | st.sampled_from(NOISE_KINDS),
    confidence=st.floats(0, 1),
    level_dbfs=floats,
    low_hz=floats,
    high_hz=floats,
    detail=words,
)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.builds(
        TakeLog,
        take=takes,
        calls=st.lists(calls, max_size=4).map(tuple),
        noise=st.lists(noises, max_size=4).map(tuple),
    )
)
def test_a_take_comes_out_as_it_went_in(log: Log, stored: TakeLog) -> None:
    log.forget([stored.take.path])  # of an example before, below another rushes folder
    log.put(stored, feature_version=1)
    read = log.take_log(stored.take.path)

    def in_order(items):
        return sorted(items, key=repr)

    assert read.take == stored.take
    assert in_order(read.calls) == in_order(with_noise(stored.calls, stored.noise))
    assert in_order(read.noise) == in_order(stored.noise)
    assert [c.start_s for c in read.calls] == sorted(c.start_s for c in stored.calls)


def test_features_come_out_bit_for_bit(log: Log, rng: np.random.Generator) -> None:
    features = rng.normal(size=(5, 70)).astype(np.float32)
    features[2, 3] = np.inf
    features[3, 0] = np.nan
    log.put(
        TakeLog(take=take(), calls=tuple(call(i, features=row) for i, row in enumerate(features))),
        feature_version=3,
    )
    read = log.take_log("A001.mov", features=True)
    np.testing.assert_array_equal(np.stack([c.features for c in read.calls]), features)
    assert all(c.features.dtype == np.float32 for c in read.calls)
    assert all(c.features is None for c in log.take_log("A001.mov").calls)
    assert given_to_a_model(log, 4) == []
    np.testing.assert_array_equal(given_to_a_model(log, 3)[0], features)


def test_a_measure_that_could_not_be_taken_comes_out_as_nan(log: Log) -> None:
    log.put(TakeLog(take=take(), calls=(call(snr_db=math.nan),)), feature_version=1)
    assert math.isnan(log.take_log("A001.mov").calls[0].snr_db)


def test_exact_rates_are_stored_as_text(log: Log) -> None:
    log.put(TakeLog(take=take(fps=Fraction(30000, 1001))), feature_version=1)
    with sqlite3.connect(log.path) as db:
        assert db.execute("SELECT fps FROM takes").fetchone() == ("30000/1001",)
    db.close()


def test_logging_a_take_again_replaces_its_finds(log: Log) -> None:
    wind, water = (
        NoiseSpan(
            start_s=0, end_s=9, kind=kind, confidence=1.0, level_dbfs=-30, low_hz=20, high_hz=300
        )
        for kind in ("wind", "water")
    )
    log.put(TakeLog(take=take(), calls=(call(1), call(2)), noise=(wind,)), feature_version=1)
    log.put(TakeLog(take=take(), calls=(call(5),), noise=(water,)), feature_version=2)
    (entry,) = log.entries()
    assert entry.feature_version == 2
    assert [c.start_s for c in log.take_log("A001.mov").calls] == [5.0]
    assert [noise.kind for noise in log.take_log("A001.mov").noise] == ["water"]


def test_a_name_of_another_file_below_other_rushes_is_not_taken_from_it(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    with pytest.raises(NameTakenError, match=r"A001\.mov: the log has this name for a take in"):
        log.put(TakeLog(take=take(digest="other", rushes="/elsewhere")), feature_version=1)
    assert log.takes() == [take()]


def test_takes_come_in_order_of_path(log: Log) -> None:
    for name in ("b.mov", "a/z.mov", "a/b.mov"):
        log.put(TakeLog(take=take(name)), feature_version=1)
    assert [t.path for t in log.takes()] == ["a/b.mov", "a/z.mov", "b.mov"]
    assert [t.take.path for t in log.take_logs()] == ["a/b.mov", "a/z.mov", "b.mov"]


def test_takes_are_listed_as_people_order_names(log: Log) -> None:
    """Capitals do not count, and clip 2 comes before clip 10."""
    paths = ["card A1/x.mov", "Karte B/clip 2.mov", "Karte B/clip 10.mov", "Zoo.mov"]
    for path in reversed(paths):
        log.put(TakeLog(take=take(path)), feature_version=1)
        log.change_labels(put=[Label(take=path, start_s=1.0, end_s=2.0, label="wind")])
        log.put_problem("/ashmere", Problem(path=f"{path} 2", reason="it is empty"))
    assert [one.path for one in log.takes()] == paths
    assert [one.take.path for one in log.take_logs()] == paths
    assert [label.take for label in log.labels()] == paths
    assert [problem.path for _, problem in log.problems()] == [f"{path} 2" for path in paths]


def test_an_unknown_take_is_told(log: Log) -> None:
    with pytest.raises(LogError, match=r"^B\.mov: no such take in calltag\.db; "):
        log.take_log("B.mov")


def given_to_a_model(log: Log, feature_version: int) -> list[np.ndarray]:
    """What `Log.give_types` hands to a model that knows no type."""
    given = []

    def tag(features: np.ndarray) -> list[tuple[str, float]]:
        given.append(features)
        return [("call", 0.5)] * len(features)

    log.give_types(tag, feature_version=feature_version, model="none")
    return given


# Files that moved


def test_two_takes_may_exchange_names(log: Log) -> None:
    log.put(TakeLog(take=take("a"), calls=(call(1),)), feature_version=1)
    log.put(TakeLog(take=take("b"), calls=(call(2),)), feature_version=1)
    log.move({"a": ("/elsewhere", "b"), "b": ("/ashmere", "a")})
    assert [(t.path, t.rushes, t.digest) for t in log.takes()] == [
        ("a", "/ashmere", "digest of b"),
        ("b", "/elsewhere", "digest of a"),
    ]
    assert log.take_log("a").calls[0].start_s == 2.0


def test_labels_and_finds_go_with_a_moved_take(log: Log) -> None:
    log.put(TakeLog(take=take("a"), calls=(call(1),)), feature_version=1)
    log.change_labels(put=[Label(take="a", start_s=1, end_s=1.5, label="marsh hooter: boom")])
    log.move({"a": ("/ashmere", "hide/a")})
    assert [label.take for label in log.labels()] == ["hide/a"]
    assert len(log.take_log("hide/a").calls) == 1


def test_a_forgotten_take_leaves_nothing(log: Log) -> None:
    log.put(
        TakeLog(
            take=take(),
            calls=(call(),),
            noise=(
                NoiseSpan(
                    start_s=0,
                    end_s=9,
                    kind="wind",
                    confidence=0.8,
                    level_dbfs=-30,
                    low_hz=20,
                    high_hz=200,
                ),
            ),
        ),
        feature_version=1,
    )
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="wind")])
    log.forget(["A001.mov"])
    with sqlite3.connect(log.path) as db:
        for table in ("takes", "calls", "noise", "labels", "pictures"):
            assert db.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)
    db.close()


# Labels


def test_a_label_for_the_same_stretch_replaces_the_earlier(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")])
    again = Label(take="A001.mov", start_s=1, end_s=2, label="no call", group="first light")
    log.change_labels(put=[again])
    assert log.labels() == [again]


def test_one_unknown_take_keeps_all_labels_out(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    labels = [
        Label(take="A001.mov", start_s=1, end_s=2, label="pit rail"),
        Label(take="A002.mov", start_s=1, end_s=2, label="pit rail"),
    ]
    with pytest.raises(LogError, match=r"A002\.mov: no such take"):
        log.change_labels(put=labels)
    assert log.labels() == []


@pytest.mark.parametrize(("new_length_s", "kept"), [(60.02, 1), (58.0, 0)])
def test_labels_stay_only_where_a_replaced_file_has_the_same_length(
    log: Log, new_length_s: float, kept: int
) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")])
    earlier = log.put(
        TakeLog(take=take(digest="other", duration_s=new_length_s)), feature_version=1
    )
    assert earlier == (None if kept else "earlier/A001.mov")
    assert [label.take for label in log.labels()] == [earlier or "A001.mov"]


@pytest.mark.parametrize(
    ("before", "after", "kept"),
    [
        ({"recorded": "2026-05-01T04:00:00Z"}, {"recorded": "2026-05-02T04:00:00Z"}, 0),
        ({"start_tc": "04:00:00:00"}, {"start_tc": "05:10:00:00"}, 0),
        ({"time_reference": 48_000}, {"time_reference": 96_000}, 0),
        ({"recorded": "2026-05-01"}, {"recorded": "2026-05-01", "start_tc": "04:00:00:00"}, 1),
        (
            {"recorded": "2026-05-01T04:00:00Z", "start_tc": "00:00:00:00"},
            {"recorded": "2026-05-01T04:00:00Z", "start_tc": "04:00:00:00"},
            1,
        ),
        ({"recorded": "2026-05-01"}, {}, 1),
    ],
)
def test_labels_of_a_replaced_file_stay_unless_it_began_at_another_time(
    log: Log, before: dict[str, object], after: dict[str, object], kept: int
) -> None:
    """Cameras at a nest make clips of one length, and use their names again."""
    log.put(TakeLog(take=take(**before)), feature_version=1)
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")])
    earlier = log.put(TakeLog(take=take(digest="d", **after)), feature_version=1)
    assert earlier == (None if kept else "earlier/A001.mov")
    assert [label.take for label in log.labels()] == [earlier or "A001.mov"]


def test_an_earlier_recording_keeps_all_that_the_log_had_of_it(log: Log) -> None:
    for number, start_s in enumerate((1, 9, 20)):
        one = TakeLog(take=take(digest=f"d{number}"), calls=(call(start_s),))
        log.put(one, feature_version=1)
        log.put_pictures("A001.mov", [picture(start_s)])
    starts = {
        one.take.path: [
            (c.start_s, p.start_s) for c, p in zip(one.calls, one.pictures, strict=True)
        ]
        for one in log.take_logs()
    }
    assert starts == {
        "A001.mov": [(20, 20)],
        "earlier/A001.mov": [(1, 1)],
        "earlier 2/A001.mov": [(9, 9)],
    }


def test_an_edit_of_a_take_replaces_it_unless_its_labels_do_not_fit(log: Log) -> None:
    """Its calls are found where they were, or it states the hour of its take."""
    recorded = "2026-05-01T04:00:00Z"
    old = take(recorded=recorded)
    log.put(TakeLog(take=old, calls=(call(1), call(9))), feature_version=1)
    edits = [
        TakeLog(take=take(digest="treated"), calls=(call(1.1), call(8.9))),
        TakeLog(take=take(digest="muted", recorded=recorded)),
        TakeLog(take=take(digest="cut", recorded=recorded, duration_s=9.0), calls=(call(3),)),
    ]
    for edit in edits:
        assert log.put(edit, feature_version=1) is None
        log.put(TakeLog(take=old, calls=(call(1), call(9))), feature_version=1)
    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")])
    assert log.put(edits[-1], feature_version=1) == "earlier/A001.mov"


@pytest.mark.parametrize(
    ("before", "again", "same"), [(4, 1, False), (4, 2, True), (5, 2, False), (5, 3, True)]
)
def test_a_changed_file_is_the_take_it_was_where_half_its_calls_are_found_again(
    log: Log, before: int, again: int, same: bool
) -> None:
    was = [call(9 * number + 1) for number in range(before)]
    log.put(TakeLog(take=take(), calls=tuple(was)), feature_version=1)
    # The first is found in two pieces now, and counts once; another call is new.
    now = [call(one.start_s + 0.1) for one in was[:again]] + [call(1.3), call(55)]
    earlier = log.put(TakeLog(take=take(digest="d"), calls=tuple(now)), feature_version=1)
    assert earlier == (None if same else "earlier/A001.mov")


def test_what_is_measured_again_under_a_label_replaces_what_was(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    label = Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")
    log.change_labels(put=[label])
    for peak_hz in (2500.0, 3500.0):
        log.put_measured([(label, call(1, end_s=2.0, peak_hz=peak_hz))])
    assert [one.peak_hz for one in log.take_log("A001.mov").calls] == [3500.0]


def test_what_was_measured_under_a_label_comes_and_goes_with_it(log: Log) -> None:
    log.put(TakeLog(take=take(), calls=(call(9),)), feature_version=1)
    label = Label(take="A001.mov", start_s=1, end_s=2, label="pit rail")
    log.change_labels(put=[label])
    log.put_measured([(label, call(1, end_s=2.0, call_probability=0.1))])
    measured, found = log.take_log("A001.mov").calls
    assert (measured.label, measured.confidence, measured.by_hand) == ("pit rail", 1.0, True)
    assert not found.by_hand
    (matrix,) = given_to_a_model(log, 1)
    assert matrix[:, 0].tolist() == [9.0], "only finds are given types by a model"
    assert log.take_log("A001.mov").calls[0].label == "pit rail"

    log.change_labels(put=[Label(take="A001.mov", start_s=1, end_s=2, label="lesser reedling")])
    assert log.take_log("A001.mov").calls[0].label == "lesser reedling"

    log.change_labels(remove=[label])
    assert log.labels() == []
    assert [c.start_s for c in log.take_log("A001.mov").calls] == [9.0]


# Takes that heard the same moment


def picture(start_s: float = 1.0, **changes: object) -> Picture:
    values: dict[str, object] = {
        "start_s": start_s,
        "end_s": start_s + 0.8,
        "drift_permille_per_s": 3.5,
        "jitter_permille": 0.25,
        "blur_permille": None,
        "pixel_permille": 0.78125,
    }
    return Picture(**(values | changes))  # type: ignore[arg-type]


def test_pictures_come_out_as_they_went_in(log: Log) -> None:
    log.put(TakeLog(take=take()), feature_version=1)
    untold = picture(4.0, drift_permille_per_s=None, jitter_permille=None, blur_permille=1.5)
    log.put_pictures("A001.mov", [untold, picture()])
    log.put_pictures("A001.mov", [picture(jitter_permille=0.5)])
    log.put_pictures("gone.mov", [picture()])
    assert log.take_log("A001.mov").pictures == (picture(jitter_permille=0.5), untold)


def test_pictures_stay_only_where_the_file_is_the_same(log: Log) -> None:
    log.put(TakeLog(take=take(digest="1")), feature_version=1)
    log.put_pictures("A001.mov", [picture()])
    log.put(TakeLog(take=take(digest="1")), feature_version=2)
    assert log.take_log("A001.mov").pictures == (picture(),)
    log.put(TakeLog(take=take(digest="2")), feature_version=2)
    assert log.take_log("A001.mov").pictures == ()


def alignment(take_a: str = "A001.mov", take_b: str = "B001.mov", **changes: object) -> Alignment:
    values: dict[str, object] = {
        "take_a": take_a,
        "take_b": take_b,
        "offset_s": 5.54,
        "drift_ppm": 80.0,
        "confidence": 0.98,
        "overlap_s": 10.8,
    }
    return Alignment(**(values | changes))  # type: ignore[arg-type]


@pytest.fixture
def two_cameras(log: Log) -> Log:
    for path in ("A001.mov", "B001.mov", "B002.mov"):
        log.put(TakeLog(take=take(path)), feature_version=1)
    return log


def test_alignments_come_out_as_they_went_in(two_cameras: Log) -> None:
    pairs = [alignment(), alignment("A001.mov", "B002.mov", offset_s=-7.25, drift_ppm=-3.5)]
    for pair in reversed(pairs):
        two_cameras.put_alignment(pair)
    assert two_cameras.alignments() == pairs


def test_a_pair_has_one_alignment_whichever_way_round(two_cameras: Log) -> None:
    two_cameras.put_alignment(alignment())
    other_way = alignment("B001.mov", "A001.mov", offset_s=-5.54)
    two_cameras.put_alignment(other_way)
    assert two_cameras.alignments() == [other_way]
    two_cameras.remove_alignment("A001.mov", "B001.mov")
    assert two_cameras.alignments() == []


def test_an_alignment_of_an_unknown_take_is_told(two_cameras: Log) -> None:
    two_cameras.put_alignment(alignment())
    with pytest.raises(LogError, match=r"C001\.mov: no such take"):
        two_cameras.put_alignment(alignment("A001.mov", "C001.mov"))
    assert two_cameras.alignments() == [alignment()]


@pytest.mark.parametrize(("duration_s", "kept"), [(60.0, True), (60.04, True), (61.0, False)])
def test_alignments_stay_only_where_a_replaced_file_has_the_same_length(
    two_cameras: Log, duration_s: float, kept: bool
) -> None:
    two_cameras.put_alignment(alignment())
    two_cameras.put_alignment(alignment("B002.mov", "A001.mov"))
    two_cameras.put(TakeLog(take=take("B001.mov", duration_s=duration_s)), feature_version=1)
    others = [alignment("B002.mov", "A001.mov")]
    assert two_cameras.alignments() == ([alignment(), *others] if kept else others)


def test_an_alignment_goes_with_either_take_and_moves_with_it(two_cameras: Log) -> None:
    two_cameras.put_alignment(alignment())
    two_cameras.move({"A001.mov": ("/ashmere", "card1/A001.mov")})
    assert two_cameras.alignments() == [alignment("card1/A001.mov")]
    two_cameras.forget(["B001.mov"])
    assert two_cameras.alignments() == []


def test_types_given_by_a_model_are_stored(log: Log) -> None:
    log.put(TakeLog(take=take(), calls=(call(1), call(2))), feature_version=1)

    def tag(features: np.ndarray) -> list[tuple[str, float]]:
        return [("pit rail", 0.75) if row[0] == 1 else ("call", 0.5) for row in features]

    assert log.give_types(tag, feature_version=1, model="calltag.model 1f2e") == 2
    assert [(c.label, c.confidence) for c in log.take_log("A001.mov").calls] == [
        ("pit rail", 0.75),
        ("call", 0.5),
    ]
    assert log.entries()[0].model == "calltag.model 1f2e"
    log.put(TakeLog(take=take()), feature_version=1)
    assert log.entries()[0].model is None, "found anew, so not yet given types"


# Takes that could not be read


def test_a_problem_ends_when_the_take_is_read(log: Log) -> None:
    log.put_problem("/ashmere", Problem(path="A001.mov", reason="first"))
    log.put_problem("/ashmere", Problem(path="A001.mov", reason="it is empty; copy it again"))
    log.put_problem("/other", Problem(path="A001.mov", reason="another card"))
    assert log.problems() == [
        ("/ashmere", Problem(path="A001.mov", reason="it is empty; copy it again")),
        ("/other", Problem(path="A001.mov", reason="another card")),
    ]
    log.put(TakeLog(take=take()), feature_version=1)
    assert [rushes for rushes, _ in log.problems()] == ["/other"]
    log.clear_problems([("/other", "A001.mov")])
    assert log.problems() == []


# Files that are no log


def sentence(error: pytest.ExceptionInfo[LogError]) -> str:
    text = str(error.value)
    assert "\n" not in text
    return text


@pytest.mark.parametrize("content", [b"not a database, but a shot list\n" * 40, b"RIFF"])
def test_a_file_that_is_no_database_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "shots.txt"
    path.write_bytes(content)
    with pytest.raises(LogError) as error:
        Log(path)
    assert sentence(error).endswith(
        "shots.txt: this is not a log of calltag; name the log with --log"
    )
    assert path.read_bytes() == content


def test_a_database_of_another_program_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.db"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE takes (name TEXT)")
    db.close()
    before = path.read_bytes()
    with pytest.raises(LogError, match=r"other\.db: this is another program's file"):
        Log(path)
    assert path.read_bytes() == before


def test_an_empty_file_becomes_a_log(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    path.touch()
    with Log(path) as log:
        assert log.takes() == []


def test_a_newer_log_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    Log(path).close()
    with sqlite3.connect(path) as db:
        db.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    db.close()
    with pytest.raises(LogError) as error:
        Log(path)
    assert "written by a newer calltag" in sentence(error)
    assert "update calltag" in sentence(error)


def test_a_log_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="there is no log here; make one with `calltag log RUSHES`"):
        Log(tmp_path / "calltag.db", create=False)
    assert not (tmp_path / "calltag.db").exists()


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(LogError, match=r"the folder .* does not exist; make it first"):
        Log(tmp_path / "day2" / "calltag.db")


def test_a_folder_is_no_log(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="this log cannot be opened; check that it is a file"):
        Log(tmp_path)


def test_a_damaged_log_is_told(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    with Log(path) as log:
        for number in range(300):
            log.put(TakeLog(take=take(f"A{number:04}.mov"), calls=(call(1),)), feature_version=1)
    content = bytearray(path.read_bytes())
    content[8192:] = bytes(len(content) - 8192)
    path.write_bytes(content)
    with Log(path) as log, pytest.raises(LogError) as error:
        list(log.take_logs())
    assert "this log is damaged; log the rushes again into a new one" in sentence(error)


# Several processes


def test_two_processes_may_open_write_and_read_at_once(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    program = """
import sys
from pathlib import Path
from calltag.log import Log
from calltag.records.found import TakeLog
from calltag.records.take import Take
path, mine = Path(sys.argv[1]), sys.argv[2]
sys.stdin.readline()
with Log(path) as log:
    for number in range(40):
        take = Take(path=f"{mine}{number}", rushes="/r", digest="d", size_bytes=1, duration_s=1.0)
        log.put(TakeLog(take=take), feature_version=1)
        assert any(found.path == take.path for found in log.takes())
"""
    workers = [
        subprocess.Popen(
            [sys.executable, "-c", program, str(path), name], cwd=ROOT, stdin=subprocess.PIPE
        )
        for name in ("left", "right")
    ]
    for worker in workers:
        worker.stdin.write(b"go\n")
        worker.stdin.flush()
    for worker in workers:
        worker.communicate(timeout=180)
        assert worker.returncode == 0
    with Log(path) as log:
        assert len(log.takes()) == 80


def test_a_locked_log_is_told(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    with Log(path, busy_timeout_s=0.05) as log:
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(LogError, match="another program is writing to this log; try again"):
            log.put(TakeLog(take=take()), feature_version=1)
        assert log.takes() == [], "reading goes on"
        other.execute("ROLLBACK")
        other.close()
        log.put(TakeLog(take=take()), feature_version=1)


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no SIGKILL")
def test_a_process_killed_while_writing_leaves_whole_takes(tmp_path: Path) -> None:
    path = tmp_path / "calltag.db"
    program = """
import os, signal, sys
from pathlib import Path
import calltag.log
from calltag.log import Log
from calltag.records.found import Call, TakeLog
from calltag.records.take import Take
def call(start_s):
    return Call(start_s=start_s, end_s=2.0, low_hz=1, high_hz=2, peak_hz=1, snr_db=1, level_dbfs=-1,
                call_probability=1)
def calls_then_death():
    yield call(0.0)
    yield call(1.0)
    os.kill(os.getpid(), signal.SIGKILL)
def take(path):
    return Take(path=path, rushes="/r", digest="d", size_bytes=1, duration_s=1.0)
log = Log(Path(sys.argv[1]))
log.put(TakeLog(take=take("whole"), calls=(call(0.0), call(1.0))), feature_version=1)
log.put(TakeLog(take=take("half"), calls=calls_then_death()), feature_version=1)
"""
    done = subprocess.run([sys.executable, "-c", program, str(path)], cwd=ROOT, check=False)
    assert done.returncode == -signal.SIGKILL
    with Log(path) as log:
        assert [t.path for t in log.takes()] == ["whole"]
        assert len(log.take_log("whole").calls) == 2


def test_the_file_carries_its_mark_and_version(tmp_path: Path) -> None:
    """Offsets 60 and 68 of the header: SQLite's file format document, section 1.3."""
    path = tmp_path / "calltag.db"
    Log(path).close()
    header = path.read_bytes()[:100]
    assert header[:16] == b"SQLite format 3\0"
    assert int.from_bytes(header[60:64], "big") == SCHEMA_VERSION
    assert int.from_bytes(header[68:72], "big") == APPLICATION_ID
    assert (header[18], header[19]) == (2, 2), "2 means write-ahead log"
    assert [p.name for p in tmp_path.iterdir()] == ["calltag.db"], "closed, so nothing beside it"


# Logs of earlier versions


def test_a_log_of_the_first_version_is_brought_up_to_date(tmp_path: Path) -> None:
    """data/log_v1.db was written by the program as it was when the log had version 1."""
    path = tmp_path / "calltag.db"
    shutil.copy(ROOT / "tests/data/log_v1.db", path)
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (1,)
    db.close()
    with Log(path) as log:
        first, second = log.entries()
        assert first.model is second.model is None
        assert first.take.fps == Fraction(30000, 1001)
        assert first.take.picture_s is None
        assert first.take.levels is not None
        assert first.take.levels.faults == ("channel 2 is dead",)
        assert first.take.levels.channel_faults == (ChannelFault(FaultKind.DEAD, (2,)),)
        assert not second.take.has_sound
        calls = log.take_log("causeway/A001.mov", features=True).calls
        assert [(c.start_s, c.label, c.by_hand) for c in calls] == [
            (1.0, "call", False),
            (4.0, "call", False),
            (8.0, "pit rail", True),
        ]
        np.testing.assert_array_equal(calls[0].features, np.float32([1.0, 1.6, 900.0, 1400.0]))
        assert [label.group for label in log.labels()] == ["first light", None]
        assert [problem.path for _, problem in log.problems()] == ["causeway/A003.mov"]
        log.give_types(lambda rows: [("x", 0.5)] * len(rows), feature_version=1, model="m")
        assert log.entries()[0].model == "m"
        log.put_pictures("causeway/A001.mov", [picture()])
        assert log.take_log("causeway/A001.mov").pictures == (picture(),)
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
    db.close()


@pytest.mark.parametrize(
    ("faults", "broken", "version"),
    [
        (["channel 2 is dead"], (), 4),
        (["sound ends at 40.0 s, 20.0 s before the end of the take"], ((40.0, 60.0),), 4),
        (["the file cannot be read beyond 40.0 s"], ((40.0, 60.0),), 4),
        (["sound starts 1.5 s after the picture"], ((0.0, 1.5),), 4),
        (
            [
                "sound is missing between 20.00 and 20.50 s",
                "sound is damaged between 3.25 and 4.00 s",
            ],
            ((3.25, 4.0), (20.0, 20.5)),
            4,
        ),
        (
            [
                "sound is damaged between 3.00 and 4.00 s",
                "sound is damaged between 5.00 and 6.00 s",
                "sound is damaged between 7.00 and 8.00 s",
                "sound is damaged in 2 more places",
            ],
            ((3.0, 4.0), (5.0, 6.0), (7.0, 8.0)),
            0,  # so that it is analysed again
        ),
        (None, None, 4),
    ],
)
def test_what_a_log_of_version_5_says_of_broken_sound_is_understood(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, faults, broken, version
) -> None:
    path = tmp_path / "calltag.db"
    monkeypatch.setattr("calltag.log.store.MIGRATIONS", MIGRATIONS[:5])
    Log(path).close()
    monkeypatch.undo()
    db = sqlite3.connect(path)
    with db:
        db.execute(
            "INSERT INTO takes (path, rushes, digest, size_bytes, duration_s, variable_rate, "
            "channels, width, height, clipped, channel, faults, feature_version, logged_at) "
            "VALUES ('A001.mov', '/r', 'd', 1, 60.0, 0, 1, 0, 0, 0, ?, ?, 4, '2026-05-03')",
            (None, None) if faults is None else ("1", json.dumps(faults)),
        )
    db.close()
    with Log(path) as log:
        (entry,) = log.entries()
    assert entry.feature_version == version
    levels = entry.take.levels
    assert (levels and levels.broken) == broken
    assert levels is None or levels.faults == tuple(faults)


CHANNEL_FAULTS = (
    ChannelFault(FaultKind.NO_SOUND, (1, 2, 3, 4, 5)),
    ChannelFault(FaultKind.DEAD, (2,)),
    ChannelFault(FaultKind.DEAD, (1, 3, 5)),
    ChannelFault(FaultKind.DEAD, (3, 4, 5)),
    ChannelFault(FaultKind.STOPS, (1,), at_s=40.5),
    ChannelFault(FaultKind.STOPS, at_s=7.0),
    ChannelFault(FaultKind.STARTS, at_s=1.5),
    ChannelFault(FaultKind.QUIETER, (2,), other=1, amount=34),
    ChannelFault(FaultKind.HISS, (2,)),
    ChannelFault(FaultKind.COPY_INVERTED, (2,), other=1),
    ChannelFault(FaultKind.INVERTED, (2,), other=1),
    ChannelFault(FaultKind.SAME, (1, 2)),
    ChannelFault(FaultKind.WINDY, (2,), other=1),
    ChannelFault(FaultKind.CLIPPED, (1,), amount=12_345),
    ChannelFault(FaultKind.OFFSET, (1,), amount=-0.25),
    ChannelFault(FaultKind.DROPS_OUT, at_s=1.234, amount=0.083),
    ChannelFault(FaultKind.DROPS_OUT, (2,), at_s=1.234, amount=0.083),
    ChannelFault(FaultKind.MORE_DROPOUTS, amount=5),
)


def test_what_a_log_of_version_6_says_of_channels_is_understood(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert {fault.kind for fault in CHANNEL_FAULTS} == set(FaultKind)
    path = tmp_path / "calltag.db"
    monkeypatch.setattr("calltag.log.store.MIGRATIONS", MIGRATIONS[:6])
    Log(path).close()
    monkeypatch.undo()
    told = (*map(said, CHANNEL_FAULTS), "sound starts 1.5 s after the picture")
    db = sqlite3.connect(path)
    with db:
        db.execute(
            "INSERT INTO takes (path, rushes, digest, size_bytes, duration_s, variable_rate, "
            "channels, width, height, clipped, channel, faults, broken, feature_version, "
            "logged_at) "
            "VALUES ('A001.mov', '/r', 'd', 1, 60.0, 0, 5, 0, 0, 0, '1', ?, '[]', 4, '2026-05-03')",
            (json.dumps(told),),
        )
    db.close()
    with Log(path) as log:
        (entry,) = log.entries()
    assert entry.take.levels is not None
    assert entry.take.levels.faults == told
    assert entry.take.levels.channel_faults == CHANNEL_FAULTS


def test_what_a_log_of_version_8_says_of_noise_is_what_its_takes_say(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Noise was kept with each call as well, by another rule, and could contradict the take's."""
    path = tmp_path / "calltag.db"
    monkeypatch.setattr("calltag.log.store.MIGRATIONS", MIGRATIONS[:8])
    Log(path).close()
    monkeypatch.undo()
    db = sqlite3.connect(path)
    with db:
        db.execute(
            "INSERT INTO takes (path, rushes, digest, size_bytes, duration_s, variable_rate, "
            "channels, width, height, feature_version, logged_at) "
            "VALUES ('A001.mov', '/r', 'd', 1, 60.0, 0, 1, 0, 0, 4, '2026-05-03')"
        )
        db.execute(
            "INSERT INTO noise (take_id, start_s, end_s, kind, detail) VALUES (1, 10, 20, ?, '')",
            ("machine/pump",),
        )
        for start_s, noise in ((5.0, '["machine"]'), (12.0, "[]")):
            db.execute(
                "INSERT INTO calls (take_id, start_s, end_s, label, noise) VALUES (1, ?, ?, ?, ?)",
                (start_s, start_s + 1, "call", noise),
            )
    db.close()
    with Log(path) as log:
        calls = log.take_log("A001.mov").calls
        assert [(call.start_s, call.noise) for call in calls] == [(5.0, ()), (12.0, ("machine",))]


def test_a_step_that_fails_leaves_the_old_log_as_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "calltag.db"
    shutil.copy(ROOT / "tests/data/log_v1.db", path)

    def fails(db: sqlite3.Connection) -> None:
        db.execute("ALTER TABLE takes ADD COLUMN half_done TEXT")
        raise OSError("power cut")

    monkeypatch.setattr("calltag.log.store.MIGRATIONS", (*MIGRATIONS[:1], fails))
    with pytest.raises(OSError, match="power cut"):
        Log(path)
    monkeypatch.undo()
    with Log(path) as log:
        assert len(log.takes()) == 2
