"""Choosing the channel to listen to, and what is said of the channels."""

from __future__ import annotations

import re

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.signal import butter, sosfilt

from calltag.media.sound_blocks.reader import read_blocks
from calltag.sound.channels.choosing import Chooser

from .conftest import RATE_HZ, A, choose, outdoors


def wind(seconds: float, seed: int, level: float = 0.2) -> np.ndarray:
    """Gusts on a microphone: strongest below 200 Hz."""
    rng = np.random.default_rng(seed)
    n = round(seconds * RATE_HZ)
    sound = sosfilt(butter(1, 120, fs=RATE_HZ, output="sos"), rng.standard_normal(n))
    gusts = np.abs(np.sin(2 * np.pi * np.arange(n) / RATE_HZ / 3 + seed))
    sound = sound * gusts
    return (level * sound / sound.std()).astype(np.float32)


B = outdoors(12, 2)
SILENCE = np.zeros_like(A)


@pytest.mark.parametrize("block_s", [1.0, 5.0, 60.0])
def test_one_channel_is_handed_through(block_s):
    chosen, report = choose(A, block_s)
    np.testing.assert_array_equal(chosen, A)
    assert report == ("1", (), pytest.approx(20 * np.log10(np.abs(A).max())), 0)


def test_a_block_is_not_copied_without_need():
    block = np.stack([A, B])
    assert np.shares_memory(Chooser().choose(block), block)


@pytest.mark.parametrize("block_s", [0.7, 5.0, 60.0])
@pytest.mark.parametrize(
    ("silence_s", "fault"),
    [
        ((0.0, 4.25), "sound starts at 4.2 s"),
        ((6.5, 12.0), "sound stops at 6.5 s"),
        ((3.0, 3.6), "sound drops out at 3.000 s for 600 ms"),
    ],
)
def test_where_no_channel_has_sound(block_s, silence_s, fault):
    sound = np.stack([A, B])
    start, end = (round(edge_s * RATE_HZ) for edge_s in silence_s)
    sound[:, start:end] = 0
    sound[0, max(0, start - 5000) : start] = 0  # one of them falls silent before the other
    sound[0, end : end + 5000] = 0
    chooser = Chooser(RATE_HZ)
    step = round(block_s * RATE_HZ)
    for i in range(0, sound.shape[1], step):
        chooser.choose(sound[:, i : i + step])
    (silence,) = chooser.silences()
    assert silence == pytest.approx(silence_s, abs=2 / RATE_HZ)
    faults = chooser.report().faults
    assert fault in faults
    if start and end < sound.shape[1]:  # the longer one of the first channel is told, too
        assert [one for one in faults if one != fault] == [
            f"sound of channel 1 drops out at {(start - 5000) / RATE_HZ:.3f} s for 808 ms"
        ]


@pytest.mark.parametrize("block_s", [0.7, 60.0])
def test_silence_with_soft_edges_is_told(block_s):
    """A codec lets sound fade before a pause, and set in softly after it."""
    sound = np.stack([A, B])
    start, end, fade = 4 * RATE_HZ, 7 * RATE_HZ, RATE_HZ // 5
    sound[:, start - fade : start] *= np.geomspace(1, 1e-4, fade)
    sound[:, end : end + fade] *= np.geomspace(1e-4, 1, fade)
    sound[:, start:end] = 0
    chooser = Chooser(RATE_HZ)
    step = round(block_s * RATE_HZ)
    for i in range(0, sound.shape[1], step):
        chooser.choose(sound[:, i : i + step])
    assert chooser.silences() == ((4.0, 7.0),)
    assert chooser.report().faults == ("there is no sound from 4.0 s to 7.0 s",)


@pytest.mark.parametrize(("codec", "suffix"), [("aac", ".mp4"), ("mp3", ".mp3")])
def test_a_pause_in_lossy_sound_is_told_once(tmp_path, make_clip, codec, suffix):
    sound = np.stack([A, B]) / 40  # a quiet dawn: -66 dBFS
    sound[:, 4 * RATE_HZ : 8 * RATE_HZ] = 0
    fps = 25 if suffix == ".mp4" else None
    take = make_clip(
        tmp_path / f"A001{suffix}", seconds=12, fps=fps, samples=sound, audio_codec=codec
    )
    chooser = Chooser(RATE_HZ)
    for block in read_blocks(take):
        chooser.choose(block)
    assert chooser.report().faults == ("there is no sound from 4.0 s to 8.0 s",)


def test_silence_of_all_channels_that_one_began_a_little_earlier_is_told_once():
    """A codec frame's worth of soft edge, 5 ms, makes no second fault of it."""
    sound = np.stack([A, B])
    sound[:, 3 * RATE_HZ : 4 * RATE_HZ] = 0
    sound[0, 3 * RATE_HZ - 240 : 4 * RATE_HZ + 240] = 0
    assert choose(sound)[1].faults == ("there is no sound from 3.0 s to 4.0 s",)


@pytest.mark.parametrize("block_s", [1.0, 60.0])
def test_sound_that_stops_does_not_drop_out_too(block_s):
    sound = A.copy()
    sound[11 * RATE_HZ :] = 0
    assert choose(sound, block_s)[1].faults == ("sound stops at 11.0 s",)


def test_pauses_of_a_gate_shorter_than_half_a_second_are_not_told():
    gated = A.copy()
    for at in range(RATE_HZ, 11 * RATE_HZ, RATE_HZ):
        gated[at - 4800 : at] *= np.geomspace(1, 1e-4, 4800)
        gated[at : at + 20_000] = 0
        gated[at + 20_000 : at + 24_800] *= np.geomspace(1e-4, 1, 4800)
    assert choose(gated, 5.0)[1].faults == ()


def test_short_silence_and_one_channels_silence_leave_sound():
    sound = np.stack([A, B])
    sound[:, 48_000:60_000] = 0
    sound[0, 200_000:400_000] = 0
    chooser = Chooser(RATE_HZ)
    chooser.choose(sound)
    assert chooser.silences() == ()


@pytest.mark.parametrize("block_s", [1.0, 5.0, 60.0])
def test_of_two_good_channels_the_first_is_kept(block_s):
    chosen, report = choose(np.stack([A, B]), block_s)
    np.testing.assert_array_equal(chosen, A)
    assert report.channel == "1"
    assert report.faults == ()


@pytest.mark.parametrize(
    ("channels", "chosen", "faults"),
    [
        ([A, SILENCE], "1", ("channel 2 is dead",)),
        ([SILENCE, A], "2", ("channel 1 is dead",)),
        ([SILENCE, A, SILENCE, SILENCE], "2", ("channels 1, 3 and 4 are dead",)),
        ([A, B] + [SILENCE] * 6, "1", ("channels 3 to 8 are dead",)),
        ([A, A], "1", ("channels 1 and 2 are the same",)),
        ([A, 0.25 * A], "1", ("channels 1 and 2 are the same",)),  # a safety track
        ([A, B, A, A], "1", ("channels 1, 3 and 4 are the same",)),
        ([A, -A], "1", ("channel 2 is channel 1 turned upside down (inverted)",)),
        ([A, -0.5 * A], "1", ("channel 2 is channel 1 turned upside down (inverted)",)),
        ([A, 0.005 * B], "1", ("channel 2 is 46 dB quieter than channel 1",)),
        ([0.005 * B, A], "2", ("channel 1 is 46 dB quieter than channel 2",)),
        ([SILENCE], "1", ("there is no sound: the channel is silent",)),
        ([SILENCE, SILENCE], "1", ("there is no sound: every channel is silent",)),
    ],
)
def test_what_is_said_of_channels(channels, chosen, faults):
    sound, report = choose(np.stack(channels))
    assert report.channel == chosen
    assert report.faults == faults
    np.testing.assert_array_equal(sound, channels[int(chosen) - 1].astype(np.float32))


def test_copies_with_the_noise_of_a_codec_are_the_same():
    rng = np.random.default_rng(1)
    noisy = A + (1e-4 * rng.standard_normal(len(A))).astype(np.float32)
    assert choose(np.stack([A, noisy]))[1].faults == ("channels 1 and 2 are the same",)


@pytest.mark.parametrize(
    ("likeness", "faults"),
    [
        (0.999, ("channels 1 and 2 are the same",)),
        (0.95, ()),
        (-0.7, ()),
        (-0.95, ("channel 2 is channel 1 turned upside down (inverted)",)),
    ],
)
def test_how_like_each_other_copies_are(likeness, faults):
    """The second channel is made for its correlation with the first, the same at every pitch."""
    one, other = 0.05 * np.random.default_rng(3).standard_normal((2, 12 * RATE_HZ))
    second = likeness * one + np.sqrt(1 - likeness**2) * other
    assert choose(np.stack([one, second]))[1].faults == faults


@pytest.mark.parametrize(
    ("below_db", "faults"), [(25, ()), (35, ("channel 2 is 35 dB quieter than channel 1",))]
)
def test_a_channel_is_too_quiet_from_thirty_decibels_on(below_db, faults):
    assert choose(np.stack([A, B * 10 ** (-below_db / 20)]))[1].faults == faults


def test_two_microphones_side_by_side_are_not_the_same():
    # 17 cm apart: half a millisecond, which leaves the low frequencies alike.
    delayed = np.roll(A, 24)
    assert choose(np.stack([A, delayed]))[1].faults == ()


def test_an_inverted_cable_on_one_of_two_microphones_is_told():
    delayed = -np.roll(A, 24)
    (fault,) = choose(np.stack([A, delayed]))[1].faults
    assert fault == "channel 2 is turned upside down against channel 1 (inverted)"


@pytest.mark.parametrize("windy", [0, 1])
def test_the_channel_out_of_the_wind_is_chosen(windy):
    channels = [A, B]
    channels[windy] = channels[windy] + wind(12, 3, 0.12)
    chosen, report = choose(np.stack(channels))
    np.testing.assert_array_equal(chosen, channels[1 - windy])
    assert report.faults == (
        f"channel {windy + 1} is full of wind or handling noise; channel {2 - windy} is cleaner",
    )


def test_handling_noise_counts_like_wind():
    thumps = np.zeros_like(A)
    for at in np.random.default_rng(3).integers(0, len(A) - RATE_HZ, 30):
        n = np.arange(RATE_HZ // 4)
        thumps[at : at + len(n)] += 0.5 * np.exp(-n / 2000) * np.sin(2 * np.pi * 60 * n / RATE_HZ)
    assert choose(np.stack([A + thumps, B]))[1].channel == "2"


def test_a_clipped_channel_is_left_for_one_that_is_not():
    loud = np.clip(20 * A, -1, 1)
    chosen, report = choose(np.stack([loud, A]))
    assert report.channel == "2"
    np.testing.assert_array_equal(chosen, A)
    assert report.peak_dbfs == 0.0
    assert any(fault.startswith("channel 1 is clipped (") for fault in report.faults)


def test_hiss_of_an_open_input_is_not_taken_for_a_quiet_place():
    rng = np.random.default_rng(4)
    hiss = (1e-3 * rng.standard_normal(len(A))).astype(np.float32)
    for channels, chosen in (([hiss, A], "2"), ([A, hiss], "1")):
        report = choose(np.stack(channels))[1]
        assert report.channel == chosen
        assert report.faults == (f"channel {3 - int(chosen)} carries nothing but hiss",)


def test_a_steady_place_beside_a_louder_channel_is_no_hiss():
    spectrum = np.fft.rfft(np.random.default_rng(5).standard_normal(len(A)))
    steady = np.fft.irfft(spectrum / np.sqrt(np.maximum(np.fft.rfftfreq(len(A), 1 / RATE_HZ), 20)))
    steady *= 0.002 / steady.std()
    for channels, chosen in (([steady, A], "2"), ([A, steady], "1")):
        assert choose(np.stack(channels))[1][:2] == (chosen, ())


def hiss_of(level: float, n: int = len(A), seed: int = 4) -> np.ndarray:
    return (level * np.random.default_rng(seed).standard_normal(n)).astype(np.float32)


def heard_of(sound: np.ndarray, block_s: float = 60.0) -> Chooser:
    sound = np.atleast_2d(sound).astype(np.float32)
    chooser = Chooser(RATE_HZ)
    step = round(block_s * RATE_HZ)
    for i in range(0, sound.shape[1], step):
        chooser.choose(sound[:, i : i + step])
    return chooser


@pytest.mark.parametrize("block_s", [2.0, 5.0, 60.0])
@pytest.mark.parametrize("both", [False, True])
def test_a_microphone_that_is_cut_off_leaves_hiss(block_s, both):
    sound = outdoors(20, 1)
    sound[9 * RATE_HZ :] = 0
    sound += hiss_of(1e-4, len(sound))
    chooser = heard_of(np.stack([sound, np.roll(sound, 7)]) if both else sound, block_s)
    which = "channels 1 and 2 carry" if both else "channel 1 carries"
    assert f"{which} nothing but hiss from 9 s on" in chooser.report().faults
    assert chooser.silences() == ((9.0, 20.0),)


def test_where_another_channel_goes_on_the_place_is_heard():
    sound = outdoors(20, 1)
    cut = sound.copy()
    cut[9 * RATE_HZ :] = 0
    chooser = heard_of(np.stack([cut + hiss_of(1e-4, len(cut)), outdoors(20, 2)]))
    assert "channel 1 carries nothing but hiss from 9 s on" in chooser.report().faults
    assert chooser.silences() == ()


def test_a_microphone_is_not_cut_off_where_a_call_or_a_rumble_ends():
    n = 20 * RATE_HZ
    call = 0.05 * np.sin(2 * np.pi * 3000 * np.arange(n) / RATE_HZ)
    call[10 * RATE_HZ :] = 0
    for background in (hiss_of(1e-3, n), outdoors(20, 3, 2e-3)):
        assert heard_of(background + call).silences() == ()
    engine = wind(20, 4, 0.05)
    engine[10 * RATE_HZ :] = 0
    assert heard_of(outdoors(20, 3, 2e-3) + engine).silences() == ()


def test_a_channel_that_is_faint_throughout_does_not_stop():
    faint = 2.6e-5 * (1 + 0.3 * np.sin(np.arange(len(A)) / RATE_HZ * 2 * np.pi / 12 - 0.2))
    report = choose(np.stack([A, faint * hiss_of(1.0)]))[1]
    assert not any("stops" in fault for fault in report.faults), report.faults
    assert any("channel 2 is" in fault for fault in report.faults)


@pytest.mark.parametrize("block_s", [2.0, 5.0, 60.0])
@pytest.mark.parametrize("stop", [5 * RATE_HZ, 5 * RATE_HZ + 12_345, 7 * RATE_HZ - 1])
def test_a_channel_that_dies_is_left_at_that_sample(block_s, stop):
    dying = A.copy()
    dying[stop:] = 0
    chosen, report = choose(np.stack([dying, B]), block_s)
    fade = round(0.005 * RATE_HZ)
    np.testing.assert_array_equal(chosen[:stop], A[:stop])
    assert report.channel == "1, 2"
    np.testing.assert_array_equal(chosen[stop + fade :], B[stop + fade :])
    assert np.abs(np.diff(chosen[stop - 1 : stop + fade])).max() < 0.05
    assert report.faults == (f"channel 1 stops at {stop / RATE_HZ:.1f} s",)


def test_a_channel_that_soon_fell_silent_is_not_dead():
    """Sound in one second of twelve: a cable came loose, and was not out from the beginning."""
    soon = A.copy()
    soon[RATE_HZ:] = 0
    assert choose(np.stack([B, soon]))[1].faults == ("channel 2 stops at 1.0 s",)


@pytest.mark.parametrize(("silent_s", "channel"), [(0.05, "1"), (0.3, "1, 2")])
def test_a_channel_that_is_silent_at_the_end_of_a_block_is_left_sooner(silent_s, channel):
    """What comes after is not known yet; within a block, half a second is waited for."""
    dying = A.copy()
    dying[len(A) - round(silent_s * RATE_HZ) :] = 0
    chosen, report = choose(np.stack([dying, B]))
    assert report.channel == channel
    np.testing.assert_array_equal(chosen[-1000:], (dying if channel == "1" else B)[-1000:])


def test_a_channel_that_wakes_up_is_not_changed_to():
    late = B.copy()
    late[: 6 * RATE_HZ] = 0
    assert choose(np.stack([A, late]), 2.0)[1].channel == "1"


def test_the_choice_does_not_flap():
    # Gusts reach one microphone, then the other.
    gusts = [wind(60, seed, 0.01) for seed in (5, 6)]
    base = outdoors(60, 7)
    sound = np.stack([base + gusts[0], np.roll(base, 20) + gusts[1]])
    assert choose(sound, 5.0)[1].channel in ("1", "2")


def test_it_changes_where_wind_comes_up_for_good():
    storm = np.concatenate([np.zeros(20 * RATE_HZ, np.float32), wind(40, 8, 0.3)])
    base = outdoors(60, 7)
    report = choose(np.stack([base + storm, np.roll(base, 20)]), 5.0)[1]
    assert report.channel == "1, 2"


@pytest.mark.parametrize("block_s", [0.25, 1.0, 60.0])
@pytest.mark.parametrize(
    ("start", "length"),
    [(100_000, 480), (100_000, 1000), (RATE_HZ * 3 - 200, 700), (12_001 * 4, 24_000)],
)
def test_dropouts_are_told_with_time_and_length(block_s, start, length):
    holed = A.copy()
    holed[start : start + length] = 0
    _, report = choose(holed, block_s)
    ms = 1000 * length / RATE_HZ
    assert report.faults == (f"sound drops out at {start / RATE_HZ:.3f} s for {ms:.0f} ms",)


@pytest.mark.parametrize("block_s", [0.25, 60.0])
def test_what_is_no_dropout(block_s):
    sound = A.copy()
    sound[:4800] = 0  # before the sound sets in
    sound[-4800:] = 0  # after its end
    sound[200_000:200_400] = 0  # 8 ms
    assert choose(sound, block_s)[1].faults == ()
    faint = np.round(A * 1e-3 * 2**15) / 2**15  # quieter than one step of 16 bits, mostly
    assert not any("drops out" in fault for fault in choose(faint, block_s)[1].faults)


def test_a_dropout_of_one_channel_names_it():
    holed = B.copy()
    holed[100_000:102_400] = 0
    (fault,) = choose(np.stack([A, holed]))[1].faults
    assert fault == "sound of channel 2 drops out at 2.083 s for 50 ms"


def test_many_dropouts_are_counted():
    holed = A.copy()
    for i in range(1, 9):
        holed[i * RATE_HZ : i * RATE_HZ + 960] = 0
    faults = choose(holed)[1].faults
    assert len(faults) == 4
    assert faults[-1] == "sound drops out 5 more times"


@settings(max_examples=20, deadline=None)
@given(
    start=st.integers(5000, 80_000),
    length=st.integers(480, 9000),
    block=st.integers(1000, 96_000),
)
def test_a_dropout_is_found_wherever_blocks_begin(start, length, block):
    sound = A[: 2 * RATE_HZ].copy()
    sound[start : start + length] = 0
    chooser = Chooser(RATE_HZ)
    for i in range(0, len(sound), block):
        chooser.choose(sound[None, i : i + block])
    at, ms = start / RATE_HZ, 1000 * length / RATE_HZ
    assert f"sound drops out at {at:.3f} s for {ms:.0f} ms" in chooser.report().faults


@pytest.mark.parametrize(("offset", "told"), [(0.008, 0), (0.012, 1)])
def test_a_dc_offset_is_told_from_one_percent_on(offset, told):
    assert len(choose(A - A.mean() + offset)[1].faults) == told


def test_a_rumble_below_hearing_is_no_dc_offset():
    # A lorry's pressure on the microphone, a second up or down: means of +0.1 in seven of twelve
    # seconds and -0.1 in five leave 1.7 %, and could as well have left -1.7 %.
    up = np.repeat([1, 1, -1, 1, -1, 1, -1, -1, 1, -1, 1, 1], RATE_HZ)
    assert not any("DC" in fault for fault in choose(A + 0.1 * up)[1].faults)


def test_a_dc_offset_is_told():
    (fault,) = choose(A - A.mean() - 0.05)[1].faults
    assert re.fullmatch(r"channel 1 has a DC offset of -(4\.9|5\.0|5\.1) % of full scale", fault)


def test_nothing_was_given():
    assert Chooser().report() == ("1", (), float("-inf"), 0)
    assert len(Chooser().choose(np.zeros((2, 0), np.float32))) == 0


@settings(max_examples=40, deadline=None)
@given(
    n=st.integers(1, 3000),
    n_channels=st.integers(1, 4),
    block=st.integers(40, 2000),
    level=st.sampled_from([0.0, 1e-6, 0.1, 2.0]),
)
def test_any_shape_and_level_is_taken(n, n_channels, block, level):
    rng = np.random.default_rng(n)
    sound = (level * rng.standard_normal((n_channels, n))).astype(np.float32)
    chooser = Chooser(RATE_HZ)
    chosen = [chooser.choose(sound[:, i : i + block]) for i in range(0, n, block)]
    assert sum(map(len, chosen)) == n
    assert np.isfinite(np.concatenate(chosen)).all()
    report = chooser.report()
    assert report.peak_dbfs == pytest.approx(
        20 * np.log10(np.abs(sound).max()) if level else float("-inf")
    )


@pytest.mark.parametrize("good", [0, 1])
def test_a_real_place_is_chosen_over_the_same_in_the_wind(field, good):
    for kind in ("rain", "sea_waves", "rooster", "fire_crackling"):
        paths = sorted((field / "esc10" / kind).glob("*.ogg"))[:3]
        assert paths
        for path in paths:
            place, rate_hz = soundfile.read(path, dtype="float32")
            n = int(np.flatnonzero(place)[-1])  # some are filled up with silence
            place = place[:n]
            gusts = wind(n / RATE_HZ + 1, 9, 10 * float(place.std()))[:n]
            pair = [None, None]
            pair[good] = place
            pair[1 - good] = place + gusts
            chooser = Chooser(rate_hz)
            chooser.choose(np.stack(pair).astype(np.float32))
            assert chooser.report().channel == str(good + 1), path.name
