"""`calltag keep` and `calltag library`, as they are typed."""

from __future__ import annotations

import csv
import io
import json
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from calltag.log import Log
from calltag.media.identity import digest
from calltag.records.alignment import Alignment
from calltag.records.found import Call, TakeLog
from calltag.records.label import Label
from calltag.records.take import Take
from calltag.sound.features import FEATURE_NAMES, FEATURE_VERSION

RATE_HZ = 48_000
TYPES = ("marsh hooter: boom", "pit rail: rasp")


def call(start_s: float, label: str, number: int, **changes: object) -> Call:
    centre = np.random.default_rng(len(label)).normal(size=len(FEATURE_NAMES))
    spread = np.random.default_rng(number).normal(size=len(FEATURE_NAMES))
    values: dict[str, object] = {
        "start_s": start_s,
        "end_s": start_s + 0.5,
        "low_hz": 200.0,
        "high_hz": 500.0,
        "peak_hz": 300.0,
        "snr_db": 10.0 + number,
        "level_dbfs": -30.0,
        "call_probability": 0.95,
        "label": label,
        "confidence": 0.9,
        "features": (3 * centre + spread).astype(np.float32),
    }
    return Call(**(values | changes))  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def sounds(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three takes of twelve seconds."""
    folder = tmp_path_factory.mktemp("sounds")
    for number, name in enumerate(("A001.wav", "A002.wav", "B001.wav")):
        rng = np.random.default_rng(number)
        noise = rng.normal(0, 0.02, (12 * RATE_HZ, 2))
        soundfile.write(folder / name, noise, RATE_HZ, "PCM_24")
    return folder


@pytest.fixture
def rushes(sounds: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The three takes, five calls in each, and a log of them."""
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    monkeypatch.setenv("USERPROFILE", str(tmp_path / "home"))
    folder = shutil.copytree(sounds, tmp_path / "rushes")
    with Log(tmp_path / "calltag.db") as log:
        for number, path in enumerate(sorted(folder.iterdir())):
            take = Take(
                path=path.name,
                rushes=str(folder),
                digest=digest(path),
                size_bytes=path.stat().st_size,
                duration_s=12.0,
                recorded=f"2026-0{4 + number}-18T05:12:00Z",
                sample_rate_hz=RATE_HZ,
                channels=2,
            )
            calls = tuple(
                call(1.0 + 2 * i, TYPES[i % 2], 10 * number + i, noise=("wind",) * (i == 5))
                for i in range(5)
            )
            log.put(TakeLog(take=take, calls=calls), feature_version=FEATURE_VERSION)
        log.change_labels(put=[Label(take="A001.wav", start_s=1.0, end_s=1.5, label=TYPES[0])])
    return folder


@pytest.fixture
def kept(run, rushes):
    told = ("--place", "Ashmere", "--rights", "mine", "--handles", "0.2")
    ran = run("keep", "--library", "lib", "--take", "*", *told)
    assert ran.status == 0, ran.err
    return ran


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def test_the_first_use_says_where_it_is_and_asks_for_care(run, rushes, tmp_path):
    ran = run("keep", "--type", "pit rail", "--best", 2)
    assert ran.status == 0
    home = tmp_path / "home" / "calltag-library"
    assert f"A new call library begins in {home}." in ran.err
    assert f"2 calls kept in {home}: pit rail: rasp 2." in ran.err
    for words in ("do not play these calls to wild animals", "law", "licensed", "identification"):
        assert words in ran.err
    assert len(list(home.rglob("*.wav"))) == 2
    unsaid = "The kept calls do not say where they were recorded or who recorded them: "
    assert unsaid in ran.err
    again = run("keep", "--type", "pit rail", "--best", 3)
    assert unsaid not in again.err, "once is enough"
    assert "1 call kept in" in again.err
    assert "2 calls kept already" in again.err
    assert "wild animals" not in again.err


def test_the_best_are_those_worth_most(run, rushes):
    run("keep", "--library", "lib", "--best", 3, "--min-confidence", 0)
    ran = run("library", "find", "--library", "lib", "--by", "snr", "--as", "csv")
    assert [float(row["snr_db"]) for row in rows(ran.out)] == [34.0, 33.0, 32.0]


def test_calls_are_picked_by_take_and_second(run, rushes):
    ran = run("keep", "--library", "lib", "--take", "A002.wav", "--at", 3.2, "--at", 4.95)
    assert "2 calls kept" in ran.err
    ran = run("library", "find", "--library", "lib", "--as", "csv")
    assert sorted(row["start_s"] for row in rows(ran.out)) == ["3.0", "5.0"]
    listed = [line.split()[1] for line in run("calls", "--take", "A002.wav").out.splitlines()[1:]]
    ran = run("keep", "--library", "lib", "--take", "A002.wav", "--at", listed[-1], "--dry-run")
    assert f"A002.wav  {listed[-1]}" in ran.out, "a second may be typed as it is listed"
    ran = run("keep", "--library", "lib", "--take", "A002.wav", "--at", 11.8)
    assert ran.status == 1
    assert "no call was found at 11.8 s; the nearest is at 9.00 s" in ran.err
    assert "name it with --take" in run("keep", "--best", 1, "--at", 3).err
    several = run("keep", "--take", "*.wav", "--at", 3)
    assert several.status == 1
    assert "A001.wav, A002.wav" in several.err, "the takes that are called so are named"


def test_calls_are_picked_from_a_table(run, rushes, tmp_path):
    listing = run("calls", "--type", "pit rail", "--as", "csv").out.splitlines(keepends=True)
    (tmp_path / "mine.csv").write_text("".join(listing[:3]), "utf-8", newline="")
    assert "2 calls kept" in run("keep", "--library", "lib", "--from", "mine.csv").err
    (tmp_path / "bad.csv").write_text("take,start_s,end_s\nA001.wav,11.5,11.9\n", "utf-8")
    ran = run("keep", "--library", "lib", "--from", "bad.csv")
    assert ran.status == 1
    assert "no call was found in A001.wav from 11.50 to 11.90 s" in ran.err
    (tmp_path / "slip.csv").write_text("take,start_s,end_s\nA009.wav,1.5,1.9\n", "utf-8")
    ran = run("keep", "--library", "lib", "--from", "slip.csv")
    assert "slip.csv: A009.wav: no such take in the log" in ran.err, "the table is named"


@pytest.mark.parametrize(
    ("options", "n"),
    [
        ((), 15),
        (("--type", "pit rail"), 6),
        (("--min-snr", 25), 5),
        (("--min-confidence", 0.95), 1),
        (("--by-hand",), 1),
        (("--take", "A002.wav"), 5),
        (("--take", "A002.wav", "--type", "pit rail", "--best", 1), 1),
    ],
    ids=str,
)
def test_of_a_table_only_what_the_other_options_let_pass(run, rushes, tmp_path, options, n):
    listing = run("calls", "--as", "csv").out
    (tmp_path / "mine.csv").write_text(listing, "utf-8", newline="")
    ran = run("keep", "--library", "lib", "--from", "mine.csv", "--dry-run", *options)
    assert ran.err.startswith(f"{n} call"), ran.err


def test_a_table_may_name_doubtful_calls(run, rushes, tmp_path):
    with Log(tmp_path / "calltag.db") as log:
        one = log.take_log("A001.wav", features=True)
        doubtful = [replace(call, call_probability=0.3, confidence=0.3) for call in one.calls]
        log.put(replace(one, calls=tuple(doubtful)), feature_version=FEATURE_VERSION)
    listing = run("calls", "--take", "A001.wav", "--min-confidence", 0, "--as", "csv").out
    (tmp_path / "mine.csv").write_text(listing, "utf-8", newline="")
    asked = run("keep", "--from", "mine.csv", "--dry-run", "--min-confidence", 0.5)
    assert asked.err.startswith("1 call would be kept"), "what was typed counts"
    assert "5 calls kept" in run("keep", "--library", "lib", "--from", "mine.csv").err


def test_a_table_may_name_a_short_call_within_a_long_one(run, rushes, tmp_path):
    with Log(tmp_path / "calltag.db") as log:
        one = log.take_log("A001.wav", features=True)
        tick = call(3.1004, "pit rail: tick", 99, end_s=3.2996, low_hz=4000.0, high_hz=7000.0)
        log.put(replace(one, calls=(*one.calls, tick)), feature_version=FEATURE_VERSION)
    listing = run("calls", "--take", "A001.wav", "--as", "csv").out
    (tmp_path / "all.csv").write_text(listing, "utf-8", newline="")
    assert "6 calls would be kept" in run("keep", "--from", "all.csv", "--dry-run").err
    head, *lines = listing.splitlines(keepends=True)
    short = next(line for line in lines if "tick" in line)
    (tmp_path / "mine.csv").write_text(head + short, "utf-8", newline="")
    assert (
        "kept in lib: pit rail: tick 1."
        in run("keep", "--library", "lib", "--from", "mine.csv").err
    )


def test_only_what_the_user_labelled(run, rushes):
    assert "1 call kept" in run("keep", "--library", "lib", "--by-hand").err
    (row,) = rows(run("library", "find", "--library", "lib", "--as", "csv").out)
    assert (row["labelled_by"], row["confidence"]) == ("by hand", "1.0")


def test_at_a_second_it_is_the_call_and_no_noise_around_it(run, rushes, tmp_path):
    with Log(tmp_path / "calltag.db") as log:
        one = log.take_log("B001.wav", features=True)
        saw = call(0.5, "machine/saw", 99, end_s=11.0)
        log.put(replace(one, calls=(saw, *one.calls)), feature_version=FEATURE_VERSION)
    ran = run("keep", "--library", "lib", "--take", "B001.wav", "--at", "3.2")
    assert ran.status == 0, ran.err
    assert f"1 call kept in lib: {TYPES[1]} 1" in ran.err


def test_a_dry_run_writes_nothing(run, rushes, tmp_path):
    ran = run("keep", "--library", "lib", "--type", "pit rail", "--dry-run")
    assert ran.out.count("pit rail: rasp") == 6
    assert "6 calls would be kept in lib." in ran.err
    assert not (tmp_path / "lib").exists()


@pytest.mark.parametrize("at", ["nan", "-1", "1e3", "1:99", "1:60:00", "7:1", "", "3.2 s"])
def test_a_second_that_is_none_is_told_what_to_write(run, rushes, at):
    sentence = "write seconds, as 62.35, or minutes and seconds, as 1:02.35"
    ran = run("keep", "--library", "lib", "--take", "A001.wav", "--at", at)
    assert (ran.status, sentence in ran.err) == (2, True)
    ran = run("library", "like", rushes / "A001.wav", "--at", at, "--library", "lib")
    assert (ran.status, sentence in ran.err) == (2, True)


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--type", "heron"), "the log has no such call"),
        (("--type", "pit rail", "--min-snr", "90"), "no call in the log is of that kind"),
    ],
    ids=str,
)
def test_what_cannot_be_kept_is_told(run, rushes, arguments, sentence):
    ran = run("keep", "--library", "lib", *arguments)
    assert ran.status == 1
    assert sentence in ran.err
    assert ran.err.count("\n") == 1


def test_a_take_that_is_gone_does_not_stop_the_others(run, rushes):
    (rushes / "A001.wav").unlink()
    ran = run("keep", "--library", "lib", "--take", "*")
    assert ran.status == 3
    assert "10 calls kept" in ran.err
    assert "A001.wav: " in ran.err


def test_a_take_that_is_gone_is_cut_from_its_copy(run, rushes, tmp_path):
    (tmp_path / "backup").mkdir()
    with Log(tmp_path / "calltag.db") as log:
        one = log.take_log("A001.wav", features=True)
        copy = replace(one.take, path="backup/A001.wav", rushes=str(tmp_path))
        log.put(replace(one, take=copy, calls=()), feature_version=FEATURE_VERSION)
    (rushes / "A001.wav").rename(tmp_path / "backup" / "A001.wav")
    ran = run("keep", "--library", "lib", "--take", "A001.wav", "--by-hand")
    assert (ran.status, "1 call kept in lib" in ran.err) == (0, True), ran.err
    found = run("library", "find", "--library", "lib", "--as", "csv")
    assert [row["take"] for row in rows(found.out)] == ["A001.wav"]


def test_where_no_take_is_there_nothing_was_done(run, rushes):
    for take in rushes.iterdir():
        take.unlink()
    ran = run("keep", "--library", "lib", "--take", "*")
    assert ran.status == 1
    assert "A001.wav: " in ran.err


def test_what_two_cameras_heard_is_shown_or_kept_once(run, rushes, tmp_path, monkeypatch):
    monkeypatch.setattr("calltag.cli._keep_report._MOST_TOLD", 2)
    pair = Alignment(
        take_a="A001.wav", take_b="B001.wav", offset_s=0.0, drift_ppm=0, confidence=1, overlap_s=12
    )
    with Log(tmp_path / "calltag.db") as log:
        log.put_alignment(pair)
    ran = run("keep", "--library", "lib", "--take", "*1.wav")
    assert "10 calls kept" in ran.err
    assert "There more than once now:" in ran.err
    assert ran.err.count("same moment from another camera") == 2
    assert "  and 3 more; `calltag library find --doubles` lists them" in ran.err
    assert "10 kept calls listed" in run("library", "find", "--library", "lib", "--doubles").err
    assert "5 calls kept" in run("keep", "--library", "one", "--take", "*1.wav", "--once").err


def test_of_a_call_over_two_files_the_part_that_is_kept_is_told(run, rushes, tmp_path):
    """The recorder closed one file and went on in the next, within a call."""
    with Log(tmp_path / "calltag.db") as log:
        for name, begins_s, span in (("A001.wav", 3600, (11.5, 12)), ("A002.wav", 3612, (0, 0.3))):
            one = log.take_log(name, features=True)
            take = replace(one.take, time_reference=begins_s * RATE_HZ, recorded=None)
            part = replace(one.calls[0], start_s=span[0], end_s=span[1], snr_db=span[0] + 10)
            log.put(TakeLog(take=take, calls=(part,)), feature_version=FEATURE_VERSION)
    listed = run("calls", "--once", "--take", "A00*")
    assert "goes on in A002.wav" in listed.out
    assert "1 call listed" in listed.err
    told = "A001.wav at 0:11.50: only the part in this file; the call goes on in A002.wav.\n"
    keep = ("keep", "--library", "lib", "--take", "A00*")
    assert told in run(*keep, "--once", "--dry-run").err
    assert told in run(*keep, "--once").err
    with Log(tmp_path / "calltag.db") as log:
        one = log.take_log("A001.wav", features=True)
        whole = replace(one.calls[0], start_s=10.5, end_s=11.4)
        log.put(TakeLog(take=one.take, calls=(*one.calls, whole)), feature_version=FEATURE_VERSION)
    told_s = "A001.wav at 0:10.50: only 0.6 s after it, to the end of the file; the recording goes"
    assert told_s in run(*keep, "--handles", "1", "--dry-run").err
    ran = run(*keep)
    assert "A002.wav at 0:00.00: only the part in this file; the call begins in A001" in ran.err
    assert told not in ran.err, "that is kept already"
    assert told_s in ran.err


def test_what_is_said_of_place_and_recordist_is_not_asked_for(run, rushes):
    keep = ("keep", "--type", "pit rail", "--best", 1, "--place", "Ashmere")
    told = run(*keep, "--library", "one").err
    assert (
        "do not say who recorded them: the same command with --replace and --recordist adds" in told
    )
    assert "do not say" not in run(*keep, "--library", "two", "--recordist", "A. Keeper").err


def test_settings_name_the_library_and_what_holds_for_the_shoot(run, rushes, tmp_path):
    (tmp_path / "calltag.toml").write_text(
        '[all]\nlibrary = "mine"\n[keep]\nplace = "Ashmere"\n[library.find]\nas = "json"\n'
    )
    assert "kept in mine" in run("keep", "--best", 1).err
    (one,) = json.loads(run("library", "find").out)
    assert one["place"] == "Ashmere"
    assert Path(one["file"]).is_file()


# The library


def test_a_library_that_lost_its_catalogue_is_not_begun_anew(run, kept, tmp_path):
    """Else its files would be cut anew, without their place."""
    (tmp_path / "lib" / "catalogue.db").unlink()
    before = {file: file.read_bytes() for file in (tmp_path / "lib").rglob("*.wav")}
    for options in ((), ("--dry-run",)):
        ran = run("keep", "--library", "lib", "--take", "*", "--handles", "0.2", *options)
        assert ran.status == 1
        assert ran.err == (
            "calltag: lib: there are kept calls here, but no catalogue; `calltag library rebuild` "
            "makes one from the files\n"
        )
    assert {file: file.read_bytes() for file in (tmp_path / "lib").rglob("*.wav")} == before
    assert run("library", "rebuild", "--library", "lib").status == 0
    assert "15 calls kept already" in run("keep", "--library", "lib", "--take", "*").err


def test_other_sounds_in_the_folder_do_not_keep_a_library_from_beginning(run, rushes, tmp_path):
    assert "15 calls kept" in run("keep", "--library", "rushes", "--take", "*").err


def test_a_kept_call_whose_file_is_gone_is_told(run, kept, tmp_path):
    one, other, *_ = sorted((tmp_path / "lib").rglob("*.wav"))
    assert "gone" not in run("keep", "--library", "lib", "--take", "*").err
    one.unlink()
    other.rename(tmp_path / "lib" / "best.wav")
    ran = run("keep", "--library", "lib", "--take", "*")
    assert "15 calls kept already" in ran.err
    assert "2 files of those are gone or moved: " in ran.err
    assert one.name in ran.err
    run("library", "rebuild", "--library", "lib")
    ran = run("keep", "--library", "lib", "--take", "*")
    assert "1 call kept in lib" in ran.err
    assert "gone" not in ran.err


def test_a_kept_call_that_was_named_anew_is_told_and_renamed_if_asked_for(run, kept, tmp_path):
    keep = ("keep", "--library", "lib", "--take", "A001.wav")
    assert "named otherwise" not in run(*keep).err
    with Log(tmp_path / "calltag.db") as log:
        log.change_labels(
            put=[Label(take="A001.wav", start_s=1.0, end_s=1.5, label="pit rail: duet")]
        )
    ran = run(*keep)
    assert "Of those, 1 named otherwise in the log now: " in ran.err
    assert "(pit rail: duet, kept as marsh hooter: boom); --replace" in ran.err
    run(*keep, "--replace")
    found = run("library", "find", "--library", "lib", "--type", "pit rail: duet", "--as", "csv")
    assert [row["species"] for row in rows(found.out)] == ["pit rail"]
    assert "named otherwise" not in run(*keep).err


def test_find_lists_and_counts(run, kept):
    ran = run("library", "find", "--library", "lib", "--type", "pit rail", "--month", "may")
    assert ran.out.splitlines()[0].split() == [
        "id", "call", "type", "place", "recorded", "length", "above", "background", "sure"
    ]  # fmt: skip  # none of them has noise, or was heard again
    assert ran.out.count("pit rail: rasp") == 2
    assert "2 kept calls listed; the library holds 15." in ran.err
    ran = run("library", "find", "ashm", "boom", "--library", "lib", "--best", 4)
    assert "4 kept calls listed of 9 (--best 0 lists all); the library holds 15." in ran.err


@pytest.mark.parametrize("command", [("find",), ("find", "--as", "json"), ("out", "edit")])
def test_a_type_that_is_not_kept_is_told_with_those_that_are(run, kept, tmp_path, command):
    ran = run("library", *command, "--library", "lib", "--type", "pit rail", "--type", "pit owl")
    assert (ran.status, ran.out) == (1, "")
    assert ran.err.startswith("calltag: call type 'pit owl': the library has no such call; it has:")
    assert "pit rail: rasp" in ran.err
    assert not (tmp_path / "edit").exists()


def test_calls_with_noise_are_kept_alone_where_they_are_wanted(run, log):
    ran = run("keep", "--take", "*", "--noise", "--dry-run")
    assert ran.err.startswith("1 call would be kept")
    assert "card1/A002.mov" in ran.out
    clean = run("keep", "--take", "*", "--clean", "--dry-run")
    assert "card1/A002.mov" not in clean.out
    ran = run("keep", "--take", "A002.mov", "--at", "30", "--noise")
    assert (ran.status, "whatever --noise says; leave out one" in ran.err) == (2, True)


def test_without_a_home_the_library_has_to_be_named(run, rushes, monkeypatch):
    monkeypatch.setenv("HOME", "")
    for command in (("keep", "--best", "1"), ("library", "find")):
        ran = run(*command)
        assert ran.status == 1
        assert ran.err == (
            "calltag: ~/calltag-library: your home folder is not known; name the library with"
            " --library\n"
        )


def test_find_without_a_library_is_told(run, rushes):
    ran = run("library", "find", "--library", "none")
    assert ran.status == 1
    assert "`calltag keep` begins one" in ran.err


@pytest.mark.parametrize("option", ["--min-snr", "--min-level", "--max-level", "--min-length"])
def test_bounds_are_numbers(run, kept, option):
    for value in ("nan", "inf", "loud"):
        ran = run("library", "find", "--library", "lib", option, value)
        assert ran.status == 2
        assert f"'{option}'" in ran.err
        assert "number" in ran.err


def test_out_copies_for_the_edit_and_asks_for_care(run, kept, tmp_path):
    ran = run("library", "out", "edit", "--library", "lib", "--type", "pit rail", "--best", 2)
    assert ran.status == 0
    assert "2 calls copied to edit, each at its own level." in ran.err
    assert "do not play these calls to wild animals" in ran.err
    assert {path.suffix for path in (tmp_path / "edit").iterdir()} == {".wav", ".otio", ".csv"}
    ran = run("library", "out", "edit", "--library", "lib", "--type", "pit rail", "--best", 2)
    assert (ran.status, "exists already" in ran.err) == (1, True)
    ran = run("library", "out", "loud", "--library", "lib", "--best", 1, "--loudness", "-23")
    assert "brought to -23 LUFS" in ran.err
    assert " dB" in ran.err
    ran = run("library", "out", "one", "--library", "lib", "--best", 1)
    assert "1 call copied to one, at its own level." in ran.err


def test_like_by_id_and_by_file(run, kept, rushes):
    listed = rows(run("library", "find", "--library", "lib", "--as", "csv").out)
    ran = run(
        "library", "like", listed[0]["id"][:8], "--library", "lib", "--best", 4, "--as", "csv"
    )
    alike = rows(ran.out)
    assert {row["label"] for row in alike} == {listed[0]["label"]}
    assert listed[0]["id"] not in {row["id"] for row in alike}
    scores = [float(row["alike"]) for row in alike]
    assert scores == sorted(scores, reverse=True)
    ran = run("library", "like", rushes / "A001.wav", "--at", 1, "--library", "lib", "--best", 3)
    assert ran.status == 0
    assert "Compared: the call at 0:01.00-0:01.50." in ran.err
    as_listed = run("library", "like", rushes / "A001.wav", "--at", "0:01.00", "--library", "lib")
    assert "Compared: the call at 0:01.00-0:01.50." in as_listed.err
    late = run("library", "like", rushes / "A001.wav", "--at", 99, "--library", "lib")
    assert late.status == 1
    assert "A001.wav: ends at 12.00 s, before 99.00 s; name a second in it" in late.err
    missing = run("library", "like", "A001.wav", "--library", "lib")
    assert missing.err == (
        "calltag: A001.wav: there is no such file; write the whole path of a take or sound file, "
        "as D:/ashmere/card1/A001.wav\n"
    )


def test_check_and_rebuild(run, kept, tmp_path):
    assert run("library", "check", "--library", "lib").out == "15 files checked: none is damaged.\n"
    file = sorted((tmp_path / "lib").rglob("*.wav"))[0]
    content = bytearray(file.read_bytes())
    content[len(content) // 2] ^= 1
    file.write_bytes(content)
    ran = run("library", "check", "--library", "lib")
    assert ran.status == 1
    assert f"{file.name}: its sound is damaged" in ran.out
    assert "15 files checked: 1 damaged or gone." in ran.out
    (tmp_path / "lib" / "catalogue.db").unlink()
    assert "calltag library rebuild" in run("library", "find", "--library", "lib").err
    assert "15 kept calls in the catalogue." in run("library", "rebuild", "--library", "lib").err
    assert run("library", "check", "--library", "lib").status == 1


def test_a_folder_that_is_no_library_is_not_made_one(run, tmp_path):
    (tmp_path / "edit").mkdir()
    ran = run("library", "rebuild", "--library", "edit")
    assert ran.status == 1
    assert "edit: there is neither a catalogue nor a sound file here" in ran.err
    assert list((tmp_path / "edit").iterdir()) == []


def test_last_springs_types_work_this_spring(
    run: Callable[..., object], kept, tmp_path, monkeypatch
):
    """In a new folder, without a log, the library teaches a model; with one, it names the calls."""
    spring = tmp_path / "spring"
    spring.mkdir()
    monkeypatch.chdir(spring)
    ran = run("library", "teach", "--library", tmp_path / "lib")
    assert ran.status == 0, ran.err
    assert "Learnt 2 labels from 15 sounds:" in ran.out
    assert "From the library: 15 calls, 1 labelled by hand and 14 named by a model." in ran.err
    assert (spring / "calltag.model").is_file()
    with Log(spring / "calltag.db") as log:
        take = Take(path="C001.wav", rushes="/r", digest="c", size_bytes=1, duration_s=9.0)
        unnamed = (call(1.0, "call", 77, features=call(0, TYPES[1], 78).features),)
        log.put(TakeLog(take=take, calls=unnamed), feature_version=FEATURE_VERSION)
    ran = run("library", "teach", "--library", tmp_path / "lib")
    assert ran.status == 0, ran.err
    assert "`calltag calls --best 10` lists the best calls" in ran.err
    with Log(spring / "calltag.db") as log:
        assert [one.label for one in log.take_log("C001.wav").calls] == [TYPES[1]]


def test_the_library_remembers_what_else_was_found_where_calls_were_kept(run, rushes, tmp_path):
    """It notes that of calls that are kept already, too; what is kept later is none of it."""

    def taught() -> str:
        return run("library", "teach", "--library", tmp_path / "lib", "--log", "none.db").err

    for _ in range(2):
        assert run("keep", "--library", "lib", "--best", 8).status == 0
        assert "What else calls there is known from 2 other finds of the same takes." in taught()
    run("keep", "--library", "lib", "--best", 15)
    assert "What else calls" not in taught()


def test_a_label_speaks_for_a_kept_call_whichever_copy_of_its_take_has_it(run, kept, tmp_path):
    with Log(tmp_path / "calltag.db") as log:
        one = log.take_log("A001.wav", features=True)
        log.put(
            replace(one, take=replace(one.take, path="backup/A001.wav"), calls=()),
            feature_version=FEATURE_VERSION,
        )
        labels = [
            Label(take=one.take.path, start_s=found.start_s, end_s=found.end_s, label=kind)
            for found, kind in zip(one.calls, TYPES, strict=False)
        ]
        log.change_labels(put=labels)
    ran = run("library", "teach", "--library", "lib")
    assert ran.status == 0, ran.err
    assert "From the library: 13 calls" in ran.err
    assert "2 kept calls labelled in the log, too; the log counts." in ran.err


def test_a_command_may_read_while_another_process_writes(run, kept, tmp_path):
    from calltag.library.catalogue.catalogue import Catalogue

    with Catalogue(tmp_path / "lib") as catalogue, catalogue._database.writing() as db:
        db.execute("DELETE FROM notes")
        assert "15 kept calls" in run("library", "find", "--library", "lib").err


def test_of_copies_of_a_take_each_call_is_kept_once(run, rushes, tmp_path) -> None:
    with Log(tmp_path / "calltag.db") as log:
        for one in list(log.take_logs(features=True)):
            (rushes / "backup").mkdir(exist_ok=True)
            copy = replace(one.take, path=f"backup/{one.take.path}")
            copy.file.write_bytes(one.take.file.read_bytes())
            log.put(replace(one, take=copy), feature_version=FEATURE_VERSION)
    ran = run("keep", "--library", "lib", "--best", 4, "--dry-run")
    assert "4 calls would be kept" in ran.err
    ran = run("keep", "--library", "lib", "--best", 4)
    assert "4 calls kept in" in ran.err
    assert "kept already" not in ran.err
    ran = run("keep", "--library", "lib", "--take", "A002.wav", "--at", 3.2, "--dry-run")
    assert ran.err.startswith(("1 call would", "0 calls would")), "A002.wav and its copy are one"
    ran = run("keep", "--library", "lib", "--take", "*")
    assert "11 calls kept in" in ran.err
    assert "4 calls kept already" in ran.err


def test_calls_without_a_day_are_told_and_can_be_given_one(run, rushes, tmp_path):
    """Neither the month nor a span of days would ever find them."""
    with Log(tmp_path / "calltag.db") as log:
        one = log.take_log("A002.wav")
        undated = replace(one, take=replace(one.take, recorded=None))
        log.put(undated, feature_version=FEATURE_VERSION)
    keep = ("keep", "--library", "lib", "--take", "A00*")
    ran = run(*keep)
    assert "10 calls kept" in ran.err
    assert "5 of them state no day of recording; --month and --since pass over such" in ran.err
    ran = run("keep", "--library", "lib", "--take", "A002.wav", "--replace", "--date", "2026-05-18")
    assert "5 calls kept" in ran.err
    assert "no day" not in ran.err
    assert "5 kept calls listed" in run("library", "find", "--library", "lib", "--month", 5).err
