"""Settings for all takes or for each."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest

from calltag.edit.retime import parse_speed
from calltag.edit.take_settings import parse_number, per_take
from calltag.errors import InputError

TAKES = ["a/x.mov", "b/x.mov", "b/y.mov"]


def test_one_value_for_all():
    assert per_take("40%", "speed", parse_speed, TAKES) == dict.fromkeys(TAKES, Fraction(2, 5))


def test_a_table(tmp_path):
    table = tmp_path / "speeds.csv"
    table.write_text("take,speed\na/x.mov,40%\ny.mov,50%\n")
    assert per_take(str(table), "speed", parse_speed, TAKES) == {
        "a/x.mov": Fraction(2, 5),
        "b/y.mov": Fraction(1, 2),
    }


def test_a_spreadsheet_with_semicolons(tmp_path):
    table = tmp_path / "far.csv"
    table.write_text(
        "\ufeffTake;distance_m;temperature_c\r\nb\\y.mov;100,5;\r\na/x.mov;20;-2,5\r\n", "utf-8"
    )
    metres = parse_number("distance", "metres")
    assert per_take(str(table), "distance_m", metres, TAKES) == {"b/y.mov": 100.5, "a/x.mov": 20.0}
    degrees = parse_number("temperature", "degrees")
    found = per_take(str(table), "temperature_c", degrees, TAKES, optional=True)
    assert found == {"a/x.mov": -2.5}


@pytest.mark.parametrize("percent", ["12,50%", "12,5 %", "12,5\u00a0%"])
def test_a_spreadsheet_whose_percentages_have_a_comma(tmp_path, percent):
    table = tmp_path / "speeds.csv"
    table.write_text(f"take;speed\na/x.mov;{percent}\n", "utf-8")
    assert per_take(str(table), "speed", parse_speed, TAKES) == {"a/x.mov": Fraction(1, 8)}


def test_a_take_may_be_named_twice_with_one_value(tmp_path):
    table = tmp_path / "speeds.csv"
    table.write_text("take,speed\ny.mov,40%\nb/y.mov,40%\n")
    assert per_take(str(table), "speed", parse_speed, TAKES) == {"b/y.mov": Fraction(2, 5)}


def test_a_table_may_name_takes_that_it_is_not_for(tmp_path):
    """One of a whole shoot, where few are marked; what it is for comes first."""
    table = tmp_path / "speeds.csv"
    table.write_text("take,speed\nx.mov,40%\ny.mov,50%\n")
    found = per_take(str(table), "speed", parse_speed, ["a/x.mov"], beside=TAKES)
    assert found["a/x.mov"] == Fraction(2, 5)
    assert "b/x.mov" not in found
    table.write_text("take,speed\nz.mov,40%\n")
    with pytest.raises(InputError, match=r"z\.mov: no such take"):
        per_take(str(table), "speed", parse_speed, ["a/x.mov"], beside=TAKES)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("take,speed\nx.mov,40%\n", "line 2: x.mov: several takes"),
        ("take,speed\nz.mov,40%\n", "line 2: z.mov: no such take"),
        ("take,speed\na/x.mov,40%\na/x.mov,slow\n", "line 3: speed 'slow'"),
        ("take,speed\ny.mov,40%\nb/y.mov,50%\n", "line 3: b/y.mov: has another speed above"),
        ("take,speed\n,40%\n", "line 2: no take is named"),
        ("take,pace\na/x.mov,40%\n", "no column speed"),
    ],
)
def test_tables_that_cannot_be_used(tmp_path, text, reason):
    (tmp_path / "speeds.csv").write_text(text)
    with pytest.raises(InputError, match=reason):
        per_take(str(tmp_path / "speeds.csv"), "speed", parse_speed, TAKES)


def test_what_is_no_number_is_no_second_value(tmp_path):
    table = tmp_path / "far.csv"
    table.write_text("take,distance_m\na/x.mov,nan\n")
    (metres,) = per_take(str(table), "distance_m", float, TAKES).values()
    assert math.isnan(metres)


def test_no_such_table():
    with pytest.raises(InputError, match="cannot be read"):
        per_take("nowhere.csv", "speed", parse_speed, TAKES)


def test_no_number():
    with pytest.raises(InputError, match="distance 'far': write a number of metres"):
        parse_number("distance", "metres")("far")
