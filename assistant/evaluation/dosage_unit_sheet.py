"""Dosage units from a laboratory's sheet: content of each unit, and content per mass of powder.

The content of a unit, % of label claim, is what the dosage-unit test judges; it carries the spread
of the unit's mass. The weight-corrected content, content x intended mass / mass of the unit, is
that of the powder alone and is compared with the blend. Each is worked out from the other where the
masses are known; a sheet in % must say which of the two it gives.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from assistant.errors import InputError
from assistant.evaluation.assay_units import PLAUSIBLE, Target, Unit, percent_factor, readings
from assistant.evaluation.descriptive import summarise
from assistant.evaluation.results import LEAST_PERCENT, MOST_PERCENT
from assistant.evaluation.sheet_headings import weight_corrected
from assistant.evaluation.sheet_rows import Entry, Sheet

PLAUSIBLE_MASS = (0.5, 2.0)
"""Mean mass of the units over the plan's unit dose; outside, a unit is mistaken. Our choice."""
_BY_MASS = (Unit.MG_PER_G, Unit.BY_WEIGHT)


@dataclass(frozen=True, slots=True)
class DosageUnit:
    """One assayed dosage unit; contents in % of label claim."""

    location: str
    """Sampling point of the compression or filling."""
    number: str
    """Number of the unit at its location, as in the sheet; '' if there is one a location."""
    content: float | None
    """None if only the weight-corrected content is known."""
    corrected: float | None
    """Weight-corrected content; None if the unit was not weighed."""
    mass_mg: float | None = None


def dosage_units(
    sheet: Sheet, target: Target, *, batch: str | None = None, corrected: bool | None = None
) -> tuple[DosageUnit, ...]:
    """Read the dosage units of a sheet, in its order.

    Args:
        sheet: rows with a location each, and a number of the unit where a location has several.
        target: label claim and intended mass of a unit.
        batch: batch of the session, compared with the sheet's own where it has one.
        corrected: whether the assays are weight-corrected; None if only the heading says.

    Raises:
        InputError: unit or correction are not stated or contradict each other, a unit stands
            twice or without an assay, or the numbers cannot be those of such units.
    """
    unit = _unit_of(sheet, target)
    is_corrected = _corrected(sheet, unit, corrected)
    seen: set[tuple[str, str]] = set()
    units = []
    for entry in sheet.entries:
        found = _dosage_unit(entry, unit, target, corrected=is_corrected)
        name = (found.location.casefold(), found.number.casefold())
        if name in seen:
            raise InputError(
                f"{sheet.name}, row {entry.row}: dosage unit {entry.key} stands twice: number the "
                "units of a location, or correct the sheet."
            )
        seen.add(name)
        if batch is not None and entry.batch not in (None, batch):
            raise InputError(
                f"{sheet.name}, row {entry.row}: the unit is of batch {entry.batch}, and the "
                f"record of {batch}."
            )
        units.append(found)
    _check(sheet.name, units, target)
    return tuple(units)


def _unit_of(sheet: Sheet, target: Target) -> Unit:
    if sheet.unit is not None:
        return sheet.unit
    values = [entry.value for entry in sheet.entries if entry.value is not None]
    possible = sheet.readable_as or (Unit.PERCENT, Unit.BY_WEIGHT)
    raise InputError(
        f"{sheet.name}: column {sheet.heading!r} does not say of what: "
        f"{readings(values, possible, target)}. Write '% of label claim', 'mg' or 'mg/g' into the "
        "heading."
    )


def _corrected(sheet: Sheet, unit: Unit, asked: bool | None) -> bool:  # noqa: FBT001 - an answer
    """Whether the assays are weight-corrected."""
    heading = weight_corrected(sheet.heading)
    if None not in (heading, asked) and heading != asked:
        raise InputError(
            f"{sheet.name}: column {sheet.heading!r} contradicts what was said of the weight "
            "correction: correct one."
        )
    said = heading if asked is None else asked
    if unit in _BY_MASS:
        if said is False:
            raise InputError(
                f"{sheet.name}: assays in {unit} are contents of the powder, whatever a unit "
                "weighs: they count as weight-corrected."
            )
        return True
    if said is None and unit is not Unit.MG:
        raise InputError(
            f"{sheet.name}: nothing says whether the assays are weight-corrected: write it into "
            "the heading, or say --weight-corrected yes or no."
        )
    return bool(said)


def _dosage_unit(entry: Entry, unit: Unit, target: Target, *, corrected: bool) -> DosageUnit:
    place, value = entry.key.location or entry.key.label, entry.value
    number = entry.key.position or (entry.key.label if entry.key.location else "")
    if value is None:
        raise InputError(f"Dosage unit {entry.key} (row {entry.row}) has no assay: add it.")
    # An assay in mg is that of the whole unit here; a vial's would be divided by its mass.
    factor = 100.0 / target.label_mg if unit is Unit.MG else percent_factor(unit, target)
    share = None if entry.mass_mg is None else entry.mass_mg / target.unit_mass_mg
    percent, other = value * factor, None
    if share is not None:
        other = percent * share if corrected else percent / share
    for found in filter(None, (percent, other)):
        if not LEAST_PERCENT <= found <= MOST_PERCENT:
            raise InputError(
                f"Dosage unit {entry.key} (row {entry.row}): a content of {found:g} % of label "
                "claim cannot be; check the assay, its unit and the mass."
            )
    content, powder = (other, percent) if corrected else (percent, other)
    return DosageUnit(place, number, content, powder, entry.mass_mg)


def _check(name: str, units: Sequence[DosageUnit], target: Target) -> None:
    """Refuse sets of units that cannot be judged, and means that point to a wrong unit."""
    if len({unit.location for unit in units}) == 1:
        raise InputError(
            f"{name}: all dosage units come from location {units[0].location}: a batch cannot be "
            "judged from one place."
        )
    weighed = [unit.mass_mg for unit in units if unit.mass_mg is not None]
    if 0 < len(weighed) < len(units):
        raise InputError(
            f"{name}: {len(weighed)} of {len(units)} dosage units have a mass: give all or none."
        )
    if weighed:
        share = summarise(weighed).mean / target.unit_mass_mg
        if not PLAUSIBLE_MASS[0] <= share <= PLAUSIBLE_MASS[1]:
            raise InputError(
                f"{name}: the units weigh {share:.3g} times the plan's unit dose of "
                f"{target.unit_mass_mg:g} mg on average: check the unit of the masses."
            )
    mean = summarise([contents(unit)[0] for unit in units]).mean
    if not PLAUSIBLE[0] <= mean <= PLAUSIBLE[1]:
        raise InputError(
            f"{name}: the mean of the dosage units would be {mean:.2f} % of label claim: check "
            "the heading's unit."
        )


def contents(unit: DosageUnit) -> tuple[float, float]:
    """Content and weight-corrected content of a unit; the known one for one that is not known."""
    known = [value for value in (unit.content, unit.corrected) if value is not None]
    return known[0], known[-1]
