"""Mean, standard deviation, relative standard deviation and range, overall and per spot.

Sums are exact (see `rational_sums`), so that an SD of 3.0 by hand is 3.0 here and inclusive limits
work as stated. The sample standard deviation (n - 1) is used throughout.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from assistant.errors import InputError
from assistant.evaluation.rational_sums import Value, mean_and_squares
from assistant.evaluation.results import Result, Spot, assays, by_spot, has_ports


@dataclass(frozen=True, slots=True)
class Summary:
    """Summary statistics of one set of values, in the unit of the values."""

    n: int
    mean: float
    sd: float | None
    """Sample standard deviation; None for a single value."""
    rsd: float | None
    """100 x sd / mean, %; None for a single value or a mean of zero."""
    low: float
    high: float
    largest_deviation: float
    """Largest deviation of an individual from the mean."""


@dataclass(frozen=True, slots=True)
class SpotSummary:
    """The summary of one spot."""

    spot: Spot
    name: str
    """The location, with the port if the study has several."""
    summary: Summary


def summarise(values: Sequence[Value]) -> Summary:
    """Summary of one or more values.

    Raises:
        InputError: no values, or one is not a usable number.
    """
    if not values:
        raise InputError("There are no values to summarise.")
    mean, squares = mean_and_squares(values)
    n = len(values)
    sd = math.sqrt(squares / (n - 1)) if n > 1 else None
    rsd = 100.0 * sd / float(mean) if sd is not None and mean != 0 else None
    low, high = float(min(values)), float(max(values))
    centre = float(mean)
    return Summary(n, centre, sd, rsd, low, high, max(high - centre, centre - low))


def summarise_spots(results: Sequence[Result]) -> tuple[SpotSummary, ...]:
    """Summary of each spot, in the order of the results."""
    ports = has_ports(results)
    return tuple(
        SpotSummary(spot, spot.name(ports=ports), summarise(assays(members)))
        for spot, members in by_spot(results).items()
    )
