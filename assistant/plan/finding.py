"""One finding of `check`: a number against a limit, with its source and a result."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Verdict(StrEnum):
    """Whether a plan can be carried out as it stands."""

    FIT = "fit"
    CAUTION = "caution"
    UNFIT = "unfit"


@dataclass(frozen=True, slots=True)
class Finding:
    """One line.

    Attributes:
        group: heading under which the line stands.
        subject: what was looked at.
        verdict: fit, caution or unfit.
        number: what was found, with its unit.
        limit: what it is held against.
        source: where the limit comes from.
        note: what to do or to know; "" where there is nothing to add.
    """

    group: str
    subject: str
    verdict: Verdict
    number: str
    limit: str
    source: str
    note: str = ""


COMMON = "common practice, no source"
DERIVED = "derived"
MEMORY = "from memory"
OWN = "[limits] of the plan"


def overall(findings: Iterable[Finding]) -> Verdict:
    """Return the worst verdict; fit when there is no line at all."""
    found = {finding.verdict for finding in findings}
    return next((v for v in (Verdict.UNFIT, Verdict.CAUTION) if v in found), Verdict.FIT)


def fit_if(holds: bool, otherwise: Verdict = Verdict.UNFIT) -> Verdict:  # noqa: FBT001 - the condition is the point of the call
    """Return fit where a condition holds, else the given verdict."""
    return Verdict.FIT if holds else otherwise
