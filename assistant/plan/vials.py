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


def read_label(code: str) -> tuple[str, Vial] | None:
    """Return the batch and the vial that a label's code names; None where it is no such code."""
    parts = code.strip().rsplit("|", 4)
    if len(parts) != 5 or not all(parts):  # noqa: PLR2004 - the fields of `Vial.mark`
        return None
    batch, number, location, position, port = parts
    if not (number.isdecimal() and port.isdecimal() and len(number + port) <= 9):  # noqa: PLR2004 - no study is so large
        return None
    return batch, Vial(int(number), location, position, int(port))


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
