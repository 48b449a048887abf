"""What a die holds, and what a spoken weight means."""

from collections.abc import Callable

import pytest

from assistant.plan import Plan
from assistant.plan.dies import Weight, doses_per_die, mass_window, powder_removed_kg

Change = Callable[..., Plan]


def test_window_of_the_shipped_plan(cone: Plan) -> None:
    """0.8 mL hold 360 mg at 0.45 and 464 mg at 0.58 g/mL; 15 % beyond is remarked."""
    window = mass_window(cone)
    assert window.bulk_mg == pytest.approx(360)
    assert window.tapped_mg == pytest.approx(464)
    assert window.low_mg == pytest.approx(360 * 0.85)
    assert window.high_mg == pytest.approx(464 * 1.15)
    assert window.minimum_mg is None


def test_weights_are_judged(cone: Plan, with_part: Change) -> None:
    """Both ends of the window count as within; the balance's minimum comes first."""
    plan = with_part(cone, "limits", mass_tolerance=0.0)
    window = mass_window(plan)
    assert window.judge(window.low_mg) is Weight.WITHIN
    assert window.judge(window.high_mg) is Weight.WITHIN
    assert window.judge(window.low_mg - 0.1) is Weight.SHORT
    assert window.judge(window.high_mg + 0.1) is Weight.OVER
    # USP <41>: 0.250 g on a balance whose least net weight is 0.300 g.
    weighed = with_part(plan, "weighing", balance="B1", minimum_mg=300.0, readability_mg=0.1)
    assert mass_window(weighed).judge(250.0) is Weight.BELOW_BALANCE
    assert mass_window(weighed).judge(300.0) is Weight.SHORT


def test_doses_and_powder_removed(cone: Plan) -> None:
    """Thirty dies of 464 mg take 13.92 g; one die holds 1.44 to 1.856 doses."""
    assert doses_per_die(cone) == pytest.approx((1.44, 1.856))
    assert powder_removed_kg(cone) == pytest.approx(30 * 464e-6)
