"""Where an insertion ends: from entry, angle and length to every port's place and depth.

The entry mark is the rim of the manway: the sampler is pushed in until its scale reads, at the rim,
the length that is spoken. Everything here follows from that spoken whole number of millimetres, so
that plan, prompt, picture and record agree. All lengths in mm.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import cos, floor, pi, radians, sin

import numpy as np

from assistant.errors import PlanError
from assistant.plan.manway import Opening
from assistant.plan.model import Location, Plan
from assistant.plan.powder_bed import Bed, bed_of
from assistant.plan.shapes import Array
from assistant.plan.vessel import Cylinder, Drum, RectangularBin, Trough

STEEPEST_DEG = 85.0
"""Tilt and heap angle together; beyond it the sampler would run along the surface."""

TIP_POINTS = 24
"""Points on the tip's edge whose distance from the wall is looked at."""

AXIS_POINTS = 240
"""Points along the tube whose distance from the wall is looked at."""


@dataclass(frozen=True, slots=True)
class Insertion:
    """One location, worked out.

    Attributes:
        location: as in the plan.
        length_mm: along the sampler from the rim to the tip; this is what is spoken.
        entry: where the axis crosses the rim's plane, shape (3,).
        along: unit vector of the axis, into the vessel, shape (3,).
        surface: where the axis meets the powder, shape (3,).
        wetted_mm: length of tube in the powder; negative when it does not get there.
        ports: middle of every port, nearest the tip first, shape (ports, 3).
        cover_mm: depth of every port straight below the surface; negative above it.
        tip_gap_mm: least distance of the tip's edge from wall or shaft; negative beyond.
        valve_gap_mm: least distance of the tip's edge from the outlet; None without one.
        tube_gap_mm: least room of the tube to walls, shaft or rim; negative if it does not pass.
        room_mm: tube left outside the rim, up to the handle.
    """

    location: Location
    length_mm: int
    entry: Array
    along: Array
    surface: Array
    wetted_mm: float
    ports: Array
    cover_mm: tuple[float, ...]
    tip_gap_mm: float
    valve_gap_mm: float | None
    tube_gap_mm: float
    room_mm: float

    @property
    def tip(self) -> Array:
        """Middle of the tip, shape (3,)."""
        return self.entry + self.length_mm * self.along


@lru_cache(maxsize=16)  # asked for again and again at one place; more would keep old plans
def insertion_mm(plan: Plan, location_index: int) -> int:
    """Return the insertion to speak: mm along the sampler from the manway's rim to the tip.

    Raises:
        PlanError: the powder does not fit the vessel, or the depth cannot be reached.
        IndexError: the plan has no such location.
    """
    location = plan.locations[location_index]
    if location.depth_mm is not None:
        return _whole(location.depth_mm, 1)
    bed = bed_of(plan)
    opening = opening_for(bed, location)
    return _length(plan, bed, location, opening)


def lengths(plan: Plan) -> tuple[int, ...]:
    """Return the insertion to speak for every location, mm, in the plan's order.

    Raises:
        PlanError: the powder does not fit the vessel, or a depth cannot be reached.
    """
    bed = bed_of(plan)
    return tuple(
        _whole(location.depth_mm, 1)
        if location.depth_mm is not None
        else _length(plan, bed, location, opening_for(bed, location))
        for location in plan.locations
    )


def insertions(plan: Plan, bed: Bed) -> tuple[Insertion, ...]:
    """Work out every location of a plan, in the plan's order.

    Raises:
        PlanError: a depth cannot be reached.
    """
    return tuple(insertion(plan, bed, location) for location in plan.locations)


def opening_for(bed: Bed, location: Location) -> Opening:
    """Return the manway a location is entered through: in a V, that of its own side."""
    return min(bed.openings, key=lambda hole: abs(hole.centre[0] - location.x_mm))


def direction(location: Location) -> Array:
    """Unit vector of the sampler's axis, pointing into the vessel, shape (3,)."""
    tilt, towards = radians(location.tilt_deg), radians(location.towards_deg)
    return np.array([sin(tilt) * cos(towards), sin(tilt) * sin(towards), -cos(tilt)])


def insertion(plan: Plan, bed: Bed, location: Location) -> Insertion:
    """Work out one location, whether or not it stands in the plan.

    Raises:
        PlanError: the depth cannot be reached.
    """
    opening = opening_for(bed, location)
    entry = opening.rim(location.x_mm, location.y_mm)
    along = direction(location)
    if location.depth_mm is not None:
        length = _whole(location.depth_mm, 1)
    else:
        length = _length(plan, bed, location, opening)
    to_surface = _meets(_above(bed, entry, along, 0.0), location, plan)
    back = length - np.array(plan.sampler.ports_mm)
    ports = entry + back[:, None] * along
    edge = _edge(entry + length * along, along, plan.sampler.diameter_mm / 2)
    axis = entry + np.linspace(0.0, length, AXIS_POINTS)[:, None] * along
    return Insertion(
        location=location,
        length_mm=length,
        entry=entry,
        along=along,
        surface=entry + to_surface * along,
        wetted_mm=length - to_surface,
        ports=ports,
        cover_mm=tuple(float(c) for c in bed.surface(ports[:, 0], ports[:, 1]) - ports[:, 2]),
        tip_gap_mm=float(_free(plan, bed, edge).min()),
        valve_gap_mm=_valve_gap(plan, edge),
        tube_gap_mm=_tube_gap(plan, bed, opening, axis),
        room_mm=plan.sampler.length_mm - length,
    )


def _length(plan: Plan, bed: Bed, location: Location, opening: Opening) -> int:
    """Insertion at which the lowest port lies as deep below the surface as the plan wants."""
    assert location.below_surface_mm is not None  # noqa: S101 - the model holds one of the two depths
    entry = opening.rim(location.x_mm, location.y_mm)
    height = _above(bed, entry, direction(location), -location.below_surface_mm)
    port = _meets(height, location, plan)
    return _whole(port + plan.sampler.ports_mm[0], plan.sampler.graduation_mm)


def _above(bed: Bed, entry: Array, along: Array, offset: float) -> Callable[[float], float]:
    """Height above (surface + offset) of the axis at a distance from the rim."""

    def height(distance: float) -> float:
        x, y, z = entry + distance * along
        return float(z - bed.surface(x, y) - offset)

    return height


def _meets(height: Callable[[float], float], location: Location, plan: Plan) -> float:
    """Distance from the rim at which a falling height becomes zero, to 1e-9 mm."""
    if location.tilt_deg + plan.powder.repose_deg > STEEPEST_DEG:
        raise PlanError(
            f"[[locations]] {location.code}: a tilt of {location.tilt_deg:g} degrees on a heap of "
            f"{plan.powder.repose_deg:g} runs along the surface; tilt less or level the bed"
        )
    low, high = 0.0, 1.0
    while height(high) > 0:
        low, high = high, 2 * high
    if height(low) <= 0:
        raise PlanError(
            f"[[locations]] {location.code}: the powder already stands above the rim there; "
            "correct [powder] or x_mm, y_mm"
        )
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if height(middle) > 0 else (low, middle)
    return (low + high) / 2


_HALVINGS = 54
"""Brings a bracket of any vessel's size below 1e-9 mm."""


def _whole(length: float, step: int) -> int:
    """Round half up to a multiple of the scale's step."""
    return floor(length / step + 0.5) * step


def _edge(tip: Array, along: Array, radius: float) -> Array:
    """The tip's middle and points on its edge, shape (n, 3)."""
    across = np.cross(along, [0.0, 1.0, 0.0] if abs(along[1]) < _PARALLEL else [1.0, 0.0, 0.0])
    across /= np.linalg.norm(across)
    other = np.cross(along, across)
    turns = np.arange(TIP_POINTS) * 2 * pi / TIP_POINTS
    ring = np.cos(turns)[:, None] * across + np.sin(turns)[:, None] * other
    return np.concatenate((tip[None, :], tip + radius * ring))


_PARALLEL = 0.9
"""Above this the axis lies so near to y that another helping vector is needed."""


def _free(plan: Plan, bed: Bed, points: Array) -> Array:
    """Distance of each point from the walls, and in a trough from the agitator's shaft."""
    gap, vessel = bed.shape.gap(points), plan.vessel
    if not isinstance(vessel, Trough):
        return gap
    away = np.hypot(points[:, 1], points[:, 2] - vessel.diameter_mm / 2)
    return np.minimum(gap, away - vessel.shaft_diameter_mm / 2)


def _valve_gap(plan: Plan, edge: Array) -> float | None:
    """Least distance of the tip's edge from the outlet's flat opening at height 0."""
    vessel, x, y = plan.vessel, np.abs(edge[:, 0]), np.abs(edge[:, 1])
    if isinstance(vessel, Drum | Cylinder):
        return None
    if isinstance(vessel, RectangularBin):
        beside = np.hypot(
            np.maximum(x - vessel.outlet_length_mm / 2, 0.0),
            np.maximum(y - vessel.outlet_width_mm / 2, 0.0),
        )
    else:
        beside = np.maximum(np.hypot(x, y) - vessel.outlet_diameter_mm / 2, 0.0)
    return float(np.hypot(beside, edge[:, 2]).min())


def _tube_gap(plan: Plan, bed: Bed, opening: Opening, axis: Array) -> float:
    """Least room around the tube: to the rim in the manway's passage, to the wall below it.

    Args:
        plan: names vessel and sampler.
        bed: the powder in its vessel.
        opening: the manway used.
        axis: points along the tube's axis from the rim to the tip, shape (n, 3).
    """
    radius = plan.sampler.diameter_mm / 2
    normal = np.array(opening.normal)
    whole = axis[-1] - axis[0]
    lean = float(-whole @ normal / np.sqrt(whole @ whole))
    below_rim = (np.array(opening.centre) - axis) @ normal
    in_passage = below_rim <= opening.passage_mm + 1e-6
    passage = opening.radius_mm - opening.off_axis(axis) - radius / max(lean, _SLANT)
    free = np.where(in_passage, passage, _free(plan, bed, axis) - radius)
    return float(free.min())


_SLANT = 1e-3
"""Keeps a tube lying in the rim's plane from dividing by nothing; it does not pass anyway."""
