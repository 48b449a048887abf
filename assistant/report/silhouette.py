"""The outline of a vessel and its powder seen from one side, without a drawing library."""

import numpy as np

from assistant.plan.powder_bed import Bed
from assistant.plan.shapes import Array

__all__ = ["silhouette"]


def silhouette(bed: Bed, side: int, steps: int) -> tuple[Array, Array, Array, Array]:
    """Outline of vessel and powder seen along the other horizontal axis.

    Args:
        bed: the powder in its vessel.
        side: 0 seen from the south (x to the right), 1 from the east (y to the right).
        steps: columns across the vessel, less one.

    Returns:
        Places across, lowest floor, highest ceiling and highest powder there, mm, each shape (n,).
    """
    halves = bed.shape.half_mm
    across = np.linspace(-halves[side], halves[side], steps + 1)
    deep = np.linspace(-halves[1 - side], halves[1 - side], steps + 1)
    grid_a, grid_d = np.meshgrid(across, deep)
    x, y = (grid_a, grid_d) if side == 0 else (grid_d, grid_a)
    floor, ceiling = bed.shape.columns(x, y)
    inside = ceiling > floor
    powder = np.where(inside, np.minimum(bed.surface(x, y), ceiling), -np.inf)
    powder = np.where(powder > floor, powder, -np.inf)
    lowest = np.where(inside, floor, np.inf).min(axis=0)
    highest = np.where(inside, ceiling, -np.inf).max(axis=0)
    kept = np.isfinite(lowest) & np.isfinite(highest)
    lowest, highest, top = lowest[kept], highest[kept], powder.max(axis=0)[kept]
    return across[kept], lowest, highest, np.where(np.isfinite(top), top, lowest)
