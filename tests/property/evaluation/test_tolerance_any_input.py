"""Tolerance limits of any results: where they lie, and how they follow the results."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.evaluation.tolerance import Asked, Tolerance, of_components, of_sample
from assistant.evaluation.variance import one_way

assay = st.decimals(0, 300, places=1).map(float)
level = st.sampled_from([0.9, 0.95, 0.99, 0.999])
sample = st.lists(assay, min_size=2, max_size=12)
groups = st.lists(st.lists(assay, min_size=1, max_size=4), min_size=2, max_size=8).filter(
    lambda made: max(map(len, made)) > 1
)


def limits(found: Tolerance) -> tuple[float, float, float, float]:
    """All four limits."""
    return found.lower, found.upper, found.lower_alone, found.upper_alone


def check_order(found: Tolerance, higher: Tolerance, more: Tolerance) -> None:
    """Limits surround the mean; more confidence or a larger proportion never narrows them."""
    for one in (found, higher, more):
        low, high, low_alone, high_alone = limits(one)
        assert low <= one.mean <= high
        assert low_alone <= one.mean <= high_alone
        assert high - one.mean >= found.upper - found.mean - 1e-9
        assert high_alone - one.mean >= found.upper_alone - found.mean - 1e-9


@settings(max_examples=80, deadline=None)
@given(sample, level, level)
def test_limits_of_a_simple_sample_are_ordered(
    values: list[float], proportion: float, confidence: float
) -> None:
    """One result a location."""
    found = of_sample(values, Asked(proportion, confidence))
    check_order(
        found,
        of_sample(values, Asked(proportion, 0.999)),
        of_sample(values, Asked(0.999, confidence)),
    )


@settings(max_examples=80, deadline=None)
@given(groups, level, level)
def test_limits_with_replicates_are_ordered(
    made: list[list[float]], proportion: float, confidence: float
) -> None:
    """Balanced or not, with or without variance at either level."""
    table = one_way(made)
    check_order(
        of_components(table, Asked(proportion, confidence)),
        of_components(table, Asked(proportion, 0.999)),
        of_components(table, Asked(0.999, confidence)),
    )


@settings(max_examples=80, deadline=None)
@given(groups, level, level)
def test_limits_follow_a_change_of_unit(
    made: list[list[float]], proportion: float, confidence: float
) -> None:
    """Results halved and moved by 40 give limits halved and moved by 40."""
    asked = Asked(proportion, confidence)
    before = of_components(one_way(made), asked)
    after = of_components(one_way([[0.5 * y + 40.0 for y in group] for group in made]), asked)
    assert limits(after) == pytest.approx(
        [0.5 * y + 40.0 for y in limits(before)], rel=1e-9, abs=1e-6
    )
