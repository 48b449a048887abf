"""Operating characteristics: the array rules are the schemes, the model the one-way model."""

import numpy as np
import pytest
from scipy import stats

from assistant.errors import InputError
from assistant.evaluation import operating_characteristic, schemes, withdrawn_fda_2003
from assistant.evaluation.e2810 import Demand
from assistant.evaluation.operating_characteristic import (
    Design,
    applicable,
    characteristic,
    observed,
)
from assistant.evaluation.schemes import Verdict
from assistant.evaluation.variance import one_way


@pytest.mark.slow
def test_array_rules_are_the_schemes() -> None:
    """On 400 studies of very different quality every rule agrees with its scheme."""
    generator = np.random.default_rng(20)
    sds = generator.uniform(0.2, 8.0, (2, 400, 1, 1))
    x = generator.uniform(94.0, 104.0, (400, 1, 1))
    x = x + sds[0] * generator.standard_normal((400, 10, 1))
    x = np.round(x + sds[1] * generator.standard_normal((400, 10, 3)), 1)
    trials, demand = observed(x), Demand()
    found = {name: rule(trials, demand) for name, rule in applicable(Design(10, 3)).items()}
    for i, study in enumerate(x):
        groups = [[float(v) for v in group] for group in study]
        firsts, everything = [g[0] for g in groups], [v for g in groups for v in g]
        two_stage = schemes.industry(groups, firsts)
        met = {
            "fda-2003-blend": withdrawn_fda_2003.blend(firsts).verdict is Verdict.MET,
            "industry-2014 stage 1": two_stage.criteria[0].met,
            "industry-2014 stage 2": two_stage.criteria[1].met,
            "industry-2014 stage 2, tightened": two_stage.criteria[2].met,
            "usp-905": schemes.dosage_units(firsts, everything).verdict is Verdict.MET,
            "e2810-plan-1": schemes.acceptance_limit_1(firsts)[1].accepted,
            "e2810-plan-2": schemes.acceptance_limit_2(one_way(groups))[1].accepted,
        }
        assert {name: bool(rule[i]) for name, rule in found.items()} == met, i
    assert all(0.1 < rule.mean() < 0.95 for rule in found.values())


def test_rules_follow_the_design() -> None:
    """Without replicates no stage 2; off ten locations no acceptance value."""
    assert list(applicable(Design(10, 1))) == [
        "fda-2003-blend",
        "industry-2014 stage 1",
        "usp-905 stage 1",
        "e2810-plan-1",
    ]
    assert list(applicable(Design(6, 2))) == [
        "industry-2014 stage 1",
        "industry-2014 stage 2",
        "industry-2014 stage 2, tightened",
        "e2810-plan-1",
        "e2810-plan-2",
    ]


def test_simulated_statistics_are_those_of_explicit_studies() -> None:
    """The shortcut through location effects gives the means, squares and extremes of the values."""
    design, seed = Design(4, 3), 9
    found = operating_characteristic._Draws(design, 50, seed).at(2.0, 1.5, 98.0)  # noqa: SLF001 - the shortcut itself
    generator = np.random.default_rng(seed)
    location = generator.standard_normal((50, 4, 1))
    expected = observed(98.0 + 2.0 * location + 1.5 * generator.standard_normal((50, 4, 3)))
    for name in ("firsts", "mean", "ms_between", "ms_within", "low", "high"):
        np.testing.assert_allclose(getattr(found, name), getattr(expected, name), rtol=1e-9)


def test_stage_1_probability_against_chi_squared() -> None:
    """SD of ten normal values: P(s < 3.05) is exact for one result per location."""
    between, within = np.asarray([1.5, 2.0, 2.5]), 2.0
    found = characteristic(Design(10, 1), between, within, seed=1, trials=20_000)
    sigma2 = between**2 + within**2
    exact = stats.chi2.cdf(9 * 3.05**2 / sigma2, 9)
    error = found.standard_error("industry-2014 stage 1")
    share = found.probability["industry-2014 stage 1"]
    assert np.all(np.abs(share - exact) < 4.0 * error)
    assert np.all(np.abs(share - stats.chi2.cdf(9 * 2.9**2 / sigma2, 9)) > 4.0 * error)


def test_grids_fall_with_either_sd_and_repeat_by_seed() -> None:
    """A grid has the broadcast shape, falls along both axes, and is the seed's alone."""
    sds = np.asarray([0.0, 2.0, 4.0, 8.0])
    grid = characteristic(Design(10, 3), sds[:, None], sds[None, :], seed=3, trials=400)
    again = characteristic(Design(10, 3), sds[:, None], sds[None, :], seed=3, trials=400)
    for name, share in grid.probability.items():
        assert share.shape == (4, 4)
        assert share[0, 0] == 1.0
        # A larger SD can, in a trial or two of 400, pull a mean back into its limits.
        assert np.all(np.diff(share, axis=0) <= 0.01), name
        assert np.all(np.diff(share, axis=1) <= 0.01), name
        np.testing.assert_array_equal(share, again.probability[name])
        assert np.all(grid.standard_error(name) > 0.0)


def test_what_cannot_be_simulated_is_refused() -> None:
    """One location, negative or missing SDs, no trial or far too many."""
    with pytest.raises(InputError, match="cannot be evaluated"):
        Design(1, 3)
    with pytest.raises(InputError, match="cannot be evaluated"):
        Design(10, 0)
    for sd in (-1.0, float("nan")):
        with pytest.raises(InputError, match="below zero"):
            characteristic(Design(10, 3), sd, 1.0, seed=1)
    for trials in (0, 10**9):
        with pytest.raises(InputError, match="cannot be simulated"):
            characteristic(Design(10, 3), 1.0, 1.0, seed=1, trials=trials)
    assert characteristic(Design(2, 1), [], [], seed=1).between_sd.size == 0
