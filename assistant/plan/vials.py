"""Which number a vial carries, and what stands on its label.

Vials are numbered from 1 in the order in which the dies are emptied: location by location, within
one insertion set by set (bottom first), within one set port by port (nearest the tip first).
"""

from dataclasses import dataclass

from assistant.plan.model import Plan


@dataclass(frozen=True, slots=True)
class Vial:
    """One vial, before anything is in it."""

    number: int
    location: str
    """Code of the location."""
    position: str
    """Of the inner shaft: bottom, middle or top."""
    port: int
    """Counted from the tip, 1 first."""

    def mark(self, batch: str) -> str:
        """Return the text of the label's code: batch, number, location, position and port."""
        return f"{batch}|{self.number}|{self.location}|{self.position}|{self.port}"


def vial_number(plan: Plan, location: int, position: int, port: int) -> int:
    """Return the vial's number for indices counted from 0.

    Raises:
        IndexError: the plan has no such location, position or port.
    """
    positions, ports = len(plan.sampler.positions), len(plan.sampler.ports_mm)
    for what, index, count in (
        ("location", location, len(plan.locations)),
        ("position", position, positions),
        ("port", port, ports),
    ):
        if not 0 <= index < count:
            msg = f"{what} {index} of {count}"
            raise IndexError(msg)
    return (location * positions + position) * ports + port + 1


def vials(plan: Plan) -> tuple[Vial, ...]:
    """Return every vial of the study in the order of their numbers."""
    return tuple(
        Vial(
            vial_number(plan, index, position, port),
            location.code,
            plan.sampler.positions[position].value,
            port + 1,
        )
        for index, location in enumerate(plan.locations)
        for position, port in plan.dies()
    )
