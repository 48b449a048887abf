"""Assays simulated from a known truth, for rehearsals and tests of the statistics.

Pure and seeded: the same vials, truth and seed give the same assays. A result is

    mean + location effect + within-location error + bias of the thief

with normal effects of the stated standard deviations. The thief's bias is systematic, so that an
evaluation of the simulated data can be compared with the truth.
"""

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from assistant.errors import InputError
from assistant.evaluation.results import Result, Vial
from assistant.evaluation.sheet_rows import MADE_UP

UNIT_MASS_RSD = 1.0
"""Relative standard deviation of the masses of simulated dosage units, %."""


@dataclass(frozen=True, slots=True)
class Truth:
    """True parameters of the simulated blend, sampler and method, all in % of target."""

    mean: float = 100.0
    between_sd: float = 1.0
    """Standard deviation of the location effects."""
    within_sd: float = 1.0
    """Standard deviation within a location: sampling and method together."""
    thief_bias: float = 0.0
    """Added to every result."""
    depth_slope: float = 0.0
    """Added for every 100 mm of depth."""
    position_slope: float = 0.0
    """Added for every position above the bottom one."""
    order_slope: float = 0.0
    """Added for every insertion after the first."""
    open_slope: float = 0.0
    """Added for every 10 s the port was open."""

    def __post_init__(self) -> None:
        """Refuse negative standard deviations.

        Raises:
            InputError: one of them is below zero.
        """
        if not (self.between_sd >= 0.0 and self.within_sd >= 0.0):
            raise InputError("A simulated blend needs standard deviations of 0 or more.")


def results(
    vials: Sequence[Vial], truth: Truth, seed: int, decimals: int = 1
) -> tuple[Result, ...]:
    """Simulate one result per vial, in the order given, rounded as a laboratory would.

    Args:
        vials: the vials of a session.
        truth: parameters of the simulation.
        seed: seed of the random numbers.
        decimals: decimals of the reported assay.
    """
    generator = np.random.default_rng(seed)
    names = list(dict.fromkeys(vial.location for vial in vials))
    effects = dict(zip(names, generator.standard_normal(len(names)), strict=True))
    errors = generator.standard_normal(len(vials))
    made = []
    for vial, error in zip(vials, errors, strict=True):
        value = truth.mean + truth.between_sd * effects[vial.location] + truth.within_sd * error
        value = max(0.0, float(value) + marks(vial, truth))
        made.append(Result.of(vial, round(value, decimals), vial.mass_mg))
    return tuple(made)


def marks(vial: Vial, truth: Truth) -> float:
    """The thief's systematic bias in a result, % of target."""
    return (
        truth.thief_bias
        + truth.depth_slope * (vial.depth_mm or 0.0) / 100.0
        + truth.position_slope * (vial.position - 1)
        + truth.order_slope * ((vial.insertion_order or 1) - 1)
        + truth.open_slope * (vial.open_seconds or 0.0) / 10.0
    )


def sheet(made: Sequence[Result], batch: str) -> str:
    """The results as a laboratory's CSV file, in % of target, each row marked as simulated."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["Vial", "Assay (% of target)", "Net mass (mg)", "Batch", "Origin"])
    writer.writerows([one.vial, one.assay, one.mass_mg, batch, MADE_UP] for one in made)
    return out.getvalue()


def dosage_unit_sheet(
    locations: int, units: int, truth: Truth, seed: int, *, dose_mg: float, batch: str
) -> str:
    """Dosage units as a laboratory's CSV file, each row marked as simulated.

    The powder of a unit has the content mean + location effect + error within; the thief's marks
    are left out. Masses vary by `UNIT_MASS_RSD` around the intended one, and the assay is the
    content of the unit as it is, % of label claim, to two decimals.

    Args:
        locations: number of sampling points.
        units: units of each.
        truth: mean and standard deviations of the powder.
        seed: seed of the random numbers.
        dose_mg: intended mass of a unit, mg.
        batch: batch of the session.
    """
    generator = np.random.default_rng([seed, 2])
    shape = (locations, units)
    powder = truth.mean + truth.between_sd * generator.standard_normal((locations, 1))
    powder = powder + truth.within_sd * generator.standard_normal(shape)
    share = 1.0 + UNIT_MASS_RSD / 100.0 * generator.standard_normal(shape)
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(
        [
            "Location",
            "Dosage unit",
            "Assay (% of label claim, not weight-corrected)",
            "Net mass (mg)",
            "Batch",
            "Origin",
        ]
    )
    for (place, number), content in np.ndenumerate(np.maximum(powder * share, 0.0)):
        mass = round(dose_mg * float(share[place, number]), 1)
        writer.writerow([place + 1, number + 1, round(float(content), 2), mass, batch, MADE_UP])
    return out.getvalue()


def regular_vials(locations: int, positions: int, ports: int = 1) -> tuple[Vial, ...]:
    """Numbered vials of a simple design, for tests and examples.

    Ports are 300 mm apart, the lowest deepest; each location is one insertion.
    """
    vials: list[Vial] = []
    for location in range(1, locations + 1):
        for position in range(1, positions + 1):
            for port in range(1, ports + 1):
                vials.append(
                    Vial(
                        vial=str(len(vials) + 1),
                        location=f"L{location}",
                        position=position,
                        port=port,
                        depth_mm=100.0 + 300.0 * (ports - port),
                        insertion_order=location,
                        open_seconds=5.0,
                        mass_mg=500.0,
                    )
                )
    return tuple(vials)
