"""The powder bed: level, heaped, too much of it; and random points in it."""

from collections.abc import Callable

import numpy as np
import pytest

from assistant.errors import PlanError
from assistant.plan import Plan
from assistant.plan.manway import openings_of
from assistant.plan.powder_bed import bed_of
from assistant.plan.shapes import Lying, height_of, shape_of

Change = Callable[..., Plan]


def test_level_bed(cone: Plan) -> None:
    """Volume is mass over density, and the surface is level at the height that holds it."""
    bed = bed_of(cone)
    assert bed.volume_mm3 == pytest.approx(130 / 0.45 * 1e6)
    assert bed.fill == pytest.approx(bed.volume_mm3 / float(bed.shape.volume(1200.0)))
    assert bed.peak_mm == pytest.approx(height_of(bed.shape, bed.volume_mm3))
    assert float(bed.surface(np.array(120.0), np.array(-40.0))) == bed.peak_mm


def test_heap_in_a_cylinder(cone: Plan, with_part: Change) -> None:
    """Heap of 500 mm radius and 35 degrees: apex 350.10 above its rim, mean 116.70 (computed)."""
    dumped = cone.model_dump(by_alias=True)
    dumped["vessel"] = {"kind": "cylinder", "diameter_mm": 1000.0, "height_mm": 1200.0}
    plan = with_part(Plan.model_validate(dumped), "powder", repose_deg=35.0)
    bed = bed_of(plan)
    level = bed.volume_mm3 / (np.pi * 500**2)
    assert bed.peak_mm - level == pytest.approx(350.10 - 116.70, abs=0.7)
    edge = float(bed.surface(np.array(500.0), np.array(0.0)))
    assert bed.peak_mm - edge == pytest.approx(350.10, abs=0.01)
    flat = bed_of(with_part(plan, "powder", repose_deg=0.0))
    assert flat.peak_mm == pytest.approx(level)


@pytest.mark.parametrize("name", ["double-cone", "v-blender", "bin"])
def test_heap_holds_the_same_powder(
    name: str, shipped: Callable[[str], Plan], with_part: Change
) -> None:
    """Counted points under the heap's surface make up the volume within one percent."""
    plan = with_part(shipped(name), "powder", repose_deg=12.0)
    bed = bed_of(plan)
    half_x, half_y = bed.shape.half_mm
    points = np.random.default_rng(5).uniform(
        [-half_x, -half_y, 0.0], [half_x, half_y, bed.shape.height_mm], (300_000, 3)
    )
    counted = float(bed.contains(points).mean()) * 4 * half_x * half_y * bed.shape.height_mm
    assert counted == pytest.approx(bed.volume_mm3, rel=0.01)
    assert bed.peak_mm > bed_of(shipped(name)).peak_mm


def test_a_v_heaps_under_both_manways(shipped: Callable[[str], Plan], with_part: Change) -> None:
    """In a V there is one heap on each side, alike."""
    bed = bed_of(with_part(shipped("v-blender"), "powder", repose_deg=20.0))
    west, east = (hole.centre[0] for hole in bed.openings)
    assert west == -east
    zero = np.array(0.0)
    assert float(bed.surface(np.array(west), zero)) == pytest.approx(bed.peak_mm)
    assert float(bed.surface(np.array(east), zero)) == pytest.approx(bed.peak_mm)
    assert float(bed.surface(zero, zero)) < bed.peak_mm


def test_random_points_lie_in_the_powder(cone: Plan) -> None:
    """All points are in the bed, spread over its volume, and follow from the seed alone."""
    bed = bed_of(cone)
    points = bed.sample(3000, seed=4)
    assert points.shape == (3000, 3)
    assert bool(bed.contains(points).all())
    assert np.array_equal(points, bed.sample(3000, seed=4))
    assert not np.array_equal(points, bed.sample(3000, seed=5))
    half_way = height_of(bed.shape, bed.volume_mm3 / 2)
    assert float(np.mean(points[:, 2] < half_way)) == pytest.approx(0.5, abs=0.04)


def test_overfull_vessel(cone: Plan, with_part: Change) -> None:
    """More powder than the vessel holds is told in litres."""
    with pytest.raises(PlanError, match=r"take 666\.7 L, but the vessel holds 576\.4 L"):
        bed_of(with_part(cone, "powder", fill_mass_kg=300.0))


def test_manway_outside_the_top(shipped: Callable[[str], Plan], with_part: Change) -> None:
    """A manway wider than the cap, or beside the top, does not exist."""
    with pytest.raises(PlanError, match="reaches 260 mm from the middle"):
        bed_of(with_part(shipped("v-blender"), "vessel", manway={"diameter_mm": 520.0}))
    for place in ({"x_mm": 300.0}, {"y_mm": 150.0}):
        with pytest.raises(PlanError, match="correct manway or the size of the top"):
            bed_of(with_part(shipped("bin"), "vessel", manway={"diameter_mm": 600.0, **place}))


def test_rim_of_a_drum_lies_above_its_saddle() -> None:
    """The passage of a drum's manway reaches down to where the shell is open all round."""
    from assistant.plan.vessel import Drum, Manway  # noqa: PLC0415 - used here only

    drum = Drum(
        kind="drum", diameter_mm=1000, length_mm=1200, manway=Manway(diameter_mm=600, neck_mm=50)
    )
    shape = shape_of(drum)
    assert isinstance(shape, Lying)
    (hole,) = openings_of(drum, shape)
    assert hole.centre == (0.0, 0.0, 1050.0)
    assert hole.passage_mm == pytest.approx(50 + 500 - 400)


def test_rim_of_a_v_is_square_to_the_leg(shipped: Callable[[str], Plan]) -> None:
    """A point of the rim's plane lies as far out along the leg as the rim's middle."""
    plan = shipped("v-blender")
    for hole in bed_of(plan).openings:
        centre, normal = np.array(hole.centre), np.array(hole.normal)
        point = hole.rim(hole.centre[0] + 30.0, 40.0)
        assert float((point - centre) @ normal) == pytest.approx(0.0, abs=1e-9)
        away = float(hole.off_axis(point[None, :])[0])
        assert away == pytest.approx(float(np.linalg.norm(point - centre)))
