"""Units of an assay: what 100 % means, and how to ask if a sheet does not say.

A bare "%" can mean percent of target or percent by weight, and "% w/w" is used for both. Such a
heading is never guessed: the means of both readings are shown, and the user must choose in the
command or the plan. The same applies if a heading is clear but its mean is implausible for a blend.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from assistant.errors import InputError
from assistant.evaluation.descriptive import summarise
from assistant.evaluation.results import check_percent

PLAUSIBLE = (50.0, 150.0)
"""A mean outside this range, % of target, needs confirmation; this program's choice."""
CLOSE = (80.0, 120.0)
"""So does a mean outside this range if another unit would bring it inside; our choice."""


class Unit(StrEnum):
    """Units of an assay."""

    PERCENT = "% of target"
    BY_WEIGHT = "% by weight"
    FRACTION = "fraction of target"
    MG = "mg"
    MG_PER_G = "mg/g"


@dataclass(frozen=True, slots=True)
class Target:
    """What 100 % means: the amount of active in one dosage unit of the stated mass."""

    label_mg: float
    unit_mass_mg: float

    def __post_init__(self) -> None:
        """Check that this is a possible dosage unit.

        Raises:
            InputError: the masses are not 0 < label <= unit.
        """
        if not 0 < self.label_mg <= self.unit_mass_mg:
            raise InputError(
                f"A dosage unit of {self.unit_mass_mg:g} mg cannot hold {self.label_mg:g} mg of "
                "active: correct the plan."
            )

    @property
    def mg_per_g(self) -> float:
        """Target content of the blend, mg/g."""
        return 1000.0 * self.label_mg / self.unit_mass_mg


def percent_of_target(
    vial: str, value: float, unit: Unit, mass_mg: float | None, target: Target | None
) -> float:
    """Convert an assay to % of target.

    Args:
        vial: name of the vial, for messages.
        value: the assay in `unit`.
        unit: unit of the assay.
        mass_mg: net mass of powder in the vial, mg; needed for assays in mg.
        target: what 100 % means; needed for assays by weight, in mg and in mg/g.

    Raises:
        InputError: mass or target is missing, or the result cannot be a content.
    """
    if unit is Unit.MG:
        if not mass_mg:
            raise InputError(
                f"Vial {vial}: an assay in mg needs the net mass; weigh the vial or give the "
                "assay in mg/g or % of target."
            )
        value, unit = 1000.0 * value / mass_mg, Unit.MG_PER_G
    percent = value * percent_factor(unit, target)
    check_percent(vial, percent)
    return percent


def percent_factor(unit: Unit, target: Target | None) -> float:
    """Factor from this unit to % of target; assays in mg must already be in mg/g."""
    if unit is Unit.PERCENT:
        return 1.0
    if unit is Unit.FRACTION:
        return 100.0
    if target is None:
        raise InputError(
            f"Assays in {unit} need the target content: give label and unit mass in the plan."
        )
    return (1000.0 if unit is Unit.BY_WEIGHT else 100.0) / target.mg_per_g


def readings(values: Sequence[float], units: Sequence[Unit], target: Target | None) -> str:
    """Describe the assays as read in each of the units: mean and standard deviation."""
    told = []
    for unit in units:
        if target is None and unit not in (Unit.PERCENT, Unit.FRACTION):
            continue
        factor = percent_factor(unit, target)
        found = summarise([value * factor for value in values])
        sd = f", SD {found.sd:.2f}" if found.sd is not None else ""
        told.append(f"read as {unit} the mean is {found.mean:.2f}{sd} % of target")
    return "; ".join(told)


def check_plausible(
    where: str, values: Sequence[float], unit: Unit, target: Target | None, mean: float
) -> None:
    """Ask for confirmation if the mean is implausible in a clear unit, or another unit fits better.

    Args:
        where: file and column, for the message.
        values: the assays in `unit`.
        unit: unit named by the heading.
        target: what 100 % is.
        mean: mean of the results, % of target.

    Raises:
        InputError: the user must confirm the unit.
    """
    others = [
        one
        for one in (Unit.PERCENT, Unit.BY_WEIGHT, Unit.FRACTION, Unit.MG_PER_G)
        if one is not unit and (target is not None or one in (Unit.PERCENT, Unit.FRACTION))
    ]
    raw = summarise(values).mean
    fitting = [one for one in others if _within(raw * percent_factor(one, target), CLOSE)]
    if _within(mean, CLOSE) or (_within(mean, PLAUSIBLE) and not fitting):
        return
    instead = f" ({readings(values, fitting, target)})" if fitting else ""
    raise InputError(
        f"{where} says {unit}, and the mean would be {mean:.2f} % of target{instead}: confirm the "
        f'unit with --unit "{unit}", or give another one.'
    )


def _within(value: float, limits: tuple[float, float]) -> bool:
    return isfinite(value) and limits[0] <= value <= limits[1]
