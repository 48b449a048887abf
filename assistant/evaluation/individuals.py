"""Control chart of single values in order, such as one mean per batch, by their moving ranges.

Unlike the charts of a campaign, whose limits hold for identical batches, this one takes the
ordinary variation from batch to batch as it was: a point beyond the limits is unlike its
neighbours. NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2, "Individuals Control Charts":
mean plus and minus 3 times the mean moving range of two neighbours divided by d2.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

from assistant.errors import InputError
from assistant.evaluation.campaign import Chart

__all__ = ["D2", "individuals_chart"]

D2 = 2.0 / math.sqrt(math.pi)
"""Mean range of two normal values, in units of sigma; 1.128 in tables."""
_SIGMAS = 3.0
_ROUNDING = 1e-9


def individuals_chart(name: str, labels: Sequence[str], values: Sequence[float]) -> Chart:
    """Chart of single values with limits from the mean moving range.

    Args:
        name: of the chart.
        labels: one per value.
        values: in order of time, in one unit.

    Raises:
        InputError: fewer than two values.
    """
    if len(values) < 2:  # noqa: PLR2004 - a range needs two
        raise InputError("One value has no moving range: a chart needs two or more.")
    ranges = [abs(after - before) for before, after in pairwise(values)]
    centre = sum(values) / len(values)
    half = _SIGMAS * sum(ranges) / len(ranges) / D2 + _ROUNDING * abs(centre)
    limits = ((centre - half,) * len(values), (centre + half,) * len(values))
    return Chart(name, tuple(labels), tuple(values), centre, *limits)
