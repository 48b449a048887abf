"""The plan as frozen models; every field says its unit.

Does no arithmetic beyond counting: geometry, masses and reach are worked out by the modules beside
this one. Lengths are millimetres, masses as named, angles degrees.
"""

from collections.abc import Iterator
from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, field_validator, model_validator

from assistant.plan.field_types import (
    BulkDensity,
    Code,
    Length,
    Mark,
    Name,
    NotNegative,
    Number,
    Part,
    Place,
    Positive,
    TrueDensity,
)
from assistant.plan.vessel import Vessel

MAX_LOCATIONS = 200
"""More than any study takes; keeps a mistyped plan from filling the memory."""


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
    protocol: Mark
    product: Name
    batch: Mark
    stage: Name = "final blend"
    replicates_reason: Name | None = None
    """Why fewer than three samples are taken from one spot, where they are."""


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
    target_percent: Annotated[Number, Field(ge=100, le=150)] = 100.0
    """T: target content of a dosage unit at manufacture, percent of label claim (USP <905>); above
    100 where an overage is approved. Results are in percent of label claim whatever T is."""

    @model_validator(mode="after")
    def _claim_within_mass(self) -> Self:
        if self.label_claim_mg > self.mass_mg:
            msg = (
                f"label_claim_mg {self.label_claim_mg:g} is more than the whole unit dose of "
                f"{self.mass_mg:g} mg; both are in milligrams"
            )
            raise ValueError(msg)
        return self


class Powder(Part):
    """The blend as it lies in the vessel."""

    fill_mass_kg: Positive
    bulk_density_g_ml: BulkDensity
    """As it lies after tumbling."""
    tapped_density_g_ml: BulkDensity
    repose_deg: Annotated[Number, Field(ge=0, le=70)] = 0.0
    """Angle of the heap on top; 0 where the bed has been levelled."""
    active_d50_um: Annotated[Positive, Field(ge=0.05, le=5000)] | None = None
    """Mass-median diameter of the active substance, micrometres."""
    active_gsd: Annotated[Number, Field(ge=1, le=10)] | None = None
    """Geometric standard deviation of that diameter."""
    active_density_g_ml: TrueDensity | None = None
    """Of the particles themselves."""
    filler_d50_um: Annotated[Positive, Field(ge=0.05, le=5000)] = 100.0
    """Mass-median diameter of everything that is not active."""
    filler_gsd: Annotated[Number, Field(ge=1, le=10)] = 1.8
    filler_density_g_ml: TrueDensity = 1.5

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.tapped_density_g_ml < self.bulk_density_g_ml:
            msg = (
                f"tapped_density_g_ml {self.tapped_density_g_ml:g} is less than "
                f"bulk_density_g_ml {self.bulk_density_g_ml:g}; are they exchanged?"
            )
            raise ValueError(msg)
        described = (self.active_d50_um, self.active_gsd, self.active_density_g_ml)
        if None in described and described != (None, None, None):
            msg = "active_d50_um, active_gsd and active_density_g_ml go together; give all or none"
            raise ValueError(msg)
        return self


WIDEST_CLEARANCE_MM = 3.0
"""Beyond any running fit; a larger number is in another unit."""


class Sampler(Part):
    """The two-part thief: outer tube, inner shaft, ports, dies."""

    identity: Mark
    kind: Literal["single", "duplicate", "triplicate"]
    ports_mm: Annotated[tuple[Length, ...], Field(min_length=1, max_length=12)]
    """Distance of each port's middle from the tip, nearest the tip first."""
    length_mm: Length
    """From the tip to where the handle begins."""
    diameter_mm: Annotated[Length, Field(le=200)] = 25.0
    """Of the outer tube."""
    clearance_mm: Positive
    """Running clearance between shaft and tube: the difference of the two diameters."""
    graduation_mm: Annotated[int, Field(strict=True, ge=1, le=50)] = 5
    """Step of the scale on the tube; a computed insertion is rounded to it."""
    shaft: Literal["metal", "plastic"] = "metal"
    mass_kg: Annotated[Positive, Field(le=200)] = 3.0
    die_volume_ml: Annotated[Positive, Field(le=100)]
    die_set: Mark
    """Identity of the die set, as engraved or labelled."""
    dose_multiple_reason: Name | None = None
    """Why the die holds less than one or more than three unit doses, where it does."""

    @property
    def positions(self) -> tuple[Position, ...]:
        """The shaft positions in the order they are sampled."""
        return POSITIONS[self.kind]

    @field_validator("clearance_mm")
    @classmethod
    def _in_millimetres(cls, value: float) -> float:
        if value > WIDEST_CLEARANCE_MM:
            msg = (
                "no sampler runs so loosely; the unit is mm; if it is in thousandths of an inch, "
                f"write {value * 0.0254:.3f}"
            )
            raise ValueError(msg)
        return value

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
    x_mm: Place
    """Where the sampler's axis crosses the plane of the manway's rim, in the vessel's axes."""
    y_mm: Place
    depth_mm: Length | None = None
    """How far the tip goes in along the sampler: from the entry mark (the rim) to the tip."""
    below_surface_mm: Length | None = None
    """Instead of depth_mm: how far straight below the surface the lowest port shall lie."""
    tilt_deg: Annotated[Number, Field(ge=0, le=60)] = 0.0
    """From the vertical."""
    towards_deg: Annotated[Number, Field(ge=-360, le=360)] = 0.0
    """Where the tip goes on its way down, in the vessel's axes: 0 to the east (+x), 90 to the
    north; the handle leans the other way."""

    @model_validator(mode="after")
    def _one_depth(self) -> Self:
        if (self.depth_mm is None) == (self.below_surface_mm is None):
            msg = "give either depth_mm or below_surface_mm, one of the two"
            raise ValueError(msg)
        return self


class Timing(Part):
    """Waiting times, in seconds."""

    fill_s: Annotated[Number, Field(ge=0, le=120)] = 5.0
    """Shortest time a port stays open."""
    fill_limit_s: Annotated[Number, Field(gt=0, le=600)] = 30.0
    """A port open for longer is announced and noted."""
    shed_s: Annotated[Number, Field(ge=0, le=60)] = 3.0
    """How long the sampler is held with the dies down."""

    @model_validator(mode="after")
    def _limit_after_minimum(self) -> Self:
        if self.fill_limit_s <= self.fill_s:
            msg = f"fill_limit_s {self.fill_limit_s:g} must exceed fill_s {self.fill_s:g}"
            raise ValueError(msg)
        return self


class Weighing(Part):
    """Weigh every vial's content during the session and speak the mass."""

    balance: Mark
    minimum_mg: Positive
    """Smallest net weight of this balance (USP <41>)."""
    readability_mg: Positive = 0.1


Caution = Literal["isolated", "earthed", "protected"]
"""Vessel isolated by the site's procedure; sampler earthed; protective clothing worn."""

WitnessedStep = Literal["at-depth", "port-open", "port-closed", "vial", "tube-emptied", "signing"]


class Limits(Part):
    """What the plan is held against; this program's choice unless a line names a source."""

    fewest_locations: Annotated[int, Field(strict=True, ge=1, le=MAX_LOCATIONS)] = 10
    """Least number of locations (FDA draft guidance of 2003, withdrawn; ISPE 2015)."""
    port_cover_mm: NotNegative = 30.0
    """Least depth of a port's middle straight below the powder's surface."""
    tip_clearance_mm: NotNegative = 30.0
    """Least distance of the tip's edge from the wall."""
    valve_clearance_mm: NotNegative = 50.0
    """Least distance of the tip's edge from the outlet."""
    handle_room_mm: NotNegative = 100.0
    """Least length of tube left outside the manway."""
    wake_mm: NotNegative | None = None
    """How far from its axis an insertion disturbs the bed; two tube diameters if left out."""
    coverage_mm: Positive | None = None
    """How near a sample every spot of the bed should have; 1.5 times the radius of a ball holding
    one location's share of the bed where this is left out."""
    mass_tolerance: Annotated[Number, Field(ge=0, lt=1)] = 0.15
    """How far beyond bulk and tapped density a die's content may weigh before it is remarked."""
    sd_percent: Positive = 3.0
    """Standard deviation of the blend, percent of target, that the study is to judge."""


class Handling(Part):
    """How the sampler is held while it is drawn out, for the lifting guidance."""

    reach_cm: Annotated[Number, Field(ge=25, le=63)] = 40.0
    """From the ankles to the hands, horizontally."""
    hands_cm: Annotated[Number, Field(ge=0, le=175)] = 90.0
    """Height of the hands above the platform when the lift begins."""


Percent = Annotated[Number, Field(ge=0, le=1000)]
"""Percent of label claim."""


class Acceptance(Part):
    """Limits of the study's protocol for the evaluation, percent of label claim.

    A limit that is left out is not set.
    """

    justification: Name
    """Where the limits come from: protocol and section."""
    mean: tuple[Percent, Percent] | None = None
    """Lowest and highest mean of all results."""
    location_mean: tuple[Percent, Percent] | None = None
    """Lowest and highest mean of a location."""
    individual: tuple[Percent, Percent] | None = None
    """Lowest and highest single result."""
    from_mean: Positive | None = None
    """Largest distance of a single result from the mean of all."""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        for name in ("mean", "location_mean", "individual"):
            pair = getattr(self, name)
            if pair is not None and pair[0] >= pair[1]:
                msg = f"{name} {pair[0]:g} to {pair[1]:g} excludes everything; put the lower first"
                raise ValueError(msg)
        return self


class Laboratory(Part):
    """How the laboratory reports its assays."""

    unit: Literal["% of target", "% by weight", "fraction of target", "mg", "mg/g"] | None = None
    """Unit of the assays; settles a heading that does not say of what a percentage is."""


class Blending(Part):
    """How the batch was mixed before it is sampled; batches are compared by it."""

    minutes: Annotated[Positive, Field(le=10_000)] | None = None
    """Time of blending."""
    revolutions: Annotated[Positive, Field(le=1_000_000)] | None = None
    """Revolutions of the vessel of a tumbler, or of the agitator of a convective blender."""

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.minutes is None and self.revolutions is None:
            msg = "give minutes, revolutions or both, or leave [blending] out"
            raise ValueError(msg)
        return self


class Plan(Part):
    """A whole study on paper."""

    version: Literal[1] = Field(alias="plan", default=1)
    study: Study
    people: Annotated[tuple[Person, ...], Field(min_length=1, max_length=12)]
    dose: Dose
    powder: Powder
    vessel: Vessel
    blending: Blending | None = None
    sampler: Sampler
    locations: Annotated[tuple[Location, ...], Field(min_length=1, max_length=MAX_LOCATIONS)]
    timing: Timing = Timing()
    weighing: Weighing | None = None
    limits: Limits = Limits()
    handling: Handling = Handling()
    acceptance: Acceptance | None = None
    """Limits of the protocol; without them the published scheme alone decides."""
    laboratory: Laboratory = Laboratory()
    dialogue: Literal["full", "short"] = "full"
    """Every step confirmed separately; or consecutive steps confirmed together, in fewer words."""
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
            twice = next((n for n, name in enumerate(names) if name in names[:n]), None)
            if twice is not None:
                first = names.index(names[twice])
                msg = f"{what} {names[twice]!r} stands twice: numbers {first + 1} and {twice + 1}"
                raise ValueError(msg)
        if not any(person.role == "operator" for person in self.people):
            msg = "people names no operator"
            raise ValueError(msg)
        if self.witnessed and not any(person.role == "witness" for person in self.people):
            msg = "witnessed steps need a person whose role is 'witness'"
            raise ValueError(msg)
        return self

    @property
    def wake_mm(self) -> float:
        """How far from its own axis an insertion disturbs the bed."""
        given = self.limits.wake_mm
        return 2 * self.sampler.diameter_mm if given is None else given

    @property
    def vials_per_insertion(self) -> int:
        """Dies, and so vials, of one insertion: positions times ports."""
        return len(self.sampler.positions) * len(self.sampler.ports_mm)

    def dies(self) -> Iterator[tuple[int, int]]:
        """Yield (position index, port index) in the order in which the dies are emptied."""
        for position in range(len(self.sampler.positions)):
            for port in range(len(self.sampler.ports_mm)):
                yield position, port
