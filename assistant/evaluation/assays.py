"""Join the laboratory's sheet to the session's vials, by label or by place.

Joining a sheet to the expected vials gives results in % of target and a list of problems by name:
unknown, duplicate, missing, void and unreconciled vials, vials of another batch or place, weights
that disagree. `Joined.require` raises an error for any problem unless the caller asks for a partial
evaluation, and even then for a duplicate or foreign vial.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

from assistant.errors import InputError
from assistant.evaluation.assay_units import (
    Target,
    Unit,
    check_plausible,
    percent_of_target,
    readings,
)
from assistant.evaluation.descriptive import summarise
from assistant.evaluation.results import Result, Vial
from assistant.evaluation.sheet_rows import Entry, Key, Sheet, differ, label_of

_CODE_PARTS = 5
"""Fields of the label's code: batch, vial, location, position and port."""


class State(StrEnum):
    """Status of a vial in the session."""

    TAKEN = "taken"
    VOID = "void"
    UNRECONCILED = "unreconciled"


@dataclass(frozen=True, slots=True)
class Expected:
    """A vial of the session and its status."""

    vial: Vial
    state: State = State.TAKEN


@dataclass(frozen=True, slots=True)
class Joined:
    """Results, and the names of all vials that do not fit."""

    results: tuple[Result, ...]
    unknown: tuple[str, ...] = ()
    duplicate: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    void: tuple[str, ...] = ()
    """Void in the session but assayed; never among the results."""
    unreconciled: tuple[str, ...] = ()
    other_batch: tuple[str, ...] = ()
    weights_differ: tuple[str, ...] = ()
    unit: Unit = Unit.PERCENT
    """Unit in which the assays were read."""
    injections: Mapping[str, tuple[float, ...]] = field(default_factory=dict)
    """The single assays behind each mean, by vial, in `unit`."""

    @property
    def problems(self) -> tuple[str, ...]:
        """Each kind of problem with the affected vials."""
        kinds = (
            ("unknown to the session", self.unknown),
            ("more than once in the sheet", self.duplicate),
            ("of another batch", self.other_batch),
            ("without an assay", self.missing),
            ("void in the session but assayed", self.void),
            ("not reconciled in the session", self.unreconciled),
            ("with different weights in session and sheet", self.weights_differ),
        )
        return tuple(f"{what}: {', '.join(names)}" for what, names in kinds if names)

    def require(self, *, partial: bool = False) -> tuple[Result, ...]:
        """The results, if no problem prevents an evaluation.

        Args:
            partial: continue without missing, void and unreconciled vials and with the session's
                weights; the report then lists them.

        Raises:
            InputError: a problem remains.
        """
        fatal = self.unknown or self.duplicate or self.other_batch
        if self.problems and (fatal or not partial):
            advice = (
                "correct the sheet" if fatal else "resolve this, or ask for a partial evaluation"
            )
            raise InputError(f"Vials do not fit - {'; '.join(self.problems)}: {advice}.")
        return self.results


def join(
    sheet: Sheet,
    expected: Sequence[Expected],
    target: Target | None = None,
    batch: str | None = None,
) -> Joined:
    """Join a sheet to the session's vials.

    Args:
        sheet: the laboratory's sheet.
        expected: every vial of the session; the results are in this order.
        target: what 100 % means; needed for assays in mg and mg/g.
        batch: batch of the session, compared with the sheet's batch column if it has one.

    Raises:
        InputError: an assay cannot be turned into % of target.
    """
    unit = _unit_of(sheet, target)
    vials = _Vials(expected, batch)
    rows: dict[str, list[Entry]] = {}
    unknown: list[str] = []
    foreign: list[str] = []
    for entry in sheet.entries:
        label = vials.find(entry.key)
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
        unit=unit,
        injections={
            label: found[0].injections for label, found in rows.items() if found[0].injections
        },
    )
    joined = _fill(joined, expected, rows, target)
    if joined.results and not sheet.confirmed:
        _check_unit(sheet, joined, target)
    return joined


def _unit_of(sheet: Sheet, target: Target | None) -> Unit:
    """The unit of the sheet; raises an error that asks for it if unclear."""
    if sheet.unit is not None:
        return sheet.unit
    values = [entry.value for entry in sheet.entries if entry.value is not None]
    open_units = sheet.readable_as or (
        Unit.PERCENT,
        Unit.BY_WEIGHT,
        Unit.FRACTION,
        Unit.MG_PER_G,
    )
    what = "does not say of what" if sheet.readable_as else "names no unit"
    options = " or ".join(f'--unit "{unit}"' for unit in open_units)
    raise InputError(
        f"{sheet.name}: column {sheet.heading!r} {what}: {readings(values, open_units, target)}. "
        f"Say which with {options}, in the heading, or in the plan ([laboratory] unit)."
    )


def _check_unit(sheet: Sheet, joined: Joined, target: Target | None) -> None:
    mean = summarise([result.assay for result in joined.results]).mean
    values = [entry.value for entry in sheet.entries if entry.value is not None]
    where = f"{sheet.name}: column {sheet.heading!r}"
    check_plausible(where, values, joined.unit, target, mean)


def _fill(
    joined: Joined,
    expected: Sequence[Expected],
    rows: Mapping[str, Sequence[Entry]],
    target: Target | None,
) -> Joined:
    """Add the results and the missing, void, unreconciled and inconsistently weighed vials."""
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
            if differ(vial.mass_mg, entry.mass_mg):
                lists["weights_differ"].append(label)
            percent = percent_of_target(label, value, joined.unit, mass, target)
            results.append(Result.of(vial, percent, mass))
    return replace(
        joined,
        results=tuple(results),
        missing=tuple(lists["missing"]),
        void=tuple(lists["void"]),
        unreconciled=tuple(lists["unreconciled"]),
        weights_differ=tuple(lists["weights_differ"]),
    )


class _Vials:
    """Finds the session's vials by label, by the label's code or by place."""

    def __init__(self, expected: Sequence[Expected], batch: str | None) -> None:
        self._vials = {each.vial.vial: each.vial for each in expected}
        self._batch = batch
        self._top = max(vial.position for vial in self._vials.values()) if expected else 1
        self._places = {vial.location.casefold() for vial in self._vials.values()}
        self._bare: dict[str, list[str]] = {}
        for label in self._vials:
            self._bare.setdefault(_bare(label), []).append(label)

    def find(self, key: Key) -> str | None:
        """The session's label of a vial; None if no vial or more than one matches."""
        parts = key.label.split("|")
        if len(parts) == _CODE_PARTS:
            batch, label, *place = parts
            found = self._labelled(label)
            fits = found is not None and self._at(self._vials[found], Key("", *place))
            return found if fits and self._batch in (None, batch) else None
        if not key.label:
            known = [label for label, vial in self._vials.items() if self._at(vial, key)]
            return known[0] if len(known) == 1 else None
        found = self._labelled(key.label) or self._labelled(label_of(key.label))
        if found is None or key.location.casefold() not in self._places:
            return found
        return found if self._vials[found].location.casefold() == key.location.casefold() else None

    def _labelled(self, label: str) -> str | None:
        if label in self._vials:
            return label
        alike = self._bare.get(_bare(label), [])
        return alike[0] if len(alike) == 1 else None

    def _at(self, vial: Vial, key: Key) -> bool:
        """Whether a vial was taken at the place named by the sheet."""
        name = {1: "bottom", self._top: "top"}.get(vial.position, "middle")
        return (
            key.location.casefold() == vial.location.casefold()
            and key.position.casefold() in (str(vial.position), name)
            and key.port in ("", str(vial.port))
        )


def _bare(label: str) -> str:
    """A number without leading zeros; any other label unchanged."""
    return label.lstrip("0") or "0" if label.isdecimal() else label
