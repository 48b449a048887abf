"""The blend criteria of the withdrawn FDA draft of October 2003, for comparison with older studies.

Draft guidance "Powder Blends and Finished Dosage Units - Stratified In-Process Dosage Unit
Sampling and Assessment" (68 FR 63109), withdrawn on 7 August 2013; never a current limit. The
values are compared without rounding.
"""

from collections.abc import Sequence

from assistant.evaluation.descriptive import Summary, summarise
from assistant.evaluation.schemes import (
    FEWEST_LOCATIONS,
    Criterion,
    Outcome,
    Scheme,
    Verdict,
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
BLEND_RSD = 5.0
BLEND_DISTANCE = 10.0


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


def _rsd(summary: Summary, limit: float) -> Criterion:
    if summary.rsd is None:
        return Criterion("RSD, %", None, limit, met=False)
    return at_most("RSD, %", summary.rsd, limit)


def _outcome(scheme: Scheme, criteria: tuple[Criterion, ...], good: str) -> Outcome:
    missed = [criterion.text for criterion in criteria if not criterion.met]
    if missed:
        return Outcome(scheme, Verdict.FAIL, f"Not met: {'; '.join(missed)}.", criteria, ())
    return Outcome(scheme, Verdict.MET, good, criteria, ())
