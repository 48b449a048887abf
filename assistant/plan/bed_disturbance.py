"""Which insertions disturb the powder that another one samples, and an order that avoids it.

An insertion drags powder along: its wake is everything nearer than `wake_mm` to its axis between
the powder's surface and the tip. A later insertion whose port lies in that wake samples disturbed
powder (derived; that a thief disturbs the bed: Muzzio et al., Int J Pharm 250:51-64, 2003).
"""

from collections.abc import Sequence
from graphlib import CycleError, TopologicalSorter

import numpy as np

from assistant.plan.insertion_geometry import Insertion
from assistant.plan.shapes import Array


def port_distances(done: Insertion, later: Insertion) -> Array:
    """Distance of each of `later`'s ports from the axis of `done` in the powder, shape (ports,)."""
    return _from_segment(later.ports, done.surface, done.tip)


def crossings(insertions: Sequence[Insertion], wake_mm: float) -> list[tuple[int, int, float]]:
    """Return (earlier, later, distance in mm) wherever a port lies in an earlier wake."""
    found = []
    for later, entered in enumerate(insertions):
        for earlier, done in enumerate(insertions[:later]):
            nearest = float(port_distances(done, entered).min())
            if nearest < wake_mm:
                found.append((earlier, later, nearest))
    return found


def insertion_order(insertions: Sequence[Insertion], wake_mm: float) -> tuple[int, ...] | None:
    """Return an order, as indices, in which no port lies in an earlier wake; None without one.

    Keeps to the given order wherever it can.
    """
    before: dict[int, list[int]] = {}
    for first, entered in enumerate(insertions):
        before[first] = [
            second
            for second, other in enumerate(insertions)
            if second != first and float(port_distances(entered, other).min()) < wake_mm
        ]
    # The ports of each of `before[i]` lie in the wake of i, so they have to be sampled earlier.
    sorter = TopologicalSorter(before)
    try:
        sorter.prepare()
    except CycleError:
        return None
    order: list[int] = []
    ready: list[int] = []
    while sorter.is_active():
        ready = sorted([*ready, *sorter.get_ready()])
        order.append(ready.pop(0))
        sorter.done(order[-1])
    return tuple(order)


def _from_segment(points: Array, start: Array, end: Array) -> Array:
    along = end - start
    length = float(along @ along)
    share = np.clip((points - start) @ along / length, 0.0, 1.0) if length > 0 else 0.0
    away = points - start - np.multiply.outer(share, along)
    return np.asarray(np.sqrt((away**2).sum(axis=-1)))
