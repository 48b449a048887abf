"""A proposal of ten locations for every vessel, to be edited by the user.

Ten or more locations at two depths or more along the axis (FDA draft guidance of 2003, section V;
withdrawn, so history); walls, corners, the space under the lid, the outlet, the plane of symmetry
and the bearings' side are looked at because powder moves least there (this program's choice).
"""

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil, copysign, cos, degrees, hypot, pi, radians, sin

import numpy as np

from assistant.errors import PlanError
from assistant.plan.bed_disturbance import insertion_order, port_distances
from assistant.plan.entry_direction import ENTRY_STEP_MM, MIDDLE_MM, clock_of, entry_at, from_middle
from assistant.plan.insertion_geometry import Insertion, insertion
from assistant.plan.manway import Opening
from assistant.plan.model import Location, Plan
from assistant.plan.powder_bed import Bed, bed_of
from assistant.plan.shapes import Array
from assistant.plan.vessel import Drum, RectangularBin, Trough, VBlender, Vessel


@dataclass(frozen=True, slots=True)
class Target:
    """Where the lowest port shall sample, in shares of the bed.

    Attributes:
        code: of the location.
        description: as it will be spoken and printed.
        leg: -1 west leg, 1 east leg of a V; 0 elsewhere.
        azimuth: compass direction from the middle, degrees, 0 to the east.
        out: share of the way from the middle to the wall.
        up: share of the bed's height.
    """

    code: str
    description: str
    leg: int
    azimuth: float
    out: float
    up: float


_COMPASS = ((90, "N", "north"), (0, "E", "east"), (270, "S", "south"), (180, "W", "west"))
_CORNERS = (
    (45, "NE", "north-east corner"),
    (135, "NW", "north-west corner"),
    (225, "SW", "south-west corner"),
    (315, "SE", "south-east corner"),
)
_SIDES = ((90, "B", "back"), (270, "F", "front"))


def targets(vessel: Vessel) -> tuple[Target, ...]:
    """Return the ten spots proposed for a vessel, upper ones first."""
    lid = Target("C2", "centre, under the lid", 0, 0, 0.0, 0.85)
    outlet = Target("C1", "centre, above the outlet", 0, 0, 0.0, 0.15)
    if isinstance(vessel, VBlender):
        return _vee_targets()
    if isinstance(vessel, Drum):
        low = Target("C1", "centre, low", 0, 0, 0.0, 0.15)
        return (lid, *_ends(2, "high", 0.75), *_ends(1, "low", 0.4), low)
    if isinstance(vessel, Trough):
        high = Target("C2", "in front of the shaft, high", 0, 270, 0.5, 0.85)
        low = Target("C1", "behind the shaft, low", 0, 90, 0.6, 0.2)
        return (high, *_ends(2, "high", 0.8), *_ends(1, "low", 0.45), low)
    if isinstance(vessel, RectangularBin):
        return (lid, *_ring(_CORNERS, 2, "high", 0.75), *_ring(_CORNERS, 1, "low", 0.4), outlet)
    return (lid, *_ring(_COMPASS, 2, "high", 0.75), *_ring(_COMPASS, 1, "low", 0.4), outlet)


def _ring(
    places: Sequence[tuple[int, str, str]], level: int, word: str, up: float
) -> Iterator[Target]:
    for azimuth, code, name in places:
        yield Target(f"{code}{level}", f"{name}, {word}", 0, azimuth, 0.85, up)


def _ends(level: int, word: str, up: float) -> Iterator[Target]:
    for azimuth, code, name in _CORNERS:
        end = name.replace(" corner", " end")
        yield Target(f"{code}{level}", f"{end}, {word}", 0, azimuth, 0.8, up)


def _vee_targets() -> tuple[Target, ...]:
    legs = ((-1, "W", "west leg"), (1, "E", "east leg"))
    found = [
        Target(f"{code}{side}{level}", f"{name}, {where}, {word}", leg, azimuth, 0.75, up)
        for level, word, up in ((2, "high", 0.85), (1, "middle", 0.6))
        for leg, code, name in legs
        for azimuth, side, where in _SIDES
    ]
    plane = Target("P2", "plane of symmetry, high", 0, 90, 0.35, 0.8)
    return (plane, *found, Target("P1", "apex, above the outlet", 0, 0, 0.0, 0.2))


def propose(plan: Plan) -> tuple[Location, ...]:
    """Return ten locations for the plan's vessel, in an order that crosses no earlier wake.

    The plan's own locations are not looked at. Places that cannot be reached through the manway
    are drawn towards the middle until they can.

    Raises:
        PlanError: a spot cannot be sampled at all with this sampler through this manway.
    """
    bed = bed_of(plan)
    chosen: list[Insertion] = []
    for target in targets(plan.vessel):
        chosen.append(_placed(plan, bed, target, chosen))
    order = insertion_order(chosen, plan.wake_mm)
    return tuple(chosen[index].location for index in (order or range(len(chosen))))


def _placed(plan: Plan, bed: Bed, target: Target, chosen: Sequence[Insertion]) -> Insertion:
    for tried, draw, wide in _tries(target):
        spot = _spot(plan, bed, tried, draw)
        for location in _aims(plan, bed, tried, spot, wide=wide):
            entered = insertion(plan, bed, location)
            if _works(plan, entered, chosen):
                return entered
    raise PlanError(
        f"[vessel]: no way into the bed was found for '{target.description}'; widen or move the "
        "manway, take a longer sampler, or write the locations by hand"
    )


def _tries(target: Target) -> Iterator[tuple[Target, float, bool]]:
    """A target, how far it is drawn in, and whether the whole manway is searched for an entry.

    A target in the middle may also step aside, out of the way of the one above it.
    """
    for draw in np.linspace(1.0, 0.6, 9):
        yield target, float(draw), False
    for draw in np.linspace(1.0, 0.1, 10):
        yield target, float(draw), True
    if target.out == 0:
        for out, azimuth in itertools.product((0.3, 0.6), (45, 135, 225, 315)):
            for draw in (1.0, 0.7, 0.4):
                yield replace(target, out=out, azimuth=azimuth), draw, True


def _spot(plan: Plan, bed: Bed, target: Target, draw: float) -> Array:
    """Point of the bed a target means, drawn towards the middle by a factor, shape (3,)."""
    ports = plan.sampler.ports_mm
    cover = plan.limits.port_cover_mm + ports[-1] - ports[0] + _SPARE_MM
    middle_up = 0.5
    up = middle_up + (target.up - middle_up) * draw**0.5
    hub = np.array([0.0, 0.0, up * bed.peak_mm])
    if target.leg:
        floor, ceiling = _leg_extent(bed, float(hub[2]))
        hub[0] = target.leg * (floor + ceiling) / 2
    turn = radians(target.azimuth)
    half_x, half_y = bed.shape.half_mm
    # Stretched with the vessel, so that 45 degrees means the corner, not the diagonal.
    ray = np.array([cos(turn) * half_x, sin(turn) * half_y, 0.0])
    ray /= hypot(ray[0], ray[1])
    hub += target.out * draw * _to_wall(bed, hub, ray) * ray
    highest = float(bed.surface(hub[0], hub[1])) - cover
    hub[2] = min(float(hub[2]), highest)
    return hub


_SPARE_MM = 15.0
"""Beyond every limit, so that rounding to the scale's step does not break one."""


def _leg_extent(bed: Bed, height: float) -> tuple[float, float]:
    """Least and greatest x of the east leg at a height in the plane of the V."""
    x = np.linspace(0.0, bed.shape.half_mm[0], 401)
    floor, ceiling = bed.shape.columns(x, np.zeros_like(x))
    inside = x[(floor < height) & (height < ceiling)]
    return float(inside[0]), float(inside[-1])


def _to_wall(bed: Bed, hub: Array, ray: Array) -> float:
    """Distance from a point to the wall in a level direction, mm, to a hundredth."""
    steps = np.arange(0.0, hypot(*bed.shape.half_mm) * 2, 1.0)
    inside = bed.shape.gap(hub + steps[:, None] * ray) > 0
    return float(steps[int(np.argmin(inside)) - 1]) if inside[0] else 0.0


def _aims(plan: Plan, bed: Bed, target: Target, spot: Array, *, wide: bool) -> Iterator[Location]:
    """Ways to reach a spot, upright ones first, rounded to what a person can set."""
    openings = [hole for hole in bed.openings if target.leg * hole.centre[0] >= 0]
    # A dictionary keeps one of equal ways, and their order.
    ways = {
        location: None
        for hole in openings
        for entry in _entries(hole, plan.sampler.diameter_mm / 2, spot, wide=wide)
        for location in _aim(plan, bed, target, entry, spot)
    }
    return iter(sorted(ways, key=lambda location: location.tilt_deg))


def _entries(opening: Opening, radius: float, spot: Array, *, wide: bool) -> Iterator[Array]:
    """Points of a rim worth trying: from over the spot to the middle, or a net over the rim."""
    free = opening.radius_mm - radius - _SPARE_MM
    middle = np.array(opening.centre)
    out = spot[:2] - middle[:2]
    far = float(hypot(*out))
    nearest = out * min(1.0, free / far if far > 0 else 1.0)
    if not wide:
        yield from (middle[:2] + share * nearest for share in (1.0, 0.8, 0.6, 0.4, 0.2, 0.0))
        return
    for share in (0.9, 0.6, 0.3, 0.0):
        for turn in np.arange(12) * pi / 6:
            yield middle[:2] + share * free * np.array([cos(turn), sin(turn)])


def _aim(plan: Plan, bed: Bed, target: Target, entry: Array, spot: Array) -> Iterator[Location]:
    x, y = _on_the_clock(bed, entry)
    opening = min(bed.openings, key=lambda hole: abs(hole.centre[0] - x))
    rim = opening.rim(x, y)
    dx, dy, dz = (float(value) for value in spot - rim)
    towards = clock_of(degrees(np.arctan2(dy, dx))).towards_deg
    turn = radians(towards)
    # The direction is told in half hours; of the tilts in it, the one that passes nearest the spot.
    tilt = float(round(degrees(np.arctan2(dx * cos(turn) + dy * sin(turn), -dz))))
    towards = towards if tilt else 0.0
    below = float(bed.surface(spot[0], spot[1])) - float(spot[2])
    if not 0 <= tilt <= _MOST_TILT_DEG or tilt + plan.powder.repose_deg > _MOST_SLOPE_DEG:
        return
    yield Location(
        code=target.code,
        description=target.description,
        x_mm=x,
        y_mm=y,
        below_surface_mm=float(round(below / 5) * 5),
        tilt_deg=tilt,
        towards_deg=towards,
    )


def _on_the_clock(bed: Bed, entry: Array) -> tuple[float, float]:
    """The point of the rim nearest an entry that is told exactly: half hours, steps of 5 mm."""
    opening = min(bed.openings, key=lambda hole: abs(hole.centre[0] - entry[0]))
    out, towards = from_middle(opening, float(entry[0]), float(entry[1]))
    whole = _nearest(out, ENTRY_STEP_MM) if out >= MIDDLE_MM else 0.0
    x, y = entry_at(opening, whole, clock_of(towards).towards_deg)
    return _nearest(x, 1), _nearest(y, 1)


def _nearest(value: float, step: int) -> float:
    """Round to a multiple of a step, ties towards zero, so that mirrored places stay mirrored."""
    return copysign(max(ceil(abs(value) / step - 0.5 - _TIE), 0) * step, value) + 0.0


_TIE = 1e-6
"""What rounding in the last digits may add to a tie."""


_TUBE_ROOM_MM = 5.0
"""Between tube and rim; less cannot be held by hand without touching."""

_MOST_TILT_DEG = 45.0
_MOST_SLOPE_DEG = 80.0


def _works(plan: Plan, entered: Insertion, chosen: Sequence[Insertion]) -> bool:
    limits = plan.limits
    valve = entered.valve_gap_mm
    if not (
        min(entered.cover_mm) >= limits.port_cover_mm
        and entered.tip_gap_mm >= limits.tip_clearance_mm
        and (valve is None or valve >= limits.valve_clearance_mm)
        and entered.tube_gap_mm >= _TUBE_ROOM_MM
        and entered.room_mm >= limits.handle_room_mm
    ):
        return False
    # One of two insertions must leave the other's ports alone, or no order helps.
    return all(
        float(port_distances(entered, other).min()) >= plan.wake_mm
        or float(port_distances(other, entered).min()) >= plan.wake_mm
        for other in chosen
    )
