"""Beds: what is chosen, that joins keep their power, and what the file says of itself."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pyloudnorm
import pytest
import soundfile as sf
from scipy.signal import butter, sosfilt
from wavinfo import WavInfoReader

from calltag.errors import InputError
from calltag.records.take import ChannelFault, FaultKind
from calltag.takes.bed.clean_stretches import (
    FADE_S,
    LEAST_STRETCH_S,
    choose,
    clean_stretches,
    why_none,
)
from calltag.takes.bed.crossfade import fades, join
from calltag.takes.bed.making import LONGEST_S, make_bed

RATE_HZ = 48_000


def test_the_crossfade_is_a_hann_slope_in_power():
    n = 960
    rising, falling = fades(n)
    hann = 0.5 - 0.5 * np.cos(np.pi * (np.arange(n) + 0.5) / n)  # closed form, in power
    np.testing.assert_allclose(rising**2, hann, atol=1e-6)
    np.testing.assert_allclose(rising**2 + falling**2, 1, atol=1e-6)


@pytest.mark.parametrize("lengths", [(30,), (9, 8, 12), (6,)])
def test_a_loop_keeps_its_power_everywhere(rng, lengths):
    fade = 2 * RATE_HZ
    sounds = [rng.normal(0, 0.1, (1, n * RATE_HZ)).astype(np.float32) for n in lengths]
    loop = join(sounds, 20 * RATE_HZ, fade)
    assert loop.shape == (1, 20 * RATE_HZ)
    twice = np.concatenate([loop[0], loop[0]])
    level_db = 10 * np.log10((twice.reshape(-1, RATE_HZ // 4) ** 2).mean(axis=1))
    assert np.abs(level_db - level_db.mean()).max() < 0.5  # noise itself varies by 0.15 dB here


def test_stretches_are_joined_in_their_order_and_then_from_the_first():
    loop = join([np.full((1, 80), n, np.float32) for n in (1, 2, 3)], 240, 20)
    assert list(loop[0, [40, 100, 160, 220]]) == [1, 2, 3, 1]


@pytest.mark.parametrize("missing", [1, 200])
def test_a_few_samples_that_are_missing_do_not_swell_the_seam(rng, missing):
    fade, n = 2 * RATE_HZ, 20 * RATE_HZ
    low = butter(2, 400, fs=RATE_HZ, output="sos")  # what is shifted a little still adds up
    longs = sosfilt(low, rng.normal(0, 0.3, (2, 1, 13 * RATE_HZ))).astype(np.float32)
    loop = join([longs[0], longs[1][:, : n + 2 * fade - longs.shape[2] - missing]], n, fade)[0]
    level_db = 10 * np.log10((loop.reshape(-1, RATE_HZ // 2) ** 2).mean(axis=1))
    assert np.abs(level_db - np.median(level_db)).max() < 1


def test_no_click_at_the_seam(rng):
    # a slow wave shows a jump that noise would hide
    t = np.arange(40 * RATE_HZ) / RATE_HZ
    slow = (0.3 * np.sin(2 * np.pi * 1.37 * t)).astype(np.float32)[None]
    loop = join([slow], 20 * RATE_HZ, 2 * RATE_HZ)[0]
    steps = np.abs(np.diff(np.concatenate([loop, loop[:10]])))
    assert steps.max() < 2 * np.pi * 1.37 * 0.3 / RATE_HZ * 1.5


def test_a_long_clean_take_is_taken_whole(scene, tmp_path):
    short = scene(12, seed=1).log(tmp_path / "short.wav")
    long = scene(30, seed=2).log(tmp_path / "long.wav")
    bed = make_bed([short, long], tmp_path / "bed.wav", seconds=20)
    assert [part.take.path for part in bed.parts] == ["long.wav"]
    assert not bed.repeats
    sound, rate_hz = sf.read(tmp_path / "bed.wav")
    assert (len(sound), rate_hz) == (20 * RATE_HZ, RATE_HZ)
    source = sf.read(tmp_path / "long.wav")[0]
    first = round(bed.parts[0].span.start_s * RATE_HZ)
    inside = slice(3 * RATE_HZ, 17 * RATE_HZ)
    np.testing.assert_allclose(
        sound[inside], source[first + inside.start : first + inside.stop], atol=1e-6
    )


@pytest.mark.parametrize("rate_hz", [44_100, 96_000])
def test_a_take_of_another_rate_keeps_its_pitch(scene, tmp_path, rate_hz):
    log = scene(12).log(tmp_path / "A.wav")
    tone = 0.01 * np.sin(2 * np.pi * 1000 * np.arange(12 * rate_hz) / rate_hz)
    sf.write(tmp_path / "A.wav", tone, rate_hz, subtype="PCM_24")
    log = replace(log, take=replace(log.take, sample_rate_hz=rate_hz, channels=1))
    sound, _ = sf.read(make_bed([log], tmp_path / "bed.wav", seconds=8).path)
    assert np.abs(np.fft.rfft(sound)).argmax() / 8 == pytest.approx(1000, abs=0.5)


def test_several_stretches_are_joined_and_told(scene, tmp_path):
    logs = [scene(12, seed=n, background_db=-60 + n).log(tmp_path / f"A{n}.wav") for n in range(3)]
    bed = make_bed(logs, tmp_path / "bed.wav", seconds=25)
    assert len(bed.parts) == 3
    # No more is taken than is heard: fades overlap between the parts, and once at the seam.
    taken_s = sum(part.span.length_s for part in bed.parts)
    assert taken_s == pytest.approx(25 + 3 * FADE_S, abs=0.02)
    gains = sorted(part.gain_db for part in bed.parts)
    assert gains[-1] - gains[0] == pytest.approx(2, abs=0.3)
    info = sf.info(tmp_path / "bed.wav")
    assert (info.subtype, info.frames) == ("PCM_24", 25 * RATE_HZ)

    sound, _ = sf.read(tmp_path / "bed.wav")
    theirs = pyloudnorm.Meter(RATE_HZ).integrated_loudness(sound)
    assert bed.loudness_lufs == pytest.approx(theirs, abs=0.1)
    seen = WavInfoReader(tmp_path / "bed.wav")
    assert seen.bext.loudness_value == pytest.approx(bed.loudness_lufs, abs=0.01)
    assert seen.bext.max_true_peak == pytest.approx(bed.true_peak_dbtp, abs=0.01)
    for name in ("A0.wav", "A1.wav", "A2.wav"):
        assert name in seen.bext.coding_history
        assert name in seen.info.comment


def test_too_little_comes_again_and_is_told(scene, tmp_path):
    bed = make_bed([scene(10).log(tmp_path / "A.wav")], tmp_path / "bed.wav", seconds=30)
    assert bed.repeats
    assert bed.length_s == 30


def test_calls_are_avoided_or_kept(scene, tmp_path):
    made = scene(40).whistle(20)
    log = made.log(tmp_path / "A.wav")
    without = clean_stretches([log])
    assert [tuple(stretch.span) for stretch in without] == [(0.0, 19.5), (21.1, 40.0)]
    assert [tuple(s.span) for s in clean_stretches([log], keep_calls=True)] == [(0.0, 40.0)]
    bed = make_bed([log], tmp_path / "bed.wav", seconds=15)
    sound = sf.read(bed.path)[0][:, 0]
    spectrum = np.abs(np.fft.rfft(sound.reshape(-1, RATE_HZ // 2), axis=1))
    at = round(5000 / 2)
    assert (spectrum[:, at] < 20 * np.median(spectrum[:, at - 50 : at + 50])).all()


@pytest.mark.parametrize(("label", "free_s"), [("call", 19.5), ("wind", 40.0), ("no call", 40.0)])
def test_what_may_be_a_call_is_avoided_as_well(scene, tmp_path, label, free_s):
    """A bed held a call of 0.2 s, 13 dB above the air, of which the finder had not been sure."""
    log = scene(40).whistle(20).log(tmp_path / "A.wav")
    (call,) = log.calls
    doubtful = replace(log, calls=(replace(call, call_probability=0.44, label=label),))
    assert clean_stretches([doubtful])[0].span.length_s == free_s
    assert clean_stretches([doubtful], keep_calls=True)[0].span.length_s == 40.0


def test_the_same_place_and_time_of_day_come_first(scene, tmp_path):
    def take(name, seconds, recorded, seed):
        return scene(seconds, seed=seed).log(
            tmp_path / name, rushes=tmp_path, recorded=f"2026-05-01T{recorded}"
        )

    noon = take("hide/noon.wav", 40, "12:00:00", 1)
    dawn = take("hide/dawn.wav", 25, "05:40:00", 2)
    elsewhere = take("jetty/dawn.wav", 60, "05:30:00", 3)
    lost = scene(10).add_noise("machine", 100, 9000, -20).log(
        tmp_path / "hide/lost.wav", rushes=tmp_path, recorded="2026-05-01T05:30:00"
    )  # fmt: skip
    rushes = [noon, dawn, elsewhere, lost]
    ordered = clean_stretches(rushes, like=lost.take)
    assert [s.take.path for s in ordered] == ["hide/dawn.wav", "hide/noon.wav", "jetty/dawn.wav"]
    assert [s.take.path for s in choose(ordered, 20)] == ["hide/dawn.wav"]
    assert [s.take.path for s in choose(ordered, 35)] == ["hide/noon.wav"]
    assert [s.take.path for s in choose(ordered, 55)] == ["hide/dawn.wav", "hide/noon.wav"]


@pytest.mark.parametrize("told", [("dawn", "lost"), ("lost",), ("dawn",), ()])
def test_a_clip_that_states_no_time_lies_half_a_day_away(scene, tmp_path, told):
    """Whichever of the two states none; of clips as far away, the longer goes first."""
    named = {}
    for name, seconds in (("dawn", 12), ("late", 20), ("lost", 8)):
        log = scene(seconds, seed=seconds).log(tmp_path / f"{name}.wav")
        time_reference = 6 * 3600 * RATE_HZ if name in told else None
        named[name] = replace(log, take=replace(log.take, time_reference=time_reference))
    stretches = clean_stretches([named["dawn"], named["late"]], like=named["lost"].take)
    first = "dawn.wav" if len(told) == 2 else "late.wav"
    assert stretches[0].take.path == first


def test_a_copy_of_a_take_is_no_second_background(scene, tmp_path):
    first = scene(12).log(tmp_path / "a/A.wav", rushes=tmp_path)
    copy = scene(12).log(tmp_path / "b/A.wav", rushes=tmp_path)
    copy = replace(copy, take=replace(copy.take, digest=first.take.digest))
    for like, path in ((None, "a/A.wav"), (copy.take, "b/A.wav")):
        assert [s.take.path for s in clean_stretches([first, copy], like=like)] == [path]
    assert make_bed([first, copy], tmp_path / "bed.wav", seconds=18).repeats


def test_a_stretch_of_another_weather_is_left_out(scene, tmp_path):
    logs = [
        scene(12, seed=1, background_db=-60).log(tmp_path / "A.wav"),
        scene(12, seed=2, background_db=-35).log(tmp_path / "B.wav"),
    ]
    bed = make_bed(logs, tmp_path / "bed.wav", seconds=20)
    assert len(bed.parts) == 1
    assert bed.repeats


def test_a_stretch_too_faint_for_the_gate_is_left_out_as_well(scene, tmp_path):
    loud = scene(14, seed=1, background_db=-50).log(tmp_path / "A.wav")
    faint = scene(12, seed=2, background_db=-85).log(tmp_path / "B.wav")
    fainter = scene(11, seed=3, background_db=-87).log(tmp_path / "C.wav")
    assert len(make_bed([loud, faint], tmp_path / "bed.wav", seconds=20).parts) == 1
    parts = make_bed([faint, fainter], tmp_path / "faint.wav", seconds=20).parts
    assert [part.gain_db for part in parts] == pytest.approx([0, 2], abs=0.3)


def test_another_stretch_takes_the_place_of_one_of_another_weather(scene, tmp_path):
    logs = [
        scene(12, seed=seed, background_db=background_db).log(tmp_path / f"{name}.wav")
        for seed, (name, background_db) in enumerate([("A", -60), ("B", -35), ("C", -60)])
    ]
    bed = make_bed(logs, tmp_path / "bed.wav", seconds=18)
    assert [part.take.path for part in bed.parts] == ["A.wav", "C.wav"]
    assert not bed.repeats


@pytest.mark.parametrize("dead", [1, 2, 3])
def test_good_tracks_are_used_where_others_are_dead(scene, tmp_path, dead):
    made = scene(20)
    tracks = [made.sound, scene(20, seed=6).sound]
    tracks.insert(dead - 1, np.zeros(made.n))
    log = made.log(
        tmp_path / "A.wav",
        channels=np.stack(tracks),
        channel="2" if dead == 1 else "1",
        faults=(ChannelFault(FaultKind.DEAD, (dead,)),),
    )
    make_bed([log], tmp_path / "bed.wav", seconds=12)
    bed, _ = sf.read(tmp_path / "bed.wav")
    assert abs(np.corrcoef(bed.T)[0, 1]) < 0.1


def test_a_faulty_track_is_not_used(scene, tmp_path):
    made = scene(20)
    log = made.log(
        tmp_path / "A.wav",
        channels=np.stack([np.zeros(made.n), made.sound]),
        channel="2",
        faults=(ChannelFault(FaultKind.DEAD, (1,)),),
    )
    bed = make_bed([log], tmp_path / "bed.wav", seconds=10)
    sound = sf.read(bed.path)[0]
    np.testing.assert_array_equal(sound[:, 0], sound[:, 1])
    assert sound.std() > 1e-4


def test_a_track_that_stops_is_not_used(scene, tmp_path):
    made = scene(40)
    stopping = made.sound.copy()
    stopping[15 * RATE_HZ :] = 0
    log = made.log(
        tmp_path / "A.wav",
        channels=np.stack([stopping, made.sound]),
        channel="1, 2",
        faults=(ChannelFault(FaultKind.STOPS, (1,), at_s=15.0),),
    )
    sound = sf.read(make_bed([log], tmp_path / "bed.wav", seconds=20).path)[0]
    assert sound.reshape(-1, RATE_HZ // 4, 2).std(axis=1).min() > 1e-4


def test_no_dropout_is_laid_into_a_bed(scene, tmp_path):
    made = scene(40, background_db=-50)
    for at_s in (9.02, 20.0, 23.0):  # the bed would begin within the first of these
        first = round(at_s * RATE_HZ)
        made.sound[first - 2000 : first + 2000] = 0
    fault = ChannelFault(FaultKind.DROPS_OUT, at_s=8.978, amount=0.083)
    log = made.log(tmp_path / "A.wav", faults=(fault,))
    bed = make_bed([log], tmp_path / "bed.wav", seconds=20)
    sound = sf.read(bed.path)[0][:, 0]
    assert np.convolve(sound == 0, np.ones(480), "valid").max() < 480
    assert not bed.repeats
    for part in bed.parts:
        assert not any(part.span.start_s < at_s < part.span.end_s for at_s in (9, 20, 23))
    assert bed.parts[0].span.start_s > 23, "the longest goes first"


@pytest.mark.parametrize("step_db", [-9, 5])
def test_no_step_of_automatic_gain_is_laid_into_a_bed(scene, tmp_path, step_db):
    made = scene(40, background_db=-50)
    made.sound[round(21.3 * RATE_HZ) :] *= 10 ** (step_db / 20)
    bed = make_bed([made.log(tmp_path / "A.wav")], tmp_path / "bed.wav", seconds=30)
    assert len(bed.parts) == 2
    assert not any(part.span.start_s < 21.3 < part.span.end_s for part in bed.parts)
    sound = sf.read(bed.path)[0][:, 0]
    level_db = 10 * np.log10((sound.reshape(-1, RATE_HZ // 2) ** 2).mean(axis=1))
    left_db = abs(step_db) - 6 if abs(step_db) > 6 else 0  # of stretches that are brought nearer
    assert np.ptp(level_db) < left_db + 1.5


def test_nothing_but_dropouts_makes_no_bed(scene, tmp_path):
    made = scene(20, background_db=-50)
    for first in range(RATE_HZ, made.n, 2 * RATE_HZ):
        made.sound[first : first + 2000] = 0
    with pytest.raises(InputError, match="drops out"):
        make_bed([made.log(tmp_path / "A.wav")], tmp_path / "bed.wav", seconds=10)
    assert not (tmp_path / "bed.wav").exists()


def test_what_cannot_be(scene, tmp_path):
    spoilt = scene(20).add_noise("machine", 100, 9000, -20).log(tmp_path / "A.wav")
    with pytest.raises(InputError, match=r"no clean background .* every take is spoilt"):
        make_bed([spoilt], tmp_path / "bed.wav")
    for seconds in (1.0, 1e6):
        with pytest.raises(InputError, match="choose a length"):
            make_bed([spoilt], tmp_path / "bed.wav", seconds=seconds)
    for seconds in (LEAST_STRETCH_S, LONGEST_S):
        with pytest.raises(InputError, match="no clean background"):
            make_bed([spoilt], tmp_path / "bed.wav", seconds=seconds)
    assert not (tmp_path / "bed.wav").exists()


def test_why_there_is_none_and_what_to_do(scene, tmp_path):
    busy = scene(20)
    for at_s in (2, 5, 8.5, 12, 15, 18):
        busy.whistle(at_s)
    log = busy.log(tmp_path / "A.wav")
    told = why_none([log])
    # from half a second after the call at 5 s to half a second before that at 8.5 s, and so on
    found = re.search(r"without a call .*\(at most (\d\.\d) s, at 0:\d\d in A.wav\)", told)
    assert 1 < float(found[1]) < 3.5
    assert "--calls keep (up to 20.0 s, at 0:00 in A.wav)" in told
    assert clean_stretches([log]) == []
    assert clean_stretches([log], keep_calls=True)
    short = scene(3).log(tmp_path / "B.wav")
    for keep in (False, True):
        assert "at most 3.0 s, at 0:00 in B.wav): log a longer take" in why_none(
            [short], keep_calls=keep
        )
