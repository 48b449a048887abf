"""Entry and tilt as clock positions, seen from above, for the person at the vessel.

Twelve o'clock is north, away from whoever stands at the front; three o'clock is east, to the right
(our choice). A half hour is 15 degrees: finer than that nobody sets by ear.
"""

from dataclasses import dataclass
from math import atan2, cos, degrees, floor, hypot, radians, sin

import numpy as np

from assistant.plan.insertion_geometry import direction, insertion, opening_for
from assistant.plan.manway import Opening
from assistant.plan.model import Location, Plan
from assistant.plan.powder_bed import Bed, bed_of

HALF_HOUR_DEG = 15
ENTRY_STEP_MM = 5
"""Step to which the distance from the middle of the manway is told."""

MIDDLE_MM = 10
"""An entry nearer to the middle of the manway than this is told as the middle."""


@dataclass(frozen=True, slots=True)
class Clock:
    """A direction as a place of the hour hand."""

    hour: int
    """1 to 12."""
    half: bool = False
    """Half an hour further."""

    @property
    def towards_deg(self) -> float:
        """The same direction counted from east over north, degrees, 0 up to 360."""
        return (90 - 30 * self.hour - HALF_HOUR_DEG * self.half) % 360.0

    def __str__(self) -> str:
        """As it is printed, such as 4:30."""
        return f"{self.hour}:{'30' if self.half else '00'}"


@dataclass(frozen=True, slots=True)
class Aim:
    """How one insertion is aimed, in round numbers.

    Attributes:
        manway: "west" or "east" where the vessel has two, else "".
        entry_mm: in the plane of the rim, from the middle of the manway to the sampler's axis.
        entry: in which direction from the middle; None in the middle.
        tilt_deg: of the sampler from the vertical.
        tip: where the tip goes on its way down; the handle leans the other way. None upright.
    """

    manway: str
    entry_mm: int
    entry: Clock | None
    tilt_deg: int
    tip: Clock | None

    @property
    def entry_text(self) -> str:
        """Where to enter, as it is printed."""
        where = f"{self.entry_mm} mm at {self.entry}" if self.entry else "in the middle"
        return f"{self.manway}, {where}" if self.manway else where

    @property
    def tilt_text(self) -> str:
        """How to lean the sampler, as it is printed."""
        return f"{self.tilt_deg}\N{DEGREE SIGN}, tip to {self.tip}" if self.tip else "upright"


def clock_of(towards_deg: float) -> Clock:
    """Return the half hour nearest to a direction counted from east over north, degrees."""
    halves = floor((90 - towards_deg) / HALF_HOUR_DEG + 0.5) % 24
    return Clock(halves // 2 or 12, bool(halves % 2))


def aim(plan: Plan, location_index: int) -> Aim:
    """Return how a location of a plan is aimed.

    Raises:
        PlanError: the powder does not fit the vessel, or a manway does not lie in its top.
        IndexError: the plan has no such location.
    """
    return aim_of(bed_of(plan), plan.locations[location_index])


def aim_of(bed: Bed, location: Location) -> Aim:
    """Return how one location is aimed, whether or not it stands in the plan."""
    opening = opening_for(bed, location)
    out, towards = from_middle(opening, location.x_mm, location.y_mm)
    entry_mm = _whole(out, ENTRY_STEP_MM) if out >= MIDDLE_MM else 0
    tilt = _whole(location.tilt_deg, 1)
    manway = ""
    if len(bed.openings) > 1:
        manway = "west" if opening.centre[0] < 0 else "east"
    return Aim(
        manway=manway,
        entry_mm=entry_mm,
        entry=clock_of(towards) if entry_mm else None,
        tilt_deg=tilt,
        tip=clock_of(location.towards_deg) if tilt else None,
    )


def from_middle(opening: Opening, x_mm: float, y_mm: float) -> tuple[float, float]:
    """Return distance in mm and direction in degrees from the middle of a manway, in its plane."""
    out = opening.rim(x_mm, y_mm) - np.array(opening.centre)
    # Along the slope of a leaning rim it is farther than seen from above.
    east = float(out[0]) / opening.normal[2]
    return hypot(east, float(out[1])), degrees(atan2(float(out[1]), east)) % 360.0


def entry_at(opening: Opening, out_mm: float, towards_deg: float) -> tuple[float, float]:
    """Return x and y, mm, of a point in a manway's plane; the inverse of `from_middle`."""
    turn = radians(towards_deg)
    x, y, _ = opening.centre
    return x + out_mm * cos(turn) * opening.normal[2], y + out_mm * sin(turn)


def told_shift_mm(plan: Plan, bed: Bed, location: Location) -> float:
    """Return how far the tip ends from its planned place where the aim is followed as told, mm.

    Raises:
        PlanError: the depth cannot be reached.
    """
    told, opening = aim_of(bed, location), opening_for(bed, location)
    towards = told.entry.towards_deg if told.entry else 0.0
    x, y = entry_at(opening, told.entry_mm, towards)
    leant = location.model_copy(
        update={
            "tilt_deg": float(told.tilt_deg),
            "towards_deg": told.tip.towards_deg if told.tip else 0.0,
        }
    )
    planned = insertion(plan, bed, location)
    reached = opening.rim(x, y) + planned.length_mm * direction(leant)
    return float(np.linalg.norm(reached - planned.tip))


def _whole(value: float, step: int) -> int:
    """Round half up to a multiple of a step."""
    return floor(value / step + 0.5) * step
