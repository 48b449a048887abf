"""Unbalanced components, nested tables and trends against `statsmodels`.

An independent implementation is the outside source here: its REML by a general optimiser, its
sequential analysis of variance by projection, its least squares with a constant a location.
Skipped where the extra test-models is not installed.
"""

from collections.abc import Sequence
from importlib import import_module
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from assistant.evaluation.nested import nested
from assistant.evaluation.reml import fit
from assistant.evaluation.results import Result
from assistant.evaluation.simulated_assays import Truth, regular_vials, results
from assistant.evaluation.trends import MEANS, REPLICATES, Trend, trends
from assistant.evaluation.variance import one_way

pytest.importorskip("statsmodels")
pandas = pytest.importorskip("pandas")

SIZES = ((3, 2, 4, 3, 3), (1, 4, 2, 5, 3, 3, 2, 4), (2, 6, 2, 3, 5, 4))
"""Replicates of the unbalanced designs; the seed is the place in this list."""


def formula(name: str, text: str, frame: Any, **more: object) -> Any:  # noqa: ANN401 - untyped
    """A model of statsmodels from its formula."""
    return getattr(import_module("statsmodels.formula.api"), name)(text, frame, **more)


def unbalanced(sizes: Sequence[int], seed: int) -> list[list[float]]:
    """Assays of locations that differ by an SD of 2, with an SD of 1.5 inside."""
    generator = np.random.default_rng(seed)
    return [
        [round(float(100.0 + effect + 1.5 * e), 2) for e in generator.standard_normal(n)]
        for n, effect in zip(sizes, 2.0 * generator.standard_normal(len(sizes)), strict=True)
    ]


@pytest.mark.parametrize("restricted", [True, False])
@pytest.mark.parametrize("seed", range(len(SIZES)))
def test_unbalanced_likelihoods_agree(seed: int, *, restricted: bool) -> None:
    """Both components, the mean and the criterion; their optimiser stops at four digits."""
    groups = unbalanced(SIZES[seed], seed)
    frame = pandas.DataFrame([(g, y) for g, values in enumerate(groups) for y in values])
    frame.columns = ["place", "y"]
    theirs = formula("mixedlm", "y ~ 1", frame, groups="place").fit(reml=restricted)
    ours = fit(one_way(groups), restricted=restricted)
    assert ours.between > 0.0
    assert ours.within == pytest.approx(float(theirs.scale), rel=1e-3)
    assert ours.between == pytest.approx(float(theirs.cov_re.iloc[0, 0]), rel=2e-3)
    assert ours.mean == pytest.approx(float(theirs.fe_params.iloc[0]), abs=1e-3)
    assert ours.criterion == pytest.approx(-2.0 * float(theirs.llf), abs=1e-4)
    # Another optimum would be seen: theirs is never better than ours.
    assert ours.criterion <= -2.0 * float(theirs.llf) + 1e-7


def nested_frame(seed: int) -> Any:  # noqa: ANN401 - untyped
    """An unbalanced study: 4 locations, 2 or 3 positions in each, 1 to 4 values in each."""
    generator, rows = np.random.default_rng(seed), []
    for place in range(4):
        for position in range(2 + place % 2):
            centre = 100.0 + place + generator.standard_normal()
            rows += [
                (place, position, round(float(centre + e), 2))
                for e in generator.standard_normal(1 + (place + 2 * position + seed) % 4)
            ]
    return pandas.DataFrame(rows, columns=["place", "position", "y"])


@pytest.mark.parametrize("seed", range(4))
def test_unbalanced_nested_tables_agree(seed: int) -> None:
    """Degrees of freedom and sums of squares of the sequential table, and the components.

    The components follow from E[MS] by the trace of each projection on each factor's design,
    formed here as plain matrices: the general theory, not this program's sums over nodes.
    """
    frame = nested_frame(seed)
    keys: list[tuple[str | int, ...]] = [
        (str(a), int(b)) for a, b in zip(frame["place"], frame["position"], strict=True)
    ]
    ours = nested([float(y) for y in frame["y"]], keys, ("location", "position"))
    assert not ours.balanced
    frame["spot"] = [f"{a}-{b}" for a, b in keys]
    table = import_module("statsmodels.stats.anova").anova_lm(
        formula("ols", "y ~ C(place)", frame).fit(), formula("ols", "y ~ C(spot)", frame).fit()
    )
    whole = float(((frame["y"] - frame["y"].mean()) ** 2).sum())
    after_place, after_spot = (float(ssr) for ssr in table["ssr"])
    squares = [whole - after_place, after_place - after_spot, after_spot]
    assert [level.ss for level in ours.levels] == pytest.approx(squares, rel=1e-8)
    assert ours.levels[1].df == int(table["df_diff"].iloc[1])
    assert ours.levels[2].df == int(table["df_resid"].iloc[1])
    designs = [np.ones((len(frame), 1))]
    designs += [pandas.get_dummies(frame[c]).to_numpy(dtype=float) for c in ("place", "spot")]
    designs.append(np.eye(len(frame)))
    projections = [z @ np.linalg.pinv(z) for z in designs]
    matrix = np.array(
        [
            [np.trace((wide - narrow) @ z @ z.T) / np.trace(wide - narrow) for z in designs[1:]]
            for narrow, wide in pairwise(projections)
        ]
    )
    components = np.linalg.solve(matrix, [level.ms for level in ours.levels])
    assert [level.raw for level in ours.levels] == pytest.approx(list(components), rel=1e-8)


def trend(made: Sequence[Result], factor: str) -> Trend:
    """This program's trend with one factor."""
    return next(one for one in trends(made) if one.factor == factor)


def frame_of(made: Sequence[Result]) -> Any:  # noqa: ANN401 - untyped
    """Place, position, order and assay of each vial."""
    return pandas.DataFrame(
        {
            "place": [r.location for r in made],
            "position": [r.position for r in made],
            "order": [r.insertion_order for r in made],
            "y": [r.assay for r in made],
        }
    )


@pytest.mark.parametrize("seed", range(3))
def test_a_trend_inside_locations_agrees_with_both_models(seed: int) -> None:
    """Slope, degrees of freedom and p of least squares with a constant a location.

    With the same positions at each location the mixed model has the same slope as well.
    """
    made = results(regular_vials(8, 3), Truth(position_slope=0.8), seed=seed)
    ours, frame = trend(made, "shaft position"), frame_of(made)
    fixed = formula("ols", "y ~ C(place) + position", frame).fit()
    assert ours.basis == REPLICATES
    assert ours.slope == pytest.approx(float(fixed.params["position"]), rel=1e-9)
    assert ours.df == int(fixed.df_resid)
    assert ours.p == pytest.approx(float(fixed.pvalues["position"]), rel=1e-7)
    mixed = formula("mixedlm", "y ~ position", frame, groups="place").fit(reml=True)
    assert ours.slope == pytest.approx(float(mixed.fe_params["position"]), rel=1e-5)


@pytest.mark.parametrize("seed", range(3))
def test_a_trend_between_locations_agrees_with_least_squares_on_their_means(seed: int) -> None:
    """Slope, degrees of freedom and p; the mixed model of all vials has the same slope."""
    made = results(regular_vials(9, 3), Truth(order_slope=0.4), seed=seed)
    ours, frame = trend(made, "insertion order"), frame_of(made)
    means = frame.groupby("place")[["order", "y"]].mean()
    plain = formula("ols", "y ~ order", means).fit()
    assert ours.basis == MEANS
    assert ours.slope == pytest.approx(float(plain.params["order"]), rel=1e-9)
    assert ours.df == int(plain.df_resid)
    assert ours.p == pytest.approx(float(plain.pvalues["order"]), rel=1e-7)
    mixed = formula("mixedlm", "y ~ order", frame, groups="place").fit(reml=True)
    assert ours.slope == pytest.approx(float(mixed.fe_params["order"]), rel=1e-5)


def test_vials_taken_as_independent_would_disagree() -> None:
    """The twin: least squares on all vials, without their places, gives another p."""
    made = results(regular_vials(9, 3), Truth(order_slope=0.4), seed=0)
    naive = formula("ols", "y ~ order", frame_of(made)).fit()
    assert trend(made, "insertion order").p != pytest.approx(
        float(naive.pvalues["order"]), rel=0.05
    )
