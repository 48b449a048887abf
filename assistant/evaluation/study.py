"""The complete evaluation of one study: results in, one frozen result out.

Everything in the report is computed here or in the modules called from here. Statistics that the
design does not allow are None, with a note that says why; an InputError means that no verdict is
possible.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

from assistant.errors import InputError
from assistant.evaluation.descriptive import SpotSummary, Summary, summarise, summarise_spots
from assistant.evaluation.e2810 import STANDARD, Bound, Demand
from assistant.evaluation.indications import (
    Indication,
    Thresholds,
    against_random_mixture,
    between_locations,
    no_variation,
    trend_indications,
    within_locations,
)
from assistant.evaluation.intervals import ComponentIntervals, component_intervals
from assistant.evaluation.nested import Nested, nested_results
from assistant.evaluation.reml import Likelihood, fit
from assistant.evaluation.results import (
    MOST_PERCENT,
    Result,
    assays,
    assays_by_spot,
    check_study,
    first_of_each_spot,
    has_ports,
)
from assistant.evaluation.schemes import (
    Outcome,
    acceptance_limit_1,
    acceptance_limit_2,
    dosage_units,
    industry,
)
from assistant.evaluation.screening import (
    Normality,
    Outlier,
    deviations_from_location,
    farthest,
    normality,
)
from assistant.evaluation.trends import Trend, trends
from assistant.evaluation.variance import OneWay, one_way
from assistant.evaluation.withdrawn_fda_2003 import blend

ORDERS = (("location", "position", "port"), ("location", "port", "position"))
"""Ways to nest a study: ports within replicates, and replicates within ports (spots)."""


@dataclass(frozen=True, slots=True)
class Options:
    """Settings of an evaluation."""

    confidence: float = 0.95
    """Confidence level of the intervals of the components."""
    demand: Demand = STANDARD
    """Requirements of the acceptance limits; its target is also T of the acceptance value."""
    random_rsd: float | None = None
    """RSD of a perfect random mixture for this sample mass, %, from the plan."""
    method_sd: float | None = None
    """Standard deviation of the analytical method, % of target."""
    thresholds: Thresholds = field(default_factory=Thresholds)

    def __post_init__(self) -> None:
        """Check the levels and limits.

        Raises:
            InputError: a level is outside 0 to 1, or a value is not above 0.
        """
        if not 0.0 < self.confidence < 1.0:
            raise InputError(f"A confidence of {self.confidence:g} is not between 0 and 1.")
        for figure in (self.random_rsd, self.method_sd):
            if figure is not None and not 0.0 < figure <= MOST_PERCENT:
                raise InputError(f"An RSD or SD of {figure:g} % is not above 0.")


@dataclass(frozen=True, slots=True)
class Components:
    """The one-way analysis of a study with replicates."""

    table: OneWay
    intervals: ComponentIntervals
    reml: Likelihood | None
    """None if the replicates agree exactly."""


@dataclass(frozen=True, slots=True)
class Study:
    """The evaluation of one study."""

    results: tuple[Result, ...]
    options: Options
    summary: Summary
    spots: tuple[SpotSummary, ...]
    """Each place in the blend; these are the locations of the schemes and components."""
    components: Components | None
    """None if there is one result per location."""
    nested: tuple[Nested, ...]
    normality_of_all: Normality | None
    normality_within: Normality | None
    farthest: Outlier | None
    trends: tuple[Trend, ...]
    outcomes: tuple[Outcome, ...]
    bounds: tuple[Bound, ...]
    indications: tuple[Indication, ...]
    notes: tuple[str, ...]


def evaluate(results: Sequence[Result], options: Options | None = None) -> Study:
    """Evaluate a study.

    Args:
        results: one per vial, from two or more locations.
        options: levels and limits; the defaults are those of `Options`.

    Raises:
        InputError: the results allow no verdict (none, a repeated vial, one location).
    """
    asked = options or Options()
    check_study(results)
    groups, everything = assays_by_spot(results), assays(results)
    firsts = assays(first_of_each_spot(results))
    summary = summarise(everything)
    components = _components(groups, asked) if len(everything) > len(groups) else None
    found = trends(results)
    outcomes, bounds = _schemes(groups, firsts, components, asked)
    inside = deviations_from_location(groups) if components is not None else ()
    return Study(
        results=tuple(results),
        options=asked,
        summary=summary,
        spots=summarise_spots(results),
        components=components,
        nested=_nested(results),
        normality_of_all=normality(everything),
        normality_within=normality(inside),
        farthest=farthest(everything),
        trends=found,
        outcomes=outcomes,
        bounds=bounds,
        indications=_indications(summary, everything, components, found, asked),
        notes=_notes(results, groups, components),
    )


def _components(groups: Sequence[Sequence[float]], asked: Options) -> Components:
    table = one_way(groups)
    return Components(
        table,
        component_intervals(table, asked.confidence),
        fit(table) if table.ss_within > 0 else None,
    )


def _nested(results: Sequence[Result]) -> tuple[Nested, ...]:
    """The nested analyses that the design allows, without duplicates."""
    found: list[Nested] = []
    for order in ORDERS:
        analysis = nested_results(results, order)
        if analysis is not None and analysis not in found:
            found.append(analysis)
    return tuple(found)


def _schemes(
    groups: Sequence[Sequence[float]],
    firsts: Sequence[float],
    components: Components | None,
    asked: Options,
) -> tuple[tuple[Outcome, ...], tuple[Bound, ...]]:
    everything = [value for group in groups for value in group]
    limit, bound = acceptance_limit_1(firsts, asked.demand)
    outcomes, bounds = [limit], [bound]
    if components is not None:
        limit, bound = acceptance_limit_2(components.table, asked.demand)
        outcomes.append(limit)
        bounds.append(bound)
    return (
        industry(groups, firsts),
        dosage_units(firsts, everything, asked.demand.target),
        *outcomes,
        blend(firsts),
    ), tuple(bounds)


def _indications(
    summary: Summary,
    everything: Sequence[float],
    components: Components | None,
    found: Sequence[Trend],
    asked: Options,
) -> tuple[Indication, ...]:
    constant = no_variation(everything)
    if constant is not None:
        return (constant,)
    indications: list[Indication] = []
    limits = asked.thresholds
    if components is not None:
        table, intervals = components.table, components.intervals
        indications.append(between_locations(table, intervals, limits))
        indications.append(within_locations(table, intervals, limits, asked.method_sd))
    indications.extend(trend_indications(found, limits))
    if asked.random_rsd is not None:
        below = against_random_mixture(summary, asked.random_rsd, limits)
        if below is not None:
            indications.append(below)
    return tuple(indications)


def _notes(
    results: Sequence[Result], groups: Sequence[Sequence[float]], components: Components | None
) -> tuple[str, ...]:
    notes = []
    if has_ports(results):
        notes.append(
            "Ports are at different depths: each port of an insertion counts as a location of "
            "its own, and the shaft positions are its replicates."
        )
    if components is None:
        notes.append(
            "One result per location: variation between and within locations cannot be separated."
        )
    else:
        if not components.table.balanced:
            notes.append(
                "Locations have unequal numbers of results: intervals of the between-location "
                "and total variance are approximate."
            )
        if components.table.ss_within == 0:
            notes.append("All replicates agree exactly: no likelihood estimate is given.")
    if all(value == groups[0][0] for group in groups for value in group):
        notes.append(f"All results are {groups[0][0]:g} % of target: there is no variation.")
    return tuple(notes)
