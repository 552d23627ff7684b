"""Machines by ear and beat: what the two say together, and where a beat is looked for."""

from __future__ import annotations

import numpy as np
import pytest

from calltag.learn.noise import beats as beats_module
from calltag.learn.noise.beats import (
    CLEAR_BEAT,
    DOUBTFUL_ODDS,
    BeatWatch,
    Stretch,
    machine_odds,
    steady,
)
from calltag.sound.beats.engine import EVIDENCE, Beat, Engine

ENGINE = Engine(rate_hz=80, slowest_hz=80, fastest_hz=80, strength_db=9, share=1)


SILENT = np.full(600, -9.0)
"""Log-odds of a voice where none is heard."""


def told(evidence, engine=None, least_lines=2.0):
    return Beat(evidence=evidence, lines=0.0, throb=0.0, least_lines=least_lines, engine=engine)


def test_steady_odds_keep_their_edges_and_lose_moments():
    odds = np.full(200, -5.0)
    odds[60:120] = 5
    odds[90:100] = -5  # it coughs
    odds[160:170] = 5  # a moment
    assert (steady(odds) > 0).nonzero()[0].tolist() == list(range(60, 120))


@pytest.mark.parametrize("evidence", EVIDENCE)
def test_no_evidence_turns_what_is_clear(evidence):
    low, high = DOUBTFUL_ODDS
    assert low < 0 < high
    both = machine_odds(np.full(100, high + 0.1), SILENT[:100], [(5.0, told(evidence))])
    assert (both > 0).all()
    voice = np.zeros(100)  # its lines are no machine's
    both = machine_odds(np.full(100, low - 0.1), voice, [(5.0, told(evidence))])
    assert (both < 0).all()


def test_a_clear_beat_is_a_machine_whatever_is_heard():
    """For four seconds to each side, as far as there is no voice."""
    for evidence, is_one in ((CLEAR_BEAT + 0.1, True), (CLEAR_BEAT - 0.1, False)):
        for odds in (-9.0, -4.0, DOUBTFUL_ODDS[0]):
            voice = SILENT[:100].copy()
            voice[60:] = 0.0
            both = machine_odds(np.full(100, odds), voice, [(5.0, told(evidence))])
            assert (both[10:60] > 0).all() == is_one
            assert (both[:10] < 0).all()
            assert (both[60:] < 0).all()


def test_evidence_turns_what_is_in_doubt():
    odds = np.zeros(600)
    both = machine_odds(odds, SILENT, [(5.0, told(4.0)), (50.0, told(-0.5))])
    assert (both[:150] > 2).all()
    assert (both[400:] < -2).all()
    # as much of one as of the other half-way, and the starter model alone where nothing is known
    near = machine_odds(odds, SILENT, [(5.0, told(4.0)), (25.0, told(0.0))])
    assert near[150] == pytest.approx((near[50:60].mean() + near[245:255].mean()) / 2, abs=0.6)
    assert (near[500:] == 0).all()
    assert (machine_odds(odds, SILENT, []) == odds).all()
    assert np.abs(both).max() <= 6


def test_two_excerpts_at_one_place_and_at_the_edges():
    beats = [(0.0, told(1.0)), (0.0, told(3.0)), (9.0, told(2.0))]
    both = machine_odds(np.zeros(50), SILENT[:50], beats)
    assert both == pytest.approx(np.full(50, 2.13 * 2 - 4.03))


@pytest.fixture
def looked(monkeypatch):
    """A watch that is told what to find: `looked(odds, calling, beat)` gives its places."""

    def look(odds, calling=None, beat=None, pieces=1, low=None, hum=None):
        """`beat` is one for all places, or tells it of a place; `low` is the power of low bands."""
        beat = beat or told(0.0)
        find = beat if callable(beat) else lambda _: beat
        cuts = []

        def listen(*_, lines_above):
            found = find(sum(cuts[-1]) / 2)
            return found if found.least_lines > lines_above else None

        monkeypatch.setattr(beats_module, "listen_for_beat", listen)
        monkeypatch.setattr(beats_module, "find_hum", lambda *_: hum)
        low = np.zeros(len(odds)) if low is None else low
        watch = BeatWatch()
        calling = np.zeros(len(odds)) if calling is None else calling
        out = []
        for i in range(pieces):
            part = slice(len(odds) * i // pieces, len(odds) * (i + 1) // pieces)
            stretch = Stretch(part.start / 10, odds[part], calling[part], low[part])
            out += watch.look(stretch, lambda a, b: cuts.append((a, b)))
        assert all(b - a == pytest.approx(4) for a, b in cuts)
        return out

    return look


def test_nothing_is_looked_at_where_no_machine_can_be(looked):
    assert looked(np.full(6000, DOUBTFUL_ODDS[0] - 0.1)) == []
    moment = np.full(600, -9.0)
    moment[100:104] = 0
    assert looked(moment) == []


def test_where_no_machine_is_heard_the_loudest_moment_tells(looked):
    """An aircraft, which comes and goes: it is followed to both sides for as long as it beats."""
    low = 1 / (1 + ((np.arange(600) - 350) / 80) ** 2)

    def passes(at_s):
        return told(4.0, ENGINE) if 20 < at_s < 50 else told(0.0)

    found = looked(SILENT, beat=passes, low=low)
    at_s = [at_s for at_s, _ in found]
    assert at_s == pytest.approx([27, 35, 43], abs=0.2)
    both = machine_odds(SILENT, SILENT, found)
    assert (both > 0).nonzero()[0] == pytest.approx(np.arange(230, 471), abs=2)
    assert looked(SILENT, beat=passes, low=low, hum="hum") == [], "the mains are told by themselves"
    assert looked(SILENT, beat=told(CLEAR_BEAT - 0.1), low=low) == []
    assert looked(SILENT, beat=told(4.0, ENGINE, 0.9), low=low) == [], "it throbs, or cries"
    calling = np.where(np.abs(np.arange(600) - 350) < 40, 1.0, 0.0)
    elsewhere = [at_s for at_s, _ in looked(SILENT, calling, passes, low=low)]
    assert min(abs(at_s - 35) for at_s in elsewhere) > 3, "what beats in calls is theirs"
    assert looked(SILENT, np.ones(600), passes, low=low) == []


@pytest.mark.parametrize("loudest", [20, 59, 60, 61, 350, 540, 579])
def test_a_machine_that_is_not_heard_is_told_up_to_the_borders(looked, loudest):
    """Takes are looked at in windows; one that goes on is not parted where these meet."""
    low = -np.abs(np.arange(600.0) - loudest) + 1000
    found = looked(SILENT, beat=told(4.0, ENGINE), low=low)
    assert len({at_s for at_s, _ in found}) == len(found) <= 9
    assert all(2 <= at_s <= 58 for at_s, _ in found), "excerpts lie within"
    assert (machine_odds(SILENT, SILENT, found) > 0).all()


@pytest.mark.parametrize("tenths", [5, 39, 40, 41, 60])
def test_the_loudest_moment_of_a_short_take_is_in_it(looked, tenths):
    low = np.arange(float(tenths))
    ((at_s, _), *more) = looked(SILENT[:tenths], beat=told(4.0, ENGINE), low=low)
    assert 0 < at_s < tenths / 10
    assert not more


def test_doubt_is_looked_at_often_and_then_more_seldom(looked):
    at_s = [at_s for at_s, _ in looked(np.zeros(3000))]
    apart = np.diff(at_s)
    assert at_s[0] < 5
    assert (apart[:1] <= 12).all()
    assert (apart >= 4.9).all()
    assert (apart[5:] >= 19.9).all()
    assert len(at_s) <= 3000 / 10 / 15


def test_an_unlikely_machine_is_looked_for_seldom_but_kept_in_sight_once_found(looked):
    odds = np.full(3000, DOUBTFUL_ODDS[0] + 0.1)
    at_s = [at_s for at_s, _ in looked(odds)]
    assert at_s[0] < 5
    assert len(at_s) <= 9
    found_s = [at_s for at_s, _ in looked(odds, beat=told(EVIDENCE[1], ENGINE))]
    assert np.diff(found_s).max() <= 23  # so that no moment is out of reach
    assert np.diff(found_s).min() < 8


def test_a_certain_machine_is_looked_at_for_its_rate_only(looked):
    odds = np.full(3000, 8.0)
    at_s = [at_s for at_s, _ in looked(odds, beat=told(4.0, ENGINE))]
    assert at_s[1] < 12  # an engine that revs is heard twice at least
    assert len(at_s) <= 11
    assert np.diff(at_s)[-1] > 40


def test_excerpts_lie_where_nothing_calls(looked):
    calling = np.zeros(3000)
    rng = np.random.default_rng(1)
    for start in rng.integers(0, 2980, 60):
        calling[start : start + 10] = 1
    at_s = [at_s for at_s, _ in looked(np.zeros(3000), calling)]
    busy = [calling[round(10 * at) - 20 : round(10 * at) + 20].mean() for at in at_s]
    assert np.mean(busy) < 0.7 * calling.mean()


def test_what_beats_in_calls_is_no_machine(looked):
    beat = told(4.0, ENGINE)
    ((_, silent),) = looked(np.zeros(50), np.zeros(50), beat)
    ((_, full),) = looked(np.zeros(50), np.ones(50), beat)
    ((_, against),) = looked(np.zeros(50), np.ones(50), told(-0.7))
    assert silent == beat
    assert full == told(0.0)
    assert against.evidence == -0.7


@pytest.mark.parametrize("seconds", [0.5, 1.0, 3.0, 4.0, 5.0])
def test_a_short_take_is_looked_at_once(looked, seconds):
    ((at_s, _),) = looked(np.zeros(round(10 * seconds)))
    assert at_s == pytest.approx(seconds / 2, abs=0.7)


def test_windows_leave_no_gap(looked):
    whole = [at_s for at_s, _ in looked(np.zeros(3000))]
    parts = [at_s for at_s, _ in looked(np.zeros(3000), pieces=5)]
    assert abs(len(whole) - len(parts)) <= 2
    assert np.diff(parts).max() < 26
