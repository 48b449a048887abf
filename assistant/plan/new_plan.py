"""Write a complete, commented plan file from a few answers.

Vessels are drawn after one of usual proportions and scaled to the volume asked for; sampler and
dies are chosen to fit. Everything can be edited afterwards; `check` judges it like any plan.
"""

import json
from math import ceil

from assistant.plan.locations import propose
from assistant.plan.model import Location, Plan
from assistant.plan.parse import parse_plan
from assistant.plan.questionnaire import Answers
from assistant.plan.shapes import shape_of
from assistant.plan.vessel import (
    ConicalBin,
    Cylinder,
    DoubleCone,
    Drum,
    Manway,
    RectangularBin,
    Trough,
    VBlender,
    Vessel,
)

FILL = 0.6
"""Share of the vessel that the powder takes where its volume is not given."""

DOSES = 1.4
"""Unit doses in one die at bulk density."""

_PATTERNS: dict[str, Vessel] = {
    "double-cone": DoubleCone(
        kind="double-cone",
        diameter_mm=1000,
        outlet_diameter_mm=200,
        top_diameter_mm=450,
        cylinder_height_mm=300,
        cone_height_mm=450,
    ),
    "v-blender": VBlender(kind="v-blender", leg_diameter_mm=500, leg_length_mm=560),
    "drum": Drum(kind="drum", diameter_mm=800, length_mm=900),
    "cylinder": Cylinder(kind="cylinder", diameter_mm=800, height_mm=900),
    "rectangular-bin": RectangularBin(
        kind="rectangular-bin",
        length_mm=1000,
        width_mm=800,
        outlet_length_mm=250,
        outlet_width_mm=250,
        hopper_height_mm=450,
        box_height_mm=450,
    ),
    "conical-bin": ConicalBin(
        kind="conical-bin",
        diameter_mm=900,
        outlet_diameter_mm=250,
        hopper_height_mm=400,
        cylinder_height_mm=500,
    ),
    "trough": Trough(
        kind="trough",
        length_mm=1200,
        diameter_mm=700,
        height_mm=800,
        shaft_diameter_mm=70,
        outlet_diameter_mm=150,
    ),
}
"""Usual proportions; sizes in mm."""

_MANWAYS = {
    "double-cone": 0.98,
    "v-blender": 0.6,
    "drum": 0.55,
    "cylinder": 0.6,
    "rectangular-bin": 0.7,
    "conical-bin": 0.6,
    "trough": 0.9,
}
"""Manway over the top's smaller size."""

_MEANINGS = {
    "diameter_mm": "inside",
    "outlet_diameter_mm": "of the valve at the lowest point",
    "top_diameter_mm": "where the upper cone ends",
    "cylinder_height_mm": "of the straight part",
    "cone_height_mm": "of each cone",
    "leg_diameter_mm": "inside",
    "leg_length_mm": "along a leg's axis, from where the axes meet to the cap",
    "angle_deg": "between the legs",
    "shaft_diameter_mm": "of the agitator; turn its ribbons or paddles out of the way",
    "length_mm": "inside, west to east",
    "width_mm": "inside, south to north",
    "height_mm": "inside",
    "outlet_length_mm": "west to east",
    "outlet_width_mm": "south to north",
    "hopper_height_mm": "of the narrowing part",
    "box_height_mm": "of the straight part above it",
}


def new_plan(answers: Answers) -> str:
    """Return the text of a plan file, with ten locations proposed for the vessel.

    Raises:
        PlanError: the answers contradict each other, or the bed cannot be sampled this way.
    """
    litres = answers.vessel_litres
    if litres is None:
        litres = answers.fill_mass_kg / answers.bulk_density_g_ml / FILL
    vessel = _scaled(answers.vessel, litres)
    head = "\n".join(
        (_study(answers), _powder(answers), _vessel(vessel), _sampler(answers, vessel), _TAIL)
    )
    bare = parse_plan(f"{head}\n{_ANYWHERE}".encode(), "new plan")
    text = f"{head}\n{_locations(propose(bare))}"
    parse_plan(text.encode(), "new plan")
    return text


def plan_of(answers: Answers) -> Plan:
    """Return what `new_plan` writes, already read."""
    return parse_plan(new_plan(answers).encode(), "new plan")


def _scaled(kind: str, litres: float) -> Vessel:
    """A vessel of usual proportions and a volume, sizes rounded up to 5 mm."""
    pattern = _PATTERNS[kind]
    shape = shape_of(pattern)
    factor = (litres * 1e6 / float(shape.volume(shape.height_mm))) ** (1 / 3)
    sizes = {
        key: ceil(value * factor / 5) * 5.0
        for key, value in pattern.model_dump(exclude={"manway", "kind"}).items()
        if key.endswith("_mm")
    }
    vessel = pattern.model_copy(update=sizes)
    across = _top_mm(vessel) * _MANWAYS[kind]
    manway = vessel.manway.model_copy(update={"diameter_mm": float(int(across / 5) * 5)})
    return vessel.model_copy(update={"manway": manway})


def _top_mm(vessel: Vessel) -> float:
    match vessel:
        case DoubleCone():
            return vessel.lid_mm
        case VBlender():
            return vessel.leg_diameter_mm
        case Drum() | Trough():
            return min(vessel.diameter_mm, vessel.length_mm)
        case RectangularBin():
            return min(vessel.length_mm, vessel.width_mm)
        case _:
            return vessel.diameter_mm


def _line(key: str, value: object, meaning: str = "") -> str:
    text = f"{key} = {_value(value)}"
    return f"{text:<36} # {meaning}" if meaning else text


def _value(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    # What JSON writes for strings and numbers is TOML too.
    return json.dumps(value, ensure_ascii=False)


def _study(answers: Answers) -> str:
    lines = [
        "# A plan for a blend-uniformity study. Change what is not so, then run `check` on it.",
        "# Lengths are millimetres; heights count from the vessel's lowest point; north is +y.",
        "plan = 1",
        _line("dialogue", "short", "full: every step is confirmed separately"),
        "",
        "[study]",
        _line("title", "Blend uniformity of the final blend"),
        _line("protocol", answers.protocol, "with its revision"),
        _line("product", answers.product),
        _line("batch", answers.batch, "plain ASCII: it goes into the labels' codes"),
        _line("stage", "final blend", "what is sampled"),
        '# replicates_reason = "..."         # where fewer than 3 samples come from one spot',
        "",
        "[[people]]",
        _line("name", answers.operator),
        _line("role", "operator"),
        _line("call", "alpha", "the word by which this person takes over"),
    ]
    if answers.witness is not None:
        lines += [
            "",
            "[[people]]",
            _line("name", answers.witness),
            _line("role", "witness"),
            _line("call", "bravo"),
        ]
    return "\n".join([*lines, ""])


def _powder(answers: Answers) -> str:
    lines = [
        "[dose]",
        _line("mass_mg", answers.dose_mg, "one unit dose"),
        _line("label_claim_mg", answers.claim_mg, "active substance in it"),
        "",
        "[powder]",
        _line("fill_mass_kg", answers.fill_mass_kg),
        _line("bulk_density_g_ml", answers.bulk_density_g_ml, "as it lies after tumbling"),
        _line("tapped_density_g_ml", answers.tapped_density_g_ml),
        _line("repose_deg", 0.0, "angle of the heap; 0 where the bed is levelled"),
        "# Describe the active substance's particles, and `check` tells what a perfect mixture",
        "# would still vary by:",
        "# active_d50_um = 35.0              # mass-median diameter, micrometres",
        "# active_gsd = 1.8                  # geometric standard deviation",
        "# active_density_g_ml = 1.3         # of the particles themselves",
    ]
    return "\n".join([*lines, ""])


def _vessel(vessel: Vessel) -> str:
    sizes = vessel.model_dump(exclude={"manway", "kind"}, exclude_none=True)
    lines = [
        "[vessel]                             # sizes of usual proportions: measure and correct",
        _line("kind", vessel.kind),
        *(_line(key, value, _MEANINGS[key]) for key, value in sizes.items()),
    ]
    width = vessel.manway.diameter_mm
    if isinstance(vessel.manway, Manway):
        place = f"x_mm = 0.0, y_mm = 0.0, diameter_mm = {width}, neck_mm = 0.0"
        mark = "# The rim of the manway is the entry mark: the scale is read there."
    else:
        place = f"diameter_mm = {width}, neck_mm = 0.0"
        mark = "# One manway in the middle of each cap; its rim is the entry mark."
    blending = "# [blending]                         # how the batch was mixed, for `compare`"
    figures = ["# minutes = 12.0", "# revolutions = 180.0"]
    manway = f"manway = {{ {place} }}"
    return "\n".join([*lines, mark, manway, "", blending, *figures, ""])


def _sampler(answers: Answers, vessel: Vessel) -> str:
    shape = shape_of(vessel)
    litres = float(shape.volume(shape.height_mm)) / 1e6
    tube, first, step = next(size for limit, *size in _TUBES if litres < limit)
    ports = [first + step * number for number in range(answers.ports)]
    reach = shape.height_mm * 1.1 + 200
    volume = _die_ml(answers)
    lines = [
        "[sampler]",
        _line("identity", "THF-01", "as engraved"),
        _line("kind", answers.sampler, "single, duplicate or triplicate"),
        _line("ports_mm", ports, "middle of every port from the tip"),
        _line("length_mm", ceil(reach / 50) * 50.0, "from the tip to the handle"),
        _line("diameter_mm", tube, "of the outer tube"),
        _line("clearance_mm", 0.43, "between shaft and tube: 0.381 to 0.508"),
        _line("graduation_mm", 5, "step of the scale on the tube"),
        _line("shaft", "metal", "metal or plastic"),
        _line("mass_kg", 3.0),
        _line("die_volume_ml", volume, "1 to 3 unit doses at bulk and tapped density"),
        _line("die_set", "D-01-A", "as engraved"),
        '# dose_multiple_reason = "..."      # where a die holds less than 1 or more than 3',
    ]
    return "\n".join([*lines, ""])


def _die_ml(answers: Answers) -> float:
    exact = DOSES * answers.dose_mg / answers.bulk_density_g_ml / 1000
    step = 0.05 if exact > 0.5 else 0.005  # noqa: PLR2004 - small dies are made in finer steps
    return round(ceil(exact / step) * step, 3)


_TUBES = (
    (60.0, 12.0, 30.0, 50.0),
    (150.0, 18.0, 45.0, 75.0),
    (float("inf"), 25.0, 60.0, 100.0),
)
"""Vessel below so many litres: tube diameter, first port and step between ports, mm."""

_TAIL = """[timing]
fill_s = 5.0                         # shortest time a port stays open
fill_limit_s = 30.0                  # a port open for longer is noted
shed_s = 3.0                         # how long the sampler is held dies down

# Weigh every vial during the session and speak the mass:
# [weighing]
# balance = "BAL-01"
# minimum_mg = 82.0                  # smallest net weight of this balance (USP <41>)
# readability_mg = 0.1

# What the plan is held against; these are the limits that apply where nothing is written:
# [limits]
# port_cover_mm = 30.0               # ports below the surface
# tip_clearance_mm = 30.0            # tip from the wall
# valve_clearance_mm = 50.0          # tip from the outlet
# handle_room_mm = 100.0             # tube left outside the manway
# wake_mm = 50.0                     # how far an insertion disturbs the bed; 2 diameters
# sd_percent = 3.0                   # standard deviation to be judged, percent of target
"""

_ANYWHERE = '[[locations]]\ncode = "X"\nx_mm = 0.0\ny_mm = 0.0\ndepth_mm = 100.0\n'
"""Stands in while the real locations are looked for."""


def _locations(found: tuple[Location, ...]) -> str:
    lines = [
        "# Locations in the order of sampling: no port enters the wake of an earlier insertion.",
        "# x_mm, y_mm: where the sampler crosses the plane of the rim. Give either",
        "# below_surface_mm (lowest port, straight below the surface) or depth_mm (length along",
        "# the sampler from the rim to the tip). tilt_deg is from the vertical; towards_deg is",
        "# where the tip goes on its way down, from east (0) over north (90); the handle leans the",
        "# other way. Entry and tilt are told by the clock, seen from above: twelve is north, away",
        "# from the front; 15 degrees are half an hour.",
    ]
    for location in found:
        lines += [
            "",
            "[[locations]]",
            _line("code", location.code),
            _line("description", location.description),
            _line("x_mm", location.x_mm),
            _line("y_mm", location.y_mm),
            _line("below_surface_mm", location.below_surface_mm),
        ]
        if location.tilt_deg:
            lines += [
                _line("tilt_deg", location.tilt_deg),
                _line("towards_deg", location.towards_deg),
            ]
    return "\n".join([*lines, ""])
