"""Wakes of earlier insertions, and orders that keep out of them."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from assistant.plan import Plan
from assistant.plan.bed_disturbance import crossings, insertion_order, port_distances
from assistant.plan.insertion_geometry import Insertion, insertions
from assistant.plan.powder_bed import bed_of

Change = Callable[..., Plan]


@pytest.fixture
def entered(cone: Plan, with_locations: Change) -> Callable[..., tuple[Insertion, ...]]:
    """Return a function that works out locations of the shipped double cone."""

    def work_out(*locations: dict[str, float]) -> tuple[Insertion, ...]:
        plan = with_locations(cone, *locations)
        return insertions(plan, bed_of(plan))

    return work_out


def test_distance_from_an_axis(entered: Callable[..., tuple[Insertion, ...]]) -> None:
    """Beside an upright axis it is the distance across, below its tip the distance from the tip."""
    deep, shallow = entered({"depth_mm": 1000.0}, {"depth_mm": 800.0, "x_mm": 40.0})
    assert port_distances(deep, shallow)[0] == pytest.approx(40.0)
    # The deep port lies 140 below the shallow tip, and 40 across.
    assert port_distances(shallow, deep)[0] == pytest.approx((140**2 + 40**2) ** 0.5)


def test_shallow_first(entered: Callable[..., tuple[Insertion, ...]]) -> None:
    """A shallow port beside a deep insertion must be sampled before it."""
    wrong = entered({"depth_mm": 1000.0}, {"depth_mm": 800.0, "x_mm": 40.0})
    ((earlier, later, distance),) = crossings(wrong, 50.0)
    assert (earlier, later) == (0, 1)
    assert distance == pytest.approx(40.0)
    assert crossings(wrong, 39.0) == []
    assert insertion_order(wrong, 50.0) == (1, 0)
    assert insertion_order(wrong, 39.0) == (0, 1)
    right = (wrong[1], wrong[0])
    assert crossings(right, 50.0) == []
    assert insertion_order(right, 50.0) == (0, 1)


def test_two_on_one_spot_have_no_order(entered: Callable[..., tuple[Insertion, ...]]) -> None:
    """The same hole twice disturbs itself whichever comes first."""
    twice = entered({"depth_mm": 900.0}, {"depth_mm": 900.0, "x_mm": 10.0})
    assert insertion_order(twice, 50.0) is None
    assert len(crossings(twice, 50.0)) == 1


def test_order_of_three_keeps_what_it_can(entered: Callable[..., tuple[Insertion, ...]]) -> None:
    """Only what has to move moves; the rest stays in the order given."""
    three = entered(
        {"depth_mm": 1100.0},
        {"depth_mm": 900.0, "x_mm": 150.0},
        {"depth_mm": 800.0, "x_mm": 20.0},
    )
    assert insertion_order(three, 50.0) == (1, 2, 0)


def test_an_insertion_that_stays_out_of_the_powder(
    entered: Callable[..., tuple[Insertion, ...]],
) -> None:
    """A tip that just touches the surface has a wake of no length."""
    touching, other = entered({"depth_mm": 628.0}, {"depth_mm": 800.0})
    touching = replace(touching, surface=touching.tip)
    expected = float(other.ports[0][2] - touching.tip[2])
    assert port_distances(touching, other)[0] == pytest.approx(abs(expected))
