"""Do the acceptance limits keep their promise in the long run?

The promise of E2810: whatever the true mean and spread, a study is accepted while fewer than the
stated share of samples would pass the dosage-unit test with probability 1 - confidence at most.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.evaluation.acceptance_value import acceptance_value
from assistant.evaluation.e2810 import Demand, largest_sigma, pass_bound, plan_1, sd_limits
from assistant.evaluation.operating_characteristic import Design, characteristic


@pytest.mark.parametrize("mean", [96.0, 100.0, 103.0])
@pytest.mark.parametrize("icc", [0.1, 0.7])
def test_a_barely_failing_population_is_seldom_accepted(mean: float, icc: float) -> None:
    """At the sigma whose bound is just 95 %, at most 10 % of studies are accepted."""
    sigma = float(largest_sigma(mean, 0.0))
    between, within = sigma * icc**0.5, sigma * (1.0 - icc) ** 0.5
    found = characteristic(Design(10, 3), between, within, seed=5, mean=mean, trials=20_000)
    for scheme in ("e2810-plan-1", "e2810-plan-2"):
        error = float(found.standard_error(scheme))
        assert float(found.probability[scheme]) <= 0.10 + 3.5 * error, scheme


@given(st.floats(91.0, 109.0), st.floats(0.2, 6.0))
def test_the_bound_falls_with_sigma_and_away_from_the_centre(mean: float, sigma: float) -> None:
    """What the corner rule relies on."""
    here = float(pass_bound(mean, sigma))
    assert float(pass_bound(mean, sigma * 1.05)) <= here + 1e-9
    outwards = mean + (0.5 if mean > 100.0 else -0.5)
    if abs(mean - 100.0) > 0.5:
        assert float(pass_bound(outwards, sigma)) <= here + 1e-9


@given(st.floats(92.0, 108.0), st.integers(5, 100), st.sampled_from([0.5, 0.9, 0.95]))
def test_the_limit_parts_accepted_from_refused(mean: float, n: int, confidence: float) -> None:
    """Just below the limit the bound reaches 95 %, just above it does not."""
    limit = float(sd_limits(n, mean, confidence))
    bound = plan_1(mean, limit, n)
    if confidence == bound.demand.confidence:
        assert plan_1(mean, limit - 1e-5, n).accepted
        assert not plan_1(mean, limit + 1e-5, n).accepted
    assert float(sd_limits(n + 1, mean, confidence)) > limit


@given(st.floats(80.0, 120.0), st.floats(0.0, 10.0))
def test_an_accepted_value_is_continuous_in_the_mean(mean: float, sd: float) -> None:
    """The reference has no jumps: a small step of the mean moves AV by as much at most."""
    step = 1e-3
    here, there = acceptance_value(mean, sd, 10), acceptance_value(mean + step, sd, 10)
    assert abs(there.value - here.value) <= step + 1e-9
    assert here.unit_low < here.reference < here.unit_high
    assert np.isfinite(here.value)


@given(
    st.floats(0.01, 0.9999),
    st.floats(0.01, 0.9999),
    st.floats(80.0, 130.0),
    st.floats(70.0, 130.0),
    st.integers(2, 200),
)
def test_any_demand_is_answered(
    confidence: float, coverage: float, target: float, mean: float, n: int
) -> None:
    """Odd levels and targets give a limit, or say that there is none; more is harder."""
    demand = Demand(confidence, coverage, target)
    bound = plan_1(mean, 1.0, n, demand)
    harder = plan_1(mean, 1.0, n, Demand(confidence, min(0.99995, coverage * 1.1), target))
    assert 0.0 <= bound.probability <= 1.0 + 1e-9
    assert (harder.sd_limit or 0.0) <= (bound.sd_limit or 0.0) + 1e-6
