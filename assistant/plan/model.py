"""The plan as frozen models; every field says its unit.

Does no arithmetic beyond counting: geometry, masses and reach are worked out by the modules beside
this one. Lengths are millimetres, masses as named, angles degrees.
"""

from collections.abc import Iterator
from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, model_validator

Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=80)]
Code = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._-]{0,11}$")]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
Signed = Annotated[float, Field(allow_inf_nan=False)]

MAX_LOCATIONS = 200
"""More than any study takes; keeps a mistyped plan from filling the memory."""


class Part(BaseModel):
    """Base of all parts of a plan: frozen, and no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Position(StrEnum):
    """Where the inner shaft stands in the outer tube; each position faces its own set of dies."""

    BOTTOM = "bottom"
    MIDDLE = "middle"
    TOP = "top"


POSITIONS: dict[str, tuple[Position, ...]] = {
    "single": (Position.BOTTOM,),
    "duplicate": (Position.BOTTOM, Position.TOP),
    "triplicate": (Position.BOTTOM, Position.MIDDLE, Position.TOP),
}
"""The order in which the positions are sampled, by kind of sampler."""


class Study(Part):
    """What the record is about."""

    title: Name
    protocol: Name
    product: Name
    batch: Name
    stage: Name = "final blend"


class Person(Part):
    """Somebody who may speak to the program."""

    name: Name
    role: Literal["operator", "witness"]
    call: Annotated[str, StringConstraints(pattern=r"^[a-z]{2,16}$")]
    """One ICAO alphabet word by which this person takes over."""


class Dose(Part):
    """The unit dose the blend is made for."""

    mass_mg: Positive
    label_claim_mg: Positive
    """Active substance in one unit dose."""


class Powder(Part):
    """The blend as it lies in the vessel."""

    fill_mass_kg: Positive
    bulk_density_g_ml: Positive
    tapped_density_g_ml: Positive
    repose_deg: Annotated[float, Field(ge=0, lt=90)] = 0.0
    """Angle of the heap on top; 0 where the bed has been levelled."""
    active_d50_um: Positive | None = None
    """Mass-median diameter of the active substance, micrometres."""
    active_gsd: Annotated[float, Field(ge=1)] | None = None
    """Geometric standard deviation of that diameter."""
    active_density_g_ml: Positive | None = None


class Manway(Part):
    """The opening the sampler goes through, in the vessel's own axes (origin: lowest point)."""

    x_mm: Signed = 0.0
    y_mm: Signed = 0.0
    diameter_mm: Positive = 400.0


class DoubleCone(Part):
    """Two cones on a short cylinder, standing with the outlet down."""

    kind: Literal["double-cone"]
    diameter_mm: Positive
    outlet_diameter_mm: Positive
    cylinder_height_mm: Positive
    cone_height_mm: Positive
    manway: Manway = Manway()


class VBlender(Part):
    """Two cylinders of one diameter joined in a V, apex down."""

    kind: Literal["v-blender"]
    leg_diameter_mm: Positive
    leg_length_mm: Positive
    """Along the leg's axis, from where the axes meet to the cap."""
    angle_deg: Annotated[float, Field(gt=30, lt=150)] = 75.0
    """Between the two legs."""
    manway: Manway = Manway()


class Drum(Part):
    """A cylinder lying on its side."""

    kind: Literal["drum"]
    diameter_mm: Positive
    length_mm: Positive
    manway: Manway = Manway()


class Cylinder(Part):
    """A cylinder standing up."""

    kind: Literal["cylinder"]
    diameter_mm: Positive
    height_mm: Positive
    manway: Manway = Manway()


class RectangularBin(Part):
    """A rectangular box on a pyramidal hopper."""

    kind: Literal["rectangular-bin"]
    length_mm: Positive
    width_mm: Positive
    outlet_length_mm: Positive
    outlet_width_mm: Positive
    hopper_height_mm: Positive
    box_height_mm: Positive
    manway: Manway = Manway()


class ConicalBin(Part):
    """A cylinder on a conical hopper."""

    kind: Literal["conical-bin"]
    diameter_mm: Positive
    outlet_diameter_mm: Positive
    hopper_height_mm: Positive
    cylinder_height_mm: Positive
    manway: Manway = Manway()


Vessel = Annotated[
    DoubleCone | VBlender | Drum | Cylinder | RectangularBin | ConicalBin,
    Field(discriminator="kind"),
]


class Sampler(Part):
    """The two-part thief: outer tube, inner shaft, ports, dies."""

    identity: Name
    kind: Literal["single", "duplicate", "triplicate"]
    ports_mm: Annotated[tuple[Positive, ...], Field(min_length=1, max_length=12)]
    """Distance of each port's middle from the tip, nearest the tip first."""
    length_mm: Positive
    """From the tip to where the handle begins."""
    diameter_mm: Positive = 25.0
    """Of the outer tube."""
    clearance_mm: Positive
    """Running clearance between shaft and tube."""
    shaft: Literal["metal", "plastic"] = "metal"
    mass_kg: Positive = 3.0
    die_volume_ml: Positive
    die_set: Name
    """Identity of the die set, as engraved or labelled."""
    dose_multiple_reason: Name | None = None
    """Why the die holds less than one or more than three unit doses, where it does."""

    @property
    def positions(self) -> tuple[Position, ...]:
        """The shaft positions in the order they are sampled."""
        return POSITIONS[self.kind]

    @model_validator(mode="after")
    def _ports_on_the_shaft(self) -> Self:
        if list(self.ports_mm) != sorted(set(self.ports_mm)):
            msg = "ports_mm must rise from the tip and not repeat"
            raise ValueError(msg)
        if self.ports_mm[-1] >= self.length_mm:
            msg = f"a port at {self.ports_mm[-1]:g} mm lies beyond length_mm {self.length_mm:g}"
            raise ValueError(msg)
        return self


class Location(Part):
    """One spot of the bed, entered once."""

    code: Code
    description: Name = "unnamed spot"
    x_mm: Signed
    """Where the sampler enters the powder's surface plane, in the vessel's axes."""
    y_mm: Signed
    depth_mm: Positive
    """How far the tip goes in along the sampler, from the entry mark to the tip."""
    tilt_deg: Annotated[float, Field(ge=0, le=60)] = 0.0
    """From the vertical."""
    towards_deg: Annotated[float, Field(ge=-360, le=360)] = 0.0
    """Compass direction of the tilt in the vessel's axes, 0 along x."""


class Timing(Part):
    """Waiting times, in seconds."""

    fill_s: Annotated[float, Field(ge=0, le=120)] = 5.0
    """Shortest time a port stays open."""
    fill_limit_s: Annotated[float, Field(gt=0, le=600)] = 30.0
    """A port open for longer is announced and noted."""
    shed_s: Annotated[float, Field(ge=0, le=60)] = 3.0
    """How long the sampler is held with the dies down."""

    @model_validator(mode="after")
    def _limit_after_minimum(self) -> Self:
        if self.fill_limit_s <= self.fill_s:
            msg = f"fill_limit_s {self.fill_limit_s:g} must exceed fill_s {self.fill_s:g}"
            raise ValueError(msg)
        return self


class Weighing(Part):
    """Weigh every vial's content during the session and speak the mass."""

    balance: Name
    minimum_mg: Positive
    """Smallest net weight of this balance (USP <41>)."""
    readability_mg: Positive = 0.1


Caution = Literal["isolated", "earthed", "protected"]
"""Vessel isolated by the site's procedure; sampler earthed; protective clothing worn."""

WitnessedStep = Literal["at-depth", "port-open", "port-closed", "vial", "tube-emptied", "signing"]


class Plan(Part):
    """A whole study on paper."""

    version: Literal[1] = Field(alias="plan", default=1)
    study: Study
    people: Annotated[tuple[Person, ...], Field(min_length=1, max_length=12)]
    dose: Dose
    powder: Powder
    vessel: Vessel
    sampler: Sampler
    locations: Annotated[tuple[Location, ...], Field(min_length=1, max_length=MAX_LOCATIONS)]
    timing: Timing = Timing()
    weighing: Weighing | None = None
    cautions: tuple[Caution, ...] = ("isolated", "earthed", "protected")
    witnessed: tuple[WitnessedStep, ...] = ()
    """Steps that a witness must affirm before they count."""

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        for what, names in (
            ("location code", [place.code.casefold() for place in self.locations]),
            ("name", [person.name.casefold() for person in self.people]),
            ("call", [person.call for person in self.people]),
        ):
            twice = next((name for name in names if names.count(name) > 1), None)
            if twice is not None:
                msg = f"{what} {twice!r} stands twice"
                raise ValueError(msg)
        if not any(person.role == "operator" for person in self.people):
            msg = "people names no operator"
            raise ValueError(msg)
        if self.witnessed and not any(person.role == "witness" for person in self.people):
            msg = "witnessed steps need a person whose role is 'witness'"
            raise ValueError(msg)
        return self

    @property
    def vials_per_insertion(self) -> int:
        """Dies, and so vials, of one insertion: positions times ports."""
        return len(self.sampler.positions) * len(self.sampler.ports_mm)

    def dies(self) -> Iterator[tuple[int, int]]:
        """Yield (position index, port index) in the order in which the dies are emptied."""
        for position in range(len(self.sampler.positions)):
            for port in range(len(self.sampler.ports_mm)):
                yield position, port
