"""What the page shows of the plan, which never changes: the study, the sampler, the drawing.

Coordinates are whole millimetres in the vessel's axes (`assistant.plan.vessel`), so that the page
has nothing to compute.
"""

from math import cos, pi, sin

from pydantic import BaseModel, ConfigDict

from assistant.grammar.language import Language
from assistant.plan.insertion_geometry import Insertion, insertions
from assistant.plan.model import Plan
from assistant.plan.powder_bed import Bed, bed_of
from assistant.plan.shapes import Array
from assistant.plan.vessel import Trough
from assistant.report.silhouette import silhouette

__all__ = ["Drawn", "PlanPicture", "Projection", "plan_picture"]

_STEPS = 120
"""Columns across a drawing; finer than a tablet shows it."""

Point = tuple[int, int]


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True)


class Drawn(_Frozen):
    """One insertion as a line in one projection."""

    handle: Point
    """Where the handle begins."""
    entry: Point
    """Where the axis crosses the plane of the rim."""
    surface: Point
    """Where it meets the powder."""
    tip: Point
    ports: tuple[Point, ...]


class Projection(_Frozen):
    """The vessel seen from one side: across and up; or from above: east and north."""

    vessel: tuple[Point, ...]
    """Outline, a closed polygon."""
    powder: tuple[Point, ...]
    """The same of the powder; empty from above."""
    shaft: tuple[Point, ...]
    """The same of a trough's agitator shaft; empty in other vessels."""
    rims: tuple[tuple[Point, Point], ...]
    """The manways' rims: both ends of each, from above two opposite corners around it."""
    insertions: tuple[Drawn, ...]
    """In the order of the plan's locations."""


class PlanPicture(_Frozen):
    """Everything of a plan that the page shows."""

    title: str
    protocol: str
    product: str
    batch: str
    stage: str
    vessel: str
    sampler: str
    positions: tuple[str, ...]
    """Names of the shaft positions in the order they are sampled."""
    ports: int
    locations: tuple[tuple[str, str], ...]
    """Code and description of each."""
    fill_s: float
    """Shortest time a port stays open."""
    fill_limit_s: float
    """Longest time."""
    seen_from: str
    """"south" or "east"."""
    section: Projection
    above: Projection
    tube_mm: float
    wake_mm: float
    """How far from its axis an insertion disturbs the powder."""


def plan_picture(plan: Plan, language: Language) -> PlanPicture:
    """Work out the picture of a plan.

    Args:
        plan: the plan.
        language: the names of the positions.

    Raises:
        PlanError: the powder does not fit the vessel, or a depth cannot be reached.
    """
    bed = bed_of(plan)
    entered = insertions(plan, bed)
    side = _wider_side(entered)
    return PlanPicture(
        title=plan.study.title,
        protocol=plan.study.protocol,
        product=plan.study.product,
        batch=plan.study.batch,
        stage=plan.study.stage,
        vessel=plan.vessel.kind.replace("-", " "),
        sampler=f"{plan.sampler.kind} sampler {plan.sampler.identity}, dies {plan.sampler.die_set}",
        positions=tuple(language.names.get(p, p) for p in plan.sampler.positions),
        ports=len(plan.sampler.ports_mm),
        locations=tuple((place.code, place.description) for place in plan.locations),
        fill_s=plan.timing.fill_s,
        fill_limit_s=plan.timing.fill_limit_s,
        seen_from=("south", "east")[side],
        section=_section(plan, bed, entered, side),
        above=_above(plan, bed, entered),
        tube_mm=plan.sampler.diameter_mm,
        wake_mm=plan.wake_mm,
    )


def _wider_side(entered: tuple[Insertion, ...]) -> int:
    """The side from which the tips lie farthest apart: 0 from the south, 1 from the east."""
    spread = [
        max(one.tip[axis] for one in entered) - min(one.tip[axis] for one in entered)
        for axis in (0, 1)
    ]
    return 0 if spread[0] >= spread[1] else 1


def _section(plan: Plan, bed: Bed, entered: tuple[Insertion, ...], side: int) -> Projection:
    across, floor, ceiling, top = silhouette(bed, side, _STEPS)
    up, down = list(zip(across, ceiling, strict=True)), list(zip(across, floor, strict=True))
    wet = [(x, low, high) for x, low, high in zip(across, floor, top, strict=True) if high > low]
    return Projection(
        vessel=_points([*down, *reversed(up)]),
        powder=_points(
            [*((x, low) for x, low, _ in wet), *((x, hi) for x, _, hi in reversed(wet))]
        ),
        shaft=_shaft(plan, (side, 2)),
        rims=_rims(bed, side),
        insertions=tuple(_drawn(one, (side, 2)) for one in entered),
    )


def _rims(bed: Bed, side: int) -> tuple[tuple[Point, Point], ...]:
    found = []
    for hole in bed.openings:
        east = hole.radius_mm * hole.normal[2] if side == 0 else hole.radius_mm
        fall = hole.radius_mm * hole.normal[0] if side == 0 else 0.0
        middle, height = hole.centre[side], hole.centre[2]
        ends = _points([(middle - east, height + fall), (middle + east, height - fall)])
        found.append((ends[0], ends[1]))
    return tuple(found)


def _shaft(plan: Plan, axes: tuple[int, int]) -> tuple[Point, ...]:
    """Outline of the agitator's shaft: a band along x, or a disc seen from its end."""
    vessel = plan.vessel
    if not isinstance(vessel, Trough):
        return ()
    radius, height = vessel.shaft_diameter_mm / 2, (0.0, 0.0, vessel.diameter_mm / 2)[axes[1]]
    if axes[0] == 1:
        turns = [2 * pi * turn / 24 for turn in range(24)]
        return _points([(radius * cos(t), height + radius * sin(t)) for t in turns])
    half = vessel.length_mm / 2
    low, high = height - radius, height + radius
    return _points([(-half, low), (half, low), (half, high), (-half, high)])


def _above(plan: Plan, bed: Bed, entered: tuple[Insertion, ...]) -> Projection:
    """The view from above; every vessel is symmetric about both axes and has no gap along y."""
    across, _, depth, _ = silhouette(bed, 0, _STEPS)
    del depth
    reach = [_reach(bed, float(x)) for x in across]
    back = list(zip(across, reach, strict=True))
    front = [(x, -y) for x, y in reversed(back)]
    rims = []
    for hole in bed.openings:
        (x, y, _), radius = hole.centre, hole.radius_mm
        corners = _points(
            [(x - radius * hole.normal[2], y - radius), (x + radius * hole.normal[2], y + radius)]
        )
        rims.append((corners[0], corners[1]))
    return Projection(
        vessel=_points([*back, *front]),
        powder=(),
        shaft=_shaft(plan, (0, 1)),
        rims=tuple(rims),
        insertions=tuple(_drawn(one, (0, 1)) for one in entered),
    )


def _reach(bed: Bed, x: float) -> float:
    """How far north the vessel reaches at `x`, by halving, to a hundredth of a millimetre."""
    low, high = 0.0, bed.shape.half_mm[1]
    while high - low > 0.01:  # noqa: PLR2004 - said above
        middle = (low + high) / 2
        floor, ceiling = bed.shape.columns(x, middle)
        low, high = (middle, high) if ceiling > floor else (low, middle)
    return low


def _drawn(one: Insertion, axes: tuple[int, int]) -> Drawn:
    def flat(at: Array) -> Point:
        return round(float(at[axes[0]])), round(float(at[axes[1]]))

    return Drawn(
        handle=flat(one.entry - one.room_mm * one.along),
        entry=flat(one.entry),
        surface=flat(one.surface),
        tip=flat(one.tip),
        ports=tuple(flat(port) for port in one.ports),
    )


def _points(pairs: list[tuple[float, float]]) -> tuple[Point, ...]:
    return tuple((round(float(a)), round(float(b))) for a, b in pairs)
