"""The powder bed: how high it stands in the vessel, level or heaped, and what lies in it.

Volume is fill mass over bulk density. A level bed is inverted exactly; a heap (a cone of the repose
angle under each manway) is summed over a grid of columns, whose volume is right to 0.1 %.
"""

from dataclasses import dataclass
from math import radians, tan

import numpy as np

from assistant.errors import PlanError
from assistant.plan.manway import Opening, openings_of
from assistant.plan.model import Plan
from assistant.plan.shapes import Array, Flags, Shape, height_of, shape_of

LITRE_MM3 = 1e6
"""Cubic millimetres in a litre; a density in g/mL is as many kilograms per litre."""

COLUMNS = 240
"""Columns along each side of the grid on which a heap is summed."""


@dataclass(frozen=True, slots=True)
class Bed:
    """The powder as it lies.

    Attributes:
        shape: the vessel.
        openings: one manway, or two in a V.
        volume_mm3: of the powder.
        fill: share of the whole vessel that is filled, 0 to 1.
        peak_mm: height of the surface under the manway's middle; of a level bed, everywhere.
        slope: fall of the surface per length away from there; 0 when level.
    """

    shape: Shape
    openings: tuple[Opening, ...]
    volume_mm3: float
    fill: float
    peak_mm: float
    slope: float

    def surface(self, x: Array, y: Array) -> Array:
        """Height of the surface over each (x, y), mm, whether or not the vessel reaches there."""
        return self.peak_mm - self.slope * _away(self.openings, x, y)

    def contains(self, points: Array) -> Flags:
        """Whether each point, shape (n, 3), lies in the powder."""
        below = points[:, 2] <= self.surface(points[:, 0], points[:, 1])
        return np.asarray(below & (self.shape.gap(points) >= 0))

    def sample(self, count: int, seed: int) -> Array:
        """Return points spread evenly at random over the powder, shape (count, 3)."""
        numbers = np.random.default_rng(seed)
        half_x, half_y = self.shape.half_mm
        low = np.array([-half_x, -half_y, 0.0])
        high = np.array([half_x, half_y, self.peak_mm])
        found = np.empty((0, 3))
        while len(found) < count:
            tried = numbers.uniform(low, high, (2 * count, 3))
            found = np.concatenate((found, tried[self.contains(tried)]))
        return found[:count]


def bed_of(plan: Plan) -> Bed:
    """Work out how the powder of a plan lies in its vessel.

    Raises:
        PlanError: the vessel cannot hold the powder, or the manway does not fit the vessel.
    """
    shape = shape_of(plan.vessel)
    openings = openings_of(plan.vessel, shape)
    powder = plan.powder
    volume = powder.fill_mass_kg / powder.bulk_density_g_ml * LITRE_MM3
    total = float(shape.volume(shape.height_mm))
    if volume > total:
        raise PlanError(
            f"[powder]: {powder.fill_mass_kg:g} kg at {powder.bulk_density_g_ml:g} g/mL take "
            f"{volume / LITRE_MM3:.1f} L, but the vessel holds {total / LITRE_MM3:.1f} L; correct "
            "fill_mass_kg, bulk_density_g_ml or the sizes in [vessel] (kg, g/mL, mm)"
        )
    slope = tan(radians(powder.repose_deg))
    level = height_of(shape, volume) if slope == 0 else _heap(shape, openings, volume, slope)
    if level > shape.height_mm:
        raise PlanError(
            f"[powder]: a heap of {powder.repose_deg:g} degrees would stand {level:.0f} mm high in "
            f"a vessel of {shape.height_mm:.0f} mm; level the bed (repose_deg = 0) or fill less"
        )
    return Bed(shape, openings, volume, volume / total, level, slope)


def _away(openings: tuple[Opening, ...], x: Array, y: Array) -> Array:
    """Distance of each (x, y) from the nearest manway's middle."""
    each = [np.hypot(x - hole.centre[0], y - hole.centre[1]) for hole in openings]
    return np.asarray(np.min(each, axis=0))


def _heap(shape: Shape, openings: tuple[Opening, ...], volume: float, slope: float) -> float:
    """Return the peak of a heap holding a volume.

    Over one column the powder grows in a straight line from the peak at which the surface leaves
    the floor to the peak at which it meets the ceiling; so the whole is a broken line in the peak,
    and one sort of its corners inverts it exactly.
    """
    half_x, half_y = shape.half_mm
    steps = (np.arange(COLUMNS) + 0.5) / COLUMNS * 2 - 1
    x, y = (side.ravel() for side in np.meshgrid(steps * half_x, steps * half_y))
    floor, ceiling = shape.columns(x, y)
    fall = slope * _away(openings, x, y)
    cell = 4 * half_x * half_y / COLUMNS**2
    corners = np.concatenate((floor + fall, ceiling + fall))
    turns = np.concatenate((np.ones_like(floor), -np.ones_like(floor)))
    order = np.argsort(corners, kind="stable")
    corners, rising = corners[order], np.cumsum(turns[order])
    filled = np.concatenate(([0.0], np.cumsum(rising[:-1] * np.diff(corners)))) * cell
    return float(np.interp(min(volume, filled[-1]), filled, corners))
