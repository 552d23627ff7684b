"""Takes that heard the same moment."""

from __future__ import annotations

import pytest

from calltag.errors import LogError
from calltag.log import Log
from calltag.records.found import TakeLog

from .conftest import alignment, take


def test_alignments_come_out_as_they_went_in(two_cameras: Log) -> None:
    pairs = [alignment(), alignment("A001.mov", "B002.mov", offset_s=-7.25, drift_ppm=-3.5)]
    for pair in reversed(pairs):
        two_cameras.put_alignment(pair)
    assert two_cameras.alignments() == pairs


def test_a_pair_has_one_alignment_whichever_way_round(two_cameras: Log) -> None:
    two_cameras.put_alignment(alignment())
    other_way = alignment("B001.mov", "A001.mov", offset_s=-5.54)
    two_cameras.put_alignment(other_way)
    assert two_cameras.alignments() == [other_way]
    two_cameras.remove_alignment("A001.mov", "B001.mov")
    assert two_cameras.alignments() == []


def test_an_alignment_of_an_unknown_take_is_told(two_cameras: Log) -> None:
    two_cameras.put_alignment(alignment())
    with pytest.raises(LogError, match=r"C001\.mov: no such take"):
        two_cameras.put_alignment(alignment("A001.mov", "C001.mov"))
    assert two_cameras.alignments() == [alignment()]


@pytest.mark.parametrize(("duration_s", "kept"), [(60.0, True), (60.04, True), (61.0, False)])
def test_alignments_stay_only_where_a_replaced_file_has_the_same_length(
    two_cameras: Log, duration_s: float, kept: bool
) -> None:
    two_cameras.put_alignment(alignment())
    two_cameras.put_alignment(alignment("B002.mov", "A001.mov"))
    two_cameras.put(TakeLog(take=take("B001.mov", duration_s=duration_s)), feature_version=1)
    others = [alignment("B002.mov", "A001.mov")]
    assert two_cameras.alignments() == ([alignment(), *others] if kept else others)


def test_an_alignment_goes_with_either_take_and_moves_with_it(two_cameras: Log) -> None:
    two_cameras.put_alignment(alignment())
    two_cameras.move({"A001.mov": ("/ashmere", "card1/A001.mov")})
    assert two_cameras.alignments() == [alignment("card1/A001.mov")]
    two_cameras.forget(["B001.mov"])
    assert two_cameras.alignments() == []
