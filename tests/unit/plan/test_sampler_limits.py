"""The sampler as a tool."""

from collections.abc import Callable

import pytest

from assistant.plan import Plan
from assistant.plan.sampler_limits import (
    LOOSEST_MM,
    TIGHTEST_MM,
    clearance_word,
    hidden_powder_g,
    lifting_limit_kg,
    loaded_kg,
)


@pytest.mark.parametrize(
    ("clearance", "word"),
    [
        (0.380, "too tight"),
        (TIGHTEST_MM, "right"),
        (0.43, "right"),
        (LOOSEST_MM, "right"),
        (0.51, "too loose"),
    ],
)
def test_running_clearance(clearance: float, word: str) -> None:
    """15 to 20 thousandths of an inch (common practice, no source)."""
    assert clearance_word(clearance) == word
    assert pytest.approx(0.015 * 25.4) == TIGHTEST_MM
    assert pytest.approx(0.020 * 25.4) == LOOSEST_MM


def test_powder_in_the_ring(cone: Plan) -> None:
    """The ring of 25 mm and half of 0.43 mm, 400 mm long, at 0.45 g/mL; none outside the powder."""
    assert hidden_powder_g(cone, 400.0) == pytest.approx(3.14159265 * 25 * 0.215 * 400e-3 * 0.45)
    assert hidden_powder_g(cone, -10.0) == 0


def test_weight_with_full_dies(shipped: Callable[[str], Plan]) -> None:
    """The dies add next to nothing, but they are counted."""
    plan = shipped("bin")
    assert loaded_kg(plan) == pytest.approx(3.0 + 2 * 1.0 * 0.65e-3)


def test_lifting_limit() -> None:
    """23 kg is the most; reach, height, travel and twist take from it."""
    assert lifting_limit_kg(25, 75, 25) == pytest.approx(23.0)
    assert lifting_limit_kg(50, 75, 25) == pytest.approx(11.5)
    assert lifting_limit_kg(25, 175, 25) == pytest.approx(23 * 0.7)
    assert lifting_limit_kg(25, 75, 10) == lifting_limit_kg(25, 75, 25)
    assert lifting_limit_kg(25, 75, 300) == lifting_limit_kg(25, 75, 175)
    assert lifting_limit_kg(25, 75, 25, turn_deg=90) == pytest.approx(23 * 0.712)
