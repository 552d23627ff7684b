from __future__ import annotations

import io
import itertools

import numpy as np
import pytest
from PIL import Image

from calltag.errors import InputError
from calltag.pages.ink import ink_palette
from calltag.pages.spectrogram import Spectrogram, draw, shown_up_to_hz
from calltag.sound.spectrum import RATE_HZ


def ink_of(picture: Spectrogram) -> np.ndarray:
    """How dark each pixel is, 0 for paper; shape (height, width)."""
    image = Image.open(io.BytesIO(picture.png))
    assert image.size == (picture.width, picture.height)
    return 255 - np.asarray(image.convert("L")).astype(int)


def tone(hz: float, seconds: float = 1.0) -> np.ndarray:
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return (0.1 * np.sin(2 * np.pi * hz * t)).astype(np.float32)


@pytest.mark.parametrize("hz", [200.0, 1000.0, 4400.0, 9000.0])
def test_a_tone_lies_where_the_axis_says(hz, rng) -> None:
    hiss = rng.normal(0, 1e-4, RATE_HZ).astype(np.float32)
    picture = draw(tone(hz) + hiss)
    darkest = ink_of(picture)[:, 200:400].mean(axis=1).argmax()
    expected = (1 - picture.frequency_at(hz)) * picture.height
    assert abs(darkest + 0.5 - expected) <= 2.5  # rows; the window's lobe is 94 Hz wide


def test_a_burst_lies_where_the_axis_says(rng) -> None:
    sound = rng.normal(0, 1e-4, 2 * RATE_HZ).astype(np.float32)
    sound[RATE_HZ // 2 : RATE_HZ] += tone(3000, 0.5)
    picture = draw(sound, start_s=100.0)
    row = round((1 - picture.frequency_at(3000)) * picture.height)
    dark = np.flatnonzero(ink_of(picture)[row] > 120)
    start, end = dark[0] / picture.width, (dark[-1] + 1) / picture.width
    assert start == pytest.approx(picture.time_at(100.5), abs=0.022)  # the window is 43 ms
    assert end == pytest.approx(picture.time_at(101.0), abs=0.022)


def test_a_boom_has_room_in_its_picture(rng) -> None:
    hiss = rng.normal(0, 1e-3, RATE_HZ).astype(np.float32)
    picture = draw(tone(140) + hiss, high_hz=shown_up_to_hz(190.0))
    assert picture.high_hz == 1000.0
    assert picture.frequency_at(190) - picture.frequency_at(90) > 0.1
    darkest = ink_of(picture)[:, 200:400].mean(axis=1).argmax()
    expected = (1 - picture.frequency_at(140)) * picture.height
    assert abs(darkest + 0.5 - expected) <= 0.03 * picture.height
    assert [shown_up_to_hz(hz) for hz in (None, 320.0, 8000.0)] == [16_000.0] * 3


def test_silence_is_paper_and_noise_is_not_ink(rng) -> None:
    assert ink_of(draw(np.zeros(RATE_HZ, np.float32))).max() < 20
    hiss = draw(rng.normal(0, 0.01, RATE_HZ).astype(np.float32))
    assert np.median(ink_of(hiss)) < 80


def test_only_colours_of_the_ink_are_used() -> None:
    picture = draw(tone(1000), shades=16)
    colours = Image.open(io.BytesIO(picture.png)).convert("RGB").getcolors()
    assert {colour for _, colour in colours} <= {tuple(one) for one in ink_palette(16).tolist()}


def test_ticks_are_round_and_within() -> None:
    picture = draw(tone(1000, 3.37), start_s=12.34)
    assert [tick.text for tick in picture.time_ticks(6)] == ["13 s", "14 s", "15 s"]
    assert picture.time_ticks(6)[0].at == pytest.approx((13 - 12.34) / 3.37)
    ticks = picture.frequency_ticks()
    assert ticks[-1].text == "16 kHz"
    assert all(b.at - a.at >= 0.06 for a, b in itertools.pairwise(ticks))


def test_very_short_sound_is_drawn() -> None:
    assert draw(np.ones(10, np.float32)).png.startswith(b"\x89PNG")


@pytest.mark.parametrize(
    "changes",
    [{"width": 0}, {"shades": 1}, {"shades": 300}, {"low_hz": 900, "high_hz": 800}],
)
def test_what_makes_no_picture_is_refused(changes) -> None:
    with pytest.raises(InputError):
        draw(tone(1000), **changes)
    with pytest.raises(InputError, match="no sound"):
        draw(np.zeros(0, np.float32))
