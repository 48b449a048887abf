"""The proposed locations."""

from collections.abc import Callable

import pytest

from assistant.errors import PlanError
from assistant.plan import Plan
from assistant.plan.bed_disturbance import crossings
from assistant.plan.insertion_geometry import insertions
from assistant.plan.locations import propose, targets
from assistant.plan.powder_bed import bed_of

Change = Callable[..., Plan]


@pytest.mark.parametrize("name", ["double-cone", "v-blender", "bin"])
def test_shipped_locations_are_the_proposed_ones(name: str, shipped: Callable[[str], Plan]) -> None:
    """The shipped plans follow the proposal; it does not look at a plan's own locations."""
    plan = shipped(name)
    assert propose(plan) == plan.locations
    assert propose(plan.model_copy(update={"locations": plan.locations[:1]})) == plan.locations


@pytest.mark.parametrize("name", ["double-cone", "v-blender", "bin"])
def test_ten_different_spots_in_a_good_order(name: str, shipped: Callable[[str], Plan]) -> None:
    """Ten codes, ten descriptions, and no port in an earlier wake."""
    plan = shipped(name)
    found = targets(plan.vessel)
    assert len(found) == 10
    assert len({target.code for target in found}) == 10
    assert len({target.description for target in found}) == 10
    entered = insertions(plan, bed_of(plan))
    assert crossings(entered, plan.wake_mm) == []


def test_a_sampler_too_short_for_the_side(cone: Plan, with_part: Change) -> None:
    """What cannot be reached is named, with what to change."""
    short = with_part(cone, "sampler", length_mm=890.0)
    with pytest.raises(PlanError, match="no way into the bed was found for 'north, high'; widen"):
        propose(short)


def test_wake_may_be_given(cone: Plan, with_part: Change) -> None:
    """Two tube diameters unless the plan says otherwise."""
    assert cone.wake_mm == 50.0
    assert with_part(cone, "sampler", diameter_mm=18.0).wake_mm == 36.0
    assert with_part(cone, "limits", wake_mm=0.0).wake_mm == 0.0
