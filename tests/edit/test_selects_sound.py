"""The rendered string of selects: where calls lie, and how loud it may be."""

from __future__ import annotations

import errno
import os
from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf
from wavinfo import WavInfoReader

from calltag.edit.selects import choose
from calltag.edit.selects_sound import (
    LOUDEST_DBFS,
    MATCHED_DBFS,
    PEAK_DBTP,
    _loudest_dbfs,
    measure_gains,
    rendering,
)
from calltag.errors import InputError, MediaError, WriteError
from calltag.files import put_all_in_place
from calltag.media.timing.timecode import Rate
from calltag.records.found import TakeLog
from calltag.sound.loudness.true_peak import true_peak_dbtp

from .conftest import NTSC, RATES, make_call, make_sound, make_take

STARTS_S = (2.0, 5.0, 8.0)
AMPLITUDES = (0.02, 0.9, 0.001)


@pytest.fixture
def pit(tmp_path):
    """Ten seconds of silence with three tones in it, of different level, as a recorder's file."""
    time_s = np.arange(10 * 48_000) / 48_000
    sound = np.zeros(time_s.size)
    for start_s, amplitude in zip(STARTS_S, AMPLITUDES, strict=True):
        inside = (time_s >= start_s) & (time_s < start_s + 1)
        sound[inside] = amplitude * np.sin(2 * np.pi * 997 * time_s[inside])
    (tmp_path / "rushes").mkdir()
    sf.write(tmp_path / "rushes" / "R001.wav", sound, 48_000, subtype="PCM_24")
    take = make_sound("R001.wav", rushes=str(tmp_path / "rushes"), duration_s=10.0, channels=1)
    calls = tuple(
        make_call(start_s, start_s + 1, f"tone {i}", snr_db=30 - i)
        for i, start_s in enumerate(STARTS_S)
    )
    return TakeLog(take=take, calls=calls)


def render(selects, out, *, gains_db=None, **options):
    """One sound by itself, its levels measured unless they are given."""
    gains = {out: measure_gains(selects) if gains_db is None else gains_db}
    with rendering({out: selects}, gains, **options) as (made,):
        assert made.path == out
        put_all_in_place({made.place: out})
    return made


def rms_dbfs(samples):
    return 10 * np.log10(np.mean(samples**2))


@pytest.mark.parametrize("rate", [RATES[2], RATES[4], RATES[7], Rate(25 * NTSC)], ids=str)
def test_calls_lie_where_the_timeline_has_them(tmp_path, pit, rate):
    selects = choose([pit], best=3, handles_s=0.5, rate=rate)
    made = render(selects, tmp_path / "best.wav", gap_s=1)
    info = sf.info(made.path)
    assert (info.subtype, info.samplerate, info.channels) == ("PCM_24", 48_000, 1)
    sound = sf.read(made.path)[0]
    cues = list(WavInfoReader(str(made.path)).cues.to_dict().values())
    assert [cue["label"] for cue in cues] == ["tone 0", "tone 1", "tone 2"]
    gap_frames = round(rate.fps)
    for number, (cue, select) in enumerate(zip(cues, selects, strict=True)):
        frames = sum(s.end - s.first + gap_frames for s in selects[:number])
        into_s = STARTS_S[number] - select.first / rate.fps
        assert cue["frame"] == round((frames / rate.fps + into_s) * 48_000)
        assert cue["length"] == 48_000
        # The tone itself is there: silent up to its cue, and from its end on.
        at = cue["frame"]
        assert not sound[at - 4_800 : at - 1].any()
        assert np.abs(sound[at + 1 : at + 100]).max() > 0
        assert not sound[at + 48_001 : at + 52_000].any()
    assert (
        abs(
            len(sound)
            - float(sum(s.length_s for s in selects) + 2 * gap_frames / rate.fps) * 48_000
        )
        < 1
    )


def test_the_loudest_moment_counts_wherever_it_begins():
    sound = np.zeros(2 * 48_000, np.float32)
    sound[4_801 : 4_801 + 19_200] = 0.5
    assert _loudest_dbfs(sound) == pytest.approx(20 * np.log10(0.5), abs=1e-6)
    assert _loudest_dbfs(sound[:9_602]) == pytest.approx(20 * np.log10(0.5) - 3.01, abs=0.01)


def test_levels_stay_unless_they_would_be_loud(tmp_path, pit):
    selects = choose([pit], best=3, handles_s=0.5)
    made = render(selects, tmp_path / "best.wav")
    assert made.gains_db[0] == made.gains_db[2] == 0
    # A tone of amplitude 0.9 has an RMS level of -3.93 dBFS.
    assert made.gains_db[1] == pytest.approx(LOUDEST_DBFS + 3.93, abs=0.01)
    sound = sf.read(made.path)[0]
    cues = WavInfoReader(str(made.path)).cues.to_dict().values()
    tones = [sound[cue["frame"] : cue["frame"] + 48_000] for cue in cues]
    assert [rms_dbfs(tone) for tone in tones] == pytest.approx(
        [20 * np.log10(0.02) - 3.01, LOUDEST_DBFS, 20 * np.log10(0.001) - 3.01], abs=0.02
    )
    assert true_peak_dbtp(sound) <= PEAK_DBTP


def test_matched_levels_are_told(tmp_path, pit):
    selects = choose([pit], best=3, handles_s=0.5)
    gains_db = measure_gains(selects, match_levels=True)
    made = render(selects, tmp_path / "best.wav", gains_db=gains_db)
    sound = sf.read(made.path)[0]
    info = WavInfoReader(str(made.path))
    tones = [sound[c["frame"] : c["frame"] + 48_000] for c in info.cues.to_dict().values()]
    # The faintest, at -63 dBFS, is turned up by no more than 30 dB.
    assert [rms_dbfs(tone) for tone in tones] == pytest.approx(
        [MATCHED_DBFS, MATCHED_DBFS, -63.01 + 30], abs=0.05
    )
    assert info.bext.coding_history.count("dB") == 3
    assert f"{made.gains_db[1]:+.1f} dB" in info.bext.coding_history


def test_a_click_is_held_by_its_peak(tmp_path):
    sound = np.zeros(96_000)
    sound[48_000:48_010] = 0.99
    (tmp_path / "rushes").mkdir()
    sf.write(tmp_path / "rushes" / "R.wav", sound, 48_000, subtype="FLOAT")
    take = make_sound("R.wav", rushes=str(tmp_path / "rushes"), duration_s=2.0, channels=1)
    selects = choose([TakeLog(take=take, calls=(make_call(0.5, 1.5),))], best=1)
    made = render(selects, tmp_path / "best.wav")
    assert true_peak_dbtp(sf.read(made.path)[0]) <= PEAK_DBTP + 0.01
    assert made.gains_db[0] < -5


def test_edges_are_faded(tmp_path, rng):
    (tmp_path / "rushes").mkdir()
    sf.write(tmp_path / "rushes" / "R.wav", rng.normal(0, 0.05, 96_000), 48_000)
    take = make_sound("R.wav", rushes=str(tmp_path / "rushes"), duration_s=2.0, channels=1)
    selects = choose([TakeLog(take=take, calls=(make_call(0.5, 1.5),))], best=1)
    sound = sf.read(render(selects, tmp_path / "best.wav").path)[0]
    assert sound[0] == sound[-1] == 0
    assert np.abs(sound[:10]).max() < 0.01 * np.abs(sound).max()


def test_an_inverted_pair_is_not_summed(tmp_path, make_clip, rng):
    one = rng.normal(0, 0.05, (1, 96_000)).astype(np.float32)
    clip = make_clip(
        tmp_path / "rushes" / "A.mov", samples=np.concatenate([one, -one]), audio_codec="pcm_s24le"
    )
    take = make_take(clip.name, rushes=str(clip.parent), duration_s=2.0)
    selects = choose([TakeLog(take=take, calls=(make_call(0.5, 1.5),))], best=1)
    sound = sf.read(render(selects, tmp_path / "best.wav").path)[0]
    assert rms_dbfs(sound) == pytest.approx(rms_dbfs(one[0, 24_000:72_000]), abs=0.2)


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_other_rates_are_resampled(tmp_path, rate_hz):
    tone = 0.02 * np.sin(2 * np.pi * 1000 * np.arange(2 * rate_hz) / rate_hz)
    (tmp_path / "rushes").mkdir()
    sf.write(tmp_path / "rushes" / "R.wav", tone, rate_hz, subtype="PCM_24")
    take = make_sound(
        "R.wav", rushes=str(tmp_path / "rushes"), duration_s=2.0, sample_rate_hz=rate_hz, channels=1
    )
    selects = choose([TakeLog(take=take, calls=(make_call(0.5, 1.5),))], best=1)
    sound, hz = sf.read(render(selects, tmp_path / "best.wav").path)
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
    assert np.argmax(spectrum) * hz / len(sound) == pytest.approx(1000, abs=1)
    assert rms_dbfs(sound[1000:-1000]) == pytest.approx(20 * np.log10(0.02) - 3.01, abs=0.01)


# 10:00:00:00 at 25 frames a second, in samples since midnight at 48 kHz (EBU Tech 3285).
def test_the_file_begins_where_the_timeline_does(tmp_path, pit):
    selects = choose([pit], best=1)
    made = render(selects, tmp_path / "best.wav", record_start="10:00:00:00")
    assert WavInfoReader(str(made.path)).bext.time_reference == 1_728_000_000


def test_refusals(tmp_path, pit):
    selects = choose([pit], best=1)
    take = tmp_path / "rushes" / "R001.wav"
    before = take.read_bytes()
    with pytest.raises(InputError, match="this is a take"):
        render(selects, take, replace_existing=True)
    assert take.read_bytes() == before
    render(selects, tmp_path / "best.wav")
    with pytest.raises(InputError, match="exists already"):
        render(selects, tmp_path / "best.wav")
    with pytest.raises(InputError, match="no call was chosen"):
        render([], tmp_path / "none.wav")
    gone = replace(pit, take=replace(pit.take, path="gone.wav"))
    with pytest.raises(MediaError, match=r"gone\.wav"):
        render(choose([gone], best=1), tmp_path / "gone.wav")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["best.wav", "rushes"]


@pytest.mark.parametrize("fails", ["the sound", "what goes with it"])
def test_a_sound_and_what_goes_with_it_are_both_written_or_neither(
    tmp_path, pit, monkeypatch, fails
):
    selects, out, beside = choose([pit], best=3), tmp_path / "best.wav", tmp_path / "best.otio"
    for path in (out, beside):
        path.write_bytes(b"an earlier one")
    error = OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def full(*_):
        yield np.zeros((1, 48_000), np.float32)
        raise error

    if fails == "the sound":
        monkeypatch.setattr("calltag.edit.selects_sound._blocks", full)
    gains = {out: measure_gains(selects)}
    with (
        pytest.raises(InputError, match=r"cannot be written \(no space left") as told,
        rendering({out: selects}, gains, replace_existing=True),
    ):
        raise WriteError(beside, "no space left on device")
    named = out if fails == "the sound" else beside
    assert str(told.value).startswith(f"{named}: ")
    assert out.read_bytes() == beside.read_bytes() == b"an earlier one"
    assert len(list(tmp_path.iterdir())) == 3
