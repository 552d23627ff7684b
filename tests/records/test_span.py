"""Stretches of time, joined."""

from __future__ import annotations

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from calltag.records.span import Span, merged

times_s = st.integers(0, 60)
spans = st.lists(
    st.tuples(times_s, times_s).map(lambda ends: Span(min(ends), max(ends))), max_size=8
)


@given(spans, st.integers(0, 5))
def test_what_is_joined_covers_the_same_and_short_gaps(several: list[Span], gap_s: int) -> None:
    joined = merged(several, gap_s)
    assert all(b.start_s - a.end_s > gap_s for a, b in pairwise(joined))
    for at_s in range(61):
        inside = any(one.start_s <= at_s <= one.end_s for one in several)
        # in a gap that is short enough, or in a span
        before = [one.end_s for one in several if one.end_s <= at_s]
        after = [one.start_s for one in several if one.start_s >= at_s]
        bridged = bool(before and after) and min(after) - max(before) <= gap_s
        assert any(one.start_s <= at_s <= one.end_s for one in joined) == (inside or bridged)


@given(spans, spans)
def test_spans_overlap_where_a_moment_lies_in_both(several: list[Span], others: list[Span]) -> None:
    """Moments in the middle of whole seconds, so that ends that touch share none."""
    for one in several:
        for other in others:
            common = any(
                one.start_s < at_s + 0.5 < one.end_s and other.start_s < at_s + 0.5 < other.end_s
                for at_s in range(61)
            )
            if one.length_s and other.length_s:
                assert one.overlaps(other) == other.overlaps(one) == common


def test_a_span_holds_what_has_its_middle_there() -> None:
    cut = Span(2.0, 5.0)
    assert cut.holds(Span(0.0, 4.0))
    assert cut.holds(Span(4.5, 5.4))
    assert not cut.holds(Span(4.0, 6.0)), "its middle is where the next begins"
    assert not cut.holds(Span(0.0, 3.9))


def test_length_and_middle() -> None:
    assert (Span(2.0, 5.0).length_s, Span(2.0, 5.0).middle_s) == (3.0, 3.5)
