"""The catalogue from the files alone; runs that are killed at any moment; rot."""

from __future__ import annotations

import json
import os
import random
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
import unicodedata
from dataclasses import replace
from functools import partial
from pathlib import Path
from unittest.mock import Mock

import numpy as np
import pytest
import soundfile

import calltag.library.check
import calltag.library.rebuild
from calltag.errors import LibraryError
from calltag.library.catalogue.catalogue import NAME, Catalogue
from calltag.library.check import Finding, Trouble, check
from calltag.library.keep import KeepOptions, keep_calls
from calltag.library.kept_file.sound_file import read_story, sound_files, sound_hash, write_cut
from calltag.library.kept_file.story import Facts
from calltag.library.rebuild import LAID_ASIDE, rebuild
from calltag.library.search.find import Query, choices, find
from calltag.media.wave_files.wav_file import read_chunk
from calltag.media.wave_files.wav_writing import write_wav
from calltag.partials import STALE_S

from .conftest import CALLS, RATE_HZ, call, shoot, wanted

ROOT = Path(__file__).resolve().parents[2]


def known(folder: Path) -> dict[str, object]:
    with Catalogue(folder) as catalogue:
        return {
            kept.path: (kept.story, kept.file_hash, catalogue.features_of(kept.key)[1].tobytes())
            for kept in catalogue.all_kept()
        }


def test_the_files_alone_are_enough(keep, shot, catalogue):
    keep(wanted(shot, CALLS[0]), wanted(shot, CALLS[1]))
    keep(wanted(shot, CALLS[2]), as_flac=True)
    before = known(catalogue.folder)
    catalogue.close()
    for file in catalogue.folder.glob(f"{NAME}*"):
        file.unlink()
    report = rebuild(catalogue.folder)
    assert (report.taken, report.gone, report.strangers, report.doubtful) == (3, [], [], [])
    assert known(catalogue.folder) == before


@pytest.mark.skipif(sys.platform != "linux", reason="other systems refuse such names")
def test_a_name_that_the_catalogue_cannot_hold_is_told(keep, shot, catalogue):
    one, two = keep(*(wanted(shot, each) for each in CALLS[:2]))
    one.file.rename(one.file.with_name(os.fsdecode(b"best\xff.wav")))
    report = rebuild(catalogue.folder)
    assert (report.taken, report.gone) == (1, [one.path])
    (problem,) = report.strangers
    assert problem.path.endswith("best\ufffd.wav")
    assert problem.reason == "its name is no valid text; rename it"
    assert not catalogue.unfinished
    assert check(catalogue).findings == ()
    assert [kept.path for kept in catalogue.all_kept()] == [two.path]


def test_what_was_moved_copied_in_or_taken_out_is_followed(keep, shot, catalogue):
    one, two, three = keep(*(wanted(shot, each) for each in CALLS))
    (catalogue.folder / "by hand").mkdir()
    one.file.rename(catalogue.folder / "by hand" / "best.wav")
    shutil.copyfile(two.file, catalogue.folder / "again.wav")
    three.file.unlink()
    soundfile.write(catalogue.folder / "other.wav", np.zeros(480), 48_000)
    (catalogue.folder / ".hidden.wav").write_bytes(two.file.read_bytes())
    report = rebuild(catalogue.folder)
    assert set(known(catalogue.folder)) == {"again.wav", "by hand/best.wav", two.path}
    assert set(report.gone) == {one.path, three.path}
    assert [problem.path for problem in report.strangers] == ["other.wav"]
    assert find(catalogue, Query(doubles=True)).total == 2


@pytest.mark.parametrize("recorded", ["May 2026", "2026-5-18T05", "2026-13-01", "2026/05/01"])
def test_a_date_that_another_program_changed_is_no_month(keep, shot, catalogue, recorded):
    (kept,) = keep(wanted(shot, CALLS[0]))
    old = kept.story.recorded.encode()
    content = kept.file.read_bytes()
    changed = recorded.encode().ljust(len(old))
    kept.file.write_bytes(content.replace(b">" + old + b"<", b">" + changed + b"<"))
    report = rebuild(catalogue.folder)
    assert (report.taken, report.doubtful) == (1, [kept.path])
    (again,) = find(catalogue, Query()).kept
    assert again.story.recorded.strip() == recorded
    assert choices(catalogue).months == ()


@pytest.mark.parametrize(
    ("told", "changed"),
    [
        (b'"channels": 2', b'"channels": 0'),
        (b'"confidence": 0.9', b'"confidence": [1]'),
        (b'"frame_rate": "25"', b'"frame_rate": "/0"'),
        (b'"noise": ["wind"]', b'"noise": [  123 ]'),
        (b'"rate_hz": 48000', b'"rate_hz": "480"'),
        (b'"start_tc": "10:00:01:00"', b'"start_tc": 1000010100000'),
        (b'"labelled_by": "calltag', b'"labelled_by": "\\ud83da'),
        (b"dcterms:identifier>", b"dcterms:identifiex>"),
        (b"dcterms:title>", b"dcterms:titlo>"),
        (b">1.0<", b">nan<"),
    ],
)
def test_a_story_that_can_be_none_of_ours_takes_no_other_along(
    keep, shot, catalogue, told, changed
):
    bad, good = keep(wanted(shot, call(1.0, noise=("wind",))), wanted(shot, CALLS[1]))
    content = bad.file.read_bytes()
    assert told in content
    assert len(told) == len(changed), "the file is whole but for what it says"
    bad.file.write_bytes(content.replace(told, changed))
    report = rebuild(catalogue.folder)
    assert (report.taken, [problem.path for problem in report.strangers]) == (1, [bad.path])
    assert list(catalogue.all_kept()) == [good]


def test_a_story_of_brackets_within_brackets_takes_no_other_along(keep, shot, catalogue):
    bad, good = keep(*(wanted(shot, each) for each in CALLS[:2]))
    story = (read_chunk(bad.file, "axml") or b"").decode("utf-8")
    nested = "[" * 100_000 + "]" * 100_000
    told = re.sub(r"(?s)(<dwc:dynamicProperties>).*(</dwc:dyn)", rf"\1{nested}\2", story)
    write_wav(bad.file, shot.samples, RATE_HZ, chunks={"axml": told.encode("utf-8")})
    report = rebuild(catalogue.folder)
    (problem,) = report.strangers
    reason = "there is no story of a kept call in it, or it is damaged"
    assert (report.taken, problem.path, problem.reason) == (1, bad.path, reason)
    assert list(catalogue.all_kept()) == [good]


@pytest.mark.parametrize(
    "damaged",
    [
        "substr(story, 2)",
        "CAST(x'7b22ff227d' AS TEXT)",
        "'[1]'",
        "replace(hex(zeroblob(50000)), '0', '[')",
    ],
)
def test_damage_in_a_row_of_the_catalogue_is_told(keep, shot, catalogue, damaged):
    (kept,) = keep(wanted(shot, CALLS[0]))
    with sqlite3.connect(catalogue.folder / NAME) as other:
        other.execute(f"UPDATE stories SET story = {damaged}")
    other.close()
    for ask in (lambda: find(catalogue, Query()), lambda: choices(catalogue)):
        with pytest.raises(LibraryError, match=rf"{kept.path} is damaged; `calltag library reb"):
            ask()
    rebuild(catalogue.folder)
    assert find(catalogue, Query()).kept == (kept,)


@pytest.mark.parametrize("when", ["before it is read", "after its story was read"])
def test_a_last_file_that_vanishes_meanwhile_takes_no_other_along(
    keep, shot, catalogue, monkeypatch, when
):
    kept = keep(*(wanted(shot, each) for each in CALLS))
    (catalogue.folder / "z.wav").write_bytes(kept[0].file.read_bytes())
    catalogue.remove([one.path for one in kept])

    def read(file: Path):
        told = None if when == "before it is read" else read_story(file)
        if file.name == "z.wav":
            file.unlink()
        return told or read_story(file)

    monkeypatch.setattr("calltag.library.rebuild.read_story", read)
    done: list[tuple[int, int]] = []
    report = rebuild(catalogue.folder, told=lambda *numbers: done.append(numbers))
    assert (report.taken, report.gone, report.strangers) == (3, [], [])
    assert set(catalogue.paths()) == {one.path for one in kept}
    assert done[-1] == (4, 4)


@pytest.mark.parametrize("how", ["noise", "torn"])
def test_a_damaged_catalogue_is_laid_aside(keep, shot, catalogue, how):
    keep(*(wanted(shot, each) for each in CALLS))
    catalogue.close()
    path = catalogue.folder / NAME
    content = bytearray(path.read_bytes())
    if how == "noise":
        content[:200] = random.Random(1).randbytes(200)
    else:
        content[8192:40960] = bytes(32768)
    path.write_bytes(bytes(content))
    report = rebuild(catalogue.folder)
    assert report.laid_aside == catalogue.folder / LAID_ASIDE
    assert len(known(catalogue.folder)) == 3


def test_another_programs_file_is_not_touched(tmp_path):
    with sqlite3.connect(tmp_path / NAME) as other:
        other.execute("CREATE TABLE theirs (x)")
    other.close()
    before = (tmp_path / NAME).read_bytes()
    with pytest.raises(LibraryError, match="another program's file"):
        rebuild(tmp_path)
    assert (tmp_path / NAME).read_bytes() == before
    with pytest.raises(LibraryError, match="no such folder"):
        rebuild(tmp_path / "none")


KEEPER = """
import sys, json
sys.path.insert(0, sys.argv[1])
from pathlib import Path
from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.keep import KeepOptions, Wanted, keep_calls
from calltag.library.rebuild import rebuild
from calltag.records.found import Call
from calltag.records.take import Take
folder = Path(sys.argv[2])
if sys.argv[3] == "rebuild":
    print("go", flush=True)
    while True:
        rebuild(folder)
given = json.loads(sys.argv[3])
take = Take(**given["take"])
calls = [Call(**values) for values in given["calls"]]
with Catalogue(folder, create=True) as catalogue:
    keep_calls(catalogue, [Wanted(take=take, call=calls[0])], KeepOptions(replace=True))
    print("go", flush=True)
    while True:
        for handles_s in (0.4, 0.6):
            options = KeepOptions(replace=True, handles_s=handles_s)
            keep_calls(catalogue, [Wanted(take=take, call=call) for call in calls], options)
"""


def killed(folder: Path, what: str, after_s: float) -> None:
    run = subprocess.Popen(
        [sys.executable, "-c", KEEPER, str(ROOT), str(folder), what],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert run.stdout is not None
    assert run.stdout.readline() == "go\n"
    time.sleep(after_s)
    run.send_signal(signal.SIGKILL) if hasattr(signal, "SIGKILL") else run.kill()
    run.wait()
    run.stdout.close()


def assert_true(folder: Path, *, half_replaced: int = 0) -> int:
    """Every row has its file, every file is whole; return how many rows there are.

    Of a cut that was being replaced the file goes before its row, and may be there anew before it:
    one for each time that keeping was killed. Neither is told as a loss.
    """
    with Catalogue(folder) as catalogue:
        report = check(catalogue)
        half = [one for one in report.findings if one.trouble != Trouble.UNKNOWN]
        assert len(half) <= half_replaced, half
        assert not report.damaged, half
        for file in sound_files(folder):
            story, whole = read_story(file)
            assert whole
            assert sound_hash(file) == story.sound_hash
        return catalogue.count()


def test_a_killed_keep_leaves_no_half_file_and_no_row_of_none_but_what_it_was_replacing(tmp_path):
    """Killed again and again while the same calls are cut anew and old cuts are replaced."""
    shot = shoot(tmp_path / "r", seconds=30.0)
    take = {
        name: getattr(shot.take, name)
        for name in ("path", "rushes", "digest", "size_bytes", "duration_s", "sample_rate_hz")
    }
    names = ("start_s", "end_s", "low_hz", "high_hz", "peak_hz", "snr_db", "level_dbfs", "label",
             "call_probability", "confidence")  # fmt: skip
    calls = [{name: getattr(call(float(i)), name) for name in names} for i in range(1, 28, 2)]
    what = json.dumps({"take": take | {"channels": 2}, "calls": calls})
    folder = tmp_path / "calls"
    folder.mkdir()
    rng = random.Random(7)
    counts = []
    for _ in range(4):
        killed(folder, what, rng.uniform(0.0, 1.0))
        counts.append(assert_true(folder, half_replaced=len(counts) + 1))
    assert max(counts) > 1
    report = rebuild(folder)
    assert not report.strangers
    # a call that was cut anew may have been there twice before
    assert report.taken + len(report.gone) >= counts[-1]
    with Catalogue(folder) as catalogue:
        assert not check(catalogue).findings


def test_a_killed_rebuild_leaves_a_true_catalogue_that_knows_it(keep, shot, catalogue, monkeypatch):
    monkeypatch.setattr("calltag.library.rebuild._AT_ONCE", 1)
    kept = keep(*(wanted(shot, each) for each in CALLS))
    folder = catalogue.folder
    for number in range(12):
        shutil.copyfile(kept[0].file, folder / f"copy{number}.wav")
    catalogue.close()
    rng = random.Random(3)
    for _ in range(2):
        killed(folder, "rebuild", rng.uniform(0.0, 0.3))
        assert 3 <= assert_true(folder) <= 15

    def stop(done: int, of: int) -> None:
        if done == 5:
            raise KeyboardInterrupt

    (folder / NAME).unlink()
    with pytest.raises(KeyboardInterrupt):
        rebuild(folder, told=stop)
    with Catalogue(folder) as opened:
        assert opened.unfinished
    rebuild(folder)
    with Catalogue(folder) as opened:
        assert not opened.unfinished
        assert opened.count() == 15


def test_the_halves_of_killed_runs_are_swept_away(keep, shot, catalogue):
    folder = catalogue.folder
    keep(wanted(shot, CALLS[0]))
    half = next(folder.rglob("*.wav")).parent / ".1-2.part"
    half.write_bytes(b"half")
    os.utime(half, (time.time() - 2 * STALE_S,) * 2)
    rebuild(folder)
    assert not half.exists()


def test_a_damaged_catalogue_that_another_program_holds_is_told(tmp_path, monkeypatch):
    (tmp_path / NAME).write_bytes(b"no catalogue" * 100)

    def held(*_: object) -> None:
        raise PermissionError(13, "Access is denied")

    monkeypatch.setattr(Path, "replace", held)
    with pytest.raises(LibraryError, match=r"damaged and cannot be laid aside \(access is denied"):
        rebuild(tmp_path)
    assert (tmp_path / NAME).exists()


def test_a_laid_aside_catalogue_leaves_nothing_to_the_new_one(tmp_path, monkeypatch):
    """Another program has it open, so that SQLite leaves what lies beside it."""
    (tmp_path / NAME).write_bytes(b"no catalogue" * 100)
    beside = tmp_path / f"{NAME}-wal"

    def found(_: object) -> bool:
        beside.write_bytes(b"of the old one")
        return True

    def killed(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(calltag.library.rebuild, "is_damage", found)
    monkeypatch.setattr(Path, "replace", killed)
    with pytest.raises(KeyboardInterrupt):
        rebuild(tmp_path)
    assert (tmp_path / NAME).exists()
    assert not beside.exists()


# Rot


@pytest.mark.parametrize("stopped_at", ["pathlib.Path.unlink", "Catalogue.remove"])
def test_a_keep_stopped_while_it_puts_an_old_cut_away_is_ended_by_the_next(
    keep, shot, catalogue, monkeypatch, stopped_at
):
    """Else the old file stays for good, of no row, and `rebuild` takes the call in twice."""
    (old,) = keep(wanted(shot, call(3.0)))
    again = partial(keep, wanted(shot, call(3.0)), replace=True, as_flac=True)
    with monkeypatch.context() as stopped:
        if stopped_at == "Catalogue.remove":
            stopped.setattr(Catalogue, "remove", Mock(side_effect=KeyboardInterrupt))
        else:
            unlink = Path.unlink

            def stop(path, **how):
                if path == old.file:
                    raise KeyboardInterrupt
                unlink(path, **how)

            stopped.setattr(Path, "unlink", stop)
        with pytest.raises(KeyboardInterrupt):
            again()
    (new,) = again()
    assert list(sound_files(catalogue.folder)) == [new.file]
    assert new.file.suffix == ".flac"
    assert [kept.path for kept in catalogue.all_kept()] == [new.path]
    assert not check(catalogue).findings


@pytest.mark.parametrize("mended_by", ["keep", "rebuild"])
def test_a_cut_that_was_replaced_is_not_told_as_lost(keep, shot, catalogue, monkeypatch, mended_by):
    """Its file goes before its row: a `keep` that is killed in between leaves the row."""
    (old,) = keep(wanted(shot, call(3.0)))
    again = partial(keep, wanted(shot, call(3.0)), replace=True, handles_s=0.7, as_flac=True)
    with monkeypatch.context() as stopped:
        stopped.setattr(Catalogue, "remove", Mock(side_effect=KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            again()
    (new,) = (kept for kept in catalogue.all_kept() if kept.path != old.path)
    report = check(catalogue)
    assert report.findings == (Finding(old.path, Trouble.REPLACED, new.path),)
    assert not report.damaged
    again() if mended_by == "keep" else rebuild(catalogue.folder)
    assert not check(catalogue).findings
    (left,) = catalogue.all_kept()
    left.file.unlink()
    assert check(catalogue).findings == (Finding(left.path, Trouble.GONE),)


def test_an_old_cut_that_cannot_be_removed_stays_in_the_catalogue_and_is_told(
    keep, shot, catalogue, monkeypatch
):
    """As on Windows, where another program plays it."""
    (old,) = keep(wanted(shot, call(3.0)))
    flac = KeepOptions(replace=True, as_flac=True)
    with monkeypatch.context() as locked:
        unlink = Path.unlink

        def refuse(path, **how):
            if path == old.file:
                raise PermissionError(13, "Permission denied")
            unlink(path, **how)

        locked.setattr(Path, "unlink", refuse)
        report = keep_calls(catalogue, [wanted(shot, call(3.0))], flac)
    assert report.notes == [
        f"{old.path}: is replaced, but cannot be removed (permission denied); close what has it "
        "open, and keep the call once more with --replace"
    ]
    assert {kept.path for kept in catalogue.all_kept()} == {old.path, report.kept[0].path}
    assert not check(catalogue).findings
    assert keep_calls(catalogue, [wanted(shot, call(3.0))], flac).notes == []
    assert list(sound_files(catalogue.folder)) == [report.kept[0].file]
    assert [kept.path for kept in catalogue.all_kept()] == [report.kept[0].path]


def test_on_a_disk_that_takes_two_spellings_for_one_name_the_new_cut_stays(
    keep, shot, catalogue, monkeypatch
):
    """A second link is what such a disk shows of one file."""
    (old,) = keep(wanted(shot, call(3.0)))

    def write(path, *what):
        story = write_cut(path, *what)
        old.file.unlink()
        old.file.hardlink_to(path)
        return story

    monkeypatch.setattr("calltag.library.keep.write_cut", write)
    renamed = replace(shot.take, path="card1/a001.wav")
    (shot.path.parent / "a001.wav").hardlink_to(shot.path)
    (new,) = keep(replace(wanted(shot, call(3.0)), take=renamed), replace=True)
    assert new.path != old.path
    assert new.path.casefold() == old.path.casefold()
    assert old.file.is_file()
    assert [kept.path for kept in catalogue.all_kept()] == [new.path]


@pytest.mark.parametrize("mended_by", ["keep", "rebuild"])
def test_a_keep_stopped_before_its_row_is_told_and_mended(
    keep, shot, catalogue, monkeypatch, mended_by
):
    """The new file is there, and the catalogue has the old one."""
    again = partial(keep, wanted(shot, call(3.0)), replace=True, facts=Facts(place="causeway"))
    keep(wanted(shot, call(3.0)))
    with monkeypatch.context() as stopped:
        stopped.setattr(Catalogue, "put", Mock(side_effect=KeyboardInterrupt))
        with pytest.raises(KeyboardInterrupt):
            again()
    (finding,) = check(catalogue).findings
    assert "or `calltag keep` was stopped" in finding.trouble
    assert not finding.trouble.is_damage
    again() if mended_by == "keep" else rebuild(catalogue.folder)
    assert not check(catalogue).findings
    assert [kept.story.place for kept in catalogue.all_kept()] == ["causeway"]


def test_names_that_the_disk_lists_in_another_spelling_are_the_same(
    keep, shot, catalogue, monkeypatch
):
    """Disks of Macs list an accent after its letter, and open the file by either name."""
    (kept,) = keep(wanted(shot, call(1.0, "m\u00e4rzhooter: boom")))
    listed = catalogue.folder / unicodedata.normalize("NFD", kept.path)
    assert listed != kept.file
    listed.parent.mkdir()
    os.link(kept.file, listed)
    for module in (calltag.library.rebuild, calltag.library.check):
        monkeypatch.setattr(module, "sound_files", lambda _: iter([listed]))
    assert check(catalogue).findings == ()
    assert rebuild(catalogue.folder).gone == []
    assert list(known(catalogue.folder)) == [kept.path]
    kept.file.unlink()  # a disk that tells the two apart, and only has the other
    assert rebuild(catalogue.folder).gone == [kept.path]
    assert list(known(catalogue.folder)) == [listed.relative_to(catalogue.folder).as_posix()]
