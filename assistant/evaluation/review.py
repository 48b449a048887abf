"""Checks beside the scheme: limits of the protocol, and open points for a reviewer.

The protocol's limits are binding: a study beyond one of them does not meet the criteria. Open
points do not change the verdict; they are listed beside it. One is raised if a figure is beyond a
limit of a withdrawn publication, or if a test at level 0.01 finds more than chance. Of 400
simulated studies of a uniform blend at most 2 in 100 raised one (10 x 1, 10 x 3, 20 x 3).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from assistant.errors import InputError
from assistant.evaluation.descriptive import summarise
from assistant.evaluation.results import Result, by_spot
from assistant.evaluation.schemes import (
    PLAN_1,
    PLAN_2,
    Criterion,
    Outcome,
    Scheme,
    Verdict,
    at_least,
    at_most,
)
from assistant.evaluation.screening import farthest
from assistant.evaluation.study import Study

CHANCE = 0.01
"""Level of each test behind an open point; this program's choice."""
HISTORIC_MEAN = (90.0, 110.0)
"""FDA draft guidance of October 2003 (withdrawn), sections VI and VII, for dosage units: % of
the target content."""
HISTORIC_DISTANCE = 10.0
"""The same draft, section V: individuals within 10.0 % (absolute) of the mean."""


class Answer(StrEnum):
    """The answer of an evaluation."""

    MET = "criteria met"
    OPEN = "criteria met, but"
    NOT_MET = "criteria not met"


@dataclass(frozen=True, slots=True)
class Protocol:
    """Limits set by the study's own protocol, % of target; None for those it does not set."""

    justification: str
    mean: tuple[float, float] | None = None
    location_mean: tuple[float, float] | None = None
    individual: tuple[float, float] | None = None
    from_mean: float | None = None
    """Largest deviation of an individual from the overall mean."""

    def __post_init__(self) -> None:
        """Refuse limits that nothing can meet.

        Raises:
            InputError: a lower limit is not below the upper one.
        """
        for pair in (self.mean, self.location_mean, self.individual):
            if pair is not None and pair[0] >= pair[1]:
                raise InputError(f"The limits {pair[0]:g} to {pair[1]:g} exclude everything.")


def protocol_outcome(results: Sequence[Result], protocol: Protocol) -> Outcome:
    """The verdict of the protocol's own limits, compared without rounding."""
    scheme = Scheme(
        key="protocol",
        title="Limits of the study's protocol",
        source=protocol.justification,
        status="set by the plan",
        rounding="none",
    )
    criteria = tuple(_protocol_criteria(results, protocol))
    if not criteria:
        sentence = "The protocol is named, but sets no limit."
        return Outcome(scheme, Verdict.NOT_APPLICABLE, sentence, (), ())
    missed = [criterion.text for criterion in criteria if not criterion.met]
    if missed:
        return Outcome(scheme, Verdict.FAIL, f"Not met: {'; '.join(missed)}.", criteria, ())
    return Outcome(scheme, Verdict.MET, "Every limit of the protocol is met.", criteria, ())


def _protocol_criteria(results: Sequence[Result], protocol: Protocol) -> Iterator[Criterion]:
    summary = summarise([result.assay for result in results])
    means = [
        summarise([result.assay for result in members]).mean
        for members in by_spot(results).values()
    ]
    for pair, low, high, names in (
        (protocol.mean, summary.mean, summary.mean, ("mean", "mean")),
        (
            protocol.location_mean,
            min(means),
            max(means),
            ("lowest location mean", "highest location mean"),
        ),
        (
            protocol.individual,
            summary.low,
            summary.high,
            ("lowest individual", "highest individual"),
        ),
    ):
        if pair is not None:
            yield at_least(f"{names[0]}, % of target, at least", low, pair[0])
            yield at_most(f"{names[1]}, % of target, at most", high, pair[1])
    if protocol.from_mean is not None:
        yield at_most(
            "largest distance of an individual from the mean, % of target",
            summary.largest_deviation,
            protocol.from_mean,
        )


def open_points(study: Study, protocol: Protocol | None, leading: str) -> tuple[str, ...]:
    """Points a reviewer would raise although no criterion is missed, one sentence each.

    Args:
        study: the evaluation.
        protocol: the protocol's limits; what they cover is not raised again.
        leading: key of the scheme that decides.
    """
    return (
        *_means(study, protocol),
        *_individuals(study, protocol),
        *_outliers(study),
        *_locations(study),
        *_distribution(study, leading),
    )


def _means(study: Study, protocol: Protocol | None) -> Iterator[str]:
    share = study.options.demand.target / 100.0
    low, high = (limit * share for limit in HISTORIC_MEAN)
    mean = study.summary.mean
    if (protocol is None or protocol.mean is None) and not low <= mean <= high:
        yield (
            f"The mean is {mean:.2f} % of target. The plan sets no limit for it; the withdrawn FDA "
            f"draft of 2003 had {low:g} to {high:g} for dosage units{_of(share)}."
        )
        return  # outlying locations would only repeat this
    if protocol is not None and protocol.location_mean is not None:
        return
    away = [
        f"{spot.name} ({spot.summary.mean:.2f})"
        for spot in study.spots
        if not low <= spot.summary.mean <= high
    ]
    if away:
        yield (
            f"Location means beyond {low:g} to {high:g} % of target, which the withdrawn FDA draft "
            f"of 2003 had for dosage units{_of(share)}: {', '.join(away)}."
        )


def _of(share: float) -> str:
    """What the draft's 90 to 110 % became for another target than 100 % of label claim."""
    return "" if share == 1.0 else f" (90 to 110 % of a target of {100.0 * share:g} %)"


def _individuals(study: Study, protocol: Protocol | None) -> Iterator[str]:
    if protocol is not None and (protocol.individual or protocol.from_mean) is not None:
        return
    mean = study.summary.mean
    away = [
        f"vial {result.vial} ({result.assay:g})"
        for result in study.results
        if round(abs(result.assay - mean), 9) > HISTORIC_DISTANCE
    ]
    if away:
        yield (
            f"Individuals farther than {HISTORIC_DISTANCE:g} % of target from the mean, the "
            f"distance that the withdrawn FDA draft of 2003 allowed: {', '.join(away)}."
        )


def _outliers(study: Study) -> Iterator[str]:
    far = farthest([result.assay for result in study.results], CHANCE)
    if far is not None and far.suspect:
        yield (
            f"Vial {study.results[far.index].vial} with {far.value:g} % of target stands out: "
            f"Grubbs' G is {far.g:.3f} against {far.critical:.3f} (level {CHANCE:g})."
        )
    if study.components is None:
        return
    far = farthest([spot.summary.mean for spot in study.spots], CHANCE)
    if far is not None and far.suspect:
        yield (
            f"Location {study.spots[far.index].name} with a mean of {far.value:.2f} % of target "
            f"stands out from the others: Grubbs' G is {far.g:.3f} against {far.critical:.3f} "
            f"(level {CHANCE:g})."
        )


def _locations(study: Study) -> Iterator[str]:
    if study.components is None:
        return
    p = study.components.table.p
    sd = study.components.table.between**0.5
    if p is not None and p <= CHANCE and sd >= study.options.thresholds.large_sd:
        yield (
            f"Locations differ by more than chance (p {_p(p)}, SD between them {sd:.2f} % of "
            "target); the FDA's answer of 2013 asks to show that variability by location is not "
            "significant."
        )


def _distribution(study: Study, leading: str) -> Iterator[str]:
    found = study.normality_within or study.normality_of_all
    if leading in {PLAN_1.key, PLAN_2.key} and found is not None and found.p <= CHANCE:
        yield (
            "The scheme assumes normal results, and these are not: Shapiro-Wilk W is "
            f"{found.w:.4f}, p {_p(found.p)}."
        )


def _p(value: float) -> str:
    return "< 0.0001" if value < 0.0001 else f"= {value:.4f}"  # noqa: PLR2004 - four decimals
