"""`assays`: a laboratory's sheet made up from a known truth, so that a rehearsal reaches a verdict.

The sheet has a row for every vial that the session filled, and says in every row that it is
made up; a live session gets none. Where the session weighed nothing, the
laboratory weighs: net masses between what a die holds at bulk and at tapped density.
"""

import re
from dataclasses import dataclass, replace
from pathlib import Path

from assistant.cli.evaluation_inputs import read_record
from assistant.cli.files import require_output, write_file
from assistant.cli.output import terminal
from assistant.errors import InputError
from assistant.evaluation.assays import State
from assistant.evaluation.results import Vial
from assistant.evaluation.simulated_assays import (
    UNIT_MASS_RSD,
    Truth,
    dosage_unit_sheet,
    results,
    sheet,
)
from assistant.plan.dies import mass_window
from assistant.report.vial_records import RecordStudy

MOST_DECIMALS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `assays`."""

    record: Path
    output: Path
    overwrite: bool
    mean: float
    between: float
    within: float
    bias: float
    depth_slope: float
    position_slope: float
    order_slope: float
    open_slope: float
    dosage_units: str | None
    decimals: int
    seed: int


def run(options: Options) -> int:
    """Write the sheet and say what was put into it.

    Raises:
        InputError: an option is not usable, or the session filled no vial.
        RecordBroken: the record does not hold.
    """
    if not 0 <= options.decimals <= MOST_DECIMALS:
        raise InputError(f"--decimals {options.decimals}: give 0 to {MOST_DECIMALS}.")
    if options.seed < 0:
        raise InputError(f"--seed {options.seed}: give 0 or more.")
    require_output(options.output, ".csv", overwrite=options.overwrite)
    record, *_ = read_record(options.record)
    require_rehearsal(record, options.record)
    truth = Truth(
        mean=options.mean,
        between_sd=options.between,
        within_sd=options.within,
        thief_bias=options.bias,
        depth_slope=options.depth_slope,
        position_slope=options.position_slope,
        order_slope=options.order_slope,
        open_slope=options.open_slope,
    )
    if options.dosage_units is not None:
        return _simulate_units(record, truth, options, options.dosage_units)
    made = results(filled_vials(record, options.seed), truth, options.seed, options.decimals)
    if not made:
        raise InputError(f"The session in {options.record} filled no vial: nothing can be assayed.")
    lines = sheet(made, record.plan.study.batch).encode()
    write_file(options.output, lines, overwrite=options.overwrite)
    terminal().print(
        f"{len(made)} made-up assays in {options.output}: mean {truth.mean + truth.thief_bias:g}, "
        f"SD {truth.between_sd:g} between and {truth.within_sd:g} within locations, % of target"
    )
    return 0


def _simulate_units(record: RecordStudy, truth: Truth, options: Options, size: str) -> int:
    """Write a sheet of dosage units.

    Raises:
        InputError: the size is not two numbers.
    """
    found = re.fullmatch(r"([1-9]\d{0,2})x([1-9]\d?)", size)
    if found is None:
        raise InputError(
            f"--dosage-units {size}: give locations x units of each, like 40x3; at most 999x99."
        )
    locations, units = int(found[1]), int(found[2])
    study, dose = record.plan.study, record.plan.dose
    text = dosage_unit_sheet(
        locations, units, truth, options.seed, dose_mg=dose.mass_mg, batch=study.batch
    )
    write_file(options.output, text.encode(), overwrite=options.overwrite)
    terminal().print(
        f"{locations * units} made-up dosage units in {options.output}: powder with mean "
        f"{truth.mean:g}, SD {truth.between_sd:g} between and {truth.within_sd:g} within "
        f"locations, % of label claim; masses with an RSD of {UNIT_MASS_RSD:g} %"
    )
    return 0


def require_rehearsal(record: RecordStudy, folder: Path) -> None:
    """Refuse a live session, and an older record that does not say what it is of.

    Raises:
        InputError: the record is not known to be of a rehearsal.
    """
    if record.opened.kind != "rehearsal":
        kind = record.opened.kind
        says = f"is of a {kind} session" if kind else "does not say that it is a rehearsal"
        raise InputError(f"The record in {folder} {says}: assays are made up for rehearsals only.")


def filled_vials(record: RecordStudy, seed: int) -> tuple[Vial, ...]:
    """The filled vials, each with a mass: the session's, or one that the laboratory weighs.

    Args:
        record: of the session.
        seed: of the masses.
    """
    import numpy as np  # noqa: PLC0415 - only here

    window = mass_window(record.plan)
    filled = [each.vial for each in record.expected if each.state is State.TAKEN]
    weighed = np.random.default_rng([seed, 1]).uniform(
        window.bulk_mg, window.tapped_mg, len(filled)
    )
    return tuple(
        replace(vial, mass_mg=vial.mass_mg or round(float(mass), 1))
        for vial, mass in zip(filled, weighed, strict=True)
    )
