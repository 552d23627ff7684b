"""What follows from files that a recording goes on in."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calltag.edit.sync.by_joins import follow_joins
from calltag.edit.sync.comparing import Comparison, Outcome
from calltag.records.alignment import Alignment
from calltag.records.take import Take

from ..conftest import make_sound, make_take


def _file(number: int) -> Take:
    begins = f"{number:02d}"
    return make_take(
        f"wide/B{number:03d}.mov",
        start_tc=f"10:{begins}:00:00",
        recorded=f"2026-04-18T10:{begins}:00",
    )


FIRST, SECOND, THIRD = map(_file, (0, 1, 2))
CLIP = make_take("long/A.mov", duration_s=20.0, start_tc="01:00:00:00")
RECORDER = make_sound("rec/R.wav", duration_s=900.0)
LOGGED = [FIRST, SECOND, THIRD, CLIP, RECORDER]


def _lies(take_a: Take, take_b: Take, offset_s: float) -> Alignment:
    return Alignment(
        take_a=take_a.path,
        take_b=take_b.path,
        offset_s=offset_s,
        drift_ppm=0.0,
        confidence=0.9,
        overlap_s=10.0,
    )


def _compared(take_a: Take, take_b: Take, offset_s: float | None = None) -> Comparison:
    return Comparison(
        take_a=take_a.path,
        take_b=take_b.path,
        outcome=Outcome.NOTHING if offset_s is None else Outcome.LINED_UP,
        alignment=None if offset_s is None else _lies(take_a, take_b, offset_s),
        reason="",
    )


def test_what_is_lined_up_anew_counts_in_place_of_what_the_log_had() -> None:
    """The log put the recorder elsewhere against the second file, and so denied the join."""
    before = [_lies(RECORDER, FIRST, 40.0), _lies(RECORDER, SECOND, 400.0)]
    pairs = [_compared(RECORDER, SECOND, 100.0), _compared(CLIP, FIRST, -50.0)]
    pairs.append(_compared(CLIP, SECOND))
    followed, _ = follow_joins(pairs, before, LOGGED)
    assert followed[-1].outcome is Outcome.GOES_ON
    assert followed[-1].alignment is not None
    assert followed[-1].alignment.offset_s == 10.0


def test_files_are_told_that_are_in_place_by_this_look() -> None:
    before = [_lies(RECORDER, FIRST, 40.0)]
    assert follow_joins([_compared(CLIP, SECOND)], before, LOGGED)[1] == []
    _, others = follow_joins([_compared(CLIP, SECOND, 10.0)], before, LOGGED)
    assert [(one.take_a, one.take_b) for one in others] == [(CLIP.path, FIRST.path)]
    again = [*before, _lies(CLIP, SECOND, 10.0)]
    assert follow_joins([_compared(CLIP, SECOND, 10.0)], again, LOGGED)[1] == others


BY_BOTH = "agrees with where the file before or after puts it"


def _unsure(
    take_a: Take, take_b: Take, offset_s: float, confidence: float = 0.6, *, repeats: bool = False
) -> Comparison:
    return Comparison(
        take_a=take_a.path,
        take_b=take_b.path,
        outcome=Outcome.UNSURE,
        alignment=replace(_lies(take_a, take_b, offset_s), confidence=confidence),
        reason="a guess",
        repeats=repeats,
    )


def test_guesses_that_put_a_take_over_a_join_alike_bear_each_other_out() -> None:
    """Two witnesses: that both are wrong is as likely as the one times the other."""
    guesses = [_unsure(CLIP, FIRST, -50.0, 0.6), _unsure(SECOND, CLIP, -10.05, 0.7)]
    followed, others = follow_joins(guesses, [], LOGGED)
    assert others == []
    for one, guess in zip(followed, guesses, strict=True):
        assert (one.outcome, one.reason) == (Outcome.LINED_UP, BY_BOTH)
        assert one.alignment.offset_s == guess.alignment.offset_s
        assert one.alignment.confidence == pytest.approx(1 - 0.4 * 0.3)


@pytest.mark.parametrize("last", [0.5, 0.7])
def test_of_three_files_each_is_as_sure_as_the_surer_of_its_neighbours(last) -> None:
    guesses = [
        _unsure(RECORDER, one, 100.0 + 60 * n, confidence)
        for n, (one, confidence) in enumerate([(FIRST, 1.2 - last), (SECOND, 0.6), (THIRD, last)])
    ]
    followed, _ = follow_joins(guesses, [], LOGGED)
    sure = [one.alignment.confidence for one in followed]
    assert {one.outcome for one in followed} == {Outcome.LINED_UP}
    assert sorted(sure) == pytest.approx([0.8, 0.88, 0.88])
    assert sure[1] == max(sure)


@pytest.mark.parametrize("repeats", [0, 1])
def test_guesses_of_a_sound_that_repeats_bear_nothing_out(repeats) -> None:
    guesses = [_unsure(CLIP, FIRST, -50.0), _unsure(CLIP, SECOND, 10.0)]
    guesses[repeats] = replace(guesses[repeats], repeats=True)
    assert follow_joins(guesses, [], LOGGED) == (guesses, [])


def test_guesses_apart_or_over_a_join_that_is_denied_stay_guesses() -> None:
    apart = [_unsure(CLIP, FIRST, -50.0), _unsure(CLIP, SECOND, 10.2)]
    assert follow_joins(apart, [], LOGGED) == (apart, [])
    guesses = [_unsure(CLIP, FIRST, -50.0), _unsure(CLIP, SECOND, 10.0)]
    denied = [(RECORDER, FIRST, 40.0), (RECORDER, SECOND, 400.0)]
    before = [_lies(*pair) for pair in denied]
    assert follow_joins(guesses, before, LOGGED)[0] == guesses
    sure = [_compared(*pair) for pair in denied]
    assert follow_joins([*guesses, *sure], [], LOGGED)[0] == [*guesses, *sure]


@pytest.mark.parametrize("turned", [False, True])
def test_a_guess_where_the_file_before_puts_it_is_as_sure_as_that(turned) -> None:
    """To 0.1 s; one elsewhere gives way to what follows from the join."""
    before = [_lies(CLIP, FIRST, -50.0)]

    def follow(offset_s: float | None) -> Comparison:
        takes = (SECOND, CLIP) if turned else (CLIP, SECOND)
        own_s = None if offset_s is None else -offset_s if turned else offset_s
        one = _compared(*takes) if own_s is None else _unsure(*takes, own_s, 0.4)
        (followed,), _ = follow_joins([one], before, LOGGED)
        assert (followed.take_a, followed.take_b) == (one.take_a, one.take_b)
        assert followed.alignment.take_a == one.take_a
        return followed

    near = follow(10.05)
    assert (near.outcome, near.reason) == (Outcome.LINED_UP, BY_BOTH)
    assert near.alignment.confidence == 0.9
    assert abs(near.alignment.offset_s) == 10.05
    for far in (follow(10.3), follow(None)):
        assert far.outcome is Outcome.GOES_ON
        assert far.reason.startswith("by the file before or after")
        assert far.alignment.offset_s == pytest.approx(-10 if turned else 10)


def test_a_pair_that_the_log_has_and_the_two_files_of_a_join_stay_as_they_were_heard() -> None:
    pairs = [_compared(CLIP, SECOND), _compared(FIRST, SECOND)]
    assert follow_joins(pairs, [_lies(CLIP, SECOND, 10.0)], LOGGED)[0] == pairs


def test_of_two_takes_that_both_go_on_only_pairs_with_one_that_was_compared_are_told() -> None:
    films = [
        make_take(f"long/A{n}.mov", duration_s=20.0, start_tc=start_tc, recorded=recorded)
        for n, (start_tc, recorded) in enumerate(
            [("01:00:00:00", "2026-04-18T10:00:50"), ("01:00:20:00", "2026-04-18T10:01:10")]
        )
    ]
    _, others = follow_joins([_compared(films[0], FIRST, -50.0)], [], [*LOGGED, *films])
    assert [(one.take_a, one.take_b, one.offset_s) for one in others] == [
        (films[0].path, SECOND.path, 10.0)
    ]
