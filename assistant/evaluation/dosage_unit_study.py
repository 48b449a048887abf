"""The dosage-unit stages after a blend: E2810 plan 1 on one unit of each location, plan 2 on all.

Stage 1 assays one unit from each of 40 locations (plan 1), stage 2 all three units of each (plan
2), as the industry recommendation has it (Garcia et al., J Pharm Innov 10(1):76-83, 2015; ISPE's
answers on it name 40 samples as its plan). A blend accepted with an SD of 3.1 to 5.0 % of target
begins at stage 2. Once several units of a location are assayed, all of them count.

Judged is the content of the units as they are; the withdrawn FDA draft of 2003 (IV.C) too compared
units with the finished product without weight correction. The acceptance value of <905>
is shown for locations with 10 or 30 units, the numbers for which it is defined; it decides nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from assistant.evaluation.acceptance_value import K_STAGE
from assistant.evaluation.blend_to_units import BlendToUnits, compare
from assistant.evaluation.descriptive import Summary, summarise
from assistant.evaluation.dosage_unit_sheet import DosageUnit, contents
from assistant.evaluation.e2810 import STANDARD, Bound, Demand
from assistant.evaluation.results import Result, assays, assays_by_spot, first_of_each_spot
from assistant.evaluation.schemes import (
    Outcome,
    Verdict,
    acceptance_limit_1,
    acceptance_limit_2,
    dosage_units,
)
from assistant.evaluation.screening import deviations_from_location, farthest, normality
from assistant.evaluation.variance import OneWay, one_way

FEWEST_LOCATIONS = 40
FEWEST_UNITS = 3
CHANCE = 0.01
"""Level of each test behind an open point, as for blends."""
MEAN_LIMITS = (90.0, 110.0)
UNIT_LIMITS = (75.0, 125.0)
"""FDA draft guidance of October 2003 (withdrawn), section VI: % of target strength."""


@dataclass(frozen=True, slots=True)
class UnitLocation:
    """One sampling point of the compression or filling."""

    name: str
    summary: Summary
    """Of the contents judged."""
    values: tuple[float, ...]
    """Contents judged, first unit first."""
    pharmacopoeia: Outcome | None
    """The acceptance value of <905> for 10 or 30 units; None for other numbers."""


@dataclass(frozen=True, slots=True)
class UnitStudy:
    """The evaluation of the dosage units."""

    units: tuple[DosageUnit, ...]
    uncorrected: bool
    """Whether the content as it is was judged; False if only the corrected one is known."""
    weighed: bool
    """Whether the weight-corrected content is known, for the comparison with the blend."""
    locations: tuple[UnitLocation, ...]
    summary: Summary
    components: OneWay | None
    """None if there is one unit a location."""
    stage_1: Outcome
    outcome: Outcome
    """The verdict: of stage 2 where there are several units a location, else of stage 1."""
    bounds: tuple[Bound, ...]
    comparison: BlendToUnits
    open_points: tuple[str, ...]

    @property
    def stage(self) -> int:
        """The stage that gives the verdict."""
        return 1 if self.components is None else 2


def evaluate_units(
    units: Sequence[DosageUnit],
    blend: Sequence[Result],
    *,
    demand: Demand = STANDARD,
    blend_verdict: Verdict = Verdict.MET,
) -> UnitStudy:
    """Judge dosage units and compare them with the blend they were made of.

    Args:
        units: of two locations or more.
        blend: results of the blend samples.
        demand: confidence, coverage and target of the acceptance limits.
        blend_verdict: verdict of the blend's scheme; one with tightened testing asks for stage 2.
    """
    uncorrected = all(unit.content is not None for unit in units)
    weighed = all(unit.corrected is not None for unit in units)
    groups = _grouped(units)
    judged = {name: [contents(unit)[0] for unit in members] for name, members in groups.items()}
    powder = [[contents(unit)[1] for unit in members] for members in groups.values()]
    firsts = [values[0] for values in judged.values()]
    everything = [value for values in judged.values() for value in values]
    stage_1, bound = acceptance_limit_1(firsts, demand)
    outcome, bounds, components = _stage_1(stage_1, len(judged), blend_verdict), [bound], None
    if len(everything) > len(firsts):
        components = one_way(list(judged.values()))
        outcome, bound = acceptance_limit_2(components, demand)
        outcome = replace(outcome, shortfalls=_shortfalls(list(judged.values())))
        bounds.append(bound)
    locations = tuple(_location(name, values, demand) for name, values in judged.items())
    return UnitStudy(
        units=tuple(units),
        uncorrected=uncorrected,
        weighed=weighed,
        locations=locations,
        summary=summarise(everything),
        components=components,
        stage_1=stage_1,
        outcome=outcome,
        bounds=tuple(bounds),
        comparison=compare(
            assays_by_spot(blend),
            powder,
            assays(first_of_each_spot(blend)),
            [values[0] for values in powder],
        ),
        open_points=tuple(_open_points(locations, demand, uncorrected=uncorrected)),
    )


def _grouped(units: Sequence[DosageUnit]) -> dict[str, list[DosageUnit]]:
    """Units by location, lowest number first; names of locations as they first stand."""
    names: dict[str, str] = {}
    groups: dict[str, list[DosageUnit]] = {}
    for unit in units:
        name = names.setdefault(unit.location.casefold(), unit.location)
        groups.setdefault(name, []).append(unit)
    for members in groups.values():
        if all(unit.number.isdecimal() for unit in members):
            members.sort(key=lambda unit: int(unit.number))
    return groups


def _location(name: str, values: Sequence[float], demand: Demand) -> UnitLocation:
    pharmacopoeia = None
    if len(values) in K_STAGE:
        pharmacopoeia = dosage_units(values[:10], values, demand.target)
    return UnitLocation(name, summarise(values), tuple(values), pharmacopoeia)


def _stage_1(found: Outcome, locations: int, blend: Verdict) -> Outcome:
    """The verdict on one unit of each location."""
    missing = _shortfalls([[0.0] * FEWEST_UNITS] * locations)  # further units may be kept
    if blend is Verdict.TIGHTENED:
        sentence = (
            f"{found.sentence} The blend was accepted with tightened testing, which begins at "
            f"stage 2: assay {FEWEST_UNITS} units of each location."
        )
    elif found.verdict is Verdict.MET:
        return replace(found, shortfalls=missing)
    else:
        sentence = f"{found.sentence} Assay the remaining units of each location for stage 2."
    return replace(found, verdict=Verdict.MORE, sentence=sentence, shortfalls=missing)


def _shortfalls(groups: Sequence[Sequence[float]]) -> tuple[str, ...]:
    missing = []
    if len(groups) < FEWEST_LOCATIONS:
        missing.append(f"{len(groups)} locations, where {FEWEST_LOCATIONS} are asked for")
    fewest = min(map(len, groups))
    if fewest < FEWEST_UNITS:
        missing.append(f"{fewest} units assayed a location, where {FEWEST_UNITS} are asked for")
    return tuple(missing)


def _open_points(
    locations: Sequence[UnitLocation], demand: Demand, *, uncorrected: bool
) -> Iterator[str]:
    """Points a reviewer would raise although the limit is met, one sentence each."""
    values = [value for place in locations for value in place.values]
    if not uncorrected:
        yield (
            "Only weight-corrected contents are known, so the spread of the units' masses is left "
            "out, although the dosage-unit test sees it."
        )
    yield from _beyond(locations, values, demand)
    far = farthest(values, CHANCE)
    if far is not None and far.suspect:
        yield (
            f"A unit with {far.value:.2f} % of label claim stands out: Grubbs' G is {far.g:.3f} "
            f"against {far.critical:.3f} (level {CHANCE:g})."
        )
    inside = deviations_from_location([place.values for place in locations])
    found = normality(inside if len(values) > len(locations) else values)
    if found is not None and found.p <= CHANCE:
        p = "< 0.0001" if found.p < 0.0001 else f"= {found.p:.4f}"  # noqa: PLR2004 - four decimals
        yield f"E2810 assumes normal results; Shapiro-Wilk W is {found.w:.4f}, p {p}."


def _beyond(
    locations: Sequence[UnitLocation], values: Sequence[float], demand: Demand
) -> Iterator[str]:
    """Means and units beyond the limits of the withdrawn draft, which were in % of the target."""
    share = demand.target / 100.0
    low, high = (limit * share for limit in MEAN_LIMITS)
    mean = summarise(values).mean
    draft = "which the withdrawn FDA draft of 2003 had"
    if not low <= mean <= high:
        yield (
            f"The mean of the units is {mean:.2f} % of label claim, beyond {low:g} to {high:g}, "
            f"{draft}."
        )
    else:
        away = [
            f"{place.name} ({place.summary.mean:.2f})"
            for place in locations
            if place.summary.n > 1 and not low <= place.summary.mean <= high
        ]
        if away:
            yield (
                f"Location means beyond {low:g} to {high:g} % of label claim, {draft}: "
                f"{', '.join(away)}."
            )
    least, most = (limit * share for limit in UNIT_LIMITS)
    units = [
        f"{place.name} ({value:.2f})"
        for place in locations
        for value in place.values
        if not least <= value <= most
    ]
    if units:
        yield f"Units beyond {least:g} to {most:g} % of label claim, {draft}: {', '.join(units)}."
