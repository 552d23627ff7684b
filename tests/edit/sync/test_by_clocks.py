"""Clocks of two cameras: what pairs that are lined up say of them, and of the other pairs."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from calltag.edit.sync.by_clocks import look_by_clocks
from calltag.edit.sync.by_joins import follow_joins
from calltag.edit.sync.camera_clocks import places_by_clocks
from calltag.edit.sync.clock_differences import ClockDifference
from calltag.edit.sync.comparing import Comparison, Outcome, compare
from calltag.edit.sync.lining_up import Source
from calltag.records.take import Take

from ..conftest import RATES
from .conftest import AHEAD_S, TEN_S, cam, lies, sure_pair

DAY_S = 86_400.0


def compared(a: Take, b: Take, offset_s: float | None = None) -> Comparison:
    """Make a pair that was lined up, or, without offset, one with nothing in common."""
    alignment = offset_s if offset_s is None else lies(a, b, offset_s)
    outcome = Outcome.NOTHING if offset_s is None else Outcome.LINED_UP
    return Comparison(take_a=a.path, take_b=b.path, outcome=outcome, alignment=alignment, reason="")


def look(
    pairs: list[tuple[Take, Take, float | None]], folder: Path = Path("nowhere"), **more
) -> tuple[list[Comparison], list[ClockDifference]]:
    takes = {one.path: one for a, b, _ in pairs for one in (a, b)}
    sources = [Source(path, folder / f"{Path(path).stem}.wav") for path in takes]
    return look_by_clocks(
        [compared(*pair) for pair in pairs], sources, lambda source: takes[source.name], **more
    )


@pytest.fixture
def quiet(tmp_path: Path, pairs) -> Path:
    """Sound of an open pair in which both cameras hear noise of their own."""
    for number, name in enumerate(("A009", "B009")):
        noise = pairs.pink(np.random.default_rng(number), 12 * pairs.RATE_HZ)
        sf.write(tmp_path / f"{name}.wav", noise, pairs.RATE_HZ)
    return tmp_path


# What the clocks are


def test_pairs_that_agree_tell_how_far_clocks_are_apart() -> None:
    """Over six hours clocks part by 0.4 s."""
    pairs = [
        (*sure_pair(n, TEN_S + hours * 3600, off_s=hours * 0.07), 3.0)
        for n, hours in enumerate((0, 2, 6))
    ]
    _, (told,) = look(pairs)
    assert str(told) == (
        "The clock of cam2 is 1:03:20.12 ahead of that of cam1: 3 pairs agree to 0.3 s."
    )
    _, (turned,) = look([(b, a, -3.0) for a, b, _ in pairs])
    assert turned.ahead_s == pytest.approx(-3800.12)
    assert "of cam1 is 1:03:20.12 behind that of cam2" in str(turned)


def test_files_of_one_card_in_several_forms_are_told_of_once_where_they_agree() -> None:
    pairs = [(*sure_pair(n, TEN_S + 600 * n), 3.0) for n in (1, 2)]
    a, b = sure_pair(3, TEN_S + 1800)
    other_form = replace(a, path="cam1/reeds at dawn.mp4")
    _, told = look([*pairs, (other_form, b, 3.0)])
    assert [(one.of, one.than, one.n_pairs) for one in told] == [("cam2", "cam1", 3)]
    _, apart = look([*pairs, (other_form, b, 9.0)])
    assert len(apart) == 2, "another camera's files may lie in the same folder"
    _, turned = look([*pairs, (b, other_form, -3.0)])
    assert turned == told, "whichever of a pair was named first"


def test_clocks_half_a_day_apart_agree_on_both_sides_of_it() -> None:
    """Set by a dial of twelve hours."""
    half_s = DAY_S / 2 - AHEAD_S
    pairs = [(*sure_pair(n, TEN_S + 600 * n, off_s=half_s - 0.04), 3.0) for n in (1, 2)]
    a, b = sure_pair(3, TEN_S + 1800, off_s=half_s + 0.04)
    _, told = look([*pairs, (replace(a, path="cam1/reeds at dawn.mp4"), b, 3.0)])
    assert [(one.of, one.than, one.n_pairs) for one in told] == [("cam2", "cam1", 3)]
    assert told[0].apart_s < 0.2


def test_clocks_that_show_midnight_at_different_times_are_one_difference() -> None:
    first = cam("cam1/A001.mov", DAY_S - 3000), cam("cam2/B001.mov", 803.0)
    _, (told,) = look([(*first, 3.0), (*sure_pair(2, TEN_S), 3.0)])
    assert told.n_pairs == 2
    assert told.ahead_s == pytest.approx(AHEAD_S)


def test_two_that_disagree_say_nothing(quiet: Path) -> None:
    """As with a clock that runs only while its camera does."""
    sure = [(*sure_pair(1, TEN_S), 3.0), (*sure_pair(2, TEN_S + 600, off_s=-40.0), 3.0)]
    open_pair = (*sure_pair(9, TEN_S + 60), None)
    followed, told = look([*sure, open_pair], quiet)
    assert told == []
    assert followed[-1] == compared(*open_pair)


def test_one_pair_alone_places_nothing_that_is_not_heard(quiet: Path) -> None:
    open_pair = (*sure_pair(9, TEN_S + 60), None)
    followed, (told,) = look([(*sure_pair(1, TEN_S), 3.0), open_pair], quiet)
    assert str(told).endswith("1:03:20.00 ahead of that of cam1: one pair says so.")
    assert followed[-1] == compared(*open_pair)


def test_a_pair_that_says_otherwise_is_left_out_and_told() -> None:
    pairs = [(*sure_pair(n, TEN_S + 60 * n), 3.0) for n in range(3)]
    _, (told,) = look([*pairs, (*sure_pair(5, TEN_S + 100), -1.5)])
    assert told.ahead_s == pytest.approx(AHEAD_S)
    assert str(told).endswith("3 pairs agree to 0.1 s, 1 says otherwise.")


def test_of_several_cameras_in_a_folder_each_is_named() -> None:
    first = cam("cam1/A001.mov", TEN_S)
    second, third = cam("cam2/B001.mov", TEN_S + 10), cam("cam2/C001.mov", TEN_S + 20)
    _, told = look([(first, second, 3.0), (first, third, 3.0)])
    assert [(one.of, one.than) for one in told] == [
        ("cam2/B001.mov", "cam1/A001.mov"),
        ("cam2/C001.mov", "cam1/A001.mov"),
    ]


def test_pairs_with_and_without_a_date_are_of_one_camera() -> None:
    first, second = sure_pair(1, TEN_S)
    undated = cam("cam2/B002.mov", TEN_S + 3 + AHEAD_S, dated=False)
    _, (told,) = look([(first, second, 3.0), (first, undated, 3.0)])
    assert told.n_pairs == 2


def test_pairs_that_were_lined_up_before_tell_of_clocks(quiet: Path) -> None:
    """Of cameras whose takes are compared; a pair that is compared again counts once."""
    kept = [sure_pair(n, TEN_S + 60 * n) for n in range(2)]
    others = cam("cam3/C001.mov", TEN_S), cam("cam4/D001.mov", TEN_S + 3)
    open_pair, again = sure_pair(9, TEN_S + 90), (*kept[0], 3.0)
    before = [lies(*pair, 3.0) for pair in (*kept, others)]
    known = [take for pair in (*kept, others) for take in pair]
    followed, (told,) = look([again, (*open_pair, None)], quiet, before=before, known=known)
    assert followed[-1].outcome is Outcome.BY_CLOCKS
    assert (told.than, told.of, told.n_pairs) == ("cam1", "cam2", 2)


def test_pairs_that_were_lined_up_on_another_day_outvote_none_of_this_day() -> None:
    """Clocks are set anew on the next morning."""
    kept = [sure_pair(n, TEN_S + 60 * n, off_s=-40.0) for n in range(3)]
    undated = sure_pair(8, TEN_S + 90, dated=False, off_s=0.05)
    before = [lies(*pair, 3.0) for pair in (*kept, undated)]
    known = [take for pair in (*kept, undated) for take in pair]
    _, (told,) = look([(*sure_pair(7, TEN_S, days=1), 3.0)], before=before, known=known)
    assert told.ahead_s == pytest.approx(AHEAD_S, abs=0.1)
    assert (told.n_pairs, told.n_others) == (2, 0)


def test_takes_that_lie_in_no_folder_are_named_themselves() -> None:
    pairs = [(*sure_pair(n, TEN_S + 600 * n), 3.0) for n in (1, 2)]
    loose = [(replace(a, path=Path(a.path).name), b, offset_s) for a, b, offset_s in pairs]
    _, (told,) = look(loose)
    assert (told.of, told.than) == ("cam2/B001.mov", "A001.mov")
    # Two forms of one camera's files are one where a folder says so; here none does.
    a, b = sure_pair(3, TEN_S + 1800)
    _, both = look([*loose, (replace(a, path="reeds at dawn.mp4"), b, 3.0)])
    assert [one.than for one in both] == ["A001.mov", "reeds at dawn.mp4"]
    _, turned = look([(b, replace(a, path=Path(a.path).name), -offset) for a, b, offset in pairs])
    assert (turned[0].than, turned[0].of) == ("cam2/B001.mov", "A001.mov")


@pytest.mark.parametrize("without", [0, 1])
def test_a_camera_without_a_clock_is_lined_up_and_tells_of_none(without: int) -> None:
    """As phones state a date, and no timecode."""
    pairs = [[*sure_pair(n, TEN_S + 600 * n), 3.0] for n in (1, 2)]
    for pair in pairs:
        pair[without] = replace(pair[without], start_tc=None)
    followed, told = look([tuple(pair) for pair in pairs])
    assert told == []
    assert {one.outcome for one in followed} == {Outcome.LINED_UP}


# Where the clocks put a pair


@pytest.mark.parametrize(
    ("seed", "alone", "n_sure"), [(44, Outcome.NOTHING, 2), (50, Outcome.UNSURE, 1)]
)
def test_what_the_sound_leaves_open_is_lined_up_where_the_clocks_put_it(
    tmp_path: Path, pairs, seed: int, alone: Outcome, n_sure: int
) -> None:
    pair = pairs.make_pair(seed, snr_db=5.0, seconds=12.0, every_s=3.0, overlap=(0.5, 0.8))
    assert compare(pairs.traced(pair.a), pairs.traced(pair.b, pair.rate_b_hz)).outcome is alone
    sf.write(tmp_path / "A009.wav", pair.a, pairs.RATE_HZ)
    sf.write(tmp_path / "B009.wav", pair.b, pair.rate_b_hz)
    open_pair = (
        cam("cam1/A009.mov", TEN_S + 600, dated=False),
        cam("cam2/B009.mov", TEN_S + 600.06 + pair.offset_s + AHEAD_S, dated=False),
        None,
    )
    sure = [(*sure_pair(n, TEN_S + 900 * n, dated=False), 3.0) for n in range(n_sure)]
    found = look([open_pair, *sure], tmp_path)[0][0]
    assert found.outcome is Outcome.LINED_UP
    assert found.alignment is not None
    assert found.alignment.offset_s == pytest.approx(pair.offset_s, abs=0.002)
    assert found.reason.endswith("where the clocks put them")


def test_a_slowed_take_is_looked_for_where_the_others_of_its_folder_put_it(
    tmp_path: Path, pairs
) -> None:
    """A camera films at 50 what is to be slowed; two cameras in a folder tell nothing."""
    pair = pairs.make_pair(44, snr_db=5.0, seconds=12.0, every_s=3.0, overlap=(0.5, 0.8))
    sf.write(tmp_path / "A009.wav", pair.a, pairs.RATE_HZ)
    sf.write(tmp_path / "B009.wav", pair.b, pair.rate_b_hz)
    at_s = TEN_S + 300
    slowed = replace(cam("cam1/A009.mov", at_s), fps=RATES[2].fps * 2)
    second = cam("cam2/B009.mov", at_s + 0.06 + pair.offset_s + AHEAD_S)
    sure = [(*sure_pair(n, TEN_S + 600 * n), 3.0) for n in range(2)]
    found = look([(slowed, second, None), *sure], tmp_path)[0][0]
    assert found.outcome is Outcome.LINED_UP
    assert found.alignment is not None
    assert found.alignment.offset_s == pytest.approx(pair.offset_s, abs=0.002)
    one = look([(slowed, second, None), sure[0]], tmp_path)[0][0]
    assert one.outcome is Outcome.NOTHING, "one pair of another form may be of another camera"
    a, b = sure_pair(3, TEN_S + 900, off_s=9.0)
    others = [*sure, (replace(a, path="cam1/reeds at dawn.mp4"), b, 3.0)]
    found = look([(slowed, second, None), *others], tmp_path)[0][0]
    assert found.outcome is Outcome.NOTHING
    record = replace(slowed, start_tc=None, time_reference=round(at_s * 48_000))
    found = look([(record, second, None), *sure], tmp_path)[0][0]
    assert found.outcome is Outcome.NOTHING, "samples since midnight are a recorder's clock"

    def in_one(take: Take) -> Take:
        return replace(take, path=f"day/{take.path.partition('/')[2]}")

    at_once = [cam("cam2/B009.mov", at_s + 0.06 + pair.offset_s)]
    at_once += [cam(f"cam2/B00{n}.mov", TEN_S + 600 * n + 3) for n in range(2)]
    shared = [
        (in_one(a), in_one(b), offset_s)
        for (a, _, offset_s), b in zip([(slowed, second, None), *sure], at_once, strict=True)
    ]
    assert look(shared, tmp_path)[0][0].outcome is Outcome.NOTHING


def test_a_slowed_take_is_not_placed_by_the_clocks_of_the_others_alone(quiet: Path) -> None:
    sure = [(*sure_pair(n, TEN_S + 60 * n), 3.0) for n in range(2)]
    first, second = sure_pair(9, TEN_S + 90)
    slowed = replace(first, fps=RATES[2].fps * 2)
    followed, _ = look([*sure, (slowed, second, None)], quiet)
    assert followed[-1].outcome is Outcome.NOTHING
    known = [lies(a, b, 3.0) for a, b, _ in sure]
    takes = [one for pair in sure for one in pair[:2]] + [second]
    assert second.path not in places_by_clocks(slowed, takes, known)


def test_what_agrees_just_outside_the_place_stays_open(tmp_path: Path, pairs) -> None:
    """Clocks are good to 0.17 s there: they are not what they seem, or it is an echo."""
    pair = pairs.make_pair(44, snr_db=5.0, seconds=12.0, every_s=3.0, overlap=(0.5, 0.8))
    sf.write(tmp_path / "A009.wav", pair.a, pairs.RATE_HZ)
    sf.write(tmp_path / "B009.wav", pair.b, pair.rate_b_hz)
    at_s = TEN_S + 240
    second = cam("cam2/B009.mov", at_s + pair.offset_s + AHEAD_S + 0.3)
    sure = (*sure_pair(0, TEN_S), 3.0)
    followed, _ = look([(cam("cam1/A009.mov", at_s), second, None), sure], tmp_path)
    assert followed[0].outcome is Outcome.NOTHING


def test_what_was_lined_up_by_the_clocks_tells_of_the_next(tmp_path: Path, pairs) -> None:
    """Each half an hour after the one before: the clocks of the first tell of the second alone."""
    pair = pairs.make_pair(44, snr_db=5.0, seconds=12.0, every_s=3.0, overlap=(0.5, 0.8))
    opened = []
    for number in (2, 1):
        sf.write(tmp_path / f"A00{number}.wav", pair.a, pairs.RATE_HZ)
        sf.write(tmp_path / f"B00{number}.wav", pair.b, pair.rate_b_hz)
        at_s = TEN_S + 1800 * number
        second = cam(f"cam2/B00{number}.mov", at_s + pair.offset_s + AHEAD_S, dated=False)
        opened.append((cam(f"cam1/A00{number}.mov", at_s, dated=False), second, None))
    sure = (*sure_pair(0, TEN_S, dated=False), 3.0)
    followed, (told,) = look([*opened, sure], tmp_path)
    assert {one.outcome for one in followed} == {Outcome.LINED_UP}
    assert told.n_pairs == 3
    assert look([opened[0], sure], tmp_path)[0][0].outcome is Outcome.NOTHING


def test_another_day_by_the_dates_is_not_where_the_clocks_put_it(tmp_path: Path, pairs) -> None:
    """At the same time of the next day the same bird may call alike: less sound is not enough."""
    pair = pairs.make_pair(44, snr_db=5.0, seconds=12.0, every_s=3.0, overlap=(0.5, 0.8))
    sf.write(tmp_path / "A009.wav", pair.a, pairs.RATE_HZ)
    sf.write(tmp_path / "B009.wav", pair.b, pair.rate_b_hz)
    at_s = TEN_S + 60
    first = cam("cam1/A009.mov", at_s)
    sure = (*sure_pair(1, TEN_S), 3.0)
    for days, outcome in ((0, Outcome.LINED_UP), (1, Outcome.NOTHING)):
        second = cam("cam2/B009.mov", at_s + pair.offset_s + AHEAD_S, days=days)
        assert look([sure, (first, second, None)], tmp_path)[0][-1].outcome is outcome


def test_what_has_nothing_in_common_there_is_placed_by_the_clocks(quiet: Path) -> None:
    """Half an hour from a pair that is lined up: 0.15 s, and 0.18 s for what clocks may part."""
    sure = [(*sure_pair(n, TEN_S + 60 * n), 3.0) for n in range(2)]
    sure.append((*sure_pair(3, TEN_S + 30, dated=False), 3.0))
    open_pair = (*sure_pair(9, TEN_S + 1860), None)
    followed, _ = look([*sure, open_pair], quiet)
    found = followed[-1]
    assert found.outcome is Outcome.BY_CLOCKS
    assert found.alignment is not None
    assert found.alignment.offset_s == pytest.approx(3.0)
    assert found.alignment.overlap_s == pytest.approx(9.0)
    assert found.reason == "by the clocks alone, to 9 frames; the sound does not tell"
    assert followed[:-1] == [compared(*pair) for pair in sure]


@pytest.mark.parametrize(
    "open_pair",
    [
        pytest.param(sure_pair(9, TEN_S + 60, dated=False), id="no date says so too"),
        pytest.param(
            (cam("cam1/A009.mov", TEN_S), cam("cam2/B009.mov", TEN_S + AHEAD_S, days=1)),
            id="another day",
        ),
        pytest.param(
            (cam("cam1/A009.mov", TEN_S, days=1), cam("cam2/B009.mov", TEN_S + AHEAD_S)),
            id="the day before",
        ),
        pytest.param(sure_pair(9, TEN_S + 20_000), id="far from all that is sure"),
        pytest.param(sure_pair(9, TEN_S, off_s=8.0), id="both hardly ran"),
    ],
)
def test_pairs_of_which_the_clocks_do_not_tell_stay(quiet: Path, open_pair) -> None:
    sure = [(*sure_pair(n, TEN_S + 60 * n), 3.0) for n in range(2)]
    followed, _ = look([*sure, (*open_pair, None)], quiet)
    assert followed[-1] == compared(*open_pair)


def test_a_file_that_is_away_stays_open() -> None:
    sure = [(*sure_pair(n, TEN_S + 60 * n), 3.0) for n in range(2)]
    open_pair = (*sure_pair(9, TEN_S + 90), None)
    followed, _ = look([*sure, open_pair])
    assert followed[-1] == compared(*open_pair)


def test_a_place_by_the_clocks_bears_no_other_out(quiet: Path) -> None:
    """The file before puts it there, too: nobody has heard it, all the same."""
    sure = [(*sure_pair(n, TEN_S + 60 * n), 3.0) for n in range(2)]
    first, second = sure_pair(9, TEN_S + 90)
    before = cam("cam1/A008.mov", TEN_S + 78)
    known = (before, second, 15.0)
    followed, _ = look([*sure, known, (first, second, None)], quiet)
    assert followed[-1].outcome is Outcome.BY_CLOCKS
    takes = [one for pair in sure for one in pair[:2]] + [before, first, second]
    assert follow_joins(followed, [], takes)[0][-1].outcome is Outcome.GOES_ON
