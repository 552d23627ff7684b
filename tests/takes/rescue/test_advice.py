"""What a rescue says: on spectra of single bins, so that the figures can be worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from calltag.records.found import NoiseSpan, TakeLog
from calltag.records.take import Take
from calltag.sound.spectrum import N_BINS
from calltag.takes.filter_cuts import Band, Cut
from calltag.takes.masking import Effect, Left
from calltag.takes.rescue import advice
from calltag.takes.rescue.call_spectra import Spectra
from calltag.takes.rescue.standing import Figures
from calltag.takes.thresholds import read_thresholds

from ..conftest import call_at, tones

T = read_thresholds()


# ITU-R BS.1770-4: a tone of 997 Hz has as many LUFS as its mean square has decibels.
ENGINE = tones((1000, -30), (8000, -70))


def heard(*calls: np.ndarray) -> Spectra:
    return Spectra(
        calls=np.stack(calls),
        backgrounds=np.stack([ENGINE] * len(calls)),
        rest=np.stack([ENGINE, ENGINE]),
        rest_s=np.array([7.0, 5.0]),
        quiet_s=0.0,
    )


def test_what_a_cut_does_is_told_of_the_calls_in_it_alone():
    found = [
        (call_at(1, 6000), tones((6000, -50))),  # under the engine, and clear of all that is left
        (call_at(2, 6000), tones((6000, -10))),  # over it as it is
        (call_at(3, 1000), tones((1000, -10))),  # taken with it
        (call_at(8, 1000), tones((1000, -10))),  # elsewhere in the take
    ]
    calls, sounds = zip(*found, strict=True)
    (line,) = advice.cut_lines(heard(*sounds), [Cut(0.0, 5.0, Band(4000.0))], calls, 12.0, T)
    assert line.startswith("a low cut at 4 kHz at 0:00-0:05 takes the noise there from -30 to -")
    assert line.endswith(
        " LUFS; 2 of 2 calls that it keeps there then stand 6 dB or more above all else, 1 of them "
        "now; 1 lower call goes with the noise"
    )
    # what lies above the cut is left: -70 dB, which weighs some 4 dB more at 8 kHz than at 1 kHz
    assert float(line.split(" to ")[1].split()[0]) == pytest.approx(-66, abs=1)


@pytest.mark.parametrize(
    ("band", "hz", "said"),
    [
        (Band(high_hz=800.0), 6000, "1 higher call goes"),
        (Band(4000.0), 1000, "1 lower call goes"),
        (Band(4000.0, 5000.0), 1000, "1 call goes"),
    ],
)
def test_on_which_side_of_a_cut_a_call_goes_is_told_where_there_is_one_side(band, hz, said):
    lost = heard(tones((hz, -10)))
    (line,) = advice.cut_lines(lost, [Cut(0.0, 5.0, band)], [call_at(3, hz)], 12.0, T)
    assert line.endswith(f" LUFS; {said} with the noise")


@pytest.mark.parametrize(
    ("n_calls", "standing", "median_db", "noisy", "said"),
    [
        (0, 0, np.nan, False, "there is nothing to mend"),
        (2, 2, 20.0, False, "there is nothing to mend"),
        (2, 1, 20.0, False, "its calls stand clear as they are: "),
        (2, 2, 20.0, True, "its calls stand clear as they are: "),
        (2, 1, 8.0, True, "no channel, cut or notch makes the calls stand clearer"),
        (0, 0, np.nan, True, "no channel, cut or notch would help, and no call was found"),
    ],
)
def test_why_nothing_is_proposed(n_calls, standing, median_db, noisy, said):
    wind = NoiseSpan(
        start_s=0, end_s=9, kind="wind", confidence=0.9, level_dbfs=-30, low_hz=50, high_hz=900
    )
    noises = [Effect(wind, Left.NATURAL)] if noisy else []
    figures = Figures(standing, n_calls, median_db, -40.0)
    assert advice.nothing_helps([call_at(1, 6000)] * n_calls, noises, figures).startswith(said)


def test_three_kinds_of_cuts_are_told_the_longest_first():
    cuts = [Cut(2.0 * i, 2.0 * i + 1.5 - 0.1 * i, Band(100.0 * (i + 1))) for i in range(5)]
    spectra = Spectra(
        calls=np.zeros((0, N_BINS), np.float32),
        backgrounds=np.zeros((0, N_BINS), np.float32),
        rest=np.stack([ENGINE] * 6),
        rest_s=np.ones(6),
        quiet_s=0.0,
    )
    lines = list(advice.cut_lines(spectra, cuts, (), 12.0, T))
    assert [line.split(" at ")[1] for line in lines[:3]] == ["100 Hz", "200 Hz", "300 Hz"]
    assert lines[3:] == ["and 2 more cuts elsewhere"]


def test_a_machine_is_listened_to_in_its_middle_and_for_eight_seconds_at_most(monkeypatch):
    read: list[tuple[float, float]] = []

    def silence(_path, start_s, end_s):
        read.append((start_s, end_s))
        return np.zeros((1, 48_000), np.float32), 48_000

    monkeypatch.setattr(advice, "read_span", silence)
    machine = NoiseSpan(
        start_s=5, end_s=8, kind="machine", confidence=0.9, level_dbfs=-30, low_hz=50, high_hz=900
    )
    take = Take(path="A.wav", rushes="/r", digest="d", size_bytes=1, duration_s=60.0, channels=1)
    log = TakeLog(
        take=take,
        noise=(
            machine,
            replace(machine, start_s=20, end_s=40),
            replace(machine, start_s=10, end_s=11, kind="wind"),
            replace(machine, start_s=12, end_s=15, detail="beat of 92 Hz"),
            replace(machine, start_s=50, end_s=55, confidence=0.0),
        ),
    )
    assert list(advice.machine_lines(Path("A.wav"), log, 0, T)) == []
    assert read == [(26.0, 34.0), (5.0, 8.0)]
