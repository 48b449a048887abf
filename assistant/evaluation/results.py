"""One assayed vial, and the groupings of a study's vials.

The sampler's positions are replicates from one spot of the blend; its ports are at different
depths. A spot (location and port) is therefore what the guidance calls a sampling location, and
replicates are compared within spots: a difference between depths belongs to the blend, not to
repeatability. With one port the spot is the location.

Nothing here computes a statistic. A `Result` holds what the record and the laboratory know about
one vial; each field states its unit. A value that cannot be an assay is refused on construction, so
that no later formula meets NaN, a negative content or an overflow.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, fields

from assistant.errors import InputError

MOST_PERCENT = 1000.0
"""Assays above this, % of target, are treated as a mistake of unit or typing."""
LEAST_PERCENT = 1e-6
"""So are assays below this, except zero."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One place in the blend: a location and, if the sampler has several, a port."""

    location: str
    port: int

    def name(self, *, ports: bool) -> str:
        """Its name, with the port if the study has more than one."""
        return f"{self.location}, port {self.port}" if ports else self.location


@dataclass(frozen=True, slots=True)
class Vial:
    """Origin of one vial's powder."""

    vial: str
    """Label of the vial, as on the label."""
    location: str
    """Name of the sampling location."""
    position: int
    """Shaft position, counted from the bottom, from 1; replicates from one spot."""
    port: int
    """Port of the shaft, counted from the tip, from 1."""
    depth_mm: float | None = None
    """Depth of the port below the powder surface, mm; None if unknown."""
    insertion_order: int | None = None
    """Number of the insertion in the session, from 1; None if unknown."""
    open_seconds: float | None = None
    """Time the port was open, s; None if unknown."""
    mass_mg: float | None = None
    """Net mass of powder in the vial, mg; None if not weighed."""

    @property
    def spot(self) -> Spot:
        """The spot the powder came from."""
        return Spot(self.location, self.port)


@dataclass(frozen=True, slots=True)
class Result(Vial):
    """One assayed vial."""

    assay: float = field(kw_only=True)
    """Content found, % of target."""

    @classmethod
    def of(cls, vial: Vial, assay: float, mass_mg: float | None) -> "Result":
        """Return the result of a vial, with the sample mass used for its assay."""
        known = {each.name: getattr(vial, each.name) for each in fields(Vial)}
        return cls(**{**known, "mass_mg": mass_mg}, assay=assay)

    def __post_init__(self) -> None:
        """Check the values.

        Raises:
            InputError: a label is empty, a count below 1, or a number not finite or impossible.
        """
        if not self.vial.strip() or not self.location.strip():
            raise InputError(
                f"Vial {self.vial!r} at location {self.location!r} has an empty name: "
                "give both a name."
            )
        self._check_counts()
        self._check_numbers()

    def _check_counts(self) -> None:
        for name, count in (
            ("position", self.position),
            ("port", self.port),
            ("insertion order", self.insertion_order),
        ):
            if count is not None and count < 1:
                raise InputError(f"Vial {self.vial}: {name} {count} must be 1 or more.")

    def _check_numbers(self) -> None:
        for name, number in (
            ("depth", self.depth_mm),
            ("time open", self.open_seconds),
            ("mass", self.mass_mg),
        ):
            if number is not None and not (math.isfinite(number) and number >= 0):
                raise InputError(
                    f"Vial {self.vial}: {name} {number} must be a number of 0 or more."
                )
        check_percent(self.vial, self.assay)


def check_percent(vial: str, assay: float) -> None:
    """Refuse an assay that cannot be a content in % of target.

    Raises:
        InputError: the assay is not finite, negative, above `MOST_PERCENT`, or not zero and
            below `LEAST_PERCENT`.
    """
    if not math.isfinite(assay):
        raise InputError(f"Vial {vial}: the assay is not a number; correct or remove it.")
    if assay < 0:
        raise InputError(f"Vial {vial}: the assay {assay:g} % is negative; correct it.")
    if assay > MOST_PERCENT:
        raise InputError(
            f"Vial {vial}: the assay {assay:g} % of target is above {MOST_PERCENT:g} %; "
            "check the unit and the typing."
        )
    if 0 < assay < LEAST_PERCENT:
        raise InputError(
            f"Vial {vial}: the assay {assay:g} % of target is close to zero; check the unit "
            "and the typing."
        )


def by_location(results: Sequence[Result]) -> dict[str, tuple[Result, ...]]:
    """Results by location; locations and vials in the order given."""
    groups: dict[str, list[Result]] = {}
    for result in results:
        groups.setdefault(result.location, []).append(result)
    return {name: tuple(members) for name, members in groups.items()}


def assays(results: Sequence[Result]) -> tuple[float, ...]:
    """All assays, % of target, in the order given."""
    return tuple(result.assay for result in results)


def by_spot(results: Sequence[Result]) -> dict[Spot, tuple[Result, ...]]:
    """Results by spot; spots and vials in the order given."""
    groups: dict[Spot, list[Result]] = {}
    for result in results:
        groups.setdefault(result.spot, []).append(result)
    return {spot: tuple(members) for spot, members in groups.items()}


def has_ports(results: Sequence[Result]) -> bool:
    """Whether the study has more than one port, so that spots are finer than locations."""
    return len({result.port for result in results}) > 1


def assays_by_spot(results: Sequence[Result]) -> tuple[tuple[float, ...], ...]:
    """Assays by spot, % of target, one inner tuple per spot."""
    return tuple(assays(members) for members in by_spot(results).values())


def first_of_each_spot(results: Sequence[Result]) -> tuple[Result, ...]:
    """The result of the lowest position of every spot.

    This fixed rule chooses the one result per location for stage 1 of a scheme; it depends on the
    position of a vial, never on its assay.
    """
    return tuple(
        min(members, key=lambda result: result.position) for members in by_spot(results).values()
    )


def check_study(results: Sequence[Result]) -> None:
    """Refuse a set of results that allows no verdict on a blend.

    Raises:
        InputError: no results, a vial twice, or a single location.
    """
    if not results:
        raise InputError("There are no results to evaluate: the assay file contains no vial.")
    seen: set[str] = set()
    for result in results:
        if result.vial in seen:
            raise InputError(f"Vial {result.vial} appears twice in the results: keep one.")
        seen.add(result.vial)
    if len(by_location(results)) == 1:
        raise InputError(
            f"All results come from one location ({results[0].location}): uniformity across "
            "the blend cannot be judged from one place."
        )
