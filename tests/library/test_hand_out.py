"""Copies for the edit: EBU Tech 3341's signals, pyloudnorm, OpenTimelineIO, soundfile, wavinfo."""

from __future__ import annotations

import csv
from pathlib import Path, PurePosixPath

import numpy as np
import opentimelineio as otio
import pyloudnorm
import pytest
import scipy.signal
import soundfile
import wavinfo

from calltag.errors import InputError
from calltag.library.catalogue.catalogue import Catalogue
from calltag.library.hand_out import CREDITS_NAME, MARKERS_NAME, PEAK_DBTP, hand_out, report_lines
from calltag.library.kept_file.sound_file import file_hash, read_story, write_cut
from calltag.library.kept_file.story import tidy
from calltag.library.rebuild import rebuild
from calltag.media.timing.timecode import Rate
from calltag.media.wave_files.bext import Bext, read_bext

from .conftest import RATE_HZ, call, plain_story, wanted


def tone(seconds: float, peak_dbfs: float, hz: float = 1000.0) -> np.ndarray:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return 10 ** (peak_dbfs / 20) * np.sin(2 * np.pi * hz * t)


def put(catalogue: Catalogue, samples: np.ndarray, number: int = 0, rate_hz: int = RATE_HZ, **more):
    """Keep a sound that no take has."""
    samples = np.atleast_2d(samples)
    seconds = samples.shape[1] / rate_hz
    story = tidy(
        plain_story(
            number,
            rate_hz=rate_hz,
            channels=len(samples),
            n_samples=samples.shape[1],
            call_start_s=0.25 * seconds,
            call_end_s=0.75 * seconds,
            **more,
        )
    )
    path = f"x/{number}.wav"
    story = write_cut(catalogue.folder / path, samples, story, Bext(time_reference=1000 * number))
    file = catalogue.folder / path
    catalogue.put([(path, story, file.stat().st_size, file_hash(file))])
    return catalogue.kept_where("cuts.path = ?", [path])[0]


def measured_lufs(file: Path) -> float:
    samples, rate_hz = soundfile.read(file, always_2d=True)
    return pyloudnorm.Meter(rate_hz).integrated_loudness(samples)


def measured_dbtp(file: Path) -> float:
    """Fourfold oversampling as ITU-R BS.1770-4, annex 2, asks for, by another filter than ours."""
    samples, _ = soundfile.read(file, always_2d=True)
    return 20 * np.log10(np.abs(scipy.signal.resample(samples, 4 * len(samples))).max())


def stereo(*parts: np.ndarray) -> np.ndarray:
    return np.tile(np.concatenate(parts), (2, 1))


# EBU Tech 3341, minimum requirements 1 to 3: levels of a stereo tone of 1 kHz, and what an
# R 128 meter reads of them; each is -23 LUFS (number 2: -33) within 0.1.
TECH_3341 = {
    1: (stereo(tone(20, -23)), -23.0),
    2: (stereo(tone(20, -33)), -33.0),
    3: (stereo(tone(10, -36), tone(60, -23), tone(10, -36)), -23.0),
}


@pytest.mark.parametrize("number", TECH_3341)
def test_signals_of_tech_3341_are_turned_up_by_what_they_lack(catalogue, tmp_path, number):
    samples, published_lufs = TECH_3341[number]
    kept = put(catalogue, samples)
    (copy,) = hand_out(
        [kept], tmp_path / "out", library=catalogue.folder, loudness_lufs=-27.0
    ).copies
    assert copy.gain_db == pytest.approx(-27.0 - published_lufs, abs=0.1)
    assert measured_lufs(copy.file) == pytest.approx(-27.0, abs=0.1)
    assert not copy.held
    assert not copy.short


def test_kept_calls_come_to_one_loudness(keep, shot, catalogue, tmp_path):
    kept = keep(*(wanted(shot, call(at_s)) for at_s in (1.0, 3.0, 5.0)))
    kept.append(put(catalogue, stereo(tone(2, -50, 3000))))
    report = hand_out(kept, tmp_path / "out", library=catalogue.folder, loudness_lufs=-23.0)
    assert report.problems == ()
    assert [copy.kept for copy in report.copies] == kept
    for copy in report.copies:
        assert measured_lufs(copy.file) == pytest.approx(-23.0, abs=0.1)
        assert measured_dbtp(copy.file) <= PEAK_DBTP + 0.2  # EBU Tech 3341: +0.2 dB
        story, whole = read_story(copy.file)
        assert whole
        assert story == copy.story
        assert story.loudness_lufs == pytest.approx(-23.0, abs=0.1)
        assert read_bext(copy.file).loudness_lufs == pytest.approx(-23.0, abs=0.1)
        assert "dB for -23 LUFS" in read_bext(copy.file).history


def test_the_true_peak_is_held_at_minus_1(catalogue, tmp_path):
    """EBU R 128: at most -1 dBTP. A tone at a quarter of the rate, at 45 degrees, peaks 3 dB above
    its samples (EBU Tech 3341, number 15 and on); in short bursts its loudness is far below."""
    crest = 0.1 * np.sin(np.pi / 2 * np.arange(RATE_HZ) + np.pi / 4)
    bursts = crest * (np.arange(RATE_HZ) % 12_000 < 240) * np.hanning(240).repeat(200)[:RATE_HZ]
    kept = put(catalogue, np.stack([bursts, bursts]))
    (copy,) = hand_out(
        [kept], tmp_path / "out", library=catalogue.folder, loudness_lufs=-14.0
    ).copies
    assert copy.held
    assert measured_lufs(copy.file) < -14.5
    assert measured_dbtp(copy.file) == pytest.approx(PEAK_DBTP, abs=0.2)


def test_what_is_shorter_than_a_gating_block_is_aligned_by_its_level_and_told(catalogue, tmp_path):
    """BS.1770 gates blocks of 0.4 s. The same tone, long and short, is turned up alike."""
    short = put(catalogue, stereo(tone(0.2, -40)), 1)
    long = put(catalogue, stereo(tone(3.0, -40)), 2)
    block = put(catalogue, stereo(tone(0.4, -40)), 3)
    report = hand_out(
        [short, long, block], tmp_path / "out", library=catalogue.folder, loudness_lufs=-30.0
    )
    by_number = {copy.kept.path: copy for copy in report.copies}
    assert by_number["x/1.wav"].short
    assert not by_number["x/2.wav"].short
    assert by_number["x/1.wav"].gain_db == pytest.approx(by_number["x/2.wav"].gain_db, abs=0.2)
    assert read_story(by_number["x/1.wav"].file)[0].loudness_lufs is None
    with pytest.raises(ValueError):  # as pyloudnorm sees it, too
        measured_lufs(by_number["x/1.wav"].file)
    assert not by_number["x/3.wav"].short
    assert measured_lufs(by_number["x/3.wav"].file) == pytest.approx(-30.0, abs=0.1)


def test_the_report_tells_the_limits_that_hold(catalogue, tmp_path, monkeypatch):
    monkeypatch.setattr("calltag.library.hand_out.PEAK_DBTP", -6.5)
    monkeypatch.setattr("calltag.library.hand_out.GATING_BLOCK_S", 1.5)
    kept = put(catalogue, stereo(tone(1.0, -30)))
    report = hand_out([kept], tmp_path / "out", library=catalogue.folder, loudness_lufs=0.0)
    *_, line = report_lines(report, tmp_path / "out", 0.0)
    assert "no more, since its true peak is at -6.5 dBTP" in line
    assert "shorter than 1.5 s" in line


def test_silence_is_left_silent(catalogue, tmp_path):
    kept = put(catalogue, np.zeros((1, RATE_HZ)))
    (copy,) = hand_out(
        [kept], tmp_path / "out", library=catalogue.folder, loudness_lufs=-23.0
    ).copies
    assert copy.gain_db == 0
    assert not soundfile.read(copy.file)[0].any()


def test_without_a_loudness_the_copy_is_the_file(keep, shot, catalogue, tmp_path):
    (wav,) = keep(wanted(shot, call(1.0)))
    (flac,) = keep(wanted(shot, call(5.0)), as_flac=True)
    report = hand_out([wav, flac], tmp_path / "out", library=catalogue.folder)
    assert [copy.file.suffix for copy in report.copies] == [".wav", ".wav"]
    copies = {copy.kept.path: copy.file for copy in report.copies}
    assert copies[wav.path].read_bytes() == wav.file.read_bytes()
    ours, _ = soundfile.read(copies[flac.path], dtype="int32")
    theirs, _ = soundfile.read(flac.file, dtype="int32")
    np.testing.assert_array_equal(ours, theirs)
    read = wavinfo.WavInfoReader(str(copies[flac.path]))
    assert read.bext.time_reference == (10 * 3600 + 4) * RATE_HZ
    assert read.bext.originator_time == "05:12:04"
    assert [cue["label"] for cue in read.cues.to_dict().values()] == ["marsh hooter: boom"]


@pytest.mark.parametrize("fps", [Rate("25"), None])
def test_opentimelineio_reads_a_marker_on_each_call(keep, shot, catalogue, tmp_path, fps):
    from fractions import Fraction

    kept = keep(wanted(shot, call(1.0)), wanted(shot, call(3.0, "pit rail: rasp")))
    rate = None if fps is None else Rate(Fraction(25))
    hand_out(kept, tmp_path / "out", library=catalogue.folder, rate=rate)
    timeline = otio.adapters.read_from_file(str(tmp_path / "out" / MARKERS_NAME))
    clips = list(timeline.find_clips())
    assert len(clips) == 2
    for clip, one in zip(clips, kept, strict=True):
        assert Path(clip.media_reference.target_url).name == one.file.name
        (marker,) = clip.markers
        assert marker.name == one.story.label
        assert "free for this film" in marker.comment
        into = marker.marked_range.start_time - clip.available_range().start_time
        assert into.to_seconds() == pytest.approx(one.story.call_start_s, abs=0.02)
        assert marker.marked_range.duration.to_seconds() == pytest.approx(0.5, abs=0.04)
        start = clip.available_range().start_time.to_seconds()
        assert start == pytest.approx(36_000 + one.story.first_sample / RATE_HZ, abs=0.02)


def test_credits_say_whose_it_is(keep, shot, catalogue, tmp_path):
    kept = keep(wanted(shot, call(1.0, by_hand=True)))
    hand_out(kept, tmp_path / "out", library=catalogue.folder)
    with (tmp_path / "out" / CREDITS_NAME).open(newline="", encoding="utf-8") as file:
        (row,) = csv.DictReader(file)
    assert row["file"] == kept[0].file.name
    assert (row["recordist"], row["rights"]) == ("A. Keeper", "free for this film")
    assert (row["label"], row["labelled_by"]) == ("marsh hooter: boom", "by hand")
    assert (row["take"], row["start_tc"]) == ("card1/A001.wav", "10:00:01:00")


def test_lists_that_are_replaced_name_what_was_handed_out_before_too(
    keep, shot, catalogue, tmp_path
):
    first, second = keep(wanted(shot, call(1.0)), wanted(shot, call(5.0)))
    out = tmp_path / "out"
    (before,) = hand_out([first], out, library=catalogue.folder, loudness_lufs=-30.0).copies
    (out / "other.wav").write_bytes(b"RIFF")
    hand_out([second], out, library=catalogue.folder, replace_existing=True)
    with (out / CREDITS_NAME).open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [row["file"] for row in rows] == [second.file.name, first.file.name]
    assert float(rows[1]["gain_db"]) == pytest.approx(before.gain_db, abs=0.01)
    assert (rows[0]["gain_db"], rows[1]["rights"]) == ("0.0", "free for this film")
    timeline = otio.adapters.read_from_file(str(out / MARKERS_NAME))
    assert len(list(timeline.find_clips())) == 2
    hand_out([first], out, library=catalogue.folder, replace_existing=True)
    assert (out / CREDITS_NAME).read_text("utf-8").count("\n") == 3


@pytest.mark.parametrize("there", [True, False])
def test_a_hand_out_that_is_stopped_leaves_nothing(keep, shot, catalogue, tmp_path, there):
    """Ctrl-C after the first copy; the same command then does the whole."""
    first, second = keep(wanted(shot, call(1.0)), wanted(shot, call(5.0)))
    out = tmp_path / "out"
    if there:
        hand_out([first], out, library=catalogue.folder, loudness_lufs=-30.0)
    before = {path.name: path.read_bytes() for path in out.glob("*")}

    def stop(_done: int) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        hand_out([first, second], out, library=catalogue.folder, replace_existing=there, told=stop)
    assert {path.name: path.read_bytes() for path in out.glob("*")} == before
    assert out.exists() == there
    hand_out([first, second], out, library=catalogue.folder, replace_existing=there)
    assert sorted(path.name for path in out.iterdir()) == sorted(
        [first.file.name, second.file.name, MARKERS_NAME, CREDITS_NAME]
    )
    timeline = otio.adapters.read_from_file(str(out / MARKERS_NAME))
    for clip in timeline.find_clips():
        assert clip.media_reference.target_url.startswith(out.as_uri())


def test_a_timeline_that_windows_has_open_elsewhere_is_told(
    keep, shot, catalogue, tmp_path, monkeypatch
):
    """As the one of the last hand-out in an editing program."""
    kept = keep(wanted(shot, call(1.0)))
    out = tmp_path / "out"
    hand_out(kept, out, library=catalogue.folder)
    replace = Path.replace

    def refuse(partial: Path, path: Path) -> Path:
        if path != out / MARKERS_NAME:
            return replace(partial, path)
        error = PermissionError(13, "Access is denied")
        error.winerror = 5
        raise error

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(InputError, match=r"out.calls\.otio: .*another program may have it open"):
        hand_out(kept, out, library=catalogue.folder, replace_existing=True)


@pytest.mark.parametrize("locked", ["calls.otio", "credits.csv", "second"])
@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_a_hand_out_that_cannot_be_put_in_place_leaves_all_as_it_was(
    keep, shot, catalogue, tmp_path, monkeypatch, locked, error
):
    first, second = keep(wanted(shot, call(1.0)), wanted(shot, call(5.0)))
    out = tmp_path / "out"
    hand_out([first], out, library=catalogue.folder, loudness_lufs=-30.0)
    before = {path.name: path.read_bytes() for path in out.iterdir()}
    stuck = out / (second.file.name if locked == "second" else locked)
    replace, refused = Path.replace, []

    def refuse(partial: Path, path: Path) -> Path:
        if path == stuck and partial.name == path.name and not refused:
            refused.append(path)
            raise error
        return replace(partial, path)

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises((InputError, KeyboardInterrupt)):
        hand_out([first, second], out, library=catalogue.folder, replace_existing=True)
    assert refused
    assert {path.name: path.read_bytes() for path in out.iterdir()} == before
    hand_out([first, second], out, library=catalogue.folder, replace_existing=True)
    assert {path.name for path in out.iterdir()} == {*before, second.file.name}


def test_a_killed_hand_out_leaves_no_list_of_copies_that_are_not_there(
    keep, shot, catalogue, tmp_path, monkeypatch
):
    """Whenever it is killed, what a list names is in place before the list is."""
    kept = keep(wanted(shot, call(1.0)), wanted(shot, call(5.0)))
    out = tmp_path / "out"
    replace, there = Path.replace, []

    def move(partial: Path, path: Path) -> Path:
        moved = replace(partial, path)
        if path.parent == out:
            there.append({file.name for file in out.iterdir() if not file.name.startswith(".")})
        return moved

    monkeypatch.setattr(Path, "replace", move)
    hand_out(kept, out, library=catalogue.folder)
    assert len(there) == 4
    for names in there:
        if names & {MARKERS_NAME, CREDITS_NAME}:
            assert {one.file.name for one in kept} < names


def test_a_folder_that_cannot_be_is_told_by_its_own_name(keep, shot, catalogue, tmp_path):
    kept = keep(wanted(shot, call(1.0)))
    (tmp_path / "out").write_text("a file")
    with pytest.raises(InputError, match=r"out: cannot be written \(not a directory\)"):
        hand_out(kept, tmp_path / "out", library=catalogue.folder)


@pytest.mark.parametrize("recorded", ["The 18th", "2026-04-18T05:1x", "9999-12-31T23:59:59.9Z"])
def test_a_date_that_another_program_changed_is_handed_out_as_it_is(catalogue, tmp_path, recorded):
    kept = put(catalogue, stereo(tone(1, -30)), recorded=recorded)
    (copy,) = hand_out(
        [kept], tmp_path / "out", library=catalogue.folder, loudness_lufs=-27.0
    ).copies
    assert read_story(copy.file)[0].recorded == recorded


def test_files_of_one_name_in_two_folders_are_two_copies(keep, shot, catalogue, tmp_path):
    """Capitals do not tell names apart on every disk, nor do the ways to write an umlaut."""
    names = ("a/best.wav", "b/Best.WAV", "a/Ru\u0308f.wav", "b/R\u00fcf.wav", "a/other.wav")
    for one, name in zip(
        keep(*(wanted(shot, call(1.0 + i)) for i in range(5))), names, strict=True
    ):
        (catalogue.folder / name).parent.mkdir(exist_ok=True)
        one.file.rename(catalogue.folder / name)
    rebuild(catalogue.folder)
    kept = list(catalogue.all_kept())
    report = hand_out(kept, tmp_path / "out", library=catalogue.folder)
    assert [copy.kept for copy in report.copies] == kept
    assert len({copy.file.name.casefold() for copy in report.copies}) == 5
    assert len(list((tmp_path / "out").glob("*.wav"))) == 5
    for copy in report.copies:
        assert read_story(copy.file)[0].id == copy.kept.story.id
        plain = PurePosixPath(copy.kept.path).stem
        added = "" if plain == "other" else f"_{copy.kept.short_id}"
        assert copy.file.name == f"{plain}{added}.wav"


def test_damaged_sound_is_not_handed_out(keep, shot, catalogue, tmp_path):
    good, bad = keep(wanted(shot, call(1.0)), wanted(shot, call(5.0)))
    content = bytearray(bad.file.read_bytes())
    content[len(content) // 2] ^= 1
    bad.file.write_bytes(content)
    report = hand_out([good, bad], tmp_path / "out", library=catalogue.folder)
    assert [copy.kept for copy in report.copies] == [good]
    assert "damaged" in report.problems[0].reason
    assert not (tmp_path / "out" / bad.file.name).exists()


def test_nothing_is_overwritten_and_no_copy_goes_into_the_library(keep, shot, catalogue, tmp_path):
    kept = keep(wanted(shot, call(1.0)))
    with pytest.raises(InputError, match="outside it"):
        hand_out(kept, catalogue.folder / "out", library=catalogue.folder)
    hand_out(kept, tmp_path / "out", library=catalogue.folder)
    with pytest.raises(InputError, match="exists already; name another folder, or add --replace"):
        hand_out(kept, tmp_path / "out", library=catalogue.folder)
    hand_out(kept, tmp_path / "out", library=catalogue.folder, replace_existing=True)
    with pytest.raises(InputError, match="no kept call"):
        hand_out([], tmp_path / "other", library=catalogue.folder)
