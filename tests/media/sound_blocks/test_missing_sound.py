"""Where sound is damaged or missing: what is said of it, and which stretches have none."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from calltag.media.sound_blocks import missing_sound
from calltag.media.sound_blocks._flaws import Flaws
from calltag.media.sound_blocks.missing_sound import joined, late_by_s, told_faults, without_sound
from calltag.records.span import Span
from calltag.records.take import EMPTY_TRACK


def track(*, rows=slice(0, 1), begin_s=0.0, end_s=60.0, heard=True, damage=(), missing=(), **flaws):
    spans = {"damage": [Span(*one) for one in damage], "missing": [Span(*one) for one in missing]}
    return SimpleNamespace(
        rows=rows, begin_s=begin_s, end_s=end_s, heard=heard, flaws=Flaws(**spans, **flaws)
    )


def second(**more):
    return track(rows=slice(1, 2), **more)


@pytest.fixture
def clip(monkeypatch):
    """A clip of a minute, of any number of sound streams, with a picture or without."""

    def made(*, streams=1, picture=True, stated=True):
        of_the_file = {
            "picture_stream": object() if picture else None,
            "states_no_length": not stated,
            "take_duration_s": 60.0,
        }
        for name, value in of_the_file.items():
            monkeypatch.setattr(missing_sound, name, lambda _, value=value: value)
        return SimpleNamespace(streams=SimpleNamespace(audio=[object()] * streams))

    return made


def told(clip, *tracks, broken_off=False):
    return list(told_faults(clip, list(tracks), broken_off))


def silent(clip, *tracks, broken_off=False):
    return without_sound(clip, list(tracks), broken_off)


def test_a_whole_take_has_no_faults(clip):
    assert told(clip(), track()) == []
    assert silent(clip(), track()) == []


def test_streams_that_cannot_be_decoded_are_counted(clip):
    assert told(clip(streams=3), track()) == ["2 of its 3 sound streams cannot be decoded here"]


def test_a_track_of_which_nothing_was_heard_is_empty(clip):
    nothing = track(heard=False, damage=[(0, 60)])
    assert told(clip(), nothing) == [EMPTY_TRACK]
    assert silent(clip(), nothing) == []


@pytest.mark.parametrize("what", ["damage", "missing"])
def test_a_place_is_named_and_few_of_many(clip, what):
    word = {"damage": "damaged", "missing": "missing"}[what]
    assert told(clip(), track(**{what: [(3, 4)]})) == [f"sound is {word} between 3.00 and 4.00 s"]
    five = [(10.0 * i, 10.0 * i + 1.234) for i in (5, 1, 2, 3, 4)]
    assert told(clip(), track(**{what: five})) == [
        *(f"sound is {word} between {t}0.00 and {t}1.23 s" for t in (1, 2, 3)),
        f"sound is {word} in 2 more places",
    ]


@pytest.mark.parametrize(("between_s", "n_told"), [(0.5, 1), (0.51, 2)])
def test_places_with_half_a_second_between_them_are_one(clip, between_s, n_told):
    two = [(3.0, 4.0), (4.0 + between_s, 6.0)]
    assert len(told(clip(), track(damage=two))) == n_told


def test_what_not_every_stream_lacks_is_told_of_its_channels(clip):
    ours = track(rows=slice(0, 2), missing=[(3, 4), (20, 21)])
    theirs = track(rows=slice(2, 4), missing=[(1, 2), (20.1, 21.4)])
    assert told(clip(streams=2), ours, theirs) == [
        "sound of channels 3 and 4 is missing between 1.00 and 2.00 s",
        "sound of channels 1 and 2 is missing between 3.00 and 4.00 s",
        "sound is missing between 20.00 and 21.40 s",
    ]


def test_the_same_gap_in_two_streams_is_one_place_if_its_ends_are_half_a_second_apart_at_most(clip):
    for end_s, n_told in ((10.4, 1), (10.5, 2)):
        two = track(missing=[(3, 10)]), second(missing=[(3, end_s)])
        assert len(told(clip(streams=2), *two)) == n_told


def test_each_jump_of_the_clock_is_told_once(clip):
    two = track(leaps=[40.0, 10.04, 20.0, 30.0]), second(leaps=[10.01])
    assert told(clip(streams=2), *two) == [
        f"its clock jumps at {at}.0 s; sound is taken to go on" for at in (10, 20, 30)
    ]


def test_a_clock_that_begins_anew_is_told_in_one_sentence(clip):
    (said,) = told(clip(), track(anew=[10.0, 20.0, 30.0, 40.0]))
    assert said.startswith("its clock begins anew at 10.0 s, 20.0 s, 30.0 s and 1 more, as where")


def test_samples_that_are_no_numbers_are_told(clip):
    assert told(clip(streams=2), track(), second(impossible=True)) == [
        "some samples are no numbers; they were taken for silence"
    ]


@pytest.mark.parametrize(
    ("begin_s", "picture", "late_s"), [(0.5, True, 0.0), (0.6, True, 0.6), (0.6, False, 0.0)]
)
def test_sound_that_begins_after_the_picture(clip, begin_s, picture, late_s):
    """That of the first stream that begins counts, of those that were heard."""
    made = clip(streams=3, picture=picture)
    tracks = [track(begin_s=begin_s), second(begin_s=9.0), second(heard=False)]
    assert late_by_s(made, tracks) == late_s
    expected = ["sound starts 0.6 s after the picture"] if late_s else []
    assert told(made, *tracks) == expected
    assert silent(made, *tracks) == ([Span(0.0, 0.6)] if late_s else [])


@pytest.mark.parametrize(
    ("end_s", "stated", "flaws", "is_told"),
    [
        (59.5, True, {}, False),
        (59.4, True, {}, True),
        (59.4, False, {}, False),
        (59.4, True, {"leaps": [3.0]}, False),  # what such a clock says of the length is not sure
        (59.4, True, {"anew": [3.0]}, False),
    ],
)
def test_sound_that_ends_before_the_take(clip, end_s, stated, flaws, is_told):
    """That of the last stream that ends counts."""
    made = clip(streams=2, stated=stated)
    tracks = track(end_s=end_s, **flaws), second(end_s=30.0)
    said = "sound ends at 59.4 s, 0.6 s before the end of the take"
    for either in (tracks, tracks[::-1]):
        assert (said in told(made, *either)) == is_told
        assert silent(made, *either) == ([Span(59.4, 60.0)] if is_told else [])


@pytest.mark.parametrize("stated", [True, False])
def test_a_file_that_breaks_off_has_no_sound_from_there(clip, stated):
    made = clip(stated=stated)
    said = told(made, track(end_s=40.0), broken_off=True)
    assert said[0] == "the file cannot be read beyond 40.0 s"
    # where no length is stated, none can be lacking
    assert silent(made, track(end_s=40.0), broken_off=True) == [Span(40.0, 60.0)] * stated


def test_a_file_that_breaks_off_a_little_before_its_end_lacks_that(clip):
    assert silent(clip(), track(end_s=59.8), broken_off=True) == [Span(59.8, 60.0)]


def test_a_file_that_breaks_off_behind_what_it_states_lacks_nothing(clip):
    assert silent(clip(), track(end_s=61.0), broken_off=True) == []


def test_sound_is_missing_where_no_stream_has_it(clip):
    """From 10 to 20 s in one, from 15 to 30 s in the other, which ends after 50 s."""
    one = track(missing=[(10, 20)], damage=[(52, 53)])
    other = second(damage=[(15, 30)], end_s=50.0)
    assert silent(clip(streams=2), one, other) == [Span(15, 20), Span(52, 53)]
    assert silent(clip(streams=2), one, second()) == []


def test_a_stream_that_has_not_begun_has_no_sound_there(clip):
    """The first to begin, after 0.2 s, is too little late to be told."""
    one, other = track(begin_s=0.2, missing=[(5, 9)]), second(begin_s=8.0)
    assert silent(clip(streams=2), one, other) == [Span(5, 8)]


def test_damage_behind_all_that_is_good_counts(clip):
    """Sound ends at 59.8 s, and a packet behind that cannot be decoded."""
    assert silent(clip(), track(end_s=59.8, damage=[(59.8, 60.0)])) == [Span(59.8, 60.0)]


def test_damage_and_gaps_of_one_stream_that_nearly_meet_are_one_stretch(clip):
    one = track(damage=[(10, 11)], missing=[(11.5, 12), (12.6, 13)])
    assert silent(clip(), one) == [Span(10, 12), Span(12.6, 13)]


def test_a_scrap_of_sound_within_a_gap_is_none(clip):
    """What one stream has from 11.0 to 11.4 s is too little to fill the gap of the other."""
    one, other = track(damage=[(10, 11)], missing=[(11.4, 12)]), second(missing=[(11.1, 11.3)])
    assert silent(clip(streams=2), one, other) == [Span(11.1, 11.3)]


def test_stretches_are_joined_over_half_a_second():
    assert joined([Span(5, 6), Span(0, 1), Span(1.5, 2)]) == [Span(0, 2), Span(5, 6)]
