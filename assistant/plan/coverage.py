"""Which parts of the bed have no sample near them, by points spread at random with a seed."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import pi

import numpy as np

from assistant.plan.insertion_geometry import Insertion
from assistant.plan.powder_bed import Bed
from assistant.plan.shapes import Array

POINTS = 4000
"""Random points; the share found is then right to about half a percent (standard error)."""


@dataclass(frozen=True, slots=True)
class Coverage:
    """How well the samples cover the bed.

    Attributes:
        radius_mm: a spot counts as covered when a sample lies nearer than this.
        share: of the bed that is not covered, 0 to 1.
        error: standard error of that share.
        farthest_mm: greatest distance of a point from its nearest sample.
        gaps: (region, its part of the whole bed that is not covered), the greatest first.
    """

    radius_mm: float
    share: float
    error: float
    farthest_mm: float
    gaps: tuple[tuple[str, float], ...]


def default_radius_mm(bed: Bed, locations: int) -> float:
    """1.5 times the radius of a ball that holds one location's share of the powder, mm."""
    return float(1.5 * (3 * bed.volume_mm3 / (4 * pi * locations)) ** (1 / 3))


def coverage(
    bed: Bed, insertions: Sequence[Insertion], radius_mm: float, seed: int = 1
) -> Coverage:
    """Measure how much of the bed has no sample within a distance.

    Args:
        bed: the powder.
        insertions: the locations, worked out.
        radius_mm: the distance.
        seed: of the random points; the same seed gives the same answer.
    """
    points = bed.sample(POINTS, seed)
    ports = np.concatenate([insertion.ports for insertion in insertions])
    nearest = np.full(POINTS, np.inf)
    for port in ports:
        nearest = np.minimum(nearest, ((points - port) ** 2).sum(axis=1))
    nearest = np.sqrt(nearest)
    bare = nearest > radius_mm
    share = float(bare.mean())
    counted = Counter(regions(bed, points[bare]))
    return Coverage(
        radius_mm=radius_mm,
        share=share,
        error=float(np.sqrt(share * (1 - share) / POINTS)),
        farthest_mm=float(nearest.max()),
        gaps=tuple((name, count / POINTS) for name, count in counted.most_common()),
    )


def regions(bed: Bed, points: Array) -> list[str]:
    """Name the part of the bed each point lies in: a third of the height and a compass side."""
    half_x, half_y = bed.shape.half_mm
    across, up = points[:, 0] / half_x, points[:, 1] / half_y
    turn = np.round(np.arctan2(up, across) / (pi / 2)).astype(int) % 4
    side = np.where(np.hypot(across, up) < _CENTRE, 4, turn)
    third = np.clip(points[:, 2] / bed.peak_mm * 3, 0, 2).astype(int)
    return [f"{_SIDES[s]}, {_THIRDS[t]}" for s, t in zip(side, third, strict=True)]


_CENTRE = 0.35
"""Part of the half width that still counts as the centre."""

_SIDES = ("east", "north", "west", "south", "centre")
_THIRDS = ("low", "middle", "high")
