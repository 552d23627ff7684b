"""Which of many pairs of takes are compared first, and which are not compared at all."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from calltag.edit.sync import lining_up
from calltag.edit.sync.comparing import NOT_BY_CLOCKS, Comparison, Outcome, compare
from calltag.edit.sync.lining_up import (
    AGAIN,
    COMPARING,
    READING,
    Source,
    _compared,
    sync_takes,
)
from calltag.edit.sync.order import ENOUGH_PAIRS, FEW_PAIRS, SAME_S, Order, Turn
from calltag.edit.sync.search import Bounds
from calltag.edit.sync.trace import Trace
from calltag.errors import MediaError
from calltag.media.timing.timecode import format_timecode
from calltag.records.alignment import Alignment
from calltag.records.take import Take

from ..conftest import RATES, make_take

RATE_HZ = 48_000
FIVE = datetime(2026, 4, 18, 5)


def take(
    folder: str,
    number: int,
    at_s: float,
    length_s: float,
    *,
    dated: bool = True,
    clock: bool = False,
) -> Take:
    """A take that began so long after five by what it states: a date, timecode, or neither."""
    date = (FIVE + timedelta(seconds=int(at_s))).isoformat() if dated else None
    timecode = format_timecode(round((5 * 3600 + at_s) * 25), RATES[2]) if clock else None
    name = f"{folder}/C{number:03}.mov"
    return make_take(name, recorded=date, start_tc=timecode, duration_s=length_s)


class Shoot:
    """Clips of half a minute, one in two, beside files of ten that follow on each other.

    The camera beside is `ahead_s` ahead by its clock, in file `reset` and after it by an hour more.
    """

    def __init__(self, *, ahead_s: float = 0.0, n_files: int = 4, reset: int | None = None, **kind):
        self.clips = [(60.0 * n, 30.0) for n in range(10 * n_files)]
        self.files = [(600.0 * n, 600.0) for n in range(n_files)]
        clocks_s = [
            ahead_s + (3600 if reset is not None and n >= reset else 0) for n in range(n_files)
        ]
        self.takes = [
            take("a", n, at_s, length_s, **kind) for n, (at_s, length_s) in enumerate(self.clips)
        ]
        self.takes += [
            take("b", n, at_s + clock_s, length_s, **kind)
            for n, ((at_s, length_s), clock_s) in enumerate(zip(self.files, clocks_s, strict=True))
        ]
        n_clips = len(self.clips)
        self.pairs = [(a, b) for b in range(n_clips, len(self.takes)) for a in range(n_clips)]

    def offset_s(self, pair: tuple[int, int]) -> float | None:
        """Where the second really begins in the first; None where they did not run at once."""
        spans = [*self.clips, *self.files]
        (a_s, a_length_s), (b_s, b_length_s) = (spans[number] for number in pair)
        both_s = min(a_s + a_length_s, b_s + b_length_s) - max(a_s, b_s)
        return b_s - a_s if both_s > 2 else None

    def go_through(self, order: Order) -> list[Turn]:
        turns = []
        for turn in order.through(self.pairs):
            turns.append(turn)
            offset_s = self.offset_s(turn[:2])
            if offset_s is not None and not turn.spared:
                order.learn(turn, offset_s)
        return turns


def known(takes: list[Take]) -> dict[int, Take]:
    return dict(enumerate(takes))


DATES, TIMECODE, BOTH = {}, {"dated": False, "clock": True}, {"clock": True}


@pytest.mark.parametrize(
    ("ahead_s", "kind"),
    [
        *[(ahead_s, kind) for ahead_s in (0.0, 47.0, -7200.0) for kind in (DATES, TIMECODE, BOTH)],
        (43_200.0, TIMECODE),  # half a day, which may be before or after
        (4e7, DATES),  # more than a year
        (4e7, BOTH),
    ],
)
def test_pairs_that_ran_at_once_are_compared_and_most_others_are_not(ahead_s, kind) -> None:
    """However wrong the clock beside is."""
    shoot = Shoot(ahead_s=ahead_s, **kind)
    turns = shoot.go_through(Order(known(shoot.takes)))
    first = [turn[:2] for turn in turns if not turn.again]
    assert sorted(first) == sorted(shoot.pairs), "each pair once"
    glanced = {turn[:2] for turn in turns if turn.glance}
    assert glanced.issuperset(turn[:2] for turn in turns if turn.again)
    spared = [turn[:2] for turn in turns if turn.spared]
    assert len(spared) > len(shoot.pairs) / 2
    assert not any(shoot.offset_s(pair) is not None for pair in spared)


def test_those_that_ran_at_once_by_the_clocks_come_first() -> None:
    shoot = Shoot()
    turns = shoot.go_through(Order(known(shoot.takes)))
    together = [shoot.offset_s(turn[:2]) is not None for turn in turns]
    assert all(together[:ENOUGH_PAIRS])
    assert sum(together[:60]) == sum(together) == 40


def test_once_clocks_agree_it_is_told_where_a_take_begins() -> None:
    shoot = Shoot(ahead_s=47.4)
    told = 0
    for turn in shoot.go_through(Order(known(shoot.takes))):
        begins_s = shoot.offset_s(turn[:2])
        if turn.begins_s is not None and begins_s is not None:
            told += 1
            assert turn.begins_s == pytest.approx(begins_s, abs=SAME_S)
    assert told == 40 - ENOUGH_PAIRS


def test_where_a_clock_was_set_anew_all_are_compared() -> None:
    """In the third file of four: pairs that are lined up contradict each other from then on."""
    shoot = Shoot(reset=2)
    spared = [turn[:2] for turn in shoot.go_through(Order(known(shoot.takes))) if turn.spared]
    assert not any(shoot.offset_s(pair) is not None for pair in spared)


@pytest.mark.parametrize("kind", [DATES, TIMECODE])
@pytest.mark.parametrize("ahead_s", [-3600.0, -1800.0, 1800.0, 3600.0])
@pytest.mark.parametrize("wrong", [range(10, 30), range(15, 20)])
def test_where_a_clock_was_wrong_for_a_while_all_are_compared(kind, ahead_s, wrong) -> None:
    """By its own clock, the wrong one, a take may still have begun between others."""
    shoot = Shoot(n_files=20, **kind)
    shoot.clips = [(300.0 * n, 60.0) for n in range(40)]
    shoot.takes = [
        take("a", n, at_s + (ahead_s if n in wrong else 0), length_s, **kind)
        for n, (at_s, length_s) in enumerate(shoot.clips)
    ] + shoot.takes[200:]
    shoot.pairs = [(a, 40 + b) for b in range(20) for a in range(40)]
    spared = [turn[:2] for turn in shoot.go_through(Order(known(shoot.takes))) if turn.spared]
    assert spared
    assert not any(shoot.offset_s(pair) is not None for pair in spared)


@pytest.mark.parametrize(("n_wrong", "spares"), [(1, True), (30, False)])
def test_one_pair_that_is_lined_up_wrongly_does_not_undo_what_all_others_say(n_wrong, spares):
    """The same recording may be played at two moments; its pair says nothing of when others ran."""
    shoot = Shoot(ahead_s=47.0, n_files=8)
    order, n_learnt, spared = Order(known(shoot.takes)), 0, []
    for turn in order.through(shoot.pairs):
        offset_s = shoot.offset_s(turn[:2])
        spared += [turn[:2]] if turn.spared else []
        if offset_s is not None and not turn.spared:
            n_learnt += 1
            order.learn(turn, offset_s + 2000.0 * (20 <= n_learnt < 20 + n_wrong))
    assert (len(spared) > len(shoot.pairs) / 2) == spares
    assert not any(shoot.offset_s(pair) is not None for pair in spared)


def test_two_cameras_in_one_folder_have_two_clocks() -> None:
    """What is lined up with one tells nothing of the other, an hour ahead."""
    shoot = Shoot(n_files=10)
    shoot.takes[1:100:2] = [
        take("a", n, at_s + 3600, length_s) for n, (at_s, length_s) in enumerate(shoot.clips)
    ][1::2]
    shoot.takes[1:100:2] = [
        replace(one, path=one.path.replace("C", "D")) for one in shoot.takes[1:100:2]
    ]
    spared = [turn[:2] for turn in shoot.go_through(Order(known(shoot.takes))) if turn.spared]
    assert spared
    assert not any(shoot.offset_s(pair) is not None for pair in spared)


def test_what_is_learned_makes_no_work_for_all_others() -> None:
    """Two clocks in one, so nothing is spared for long: 8000 pairs took half a minute."""
    shoot = Shoot(n_files=20, reset=10)
    shoot.clips = [(30.0 * n, 20.0) for n in range(400)]
    shoot.takes = [take("a", n, *clip) for n, clip in enumerate(shoot.clips)] + shoot.takes[200:]
    shoot.pairs = [(a, 400 + b) for b in range(20) for a in range(400)]
    order, asked = Order(known(shoot.takes)), 0
    begins_s = order._begins_s

    def counted(first: int, second: int) -> float | None:
        nonlocal asked
        asked += 1
        return begins_s(first, second)

    order._begins_s = counted
    shoot.go_through(order)
    assert asked < 10 * len(shoot.pairs)


def test_what_began_before_or_after_all_that_agree_is_compared() -> None:
    """The clock of the second camera may have been set anew since."""
    shoot = Shoot(n_files=2)
    shoot.takes.append(take("b", 9, 7200.0, 600.0))
    late = len(shoot.takes) - 1
    shoot.pairs += [(number, late) for number in range(20)]
    shoot.files.append((7200.0, 600.0))
    turns = shoot.go_through(Order(known(shoot.takes)))
    spared = {turn[:2] for turn in turns if turn.spared}
    assert spared
    assert not any(late in pair for pair in spared)
    assert all(turn.glance for turn in turns if turn.second == late)
    together = [turn for turn in turns if shoot.offset_s(turn[:2]) is not None]
    assert [turn.begins_s is None for turn in together] == [n < ENOUGH_PAIRS for n in range(20)]


def test_without_clocks_all_are_compared_in_order() -> None:
    shoot = Shoot(dated=False)
    turns = shoot.go_through(Order(known(shoot.takes)))
    n = len(shoot.pairs)
    assert [turn[:2] for turn in turns[:n]] == shoot.pairs
    assert not any(turn.spared or turn.begins_s is not None for turn in turns)
    assert [turn[:2] for turn in Shoot().go_through(Order({}))][:n] == shoot.pairs


def test_many_pairs_get_a_glance_and_those_that_it_leaves_open_a_full_turn() -> None:
    """What a glance lines up needs no other; without clocks, nothing else says what does not."""
    shoot = Shoot(dated=False)
    turns = shoot.go_through(Order(known(shoot.takes)))
    n = len(shoot.pairs)
    assert all(turn.glance and not turn.again for turn in turns[:n])
    assert all(turn.again and not turn.glance for turn in turns[n:])
    assert [turn[:2] for turn in turns[n:]] == [
        pair for pair in shoot.pairs if shoot.offset_s(pair) is None
    ]


def test_what_cannot_be_compared_has_no_other_turn() -> None:
    shoot, turns = Shoot(dated=False), []
    order = Order(known(shoot.takes))
    for turn in order.through(shoot.pairs):
        turns.append(turn)
        order.drop(turn)
    assert len(turns) == len(shoot.pairs)
    assert order.n_left() == 0


def test_few_pairs_have_their_full_turn_at_once() -> None:
    shoot = Shoot(dated=False)
    shoot.pairs = shoot.pairs[:FEW_PAIRS]
    turns = shoot.go_through(Order(known(shoot.takes)))
    assert [turn[:2] for turn in turns] == shoot.pairs
    assert not any(turn.glance for turn in turns)


@pytest.mark.parametrize("kind", [DATES, TIMECODE])
def test_what_a_glance_leaves_open_is_looked_for_where_the_clocks_put_it(kind) -> None:
    """Glances find every fourth pair. What the clocks put apart has no other turn."""
    shoot = Shoot(ahead_s=47.4, **kind)
    order, found, full = Order(known(shoot.takes)), set(), set()
    for turn in order.through(shoot.pairs):
        offset_s = shoot.offset_s(turn[:2])
        full |= {turn[:2]} if not turn.glance and not turn.spared else set()
        if offset_s is not None and (turn.begins_s is not None or turn.first % 4 == 0):
            found.add(turn[:2])
            order.learn(turn, offset_s)
    assert found == {pair for pair in shoot.pairs if shoot.offset_s(pair) is not None}
    assert len(full) < 60


# In the comparison of many takes


@pytest.fixture
def heard(monkeypatch: pytest.MonkeyPatch):
    """Take reading and comparing away: what each pair comes to is told by the shoot."""

    def install(
        shoot: Shoot, broken: str = "", away: tuple[str, ...] = ()
    ) -> tuple[list[str], list[tuple[str, str, Bounds]]]:
        number_of = {one.path: number for number, one in enumerate(shoot.takes)}
        read: list[str] = []
        asked: list[tuple[str, str, Bounds]] = []

        def trace(path: Path) -> SimpleNamespace:
            read.append(path.as_posix())
            if path.as_posix() in (broken, *away):
                raise MediaError(path, "is damaged")
            return SimpleNamespace(duration_s=30.0)

        def compare(_a, _b, take_a: str, take_b: str, *, bounds: Bounds, **_kind) -> Comparison:
            asked.append((take_a, take_b, bounds))
            offset_s = shoot.offset_s((number_of[take_a], number_of[take_b]))
            lies = None
            if offset_s is not None and bounds.low_s <= offset_s <= bounds.high_s:
                lies = Alignment(
                    take_a=take_a,
                    take_b=take_b,
                    offset_s=offset_s,
                    drift_ppm=0.0,
                    confidence=0.99,
                    overlap_s=9.0,
                )
            outcome = Outcome.NOTHING if lies is None else Outcome.LINED_UP
            return Comparison(
                take_a=take_a, take_b=take_b, outcome=outcome, alignment=lies, reason=""
            )

        monkeypatch.setattr(lining_up, "trace_take", trace)
        monkeypatch.setattr(lining_up, "compare", compare)
        monkeypatch.setattr(lining_up, "is_file", lambda path: path.as_posix() not in away)
        return read, asked

    return install


def sources(shoot: Shoot) -> list[Source]:
    return [Source(one.path, Path(one.path)) for one in shoot.takes]


def test_many_takes_are_lined_up_by_few_comparisons(heard) -> None:
    shoot = Shoot(ahead_s=47.0)
    read, asked = heard(shoot)
    takes = {one.path: one for one in shoot.takes}
    told: list[tuple[str, int, int]] = []
    found, problems = sync_takes(
        sources(shoot),
        n_first=40,
        take_of=lambda source: takes[source.name],
        listener=lambda *now: told.append(now),
    )
    names = [(shoot.takes[a].path, shoot.takes[b].path) for a, b in shoot.pairs]
    assert [(one.take_a, one.take_b) for one in found] == names, "in their order"
    lined_up = [one.outcome is Outcome.LINED_UP for one in found]
    assert lined_up == [shoot.offset_s(pair) is not None for pair in shoot.pairs]
    assert sum(one.reason == NOT_BY_CLOCKS for one in found) > 80
    assert len(asked) < 80
    narrow = [bounds for _, _, bounds in asked if bounds.high_s - bounds.low_s <= 2 * SAME_S]
    assert len(narrow) > 30
    assert not problems
    assert [now[1:] for now in told if now[0] == READING] == [(n, 44) for n in range(45)]
    assert {n for what, n, _ in told if what == COMPARING} == set(range(161))
    again = [now[1:] for now in told if now[0] == AGAIN]
    assert again == [(n, again[0][1]) for n in range(len(again))]
    assert len(read) == 44, "each once"


def test_a_take_that_cannot_be_read_is_told_once(heard) -> None:
    shoot = Shoot()
    heard(shoot, broken="a/C005.mov")
    takes = {one.path: one for one in shoot.takes}
    found, problems = sync_takes(
        sources(shoot), n_first=40, take_of=lambda source: takes[source.name]
    )
    assert [problem.path for problem in problems] == ["a/C005.mov"]
    assert "is damaged" in problems[0].reason
    compared = [one for one in found if "a/C005.mov" in one.pair]
    assert {one.reason for one in compared} <= {NOT_BY_CLOCKS}


def test_a_take_that_clocks_would_spare_is_told_if_its_file_is_away(heard) -> None:
    """A clip between two files, at the same time as none."""
    shoot = Shoot()
    shoot.files[1] = 600.0, 20.0
    shoot.takes[41] = replace(shoot.takes[41], duration_s=20.0)
    heard(shoot, away=("a/C015.mov",))
    takes = {one.path: one for one in shoot.takes}
    _, problems = sync_takes(sources(shoot), n_first=40, take_of=lambda one: takes[one.name])
    assert [problem.path for problem in problems] == ["a/C015.mov"]


def test_a_take_without_sound_is_told_wherever_it_lies(heard) -> None:
    shoot = Shoot()
    heard(shoot, broken="b/C003.mov")
    takes = {one.path: one for one in shoot.takes}
    takes["b/C003.mov"] = replace(takes["b/C003.mov"], sample_rate_hz=None)
    _, problems = sync_takes(
        [sources(shoot)[0], *sources(shoot)[40:]],
        bounds=Bounds(-10, 10),
        clock_s=lambda one: (600.0 * (one.name[0] == "b") * int(one.name[3:6]), 86_400.0),
        take_of=lambda one: takes[one.name],
    )
    assert [problem.path for problem in problems] == ["b/C003.mov"]


def test_the_clock_of_a_take_without_one_is_asked_once(heard) -> None:
    shoot = Shoot()
    heard(shoot)
    asked = []

    def clock_s(source: Source) -> tuple[float, float]:
        asked.append(source.name)
        if source.name == "a/C001.mov":
            raise MediaError(source.path, "has no timecode")
        return 0.0, 86_400.0

    _, problems = sync_takes(sources(shoot), n_first=40, clock_s=clock_s)
    assert [problem.path for problem in problems] == ["a/C001.mov"]
    assert len(asked) == len(set(asked)) == 44


def test_what_lies_elsewhere_by_what_is_said_is_not_even_read(heard) -> None:
    shoot = Shoot(clock=True)
    read, asked = heard(shoot)
    takes = {one.path: one for one in shoot.takes}
    sync_takes(
        [sources(shoot)[0], *sources(shoot)[40:]],
        n_first=1,
        bounds=Bounds(-10, 10),
        clock_s=lambda source: (600.0 * (source.name[0] == "b") * int(source.name[3:6]), 86_400.0),
        take_of=lambda source: takes[source.name],
    )
    assert {(a, b) for a, b, _ in asked} == {("a/C000.mov", "b/C000.mov")}
    assert set(read) <= {"a/C000.mov", "b/C000.mov"}


def heard_at_3_and_11(pairs) -> tuple[Trace, Trace]:
    """A phrase that is heard at two moments of two takes, which have nothing else in common."""
    rng = np.random.default_rng(8)
    phrase = np.concatenate([pairs.call(rng) for _ in range(4)])
    sounds = []
    for at_s in (3.0, 11.0):
        events = [e for e in pairs.chorus(rng, 20) if not at_s - 1 < e[0] / RATE_HZ < at_s + 3]
        events.append((int(at_s * RATE_HZ), phrase))
        sounds.append(pairs.heard(rng, events, pairs.pink(rng, 20 * RATE_HZ), 15))
    return pairs.traced(sounds[0]), pairs.traced(sounds[1])


def repeating(pairs) -> tuple[Trace, Trace]:
    """Three minutes with a call every 25 s, always the same, and the last two and a half of it."""
    rng = np.random.default_rng(1)
    crow = np.concatenate([pairs.call(rng) for _ in range(4)])
    events = [(int(t * RATE_HZ), crow) for t in np.arange(2, 176, 25)]
    a, b = (pairs.heard(rng, events, pairs.pink(rng, 180 * RATE_HZ), 15) for _ in range(2))
    return pairs.traced(a), pairs.traced(b[30 * RATE_HZ :])


@pytest.mark.parametrize(
    ("takes", "about_s"), [(heard_at_3_and_11, -7.5), (repeating, -30.0), (repeating, 50.0)]
)
def test_where_clocks_put_a_take_no_less_has_to_agree(takes, about_s: float, pairs) -> None:
    """They save time; one may have been set anew, so they do not make the sound any surer."""
    a, b = takes(pairs)
    assert compare(a, b).outcome is Outcome.UNSURE
    turn = Turn(0, 1, begins_s=about_s)
    assert _compared(a, b, "a", "b", Bounds(), turn).outcome is Outcome.UNSURE
    narrow = Bounds(about_s - 11, about_s + 11)  # here, the user says so
    assert _compared(a, b, "a", "b", narrow, turn).outcome is Outcome.LINED_UP
