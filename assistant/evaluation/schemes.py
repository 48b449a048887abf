"""Acceptance schemes, each with its source, its status and its rounding rule.

Limits are inclusive: a value equal to its limit meets it. A value is first cleared of binary
rounding noise (nine decimals) and then, if the scheme says so, rounded half up to the decimals of
its limit; otherwise it is compared unrounded. Requirements of a scheme that the study does not
fulfil are listed as shortfalls beside the verdict.

The withdrawn criteria of 2003 are in `withdrawn_fda_2003`. Verdicts are about criteria, never about
release.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from math import floor

from assistant.evaluation.acceptance_value import L1, AcceptanceValue, acceptance_value
from assistant.evaluation.descriptive import summarise
from assistant.evaluation.e2810 import STANDARD, Bound, Demand, plan_1, plan_2
from assistant.evaluation.variance import OneWay

FEWEST_LOCATIONS = 10
FEWEST_REPLICATES = 3
SD_PASS = 3.0
SD_TIGHTENED = 5.0
_DUST = 9
_PROBABILITY = "lower bound on the probability of passing"


class Verdict(StrEnum):
    """Possible verdicts of a scheme on a study."""

    MET = "criteria met"
    TIGHTENED = "criteria met with tightened testing afterwards"
    MORE = "more assays needed"
    INVESTIGATE = "criteria not met: investigate"
    FAIL = "criteria not met"
    NOT_APPLICABLE = "not applicable to this study"

    @property
    def met(self) -> bool:
        """Whether the criteria are met, with or without tightened testing afterwards."""
        return self in {Verdict.MET, Verdict.TIGHTENED}


@dataclass(frozen=True, slots=True)
class Scheme:
    """A published way to judge a study."""

    key: str
    title: str
    source: str
    status: str
    rounding: str


@dataclass(frozen=True, slots=True)
class Criterion:
    """Comparison of a value with its limit, both in the unit named by `text`."""

    text: str
    value: float | None
    """None if the value does not exist; the criterion is then not met."""
    limit: float
    met: bool


@dataclass(frozen=True, slots=True)
class Outcome:
    """The verdict of one scheme and the comparisons behind it."""

    scheme: Scheme
    verdict: Verdict
    sentence: str
    criteria: tuple[Criterion, ...]
    shortfalls: tuple[str, ...]


INDUSTRY = Scheme(
    key="industry-2014",
    title="Blend uniformity, two stages on the SD in % of target",
    source="Industry recommendation 2014-2016: Pharm. Eng. 34(2):28-39, 2014; Garcia et al., "
    "J Pharm Innov 10(1):76-83, 2015",
    status="recommendation of an industry group; not endorsed by any regulator",
    rounding="SD rounded half up to one decimal before comparison",
)
UDU = Scheme(
    key="usp-905",
    title="Uniformity of dosage units, acceptance value",
    source="USP <905>, harmonised with Ph. Eur. 2.9.40 and JP 6.02",
    status="in force for dosage units; applying it to blend samples is optional",
    rounding="acceptance value rounded half up to one decimal; individuals not rounded",
)
PLAN_1 = Scheme(
    key="e2810-plan-1",
    title="Acceptance limit with confidence and coverage, one result per location",
    source="ASTM E2709/E2810 by the method of Bergum 1990 and Bergum & Li 2007",
    status="practice for dosage units. Of the pharmacopoeial test E2810-23, 4.3, says that it is "
    "not intended for lot release; the practice itself can serve process demonstration or "
    "validation, continued verification, in-process testing or lot release (E2810-19, 4.5). "
    "Confidence, coverage and number of samples are the user's choice; applying it to blend "
    "samples is optional",
    rounding="none",
)
PLAN_2 = Scheme(
    key="e2810-plan-2",
    title="Acceptance limit with confidence and coverage, several results per location",
    source=PLAN_1.source,
    status=PLAN_1.status,
    rounding="none",
)


def rounded(value: float, decimals: int | None = None) -> float:
    """The value as compared: without binary rounding noise, then half up to `decimals`."""
    plain = Decimal(repr(float(value))).quantize(Decimal(1).scaleb(-_DUST), ROUND_HALF_UP)
    if decimals is not None:
        plain = plain.quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP)
    return float(plain)


def at_most(text: str, value: float, limit: float, decimals: int | None = None) -> Criterion:
    """The criterion value <= limit."""
    return Criterion(text, value, limit, rounded(value, decimals) <= limit)


def at_least(text: str, value: float, limit: float, decimals: int | None = None) -> Criterion:
    """The criterion value >= limit."""
    return Criterion(text, value, limit, rounded(value, decimals) >= limit)


def shortfalls(locations: int, replicates: int) -> tuple[str, ...]:
    """Requirements of the usual design (10 locations, 3 replicates) that are not met."""
    missing = []
    if locations < FEWEST_LOCATIONS:
        missing.append(f"{locations} locations, where at least {FEWEST_LOCATIONS} are asked for")
    if replicates < FEWEST_REPLICATES:
        missing.append(
            f"{replicates} assayed per location, where at least {FEWEST_REPLICATES} samples "
            "are asked for"
        )
    return tuple(missing)


def industry(groups: Sequence[Sequence[float]], firsts: Sequence[float]) -> Outcome:
    """The two-stage industry scheme.

    Stage 1 uses one result per location, stage 2 all results. Once the replicates have been
    assayed, the verdict uses all of them, and stage 1 is shown beside it.

    Args:
        groups: assays of each location, % of target.
        firsts: the one assay per location chosen for stage 1, % of target; two or more.
    """
    everything = [value for group in groups for value in group]
    stage_1 = _sd_criterion("stage 1: SD of one result per location, % of target", firsts)
    lacking = shortfalls(len(groups), min(len(group) for group in groups))
    if len(everything) == len(firsts):
        verdict = Verdict.MET if stage_1.met else Verdict.MORE
        sentence = (
            "Stage 1 is met: go on to stage 1 of the dosage-unit testing."
            if stage_1.met
            else "Stage 1 is not met: assay the remaining replicates for stage 2."
        )
        # Stage 1 requires one assay per location; further samples may be kept for stage 2.
        return Outcome(INDUSTRY, verdict, sentence, (stage_1,), shortfalls(len(groups), 3))
    stage_2 = _sd_criterion("stage 2: SD of all results, % of target", everything)
    upper = at_most("stage 2: upper limit of the SD, % of target", _sd(everything), SD_TIGHTENED, 1)
    verdict, sentence = _stage_2(stage_2.met, upper.met)
    return Outcome(INDUSTRY, verdict, sentence, (stage_1, stage_2, upper), lacking)


def _stage_2(met: bool, tightened: bool) -> tuple[Verdict, str]:  # noqa: FBT001 - two criteria
    if met:
        return Verdict.MET, "Stage 2 is met: go on to stage 1 of the dosage-unit testing."
    if tightened:
        sentence = (
            "The SD lies between 3.1 and 5.0 % of target: acceptable under the scheme, with "
            "dosage-unit testing at stage 2."
        )
        return Verdict.TIGHTENED, sentence
    return Verdict.INVESTIGATE, "The SD is above 5.0 % of target: find the cause."


def _sd_criterion(text: str, values: Sequence[float]) -> Criterion:
    return at_most(text, _sd(values), SD_PASS, 1)


def _sd(values: Sequence[float]) -> float:
    return summarise(values).sd or 0.0


def dosage_units(
    first: Sequence[float], everything: Sequence[float], target: float = 100.0
) -> Outcome:
    """USP <905>: stage 1 on 10 results, stage 2 on all 30.

    Args:
        first: the stage 1 results, % of target.
        everything: all results, % of target; the same as `first` at stage 1.
        target: T, % of target.
    """
    if len(first) != 10 or len(everything) not in {10, 30}:  # noqa: PLR2004 - the chapter's sizes
        sentence = (
            f"The acceptance value is defined for 10 and 30 results; there are {len(first)} and "
            f"{len(everything)}."
        )
        return Outcome(UDU, Verdict.NOT_APPLICABLE, sentence, (), ())
    stage_1 = at_most("stage 1: acceptance value of 10", _av(first, target).value, L1, 1)
    if stage_1.met:
        return Outcome(UDU, Verdict.MET, "Stage 1 is met.", (stage_1,), ())
    if len(everything) == len(first):
        sentence = "Stage 1 is not met: stage 2 asks for 20 further results."
        return Outcome(UDU, Verdict.MORE, sentence, (stage_1,), ())
    av = _av(everything, target)
    stage_2 = (
        at_most("stage 2: acceptance value of 30", av.value, L1, 1),
        at_least("stage 2: lowest individual, % of target", min(everything), av.unit_low),
        at_most("stage 2: highest individual, % of target", max(everything), av.unit_high),
    )
    met = all(criterion.met for criterion in stage_2)
    verdict = Verdict.MET if met else Verdict.FAIL
    sentence = "Stage 2 is met." if met else "Stage 2 is not met."
    return Outcome(UDU, verdict, sentence, (stage_1, *stage_2), ())


def _av(values: Sequence[float], target: float) -> AcceptanceValue:
    summary = summarise(values)
    return acceptance_value(summary.mean, summary.sd or 0.0, summary.n, target)


def acceptance_limit_1(firsts: Sequence[float], demand: Demand = STANDARD) -> tuple[Outcome, Bound]:
    """E2810 plan 1 on two or more results, one per location, % of target."""
    summary = summarise(firsts)
    sd = summary.sd or 0.0
    bound = plan_1(summary.mean, sd, summary.n, demand)
    criteria = (
        at_least(_PROBABILITY, bound.probability, demand.coverage),
        at_most("SD against its limit at this mean, % of target", sd, bound.sd_limit or 0.0),
    )
    return _limit_outcome(PLAN_1, bound, criteria), bound


def acceptance_limit_2(table: OneWay, demand: Demand = STANDARD) -> tuple[Outcome, Bound]:
    """E2810 plan 2 on a study with replicates."""
    bound = plan_2(table, demand)
    criteria = (at_least(_PROBABILITY, bound.probability, demand.coverage),)
    return _limit_outcome(PLAN_2, bound, criteria), bound


def _limit_outcome(scheme: Scheme, bound: Bound, criteria: tuple[Criterion, ...]) -> Outcome:
    sentence = (
        f"With {100 * bound.demand.confidence:g} % confidence at least "
        f"{floor(1000 * bound.probability) / 10:.1f} % of future samples would pass the "
        "dosage-unit test; "
        f"{100 * bound.demand.coverage:g} % are asked for."
    )
    verdict = Verdict.MET if bound.accepted else Verdict.FAIL
    return Outcome(scheme, verdict, sentence, criteria, ())
