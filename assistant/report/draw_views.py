"""The views of a plan's picture: two elevations and the view from above.

Everything is drawn to scale in millimetres on axes given by the caller; all values come from
`assistant.plan`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle

from assistant.plan.insertion_geometry import Insertion
from assistant.plan.location_checks import port_unsafe
from assistant.plan.model import Plan
from assistant.plan.powder_bed import Bed
from assistant.plan.shapes import Array, Flags
from assistant.plan.vials import Vial
from assistant.report.silhouette import silhouette

INK = "#22313f"
STEEL = "#eef2f5"
POWDER = "#f3dfb6"
TUBE = "#5b7083"
SAFE = "#1d6fa5"
UNSAFE = "#c8102e"

_FINE = 480
_LETTER = 0.68
"""Mean width of a character relative to the font size."""


@dataclass(frozen=True, slots=True)
class Scene:
    """The content of a picture."""

    plan: Plan
    bed: Bed
    insertions: tuple[Insertion, ...]
    vials: tuple[Vial, ...]

    def numbers(self, index: int, port: int) -> str:
        """Numbers of the vials filled at one port of one location, as printed."""
        code = self.plan.locations[index].code
        found = [
            str(vial.number)
            for vial in self.vials
            if vial.location == code and vial.port == port + 1
        ]
        return ", ".join(found)


def _box(axes: Axes) -> tuple[float, float]:
    """Width and height of the axes on paper, inches."""
    figure = axes.figure
    assert isinstance(figure, Figure)  # noqa: S101 - tells the type checker that it is not a sub-figure
    place, (wide, high) = axes.get_position(), figure.get_size_inches()
    return float(place.width * wide), float(place.height * high)


def _millimetre(axes: Axes) -> float:
    """Millimetres of the vessel per typographic point."""
    low, high = axes.get_xlim()
    return (high - low) / (_box(axes)[0] * 72)


def _frame(axes: Axes, across: tuple[float, float], up: tuple[float, float]) -> None:
    """Show at least these ranges, at the same scale in both directions, filling the axes."""
    wide, high = _box(axes)
    scale = max((across[1] - across[0]) / wide, (up[1] - up[0]) / high)
    middle_x, middle_y = sum(across) / 2, sum(up) / 2
    axes.set_xlim(middle_x - scale * wide / 2, middle_x + scale * wide / 2)
    axes.set_ylim(middle_y - scale * high / 2, middle_y + scale * high / 2)


def elevation(axes: Axes, scene: Scene, side: int) -> None:
    """Draw the vessel from the south (side 0: x to the right) or from the east (side 1: y)."""
    across, floor, ceiling, top = silhouette(scene.bed, side, _FINE)
    axes.fill(
        np.concatenate((across, across[::-1])),
        np.concatenate((floor, ceiling[::-1])),
        facecolor=STEEL,
        linewidth=0,
        zorder=1,
    )
    axes.plot(
        np.concatenate((across, across[::-1], across[:1])),
        np.concatenate((floor, ceiling[::-1], floor[:1])),
        color=INK,
        linewidth=1.3,
        zorder=3,
    )
    wet = top > floor
    axes.fill_between(
        across, floor, np.maximum(top, floor), where=wet, color=POWDER, linewidth=0, zorder=2
    )
    axes.plot(
        across[wet], top[wet], color="#9a7b3c", linewidth=1.0, linestyle=(0, (6, 2)), zorder=3
    )
    _rims(axes, scene, side)
    for index, entered in enumerate(scene.insertions):
        _tube(axes, scene, entered, (side, 2))
        for port, at in enumerate(entered.ports):
            _port(axes, (at[side], at[2]), unsafe=_unsafe(scene, index, port))
    half, tall = scene.bed.shape.half_mm[side], scene.bed.shape.height_mm
    _frame(axes, (-2.0 * half, 2.0 * half), (-0.04 * tall, 1.14 * tall))
    _callouts(axes, scene, side)
    axes.set_ylabel("height above the lowest point, mm", fontsize=7)
    axes.set_xlabel(("west - east, mm", "south - north, mm")[side], fontsize=7)


def from_above(axes: Axes, scene: Scene) -> None:
    """Draw the vessel, the powder's outline and every insertion from above, north up."""
    half_x, half_y = scene.bed.shape.half_mm
    x = np.linspace(-half_x * 1.03, half_x * 1.03, _FINE)
    y = np.linspace(-half_y * 1.03, half_y * 1.03, _FINE)
    grid_x, grid_y = np.meshgrid(x, y)
    floor, ceiling = scene.bed.shape.columns(grid_x, grid_y)
    inside = ceiling - floor > 0
    surface = scene.bed.surface(grid_x, grid_y)
    powder = inside & (surface > floor) & (surface < ceiling)
    vessel, heap = _soft(inside), _soft(powder)
    axes.contourf(x, y, vessel, levels=[0.5, 1.5], colors=[STEEL], zorder=1)
    axes.contourf(x, y, heap, levels=[0.5, 1.5], colors=[POWDER], zorder=2)
    axes.contour(x, y, vessel, levels=[0.5], colors=[INK], linewidths=1.3, zorder=3)
    for hole in scene.bed.openings:
        axes.add_patch(_rim_from_above(hole.centre, hole.radius_mm))
    for index, entered in enumerate(scene.insertions):
        _tube(axes, scene, entered, (0, 1))
        for port, at in enumerate(entered.ports):
            _port(axes, (at[0], at[1]), unsafe=_unsafe(scene, index, port))
    _frame(axes, (-1.16 * half_x, 1.16 * half_x), (-1.16 * half_y, 1.16 * half_y))
    _codes(axes, scene)
    _clock(axes)
    axes.set_xlabel("west - east, mm", fontsize=7)
    axes.set_ylabel("south - north, mm", fontsize=7)


_HOURS = (
    ("12, back", 0.5, 0.99, "center", "top"),
    ("3", 0.985, 0.5, "right", "center"),
    ("6, front", 0.5, 0.01, "center", "bottom"),
    ("9", 0.015, 0.5, "left", "center"),
)
"""Hours of the clock at the edges of the view from above: text, place, alignment."""


def _clock(axes: Axes) -> None:
    """Label the edges with the clock hours used for entries and tilts."""
    for text, x, y, side, up in _HOURS:
        axes.text(
            x,
            y,
            text,
            transform=axes.transAxes,
            fontsize=6,
            style="italic",
            color="#6b7884",
            ha=side,
            va=up,
            zorder=9,
        )


def _soft(field: Flags) -> Array:
    """Blur a boolean field, so that its outline becomes smooth."""
    soft = field.astype(float)
    for axis in (0, 1, 0, 1, 0, 1):
        soft = (np.roll(soft, 1, axis) + soft + np.roll(soft, -1, axis)) / 3
    return soft


def _codes(axes: Axes, scene: Scene) -> None:
    """Place every location's code where it covers no port and no other code."""
    millimetre = _millimetre(axes)
    taken = [(float(p[0]), float(p[1]), 7.0) for e in scene.insertions for p in e.ports]
    taken += [(float(p[0]), float(p[1]), 1.0) for e in scene.insertions for p in _along(e)]
    for index, entered in enumerate(scene.insertions):
        at, code = entered.ports[0], entered.location.code
        half = _LETTER * 6.5 * len(code) / 2
        unsafe = any(_unsafe(scene, index, port) for port in range(len(entered.ports)))
        spots = [
            (at[0] + dx * (half + 5) * millimetre, at[1] + dy * millimetre)
            for dx, dy in ((1, 0), (0, 9), (0, -9), (-1, 0), (1, 9), (1, -9), (-1, 9), (-1, -9))
        ]
        x, y = min(spots, key=lambda spot: _crowd(spot, taken, millimetre, half))
        taken.append((x, y, 2 * half))
        axes.text(
            x,
            y,
            code,
            fontsize=6.5,
            color=UNSAFE if unsafe else INK,
            weight="bold",
            ha="center",
            va="center",
            zorder=9,
        )


def _along(entered: Insertion) -> Array:
    """Points along a sampler that no code may cover, shape (12, 3)."""
    return entered.entry + np.linspace(0.0, entered.length_mm, 12)[:, None] * entered.along


def _crowd(
    spot: tuple[float, float],
    taken: Sequence[tuple[float, float, float]],
    millimetre: float,
    half: float,
) -> float:
    """Overlap of a code at a spot with existing marks, in square points."""
    overlap = 0.0
    for x, y, width in taken:
        beside = half + width / 2 - abs(spot[0] - x) / millimetre
        above = 8.0 - abs(spot[1] - y) / millimetre
        overlap += max(beside, 0.0) * max(above, 0.0)
    return overlap


def _rim_from_above(centre: tuple[float, float, float], radius: float) -> Circle:
    return Circle(
        centre[:2],
        radius,
        fill=False,
        edgecolor=INK,
        linewidth=0.9,
        linestyle=(0, (2, 2)),
        zorder=4,
    )


def _unsafe(scene: Scene, index: int, port: int) -> bool:
    return port_unsafe(scene.plan, scene.insertions[index], port)


def _rims(axes: Axes, scene: Scene, side: int) -> None:
    """Draw the rim of every manway, thick, with its neck."""
    for hole in scene.bed.openings:
        centre, normal = np.array(hole.centre), np.array(hole.normal)
        along_rim = np.array([normal[2], 0.0, -normal[0]]) if side == 0 else np.array([0, 1.0, 0])
        ends = [centre + sign * hole.radius_mm * along_rim for sign in (-1, 1)]
        feet = [end - hole.passage_mm * normal for end in ends]
        axes.plot(
            [end[side] for end in ends],
            [end[2] for end in ends],
            color=INK,
            linewidth=2.6,
            zorder=5,
        )
        for end, foot in zip(ends, feet, strict=True):
            axes.plot(
                [end[side], foot[side]], [end[2], foot[2]], color=INK, linewidth=1.0, zorder=4
            )


def _tube(axes: Axes, scene: Scene, entered: Insertion, views: tuple[int, int]) -> None:
    """Draw one sampler from a little outside the rim to the tip."""
    outside = entered.entry - 0.06 * scene.bed.shape.height_mm * entered.along
    bad = any(_unsafe(scene, scene.insertions.index(entered), p) for p in range(len(entered.ports)))
    axes.plot(
        [outside[views[0]], entered.tip[views[0]]],
        [outside[views[1]], entered.tip[views[1]]],
        color=UNSAFE if bad else TUBE,
        linestyle=(0, (3, 1.5)) if bad else "solid",
        linewidth=1.6,
        solid_capstyle="butt",
        zorder=6,
    )


def _port(axes: Axes, at: tuple[float, float], *, unsafe: bool) -> None:
    """Draw one port: a blue dot, or a red cross in a ring."""
    if unsafe:
        axes.plot(
            *at, marker="o", markersize=9, markerfacecolor="white", markeredgecolor=UNSAFE, zorder=7
        )
        axes.plot(*at, marker="x", markersize=6, markeredgewidth=1.8, color=UNSAFE, zorder=8)
    else:
        axes.plot(*at, marker="o", markersize=4.6, color=SAFE, markeredgecolor="white", zorder=7)


def _callouts(axes: Axes, scene: Scene, side: int) -> None:
    """Label ports beside the vessel, each location in the view that shows it farther out."""
    half = scene.bed.shape.half_mm[side]
    for hand in (-1, 1):
        wanted = sorted(_named(scene, side, hand), key=lambda item: item[2])
        tall = [10.5 * _millimetre(axes) * len(item[0].splitlines()) for item in wanted]
        heights = _apart([item[2] for item in wanted], tall)
        for (text, across, up, unsafe), height in zip(wanted, heights, strict=True):
            axes.annotate(
                text,
                (across, up),
                xytext=(hand * half * 1.12, height),
                fontsize=6.5,
                color=UNSAFE if unsafe else INK,
                weight="bold" if unsafe else "normal",
                ha="left" if hand > 0 else "right",
                va="center",
                arrowprops={"arrowstyle": "-", "color": "#8a97a3", "linewidth": 0.5, "shrinkB": 3},
                zorder=9,
            )


def _named(scene: Scene, side: int, hand: int) -> Iterable[tuple[str, float, float, bool]]:
    """Text, position and safety of the port labels on one side of one elevation."""
    for index, entered in enumerate(scene.insertions):
        first = entered.ports[0]
        here = 0 if abs(first[0]) >= abs(first[1]) - 1e-6 else 1
        if here != side or (1 if first[side] >= 0 else -1) != hand:
            continue
        for port, at in enumerate(entered.ports):
            unsafe = _unsafe(scene, index, port)
            numbers = scene.numbers(index, port)
            text = f"{entered.location.code}: {numbers}" + ("\nUNSAFE" if unsafe else "")
            yield text, float(at[side]), float(at[2]), unsafe


def _apart(wanted: Sequence[float], tall: Sequence[float]) -> list[float]:
    """Spread ascending centres of texts of given heights, keeping their common centre."""
    placed: list[float] = []
    for number, height in enumerate(wanted):
        least = placed[-1] + (tall[number - 1] + tall[number]) / 2 if placed else height
        placed.append(max(height, least))
    excess = (placed[-1] - wanted[-1]) / 2 if placed else 0.0
    return [height - excess for height in placed]
