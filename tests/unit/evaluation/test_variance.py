"""Variance components, likelihood, nesting and intervals at their edges and by identities."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from assistant.errors import InputError
from assistant.evaluation.intervals import component_intervals, mean_squares
from assistant.evaluation.nested import nested, nested_results
from assistant.evaluation.reml import fit
from assistant.evaluation.simulated_assays import Truth, regular_vials, results
from assistant.evaluation.variance import one_way

assay = st.decimals(80, 120, places=1).map(float)


@pytest.mark.parametrize(
    ("groups", "words"),
    [
        ([[99.0, 100.0]], "One location only"),
        ([[99.0, 100.0], []], "no result"),
        ([[99.0], [100.0]], "One result per location"),
    ],
)
def test_designs_without_components_are_refused(groups: list[list[float]], words: str) -> None:
    """One location, an empty one, no replicates."""
    with pytest.raises(InputError, match=words):
        one_way(groups)


def test_all_equal_values_have_no_ratio() -> None:
    """Zero variance gives no F, no R-squared, no intraclass correlation and zero intervals."""
    table = one_way([[100.0, 100.0], [100.0, 100.0]])
    assert (table.f, table.p, table.r_squared, table.icc) == (None, None, None, None)
    found = component_intervals(table)
    assert (found.total_df, found.icc) == (None, None)
    assert found.total.lower == found.total.upper == found.between.upper == 0.0
    assert found.total_upper.upper == 0.0


def test_equal_replicates_with_different_locations() -> None:
    """Without spread inside, everything lies between; the likelihood has no maximum."""
    table = one_way([[99.0, 99.0], [101.0, 101.0], [100.0, 100.0]])
    assert (table.f, table.icc, table.r_squared) == (None, 1.0, 1.0)
    found = component_intervals(table)
    assert found.icc is None
    assert found.between.lower is not None
    assert 0.0 < found.between.lower < 1.0 < found.between.upper
    with pytest.raises(InputError, match="agree exactly"):
        fit(table)


@settings(max_examples=60)
@given(st.lists(st.tuples(assay, assay, assay), min_size=2, max_size=8))
def test_balanced_reml_equals_the_moment_estimates(groups: list[tuple[float, ...]]) -> None:
    """Where MSB >= MSW they agree; else between is 0 and within the total mean square."""
    table = one_way(groups)
    if table.ss_within == 0.0:
        return
    reml = fit(table)
    if table.between_raw >= 0.0:
        assert reml.between == pytest.approx(table.between, rel=1e-7, abs=1e-7 * table.within)
        assert reml.within == pytest.approx(table.within, rel=1e-7)
    else:
        total = (table.ss_between + table.ss_within) / (table.total_n - 1)
        assert reml.between == 0.0
        assert reml.within == pytest.approx(total, rel=1e-9)


@settings(max_examples=60)
@given(
    st.lists(st.lists(assay, min_size=1, max_size=5), min_size=3, max_size=8),
    st.sampled_from(["full", "restricted"]),
)
def test_the_likelihood_is_lowest_at_its_estimate(groups: list[list[float]], kind: str) -> None:
    """No nearby pair of components has a lower criterion, computed from the plain formula."""
    if max(map(len, groups)) == 1 or one_way(groups).ss_within == 0.0:
        return
    table, whole = one_way(groups), kind == "full"
    found = fit(table, restricted=not whole)

    def criterion(between: float, within: float) -> float:
        n, m = np.asarray(table.sizes), np.asarray(table.means)
        w = n / (within + n * between)
        mu = (w * m).sum() / w.sum()
        value = (n.sum() - len(n)) * math.log(within) + np.log(within + n * between).sum()
        value += table.ss_within / within + (w * (m - mu) ** 2).sum()
        value += n.sum() * math.log(2 * math.pi)
        return float(value if whole else value + math.log(w.sum()) - math.log(2 * math.pi))

    best = criterion(found.between, found.within)
    assert found.criterion == pytest.approx(best, rel=1e-9, abs=1e-6)
    step = 0.02 * (found.between + found.within)
    for sb, sw in ((step, 0), (-step, 0), (0, step), (0, -step), (step, -step), (-step, step)):
        if found.between + sb >= 0.0 and found.within + sw > 0.0:
            assert criterion(found.between + sb, found.within + sw) >= best - 1e-9


def test_a_tiny_spread_inside_is_followed_out_of_the_grid() -> None:
    """A ratio of variances beyond the search grid is still found."""
    groups = [[90.0, 90.000001], [100.0, 100.000001], [110.0, 110.000001]]
    reml = fit(one_way(groups))
    assert reml.between == pytest.approx(100.0, rel=1e-6)
    assert reml.within == pytest.approx(5e-13, rel=1e-6)


def test_unequal_replicates_use_unweighted_means_and_say_so() -> None:
    """The between mean square becomes h x the variance of the means, h harmonic."""
    table = one_way([[98.0, 99.0, 100.0], [101.0, 103.0], [97.0, 98.5, 99.0, 99.5]])
    squares = mean_squares(table)
    h = 3 / (1 / 3 + 1 / 2 + 1 / 4)
    assert squares.approximate
    assert squares.layout.replicates == pytest.approx(h)
    assert squares.between == pytest.approx(h * np.var([99.0, 102.0, 98.5], ddof=1))
    found = component_intervals(table)
    assert found.icc is not None
    for interval in (found.between, found.total, found.total_upper, found.icc):
        assert "approximate" in interval.method
    assert "approximate" not in found.within.method


def test_nested_with_one_level_is_the_one_way_table() -> None:
    """The general nested code and the one-way code give the same figures, also unbalanced."""
    groups = {"A": [98.0, 99.0, 100.0], "B": [101.0, 103.0], "C": [97.0, 98.5]}
    values = [value for group in groups.values() for value in group]
    keys = [(name,) for name, group in groups.items() for _ in group]
    analysis, table = nested(values, keys, ("location",)), one_way(list(groups.values()))
    location, residual = analysis.levels
    assert not analysis.balanced
    assert (location.ms, residual.ms, location.f) == (table.ms_between, table.ms_within, table.f)
    assert location.coefficients[0] == pytest.approx(table.n0)
    assert location.raw == pytest.approx(table.between_raw)
    assert (location.interval, residual.interval) == (None, None)


def test_nested_levels_without_replicates_are_refused() -> None:
    """A level as fine as the values leaves nothing for the residual."""
    with pytest.raises(InputError, match="residual has no replicates"):
        nested([1.0, 2.0, 3.0], [("A", 1), ("A", 2), ("B", 1)], ("location", "position"))


def test_nested_without_residual_variance_has_no_ratio() -> None:
    """Equal replicates give no F on the level above them."""
    keys = [("A",), ("A",), ("B",), ("B",)]
    location, residual = nested([1.0, 1.0, 2.0, 2.0], keys, ("location",)).levels
    assert (location.f, location.p, residual.variance) == (None, None, 0.0)


def test_a_study_is_nested_as_far_as_its_design_goes() -> None:
    """Ports and positions give two levels; without ports, or with one, there is nothing to nest."""
    made = results(regular_vials(4, 3, 2), Truth(depth_slope=3.0, within_sd=0.5), seed=5)
    default = nested_results(made)
    spots = nested_results(made, ("location", "port", "position"))
    assert default is not None
    assert spots is not None
    assert [level.name for level in default.levels] == ["location", "position", "residual"]
    assert [level.df for level in spots.levels] == [3, 4, 16]
    # The depth effect put in lies between ports of a location and nowhere else.
    assert spots.levels[1].variance == pytest.approx(9.0**2 / 2, rel=0.4)
    assert default.levels[1].variance < 1.0
    assert nested_results(results(regular_vials(4, 3), Truth(), seed=5)) is None
    assert nested_results(results(regular_vials(4, 1, 1), Truth(), seed=5)) is None
