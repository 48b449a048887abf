"""Plans for the tests of planning: the shipped ones, as they are or with parts replaced."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from assistant.plan import Plan, parse_plan

PLANS = Path(__file__).parents[3] / "plans"


@pytest.fixture
def shipped() -> Callable[[str], Plan]:
    """Return a function that reads a shipped plan by its name."""

    def read(name: str) -> Plan:
        return parse_plan((PLANS / f"{name}.toml").read_bytes(), name)

    return read


@pytest.fixture
def cone(shipped: Callable[[str], Plan]) -> Plan:
    """Return the shipped plan of the double cone."""
    return shipped("double-cone")


@pytest.fixture
def with_part() -> Callable[..., Plan]:
    """Return a function that replaces keys of one table of a plan, checked like a file."""

    def change(plan: Plan, table: str, **keys: Any) -> Plan:  # noqa: ANN401 - a plan's values are of every kind
        dumped = plan.model_dump(by_alias=True)
        dumped[table] = {**(dumped[table] or {}), **keys}
        return Plan.model_validate(dumped)

    return change


@pytest.fixture
def with_locations() -> Callable[..., Plan]:
    """Return a function that gives a plan other locations, each a dictionary."""

    def change(plan: Plan, *locations: dict[str, Any]) -> Plan:
        dumped = plan.model_dump(by_alias=True)
        dumped["locations"] = [
            {"code": f"L{number}", "x_mm": 0.0, "y_mm": 0.0, **location}
            for number, location in enumerate(locations, 1)
        ]
        return Plan.model_validate(dumped)

    return change
