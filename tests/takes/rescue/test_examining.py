"""Rescues: what is proposed, what is written, and that both figures agree."""

from __future__ import annotations

import errno
import hashlib
import os
import re
from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf
from scipy.signal import correlate

from calltag.errors import InputError, WriteError
from calltag.media.sound_blocks.reader import read_blocks
from calltag.media.wave_files.bext import Bext, read_bext
from calltag.records.found import NoiseSpan
from calltag.records.take import ChannelFault, FaultKind
from calltag.sound.beats.hum import Hum
from calltag.takes.filter_cuts import UNCUT, Band, Cut
from calltag.takes.rescue.advice import stand_then
from calltag.takes.rescue.examining import examine
from calltag.takes.rescue.standing import Figures
from calltag.takes.rescue.treated_file import write_treated
from calltag.takes.rescue.treatment import Treatment
from calltag.takes.verdict import judge

RATE_HZ = 48_000
STARTS_S = (3.0, 8.0, 13.0, 17.5)


@pytest.fixture
def engine_take(scene, tmp_path):
    made = scene(20).add_noise("machine", 100, 1000, -30)
    for start_s in STARTS_S:
        made.whistle(start_s, level_db=-36)
    return tmp_path / "A001.wav", made.log(tmp_path / "A001.wav")


def test_a_low_cut_brings_the_whistles_above_an_engine(engine_take, tmp_path):
    path, log = engine_take
    before = hashlib.sha256(path.read_bytes()).digest()
    rescue = examine(path, log)
    assert rescue.before.standing == 0
    assert rescue.expected.standing == 4
    assert 1000 < rescue.treatment.band.low_hz < 4500
    assert rescue.treatment.hum is None
    assert rescue.treatment.channel is None
    assert any("low cut" in line and "4 of 4" in line for line in rescue.advice)

    out = tmp_path / "treated.wav"
    made = write_treated(path, out, log, rescue.treatment, Bext(time_reference=1234))
    assert made.after.standing == 4
    assert made.after.median_db == pytest.approx(rescue.expected.median_db, abs=1)
    assert made.after.rest_lufs < rescue.before.rest_lufs - 15
    assert hashlib.sha256(path.read_bytes()).digest() == before

    info = sf.info(out)
    assert (info.subtype, info.samplerate, info.channels) == ("PCM_24", RATE_HZ, 2)
    assert info.frames == sf.info(path).frames
    assert read_bext(out).time_reference == 1234
    # the whistles lie where they lay, to the sample, and are as loud as they were
    original, treated = (sf.read(p)[0][:, 0] for p in (path, out))
    for start_s in STARTS_S:
        span = slice(round((start_s - 0.1) * RATE_HZ), round((start_s + 0.7) * RATE_HZ))
        lag = correlate(treated[span], original[span], mode="full").argmax()
        assert lag == span.stop - span.start - 1
    call = slice(round(3.2 * RATE_HZ), round(3.4 * RATE_HZ))
    level_db = 20 * np.log10(treated[call].std())
    assert level_db == pytest.approx(-36, abs=1)


def test_a_boom_is_not_cut_away(scene, tmp_path):
    made = scene(20).add_noise("wind", 15, 90, -30)
    for start_s in STARTS_S:
        made.whistle(start_s, hz=150, level_db=-33)
        made.whistle(start_s + 1.5, hz=4000, level_db=-33)
    rescue = examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav"))
    # the bittern's rule: a 200 Hz cut takes a 150 Hz boom's fundamental (Tauchert & Frommolt 2012)
    assert rescue.treatment.band.low_hz < 150
    assert rescue.expected.standing == 8


def test_rumble_in_a_take_without_calls(scene, tmp_path):
    log = scene(20).add_noise("wind", 30, 250, -30).log(tmp_path / "A.wav")
    rescue = examine(tmp_path / "A.wav", log)
    assert rescue.treatment.band.low_hz == pytest.approx(275)
    assert rescue.expected.rest_lufs < rescue.before.rest_lufs - 1.5


def test_a_rasp_in_the_calls_own_band_cannot_be_helped(scene, tmp_path):
    made = scene(20).add_noise("machine", 4000, 7000, -36)
    for start_s in STARTS_S:
        made.whistle(start_s, level_db=-40, snr_db=3)
    rescue = examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav"))
    assert not rescue.treatment
    assert any("no channel, cut or notch" in line for line in rescue.advice)
    with pytest.raises(InputError, match="nothing to treat"):
        write_treated(
            tmp_path / "A.wav", tmp_path / "B.wav", made.log(tmp_path / "A.wav"),
            rescue.treatment, Bext(),
        )  # fmt: skip


@pytest.mark.parametrize("mains_hz", [50, 60])
def test_hum_is_notched(scene, tmp_path, mains_hz):
    made = scene(20).whistle(5, level_db=-30)
    t = np.arange(made.n) / RATE_HZ
    lines = [1, 2, 3, 5]
    made.sound += sum(0.01 / k * np.sin(2 * np.pi * (mains_hz + 0.03) * k * t) for k in lines)
    path, out = tmp_path / "A.wav", tmp_path / "B.wav"
    log = made.log(path)
    rescue = examine(path, log)
    assert rescue.treatment.hum is not None
    assert rescue.treatment.hum.mains_hz == mains_hz
    write_treated(path, out, log, replace(rescue.treatment, band=UNCUT), Bext())
    spectra = [np.abs(np.fft.rfft(sf.read(p)[0][:, 0] * np.hanning(made.n))) for p in (path, out)]
    at = round(3 * (mains_hz + 0.03) * made.n / RATE_HZ)
    line = [20 * np.log10(spectrum[at - 3 : at + 4].max()) for spectrum in spectra]
    assert line[0] - line[1] > 20


def test_lines_of_a_hum_that_a_low_cut_takes_get_no_notch(scene, tmp_path):
    made = scene(20).add_noise("wind", 30, 250, -40)
    t = np.arange(made.n) / RATE_HZ
    made.sound += sum(0.01 * np.sin(2 * np.pi * 50 * k * t) for k in (1, 2, 3, 5, 7))
    treatment = examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav")).treatment
    assert treatment.band.low_hz == pytest.approx(275)
    assert treatment.hum is not None
    assert treatment.hum.lines == (3, 5, 7)  # down to an octave below the cut


def random_take(scene, rng, path):
    """Whistles and booms at random, and one or two noises somewhere below, on or above them."""
    seconds = 9.0
    made = scene(seconds, seed=int(rng.integers(1 << 30)))
    at_s = 0.5
    while at_s < seconds - 1:
        hz = rng.choice([150.0, 250.0, 1200.0, 3000.0, 5000.0])
        made.whistle(at_s, hz=hz, level_db=rng.uniform(-45, -25), snr_db=rng.uniform(0, 30))
        at_s += rng.uniform(0.8, 2.5)
    if rng.random() < 0.2:
        made.calls.clear()
    for _ in range(rng.integers(1, 3)):
        low_hz = rng.uniform(30, 300)
        start_s = rng.choice([0.0, rng.uniform(0, 4)])
        made.add_noise(
            rng.choice(["machine", "wind", "handling", "voice"]),
            low_hz,
            low_hz * rng.choice([2.0, 6.0, 40.0]),
            rng.uniform(-40, -20),
            start_s=start_s,
            end_s=rng.choice([seconds, start_s + 3]),
            confidence=rng.uniform(0.4, 1),
        )
    return made.log(path)


def test_what_the_reasons_propose_is_what_rescue_does(scene, tmp_path):
    rng = np.random.default_rng(12)
    proposed = gained = 0
    for i in range(24):
        path = tmp_path / f"{i}.wav"
        log = random_take(scene, rng, path)
        rescue, reasons = examine(path, log), judge(log).reasons
        said = str(rescue.treatment)
        wanted = [reason for reason in reasons if "(calltag rescue)" in reason]
        for reason in wanted:
            for cut in re.search(
                r"a (?:low|high) cut at ([\d.]+ k?Hz)(?: to ([\d.]+ k?Hz))?", reason
            ).groups():
                assert cut is None or f"cut at {cut}" in said, (reason, said)
        proposed += bool(wanted)
        if wanted:
            assert not any("no channel, cut" in line for line in rescue.advice)
            gained += rescue.expected.rest_lufs < rescue.before.rest_lufs - 1.5
        elif rescue.treatment.band:  # the reasons had nothing against its calls
            assert rescue.expected.standing >= rescue.before.standing
    assert proposed >= 8
    assert gained >= 0.9 * proposed


def test_a_call_that_is_cut_in_part_stands_in_no_figure(scene, tmp_path):
    made = scene(20).add_noise("machine", 100, 900, -30)
    for start_s in STARTS_S:
        made.whistle(start_s, level_db=-36)
    made.whistle(10, hz=1500, level_db=-20)  # so loud that what a cut leaves stands as well
    path = tmp_path / "A.wav"
    log = made.log(path)
    own = Treatment(band=Band(low_hz=1600.0))
    rescue = examine(path, log, own)
    assert (rescue.before.standing, rescue.expected.standing) == (1, 4)
    assert write_treated(path, tmp_path / "B.wav", log, own, Bext()).after.standing == 4


def test_a_high_cut_brings_hoots_out_of_a_hiss_above_them(scene, tmp_path):
    made = scene(20).add_noise("machine", 3000, 9000, -34)
    for start_s in STARTS_S:
        made.whistle(start_s, hz=700, level_db=-38)
    path, out = tmp_path / "A.wav", tmp_path / "B.wav"
    log = made.log(path)
    rescue = examine(path, log)
    assert 700 / 0.8 < rescue.treatment.band.high_hz < 3000
    assert rescue.treatment.band.low_hz == 0
    assert rescue.before.standing == 0
    assert any("4 of 4 calls that it keeps" in line for line in rescue.advice)
    made_of = write_treated(path, out, log, rescue.treatment, Bext())
    assert made_of.after.standing == 4
    assert made_of.after.median_db == pytest.approx(rescue.expected.median_db, abs=1)
    original, treated = (sf.read(p)[0][:, 0] for p in (path, out))
    call = slice(round(3.2 * RATE_HZ), round(3.4 * RATE_HZ))
    assert 20 * np.log10(treated[call].std()) == pytest.approx(-38, abs=0.5)
    lag = correlate(treated[call], original[call], mode="full").argmax()
    assert lag == call.stop - call.start - 1


def test_a_high_cut_is_looked_for_where_no_noise_is_named(scene, tmp_path):
    made = scene(20)
    made.sound += made.band_noise(3000, 9000, -34)  # hiss that was taken for natural sound
    for start_s in STARTS_S:
        made.whistle(start_s, hz=700, level_db=-38, snr_db=30)
    log = made.log(tmp_path / "A.wav")
    rescue = examine(tmp_path / "A.wav", log)
    assert (rescue.before.standing, rescue.expected.standing) == (0, 4)
    assert 900 < rescue.treatment.band.high_hz < 3000


def test_no_high_cut_dulls_calls_that_stand_without_it(scene, tmp_path):
    made = scene(20, background_db=-50)
    for start_s in STARTS_S:
        made.whistle(start_s, hz=700, level_db=-37, snr_db=30)
    rescue = examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav"))
    assert rescue.before.standing == 4
    assert rescue.before.median_db < 15
    assert not np.isfinite(rescue.treatment.band.high_hz)


def test_silence_is_not_treated(scene, tmp_path):
    made = scene(5)
    log = made.log(tmp_path / "A.wav")
    mute = replace(log.take, levels=replace(log.take.levels, peak_dbfs=float("-inf")))
    for take in (mute, replace(log.take, duration_s=0.0)):
        with pytest.raises(InputError, match="there is no sound in it to treat"):
            examine(tmp_path / "A.wav", replace(log, take=take), Treatment(band=Band(200.0)))


def test_cuts_that_leave_nothing_are_refused(engine_take):
    with pytest.raises(InputError, match="low cut at 5 kHz and high cut at 2 kHz leave nothing"):
        examine(*engine_take, Treatment(band=Band(5000.0, 2000.0)))


def test_a_cut_where_the_noise_is_leaves_the_rest_of_the_take_alone(scene, tmp_path):
    made = scene(12).add_noise("machine", 60, 500, -28, start_s=0.0, end_s=5.0)
    made.whistle(2, level_db=-36).whistle(3.5, level_db=-36).whistle(8, hz=150, level_db=-30)
    path, out = tmp_path / "A.wav", tmp_path / "B.wav"
    log = made.log(path)
    rescue = examine(path, log)
    (cut,) = rescue.treatment.cuts
    assert (cut.start_s, cut.end_s) == pytest.approx((0, 5.3))
    assert 500 < cut.band.low_hz < 4000
    made_of = write_treated(path, out, log, rescue.treatment, Bext())
    assert made_of.after.standing == 3
    assert made_of.after.median_db == pytest.approx(rescue.expected.median_db, abs=1)
    treated, original = sf.read(out)[0], sf.read(path)[0]
    free = round(5.5 * RATE_HZ)
    np.testing.assert_array_equal(treated[free:], original[free:])  # the boom is as it was
    assert np.std(treated[:RATE_HZ]) < 0.1 * np.std(original[:RATE_HZ])


def test_what_was_heard_before_is_not_read_again(engine_take, tmp_path, monkeypatch):
    path, log = engine_take
    rescue = examine(path, log)
    read = []

    def noted(path, *_, **options):
        read.append(path)
        return read_blocks(path, **options)

    monkeypatch.setattr("calltag.takes.rescue.call_spectra.read_blocks", noted)
    made = [
        write_treated(path, tmp_path / f"{i}.wav", log, rescue.treatment, Bext(), was)
        for i, was in enumerate([rescue.was, None])
    ]
    assert read == [tmp_path / "0.wav", path, tmp_path / "1.wav"]
    assert made[0].after == made[1].after


def test_many_cuts_are_told_without_the_length_of_the_take():
    cuts = tuple(Cut(10.0 * i, 10.0 * i + 3, Band(low_hz=200.0)) for i in range(5))
    assert str(Treatment(cuts=cuts)) == (
        "low cut at 200 Hz at 0:00-0:03, 0:10-0:13 and 3 more places (15 s)"
    )
    assert str(Treatment(band=Band(low_hz=80.0))) == "low cut at 80 Hz"
    assert str(Treatment(cuts=cuts[:2])) == "low cut at 200 Hz at 0:00-0:03 and 0:10-0:13"


@pytest.mark.parametrize(
    "one",
    [
        {"channel": 1},
        {"band": Band(low_hz=200.0)},
        {"cuts": (Cut(0.0, 3.0, Band(low_hz=200.0)),)},
        {"hum": Hum(mains_hz=50.0, base_hz=50.0, lines=(1, 2), height_db=20.0, level_dbfs=-40.0)},
    ],
)
def test_one_thing_alone_is_a_treatment(one):
    assert Treatment(**one)
    assert not Treatment()


@pytest.mark.parametrize(
    ("fault", "channel"),
    [
        (ChannelFault(FaultKind.DEAD, (2,)), 1),
        (ChannelFault(FaultKind.COPY_INVERTED, (2,), other=1), 1),
        (ChannelFault(FaultKind.WINDY, (2,), other=1), 1),
        (ChannelFault(FaultKind.SAME, (1, 2)), None),
        (ChannelFault(FaultKind.CLIPPED, (1,), amount=90), None),
    ],
)
def test_a_track_that_spoils_the_other(scene, tmp_path, fault, channel):
    made = scene(6).whistle(3, level_db=-30)
    rescue = examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav", faults=(fault,)))
    assert rescue.treatment.channel == channel


def test_a_fault_of_the_channel_that_is_used_puts_it_on_no_track(scene, tmp_path):
    made = scene(6).whistle(3, level_db=-30)
    inverted = (ChannelFault(FaultKind.INVERTED, (2,), other=1),)
    used = examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav", faults=inverted, channel="2"))
    assert used.treatment.channel is None


def test_the_better_channel(scene, tmp_path):
    made = scene(20)
    for start_s in STARTS_S:
        made.whistle(start_s, level_db=-45)
    rasp = made.band_noise(300, 9000, -34)
    path, out = tmp_path / "A.wav", tmp_path / "B.wav"
    log = made.log(path, channels=np.stack([made.sound + rasp, made.sound]))
    rescue = examine(path, log)
    assert rescue.treatment.channel == 2
    assert rescue.expected.median_db > rescue.before.median_db + 10
    write_treated(path, out, log, Treatment(channel=2), Bext())
    treated, original = sf.read(out)[0], sf.read(path)[0]
    np.testing.assert_array_equal(treated[:, 0], original[:, 1])
    np.testing.assert_array_equal(treated[:, 1], original[:, 1])


@pytest.mark.parametrize("better_db", [0, 6])
def test_the_safety_track_goes_on_every_track_where_the_other_is_clipped(
    scene, tmp_path, better_db
):
    made = scene(20)
    for start_s in STARTS_S:
        made.whistle(start_s, level_db=-36)
    hiss = made.band_noise(3000, 9000, -60 + better_db)
    log = made.log(
        tmp_path / "A.wav",
        channels=np.stack([made.sound, made.sound + hiss]),
        channel="2",
        faults=(ChannelFault(FaultKind.CLIPPED, (1,), amount=9600),),
    )
    log = replace(log, take=replace(log.take, levels=replace(log.take.levels, clipped=9600)))
    rescue = examine(tmp_path / "A.wav", log)
    assert rescue.treatment.channel == 2
    assert rescue.advice == ("channel 1 is clipped (9,600 samples): channel 2 goes on every track",)


@pytest.mark.parametrize(("less_db", "channel"), [(3.0, 2), (1.0, None)])
def test_a_channel_is_better_where_calls_stand_two_decibels_clearer(
    scene, tmp_path, less_db, channel
):
    """The same calls, and all else lower by so much: they stand clearer by just as much."""
    made = scene(20, background_db=-50)
    around = made.sound.copy()
    for start_s in STARTS_S:
        made.whistle(start_s, level_db=-48)
    quieter = made.sound - around + 10 ** (-less_db / 20) * around
    log = made.log(tmp_path / "A.wav", channels=np.stack([made.sound, quieter]))
    assert examine(tmp_path / "A.wav", log).treatment.channel == channel


def test_a_dead_channel_is_no_better_one(scene, tmp_path):
    made = scene(20).add_noise("machine", 4000, 7000, -30)
    for start_s in STARTS_S:
        made.whistle(start_s, level_db=-47, snr_db=3)  # below the rasp: silence would be "clearer"
    tracks = np.stack([made.sound, np.zeros(made.n), np.zeros(made.n)])
    log = made.log(
        tmp_path / "A.wav", channels=tracks, faults=(ChannelFault(FaultKind.DEAD, (2, 3)),)
    )
    assert examine(tmp_path / "A.wav", log).treatment.channel == 1


def test_a_channel_that_stops_is_never_put_on_every_track(scene, tmp_path):
    made = scene(30)
    for start_s in (2.0, 6.0, 10.0, 14.0, 25.0):
        made.whistle(start_s, level_db=-36)
    stopping = made.sound.copy()
    stopping[20 * RATE_HZ :] = 0
    hissing = made.sound + made.band_noise(3000, 8000, -45)
    for name, tracks, used, number in (
        ("A.wav", [hissing, stopping], "1", 2),
        ("B.wav", [stopping, hissing], "1, 2", 1),
    ):
        fault = ChannelFault(FaultKind.STOPS, (number,), at_s=20.0)
        log = made.log(tmp_path / name, channels=np.stack(tracks), channel=used, faults=(fault,))
        whole = 1 if used == "1" else 2
        rescue = examine(tmp_path / name, log)
        assert rescue.treatment.channel == whole
        assert any(f"channel {number} stops at 20.0 s" in line for line in rescue.advice)


def test_dead_tracks_beside_two_good_ones_are_spare_and_stay_as_they_are(scene, tmp_path):
    made = scene(12).whistle(5, level_db=-36)
    right = made.sound + made.band_noise(200, 400, -60)
    dead = (ChannelFault(FaultKind.DEAD, (3, 4, 5, 6)),)
    tracks = np.stack([made.sound, right, *[np.zeros(made.n)] * 4])
    rescue = examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav", channels=tracks, faults=dead))
    assert rescue.treatment == Treatment()
    assert rescue.advice == ("there is nothing to mend",)


def test_a_spoilt_track_gets_the_good_channel_and_spare_ones_stay(scene, tmp_path):
    made = scene(12).whistle(5, level_db=-36)
    right = made.sound + made.band_noise(200, 400, -60)
    path, out = tmp_path / "A.wav", tmp_path / "B.wav"
    faults = (
        ChannelFault(FaultKind.DEAD, (4,)),
        ChannelFault(FaultKind.COPY_INVERTED, (3,), other=1),
    )
    tracks = np.stack([made.sound, right, -made.sound, np.zeros(made.n)])
    log = made.log(path, channels=tracks, faults=faults)
    rescue = examine(path, log)
    assert rescue.advice == (
        "channel 3 is channel 1 turned upside down (inverted): channel 1 goes on track 3",
    )
    assert str(rescue.treatment) == "channel 1 on track 3"
    write_treated(path, out, log, rescue.treatment, Bext())
    treated, original = sf.read(out)[0], sf.read(path)[0]
    np.testing.assert_array_equal(treated[:, [0, 1, 3]], original[:, [0, 1, 3]])
    np.testing.assert_array_equal(treated[:, 2], original[:, 0])


def test_the_better_channel_leaves_another_good_one_alone(scene, tmp_path):
    made = scene(20)
    for start_s in STARTS_S:
        made.whistle(start_s, level_db=-45)
    rasp = made.band_noise(300, 9000, -34)
    tracks = np.stack(
        [made.sound + rasp, made.sound, made.sound + made.band_noise(4000, 6000, -72)]
    )
    rescue = examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav", channels=tracks))
    assert rescue.treatment == Treatment(channel=2, tracks=(1,))


def test_a_take_whose_sound_stops_altogether_can_be_rescued(scene, tmp_path):
    made = scene(12).whistle(5, level_db=-30)
    stops = (ChannelFault(FaultKind.STOPS, at_s=11.0),)
    assert not examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav", faults=stops)).treatment


def test_calls_that_stand_already_are_left_alone(scene, tmp_path):
    log = scene(20).whistle(5, level_db=-30).whistle(12, level_db=-30).log(tmp_path / "A.wav")
    rescue = examine(tmp_path / "A.wav", log)
    assert rescue.before.median_db > 20
    assert not rescue.treatment


def test_the_beat_of_the_machine_is_told(scene, tmp_path):
    made = scene(12).whistle(3, level_db=-36).add_noise("machine", 100, 1000, -50)
    made.sound[:: RATE_HZ // 90] += 0.3  # fires 90 times a second
    rescue = examine(tmp_path / "A.wav", made.log(tmp_path / "A.wav"))
    assert any("beat of 90 Hz (5400 rpm" in line for line in rescue.advice)


def test_logged_hum_is_looked_for_where_the_log_has_it(scene, tmp_path):
    made = scene(26)
    t = np.arange(made.n) / RATE_HZ
    # a fridge on the other bank that switches off: the quietest stretch is after it
    made.sound += (t < 12) * sum(0.01 / k * np.sin(2 * np.pi * 50 * k * t) for k in (1, 2, 3))
    hum = NoiseSpan(
        start_s=0,
        end_s=26,
        kind="machine",
        confidence=0.95,
        level_dbfs=-42,
        low_hz=50,
        high_hz=150,
        detail="hum of the mains, 50 Hz and 2 of its multiples",
    )
    made.noise.append(hum)
    log = made.log(tmp_path / "A.wav")
    assert any("notches" in reason for reason in judge(log).reasons)
    assert examine(tmp_path / "A.wav", log).treatment.hum is not None


@pytest.mark.parametrize(
    ("counts", "told"),
    [
        (
            (1, 1, 0),
            "the one call that it keeps there then stands 6 dB or more above all else, now",
        ),
        ((1, 1, 1), "the one call that it keeps there then stands 6 dB or more above all else"),
        ((1, 0, 0), "the one call that it keeps there then does not stand 6 dB or more"),
        (
            (4, 1, 0),
            "1 of 4 calls that it keeps there then stands 6 dB or more above all else, 0 of",
        ),
    ],
)
def test_what_a_cut_keeps_is_counted_in_words(counts, told) -> None:
    assert stand_then(*counts).startswith(told)


@pytest.mark.parametrize(
    ("standing", "calls", "median_db", "told"),
    [
        (1, 1, 20.0, "the one call there stands 6 dB or more above all else (20 dB); "),
        (0, 1, -8.2, "above all else (it lies 8 dB below it, hard to hear); "),
        (3, 4, 9.7, "above all else (half of all calls by 10 dB or more); "),
        (0, 4, -0.3, "above all else (half of all calls by 0 dB or more); "),
        (
            1,
            4,
            -14.0,
            "above all else (half of all calls lie 14 dB or more below it, hard to hear); ",
        ),
    ],
)
def test_how_far_calls_stand_is_said_in_words(standing, calls, median_db, told) -> None:
    assert told in str(Figures(standing, calls, median_db, rest_lufs=-40.0))


def test_alike_channels_are_left_alone(engine_take):
    assert examine(*engine_take).treatment.channel is None


def test_a_treatment_of_ones_own(engine_take, tmp_path):
    path, log = engine_take
    rescue = examine(path, log, Treatment(band=Band(low_hz=300.0)))
    assert rescue.treatment == Treatment(band=Band(low_hz=300.0))
    assert rescue.expected.rest_lufs < rescue.before.rest_lufs
    with pytest.raises(InputError, match="no channel 3"):
        examine(path, log, Treatment(channel=3))


def test_what_would_exceed_full_scale_is_turned_down(scene, tmp_path):
    made = scene(6).whistle(2, level_db=-30)
    t = np.arange(made.n) / RATE_HZ
    # a clipped rumble with crests on it: without the rumble, the crests stand up straight
    made.sound = np.clip(3 * np.sin(2 * np.pi * 30 * t), -0.98, 0.98) * np.sign(made.sound + 1e-9)
    path, out = tmp_path / "A.wav", tmp_path / "B.wav"
    log = made.log(path)
    made_of = write_treated(path, out, log, Treatment(band=Band(low_hz=200.0)), Bext())
    assert made_of.turned_down_db > 0
    assert np.abs(sf.read(out)[0]).max() <= 0.975


@pytest.mark.parametrize("there", [False, True])
def test_a_disk_that_fills_up_leaves_no_sound_that_is_cut_off(scene, tmp_path, monkeypatch, there):
    """What exceeds full scale is written a second time, quieter; the first is not to be found."""
    path, out = tmp_path / "A.wav", tmp_path / "B.wav"
    log = scene(6).whistle(2, level_db=-30).log(path)
    if there:
        out.write_bytes(b"an earlier one")
    passes = []

    def loud(*_):
        passes.append(None)
        yield np.full((2, 6 * RATE_HZ), 1.5, np.float32)
        if len(passes) == 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("calltag.takes.rescue.treated_file.treated", loud)
    with pytest.raises(WriteError, match=r"B\.wav: cannot be written") as told:
        write_treated(path, out, log, Treatment(band=Band(low_hz=200.0)), Bext())
    assert ".part" not in str(told.value)
    assert len(passes) == 2
    assert sorted(p.name for p in tmp_path.iterdir()) == ["A.wav", "B.wav"][: 1 + there]
    assert not there or out.read_bytes() == b"an earlier one"


def test_the_take_itself_is_never_written_to(engine_take):
    path, log = engine_take
    for out in (path, path.with_name(path.name.swapcase())):  # one file on most Macs
        with pytest.raises(InputError, match="never written to"):
            write_treated(path, out, log, Treatment(band=Band(low_hz=300.0)), Bext())
    silent = replace(log, take=replace(log.take, sample_rate_hz=None, channels=0))
    with pytest.raises(InputError, match="no sound"):
        examine(path, silent)
