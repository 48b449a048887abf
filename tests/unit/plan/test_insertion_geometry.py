"""From entry, angle and length to the places and depths of the ports."""

from collections.abc import Callable
from math import cos, radians, sin

import numpy as np
import pytest

from assistant.errors import PlanError
from assistant.plan import Plan
from assistant.plan.insertion_geometry import direction, insertion_mm, insertions, lengths
from assistant.plan.powder_bed import bed_of

Change = Callable[..., Plan]


def test_upright_insertion(cone: Plan, with_locations: Change) -> None:
    """Straight down: rim at 1260, tip at 460, port 60 above it, cover counted to the surface."""
    plan = with_locations(cone, {"depth_mm": 800.0})
    bed = bed_of(plan)
    (entered,) = insertions(plan, bed)
    assert insertion_mm(plan, 0) == entered.length_mm == 800
    assert entered.tip == pytest.approx([0, 0, 460])
    assert entered.ports == pytest.approx(np.array([[0, 0, 520]]))
    assert entered.cover_mm[0] == pytest.approx(bed.peak_mm - 520)
    assert entered.wetted_mm == pytest.approx(bed.peak_mm - 460)
    assert entered.surface == pytest.approx([0, 0, bed.peak_mm])
    assert entered.room_mm == 700
    assert entered.tube_gap_mm == pytest.approx(220 - 12.5)


def test_tilted_insertion(cone: Plan, with_locations: Change) -> None:
    """At 30 degrees to the north-east the tip moves sideways by half the length."""
    plan = with_locations(cone, {"depth_mm": 700.0, "tilt_deg": 30.0, "towards_deg": 45.0})
    (entered,) = insertions(plan, bed_of(plan))
    side = 350 * sin(radians(45))
    assert entered.tip == pytest.approx([side, side, 1260 - 700 * cos(radians(30))])
    assert float(np.linalg.norm(direction(plan.locations[0]))) == pytest.approx(1.0)
    assert direction(plan.locations[0])[2] < 0


@pytest.mark.parametrize("tilt", [0.0, 10.0, 25.0])
@pytest.mark.parametrize("repose", [0.0, 15.0])
def test_wanted_depth_is_reached(
    cone: Plan, with_part: Change, with_locations: Change, tilt: float, repose: float
) -> None:
    """The lowest port lies as deep as asked, but for the rounding to the tube's scale."""
    plan = with_part(cone, "powder", repose_deg=repose, fill_mass_kg=110.0)
    plan = with_locations(plan, {"below_surface_mm": 200.0, "tilt_deg": tilt, "towards_deg": 90.0})
    (entered,) = insertions(plan, bed_of(plan))
    assert entered.length_mm % 5 == 0
    assert entered.cover_mm[0] == pytest.approx(200.0, abs=2.6)
    assert lengths(plan) == (entered.length_mm,) == (insertion_mm(plan, 0),)


def test_fine_scale_gives_the_depth_to_half_a_millimetre(
    cone: Plan, with_part: Change, with_locations: Change
) -> None:
    """With a scale in millimetres the computed insertion is a whole number of them."""
    plan = with_part(cone, "sampler", graduation_mm=1)
    plan = with_locations(plan, {"below_surface_mm": 123.0}, {"depth_mm": 700.5})
    first, second = insertions(plan, bed_of(plan))
    assert first.cover_mm[0] == pytest.approx(123.0, abs=0.5)
    assert second.length_mm == 701
    assert lengths(plan)[1] == insertion_mm(plan, 1) == 701


def test_every_port_has_its_cover(shipped: Callable[[str], Plan]) -> None:
    """The upper port lies higher by the distance of the ports along the tube."""
    plan = shipped("bin")
    for entered in insertions(plan, bed_of(plan)):
        low, high = entered.cover_mm
        lean = cos(radians(entered.location.tilt_deg))
        assert low - high == pytest.approx(150 * lean)
        assert entered.ports.shape == (2, 3)


def test_ports_above_the_powder(cone: Plan, with_locations: Change) -> None:
    """Too short an insertion leaves ports in the air and tube out of the powder."""
    plan = with_locations(cone, {"depth_mm": 400.0})
    (entered,) = insertions(plan, bed_of(plan))
    assert entered.cover_mm[0] < 0
    assert entered.wetted_mm < 0


def test_tip_against_floor_and_wall(cone: Plan, with_locations: Change) -> None:
    """Gaps shrink towards floor and wall and turn negative beyond."""
    plan = with_locations(
        cone,
        {"depth_mm": 1200.0},
        {"depth_mm": 1270.0},
        {"depth_mm": 1100.0, "x_mm": 190.0, "tilt_deg": 25.0},
    )
    near, through, wall = insertions(plan, bed_of(plan))
    assert near.tip_gap_mm == pytest.approx(60.0)
    assert near.valve_gap_mm == pytest.approx(60.0)
    assert through.tip_gap_mm < 0
    assert wall.tip_gap_mm < 0
    assert wall.tube_gap_mm < 0


def test_outlets(shipped: Callable[[str], Plan], with_locations: Change) -> None:
    """Bin outlets are square; a drum and a plain cylinder have none."""
    plan = with_locations(shipped("bin"), {"depth_mm": 800.0}, {"depth_mm": 800.0, "x_mm": 200.0})
    middle, beside = insertions(plan, bed_of(plan))
    assert middle.valve_gap_mm == pytest.approx(100.0)
    assert beside.valve_gap_mm == pytest.approx(np.hypot(200 - 12.5 - 125, 100.0), rel=1e-3)
    dumped = plan.model_dump(by_alias=True)
    for vessel in (
        {"kind": "drum", "diameter_mm": 900.0, "length_mm": 1200.0},
        {"kind": "cylinder", "diameter_mm": 900.0, "height_mm": 900.0},
    ):
        dumped["vessel"] = vessel
        other = Plan.model_validate(dumped)
        assert insertions(other, bed_of(other))[0].valve_gap_mm is None


def test_a_v_is_entered_on_the_locations_side(
    shipped: Callable[[str], Plan], with_locations: Change
) -> None:
    """West of the middle the west manway is used, east of it the east one."""
    plan = with_locations(
        shipped("v-blender"),
        {"x_mm": -340.0, "depth_mm": 500.0},
        {"x_mm": 340.0, "depth_mm": 500.0},
    )
    west, east = insertions(plan, bed_of(plan))
    assert west.entry[0] == -340
    assert west.entry[2] == pytest.approx(east.entry[2])
    assert west.tube_gap_mm == pytest.approx(east.tube_gap_mm)


def test_tilt_along_north(cone: Plan, with_locations: Change) -> None:
    """The tip's edge is found for an axis leaning far along y as well."""
    plan = with_locations(cone, {"depth_mm": 500.0, "tilt_deg": 60.0, "towards_deg": 90.0})
    (entered,) = insertions(plan, bed_of(plan))
    turned = with_locations(cone, {"depth_mm": 500.0, "tilt_deg": 60.0, "towards_deg": 0.0})
    (other,) = insertions(turned, bed_of(turned))
    assert entered.tip_gap_mm == pytest.approx(other.tip_gap_mm, abs=0.3)


def test_along_a_steep_heap(cone: Plan, with_part: Change, with_locations: Change) -> None:
    """A tilt that runs along the heap has no depth below the surface."""
    plan = with_part(cone, "powder", repose_deg=35.0, fill_mass_kg=60.0)
    plan = with_locations(plan, {"below_surface_mm": 100.0, "tilt_deg": 55.0})
    with pytest.raises(PlanError, match=r"L1: a tilt of 55 degrees on a heap of 35 runs along"):
        lengths(plan)


def test_powder_above_the_rim(shipped: Callable[[str], Plan], with_locations: Change) -> None:
    """Where the V's sloping cap lies below the surface nobody can enter."""
    plan = with_locations(shipped("v-blender"), {"x_mm": 600.0, "below_surface_mm": 40.0})
    plan = plan.model_copy(update={"powder": plan.powder.model_copy(update={"fill_mass_kg": 85.0})})
    with pytest.raises(PlanError, match="already stands above the rim there"):
        lengths(plan)


def test_no_such_location(cone: Plan) -> None:
    """An index beyond the plan is a programmer's mistake."""
    with pytest.raises(IndexError):
        insertion_mm(cone, 10)


def test_the_shaft_of_a_trough_is_in_the_way(cone: Plan, with_locations: Change) -> None:
    """Straight down in the middle the tube meets the shaft; beside it there is room; read off."""
    dumped = cone.model_dump(by_alias=True)
    dumped["vessel"] = {
        "kind": "trough",
        "length_mm": 1200.0,
        "diameter_mm": 800.0,
        "height_mm": 800.0,
        "shaft_diameter_mm": 100.0,
    }
    trough = Plan.model_validate(dumped)
    plan = with_locations(
        trough, {"depth_mm": 600.0}, {"depth_mm": 600.0, "y_mm": 120.0}, {"depth_mm": 300.0}
    )
    through, beside, above = insertions(plan, bed_of(plan))
    assert through.tube_gap_mm < 0
    assert beside.tube_gap_mm == pytest.approx(120 - 50 - 12.5, abs=0.01)
    # The tip stands at 500, the shaft's top at 450; the edge is as high and farther out.
    assert above.tip_gap_mm == pytest.approx(50.0, abs=1e-6)
    assert above.valve_gap_mm is not None
