"""Entry and tilt as they are told: clock positions seen from above."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.plan import Plan
from assistant.plan.check import findings
from assistant.plan.entry_direction import (
    Aim,
    Clock,
    aim,
    clock_of,
    entry_at,
    from_middle,
    told_shift_mm,
)
from assistant.plan.finding import Fitness
from assistant.plan.insertion_geometry import direction, insertions, opening_for
from assistant.plan.powder_bed import bed_of

Change = Callable[..., Plan]


def aims(plan: Plan) -> tuple[Aim, ...]:
    """Return how every location is aimed, in the plan's order."""
    return tuple(aim(plan, number) for number in range(len(plan.locations)))


@pytest.mark.parametrize(
    ("towards", "clock"),
    [
        (90.0, Clock(12)),
        (0.0, Clock(3)),
        (270.0, Clock(6)),
        (-90.0, Clock(6)),
        (180.0, Clock(9)),
        (60.0, Clock(1)),
        (45.0, Clock(1, half=True)),
        (75.0, Clock(12, half=True)),
        (105.0, Clock(11, half=True)),
        (38.0, Clock(1, half=True)),
        (37.0, Clock(2)),
        (359.0, Clock(3)),
    ],
)
def test_directions_become_hours(towards: float, clock: Clock) -> None:
    """North is twelve, east is three, and the hand turns clockwise (common practice, no source)."""
    assert clock_of(towards) == clock
    assert clock_of(towards + 15) != clock


@given(st.integers(0, 23))
def test_hours_and_directions_are_one_to_one(half_hours: int) -> None:
    """Every half hour is a direction, and that direction is told as the same half hour."""
    clock = Clock(half_hours // 2 or 12, bool(half_hours % 2))
    assert clock_of(clock.towards_deg) == clock
    assert 0 <= clock.towards_deg < 360


def test_the_tip_goes_where_the_clock_says(cone: Plan, with_locations: Change) -> None:
    """Leant towards three o'clock the tip lies east of the entry, towards twelve north."""
    plan = with_locations(
        cone,
        {"depth_mm": 900.0, "tilt_deg": 10.0, "towards_deg": 0.0},
        {"depth_mm": 900.0, "tilt_deg": 10.0, "towards_deg": 90.0},
    )
    east, north = insertions(plan, bed_of(plan))
    assert (aim(plan, 0).tip, aim(plan, 1).tip) == (Clock(3), Clock(12))
    assert east.tip[0] > 100
    assert north.tip[1] > 100
    assert direction(plan.locations[0])[2] < 0


def test_aims_of_the_shipped_plans(shipped: Callable[[str], Plan]) -> None:
    """Entries count from the middle of the manway; a V names the manway."""
    found = aims(shipped("double-cone"))
    assert found[0] == Aim("", 0, None, 0, None)
    assert found[1] == Aim("", 155, Clock(12), 17, Clock(12))
    assert found[0].entry_text == "in the middle"
    assert found[0].tilt_text == "upright"
    assert found[1].tilt_text == "17\N{DEGREE SIGN}, tip to 12:00"
    sides = {place.manway for place in aims(shipped("v-blender"))}
    assert sides == {"west", "east"}
    first = aim(shipped("v-blender"), 0)
    assert first.entry_text == "west, 125 mm at 2:30"


@pytest.mark.parametrize("name", ["double-cone", "v-blender", "bin"])
def test_what_is_told_is_what_is_planned(name: str, shipped: Callable[[str], Plan]) -> None:
    """Told entries and tilts lead the tips of the shipped plans within a millimetre."""
    plan = shipped(name)
    bed = bed_of(plan)
    assert max(told_shift_mm(plan, bed, place) for place in plan.locations) < 1.0


def test_the_way_from_the_middle_and_back(shipped: Callable[[str], Plan]) -> None:
    """On a leaning rim the distance runs along the slope, so it is longer than from above."""
    plan = shipped("v-blender")
    hole = bed_of(plan).openings[0]
    x, y = hole.centre[0] + 60.0, 45.0
    out, towards = from_middle(hole, x, y)
    assert out > (60.0**2 + 45.0**2) ** 0.5
    assert out == pytest.approx(float(hole.off_axis(hole.rim(x, y)[None, :])[0]))
    assert entry_at(hole, out, towards) == pytest.approx((x, y))
    assert opening_for(bed_of(plan), plan.locations[0]) == hole


def test_a_direction_between_the_hours_is_remarked(cone: Plan, with_locations: Change) -> None:
    """Seven degrees beside the half hour lead a long, leaning sampler past a wake's width."""
    place = {"depth_mm": 1000.0, "x_mm": 150.0, "tilt_deg": 25.0}
    near = with_locations(cone, {**place, "towards_deg": 15.0})
    beside = with_locations(cone, {**place, "towards_deg": 22.0})
    (fit,) = [f for f in findings(near) if f.subject == "clock rounding"]
    (off,) = [f for f in findings(beside) if f.subject == "clock rounding"]
    assert fit.verdict is Fitness.FIT
    assert fit.number == "the tip ends up to 0 mm from its place, at L1"
    # 1000 mm at 25 degrees reach 423 mm out; 7 degrees of that are 52 mm.
    assert off.verdict is Fitness.CAUTION
    assert off.number == "the tip ends up to 52 mm from its place, at L1"
    assert "half hours" in off.note


def test_no_such_location(cone: Plan) -> None:
    """An index beyond the plan is an error of the caller."""
    with pytest.raises(IndexError):
        aim(cone, 10)
