"""Coverage of the bed by its samples."""

from collections.abc import Callable

import numpy as np
import pytest

from assistant.plan import Plan
from assistant.plan.coverage import POINTS, coverage, default_radius_mm, regions
from assistant.plan.insertion_geometry import insertions
from assistant.plan.powder_bed import bed_of

Change = Callable[..., Plan]


def test_one_sample_covers_a_ball(cone: Plan, with_locations: Change) -> None:
    """One port in the middle covers the share of the bed that a ball of the radius takes."""
    plan = with_locations(cone, {"depth_mm": 960.0})
    bed = bed_of(plan)
    found = coverage(bed, insertions(plan, bed), 150.0, seed=2)
    ball = 4 / 3 * np.pi * 150**3 / bed.volume_mm3
    assert 1 - found.share == pytest.approx(ball, abs=4 * found.error)
    assert 1 - found.share != pytest.approx(1.5 * ball, abs=4 * found.error)
    assert found.error == pytest.approx((found.share * (1 - found.share) / POINTS) ** 0.5)
    assert sum(share for _, share in found.gaps) == pytest.approx(found.share)
    assert [share for _, share in found.gaps] == sorted(
        (share for _, share in found.gaps), reverse=True
    )


def test_all_covered(cone: Plan) -> None:
    """A radius as large as the vessel leaves nothing bare."""
    bed = bed_of(cone)
    found = coverage(bed, insertions(cone, bed), 2000.0)
    assert found.share == 0
    assert found.gaps == ()
    assert 0 < found.farthest_mm < 2000


def test_same_seed_same_answer(cone: Plan) -> None:
    """The points follow from the seed alone."""
    bed = bed_of(cone)
    entered = insertions(cone, bed)
    assert coverage(bed, entered, 200.0, seed=9) == coverage(bed, entered, 200.0, seed=9)
    assert coverage(bed, entered, 200.0, seed=9) != coverage(bed, entered, 200.0, seed=10)


def test_default_radius_follows_the_volume(cone: Plan) -> None:
    """Eight times the locations halve the radius."""
    bed = bed_of(cone)
    assert default_radius_mm(bed, 80) == pytest.approx(default_radius_mm(bed, 10) / 2)
    share = 4 / 3 * np.pi * (default_radius_mm(bed, 10) / 1.5) ** 3
    assert share == pytest.approx(bed.volume_mm3 / 10)


def test_regions_are_named_by_side_and_third(cone: Plan) -> None:
    """East is +x, north +y; the height is cut into thirds."""
    bed = bed_of(cone)
    up = bed.peak_mm
    points = np.array(
        [
            [400, 0, 0.9 * up],
            [0, 400, 0.5 * up],
            [-400, 10, 0.5 * up],
            [0, -400, up],
            [10, 10, 0.1 * up],
        ]
    )
    assert regions(bed, points) == [
        "east, high",
        "north, middle",
        "west, middle",
        "south, high",
        "centre, low",
    ]
