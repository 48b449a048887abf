"""The four families of solids the vessels are made of, in closed form.

Lengths are millimetres, volumes cubic millimetres; origin at the lowest point, z upwards. Points
are arrays of shape (n, 3). Formulas: prismatoid for frusta and circular segment for a lying
cylinder, as in any table of solids; the V is cut into level discs between two chords, whose area
and its integral have closed forms. What each method promises stands in `shapes.Shape`.
"""

import itertools
from dataclasses import dataclass
from math import cos, pi, sin

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Values = float | Array


@dataclass(frozen=True, slots=True)
class Stack:
    """Frusta on top of each other, round or rectangular.

    Attributes:
        z: heights of the edges, rising, shape (k + 1,).
        a: half width along x (round: the radius) at each edge, shape (k + 1,).
        b: half width along y at each edge; for a round stack the same as `a`.
        factor: area of a cut over a * b: pi when round, 4 when rectangular.
    """

    z: Array
    a: Array
    b: Array
    factor: float

    @property
    def is_round(self) -> bool:
        """Whether the cuts are discs."""
        return self.factor == pi

    @property
    def height_mm(self) -> float:
        """Height of the upper edge."""
        return float(self.z[-1])

    @property
    def half_mm(self) -> tuple[float, float]:
        """Half the extent along x and y."""
        return float(self.a.max()), float(self.b.max())

    def widths(self, height: Values) -> tuple[Array, Array]:
        """Half widths along x and y at each height."""
        at = np.asarray(height)
        return np.interp(at, self.z, self.a), np.interp(at, self.z, self.b)

    def area(self, height: Values) -> Array:
        """Area of the level cut at each height, mm2."""
        a, b = self.widths(height)
        inside = (np.asarray(height) >= 0) & (np.asarray(height) <= self.height_mm)
        return np.where(inside, self.factor * a * b, 0.0)

    def volume(self, height: Values) -> Array:
        """Volume below each height, mm3: the prismatoid's formula, frustum by frustum."""
        tall = np.diff(self.z)
        rise = np.clip(np.asarray(height, dtype=float)[..., None] - self.z[:-1], 0.0, tall)
        da, db = np.diff(self.a) / tall, np.diff(self.b) / tall
        a, b = self.a[:-1], self.b[:-1]
        part = rise * (a * b + rise * (a * db + b * da) / 2 + rise**2 * da * db / 3)
        return np.asarray(self.factor * part.sum(axis=-1))

    def gap(self, points: Array) -> Array:
        """Distance of each point from floor and side walls, negative outside."""
        if self.is_round:
            radius = np.hypot(points[:, 0], points[:, 1])
            return self._round_gap(radius, points[:, 2])
        x, y, z = np.abs(points[:, 0]), np.abs(points[:, 1]), points[:, 2]
        slopes_a, slopes_b = np.diff(self.a) / np.diff(self.z), np.diff(self.b) / np.diff(self.z)
        found = np.minimum(z, np.where(z > self.height_mm, -1.0, np.inf))
        for k, (da, db) in enumerate(zip(slopes_a, slopes_b, strict=True)):
            # A bin widens upwards, so it is convex and the nearest wall is the nearest plane.
            side = (self.a[k] + da * (z - self.z[k]) - x) / np.hypot(1.0, da)
            front = (self.b[k] + db * (z - self.z[k]) - y) / np.hypot(1.0, db)
            found = np.minimum(found, np.minimum(side, front))
        return found

    def _round_gap(self, radius: Array, z: Array) -> Array:
        corners = np.concatenate(([[0.0, 0.0]], np.column_stack((self.a, self.z))))
        found = np.full(radius.shape, np.inf)
        for start, end in itertools.pairwise(corners):
            along = end - start
            share = ((radius - start[0]) * along[0] + (z - start[1]) * along[1]) / (along @ along)
            share = np.clip(share, 0.0, 1.0)
            away = np.hypot(radius - start[0] - share * along[0], z - start[1] - share * along[1])
            found = np.minimum(found, away)
        inside = (z >= 0) & (z <= self.height_mm) & (radius <= self.widths(z)[0])
        return np.where(inside, found, -found)

    def columns(self, x: Values, y: Values) -> tuple[Array, Array]:
        """Floor and ceiling over each (x, y)."""
        if self.is_round:
            return self._column(np.hypot(x, y), self.a)
        floor_x, ceiling = self._column(np.abs(x), self.a)
        floor_y, other = self._column(np.abs(y), self.b)
        ceiling = np.minimum(ceiling, other)
        return np.minimum(np.maximum(floor_x, floor_y), ceiling), ceiling

    def _column(self, out: Values, width: Array) -> tuple[Array, Array]:
        """Lowest and highest height at which a widening-then-narrowing profile reaches `out`."""
        out = np.asarray(out, dtype=float)
        widest = int(np.argmax(width))
        last = width.size - 1 - int(np.argmax(width[::-1]))
        floor = np.interp(out, width[: widest + 1], self.z[: widest + 1])
        ceiling = np.interp(out, width[last:][::-1], self.z[last:][::-1])
        beside = out > width[widest]
        return np.where(beside, 0.0, floor), np.where(beside, 0.0, ceiling)


@dataclass(frozen=True, slots=True)
class Lying:
    """A cylinder on its side, the axis along x."""

    radius: float
    length: float

    @property
    def height_mm(self) -> float:
        """The diameter."""
        return 2 * self.radius

    @property
    def half_mm(self) -> tuple[float, float]:
        """Half the extent along x and y."""
        return self.length / 2, self.radius

    def area(self, height: Values) -> Array:
        """Area of the level cut at each height, mm2: the chord times the length."""
        up = np.clip(np.asarray(height), 0.0, self.height_mm)
        return np.asarray(2 * np.sqrt(up * (self.height_mm - up)) * self.length)

    def volume(self, height: Values) -> Array:
        """Volume below each height, mm3: the circular segment times the length."""
        up = np.clip(np.asarray(height), 0.0, self.height_mm) / self.radius
        angle = 2 * np.arctan2(np.sqrt(up * (2 - up)), 1 - up)
        return np.asarray(self.radius**2 / 2 * _angle_less_sine(angle) * self.length)

    def gap(self, points: Array) -> Array:
        """Distance of each point from shell and ends, negative outside."""
        shell = self.radius - np.hypot(points[:, 1], points[:, 2] - self.radius)
        return np.minimum(shell, self.length / 2 - np.abs(points[:, 0]))

    def columns(self, x: Values, y: Values) -> tuple[Array, Array]:
        """Floor and ceiling over each (x, y)."""
        y = np.asarray(y, dtype=float)
        within = (np.abs(x) <= self.length / 2) & (np.abs(y) <= self.radius)
        half = np.sqrt(np.maximum(self.radius**2 - y**2, 0.0))
        return np.where(within, self.radius - half, 0.0), np.where(within, self.radius + half, 0.0)


@dataclass(frozen=True, slots=True)
class UTrough:
    """A half cylinder on its side, the axis along x, with straight walls above it.

    Below the axis it is a lying cylinder; above, the cut is a rectangle (derived).
    """

    radius: float
    length: float
    height: float
    """Of the lid above the lowest point, at least the radius."""

    @property
    def _round(self) -> Lying:
        return Lying(self.radius, self.length)

    @property
    def height_mm(self) -> float:
        """Height of the lid."""
        return self.height

    @property
    def half_mm(self) -> tuple[float, float]:
        """Half the extent along x and y."""
        return self.length / 2, self.radius

    def area(self, height: Values) -> Array:
        """Area of the level cut at each height, mm2: the chord, or the width, times the length."""
        up = np.asarray(height, dtype=float)
        inside = (up >= 0) & (up <= self.height)
        return np.where(inside, self._round.area(np.minimum(up, self.radius)), 0.0)

    def volume(self, height: Values) -> Array:
        """Volume below each height, mm3: the circular segment and the box above the axis."""
        up = np.clip(np.asarray(height, dtype=float), 0.0, self.height)
        box = 2 * self.radius * self.length * np.maximum(up - self.radius, 0.0)
        return np.asarray(self._round.volume(np.minimum(up, self.radius)) + box)

    def gap(self, points: Array) -> Array:
        """Distance of each point from bottom, side walls and ends, negative outside."""
        x, y, z = points.T
        shell = self.radius - np.hypot(y, np.minimum(z - self.radius, 0.0))
        lid = np.where(z > self.height, -1.0, np.inf)
        return np.asarray(np.minimum(np.minimum(shell, self.length / 2 - np.abs(x)), lid))

    def columns(self, x: Values, y: Values) -> tuple[Array, Array]:
        """Floor and ceiling over each (x, y)."""
        floor, top = self._round.columns(x, y)
        return floor, np.where(top > 0, self.height, 0.0)


@dataclass(frozen=True, slots=True)
class Vee:
    """Two cylinders in a V.

    In a leg, s runs along the axis from where the axes meet, u across it in the plane of the V
    (outwards and down), so x = s sin + u cos and z = low + s cos - u sin of half the angle.
    """

    radius: float
    length: float
    half_angle: float
    """Between a leg and the vertical, radians."""

    @property
    def low(self) -> float:
        """Height of the point where the axes meet."""
        return self.radius / sin(self.half_angle)

    @property
    def height_mm(self) -> float:
        """Height of the inner edges of the caps."""
        return self.low + self.length * cos(self.half_angle) + self.radius * sin(self.half_angle)

    @property
    def half_mm(self) -> tuple[float, float]:
        """Half the extent along x and y."""
        along = self.length * sin(self.half_angle) + self.radius * cos(self.half_angle)
        return along, self.radius

    def _chords(self, height: Values) -> tuple[Array, Array]:
        """Least and greatest u of a leg's level cut: the symmetry plane and the cap."""
        up = np.clip(np.asarray(height), 0.0, self.height_mm) - self.low
        inner = -up * sin(self.half_angle)
        outer = (self.length * cos(self.half_angle) - up) / sin(self.half_angle)
        return inner, outer

    def area(self, height: Values) -> Array:
        """Area of the level cut of both legs at each height, mm2."""
        inner, outer = self._chords(height)
        disc = _disc_below(outer, self.radius) - _disc_below(inner, self.radius)
        return np.asarray(2 / cos(self.half_angle) * disc)

    def volume(self, height: Values) -> Array:
        """Volume of both legs below each height, mm3: the integral of `area`, in closed form."""
        inner, outer = self._chords(height)
        inner_0, outer_0 = self._chords(0.0)
        sine = sin(self.half_angle)
        grown_outer = _disc_integral(outer_0, self.radius) - _disc_integral(outer, self.radius)
        grown_inner = _disc_integral(inner_0, self.radius) - _disc_integral(inner, self.radius)
        return np.asarray(2 / cos(self.half_angle) * (sine * grown_outer - grown_inner / sine))

    def _leg(self, points: Array) -> tuple[Array, Array, Array]:
        x, up = np.abs(points[:, 0]), points[:, 2] - self.low
        s = x * sin(self.half_angle) + up * cos(self.half_angle)
        u = x * cos(self.half_angle) - up * sin(self.half_angle)
        return s, u, points[:, 1]

    def gap(self, points: Array) -> Array:
        """Distance of each point from the wall of its own leg, negative outside.

        The other leg is never nearer than this one, by symmetry.
        """
        s, u, y = self._leg(points)
        wall = self.radius - np.hypot(u, y)
        return np.where(s > self.length, np.minimum(wall, self.length - s), wall)

    def columns(self, x: Values, y: Values) -> tuple[Array, Array]:
        """Floor and ceiling over each (x, y)."""
        x, y = np.abs(np.asarray(x, dtype=float)), np.asarray(y, dtype=float)
        half = np.sqrt(np.maximum(self.radius**2 - y**2, 0.0))
        sine, cosine = sin(self.half_angle), cos(self.half_angle)
        floor = (x * cosine - half) / sine
        ceiling = np.minimum((x * cosine + half) / sine, (self.length - x * sine) / cosine)
        within = (np.abs(y) <= self.radius) & (ceiling >= floor)
        return (
            np.where(within, self.low + floor, 0.0),
            np.where(within, self.low + ceiling, 0.0),
        )


def _angle_less_sine(angle: Array) -> Array:
    """Angle - sin(angle) without the loss of digits at small angles."""
    square = angle**2
    series = angle * square / 6 * (1 - square / 20 * (1 - square / 42 * (1 - square / 72)))
    return np.where(angle < 0.1, series, angle - np.sin(angle))  # noqa: PLR2004 - where the series' rest is below 1e-15


def _disc_below(chord: Array, radius: float) -> Array:
    """Area of the part of a disc on the near side of a chord at a signed distance."""
    at = np.clip(chord, -radius, radius)
    # Factored, and by the arc tangent, so that no digits are lost near the edge.
    half = np.sqrt((radius - at) * (radius + at))
    return np.asarray(radius**2 * (np.arctan2(at, half) + pi / 2) + at * half)


def _disc_integral(chord: Array, radius: float) -> Array:
    """Integral of `_disc_below` over the chord's distance, from far below up to `chord`."""
    at = np.clip(chord, -radius, radius)
    within = at * _disc_below(at, radius) + 2 / 3 * ((radius - at) * (radius + at)) ** 1.5
    return np.asarray(within + np.maximum(chord - radius, 0.0) * pi * radius**2)
