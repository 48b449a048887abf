"""The view from above of a plan's picture, to scale in millimetres on axes given by the caller."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Circle

from assistant.plan.insertion_geometry import Insertion
from assistant.plan.shapes import Array, Flags
from assistant.report.draw_scene import (
    INK,
    POWDER,
    STEEL,
    UNSAFE,
    Scene,
    agitator,
    frame,
    millimetre,
    port_mark,
    scale_of,
    tube,
    unsafe_port,
)

_FINE = 480
_CLEAR = 4.0
"""Width that a line takes from a code, points."""
_TALL = 9.0
"""Height of a code, points."""
_LETTER = 0.74
"""Mean width of a character relative to the font size."""


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
    outline = axes.contour(x, y, vessel, levels=[0.5], colors=[INK], linewidths=1.3, zorder=3)
    for hole in scene.bed.openings:
        axes.add_patch(_rim_from_above(hole.centre, hole.radius_mm))
    agitator(axes, scene, (0, 1))
    for index, entered in enumerate(scene.insertions):
        tube(axes, scene, entered, (0, 1))
        for port, at in enumerate(entered.ports):
            port_mark(axes, (at[0], at[1]), unsafe=unsafe_port(scene, index, port))
    shown = (-1.16 * half_x, 1.16 * half_x), (-1.16 * half_y, 1.16 * half_y)
    frame(axes, *shown, scale_of(axes, *shown))
    _codes(axes, scene, np.concatenate(outline.allsegs[0]))
    _clock(axes)
    axes.set_xlabel("west - east, mm", fontsize=7)
    axes.set_ylabel("south - north, mm", fontsize=7)


_HOURS = {12: "12, back", 6: "6, front"}
"""Texts of the hours that say more than their number."""


def _clock(axes: Axes) -> None:
    """Put the clock hours of entries and tilts on the frame, each in its direction."""
    middle = np.array([sum(axes.get_xlim()), sum(axes.get_ylim())]) / 2
    half = np.array([axes.get_xlim()[1], axes.get_ylim()[1]]) - middle
    point = millimetre(axes)
    for hour in range(1, 13):
        turned = np.deg2rad(90 - 30 * hour)
        way = np.array([np.cos(turned), np.sin(turned)])
        edge = way * np.min(half / np.maximum(np.abs(way), 1e-9))
        inner = edge * (1 - 4.0 * point / np.hypot(*edge))
        ends = middle + np.array([edge, inner])
        axes.plot(ends[:, 0], ends[:, 1], color="#6b7884", linewidth=0.8, zorder=9)
        x, y = middle + edge * (1 - 9.5 * point / np.hypot(*edge))
        axes.text(
            x,
            y,
            _HOURS.get(hour, str(hour)),
            fontsize=6,
            style="italic",
            color="#6b7884",
            ha="center",
            va="center",
            zorder=9,
        )


def _soft(field: Flags) -> Array:
    """Blur a boolean field, so that its outline becomes smooth."""
    soft = field.astype(float)
    for axis in (0, 1, 0, 1, 0, 1):
        soft = (np.roll(soft, 1, axis) + soft + np.roll(soft, -1, axis)) / 3
    return soft


def _codes(axes: Axes, scene: Scene, outline: Array) -> None:
    """Place every location's code where it covers no port, no line and no other code.

    Args:
        axes: of the view from above.
        scene: what is drawn.
        outline: points on the vessel's outline, shape (n, 2), mm.
    """
    point = millimetre(axes)
    taken = [(float(p[0]), float(p[1]), 7.0) for e in scene.insertions for p in e.ports]
    lines = [outline, *(_along(e) for e in scene.insertions)]
    lines += [_around(hole.centre, hole.radius_mm) for hole in scene.bed.openings]
    taken += [(float(p[0]), float(p[1]), _CLEAR) for line in lines for p in line]
    for index, entered in enumerate(scene.insertions):
        at, code = entered.ports[0], entered.location.code
        half = _LETTER * 6.5 * len(code) / 2
        unsafe = any(unsafe_port(scene, index, port) for port in range(len(entered.ports)))
        spots = [
            (at[0] + dx * (half + gap) * point, at[1] + dy * (gap + 4) * point)
            for gap in (5, 9, 14)
            for dx, dy in _SIDES
        ]
        x, y = spots[int(np.argmin(_crowd(np.array(spots), np.array(taken), point, half)))]
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


_SIDES = tuple(
    (float(np.cos(turn)), float(np.sin(turn))) for turn in np.arange(0, 2 * np.pi, np.pi / 8)
)
"""Directions in which a code may stand from its port."""


def _along(entered: Insertion) -> Array:
    """Points along a sampler that no code may cover, shape (60, 3)."""
    return entered.entry + np.linspace(0.0, entered.length_mm, 60)[:, None] * entered.along


def _around(centre: tuple[float, float, float], radius: float) -> Array:
    """Points on the rim of a manway, shape (120, 2)."""
    turns = np.linspace(0.0, 2 * np.pi, 120)
    return np.array(centre[:2]) + radius * np.column_stack((np.cos(turns), np.sin(turns)))


def _crowd(spots: Array, taken: Array, point: float, half: float) -> Array:
    """Overlap of a code at each spot with existing marks, in square points, shape (spots,).

    Args:
        spots: places of the code's middle, shape (spots, 2), mm.
        taken: places and widths of the marks, shape (marks, 3), mm and points.
        point: millimetres of the vessel per typographic point.
        half: half the code's width, points.
    """
    away = np.abs(spots[:, None, :] - taken[None, :, :2]) / point
    beside = np.maximum(half + taken[:, 2] / 2 - away[:, :, 0], 0.0)
    above = np.maximum(_TALL - away[:, :, 1], 0.0)
    return np.asarray((beside * above).sum(axis=1))


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
