"""The elevations of a plan's picture, to scale in millimetres on axes given by the caller."""

from collections.abc import Iterable, Sequence

import numpy as np
from matplotlib.axes import Axes

from assistant.report.draw_scene import (
    INK,
    POWDER,
    STEEL,
    UNSAFE,
    Range,
    Scene,
    agitator,
    box,
    frame,
    millimetre,
    port_mark,
    scale_of,
    tube,
    unsafe_port,
)
from assistant.report.silhouette import silhouette

_FINE = 480
_BESIDE = 16.0
"""Least distance of a label from the vessel, points."""
_APART = 1.12
"""Distance of a label from the middle, in half widths of the vessel, where that is more."""
_LABEL_SIZE = 6.5
_LETTER = 0.62
"""Mean width of a character of a label relative to its size."""
_MOST_FOR_LABELS = 0.6
"""Share of the width left to labels; very long ones run over the frame."""
_MARGIN = 4.0
"""Between a label and the frame, points."""


def elevation_scale(axes: Axes, scene: Scene) -> float:
    """Millimetres per inch at which vessel and labels fit axes of this size from both sides."""
    return max(
        max(scale_of(axes, *_extent(scene, side)), _scale_for_labels(axes, scene, side))
        for side in (0, 1)
    )


def _scale_for_labels(axes: Axes, scene: Scene, side: int) -> float:
    """Millimetres per inch at which the longest label beside the vessel ends within the axes."""
    labels = (text for hand in (-1, 1) for text, *_ in _named(scene, side, hand))
    letters = max((len(line) for text in labels for line in text.splitlines()), default=0)
    half, across = scene.bed.shape.half_mm[side], 72 * box(axes)[0] / 2
    label = min(letters * _LETTER * _LABEL_SIZE + _MARGIN, _MOST_FOR_LABELS * across)
    return 72 * max(_APART * half / (across - label), half / (across - label - _BESIDE))


def _extent(scene: Scene, side: int) -> tuple[Range, Range]:
    """What an elevation shows across and up, with room for the labels beside the vessel."""
    half, tall = scene.bed.shape.half_mm[side], scene.bed.shape.height_mm
    return (-2.0 * half, 2.0 * half), (-0.04 * tall, 1.14 * tall)


def elevation(axes: Axes, scene: Scene, side: int, scale: float) -> None:
    """Draw the vessel from the south (side 0: x to the right) or from the east (side 1: y).

    Args:
        axes: to draw on.
        scene: what is drawn.
        side: 0 or 1.
        scale: millimetres per inch.
    """
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
    agitator(axes, scene, (side, 2))
    for index, entered in enumerate(scene.insertions):
        tube(axes, scene, entered, (side, 2))
        for port, at in enumerate(entered.ports):
            port_mark(axes, (at[side], at[2]), unsafe=unsafe_port(scene, index, port))
    frame(axes, *_extent(scene, side), scale)
    _callouts(axes, scene, side)
    axes.set_ylabel("height above the lowest point, mm", fontsize=7)
    axes.set_xlabel(("west - east, mm", "south - north, mm")[side], fontsize=7)


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


def _callouts(axes: Axes, scene: Scene, side: int) -> None:
    """Label ports beside the vessel, each location in the view that shows it farther out."""
    half = scene.bed.shape.half_mm[side]
    beside = max(_APART * half, half + _BESIDE * millimetre(axes))
    for hand in (-1, 1):
        wanted = sorted(_named(scene, side, hand), key=lambda item: item[2])
        tall = [10.5 * millimetre(axes) * len(item[0].splitlines()) for item in wanted]
        heights = _apart([item[2] for item in wanted], tall)
        for (text, across, up, unsafe), height in zip(wanted, heights, strict=True):
            axes.annotate(
                text,
                (across, up),
                xytext=(hand * beside, height),
                fontsize=_LABEL_SIZE,
                color=UNSAFE if unsafe else INK,
                weight="bold" if unsafe else "normal",
                ha="left" if hand > 0 else "right",
                va="center",
                arrowprops={
                    "arrowstyle": "-",
                    "color": "#8a97a3",
                    "linewidth": 0.5,
                    "shrinkA": 1,
                    "shrinkB": 3,
                    "relpos": (0.0 if hand > 0 else 1.0, 0.5),
                },
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
            unsafe = unsafe_port(scene, index, port)
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
