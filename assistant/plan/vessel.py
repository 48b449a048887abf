"""The vessels as they stand in a plan: sizes in millimetres, origin at the lowest point, z upwards.

North is +y, east is +x. The formulas are in `shapes`; this module only says which sizes exist and
which of them contradict each other.
"""

from math import radians, tan
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from assistant.plan.field_types import Length, NotNegative, Number, Part, Place


class Manway(Part):
    """The round opening the sampler goes through; its rim is level and carries the entry mark."""

    x_mm: Place = 0.0
    y_mm: Place = 0.0
    diameter_mm: Length = 400.0
    neck_mm: NotNegative = 0.0
    """How far the rim stands above the vessel's top."""


class CapManways(Part):
    """One round opening in the middle of each cap of a V; its rim is square to the leg."""

    diameter_mm: Length = 300.0
    neck_mm: NotNegative = 0.0
    """How far the rim stands out from the cap, along the leg."""


class DoubleCone(Part):
    """Two cones on a short cylinder, standing with the outlet down."""

    kind: Literal["double-cone"]
    diameter_mm: Length
    outlet_diameter_mm: Length
    cylinder_height_mm: Length
    cone_height_mm: Length
    top_diameter_mm: Length | None = None
    """Where the upper cone ends; as wide as the outlet where this is left out."""
    manway: Manway = Manway()

    @property
    def lid_mm(self) -> float:
        """Diameter of the upper end."""
        return self.top_diameter_mm or self.outlet_diameter_mm

    @model_validator(mode="after")
    def _narrows(self) -> Self:
        _narrower(self.outlet_diameter_mm, self.diameter_mm, "outlet_diameter_mm")
        _narrower(self.lid_mm, self.diameter_mm, "top_diameter_mm")
        return self


class VBlender(Part):
    """Two cylinders of one diameter joined in a V, apex down; legs to the east and the west."""

    kind: Literal["v-blender"]
    leg_diameter_mm: Length
    leg_length_mm: Length
    """Along the leg's axis, from where the axes meet to the cap."""
    angle_deg: Annotated[Number, Field(gt=30, lt=150)] = 75.0
    """Between the two legs."""
    outlet_diameter_mm: Length = 150.0
    """Of the valve at the apex; not taken off the volume."""
    manway: CapManways = CapManways()

    @model_validator(mode="after")
    def _caps_clear_of_each_other(self) -> Self:
        shortest = self.leg_diameter_mm / 2 / tan(radians(self.angle_deg / 2))
        if self.leg_length_mm < shortest:
            msg = (
                f"leg_length_mm {self.leg_length_mm:g} lets the two caps cut each other; at this "
                f"diameter and angle it must be {shortest:.0f} or more"
            )
            raise ValueError(msg)
        _narrower(self.outlet_diameter_mm, self.leg_diameter_mm, "outlet_diameter_mm")
        return self


class Drum(Part):
    """A cylinder lying on its side, its axis from west to east."""

    kind: Literal["drum"]
    diameter_mm: Length
    length_mm: Length
    manway: Manway = Manway()


class Cylinder(Part):
    """A cylinder standing up."""

    kind: Literal["cylinder"]
    diameter_mm: Length
    height_mm: Length
    manway: Manway = Manway()


class RectangularBin(Part):
    """A rectangular box on a pyramidal hopper; the length runs from west to east."""

    kind: Literal["rectangular-bin"]
    length_mm: Length
    width_mm: Length
    outlet_length_mm: Length
    outlet_width_mm: Length
    hopper_height_mm: Length
    box_height_mm: Length
    manway: Manway = Manway()

    @model_validator(mode="after")
    def _narrows(self) -> Self:
        _narrower(self.outlet_length_mm, self.length_mm, "outlet_length_mm")
        _narrower(self.outlet_width_mm, self.width_mm, "outlet_width_mm")
        return self


class ConicalBin(Part):
    """A cylinder on a conical hopper."""

    kind: Literal["conical-bin"]
    diameter_mm: Length
    outlet_diameter_mm: Length
    hopper_height_mm: Length
    cylinder_height_mm: Length
    manway: Manway = Manway()

    @model_validator(mode="after")
    def _narrows(self) -> Self:
        _narrower(self.outlet_diameter_mm, self.diameter_mm, "outlet_diameter_mm")
        return self


class Trough(Part):
    """The U-shaped trough of a ribbon or paddle blender, its shaft lying from west to east.

    A half cylinder with straight side walls above it and flat ends. The shaft lies in the axis of
    the half cylinder and is an obstacle for the sampler; its volume, and that of ribbons or
    paddles, is not taken off the trough's, and these must be turned out of the sampler's way.
    """

    kind: Literal["trough"]
    length_mm: Length
    diameter_mm: Length
    """Of the round bottom; the inside width."""
    height_mm: Length
    """From the lowest point to the lid, at least half the diameter."""
    shaft_diameter_mm: Length
    outlet_diameter_mm: Length = 150.0
    """Of the valve in the middle of the bottom; not taken off the volume."""
    manway: Manway = Manway()

    @model_validator(mode="after")
    def _above_its_bottom(self) -> Self:
        if self.height_mm < self.diameter_mm / 2:
            msg = (
                f"height_mm {self.height_mm:g} is less than half of diameter_mm "
                f"{self.diameter_mm:g}: the round bottom alone is higher"
            )
            raise ValueError(msg)
        _narrower(self.shaft_diameter_mm, self.diameter_mm, "shaft_diameter_mm")
        _narrower(self.outlet_diameter_mm, self.diameter_mm, "outlet_diameter_mm")
        return self


Vessel = Annotated[
    DoubleCone | VBlender | Drum | Cylinder | RectangularBin | ConicalBin | Trough,
    Field(discriminator="kind"),
]

KINDS = (
    "double-cone",
    "v-blender",
    "drum",
    "cylinder",
    "rectangular-bin",
    "conical-bin",
    "trough",
)
"""The values that `kind` in [vessel] may have."""


def _narrower(end_mm: float, body_mm: float, key: str) -> None:
    if end_mm > body_mm:
        msg = f"{key} {end_mm:g} is wider than the vessel itself ({body_mm:g} mm)"
        raise ValueError(msg)
