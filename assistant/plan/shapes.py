"""Geometry of the vessels of a plan: volume below a height, its inverse, walls and columns.

Lengths are millimetres, volumes cubic millimetres; origin at the lowest point, z upwards. Every
vertical line meets a vessel in one piece, so a vessel is also described by its columns: the floor
and the ceiling over each (x, y).
"""

from math import pi, radians
from typing import Protocol

import numpy as np

from assistant.plan.solids import Array, Flags, Lying, Stack, UTrough, Values, Vee
from assistant.plan.vessel import (
    Cylinder,
    DoubleCone,
    Drum,
    RectangularBin,
    Trough,
    VBlender,
    Vessel,
)

__all__ = [
    "Array",
    "Flags",
    "Lying",
    "Shape",
    "Stack",
    "UTrough",
    "Values",
    "Vee",
    "height_of",
    "shape_of",
]


class Shape(Protocol):
    """What the other modules ask of a vessel, whatever its kind."""

    @property
    def height_mm(self) -> float:
        """Height of the highest point."""
        ...

    @property
    def half_mm(self) -> tuple[float, float]:
        """Half the extent along x and along y; every vessel is symmetric about both."""
        ...

    def area(self, height: Values) -> Array:
        """Area of the level cut at each height, mm2."""
        ...

    def volume(self, height: Values) -> Array:
        """Volume below each height, mm3."""
        ...

    def gap(self, points: Array) -> Array:
        """Distance of each point, shape (n, 3), from floor and side walls; negative outside.

        The lid is no wall here. Where walls meet at an edge the distance may be too small, never
        too large.
        """
        ...

    def columns(self, x: Values, y: Values) -> tuple[Array, Array]:
        """Floor and ceiling of the vessel over each (x, y); both 0 beside the vessel."""
        ...


def shape_of(vessel: Vessel) -> Shape:
    """Return the geometry of a vessel of a plan."""
    match vessel:
        case DoubleCone():
            low, mid = vessel.cone_height_mm, vessel.cone_height_mm + vessel.cylinder_height_mm
            wide = vessel.diameter_mm
            return _round_stack(
                [0.0, low, mid, mid + low], [vessel.outlet_diameter_mm, wide, wide, vessel.lid_mm]
            )
        case VBlender():
            half = radians(vessel.angle_deg / 2)
            return Vee(vessel.leg_diameter_mm / 2, vessel.leg_length_mm, half)
        case Drum():
            return Lying(vessel.diameter_mm / 2, vessel.length_mm)
        case Trough():
            return UTrough(vessel.diameter_mm / 2, vessel.length_mm, vessel.height_mm)
        case Cylinder():
            return _round_stack([0.0, vessel.height_mm], [vessel.diameter_mm] * 2)
        case RectangularBin():
            top = vessel.hopper_height_mm + vessel.box_height_mm
            return Stack(
                np.array([0.0, vessel.hopper_height_mm, top]),
                np.array([vessel.outlet_length_mm, vessel.length_mm, vessel.length_mm]) / 2,
                np.array([vessel.outlet_width_mm, vessel.width_mm, vessel.width_mm]) / 2,
                4.0,
            )
        case _:
            top = vessel.hopper_height_mm + vessel.cylinder_height_mm
            wide = vessel.diameter_mm
            return _round_stack(
                [0.0, vessel.hopper_height_mm, top], [vessel.outlet_diameter_mm, wide, wide]
            )


def height_of(shape: Shape, volume_mm3: float) -> float:
    """Return the level height, mm, below which the vessel holds a volume, mm3.

    Newton's steps kept within a shrinking bracket; 1e-9 of the height, relative, or better for any
    volume from a millionth of the vessel's to the whole.

    Raises:
        ValueError: the volume is negative or more than the vessel holds.
    """
    low, high = 0.0, shape.height_mm
    total = float(shape.volume(high))
    if not 0 <= volume_mm3 <= total * (1 + 1e-12):
        msg = f"a volume of {volume_mm3:g} mm3 does not fit a vessel of {total:g} mm3"
        raise ValueError(msg)
    following = high * volume_mm3 / total
    while True:
        at = following
        short = volume_mm3 - float(shape.volume(at))
        low, high = (at, high) if short > 0 else (low, at)
        area = float(shape.area(at))
        step = at + short / area if area > 0 else low
        following = step if low < step < high else (low + high) / 2
        if abs(following - at) <= _CLOSE * following:
            return following


_CLOSE = 1e-12
"""Relative step at which the height has converged."""


def _round_stack(heights: list[float], diameters: list[float]) -> Stack:
    radii = np.array(diameters) / 2
    return Stack(np.array(heights), radii, radii, pi)
