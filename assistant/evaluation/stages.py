"""Assays in stages: one vial of each spot first, the others if the scheme asks for them.

Stage 1 takes the vial of the lowest shaft position of every spot. If that vial is void, or its
powder never reached it, the next position of the spot stands in. The rule depends on the positions
alone, never on an assay, and every result that exists counts: a sheet with further vials is no
sheet of stage 1.
"""

from collections.abc import Sequence
from dataclasses import replace

from assistant.errors import InputError
from assistant.evaluation.assays import Expected, Joined, State
from assistant.evaluation.results import Spot


def first_vials(expected: Sequence[Expected]) -> tuple[str, ...]:
    """Labels of the vials of stage 1, in the order of the spots."""
    lowest: dict[Spot, Expected] = {}
    for each in expected:
        known = lowest.setdefault(each.vial.spot, each)
        rank, best = (_rank(one) for one in (each, known))
        if rank < best:
            lowest[each.vial.spot] = each
    return tuple(each.vial.vial for each in lowest.values() if each.state is State.TAKEN)


def _rank(each: Expected) -> tuple[bool, int]:
    return each.state is not State.TAKEN, each.vial.position


def not_assayed(joined: Joined, expected: Sequence[Expected]) -> tuple[str, ...]:
    """Labels of the taken vials without a result."""
    assayed = {result.vial for result in joined.results}
    return tuple(
        each.vial.vial
        for each in expected
        if each.state is State.TAKEN and each.vial.vial not in assayed
    )


def of_stage_1(joined: Joined, expected: Sequence[Expected]) -> Joined:
    """Keep only the problems that matter for stage 1.

    Args:
        joined: the sheet joined with every vial of the session.
        expected: every vial of the session.

    Raises:
        InputError: the sheet holds results of vials that do not belong to stage 1.
    """
    wanted = first_vials(expected)
    others = [result.vial for result in joined.results if result.vial not in wanted]
    if others:
        raise InputError(
            "Stage 1 takes one vial of each location, and the sheet holds results of others: "
            f"{', '.join(others)}. Evaluate without stage 1, so that every result counts."
        )
    covered = {each.vial.spot for each in expected if each.vial.vial in wanted}
    lost = {each.vial.vial for each in expected if each.vial.spot not in covered}
    return replace(
        joined,
        missing=tuple(label for label in joined.missing if label in wanted),
        unreconciled=tuple(label for label in joined.unreconciled if label in lost),
    )


def only_stage_1(joined: Joined, expected: Sequence[Expected]) -> bool:
    """Whether the results are those of stage 1, no more and no fewer, and others are missing."""
    return bool(joined.missing) and {result.vial for result in joined.results} == set(
        first_vials(expected)
    )
