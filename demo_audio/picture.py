"""A drawn picture of Ashmere at dawn: sky, water, reeds, and an animal that opens its bill to call.

Everything is drawn with numpy at 320×180: still layers once, then water, reeds and the animal frame
by frame. Shapes are signed distances in pixels, so that edges come out smooth. Colours are RGB from
0 to 1.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.ndimage import gaussian_filter

Plane = npt.NDArray[np.floating[Any]]

WIDTH, HEIGHT = 320, 180

_Y, _X = np.mgrid[0:HEIGHT, 0:WIDTH].astype(np.float32)

_EARLY = ((0.09, 0.12, 0.24), (0.33, 0.30, 0.43), (0.93, 0.58, 0.42))
_LATE = ((0.32, 0.46, 0.66), (0.70, 0.72, 0.76), (1.00, 0.85, 0.60))
_INK = np.array((0.075, 0.07, 0.09), np.float32)


class Picture:
    """One camera's view, to be drawn at any time.

    Parameters
    ----------
    rng : np.random.Generator
        Where chance comes from: bank, reeds, where the sun is.
    animal : str
        ``marsh hooter``, ``lesser reedling`` or ``pit rail``.
    hour : float
        0 at first light, 1 when the sun is up.
    scale : float
        Size of the animal; 1 is some 40 pixels.
    mirrored : bool
        Whether the camera looks from the other side.
    wind : float
        How hard the reeds sway, 0 to 1.
    calls : sequence of (float, float)
        Start and end of the animal's calls, in seconds.
    """

    def __init__(
        self,
        rng: np.random.Generator,
        animal: str,
        *,
        hour: float,
        scale: float,
        mirrored: bool,
        wind: float,
        calls: Sequence[tuple[float, float]],
    ) -> None:
        self._animal, self._scale, self._mirrored = animal, scale, mirrored
        self._wind, self._calls = wind, tuple(calls)
        self._horizon = int(rng.integers(74, 88))
        self._sun_x = float(rng.uniform(60, 130))
        self._phase = tuple(rng.uniform(0, 2 * np.pi, 6).tolist())
        self._still = self._sky_and_bank(rng, hour)
        self._glow = self._still[self._horizon - 2, int(self._sun_x)]
        below = {"marsh hooter": 22, "lesser reedling": 36, "pit rail": 50}[animal]
        self._feet = (
            float(rng.uniform(178, 214)),
            self._horizon + float(rng.uniform(-3, 3)) + below,
        )
        self._perch, self._perch_cover = self._stand(rng)
        self._reeds, self._reed_cover = self._foreground(rng)

    def frame(self, time_s: float) -> npt.NDArray[np.uint8]:
        """Draw the view at a time.

        Parameters
        ----------
        time_s : float
            Seconds from the start of the take.

        Returns
        -------
        np.ndarray, shape (180, 320, 3), uint8
            The picture.
        """
        view = self._still.copy()
        view[self._horizon :] = self._water(time_s)
        view += self._perch_cover * (self._perch - view)
        self._draw_animal(view, time_s)
        self._sway(view, time_s)
        if self._mirrored:
            view = view[:, ::-1]
        return np.ascontiguousarray((np.clip(view, 0, 1) * 255 + 0.5).astype(np.uint8))

    def opening(self, time_s: float) -> float:
        """Tell how far the bill is open.

        Parameters
        ----------
        time_s : float
            Seconds from the start of the take.

        Returns
        -------
        float
            From 0, shut, to 1.
        """
        for start_s, end_s in self._calls:
            if start_s - 0.06 <= time_s <= end_s + 0.06:
                rise = min(1.0, (time_s - start_s + 0.06) / 0.1)
                fall = min(1.0, (end_s + 0.06 - time_s) / 0.12)
                return float(max(0.0, min(rise, fall)) ** 0.8)
        return 0.0

    def _sky_and_bank(self, rng: np.random.Generator, hour: float) -> Plane:
        early, late = np.array(_EARLY, np.float32), np.array(_LATE, np.float32)
        top, middle, low = early + (late - early) * hour
        up = np.clip((self._horizon - _Y) / self._horizon, 0, 1)[..., None]
        sky = np.where(
            up < 0.35,
            low + (middle - low) * (up / 0.35),
            middle + (top - middle) * (up - 0.35) / 0.65,
        )
        away = np.hypot((_X - self._sun_x) / 90, (_Y - self._horizon) / 46)[..., None]
        sky = sky + np.exp(-(away**2) * 1.6) * np.array((0.36, 0.22, 0.06), np.float32)
        streaks = _smooth(rng.standard_normal((HEIGHT, WIDTH)), 2.2, 34)
        band = np.exp(-(((up[..., 0] - 0.42) / 0.26) ** 2))
        cloud = np.clip(streaks * 1.1 - 0.35, 0, 1) * band * 0.55
        lit = low * 0.6 + np.array((0.38, 0.24, 0.24), np.float32)
        sky = sky + cloud[..., None] * (lit - sky)

        for lift, height, depth in ((3.0, 5.0, 0.52), (0.5, 8.0, 0.28)):
            ridge = _smooth(rng.standard_normal((1, WIDTH)), 0, 14)[0] * height * 0.45
            ridge += np.abs(_smooth(rng.standard_normal((1, WIDTH)), 0, 2)[0]) * height * 0.3
            crown = self._horizon - lift - height * 0.7 - ridge
            cover = np.clip(_Y - crown[None, :], 0, 1)[..., None]
            bank = depth * low * np.array((0.62, 0.7, 0.95), np.float32) + 0.05
            sky = sky * (1 - cover) + bank * cover
        mist = np.exp(-(((_Y - self._horizon + 1) / 6.5) ** 2))
        mist *= 0.45 + 0.2 * _smooth(rng.standard_normal((1, WIDTH)), 0, 30)
        return np.asarray(sky + mist[..., None] * (low * 0.95 - sky) * 0.8, dtype=np.float32)

    def _water(self, time_s: float) -> Plane:
        """Mirror what stands above, broken by ripples that grow towards the camera."""
        depth = _Y[self._horizon :] - self._horizon
        x = _X[self._horizon :]
        near = np.log(depth + 5)
        a, b, c = self._phase[:3]
        ripple = np.sin(23 * near - 0.9 * time_s + 0.035 * x + a)
        ripple += 0.7 * np.sin(37 * near - 1.3 * time_s - 0.05 * x + b)
        ripple += 0.5 * np.sin(11 * near - 0.5 * time_s + 0.016 * x + c)
        reach = 0.02 * depth + 0.5
        row = np.clip(self._horizon - 2 - 0.8 * depth + 3.0 * reach * ripple, 0, self._horizon - 2)
        column = np.clip(x + 1.2 * reach * ripple, 0, WIDTH - 1).astype(np.intp)
        above = row.astype(np.intp)
        part = (row - above)[..., None]
        mirrored = self._still[above, column] * (1 - part) + self._still[above + 1, column] * part
        fade = np.clip(0.9 - 0.0042 * depth, 0, 1)[..., None]
        water = mirrored * fade * np.array((0.86, 0.9, 0.96), np.float32)
        column_of_light = np.exp(-(((x - self._sun_x) / (13 + 0.32 * depth)) ** 2))
        glint = np.clip(ripple - 0.9, 0, 1) * column_of_light
        return np.asarray(water + 0.5 * glint[..., None] * self._glow, dtype=np.float32)

    def _stand(self, rng: np.random.Generator) -> tuple[Plane, Plane]:
        """Draw what the animal stands on: a post, a leaning stalk, a spit of gravel."""
        (x, y), size = self._feet, self._scale
        grain = np.zeros((HEIGHT, WIDTH))
        if self._animal == "marsh hooter":
            shape = _capsule(_X, _Y, (x, y + 1), (x - 1, HEIGHT), 4.5 * size, 5.5 * size)
            grain = _smooth(rng.standard_normal((HEIGHT, WIDTH)), 7, 0.7)
        elif self._animal == "lesser reedling":
            foot, tip = (x + 0.3 * (HEIGHT - y), HEIGHT), (x - 0.3 * 62 * size, y - 62 * size)
            plume = (tip[0] - 7 * size, tip[1] - 17 * size)
            shape = _capsule(_X, _Y, foot, tip, 1.6 * size, 0.8 * size)
            shape = np.minimum(shape, _capsule(_X, _Y, tip, plume, 2.4 * size, 0.8))
        else:
            shape = _ellipse(_X, _Y, (x + 24, y + 14), (100, 13), 0.0) * 0.9
            shape = np.minimum(shape, _ellipse(_X, _Y, (x + 96, y + 21), (92, 19), 0.0))
            shape = shape + 0.8 * _smooth(rng.standard_normal((HEIGHT, WIDTH)), 1.2, 2.5)
            grain = _smooth(rng.standard_normal((HEIGHT, WIDTH)), 0.6, 1.1)
        lit = np.clip(1 + shape / 2.5, 0, 1) * np.clip((self._feet[1] + 12 - _Y) / 14, 0.15, 1)
        colour = _INK * (2.0 + 0.5 * grain[..., None]) + 0.3 * lit[..., None] * self._glow
        cover = np.clip(0.5 - shape, 0, 1)[..., None]
        return colour.astype(np.float32), cover.astype(np.float32)

    def _draw_animal(self, view: Plane, time_s: float) -> None:
        open_bill = self.opening(time_s)
        p = self._phase[3:]
        look = np.sin(0.7 * time_s + p[0]) + 0.6 * np.sin(1.9 * time_s + p[1])
        nod = np.clip(np.sin(0.9 * time_s + p[2]) * 4 - 3, 0, 1)
        breath = 1 + 0.02 * np.sin(2 * np.pi * 0.6 * time_s)
        left, top = int(self._feet[0] - 50 * self._scale), int(self._feet[1] - 62 * self._scale)
        window = np.s_[
            max(top, 0) : min(HEIGHT, int(self._feet[1] + 16 * self._scale)),
            max(left, 0) : min(WIDTH, left + int(100 * self._scale)),
        ]
        x = (_X[window] - self._feet[0]) / self._scale
        y = (_Y[window] - self._feet[1]) / self._scale
        parts, pale = _POSES[self._animal](x, y, float(look), float(nod), float(breath), open_bill)
        body = parts * self._scale
        into = view[window]
        rim = (
            np.clip(1 + body / 2.0, 0, 1)
            * np.clip(-x / 9 + 0.25, 0, 1)
            * np.clip(0.6 - y / 40, 0, 1)
        )
        colour = _INK + pale[..., None] * np.array((0.17, 0.12, 0.08), np.float32)
        colour = colour + 0.6 * rim[..., None] * self._glow
        cover = np.clip(0.5 - body, 0, 1)[..., None]
        into += cover * (colour - into)

    def _foreground(self, rng: np.random.Generator) -> tuple[Plane, Plane]:
        """Draw the reeds at the sides."""
        distance = np.full((HEIGHT, WIDTH), 99, np.float32)
        for side in (0, 1):
            for _ in range(15 if side == 0 else 11):
                spread = rng.beta(1, 2.4) * 78
                foot = spread if side == 0 else WIDTH - spread
                height, lean = rng.uniform(50, 125) * (1 - spread / 190), rng.normal(0, 12)
                previous = (foot, HEIGHT + 2.0)
                for step in np.linspace(0.2, 1, 5):
                    point = (foot + lean * step**2, HEIGHT + 2 - height * step)
                    radius = 1.7 * (1 - 0.8 * step)
                    piece = _capsule(_X, _Y, previous, point, radius + 0.3, radius)
                    distance = np.minimum(distance, piece)
                    previous = point
                if rng.random() < 0.4:
                    tip = (previous[0] + lean * 0.25, previous[1] - 9)
                    distance = np.minimum(distance, _capsule(_X, _Y, previous, tip, 2.3, 1.4))
        cover = np.clip(0.5 - distance, 0, 1)
        lit = np.clip(1 + distance / 1.2, 0, 1) * 0.18
        return np.asarray(_INK * 0.9 + lit[..., None] * self._glow * 0.5, dtype=np.float32), cover

    def _sway(self, view: Plane, time_s: float) -> None:
        """Lay the reeds over the view, bent more the higher up."""
        a, b, _ = self._phase[:3]
        bend = np.sin(1.1 * time_s + a) + 0.5 * np.sin(2.7 * time_s + b) + 1.2 * self._wind
        up = (HEIGHT - np.arange(HEIGHT, dtype=np.float32)) / HEIGHT
        at = np.clip(_X - (9 * self._wind * bend * up**2)[:, None], 0, WIDTH - 1.001)
        column = at.astype(np.intp)
        part = (at - column)[..., None]
        rows = np.arange(HEIGHT)[:, None]
        cover = self._reed_cover[..., None]
        cover = cover[rows, column] * (1 - part) + cover[rows, column + 1] * part
        view += cover * (self._reeds[rows, column] - view)


def _hooter(
    x: Plane, y: Plane, look: float, nod: float, breath: float, open_bill: float
) -> tuple[Plane, Plane]:
    """Stand upright like a bottle; the neck swells and leans forward to boom."""
    head = (-13 - 5 * open_bill + 0.8 * look, -42 + 7 * open_bill + 2 * nod)
    shape = _ellipse(x, y, (1, -20), (15.5 * breath, 9.5 * breath), -1.05)
    shape = np.minimum(shape, _capsule(x, y, (-3, -26), head, 6.5 + 2.2 * open_bill, 4.2))
    shape = np.minimum(shape, _capsule(x, y, (6, -10), (12, 3), 4.0, 1.2))
    shape = np.minimum(shape, _ellipse(x, y, head, (5.6, 4.6), 0.1))
    shape = np.minimum(
        shape, _bill(x, y, head, 15, -0.12 - 0.15 * open_bill, 0.34 * open_bill, 2.2)
    )
    shape = np.minimum(shape, _capsule(x, y, (-1, -9), (-2, 1), 1.3, 1.0))
    shape = np.minimum(shape, _capsule(x, y, (3, -9), (3, 1), 1.3, 1.0))
    streaks = np.clip(np.sin(1.6 * (x + 0.4 * y)) - 0.1, 0, 1) * np.clip(-x / 8 + 0.7, 0, 1)
    return shape, 0.7 * streaks * (y < -8) * (y > -38)


def _reedling(
    x: Plane, y: Plane, look: float, nod: float, breath: float, open_bill: float
) -> tuple[Plane, Plane]:
    """Cling to a stalk: a round body, a short bill, a long tail."""
    head = (-9 + 0.9 * look - 1.5 * open_bill, -20 + 1.5 * nod - 2.5 * open_bill)
    shape = _ellipse(x, y, (0, -11), (12 * breath, 8.2 * breath), -0.62)
    shape = np.minimum(shape, _ellipse(x, y, head, (6.4, 5.8), 0.0))
    shape = np.minimum(shape, _capsule(x, y, (-4, -15), head, 6, 5))
    shape = np.minimum(shape, _capsule(x, y, (7, -4), (25, 13 + nod), 3.2, 1.4))
    beak = (head[0] - 4.5, head[1] + 0.8)
    shape = np.minimum(shape, _bill(x, y, beak, 5.5, 0.12, 0.55 * open_bill, 1.7))
    shape = np.minimum(shape, _capsule(x, y, (-2, -5), (-3, 1), 0.9, 0.8))
    shape = np.minimum(shape, _capsule(x, y, (3, -4), (1, 3), 0.9, 0.8))
    wing = _ellipse(x, y, (3, -9), (9, 4.5), -0.6)
    return shape, np.clip(0.6 - wing * 0.4, 0, 1) * (0.3 + 0.25 * (np.sin(2.2 * y + x) > 0.2))


def _rail(
    x: Plane, y: Plane, look: float, nod: float, breath: float, open_bill: float
) -> tuple[Plane, Plane]:
    """Walk low on the gravel: a long bill, a short cocked tail that flicks."""
    head = (-19 + 0.9 * look - 2 * open_bill, -25 + 5 * nod - 3 * open_bill)
    shape = _ellipse(x, y, (1, -17), (16 * breath, 9.3 * breath), -0.18)
    shape = np.minimum(shape, _capsule(x, y, (-9, -18), head, 6.2, 4.2))
    shape = np.minimum(shape, _ellipse(x, y, head, (5.4, 4.7), 0.2))
    beak = (head[0] - 3.5, head[1] + 0.8)
    shape = np.minimum(shape, _bill(x, y, beak, 14, 0.16 - 0.25 * open_bill, 0.36 * open_bill, 1.8))
    tail = (23, -25 - 3 * nod - abs(look))
    shape = np.minimum(shape, _capsule(x, y, (12, -18), tail, 4.5, 1.6))
    shape = np.minimum(shape, _capsule(x, y, (-2, -9), (-5, 2), 1.3, 0.9))
    shape = np.minimum(shape, _capsule(x, y, (4, -9), (6, 2), 1.3, 0.9))
    shape = np.minimum(shape, _capsule(x, y, (-5, 2), (-9, 2), 0.9, 0.7))
    shape = np.minimum(shape, _capsule(x, y, (6, 2), (2, 2), 0.9, 0.7))
    bars = np.clip(np.sin(1.5 * x - 0.5 * y) - 0.1, 0, 1) * np.clip(x / 8 + 0.4, 0, 1)
    return shape, bars * (y > -22)


_POSES = {"marsh hooter": _hooter, "lesser reedling": _reedling, "pit rail": _rail}


def _bill(
    x: Plane,
    y: Plane,
    base: tuple[float, float],
    length: float,
    down: float,
    gape: float,
    radius: float,
) -> Plane:
    """Draw both halves of a bill that points left, `down` and opened by `gape` radians."""
    halves = [
        _capsule(
            x,
            y,
            (base[0], base[1] + 0.35 * radius * half),
            (base[0] - length * np.cos(angle), base[1] + length * np.sin(angle)),
            radius,
            0.35,
        )
        for half, angle in ((-1, down - 0.45 * gape), (1, down + 0.55 * gape))
    ]
    return np.minimum(*halves)


def _capsule(
    x: Plane,
    y: Plane,
    start: tuple[float, float],
    end: tuple[float, float],
    start_radius: float,
    end_radius: float,
) -> Plane:
    """Give the distance to a tapered stroke."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    along = np.clip(((x - start[0]) * dx + (y - start[1]) * dy) / (dx * dx + dy * dy), 0, 1)
    radius = start_radius + (end_radius - start_radius) * along
    return np.asarray(
        np.hypot(x - start[0] - along * dx, y - start[1] - along * dy) - radius, dtype=np.float32
    )


def _ellipse(
    x: Plane, y: Plane, centre: tuple[float, float], radii: tuple[float, float], turn: float
) -> Plane:
    """Give the distance, near enough, to an ellipse turned by `turn` radians."""
    u = (x - centre[0]) * np.cos(turn) + (y - centre[1]) * np.sin(turn)
    v = (y - centre[1]) * np.cos(turn) - (x - centre[0]) * np.sin(turn)
    reach = np.hypot(u / radii[0], v / radii[1])
    return np.asarray((reach - 1) * min(radii), dtype=np.float32)


def _smooth(plane: npt.NDArray[np.float64], rows: float, columns: float) -> npt.NDArray[np.float64]:
    """Blur by a Gaussian of so many pixels, then bring to unit spread."""
    blurred = gaussian_filter(plane, (rows, columns))
    return np.asarray(blurred / blurred.std())
