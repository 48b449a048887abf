"""Decimals are taken as typed; summaries are exact; distributions keep the textbook's order."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from assistant.errors import InputError
from assistant.evaluation import quantiles
from assistant.evaluation.descriptive import summarise, summarise_spots
from assistant.evaluation.rational_sums import decimal_of, mean_and_squares, whole_numbers
from assistant.evaluation.results import Result


def test_a_float_is_the_decimal_that_was_typed() -> None:
    """The double nearest to 1000000000000.4 is not 0.4 past the integer; its decimal is."""
    assert decimal_of(1000000000000.4) == Decimal("1000000000000.4")
    assert mean_and_squares([0.1, 0.2, 0.3]) == (Fraction(1, 5), Fraction(1, 50))
    assert whole_numbers([1.25, Decimal("1E+3"), 2]) == ([125, 100000, 200], Fraction(1, 100))


@pytest.mark.parametrize("value", [float("nan"), float("inf"), 1e300, Decimal("sNaN")])
def test_unusable_numbers_are_refused(value: float | Decimal) -> None:
    """NaN, infinity and numbers whose square overflows have their sentence."""
    with pytest.raises(InputError, match="not a usable number"):
        decimal_of(value)


@given(st.lists(st.decimals(-1000, 1000, places=3), min_size=2, max_size=20), st.integers(-9, 9))
def test_spread_does_not_depend_on_the_level(values: list[Decimal], power: int) -> None:
    """Adding any constant leaves the sum of squares exactly as it is."""
    shift = Decimal(10) ** power
    moved = [value + shift for value in values]
    assert mean_and_squares(moved)[1] == mean_and_squares(values)[1]


def test_next_to_nothing_is_nothing() -> None:
    """A value whose square no double can hold beside others counts as zero."""
    assert decimal_of(1e-300) == 0
    assert decimal_of(-1e-30) == Decimal("-1e-30")


def test_summary_of_a_few_values() -> None:
    """Mean, SD, RSD and range; a spread of 3 on paper is 3.0."""
    summary = summarise([97.0, 100.0, 103.0])
    assert (summary.n, summary.mean, summary.sd, summary.rsd) == (3, 100.0, 3.0, 3.0)
    assert (summary.low, summary.high, summary.largest_deviation) == (97.0, 103.0, 3.0)


def test_summary_at_its_edges() -> None:
    """One value has no SD, a mean of zero no RSD, nothing no summary."""
    assert (summarise([5.0]).sd, summarise([5.0]).rsd) == (None, None)
    assert (summarise([0.0, 0.0]).sd, summarise([0.0, 0.0]).rsd) == (0.0, None)
    with pytest.raises(InputError, match="no values"):
        summarise([])


def test_spot_summaries_carry_names() -> None:
    """One summary a spot, by name."""
    results = [
        Result(str(i), name, 1, 1, None, None, None, None, assay=assay)
        for i, (name, assay) in enumerate([("A", 99.0), ("B", 98.0), ("A", 101.0)])
    ]
    found = summarise_spots(results)
    assert [(one.name, one.summary.mean) for one in found] == [("A", 100.0), ("B", 98.0)]


def test_quantiles_agree_with_scipy_stats() -> None:
    """Argument order is probability first, degrees of freedom after."""
    assert float(quantiles.chi2_quantile(0.1, 7)) == pytest.approx(stats.chi2.ppf(0.1, 7))
    assert float(quantiles.f_quantile(0.9, 3, 8)) == pytest.approx(stats.f.ppf(0.9, 3, 8))
    assert float(quantiles.f_upper_tail(2.5, 3, 8)) == pytest.approx(stats.f.sf(2.5, 3, 8))
    assert float(quantiles.t_quantile(0.9, 5)) == pytest.approx(stats.t.ppf(0.9, 5))
    assert float(quantiles.t_two_sided(-1.3, 5)) == pytest.approx(2 * stats.t.sf(1.3, 5))
    assert float(quantiles.normal_quantile(0.975)) == pytest.approx(1.959963984540054)
    assert float(quantiles.normal_cdf(1.96)) == pytest.approx(0.9750021048517795)
