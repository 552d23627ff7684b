"""The thresholds of the verdicts: all of the file, each with its comment."""

from __future__ import annotations

import itertools
import tomllib
from dataclasses import asdict

from calltag.takes.thresholds import FILE, read_thresholds


def test_thresholds_are_those_of_the_file_and_all_of_them():
    tables = tomllib.loads(FILE.read_text("utf-8"))
    stated = {name: value for table in tables.values() for name, value in table.items()}
    assert sum(map(len, tables.values())) == len(stated)  # none stands in two tables
    assert asdict(read_thresholds()) == stated
    assert {type(value) for value in stated.values()} == {float}


def test_every_threshold_has_its_comment():
    lines = FILE.read_text("utf-8").splitlines()
    for above, line in itertools.pairwise(lines):
        if "=" in line and not line.startswith("#"):
            assert above.startswith("#") or "clipped_ppm" in above, line
