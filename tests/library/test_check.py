"""Damage to kept calls is found, wherever it is."""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest

from calltag.library.check import Finding, Trouble, check
from calltag.library.rebuild import rebuild
from calltag.library.search.find import Query, find

from .conftest import CALLS, call, shoot, wanted


def flip(path: Path, at: int) -> None:
    content = bytearray(path.read_bytes())
    content[at] ^= 0x10
    path.write_bytes(bytes(content))


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_one_bad_byte_anywhere_is_found(keep, shot, catalogue, suffix):
    (kept,) = keep(wanted(shot, call(3.0)), as_flac=suffix == ".flac")
    whole = kept.file.read_bytes()
    assert check(catalogue).findings == ()
    rng = random.Random(5)
    places = [*range(0, 60, 7), *rng.sample(range(len(whole)), 25), len(whole) - 20]
    for at in places:
        flip(kept.file, at)
        findings = check(catalogue).findings
        assert [one.path for one in findings] == [kept.path], f"byte {at} of {len(whole)}"
        kept.file.write_bytes(whole)


@pytest.mark.parametrize("suffix", [".wav", ".flac"])
def test_bad_sound_is_found_after_a_rebuild_too(keep, shot, catalogue, suffix):
    (kept,) = keep(wanted(shot, call(3.0)), as_flac=suffix == ".flac")
    flip(kept.file, kept.file.stat().st_size // 2)
    rebuild(catalogue.folder)
    (finding,) = check(catalogue).findings
    assert finding.trouble is Trouble.SOUND
    assert finding.trouble.is_damage


def test_a_header_that_lies_is_found_after_a_rebuild_too(keep, shot, catalogue):
    (kept,) = keep(wanted(shot, call(3.0)))
    content = kept.file.read_bytes()
    at = content.index(b"fmt ") + 8 + 4
    kept.file.write_bytes(content[:at] + (44_100).to_bytes(4, "little") + content[at + 4 :])
    rebuild(catalogue.folder)
    assert [one.trouble for one in check(catalogue).findings] == [Trouble.SOUND]


def test_what_is_wrong_is_told_apart(keep, shot, catalogue):
    one, two, three = keep(*(wanted(shot, each) for each in CALLS))
    one.file.unlink()
    two.file.write_bytes(two.file.read_bytes().replace(b"north hide", b"south hide"))
    content = three.file.read_bytes()
    three.file.write_bytes(
        content.replace(b"marsh hooter: boom, from", b"marsh hooter: BOOM, from")
    )
    shutil.copyfile(three.file, catalogue.folder / "new.wav")
    troubles = {finding.path: finding.trouble for finding in check(catalogue).findings}
    assert troubles == {
        one.path: Trouble.GONE,
        two.path: Trouble.STORY,
        three.path: Trouble.CHANGED,
        "new.wav": Trouble.UNKNOWN,
    }
    assert check(catalogue).damaged == 2
    report = rebuild(catalogue.folder)
    assert report.doubtful == [two.path]
    assert find(catalogue, Query(place="south")).total == 1


def test_two_files_of_one_call_that_are_both_gone_are_lost(keep, shot, catalogue):
    (one,) = keep(wanted(shot, call(3.0)))
    other = one.file.with_stem("other")
    shutil.copy(one.file, other)
    rebuild(catalogue.folder)
    one.file.unlink()
    other_path = other.relative_to(catalogue.folder).as_posix()
    assert check(catalogue).findings == (Finding(one.path, Trouble.REPLACED, other_path),)
    other.unlink()
    findings = check(catalogue).findings
    assert {one.path for one in findings} == {one.path, other_path}
    assert [one.trouble for one in findings] == [Trouble.GONE] * 2


def test_what_another_camera_heard_of_a_lost_call_is_another_file(keep, catalogue, tmp_path):
    shots = [shoot(tmp_path / "rushes", name, seed=i) for i, name in enumerate(["A.wav", "B.wav"])]
    one, other = keep(*(wanted(shot, call(4.0)) for shot in shots))
    found = find(catalogue, Query(doubles=True)).kept
    assert {kept.path for kept in found} == {one.path, other.path}
    one.file.unlink()
    assert check(catalogue).findings == (Finding(one.path, Trouble.GONE),)
