"""Where the sampler goes in: the rim of each manway, which carries the entry mark."""

from dataclasses import dataclass
from math import cos, hypot, radians, sin, sqrt

import numpy as np

from assistant.errors import PlanError
from assistant.plan.shapes import Array, Lying, Shape, Stack, Vee
from assistant.plan.vessel import VBlender, Vessel


@dataclass(frozen=True, slots=True)
class Opening:
    """One manway.

    Attributes:
        centre: middle of the rim, mm, in the vessel's axes.
        normal: unit vector out of the vessel, square to the rim.
        radius_mm: of the opening.
        passage_mm: length from the rim's plane to where the vessel is open on all sides.
    """

    centre: tuple[float, float, float]
    normal: tuple[float, float, float]
    radius_mm: float
    passage_mm: float

    def rim(self, x: float, y: float) -> Array:
        """Return the point of the rim's plane over (x, y), shape (3,)."""
        (cx, cy, cz), (nx, ny, nz) = self.centre, self.normal
        return np.array([x, y, cz - ((x - cx) * nx + (y - cy) * ny) / nz], dtype=np.float64)

    def off_axis(self, points: Array) -> Array:
        """Distance of each point, shape (n, 3), from the manway's axis."""
        from_centre = points - np.array(self.centre)
        along = from_centre @ np.array(self.normal)
        across = from_centre - along[:, None] * np.array(self.normal)
        return np.asarray(np.sqrt((across**2).sum(axis=1)))


def openings_of(vessel: Vessel, shape: Shape) -> tuple[Opening, ...]:
    """Return the manways of a vessel: one, or in a V one on each cap (west, then east).

    Raises:
        PlanError: a manway does not lie within the vessel's top.
    """
    radius, neck = vessel.manway.diameter_mm / 2, vessel.manway.neck_mm
    if isinstance(vessel, VBlender):
        assert isinstance(shape, Vee)  # noqa: S101 - tells the type checker what shape_of returns
        _fit(radius, shape.radius)
        sine, cosine = sin(radians(vessel.angle_deg / 2)), cos(radians(vessel.angle_deg / 2))
        out = shape.length + neck
        return tuple(
            Opening(
                (side * out * sine, 0.0, shape.low + out * cosine),
                (side * sine, 0.0, cosine),
                radius,
                neck,
            )
            for side in (-1.0, 1.0)
        )
    x, y = vessel.manway.x_mm, vessel.manway.y_mm
    if isinstance(shape, Stack) and shape.is_round:
        _fit(hypot(x, y) + radius, float(shape.a[-1]))
    else:
        half_x, half_y = shape.half_mm
        _fit(abs(x) + radius, half_x)
        _fit(abs(y) + radius, half_y)
    passage = neck + (_saddle(shape.radius, abs(y) + radius) if isinstance(shape, Lying) else 0.0)
    return (Opening((x, y, shape.height_mm + neck), (0.0, 0.0, 1.0), radius, passage),)


def _saddle(drum_mm: float, out_mm: float) -> float:
    """How far below its top a drum of a given radius has widened to `out_mm` from the middle."""
    return drum_mm - sqrt(max(drum_mm**2 - out_mm**2, 0.0))


def _fit(reach_mm: float, top_mm: float) -> None:
    if reach_mm > top_mm * (1 + 1e-9):
        raise PlanError(
            f"[vessel]: the manway reaches {reach_mm:.0f} mm from the middle, but the vessel's top "
            f"only {top_mm:.0f} mm; correct manway or the size of the top"
        )
