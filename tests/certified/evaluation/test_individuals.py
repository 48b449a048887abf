"""The chart of single values against the worked example of the NIST handbook.

NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, "Individuals Control Charts", flow
rates of ten batches: mean 50.81, mean moving range 1.8778, limits 55.8041 and 45.8159. The handbook
rounds d2 to 1.128; with that d2 the limits agree to the last digit printed.
"""

import pytest

from assistant.errors import InputError
from assistant.evaluation.individuals import D2, individuals_chart

FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
LABELS = tuple(str(n) for n in range(1, 11))


def test_the_limits_are_the_handbooks() -> None:
    """Centre and limits; no batch of the example is beyond them."""
    chart = individuals_chart("flow", LABELS, FLOW)
    assert chart.centre == pytest.approx(50.81, abs=1e-12)
    printed_d2 = 1.128
    assert chart.centre + (chart.upper[0] - chart.centre) * D2 / printed_d2 == pytest.approx(
        55.8041, abs=5e-5
    )
    assert chart.centre + (chart.lower[0] - chart.centre) * D2 / printed_d2 == pytest.approx(
        45.8159, abs=5e-5
    )
    assert chart.outside == ()


def test_a_batch_beyond_the_limits_is_named() -> None:
    """A jump that the neighbours do not share."""
    assert individuals_chart("flow", [*LABELS, "11"], [*FLOW, 68.0]).outside == ("11",)


def test_equal_values_are_all_inside() -> None:
    """No moving range, no point beyond."""
    assert individuals_chart("flow", "abc", [100.1] * 3).outside == ()


def test_one_value_has_no_chart() -> None:
    """A moving range needs two."""
    with pytest.raises(InputError, match="two or more"):
        individuals_chart("flow", "a", [1.0])
