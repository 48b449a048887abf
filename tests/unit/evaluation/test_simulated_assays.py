"""Made-up assays: seeded, with the truth that was put in."""

import numpy as np
import pytest

from assistant.errors import InputError
from assistant.evaluation.results import Vial, assays
from assistant.evaluation.simulated_assays import Truth, marks, regular_vials, results, sheet
from assistant.evaluation.variance import one_way


def test_the_seed_decides() -> None:
    """Same seed, same assays; another seed, others; every vial gets its result, rounded."""
    vials = regular_vials(10, 3)
    made = results(vials, Truth(), seed=1)
    assert made == results(vials, Truth(), seed=1)
    assert made != results(vials, Truth(), seed=2)
    assert [r.vial for r in made] == [str(i) for i in range(1, 31)]
    assert all(r.assay == round(r.assay, 1) for r in made)


def test_the_components_put_in_come_out() -> None:
    """Two hundred locations of five: both components within four standard errors."""
    made = results(regular_vials(200, 5), Truth(between_sd=2.0, within_sd=1.0), seed=6, decimals=9)
    x = np.asarray(assays(made)).reshape(200, 5)
    table = one_way([[float(v) for v in row] for row in x])
    assert table.within == pytest.approx(1.0, abs=4 * (2 / 800) ** 0.5)
    assert table.between == pytest.approx(4.0, abs=4 * 4.2 * (2 / 199) ** 0.5)
    assert x.mean() == pytest.approx(100.0, abs=4 * 2.0 / 200**0.5)


def test_without_spread_only_the_marks_remain() -> None:
    """Bias, depth, position, order and time open add up; contents stay at or above zero."""
    vial = Vial("1", "A", 2, 1, depth_mm=200.0, insertion_order=4, open_seconds=30.0)
    truth = Truth(
        between_sd=0.0,
        within_sd=0.0,
        thief_bias=1.0,
        depth_slope=0.5,
        position_slope=0.25,
        order_slope=0.1,
        open_slope=0.2,
    )
    assert marks(vial, truth) == pytest.approx(1.0 + 1.0 + 0.25 + 0.3 + 0.6)
    assert results([vial], truth, seed=1)[0].assay == 103.2
    assert marks(Vial("1", "A", 1, 1), truth) == 1.0
    empty = Truth(mean=0.0, between_sd=0.0, within_sd=0.0, thief_bias=-5.0)
    assert results([vial], empty, seed=1)[0].assay == 0.0


def test_the_sheet_is_plain_csv() -> None:
    """A heading with the unit and one row per vial, with the batch where there is one."""
    made = results(regular_vials(2, 1), Truth(between_sd=0.0, within_sd=0.0), seed=1)
    head, first, _ = sheet(made, "B7").splitlines()
    assert head == "Vial,Assay (% of target),Net mass (mg),Batch,Origin"
    assert first == "1,100.0,500.0,B7,made up by sampling-assistant"


@pytest.mark.parametrize("sd", [-1.0, float("nan")])
def test_spreads_below_zero_are_refused(sd: float) -> None:
    """A standard deviation is 0 or more."""
    for truth in ({"between_sd": sd}, {"within_sd": sd}):
        with pytest.raises(InputError, match="0 or more"):
            Truth(**truth)
