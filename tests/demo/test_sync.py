"""The second camera heard the same morning: its start and its clock, measured on the clips."""

from __future__ import annotations

import numpy as np
from scipy import signal

RATE_HZ = 48_000


def lag_s(a: np.ndarray, b: np.ndarray, at_s: float, expected_s: float) -> float:
    """How far b's sound at a's `at_s` lies from where it is expected, by cross-correlation."""
    begin = round(at_s * RATE_HZ)
    piece = a[begin : begin + 24_000]
    other_begin = round((at_s - expected_s) * RATE_HZ)
    reach = 4800
    other = b[other_begin - reach : other_begin + piece.size + reach]
    likeness = np.abs(signal.correlate(other, piece, mode="valid"))
    return (int(likeness.argmax()) - reach) / RATE_HZ


def test_start_and_clock_of_the_second_camera(
    heard: dict[str, np.ndarray], rows: dict[str, list[dict[str, str]]]
) -> None:
    stated = next(row for row in rows["sync.csv"] if row["take_b"] == "ASH_B_0012.MOV")
    assert stated["take_a"] == "ASH_A_0031.MP4"
    offset_s, clock = float(stated["offset_s"]), float(stated["clock_ppm"]) / 1e6
    a, b = heard["ASH_A_0031.MP4"][0], heard["ASH_B_0012.MOV"][0]
    rasps = [
        float(row["start_s"])
        for row in rows["truth.csv"]
        if row["take"] == "ASH_A_0031.MP4" and row["label"] == "pit rail: rasp"
    ]
    inside = [at_s for at_s in rasps if 6 < at_s < 16]
    assert len(inside) == 6
    late_s = np.array([lag_s(a, b, at_s, offset_s) for at_s in inside])
    assert np.abs(late_s).max() < 0.002
    drift = np.polyfit(np.array(inside) - offset_s, late_s, 1)[0]
    assert abs(drift - clock) < 20e-6


def test_truth_of_both_takes_agrees_with_the_stated_start(
    rows: dict[str, list[dict[str, str]]],
) -> None:
    for stated in rows["sync.csv"]:
        offset_s, clock = float(stated["offset_s"]), float(stated["clock_ppm"]) / 1e6
        a, b = (
            [float(r["start_s"]) for r in rows["truth.csv"] if r["take"] == stated[key]]
            for key in ("take_a", "take_b")
        )
        if stated["take_b"] == "ASH_A_0038.MP4":
            assert offset_s == 1.0  # 05:47:00 less 05:46:59; it has no sound to compare
            continue
        assert len(b) >= 9
        for start_s in b:
            there_s = start_s / (1 + clock) + offset_s
            assert min(abs(there_s - other) for other in a) < 0.0011
