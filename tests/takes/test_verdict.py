"""Verdicts: the rule of masking, the grades, and that every verdict says why."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calltag.learn.labels.by_hand import BY_HAND
from calltag.media.sound_blocks.reader import SoundReader
from calltag.records.found import HUM
from calltag.records.span import Span
from calltag.records.take import ChannelFault, FaultKind
from calltag.records.verdict import Usable
from calltag.takes.filter_cuts import Band, Cut
from calltag.takes.masking import Effect, Left, effects
from calltag.takes.thresholds import read_thresholds
from calltag.takes.usable import needed_cuts
from calltag.takes.verdict import CLEAN, GRADES, PART, PICTURE_ONLY, judge, likely_calls, summary

from .conftest import cutter, engine, noise, take_log, whistle


def test_an_engine_below_the_whistles_does_not_ruin_them():
    verdict = judge(take_log([whistle(t) for t in (5, 20, 40)], [engine()]))
    assert verdict.grade == PART
    assert verdict.clean_s == pytest.approx(60)
    # half-way, in octaves, between 1.1 times the engine's top and 0.8 times the whistles' bottom
    assert "calls after a low cut at 2 kHz" in verdict.usable[0].purpose
    assert any("3 of 3 calls" in reason and "low cut" in reason for reason in verdict.reasons)


def test_one_call_is_spoken_of_as_one():
    (reason,) = judge(take_log([whistle(5)], [engine()])).reasons
    assert "the one call there stands above it in its own band, a low cut at" in reason
    assert "keeps it (calltag rescue)" in reason


def test_one_call_in_a_noises_band_is_not_parted_from_it():
    (reason,) = judge(take_log([whistle(5, snr_db=25.0)], [cutter()])).reasons
    assert reason.startswith(
        "machine throughout: the one call there stands above it, but in the noise's own band: no "
        "filter parts the two"
    )


def test_a_cut_for_calls_elsewhere_does_not_say_that_it_keeps_a_call_that_drowns():
    drowned = whistle(5, snr_db=2.0, low_hz=150.0, high_hz=300.0)
    calls = [drowned, *(whistle(t, low_hz=4000.0, high_hz=6000.0) for t in (40, 50))]
    (reason,) = judge(take_log(calls, [engine(0.0, 20.0)])).reasons
    assert "it lies below this take's other calls, a low cut at" in reason
    assert "0 of" not in reason


def test_a_call_that_the_low_cut_takes_is_said():
    calls = [whistle(5), whistle(20), whistle(30, snr_db=20.0, low_hz=150.0, high_hz=300.0)]
    verdict = judge(take_log(calls, [engine()]))
    (reason,) = verdict.reasons
    assert "2 of 3 calls stand above it" in reason
    assert "keeps them and takes 1 lower one" in reason


def test_a_broadband_rasp_ruins_them():
    verdict = judge(take_log([whistle(t, snr_db=4.0) for t in (5, 20, 40)], [cutter()]))
    assert verdict.grade == PICTURE_ONLY
    assert verdict.usable == ()
    (reason,) = verdict.reasons
    assert reason.startswith(
        "machine throughout: it covers the calls' own band, none stands above it"
    )
    (reason,) = judge(take_log([], [cutter()])).reasons
    assert reason.startswith("machine throughout: no call stands above it")


def test_a_call_that_drowns_the_rasp_is_kept_with_its_handles():
    calls = [whistle(t, snr_db=4.0) for t in (5, 20, 40, 50)] + [whistle(30, snr_db=25.0)]
    verdict = judge(take_log(calls, [cutter()]))
    assert verdict.grade == PART
    assert [(u.start_s, u.end_s) for u in verdict.usable] == [(29.0, 32.0)]
    assert "the calls' own band, only 1 of 5 calls stands above it" in verdict.reasons[0]
    # Between noises, for a moment before it and after it, that call keeps nothing.
    winds = [noise("wind", *span, 20.0, 9000.0) for span in ((0.0, 15.0), (55.0, 60.0))]
    verdict = judge(take_log(calls, [cutter(17.0, 53.0), *winds]))
    assert [(u.start_s, u.end_s) for u in verdict.usable] == [(29.0, 32.0)]


def test_no_noise_counts_as_usable_sound_because_calls_drown_it():
    """A saw throughout, and most of the calls far above it: those, and not the minute."""
    calls = [whistle(t, snr_db=25.0) for t in (5, 20, 24, 40)]
    verdict = judge(take_log(calls, [cutter()]))
    assert "4 of 4 calls stand above it" in verdict.reasons[0]
    assert [(u.start_s, u.end_s) for u in verdict.usable] == [(4, 7), (19, 26), (39, 42)]
    assert {u.purpose for u in verdict.usable} == {"calls, with the noise under them"}
    # nor do they drown who talks at the same time
    verdict = judge(take_log(calls, [cutter(), noise("voice", 22.0, 30.0, 200.0, 4000.0)]))
    assert [(u.start_s, u.end_s) for u in verdict.usable] == [(4, 7), (19, 21.7), (39, 42)]


def test_a_gust_takes_nothing_of_the_long_quiet_beside_it():
    gusts = [noise("wind", t, t + 1.5, 20.0, 300.0) for t in (17.0, 40.0)]
    verdict = judge(take_log([whistle(5)], gusts))
    natural = [(u.start_s, u.end_s) for u in verdict.usable if u.purpose == "natural sound"]
    assert np.ravel(natural) == pytest.approx([0, 16.7, 18.8, 39.7, 41.8, 60])
    treated = [u for u in verdict.usable if u.purpose != "natural sound"]
    assert [u.end_s - u.start_s for u in treated] == pytest.approx([2.1, 2.1])
    # a moment of quiet between two of them is theirs
    gusts = [noise("wind", t, t + 4, 20.0, 300.0) for t in (10.0, 16.0)]
    purposes = [u.purpose for u in judge(take_log([whistle(5)], gusts)).usable]
    assert purposes == [
        "natural sound",
        "natural sound after a low cut at 330 Hz",
        "natural sound",
    ]


def test_a_faint_find_that_got_a_name_counts_as_a_call_and_a_doubtful_one_does_not():
    faint = whistle(10.0, probability=0.3)
    named = replace(faint, label="pit rail: pipe", confidence=0.9)
    unsure = replace(faint, label="pit rail: pipe", confidence=0.4)
    by_hand = replace(unsure, by_hand=True)
    spoilt = replace(named, label="machine/mower")
    log = take_log(calls=[faint, named, unsure, by_hand, spoilt], noise=[engine()])
    assert likely_calls(log) == (named, by_hand)
    assert judge(take_log(calls=[named], noise=[engine()])).usable
    assert not judge(take_log(calls=[faint], noise=[engine()])).usable


def test_calls_below_a_whine_are_kept_by_a_high_cut_and_calls_in_it_by_nothing():
    whine = noise("machine", 0.0, 60.0, 2500.0, 8000.0)
    hoots = [whistle(t, low_hz=850.0, high_hz=1600.0) for t in (5, 20, 40)]
    faint = whistle(30, snr_db=2.0, low_hz=850.0, high_hz=1600.0)
    verdict = judge(take_log([*hoots, faint], [whine]))
    (reason,) = verdict.reasons
    # half-way, in octaves, between the hoots' top and the whine's bottom
    assert reason.startswith(
        "machine throughout: 3 of 4 calls stand clear below its band, a high cut at 2 kHz keeps "
        "them (calltag rescue)"
    )
    assert verdict.usable[0].purpose == "calls after a high cut at 2 kHz"
    two = [
        noise("machine", 0.0, 25.0, 2500.0, 8000.0),
        noise("machine", 35.0, 60.0, 3600.0, 8000.0),
    ]
    (reason,) = judge(take_log(hoots, two)).reasons
    assert "3 of 3 calls" in reason
    assert "a high cut at 2 kHz to 2.5 kHz" in reason
    (reason,) = judge(take_log([*hoots, whistle(50)], [whine])).reasons
    assert (
        "4 of 4 calls stand above it, but in the noise's own band: no filter parts them from it"
    ) in reason


def test_calls_between_two_noises_are_kept_by_both_cuts():
    hoots = [whistle(t, low_hz=850.0, high_hz=1600.0) for t in (5, 20, 40)]
    noises = [noise("wind", 0.0, 60.0, 20.0, 250.0), noise("machine", 0.0, 60.0, 2500.0, 8000.0)]
    verdict = judge(take_log(hoots, noises))
    machine, wind = verdict.reasons
    assert "a high cut at 2 kHz keeps them (calltag rescue)" in machine
    assert "a low cut at 400 Hz takes it out (calltag rescue)" in wind
    assert verdict.usable[0].purpose == "calls after a low cut at 400 Hz and high cut at 2 kHz"


def test_of_calls_above_one_noise_and_below_another_those_above_are_kept():
    whistles = [whistle(t) for t in (5, 20)]
    hoots = [whistle(t, low_hz=850.0, high_hz=1600.0) for t in (30, 40)]
    rasp = noise("machine", 25.0, 60.0, 2500.0, 8000.0)
    rumble = noise("machine/engine", 0.0, 60.0, 60.0, 2400.0)
    verdict = judge(take_log([*whistles, *hoots], [rasp, rumble]))
    assert not any("high cut" in text for text in (*verdict.reasons, verdict.usable[0].purpose))
    assert any("2 of 4 calls stand above it" in reason for reason in verdict.reasons)
    assert any(
        "2 of 2 calls stand above it, but in the noise's own band" in r for r in verdict.reasons
    )


def test_no_two_cuts_leave_nothing_between_them():
    booms = [whistle(t, low_hz=100.0, high_hz=180.0, snr_db=20.0) for t in (35, 50)]
    wind, whine = noise("wind", 0.0, 30.0, 20.0, 300.0), noise("machine", 30.2, 60.0, 250.0, 8000.0)
    verdict = judge(take_log(booms, [wind, whine]))
    assert any("a low cut at 330 Hz takes it out" in reason for reason in verdict.reasons)
    assert any(
        "2 of 2 calls stand above it, but in the noise's own band" in r for r in verdict.reasons
    )
    assert [use.purpose for use in verdict.usable] == [
        "natural sound after a low cut at 330 Hz",
        *["calls, with the noise under them"] * 2,
    ]


def test_a_gust_too_short_to_stand_alone_takes_no_cut_into_the_whine_after_it():
    hoots = [whistle(t, low_hz=850.0, high_hz=1600.0) for t in (10, 30)]
    gust, whine = noise("wind", 0.0, 2.0, 20.0, 2400.0), noise("machine", 3.0, 38.0, 2500.0, 8000.0)
    verdict = judge(take_log([whistle(0.5), *hoots], [gust, whine]))
    assert [use.purpose for use in verdict.usable] == [
        "calls, with the noise under them",
        "natural sound",
    ]


def test_a_boom_below_a_wind_is_not_filtered_away():
    boom = whistle(10, snr_db=15.0, low_hz=120.0, high_hz=180.0)
    wind = noise("wind", 0, 60, 20.0, 250.0)
    with_boom = judge(take_log([boom], [wind]))
    assert not any("low cut" in use.purpose for use in with_boom.usable)
    without = judge(take_log([], [wind]))
    assert without.grade == PART
    assert without.usable[0].purpose == "natural sound after a low cut at 280 Hz"


def test_calls_elsewhere_in_the_take_show_that_an_engine_leaves_their_band():
    verdict = judge(take_log([whistle(50)], [engine(0.0, 30.0)]))
    assert verdict.clean_s == pytest.approx(60)
    for no_sign in (whistle(50, low_hz=500.0, high_hz=900.0), whistle(50, snr_db=4.0)):
        lost = judge(take_log([no_sign], [engine(0.0, 30.0)]))
        assert lost.clean_s == pytest.approx(60 - 30 - 0.3)


def test_cuts_are_one_where_they_meet_and_are_alike():
    lower, higher = Band(low_hz=400.0), Band(low_hz=800.0)
    heard = [
        Effect(engine(0.0, 20.0), Left.ABOVE, lower),
        Effect(engine(20.0, 30.0), Left.ABOVE, higher),
        Effect(engine(28.0, 40.0), Left.ABOVE, higher),
        Effect(engine(50.0, 60.0), Left.ABOVE, higher),
    ]
    cuts = needed_cuts(heard, (), 60.0, read_thresholds())
    assert cuts == (
        Cut(0.0, pytest.approx(19.7), lower),
        Cut(pytest.approx(19.7), pytest.approx(40.3), higher),
        Cut(pytest.approx(49.7), 60.0, higher),
    )


def test_an_engine_with_no_call_in_the_take_loses_its_stretch():
    verdict = judge(take_log([], [engine(20.0, 60.0)]))
    assert verdict.grade == PART
    assert [(u.start_s, u.end_s, u.purpose) for u in verdict.usable] == [
        (0.0, pytest.approx(19.7), "natural sound")
    ]
    assert "0:20-1:00" in verdict.reasons[0]


def test_water_is_natural_unless_calls_drown_in_it():
    water = noise("water", 0, 60, 50.0, 15_000.0, level_dbfs=-15.0)
    assert judge(take_log([], [water])).grade == CLEAN
    assert judge(take_log([whistle(5)], [water])).grade == CLEAN
    drowned = judge(take_log([whistle(5, snr_db=3.0)], [water]))
    assert drowned.grade == PART
    assert any("the one call there drowns in it" in reason for reason in drowned.reasons)
    perhaps = noise("water", 0, 60, 50.0, 15_000.0, level_dbfs=-15.0, confidence=0.1)
    assert judge(take_log([whistle(5, snr_db=3.0)], [perhaps])).grade == CLEAN


def test_a_clean_take_names_its_clearest_call():
    (reason,) = judge(take_log([whistle(5, snr_db=9.0), whistle(20), whistle(40, 12.0)])).reasons
    assert reason.endswith("3 calls, the clearest 20 dB above the background")


def test_noises_of_one_kind_are_told_by_the_band_that_all_lie_in():
    speech = [noise("voice", 10, 14, 150.0, 4000.0), noise("voice", 30, 34, 120.0, 3000.0)]
    (reason,) = judge(take_log([], speech)).reasons
    assert reason.startswith("voice at 0:10-0:14 and 0:30-0:34: ")
    assert reason.endswith(". Its sound: 120 Hz to 4 kHz")


def test_speech_is_cut_around():
    verdict = judge(take_log([whistle(30)], [noise("voice", 10, 14, 150.0, 4000.0)]))
    assert verdict.grade == PART
    assert [u.purpose for u in verdict.usable] == ["natural sound"] * 2
    assert verdict.clean_s == pytest.approx(60 - 4.6)


@pytest.mark.parametrize(
    ("log", "word"),
    [
        (take_log(sound=False), "no sound"),
        (
            take_log(peak_dbfs=float("-inf"), loudness_lufs=float("-inf")),
            "the sound track is silent (digital silence throughout): check",
        ),
        (take_log(peak_dbfs=-82.0), "microphone"),
        (take_log(clipped=600_000), "clipped"),
    ],
)
def test_lost_by_the_recording_itself(log, word):
    verdict = judge(log)
    assert verdict.grade == PICTURE_ONLY
    assert word in verdict.reasons[0]


def test_clipping_and_faults_are_told():
    verdict = judge(take_log(clipped=2000, faults=("channel 2 is dead",)))
    assert verdict.grade == PART
    assert any("clipped" in reason for reason in verdict.reasons)
    assert "channel 2 is dead" in verdict.reasons


def test_a_safety_track_saves_a_take_whose_other_track_is_clipped():
    fault = ChannelFault(FaultKind.CLIPPED, (1,), amount=300_000)
    saved = judge(take_log([whistle(5)], clipped=300_000, channel="2", channel_faults=(fault,)))
    assert saved.grade == CLEAN
    lost = judge(take_log([whistle(5)], clipped=300_000, channel="1", channel_faults=(fault,)))
    assert lost.grade == PICTURE_ONLY
    assert "10 % of the sound is clipped" in lost.reasons[0]


def test_clipping_is_told_by_its_share_at_any_rate():
    both = tuple(ChannelFault(FaultKind.CLIPPED, (n,), amount=200_000) for n in (1, 2))
    log = take_log(clipped=400_000, channel_faults=both)
    twice = tuple(fault._replace(amount=400_000) for fault in both)  # as long, at twice the rate
    fast = take_log(clipped=800_000, channel_faults=twice)
    fast = replace(fast, take=replace(fast.take, sample_rate_hz=96_000))
    assert judge(fast).reasons == judge(log).reasons


def test_peaks_above_full_scale_are_said_and_not_held_against_a_take():
    verdict = judge(take_log([whistle(5)], peak_dbfs=6.4))
    assert verdict.grade == CLEAN
    assert "goes 6.4 dB above full scale" in " ".join(verdict.reasons)
    assert "full scale" not in " ".join(judge(take_log([whistle(5)], peak_dbfs=0.2)).reasons)


@pytest.mark.parametrize(
    "quiet",
    [
        cutter(level_dbfs=-70.0),
        cutter(level_dbfs=-57.0),
        cutter(confidence=0.4),
    ],
)
def test_what_is_not_heard_or_not_sure_is_not_held_against_a_take(quiet):
    assert judge(take_log([], [quiet])).grade == CLEAN


def test_a_doubtful_noise_does_not_throw_a_take_away():
    verdict = judge(take_log([], [cutter(confidence=0.6)]))
    assert verdict.grade == PART
    assert "heard first" in verdict.usable[0].purpose
    assert any("listen" in reason for reason in verdict.reasons)


def test_short_gaps_in_a_machine_are_noisy_too():
    gap = judge(take_log([], [cutter(0, 30), cutter(33, 60)], floor_dbfs=-60))
    assert gap.grade == PICTURE_ONLY
    pause = judge(take_log([], [cutter(0, 25), cutter(38, 60)], floor_dbfs=-60))
    assert [(u.start_s, u.end_s) for u in pause.usable] == [(25.3, 37.7)]


def test_a_take_that_never_gets_quiet_has_no_pause_in_its_machine():
    heard = [cutter(0, 25), cutter(38, 55)]
    never_quiet = judge(take_log([], heard, floor_dbfs=-29))
    assert never_quiet.grade == PICTURE_ONLY
    assert judge(take_log([], heard, floor_dbfs=-40)).clean_s > 15
    # as quiet as its faintest stretch is no sign that the loud one went on
    faint = [cutter(0, 25), cutter(38, 55, level_dbfs=-45)]
    assert judge(take_log([], faint, floor_dbfs=-40)).clean_s > 15
    # heard for less than the larger part, it is not taken to run on
    assert judge(take_log([], [cutter(0, 25)], floor_dbfs=-29)).clean_s > 30


def test_a_machine_that_is_noticed_nearly_to_the_ends_gets_one_verdict() -> None:
    """Not two that deny each other: `at 0:59: no call stands above it`, and `throughout: …`."""
    heard = [cutter(0.08, 59.9)]
    verdict = judge(take_log([whistle(40, snr_db=30)], heard, floor_dbfs=-29))
    assert len([reason for reason in verdict.reasons if "machine" in reason]) == 1
    assert [(u.start_s, u.end_s) for u in verdict.usable] == [(39, 42)]
    found = effects(take_log([], heard, floor_dbfs=-29), [], read_thresholds())
    assert [(one.noise.start_s, one.noise.end_s) for one in found] == [(0, 60)]
    short = effects(take_log([], [cutter(5, 58)], floor_dbfs=-29), [], read_thresholds())
    assert [(one.noise.start_s, one.noise.end_s) for one in short] == [(0, 5), (5, 58), (58, 60)]
    hum = noise("machine", 0.0, 59.9, 50.0, 50.0, detail=f"{HUM} 50 Hz")
    apart = effects(take_log([], [*heard, hum], floor_dbfs=-29), [], read_thresholds())
    assert [one.noise.end_s for one in apart if one.noise.is_hum] == [59.9]


def test_a_clean_take_names_the_noise_in_it_that_does_not_count():
    """Else a take is said to be natural sound alone, and a call in it with machine."""
    told = "natural sound throughout"
    brief = engine(10.0, 11.0, confidence=0.6)
    water = noise("water", 0.0, 60.0, 100.0, 9000.0)
    verdict = judge(take_log(calls=[whistle(10.2)], noise=[brief, water]))
    assert verdict.grade == CLEAN
    assert (
        f"{told}, but for machine too faint, brief or unsure to count; 1 call"
        in (verdict.reasons[0])
    )
    faint = noise("voice", 20.0, 30.0, 300.0, 3000.0, level_dbfs=-75.0)
    (reason, *_) = judge(take_log(noise=[faint, brief])).reasons
    assert "but for machine and voice too faint" in reason
    gust = noise("wind", 40.0, 41.0, 50.0, 500.0, confidence=0.6)
    (reason, *_) = judge(take_log(noise=[faint, brief, gust])).reasons
    assert "but for machine, wind and voice too faint" in reason
    assert judge(take_log(noise=[water])).reasons == (f"{told}; no call found",)


def test_a_brief_noise_has_to_be_sure():
    assert judge(take_log([], [noise("voice", 5, 6, 200, 3000, confidence=0.6)])).clean_s == 60
    sure = judge(take_log([], [noise("voice", 5, 6, 200, 3000, confidence=0.9)]))
    assert sure.clean_s == pytest.approx(58.4)
    assert sure.grade == CLEAN
    assert sure.reasons[0].startswith("nearly all natural sound; no call")


def test_a_knock_is_not_filtered_for_calls_elsewhere():
    verdict = judge(take_log([whistle(40)], [noise("handling", 10, 12, 20.0, 2000.0)]))
    assert [u.purpose for u in verdict.usable] == ["natural sound"] * 2


@pytest.mark.parametrize(
    ("broken", "usable"),
    [
        ([(40, 60)], [(0, 40)]),
        ([(0, 15)], [(15, 60)]),
        ([(0, 20.5)], [(20.5, 60)]),
        ([(0, 5), (20, 21), (30, 31), (40, 41), (50, 70)], [(5, 20), (21, 30), (31, 40), (41, 50)]),
    ],
)
def test_where_there_is_no_sound_nothing_is_usable(broken, usable):
    fault = "sound is missing between 1.00 and 2.00 s"
    spans = tuple(Span(*span) for span in broken)
    verdict = judge(take_log(faults=(fault,), broken=spans))
    assert [(u.start_s, u.end_s) for u in verdict.usable] == usable
    assert verdict.grade == PART
    assert fault in verdict.reasons


def test_sound_that_begins_late_is_usable_from_there(tmp_path, make_clip):
    clip = make_clip(tmp_path / "late.mov", seconds=6, sound_delay_s=3, audio_codec="pcm_s16le")
    reader = SoundReader(clip)
    assert sum(block.shape[1] for block in reader) > 0
    verdict = judge(take_log(broken=tuple(reader.broken), duration_s=6))
    assert [u.start_s for u in verdict.usable] == [pytest.approx(3, abs=0.1)]


def test_every_damaged_stretch_counts_however_many_there_are(tmp_path, make_clip):
    clip = make_clip(tmp_path / "a.mp4", seconds=60, fps=5, channels=1)
    data = bytearray(clip.read_bytes())
    for tenth in range(1, 10):
        at = len(data) * tenth // 10
        data[at : at + 1500] = np.random.default_rng(tenth).bytes(1500)
    clip.write_bytes(data)
    reader = SoundReader(clip)
    assert sum(block.shape[1] for block in reader) > 0
    assert reader.faults[-1] == f"sound is damaged in {len(reader.broken) - 3} more places"
    assert len(reader.broken) > 6
    verdict = judge(take_log(faults=tuple(reader.faults), broken=tuple(reader.broken)))
    assert verdict.usable
    for span in reader.broken:
        assert not any(u.start_s < span.end_s and u.end_s > span.start_s for u in verdict.usable)


def test_every_channel_dead():
    verdict = judge(take_log(channel_faults=(ChannelFault(FaultKind.NO_SOUND, (1, 2)),)))
    assert verdict.grade == PICTURE_ONLY
    assert verdict.reasons[0].startswith("there is no sound: every channel is silent: check the")


def test_scraps_between_knocks_are_not_usable():
    knocks = [noise("handling", t, t + 0.5, 20.0, 5000.0) for t in range(0, 60, 2)]
    verdict = judge(take_log([], knocks))
    assert verdict.grade == PICTURE_ONLY
    assert any("never 3 s long" in reason for reason in verdict.reasons)


def test_a_short_clean_take_is_clean():
    assert judge(take_log([], [], duration_s=1.5)).grade == CLEAN


spans = st.builds(
    noise,
    st.sampled_from(["machine", "machine/pump", "wind", "water", "voice", "handling"]),
    st.floats(0, 55),
    st.floats(55, 60),
    st.floats(20, 200),
    st.floats(250, 12_000),
    level_dbfs=st.floats(-80, -5),
    confidence=st.floats(0, 1),
)
calls = st.builds(
    whistle, st.floats(0, 59), st.floats(-5, 40), st.floats(50, 5000), st.floats(5100, 9000)
)


@given(st.lists(calls, max_size=6), st.lists(spans, max_size=6), st.floats(0.1, 60))
def test_every_verdict_has_a_reason_and_its_stretches_lie_in_the_take(found, heard, duration_s):
    verdict = judge(take_log(found, heard, duration_s=duration_s))
    assert verdict.grade in GRADES
    assert all(reason.strip() for reason in verdict.reasons)
    assert verdict.reasons
    edges = [edge for use in verdict.usable for edge in (use.start_s, use.end_s)]
    assert edges == sorted(edges)
    assert all(0 <= edge <= duration_s for edge in edges)
    assert all(use.purpose for use in verdict.usable)
    assert bool(verdict.usable) == (verdict.grade != PICTURE_ONLY)


def test_the_shoot_is_counted():
    verdicts = [judge(take_log()), judge(take_log([], [cutter()])), judge(take_log(sound=False))]
    assert summary(verdicts) == (
        "3 takes: 1 clean, 0 part, 2 picture-only; 1 min 00 s of usable sound"
    )


def test_hum_is_notched_and_loses_nothing():
    hum = noise("machine", 0, 60, 50.0, 300.0, level_dbfs=-45.0, detail="hum of the mains, 50 Hz")
    verdict = judge(take_log([whistle(5)], [hum]))
    assert verdict.grade == PART
    assert verdict.usable[0].purpose == "natural sound after notches at the hum"
    assert verdict.reasons == (
        "hum of the mains, 50 Hz, throughout: notches take it out (calltag rescue). Its sound: "
        "50 Hz to 300 Hz",
    )


def test_what_beats_is_said_in_the_reason_after_what_to_do():
    detail = "beat of 92 Hz (5500 rpm if a one-cylinder two-stroke)"
    (reason,) = judge(take_log([], [cutter(detail=detail)])).reasons
    assert reason.startswith("machine throughout: no call stands above it")
    assert reason.endswith(f". Its sound: 100 Hz to 9 kHz, {detail}")
    (reason,) = judge(take_log([], [cutter(detail=BY_HAND)])).reasons
    assert reason.startswith("machine, labelled by hand, throughout: ")
    assert reason.endswith(". Its sound: 100 Hz to 9 kHz")


def test_a_take_too_short_to_tell_is_not_called_clean():
    verdict = judge(take_log(duration_s=0.05))
    assert verdict.grade == PART
    assert verdict.usable == (Usable(0.0, 0.05, "to be heard first: too short to tell"),)
    assert verdict.reasons[0] == "only 0.05 s long, too short to tell: listen to it"
    faulty = judge(take_log(duration_s=0.05, faults=("channel 2 is dead",)))
    assert faulty.reasons == (verdict.reasons[0], "channel 2 is dead")
    assert judge(take_log(duration_s=1.5)).grade == CLEAN
