"""The clock that lined-up takes share, by hand-made figures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from calltag.edit.shared_clock import SLACK_S, Running, shared_clocks
from calltag.records.span import Span

from .conftest import lined_up, log_of


def test_takes_lined_up_with_a_third_share_its_clock() -> None:
    """The second take's clock is fast: what lasts 100 s on the first lasts 100.01 s on it."""
    logs = [log_of(f"{name}.mov") for name in "abcx"]
    pairs = [lined_up("a.mov", "b.mov", 20.0, 100.0), lined_up("b.mov", "c.mov", 30.003)]
    clocks = shared_clocks(logs, pairs)
    assert set(clocks) == {"a.mov", "b.mov", "c.mov"}, "nothing is known of the fourth"
    assert {clock.group for clock in clocks.values()} == {"a.mov"}
    assert clocks["b.mov"].span(Span(0.0, 100.01)) == pytest.approx((20.0, 120.0))
    assert clocks["c.mov"].first_s == pytest.approx(50.0)
    assert clocks["c.mov"].own(clocks["c.mov"].span(Span(1.0, 2.0))) == pytest.approx((1.0, 2.0))


def test_takes_of_two_places_share_no_clock() -> None:
    logs = [log_of(f"{name}.mov") for name in "abcd"]
    clocks = shared_clocks(logs, [lined_up("a.mov", "b.mov", 1.0), lined_up("d.mov", "c.mov", 2.0)])
    assert clocks["a.mov"].group == clocks["b.mov"].group != clocks["c.mov"].group
    assert clocks["c.mov"].group == clocks["d.mov"].group
    assert clocks["d.mov"].first_s == pytest.approx(-2.0), (
        "it began before the group's first by name"
    )


def test_a_copy_runs_with_its_take() -> None:
    a, b = log_of("a.mov"), log_of("b.mov")
    copy = replace(a, take=replace(a.take, path="backup/a.mov"))
    clocks = shared_clocks([a, b, copy], [lined_up("a.mov", "b.mov", 20.0)])
    assert clocks["backup/a.mov"].first_s == clocks["a.mov"].first_s
    unread = [log_of("x.mov", digest=""), log_of("y.mov", digest="")]
    assert shared_clocks(unread, []) == {}, "takes without identity are no copies of each other"


@pytest.mark.parametrize(
    ("span", "running"),
    [
        (Span(5.0, 6.0), ["a.mov"]),
        (Span(25.0, 26.0), ["a.mov", "b.mov"]),
        (Span(61.0, 62.0), ["b.mov"]),
        (Span(20.0 - SLACK_S / 2, 21.0), ["a.mov", "b.mov"]),  # some room at a take's ends
        (Span(20.0 - 2 * SLACK_S, 21.0), ["a.mov"]),
        (Span(79.0, 80.0 + SLACK_S / 2), ["b.mov"]),
        (Span(59.0, 61.0), ["b.mov"]),  # the whole of it
        (Span(90.0, 91.0), []),
    ],
)
def test_takes_that_ran_during_a_span(span: Span, running: list[str]) -> None:
    """Each lasts a minute; the second begins 20 s after the first."""
    logs = [log_of("b.mov"), log_of("a.mov")]
    clocks = shared_clocks(logs, [lined_up("a.mov", "b.mov", 20.0)])
    during = Running(logs, clocks).during("a.mov", span)
    assert [take.path for take in during] == running
