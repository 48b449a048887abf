"""The criteria of the withdrawn FDA draft of October 2003, for comparison with older studies.

Draft guidance "Powder Blends and Finished Dosage Units - Stratified In-Process Dosage Unit
Sampling and Assessment" (68 FR 63109), withdrawn on 7 August 2013; never a current limit. The
values are compared without rounding. "Readily pass" and the marginal criteria method are from
memory and labelled so in their source.
"""

from collections.abc import Sequence
from dataclasses import replace

from assistant.evaluation.descriptive import Summary, summarise
from assistant.evaluation.schemes import (
    FEWEST_LOCATIONS,
    Criterion,
    Outcome,
    Scheme,
    Verdict,
    at_least,
    at_most,
)

_SOURCE = "FDA draft guidance of October 2003, 68 FR 63109, section {section}"
_STATUS = "withdrawn on 7 August 2013: history, not a current limit"
BLEND = Scheme(
    key="fda-2003-blend",
    title="Blend, one result per location: RSD and distance from the mean",
    source=_SOURCE.format(section="V"),
    status=_STATUS,
    rounding="none",
)
UNITS = Scheme(
    key="fda-2003-units",
    title="In-process dosage units of validation batches: readily or marginally passing",
    source=_SOURCE.format(section="VI") + " (readily pass: from memory)",
    status=_STATUS,
    rounding="none",
)
ROUTINE_STANDARD = Scheme(
    key="fda-2003-routine-standard",
    title="Routine dosage units, standard criteria method",
    source=_SOURCE.format(section="VII"),
    status=_STATUS,
    rounding="none",
)
ROUTINE_MARGINAL = Scheme(
    key="fda-2003-routine-marginal",
    title="Routine dosage units, marginal criteria method",
    source=_SOURCE.format(section="VII") + " (from memory)",
    status=_STATUS,
    rounding="none",
)
BLEND_RSD = 5.0
BLEND_DISTANCE = 10.0
_MEAN_LOW, _MEAN_HIGH = 90.0, 110.0
_UNIT_LOW, _UNIT_HIGH = 75.0, 125.0


def blend(firsts: Sequence[float]) -> Outcome:
    """Section V: RSD <= 5.0 % and every individual within 10.0 % (absolute) of the mean.

    Args:
        firsts: one assay per location, % of target.
    """
    if len(firsts) < FEWEST_LOCATIONS:
        sentence = f"The draft asked for 10 or more locations; there are {len(firsts)}."
        return Outcome(BLEND, Verdict.NOT_APPLICABLE, sentence, (), ())
    summary = summarise(firsts)
    criteria = (
        _rsd(summary, BLEND_RSD),
        at_most(
            "largest distance from the mean, % of target",
            summary.largest_deviation,
            BLEND_DISTANCE,
        ),
    )
    return _outcome(BLEND, criteria, "Both criteria are met.")


def units(groups: Sequence[Sequence[float]]) -> Outcome:
    """Section VI: dosage units of validation batches, readily or marginally passing.

    Args:
        groups: assays of the units of each location, % of target.
    """
    everything = [value for group in groups for value in group]
    if len(everything) < 60:  # noqa: PLR2004 - the draft's least number
        sentence = f"The draft asked for 60 or more units; there are {len(everything)}."
        return Outcome(UNITS, Verdict.NOT_APPLICABLE, sentence, (), ())
    summary = summarise(everything)
    means = [summarise(group).mean for group in groups]
    shared = (
        at_least("lowest location mean, % of target", min(means), _MEAN_LOW),
        at_most("highest location mean, % of target", max(means), _MEAN_HIGH),
        at_least("lowest individual, % of target", summary.low, _UNIT_LOW),
        at_most("highest individual, % of target", summary.high, _UNIT_HIGH),
    )
    readily = _outcome(UNITS, (_rsd(summary, 4.0), *shared), "Readily passing.")
    if readily.verdict is Verdict.MET or len(everything) < 140:  # noqa: PLR2004 - the draft's n
        return readily
    return _outcome(UNITS, (_rsd(summary, 6.0), *shared), "Marginally passing.")


def routine_standard(firsts: Sequence[float], everything: Sequence[float]) -> Outcome:
    """Section VII, standard criteria: RSD <= 5.0 % and mean 90.0 to 110.0 %, in two stages.

    Args:
        firsts: one weight-corrected assay per location, % of target; 10 or more.
        everything: all assays; the same as `firsts` while only stage 1 is assayed.
    """
    stage_1 = _routine(ROUTINE_STANDARD, firsts, least=10, rsd=5.0, stage="Stage 1")
    if stage_1.verdict is not Verdict.FAIL:
        return stage_1
    if len(everything) == len(firsts):
        return replace(
            stage_1, verdict=Verdict.MORE, sentence="Stage 1 is not met: assay the other units."
        )
    return _routine(ROUTINE_STANDARD, everything, least=30, rsd=5.0, stage="Stage 2")


def routine_marginal(everything: Sequence[float]) -> Outcome:
    """Section VII, marginal criteria: 30 or more, RSD <= 6.0 %, mean 90.0 to 110.0 %."""
    return _routine(ROUTINE_MARGINAL, everything, least=30, rsd=6.0, stage="The method")


def _routine(
    scheme: Scheme, values: Sequence[float], *, least: int, rsd: float, stage: str
) -> Outcome:
    if len(values) < least:
        sentence = f"{stage} asks for {least} or more units; there are {len(values)}."
        return Outcome(scheme, Verdict.NOT_APPLICABLE, sentence, (), ())
    summary = summarise(values)
    criteria = (
        _rsd(summary, rsd),
        at_least("mean, % of target", summary.mean, _MEAN_LOW),
        at_most("mean, % of target", summary.mean, _MEAN_HIGH),
    )
    return _outcome(scheme, criteria, f"{stage} is met.")


def _rsd(summary: Summary, limit: float) -> Criterion:
    if summary.rsd is None:
        return Criterion("RSD, %", None, limit, met=False)
    return at_most("RSD, %", summary.rsd, limit)


def _outcome(scheme: Scheme, criteria: tuple[Criterion, ...], good: str) -> Outcome:
    missed = [criterion.text for criterion in criteria if not criterion.met]
    if missed:
        return Outcome(scheme, Verdict.FAIL, f"Not met: {'; '.join(missed)}.", criteria, ())
    return Outcome(scheme, Verdict.MET, good, criteria, ())
