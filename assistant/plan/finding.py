"""One finding of `check`: a number against a limit, with its source and a result."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Fitness(StrEnum):
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
    verdict: Fitness
    number: str
    limit: str
    source: str
    note: str = ""


CHOICE = "this program's choice, no source"
"""Of limits for which no text was read; those under [limits] can be set in the plan."""
DERIVED = "derived"
OWN = "[limits] of the plan"


def overall(findings: Iterable[Finding]) -> Fitness:
    """Return the worst verdict; fit when there is no line at all."""
    found = {finding.verdict for finding in findings}
    return next((v for v in (Fitness.UNFIT, Fitness.CAUTION) if v in found), Fitness.FIT)


def fit_if(holds: bool, otherwise: Fitness = Fitness.UNFIT) -> Fitness:  # noqa: FBT001 - the condition is the point of the call
    """Return fit where a condition holds, else the given verdict."""
    return Fitness.FIT if holds else otherwise
