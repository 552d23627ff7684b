from __future__ import annotations

import csv
import io
import json
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile as sf

from calltag.analysis import analyse_take
from calltag.cli import _sync_report
from calltag.cli._sync_takes import clock_s
from calltag.cli.demo import demo_clips
from calltag.edit.sync.comparing import NOT_BY_CLOCKS, Comparison, Outcome
from calltag.edit.sync.lining_up import Source
from calltag.errors import InputError
from calltag.log import Log
from calltag.media.timing.clock import day_s, time_of_day_s
from calltag.plan import Job
from calltag.records.alignment import Alignment
from calltag.records.found import TakeLog
from calltag.records.take import Take

PAIR = ("ASH_A_0031.MP4", "ASH_B_0012.MOV")


def stated() -> dict[tuple[str, str], float]:
    """The offsets that the demo's own table states."""
    with (demo_clips() / "sync.csv").open(encoding="utf-8", newline="") as file:
        return {(r["take_a"], r["take_b"]): float(r["offset_s"]) for r in csv.DictReader(file)}


def test_the_demos_two_cameras_are_lined_up_from_their_files(run) -> None:
    """Their timecodes disagree with the sound by a third of a second; the sound is right."""
    ran = run("sync", *(str(demo_clips() / name) for name in PAIR), "--as", "json")
    assert ran.status == 0
    (row,) = json.loads(ran.out)
    assert (row["take_a"], row["take_b"], row["outcome"]) == (*PAIR, "lined up")
    assert row["offset_s"] == pytest.approx(stated()[PAIR], abs=0.005)
    assert row["confidence"] > 0.95
    assert re.fullmatch(r"heard alike at \d+ of \d+ places, to \d\.\d ms", row["reason"])


@pytest.mark.usefixtures("in_one_process")
def test_takes_of_the_log_are_found_by_name_and_kept(run, tmp_path) -> None:
    rushes = tmp_path / "card"
    rushes.mkdir()
    for name in PAIR:
        shutil.copy(demo_clips() / name, rushes)
    assert run("log", str(rushes)).status == 0
    assert run("sync", *PAIR).status == 0
    with Log(tmp_path / "calltag.db", create=False) as log:
        (kept,) = log.alignments()
    assert (kept.take_a, kept.take_b) == PAIR
    assert kept.offset_s == pytest.approx(stated()[PAIR], abs=0.005)

    twice = len(list(csv.DictReader(io.StringIO(run("calls", "--as", "csv").out))))
    listed = run("calls", "--once")
    assert "less sure" not in run("calls", "--once", "--min-confidence", "0").err
    once = len(list(csv.DictReader(io.StringIO(run("calls", "--once", "--as", "csv").out))))
    assert listed.status == 0
    assert "also in" in listed.out
    assert twice - 9 <= once <= twice - 6, "the second camera heard nine of the first one's calls"


def test_takes_with_nothing_in_common_are_told_and_not_lined_up(run) -> None:
    names = ("ASH_R_0007.WAV", "ASH_C_0004.MP4")
    ran = run("sync", *(str(demo_clips() / name) for name in names), "--as", "csv")
    assert ran.status == 0
    (row,) = csv.DictReader(io.StringIO(ran.out))
    assert row["outcome"] == "no common sound"
    assert row["offset_s"] == ""


def test_a_take_without_sound_is_named_and_the_others_go_on(run) -> None:
    names = (PAIR[0], "ASH_A_0038.MP4", PAIR[1])
    ran = run("sync", *(str(demo_clips() / name) for name in names))
    assert ran.status == 3
    assert "ASH_A_0038.MP4" in ran.err
    assert "lined up" in ran.out


def test_two_of_which_one_cannot_be_read_cannot_be_compared(run, tmp_path) -> None:
    (tmp_path / "B012.mov").write_bytes(b"")
    ran = run("sync", str(demo_clips() / PAIR[0]), "B012.mov")
    assert ran.status == 1
    assert ran.out == ""
    assert "Nothing could be compared." in ran.err
    assert "B012.mov: is empty (0 bytes); copy it from the card again" in ran.err


@pytest.mark.parametrize(("names", "told"), [(["no.mov", "such.mov"], "no.mov"), ([], "")])
def test_what_cannot_be_lined_up_is_told(run, names, told) -> None:
    ran = run("sync", *names)
    assert ran.status in (1, 2)
    assert told in ran.err


# Names, places and what is kept


@pytest.fixture
def deaf(in_one_process, monkeypatch: pytest.MonkeyPatch) -> None:
    """Have `calltag log` look for no calls: what the files say of themselves is logged quickly."""
    nothing = SimpleNamespace(levels=None, joined_s=None, calls=(), noise=())
    finder = SimpleNamespace(analyse=lambda *_: nothing)
    monkeypatch.setattr("calltag.analysis.finder", lambda: finder)


@pytest.fixture
def morning(tmp_path: Path, pairs) -> Path:
    """A recorder and two cameras in a log; a.wav begins 4 s after r.wav, b.wav elsewhen.

    By their timecode a.wav begins 9 s after r.wav, and b.wav an hour later.
    """
    rushes = tmp_path / "rushes"
    rng = np.random.default_rng(4)
    n = 14 * pairs.RATE_HZ
    moment = pairs.heard(rng, pairs.chorus(rng, 14), pairs.pink(rng, n), 15)
    other = pairs.heard(rng, pairs.chorus(rng, 10), pairs.pink(rng, n), 15)
    sounds = {"rec/r.wav": moment[: 10 * pairs.RATE_HZ], "cam/a.wav": moment[4 * pairs.RATE_HZ :]}
    starts = {"rec/r.wav": 18_000, "cam/a.wav": 18_009, "cam/b.wav": 21_600}
    with Log(tmp_path / "calltag.db") as log:
        for name, second in starts.items():
            path = rushes / name
            path.parent.mkdir(parents=True, exist_ok=True)
            sound = sounds.get(name, other)
            sf.write(path, sound, pairs.RATE_HZ)
            take = Take(
                path=name,
                rushes=str(rushes),
                digest=name,
                size_bytes=path.stat().st_size,
                duration_s=len(sound) / pairs.RATE_HZ,
                sample_rate_hz=pairs.RATE_HZ,
                channels=1,
                time_reference=second * pairs.RATE_HZ,
            )
            log.put(TakeLog(take=take), feature_version=1)
    return rushes


def outcomes(ran) -> list[tuple[str, str, str]]:
    assert ran.status == 0
    return [(r["take_a"], r["take_b"], r["outcome"]) for r in json.loads(ran.out)]


def kept(morning: Path) -> list[tuple[str, str]]:
    with Log(morning.parent / "calltag.db") as log:
        return [(one.take_a, one.take_b) for one in log.alignments()]


@pytest.mark.parametrize("names", [("r.wav", "cam"), ("rec/r.wav", "a.wav", "cam"), ("rec", "*/*")])
def test_takes_are_named_by_file_folder_or_pattern(run, morning: Path, names) -> None:
    assert outcomes(run("sync", *names, "--as", "json")) == [
        ("rec/r.wav", "cam/a.wav", "lined up"),
        ("rec/r.wav", "cam/b.wav", "no common sound"),
    ]
    assert kept(morning) == [("rec/r.wav", "cam/a.wav")]


def test_a_file_of_the_log_is_known_by_its_name_there(run, morning: Path) -> None:
    ran = run("sync", morning / "rec/r.wav", morning / "cam/a.wav", "--as", "json")
    assert outcomes(ran) == [("rec/r.wav", "cam/a.wav", "lined up")]
    assert kept(morning) == [("rec/r.wav", "cam/a.wav")]


def test_every_pair_is_compared_on_demand(run, morning: Path) -> None:
    found = outcomes(run("sync", "rec", "cam", "--every-pair", "--as", "json"))
    assert [pair[:2] for pair in found] == [
        ("rec/r.wav", "cam/a.wav"),
        ("rec/r.wav", "cam/b.wav"),
        ("cam/a.wav", "cam/b.wav"),
    ]


@pytest.mark.parametrize(
    ("names", "expected"),
    [
        (["cam", "rec"], [("cam/a.wav", "rec/r.wav"), ("cam/b.wav", "rec/r.wav")]),
        (["cam"], [("cam/a.wav", "cam/b.wav")]),
    ],
)
def test_a_folder_is_compared_take_by_take(run, morning: Path, names, expected) -> None:
    assert [pair[:2] for pair in outcomes(run("sync", *names, "--as", "json"))] == expected


def test_copies_in_a_folder_are_compared_once(run, morning: Path) -> None:
    with Log(morning.parent / "calltag.db") as log:
        copy = replace(log.take_log("cam/b.wav").take, path="cam/copy of b.wav")
        shutil.copy(morning / "cam/b.wav", morning / copy.path)
        log.put(TakeLog(take=copy), feature_version=1)
    found = outcomes(run("sync", "r.wav", "cam", "--as", "json"))
    assert [pair[1] for pair in found] == ["cam/a.wav", "cam/b.wav"]


def test_what_was_compared_is_told_where_it_cannot_be_kept(run, morning: Path, monkeypatch) -> None:
    def refused(*_) -> None:
        raise InputError("calltag.db: this log may not be written to")

    monkeypatch.setattr(Log, "put_alignment", refused)
    ran = run("sync", "r.wav", "a.wav")
    assert ran.status == 1
    assert "lined up" in ran.out
    assert ran.err.endswith("calltag.db: this log may not be written to\n")
    assert kept(morning) == []


def test_of_many_pairs_those_with_common_sound_are_listed(run, morning: Path, monkeypatch) -> None:
    for module in ("sync", "_sync_report"):
        monkeypatch.setattr(f"calltag.cli.{module}.MANY_PAIRS", 0)
    ran = run("sync", "r.wav", "cam")
    assert "2 pairs to compare. --by-timecode looks only where" in ran.err
    assert "cam/a.wav" in ran.out
    assert "cam/b.wav" not in ran.out
    assert "1 pair has no common sound (--as csv lists all)." in ran.err
    assert "to compare" not in run("sync", "r.wav", "cam", "--by-timecode").err
    with Log(morning.parent / "calltag.db") as log:
        one = log.take_log("cam/b.wav")
        log.put(TakeLog(take=replace(one.take, time_reference=None)), feature_version=1)
    assert "2 pairs to compare.\n" in run("sync", "r.wav", "cam").err, "that would be no help"


def test_files_of_no_log_are_asked_for_their_timecode(run, morning: Path, monkeypatch) -> None:
    monkeypatch.setattr("calltag.cli.sync.MANY_PAIRS", 0)
    (morning.parent / "calltag.db").unlink()
    files = [morning / name for name in ("rec/r.wav", "cam/a.wav", "cam/b.wav")]
    assert "2 pairs to compare.\n" in run("sync", *files).err


def test_a_camera_without_timecode_is_said_to_need_none(run, morning: Path) -> None:
    with Log(morning.parent / "calltag.db") as log:
        for name in ("cam/a.wav", "cam/b.wav"):
            one = log.take_log(name)
            log.put(TakeLog(take=replace(one.take, time_reference=None)), feature_version=1)
    ran = run("sync", "r.wav", "cam", "--by-timecode")
    assert ran.status == 1
    assert "Takes without timecode are lined up without --by-timecode.\n" in ran.err


@pytest.mark.parametrize(
    ("options", "outcome"),
    [
        (["--around", "4.5", "--within", "1"], "lined up"),
        (["--around", "-4", "--within", "1"], "no common sound"),
        (["--by-timecode"], "lined up"),
        (["--by-timecode", "--within", "2"], "no common sound"),
    ],
)
def test_the_user_may_say_where_to_look(run, morning: Path, options, outcome: str) -> None:
    ran = run("sync", "r.wav", "a.wav", "--as", "json", *options)
    assert outcomes(ran) == [("rec/r.wav", "cam/a.wav", outcome)]


def test_takes_apart_by_timecode_are_told_of_clocks_that_may_be_wrong(run, morning: Path) -> None:
    ran = run("sync", "r.wav", "a.wav", "--by-timecode", "--within", "2")
    assert "if a clock was wrong, look without --by-timecode." in ran.err
    assert "if a clock was wrong" not in run("sync", "r.wav", "a.wav", "--by-timecode").err
    assert "if a clock was wrong" not in run("sync", "r.wav", "cam/b.wav").err


def test_why_pairs_are_unsure_is_told_where_the_table_has_no_room_for_it(monkeypatch, capsys):
    monkeypatch.setattr(_sync_report, "print_table", lambda *_: ["its clock", "why"])
    unsure = partial(
        Comparison, outcome=Outcome.UNSURE, alignment=None, reason="only one sound agrees"
    )
    _sync_report.print_compared([unsure(take_a="a", take_b="b"), unsure(take_a="a", take_b="c")])
    assert "2 pairs unsure: only one sound agrees.\n" in capsys.readouterr().err
    monkeypatch.setattr(_sync_report, "print_table", lambda *_: ["its clock"])
    _sync_report.print_compared([unsure(take_a="a", take_b="b")])
    assert capsys.readouterr().err == ""


def test_files_that_are_in_no_log_are_looked_for_by_their_own_timecode(run) -> None:
    """The second camera's clock is 0.3 s off."""
    files = [demo_clips() / name for name in PAIR]
    for within, outcome in (("1", "lined up"), ("0.2", "no common sound")):
        ran = run("sync", *files, "--by-timecode", "--within", within, "--as", "json")
        assert outcomes(ran) == [(*PAIR, outcome)]


def test_a_varying_rate_is_timed_alike_in_a_log_and_in_none(tmp_path: Path, make_clip) -> None:
    """By the standard rate nearest to the mean: by the mean itself, ten o'clock is minutes off."""
    path = make_clip(
        tmp_path / "phone.mov",
        seconds=2.0,
        fps=30,
        ticks=[n + n // 20 for n in range(60)],
        audio_codec=None,
        timecode="10:00:00:00",
    )
    take = analyse_take(Job(path, str(tmp_path), path.name, "digest", 9)).take
    assert take.variable_rate
    assert clock_s({}, Source(path.name, path)) == (time_of_day_s(take), day_s(take))


def test_what_is_not_lined_up_any_more_is_forgotten(run, morning: Path) -> None:
    with Log(morning.parent / "calltag.db") as log:
        log.put_alignment(
            Alignment(
                take_a="cam/b.wav",
                take_b="rec/r.wav",
                offset_s=1.0,
                drift_ppm=0.0,
                confidence=0.9,
                overlap_s=9.0,
            )
        )
    ran = run("sync", "r.wav", "b.wav")
    assert ran.status == 0
    assert "No pair was kept" in ran.err
    assert "Next:" not in ran.err
    told = "Lined up before, and not kept any more: rec/r.wav and cam/b.wav. Look there alone"
    assert told in ran.err
    assert kept(morning) == []
    assert "Lined up before" not in run("sync", "r.wav", "b.wav").err


@pytest.mark.parametrize("where", [("--around", "-4"), ("--by-timecode",)])
def test_who_looks_elsewhere_forgets_nothing(run, morning: Path, where) -> None:
    assert run("sync", "r.wav", "a.wav").status == 0
    before = kept(morning)
    assert before == [("rec/r.wav", "cam/a.wav")]
    ran = run("sync", "r.wav", "cam", *where, "--within", "2")
    assert "lined up " not in ran.out
    assert "No pair was kept" in ran.err
    assert "1 pair that was lined up stays so: this did not look everywhere." in ran.err
    assert kept(morning) == before


def test_what_the_clocks_spare_is_not_forgotten(run, morning: Path, monkeypatch) -> None:
    """It was lined up before, and not listened to now."""
    assert run("sync", "r.wav", "a.wav").status == 0
    before = kept(morning)
    spared = Comparison(
        take_a="rec/r.wav",
        take_b="cam/a.wav",
        outcome=Outcome.NOTHING,
        alignment=None,
        reason=NOT_BY_CLOCKS,
    )
    monkeypatch.setattr("calltag.edit.sync.lining_up.sync_takes", lambda *_, **__: ([spared], []))
    ran = run("sync", "r.wav", "a.wav")
    assert "1 pair that was lined up stays so: this did not look everywhere." in ran.err
    assert "Lined up before" not in ran.err
    assert kept(morning) == before == [("rec/r.wav", "cam/a.wav")]


def test_the_table_says_where_the_second_begins(run, morning: Path) -> None:
    ran = run("sync", "r.wav", "a.wav")
    assert "+4.000 s" in ran.out
    assert "99 %" in ran.out
    assert "1 pair kept in calltag.db." in ran.err


@pytest.mark.parametrize(
    ("arguments", "status", "told"),
    [
        (["r.wav"], 1, "at least two"),
        (["r.wav", "r.wav"], 1, "named twice"),
        (["r.wav", "x.wav"], 1, "x.wav: neither a file nor a take of the log"),
        (["r.wav", "a.wav", "--around", "1", "--by-timecode"], 2, "not both"),
    ],
)
def test_what_is_wrong_is_told(run, morning: Path, arguments, status: int, told: str) -> None:
    ran = run("sync", *arguments)
    assert ran.status == status
    assert told in ran.err


def test_takes_without_timecode_are_told(run, tmp_path: Path, rng) -> None:
    for name in ("a.wav", "b.wav"):
        sf.write(tmp_path / name, rng.normal(0, 0.1, 48_000), 48_000)
    ran = run("sync", "a.wav", "b.wav", "--by-timecode")
    assert ran.status == 1
    assert "a.wav: has no timecode; say with --around" in ran.err


@pytest.mark.parametrize("options", [[], ["--every-pair"]])
def test_a_take_without_timecode_costs_only_its_own_pairs(run, morning: Path, options) -> None:
    shutil.copy(morning / "cam/a.wav", morning / "bare.wav")
    names = ["r.wav", str(morning / "bare.wav"), "a.wav", "b.wav"]
    ran = run("sync", *names, "--by-timecode", "--as", "json", *options)
    assert ran.status == 3
    assert ran.err == "bare.wav: has no timecode; say with --around where to look\n"
    found = [(row["take_a"], row["take_b"], row["outcome"]) for row in json.loads(ran.out)]
    assert found == [
        ("rec/r.wav", "cam/a.wav", "lined up"),
        ("rec/r.wav", "cam/b.wav", "no common sound"),
        *([("cam/a.wav", "cam/b.wav", "no common sound")] if options else []),
    ]
    assert kept(morning) == [("rec/r.wav", "cam/a.wav")]


def test_with_every_pair_the_first_take_needs_no_timecode(run, morning: Path) -> None:
    shutil.copy(morning / "cam/a.wav", morning / "bare.wav")
    names = [str(morning / "bare.wav"), "r.wav", "a.wav"]
    ran = run("sync", *names, "--by-timecode", "--every-pair", "--as", "json")
    assert ran.status == 3
    assert [row["outcome"] for row in json.loads(ran.out)] == ["lined up"]


def test_timecode_goes_on_over_midnight(run, morning: Path) -> None:
    with Log(morning.parent / "calltag.db") as log:
        for take, second in zip(log.takes(), (4, 12, 86_395), strict=True):  # a, b, r
            moved = replace(take, time_reference=second * take.sample_rate_hz)
            log.put(TakeLog(take=moved), feature_version=1)
    ran = run("sync", "r.wav", "a.wav", "--by-timecode", "--as", "json")
    assert outcomes(ran) == [("rec/r.wav", "cam/a.wav", "lined up")]


def test_a_day_of_non_drop_timecode_is_longer(run, morning: Path) -> None:
    """At 23.976 a day of labels lasts 86 486.4 s, so a wrong midnight is 86 s off."""
    with Log(morning.parent / "calltag.db") as log:
        known = {take.path: take for take in log.takes()}
        for name, start_tc in (("rec/r.wav", "23:59:55:00"), ("cam/a.wav", "00:00:04:00")):
            filmed = replace(known[name], fps=Fraction(24_000, 1001), start_tc=start_tc)
            log.put(TakeLog(take=filmed), feature_version=1)
    for names in (("r.wav", "a.wav"), ("a.wav", "r.wav")):
        assert outcomes(run("sync", *names, "--by-timecode", "--as", "json"))[0][2] == "lined up"


def test_another_file_of_a_logged_takes_name_is_not_that_take(run, deaf, tmp_path) -> None:
    """Cameras use names again; what was kept of the logged take stays."""
    for folder, source in (("card", PAIR[0]), ("other", "ASH_C_0004.MP4")):
        (tmp_path / folder).mkdir()
        shutil.copy(demo_clips() / source, tmp_path / folder / PAIR[0])
    shutil.copy(demo_clips() / PAIR[1], tmp_path / "card")
    assert run("log", "card").status == 0
    assert run("sync", *PAIR).status == 0
    ran = run("sync", f"other/{PAIR[0]}", PAIR[1], "--as", "json")
    assert json.loads(ran.out)[0]["take_a"] == str((tmp_path / "other" / PAIR[0]).resolve())
    with Log(tmp_path / "calltag.db", create=False) as log:
        assert [(one.take_a, one.take_b) for one in log.alignments()] == [PAIR]


def test_a_place_that_is_no_number_is_refused(run) -> None:
    names = [str(demo_clips() / name) for name in PAIR]
    assert run("sync", *names, "--around", "nan").status == 2


# Clocks


def test_the_clocks_of_two_cameras_are_told_and_place_what_is_not_heard(
    run, tmp_path: Path, rng, pairs
) -> None:
    """Three moments, and a second camera whose clock is 1:03:20 ahead; it begins 2 s later.

    Of the last moment both hear noise of their own.
    """
    n, late = 12 * pairs.RATE_HZ, 2 * pairs.RATE_HZ
    with Log(tmp_path / "calltag.db") as log:
        for minute in range(3):
            shared, own = rng.normal(0, 0.1, n + late), rng.normal(0, 0.1, n)
            sounds = shared[:n], shared[late:] if minute < 2 else own
            for camera, begins_s, sound in zip("ab", (0, 3802), sounds, strict=True):
                path = tmp_path / camera / f"{minute}.wav"
                path.parent.mkdir(exist_ok=True)
                sf.write(path, sound, pairs.RATE_HZ)
                take = Take(
                    path=f"{camera}/{minute}.wav",
                    rushes=str(tmp_path),
                    digest=path.as_posix(),
                    size_bytes=path.stat().st_size,
                    duration_s=12.0,
                    sample_rate_hz=pairs.RATE_HZ,
                    channels=1,
                    time_reference=(18_000 + 60 * minute + begins_s) * pairs.RATE_HZ,
                    recorded=f"2026-04-18T05:{minute:02}:{begins_s % 60:02}",
                )
                log.put(TakeLog(take=take), feature_version=1)
    ran = run("sync", "a", "b")
    assert ran.status == 0
    told = "The clock of b is 1:03:20.00 ahead of that of a: 2 pairs agree to 0.1 s."
    assert told in ran.err
    assert "2 pairs kept in calltag.db." in ran.err
    assert ran.err.splitlines()[-1].startswith("Next: `calltag calls --once` lists each call once")
    assert "1 pair is placed by the clocks alone: that is told here, and not kept." in ran.err
    assert kept_in(tmp_path) == [("a/0.wav", "b/0.wav"), ("a/1.wav", "b/1.wav")]
    rows = json.loads(run("sync", "a", "b", "--as", "json").out)
    (placed,) = (row for row in rows if row["outcome"] == "by the clocks")
    assert (placed["take_a"], placed["take_b"]) == ("a/2.wav", "b/2.wav")
    assert (placed["offset_s"], placed["confidence"], placed["drift_ppm"]) == (2.0, None, None)
    (alone,) = json.loads(run("sync", "a/2.wav", "b/2.wav", "--as", "json").out)
    assert alone == placed, "by what was kept before"
    around = run("sync", "a/0.wav", "b/0.wav", "--around", "2")
    assert "The clock of" not in around.err


# Recordings over several files

WIDE, MORE = "wide/ASH_B_0012.MOV", "wide/ASH_B_0013.MOV"
LENS = "long/ASH_A_0031.MOV"
JOIN_S = 30.0


@pytest.fixture(scope="module")
def heard_twice(pairs) -> tuple[np.ndarray, np.ndarray]:
    """What two cameras hear of one minute.

    A call lies across the join of the first one's files, and one 0.9 s after it.
    """
    rng = np.random.default_rng(7)
    n = int(2 * JOIN_S * pairs.RATE_HZ)
    whistle, trill = pairs.call(rng, 0), pairs.call(rng, 1)
    quiet_s = JOIN_S - 1.0, JOIN_S + 2.0
    events = [
        (at, sound)
        for at, sound in pairs.chorus(rng, 2 * JOIN_S - 2, every_s=2.0)
        if not quiet_s[0] < at / pairs.RATE_HZ + 0.4 < quiet_s[1]
    ]
    for at_s, sound in ((JOIN_S - 0.35, whistle), (JOIN_S + 0.9, trill)):
        events.append((int(at_s * pairs.RATE_HZ), sound))
    wide, lens = (pairs.heard(rng, events, pairs.pink(rng, n), snr_db) for snr_db in (18, 25))
    return wide, lens


@pytest.fixture
def split(heard_twice, tmp_path: Path, make_clip, pairs) -> Callable[..., None]:
    """Write a recording in two files, and a clip of 20 s over their join that ends so long after.

    The clip's own clock is wrong.
    """

    def split(*, after_s: float, second_date: str) -> None:
        wide, lens = heard_twice
        begin = int((JOIN_S + after_s - 20) * pairs.RATE_HZ)
        clip = lens[begin : begin + 20 * pairs.RATE_HZ]
        write_split(tmp_path / "r", make_clip, wide, clip, pairs.RATE_HZ, second_date)

    return split


def write_split(folder: Path, make_clip, wide, clip, rate_hz: int, second_date: str) -> None:
    """Write a recording as two files, and the clip."""
    join = int(JOIN_S * rate_hz)
    for name, sound, timecode, date in (
        (WIDE, wide[:join], "05:12:00:00", "2026-04-18T04:12:00Z"),
        (MORE, wide[join:], "05:12:30:00", second_date),
        (LENS, clip, "05:40:00:00", "2026-04-18T04:40:00Z"),
    ):
        make_clip(
            folder / name,
            seconds=len(sound) / rate_hz,
            samples=(0.4 * sound / np.abs(sound).max())[None].astype(np.float32),
            audio_codec="pcm_s16le",
            timecode=timecode,
            metadata={"creation_time": date},
        )


def places(ran) -> dict[tuple[str, str], tuple[str, float | None]]:
    assert ran.status == 0
    rows = json.loads(ran.out)
    return {(r["take_a"], r["take_b"]): (r["outcome"], r["offset_s"]) for r in rows}


def calls_in(ran) -> list[dict[str, str]]:
    assert ran.status == 0
    return list(csv.DictReader(io.StringIO(ran.out)))


@pytest.mark.usefixtures("in_one_process")
def test_a_clip_over_a_join_is_lined_up_with_both_files(run, tmp_path, split) -> None:
    split(after_s=1.9, second_date="2026-04-18T04:12:30Z")
    assert run("log", "r").status == 0
    found = places(run("sync", "long", "wide", "--as", "json"))
    assert found[LENS, WIDE] == ("lined up", pytest.approx(-11.9, abs=0.002))
    assert found[LENS, MORE] == ("goes on", pytest.approx(18.1, abs=0.002))
    assert kept_in(tmp_path) == [(LENS, WIDE)], "what follows is not kept as heard"

    begins = {WIDE: -11.9, MORE: 18.1, LENS: 0.0}
    once = calls_in(run("calls", "--once", "--as", "csv"))
    heard_s = sorted(begins[row["take"]] + float(row["start_s"]) for row in once)
    assert min(np.diff(heard_s)) > 0.3, "no call comes twice"
    assert len(once) < len(calls_in(run("calls", "--as", "csv")))

    marked = run("markers", "m.csv", "--every-camera")
    assert marked.status == 0
    told = run("rescue", LENS, "--dry-run").out
    assert f"{MORE} ran at the same time, at 0:18-0:20" in told
    assert "it begins 18.100 s after this take" in told
    assert "line the two up" not in told

    named = run("sync", LENS, WIDE)
    assert f"These go on in other files, which are in place too: {MORE}." in named.err


def test_what_the_sound_leaves_unsure_is_settled_by_a_join(run, deaf, tmp_path, split) -> None:
    split(after_s=6.0, second_date="2026-04-18T04:12:30Z")
    alone = places(run("sync", f"r/{LENS}", f"r/{MORE}", "--as", "json"))
    assert list(alone.values()) == [("unsure", pytest.approx(14, abs=0.002))]
    assert run("log", "r").status == 0
    found = places(run("sync", "long", "wide", "--as", "json"))
    assert found[LENS, MORE] == ("lined up", pytest.approx(14, abs=0.002))
    assert kept_in(tmp_path) == [(LENS, WIDE), (LENS, MORE)]


def test_a_clip_half_over_a_join_is_lined_up_where_both_files_say_the_same(
    run, deaf, tmp_path, pairs, make_clip
) -> None:
    """Seven seconds in each file are too few for either; together they are enough."""
    rng = np.random.default_rng(7)
    n = int(2 * JOIN_S * pairs.RATE_HZ)
    events = pairs.chorus(rng, 2 * JOIN_S - 2, every_s=1.0)
    wide, lens = (
        pairs.heard(rng, events, pairs.pink(rng, n), snr_db=snr_db) for snr_db in (14, 17)
    )
    begin = int((JOIN_S - 7) * pairs.RATE_HZ)
    clip = lens[begin : begin + 14 * pairs.RATE_HZ]
    write_split(tmp_path / "r", make_clip, wide, clip, pairs.RATE_HZ, "2026-04-18T04:12:30Z")
    alone = places(run("sync", f"r/{LENS}", f"r/{WIDE}", f"r/{MORE}", "--as", "json"))
    assert [outcome for outcome, _ in alone.values()] == ["unsure", "unsure"]
    assert run("log", "r").status == 0
    found = places(run("sync", "long", "wide", "--as", "json"))
    assert found[LENS, WIDE] == ("lined up", pytest.approx(-23, abs=0.002))
    assert found[LENS, MORE] == ("lined up", pytest.approx(7, abs=0.002))
    assert kept_in(tmp_path) == [(LENS, WIDE), (LENS, MORE)]


def test_files_between_which_the_camera_stood_still_do_not_go_on(
    run, deaf, tmp_path, split
) -> None:
    """Timecode goes on, as it does where it runs with the recording alone; the dates do not."""
    split(after_s=1.9, second_date="2026-04-18T05:02:30Z")
    assert run("log", "r").status == 0
    outcome, _ = places(run("sync", "long", "wide", "--as", "json"))[LENS, MORE]
    assert outcome in ("unsure", "no common sound")
    assert kept_in(tmp_path) == [(LENS, WIDE)]


def kept_in(folder: Path) -> list[tuple[str, str]]:
    with Log(folder / "calltag.db") as log:
        return [(one.take_a, one.take_b) for one in log.alignments()]
