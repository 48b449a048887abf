"""The laboratory's sheet, joined to the vials of the session by their labels.

Reading a sheet gives entries in % of target; joining them to the expected vials gives either
results or a list of what does not fit, by name: unknown, duplicate, missing, void and
unreconciled vials, vials of another batch, weights that disagree. Nothing of that is decided
here; `Joined.require` stops unless the caller says that a partial evaluation is wanted, and even
then a duplicate or a foreign vial is never passed over.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from assistant.errors import InputError
from assistant.evaluation.number_parsing import Cell, Place, decimal_mark, number, text_of
from assistant.evaluation.results import Result, Vial, check_percent
from assistant.evaluation.sheet_import import Columns, Table, columns_of

FRACTION_BELOW = 2.0
"""A sheet in % with no assay above this is asked whether it holds fractions of 1."""
MASS_AGREEMENT = 0.005
"""Relative difference up to which the weights of session and sheet agree."""


class Unit(StrEnum):
    """Units of an assay."""

    PERCENT = "percent"
    FRACTION = "fraction"
    MG = "mg"
    MG_PER_G = "mg/g"


@dataclass(frozen=True, slots=True)
class Target:
    """What 100 % is: the active in one dosage unit of the stated mass."""

    label_mg: float
    unit_mass_mg: float

    def __post_init__(self) -> None:
        """Refuse what is no dosage unit.

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


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the sheet, not yet in % of target."""

    vial: str
    value: float | None
    """None where the assay cell is empty."""
    mass_mg: float | None
    batch: str | None
    row: int


@dataclass(frozen=True, slots=True)
class Sheet:
    """A laboratory's sheet."""

    name: str
    unit: Unit
    entries: tuple[Entry, ...]
    ignored: tuple[str, ...]
    """Headings that were not used."""


class State(StrEnum):
    """What the session says of a vial."""

    TAKEN = "taken"
    VOID = "void"
    UNRECONCILED = "unreconciled"


@dataclass(frozen=True, slots=True)
class Expected:
    """A vial the session knows, with its state."""

    vial: Vial
    state: State = State.TAKEN


@dataclass(frozen=True, slots=True)
class Joined:
    """Results, and by name everything that does not fit."""

    results: tuple[Result, ...]
    unknown: tuple[str, ...] = ()
    duplicate: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    void: tuple[str, ...] = ()
    """Void in the session, yet assayed; never among the results."""
    unreconciled: tuple[str, ...] = ()
    other_batch: tuple[str, ...] = ()
    weights_differ: tuple[str, ...] = ()

    @property
    def problems(self) -> tuple[str, ...]:
        """Each kind of problem with the vials it touches."""
        kinds = (
            ("unknown to the session", self.unknown),
            ("more than once in the sheet", self.duplicate),
            ("of another batch", self.other_batch),
            ("without an assay", self.missing),
            ("void in the session, yet assayed", self.void),
            ("not reconciled in the session", self.unreconciled),
            ("with different weights in session and sheet", self.weights_differ),
        )
        return tuple(f"{what}: {', '.join(names)}" for what, names in kinds if names)

    def require(self, *, partial: bool = False) -> tuple[Result, ...]:
        """The results, when nothing stands in the way.

        Args:
            partial: go on without the missing, void and unreconciled vials and with the session's
                weights; the report then lists them.

        Raises:
            InputError: a problem remains.
        """
        fatal = self.unknown or self.duplicate or self.other_batch
        if self.problems and (fatal or not partial):
            advice = (
                "correct the sheet"
                if fatal
                else "decide about them, or ask for a partial evaluation"
            )
            raise InputError(f"Vials do not fit - {'; '.join(self.problems)}: {advice}.")
        return self.results


def read_sheet(table: Table, unit: Unit | None = None) -> Sheet:
    """Entries of a table.

    Args:
        table: rows under named columns.
        unit: of the assays, when the heading does not say; must agree when it does.

    Raises:
        InputError: the unit is unknown or contradictory, a number is none, a vial has no label,
            or percentages look like fractions.
    """
    columns = columns_of(table)
    asked = _unit(table, columns, unit)
    if columns.mass is not None and not columns.mass_unit:
        heading = table.columns[columns.mass]
        raise InputError(f"{table.name}: column {heading!r} should name its unit, (mg) or (g).")
    numeric = [index for index in (columns.assay, columns.mass) if index is not None]
    mark = decimal_mark(
        [
            (Place(row, table.columns[index]), cells[index])
            for row, cells in table.rows
            for index in numeric
        ]
    )
    entries = tuple(_entry(table, columns, row, cells, mark) for row, cells in table.rows)
    _check_percentages(table.name, asked, entries)
    return Sheet(table.name, asked, entries, columns.ignored)


def _unit(table: Table, columns: Columns, unit: Unit | None) -> Unit:
    heading = table.columns[columns.assay]
    if not columns.unit:
        if unit is None:
            raise InputError(
                f"{table.name}: column {heading!r} names no unit; write (%), (fraction), (mg) "
                "or (mg/g) into the heading, or give the unit with the command."
            )
        return unit
    if unit is not None and unit != columns.unit:
        raise InputError(
            f"{table.name}: column {heading!r} is in {columns.unit}, not in {unit} as asked."
        )
    return Unit(columns.unit)


def _entry(table: Table, columns: Columns, row: int, cells: Sequence[Cell], mark: str) -> Entry:
    vial = text_of(cells[columns.vial])
    if not vial:
        raise InputError(f"{table.name}, row {row}: the vial has no label; add it.")
    value = number(cells[columns.assay], Place(row, table.columns[columns.assay]), mark)
    if value is not None and value < 0:
        raise InputError(f"{table.name}: the assay of vial {vial} (row {row}) is negative.")
    mass = None
    if columns.mass is not None:
        mass = number(cells[columns.mass], Place(row, table.columns[columns.mass]), mark)
        if mass is not None and mass <= 0:
            raise InputError(f"{table.name}: the mass of vial {vial} (row {row}) must be above 0.")
    if mass is not None and columns.mass_unit == "g":
        mass *= 1000.0
    batch = None if columns.batch is None else text_of(cells[columns.batch]) or None
    return Entry(vial, value, mass, batch, row)


def _check_percentages(name: str, unit: Unit, entries: Sequence[Entry]) -> None:
    """Ask when percentages look like fractions, or fractions like percentages."""
    values = [entry.value for entry in entries if entry.value is not None]
    if not values:
        raise InputError(f"{name} holds no assay at all: fill in the assay column.")
    if unit is Unit.PERCENT and 0 < max(values) <= FRACTION_BELOW:
        raise InputError(
            f"{name}: all assays are {max(values):g} % or less; are they fractions of 1? Then "
            "give the unit as fraction."
        )
    if unit is Unit.FRACTION and min(values) > FRACTION_BELOW:
        raise InputError(
            f"{name}: no assay is {FRACTION_BELOW:g} or less; are they percentages and not "
            "fractions? Then give the unit as percent."
        )


def join(
    sheet: Sheet,
    expected: Sequence[Expected],
    target: Target | None = None,
    batch: str | None = None,
) -> Joined:
    """Join a sheet to the session's vials.

    Args:
        sheet: what the laboratory sent.
        expected: every vial of the session; the order of the results is theirs.
        target: what 100 % is; needed for assays in mg and mg/g.
        batch: of the session, compared with the sheet's batch column where there is one.

    Raises:
        InputError: an assay cannot be turned into % of target.
    """
    labels = _Labels(expected)
    rows: dict[str, list[Entry]] = {}
    unknown: list[str] = []
    foreign: list[str] = []
    for entry in sheet.entries:
        label = labels.find(entry.vial)
        if batch is not None and entry.batch is not None and entry.batch != batch:
            foreign.append(f"{entry.vial} ({entry.batch})")
        elif label is None:
            unknown.append(entry.vial)
        else:
            rows.setdefault(label, []).append(entry)
    joined = Joined(
        results=(),
        unknown=tuple(unknown),
        duplicate=tuple(label for label, found in rows.items() if len(found) > 1),
        other_batch=tuple(foreign),
    )
    return _fill(joined, sheet.unit, expected, rows, target)


def _fill(
    joined: Joined,
    unit: Unit,
    expected: Sequence[Expected],
    rows: Mapping[str, Sequence[Entry]],
    target: Target | None,
) -> Joined:
    """Add the results and what is missing, void, unreconciled or of two weights."""
    results: list[Result] = []
    lists: dict[str, list[str]] = {
        "missing": [],
        "void": [],
        "unreconciled": [],
        "weights_differ": [],
    }
    for each in expected:
        vial, label = each.vial, each.vial.vial
        entry = rows[label][0] if label in rows else None
        value = entry.value if entry is not None else None
        if each.state is State.VOID:
            if value is not None:
                lists["void"].append(label)
        elif each.state is State.UNRECONCILED:
            lists["unreconciled"].append(label)
        elif entry is None or value is None:
            lists["missing"].append(label)
        else:
            mass = entry.mass_mg if vial.mass_mg is None else vial.mass_mg
            if _differ(vial.mass_mg, entry.mass_mg):
                lists["weights_differ"].append(label)
            percent = percent_of_target(label, value, unit, mass, target)
            results.append(Result.of(vial, percent, mass))
    return replace(
        joined,
        results=tuple(results),
        **{name: tuple(labels) for name, labels in lists.items()},
    )


def percent_of_target(
    vial: str, value: float, unit: Unit, mass_mg: float | None, target: Target | None
) -> float:
    """An assay in % of target.

    Args:
        vial: for messages.
        value: the assay in `unit`.
        unit: of the assay.
        mass_mg: net mass of powder in the vial, mg; needed for assays in mg.
        target: what 100 % is; needed for assays in mg and mg/g.

    Raises:
        InputError: mass or target is missing, or the outcome cannot be a content.
    """
    percent = value
    if unit is Unit.FRACTION:
        percent = 100.0 * value
    elif unit is not Unit.PERCENT:
        if target is None:
            raise InputError(
                f"Assays in {unit} need the target content: give label and unit mass in the plan."
            )
        if unit is Unit.MG:
            if not mass_mg:
                raise InputError(
                    f"Vial {vial}: an assay in mg needs the net mass; weigh the vial or give the "
                    "assay in mg/g or %."
                )
            value = 1000.0 * value / mass_mg
        percent = 100.0 * value / target.mg_per_g
    check_percent(vial, percent)
    return percent


def _differ(session: float | None, sheet: float | None) -> bool:
    if session is None or sheet is None:
        return False
    return abs(session - sheet) > MASS_AGREEMENT * max(session, sheet)


class _Labels:
    """The session's labels, found by their own spelling or, if unique, without leading zeros."""

    def __init__(self, expected: Sequence[Expected]) -> None:
        self._own = {each.vial.vial for each in expected}
        self._bare: dict[str, list[str]] = {}
        for label in self._own:
            self._bare.setdefault(_bare(label), []).append(label)

    def find(self, label: str) -> str | None:
        """The session's spelling of a label; None when no vial, or no single one, is meant."""
        if label in self._own:
            return label
        alike = self._bare.get(_bare(label), [])
        return alike[0] if len(alike) == 1 else None


def _bare(label: str) -> str:
    """A number without leading zeros; any other label as it is."""
    return label.lstrip("0") or "0" if label.isdecimal() else label
