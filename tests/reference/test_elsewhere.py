"""What `elsewhere.py` measures on must not have been learnt from, and must be told apart.

The measurement itself takes recordings that calltag does not bring, so it is made by hand.
"""

from __future__ import annotations

import csv
from pathlib import Path, PurePosixPath

from calltag.learn.starter.recordings import KINDS

ROOT = Path(__file__).resolve().parents[2]


def rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_nothing_that_is_measured_on_was_learnt_from():
    elsewhere = rows(Path(__file__).with_name("elsewhere.csv"))
    learnt = rows(ROOT / "models" / "sources.csv")
    assert {row["kind"] for row in elsewhere} == {"call", "machine", "water"} <= set(KINDS)
    for row in elsewhere:
        assert PurePosixPath(row["path"]).parts[:2] == ("debian", row["group"])
    assert not {row["path"] for row in elsewhere} & {row["path"] for row in learnt}
    assert not {row["group"] for row in elsewhere} & {row["group"] for row in learnt}
