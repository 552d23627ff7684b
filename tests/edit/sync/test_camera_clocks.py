"""What lined-up pairs say of two cameras' clocks, and where these put a take's companions."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calltag.edit.sync.camera_clocks import places_by_clocks
from calltag.edit.sync.clock_differences import by_dates

from .conftest import AHEAD_S, TEN_S, cam, lies, sure_pair


def test_pairs_that_agree_tell_where_takes_of_the_other_camera_began() -> None:
    sure = [sure_pair(n, TEN_S + 600 * n) for n in (1, 2)]
    known = [lies(a, b, 3.0) for a, b in sure]
    own, other = sure_pair(9, TEN_S + 900)
    others = [one for pair in sure for one in pair] + [other]
    place = places_by_clocks(own, others, known)[other.path]
    assert place.begins_s == pytest.approx(3.0)
    assert 0.1 < place.off_s < 0.2
    silent = replace(own, sample_rate_hz=None, channels=0)
    assert places_by_clocks(silent, others, known)[other.path].begins_s == pytest.approx(3.0)
    assert places_by_clocks(own, others, known[:1]) == {}, "one pair may be wrong"
    later = replace(own, recorded="2027-04-18T10:15:00")
    assert places_by_clocks(later, others, known) == {}, "clocks are set anew"


def test_clocks_tell_by_the_time_of_day_where_a_camera_stated_no_date_before() -> None:
    sure = [sure_pair(n, TEN_S + 600 * n) for n in (1, 2)]
    sure = [(first, replace(second, recorded=None)) for first, second in sure]
    own, other = sure_pair(9, TEN_S + 900)
    others = [one for pair in sure for one in pair] + [other]
    place = places_by_clocks(own, others, [lies(a, b, 3.0) for a, b in sure])[other.path]
    assert place.begins_s == pytest.approx(3.0)
    assert not place.dates_agree


def test_a_file_without_a_clock_is_not_placed_by_those_of_its_recorder() -> None:
    """A recorder states samples since midnight; of a file that was saved anew they may be gone."""
    rate_hz = 48_000
    films = [cam(f"cam1/A00{n}.mov", TEN_S + 600 * n) for n in (1, 2, 3)]
    records = [
        replace(
            cam(f"rec/R00{n}.wav", 0.0),
            start_tc=None,
            recorded=film.recorded,
            time_reference=round((TEN_S + 600 * n + 3) * rate_hz),
        )
        for n, film in enumerate(films, 1)
    ]
    known = [lies(a, b, 3.0) for a, b in zip(films[:2], records, strict=False)]
    others = [*films[:2], *records]
    assert places_by_clocks(films[2], others, known)[records[2].path].begins_s == pytest.approx(3)
    saved = replace(records[2], time_reference=None)
    assert saved.path not in places_by_clocks(films[2], [*others[:-1], saved], known)


def test_takes_of_one_camera_tell_of_no_two_clocks() -> None:
    """As where a copy was edited and lined up with what it was made of."""
    first, second, third, own = (cam(f"cam1/A00{n}.mov", TEN_S + 5 * n) for n in (1, 2, 3, 9))
    known = [lies(first, second, 5.0), lies(second, third, 5.0)]
    assert places_by_clocks(own, [first, second, third], known) == {}


def test_where_one_camera_has_no_timecode_dates_tell_how_far_the_clocks_are_apart() -> None:
    """They are cut off to the second; of three pairs that are lined up one is wrong."""
    takes, pairs = {}, []
    for number, off_s in enumerate((0.0, 0.6, 900.0)):
        first, second = sure_pair(number, TEN_S + 60 * number)
        second = replace(second, start_tc=None)
        takes |= {first.path: first, second.path: second}
        pairs.append(lies(first, second, 3.0 + off_s))
    assert by_dates(pairs, takes) == [
        "The clock of cam2 is about 1:03:20 ahead of that of cam1, by the dates: 2 pairs agree, "
        "1 says otherwise."
    ]
    assert by_dates(pairs[:1], takes) == []


@pytest.mark.parametrize(
    ("begins_s", "told"),
    [
        (3.0, "is about 1:03:20 ahead of that"),
        (3.0 + 2 * AHEAD_S, "is about 1:03:20 behind that"),
        (2.4 + AHEAD_S, "shows the same, to a second or two, as that"),
    ],
)
def test_takes_in_no_folder_tell_by_their_dates_as_cameras(begins_s: float, told: str) -> None:
    takes, pairs = {}, []
    for number in range(2):
        first, second = sure_pair(number, TEN_S + 60 * number)
        first = replace(first, path=f"A{number:03}.mov")
        second = replace(second, path=f"B{number:03}.mov", start_tc=None)
        takes |= {first.path: first, second.path: second}
        pairs.append(lies(first, second, begins_s))
    assert by_dates(pairs, takes) == [
        f"The clock of B000.mov {told} of A000.mov, by the dates: 2 pairs agree."
    ]
