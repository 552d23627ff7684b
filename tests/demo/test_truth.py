"""The calls are where the tables say, measured by plain band energy on the committed clips."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import signal

from calltag.records.label import NO_CALL, NOISE_KINDS

RATE_HZ = 48_000
TYPES = {
    "marsh hooter: boom",
    "lesser reedling: whistle",
    "lesser reedling: trill",
    "pit rail: rasp",
    "pit rail: squeal",
}
Span = tuple[float, float, str]


@pytest.fixture(scope="module")
def bands(folder: Path) -> dict[str, tuple[float, float]]:
    """The README's table of call types."""
    text = (folder / "README.md").read_text(encoding="utf-8")
    found = re.findall(r"^\| ([a-z ]+: [a-z]+) \| (\d+)–(\d+) \|", text, re.MULTILINE)
    return {label: (float(low), float(high)) for label, low, high in found}


def spans(rows: list[dict[str, str]], take: str) -> list[Span]:
    found = [r for r in rows if r["take"] == take]
    return [(float(r["start_s"]), float(r["end_s"]), r["label"]) for r in found]


def band_power(sound: np.ndarray, band_hz: tuple[float, float]) -> np.ndarray:
    """Power in a band, mean over 10 ms, one value a millisecond."""
    sections = signal.butter(4, band_hz, "bandpass", fs=RATE_HZ, output="sos")
    power = signal.sosfiltfilt(sections, sound) ** 2
    return signal.fftconvolve(power, np.ones(480) / 480, mode="same")[::48].clip(1e-14)


def test_bands_are_stated_as_declared(
    bands: dict[str, tuple[float, float]], program: SimpleNamespace
) -> None:
    declared = {t.label: (t.low_hz, t.high_hz) for t in program.animals.CALL_TYPES}
    assert bands == declared
    assert set(bands) == TYPES


def test_enough_calls(rows: dict[str, list[dict[str, str]]]) -> None:
    counts = Counter(row["label"] for row in rows["truth.csv"])
    assert set(counts) == TYPES
    assert sum(counts.values()) >= 60
    assert min(counts.values()) >= 15


@pytest.mark.parametrize("label", sorted(TYPES))
def test_a_dry_call_lies_in_its_band(
    label: str, bands: dict[str, tuple[float, float]], program: SimpleNamespace
) -> None:
    kind = next(t for t in program.animals.CALL_TYPES if t.label == label)
    rng = np.random.default_rng(5)
    for pitch in (0.95, 1.0, 1.05):
        call = kind.make(rng, pitch)
        power = np.abs(np.fft.rfft(call)) ** 2
        hz = np.fft.rfftfreq(call.size, 1 / RATE_HZ)
        low_hz, high_hz = bands[label]
        assert power[(hz >= low_hz) & (hz < high_hz)].sum() > 0.9 * power.sum()
        # It begins and ends softly.
        assert np.abs(call[[0, -1]]).max() < 0.02 * np.abs(call).max()


@pytest.mark.parametrize(
    "take",
    [
        "ASH_A_0031.MP4",
        "ASH_A_0032.MP4",
        "ASH_A_0034.MP4",
        "ASH_A_0036.MP4",
        "ASH_A_0037.MP4",
        "ASH_A_0039.MP4",
        "ASH_A_0040.MP4",
        "ASH_B_0012.MOV",
        "ASH_C_0004.MP4",
        "ASH_R_0007.WAV",
    ],
)
def test_calls_are_where_the_truth_says(
    take: str,
    rows: dict[str, list[dict[str, str]]],
    heard: dict[str, np.ndarray],
    bands: dict[str, tuple[float, float]],
) -> None:
    """Each stands out of the sound before it, in its band; most start within 20 ms of the truth."""
    calls = spans(rows["truth.csv"], take)
    assert len(calls) >= 9
    power = {label: band_power(heard[take][0], bands[label]) for label in {c[2] for c in calls}}
    late_s = []
    for start_s, end_s, label in calls:
        start, end = round(1000 * start_s), round(1000 * end_s)
        in_call = power[label][start:end]
        others = np.ones(power[label].size, bool)
        for other_start_s, other_end_s, _ in calls:
            others[int(1000 * other_start_s) - 30 : int(1000 * other_end_s) + 250] = False
        around = slice(max(0, start - 1500), end + 1500)
        quiet = np.median(power[label][around][others[around]])
        assert 10 * np.log10(in_call.mean() / quiet) > 8, (start_s, label)
        before = max(0, start - 150)
        crossed = np.flatnonzero(power[label][before:end] > in_call.max() / 30)[0]
        late_s.append((before + crossed - start) / 1000)
    assert np.quantile(np.abs(late_s), 0.7) < 0.02


@pytest.mark.parametrize(
    "take", ["ASH_A_0031.MP4", "ASH_A_0032.MP4", "ASH_C_0004.MP4", "ASH_R_0007.WAV"]
)
def test_nothing_else_stands_out_of_a_clean_take(
    take: str, rows: dict[str, list[dict[str, str]]], heard: dict[str, np.ndarray]
) -> None:
    """Above 1.3 kHz, where air is quiet, only calls and the plops on record reach 12 dB."""
    known = spans(rows["truth.csv"], take) + spans(rows["noise.csv"], take)
    share = 0.0
    for band_hz in ((1300.0, 4000.0), (4000.0, 7400.0)):
        power = band_power(heard[take][0], band_hz)
        loud = power > 16 * np.median(power)
        share += loud.mean()
        for start_s, end_s, _ in known:
            loud[max(0, int(1000 * start_s) - 60) : int(1000 * end_s) + 300] = False
        assert not loud.any()
    assert 0.1 < share < 0.9


@pytest.mark.parametrize("name", ["truth.csv", "labels.csv"])
def test_calls_do_not_run_into_each_other(name: str, rows: dict[str, list[dict[str, str]]]) -> None:
    takes = {row["take"] for row in rows[name] if row["label"] in TYPES}
    assert len(takes) >= 3
    for take in takes:
        calls = [s for s in spans(rows[name], take) if s[2] in TYPES]
        assert all(0.2 < end_s - start_s < 1.2 for start_s, end_s, _ in calls)
        assert all(b[0] - a[1] > 0.15 for a, b in pairwise(calls))


def test_labels_are_a_part_of_the_truth(rows: dict[str, list[dict[str, str]]]) -> None:
    """At least five of each type, from at least three takes, and most calls left to be found."""
    takes = {label: set() for label in TYPES}
    counts = Counter(row["label"] for row in rows["labels.csv"] if row["label"] in TYPES)
    assert set(counts) == TYPES
    assert min(counts.values()) >= 5
    for row in rows["labels.csv"]:
        if row["label"] not in TYPES:
            continue
        takes[row["label"]].add(row["take"])
        start_s, end_s = float(row["start_s"]), float(row["end_s"])
        same = [c for c in spans(rows["truth.csv"], row["take"]) if c[2] == row["label"]]
        shared = max(
            (min(end_s, e) - max(start_s, s)) / (max(end_s, e) - min(start_s, s))
            for s, e, _ in same
        )
        assert shared > 0.8
    assert min(len(named) for named in takes.values()) >= 3
    assert sum(counts.values()) < 0.4 * len(rows["truth.csv"])


def test_other_labels_lie_on_noise(rows: dict[str, list[dict[str, str]]]) -> None:
    others = [row for row in rows["labels.csv"] if row["label"] not in TYPES]
    kinds = Counter(row["label"].partition("/")[0] for row in others)
    assert kinds[NO_CALL] >= 3
    assert kinds["machine"] >= 3
    assert set(kinds) - {NO_CALL} <= set(NOISE_KINDS)
    for row in others:
        start_s, end_s = float(row["start_s"]), float(row["end_s"])
        under = [
            n
            for n in spans(rows["noise.csv"], row["take"])
            if n[0] - 0.06 <= start_s and end_s <= n[1] + 0.06
        ]
        assert under, row
        calls = spans(rows["truth.csv"], row["take"])
        assert all(e <= start_s or s >= end_s for s, e, _ in calls) or row["label"] in {
            "wind",
            "voice",
        }


def test_noise_kinds_are_known_words(rows: dict[str, list[dict[str, str]]]) -> None:
    kinds = {row["label"].partition("/")[0] for row in rows["noise.csv"]}
    assert kinds == set(NOISE_KINDS)


def test_silent_take_has_no_calls_to_be_heard(rows: dict[str, list[dict[str, str]]]) -> None:
    assert not spans(rows["truth.csv"], "ASH_A_0038.MP4")
    assert not spans(rows["truth.csv"], "ASH_B_0013.MOV")
