"""Tolerance intervals: what can be asked for, both designs, and their edges."""

import numpy as np
import pytest
from scipy import stats

from assistant.errors import InputError
from assistant.evaluation.tolerance import (
    Asked,
    asked,
    of_components,
    of_sample,
    one_sided_factor,
    two_sided_factor,
)
from assistant.evaluation.variance import one_way

WANTED = Asked(0.95, 0.95)
RUNS = (
    (0.969, 0.976, 0.938),
    (0.952, 0.993, 0.956),
    (0.989, 0.883, 0.981),
    (1.0, 0.969, 0.954),
    (0.959, 0.989, 1.02),
    (1.02, 1.09, 1.02),
)
"""The assay validation of Hoffman & Kringle 2005, six runs of three, read in public code."""


def test_both_levels_are_read_in_percent() -> None:
    """As proportion/confidence."""
    assert asked("99.5/90") == Asked(0.995, 0.90)
    assert asked("99.5/90").name == "99.5/90"
    assert asked("99.9/99.9") == Asked(0.999, 0.999)


@pytest.mark.parametrize("text", ["95", "95/95/95", "a/95", "", "95 %/95"])
def test_what_cannot_be_read_is_refused(text: str) -> None:
    """With an example of how to write it."""
    with pytest.raises(InputError, match="such as 95/95"):
        asked(text)


@pytest.mark.parametrize("text", ["89/95", "95/89", "99.95/95", "95/100", "0.95/0.95", "nan/95"])
def test_levels_that_were_not_simulated_are_refused(text: str) -> None:
    """With the range that is offered."""
    with pytest.raises(InputError, match=r"90 to 99\.9 % each"):
        asked(text)


def test_a_simple_sample_uses_the_exact_factors() -> None:
    """Mean -/+ k s."""
    values = [98.0, 101.0, 99.5, 100.5, 102.0]
    found, sd = of_sample(values, WANTED), float(np.std(values, ddof=1))
    k2, k1 = two_sided_factor(5, WANTED), one_sided_factor(5, WANTED)
    assert found.factors == (k2, k1)
    assert (found.sigma_upper, found.mean_sd, found.approximate) == (None, None, False)
    assert [found.lower, found.upper] == pytest.approx([100.2 - k2 * sd, 100.2 + k2 * sd])
    assert [found.lower_alone, found.upper_alone] == pytest.approx(
        [100.2 - k1 * sd, 100.2 + k1 * sd]
    )


def test_replicates_use_the_formulas_with_variance_components() -> None:
    """Computed again from the mean squares with another library's quantiles."""
    means, y = np.mean(RUNS, axis=1), np.asarray(RUNS)
    s_l = means.var(ddof=1)
    s_e = y.var(axis=1, ddof=1).mean()
    total = s_l + 2 / 3 * s_e
    h1, h2 = 5 / stats.chi2.ppf(0.05, 5) - 1, 12 / stats.chi2.ppf(0.05, 12) - 1
    upper = total + ((h1 * s_l) ** 2 + (h2 * 2 / 3 * s_e) ** 2) ** 0.5
    half = stats.norm.ppf(0.975) * ((1 + s_l / 6 / total) * upper) ** 0.5
    reach = stats.norm.ppf(0.95) * (upper**0.5 + (s_l / 6) ** 0.5)
    found = of_components(one_way(RUNS), WANTED)
    assert found.mean == pytest.approx(y.mean())
    assert [found.lower, found.upper] == pytest.approx([y.mean() - half, y.mean() + half])
    assert found.lower_alone == pytest.approx(y.mean() - reach)
    assert found.upper_alone == pytest.approx(y.mean() + reach)
    assert found.sd == pytest.approx(total**0.5)
    assert found.sigma_upper == pytest.approx(upper**0.5)
    assert found.mean_sd == pytest.approx((s_l / 6) ** 0.5)
    assert (found.factors, found.approximate) == (None, False)


def test_unequal_replicates_use_the_mean_of_the_location_means_and_say_so() -> None:
    """As the intervals of the components do."""
    found = of_components(one_way([[98.0, 99.0, 100.0], [101.0, 103.0], [97.0, 99.0]]), WANTED)
    assert found.approximate
    assert found.mean == pytest.approx((99.0 + 102.0 + 98.0) / 3)
    assert found.mean_sd == pytest.approx(float(np.std([99.0, 102.0, 98.0], ddof=1)) / 3**0.5)


def test_equal_results_leave_no_width() -> None:
    """All limits are the one value."""
    for found in (
        of_components(one_way([[100.0, 100.0], [100.0, 100.0]]), WANTED),
        of_sample([100.0, 100.0], WANTED),
    ):
        assert {found.lower, found.upper, found.lower_alone, found.upper_alone} == {100.0}
