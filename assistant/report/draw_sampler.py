"""The sampler of a plan, once, with its parts named.

A generic two-part thief, not to scale: above the outer tube with its ports and its scale, below the
inner shaft with its dies. Drawn on axes given by the caller.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle

from assistant.plan.model import Sampler
from assistant.report.draw_scene import INK, POWDER, SAFE, STEEL, TUBE

_ACROSS, _UP = 100.0, 50.0
"""Extent of the axes, in parts of their own."""

_TUBE_Y, _TUBE_HALF = 36.5, 4.2
_SHAFT_Y, _SHAFT_HALF = 19.0, 3.2
_TIP, _SHOULDER, _TUBE_END, _SHAFT_END, _HANDLE = 2.0, 5.0, 84.0, 92.0, 94.0
_FIRST_PORT, _LAST_PORT = 11.0, 29.0
_PORT_WIDE = 1.1
_MOST_LETTERS = 44


def sampler(axes: Axes, drawn: Sampler) -> None:
    """Draw a sampler with the names of its parts."""
    axes.axis("off")
    axes.set_xlim(0, _ACROSS)
    axes.set_ylim(0, _UP)
    centres = _port_places(drawn.ports_mm)
    _outer_tube(axes, centres)
    _inner_shaft(axes, centres, len(drawn.positions))
    _above(axes, drawn, centres)
    _below(axes, drawn, centres)


def _port_places(ports_mm: Sequence[float]) -> list[float]:
    """Where the ports are drawn, spaced as on the tube."""
    span = ports_mm[-1] - ports_mm[0]
    if not span:
        return [_FIRST_PORT]
    return [
        _FIRST_PORT + (port - ports_mm[0]) / span * (_LAST_PORT - _FIRST_PORT) for port in ports_mm
    ]


def _outer_tube(axes: Axes, centres: Sequence[float]) -> None:
    low, high = _TUBE_Y - _TUBE_HALF, _TUBE_Y + _TUBE_HALF
    corners = [(_TIP, _TUBE_Y), (_SHOULDER, high), (_TUBE_END, high), (_TUBE_END, low)]
    _shape(axes, [*corners, (_SHOULDER, low)])
    for centre in centres:
        axes.add_patch(
            Rectangle(
                (centre - _PORT_WIDE / 2, _TUBE_Y - 1.8),
                _PORT_WIDE,
                3.6,
                facecolor=POWDER,
                edgecolor=SAFE,
                linewidth=1.1,
            )
        )
    for number, mark in enumerate(np.linspace(70.0, _TUBE_END - 1, 15)):
        axes.plot(
            [mark, mark], [high, high - (3.2 if number % 2 else 2.0)], color=INK, linewidth=0.5
        )
    _shape(axes, [(x, y) for x, y in _bar(_TUBE_END, _TUBE_END + 2, _TUBE_Y, 6.6)])


def _inner_shaft(axes: Axes, centres: Sequence[float], positions: int) -> None:
    _shape(axes, _bar(_SHOULDER, _SHAFT_END, _SHAFT_Y, _SHAFT_HALF))
    _shape(axes, _bar(_SHAFT_END, _HANDLE, _SHAFT_Y, 6.6))
    pitch = _die_pitch(centres, positions)
    for centre in centres:
        for number in range(positions):
            axes.add_patch(
                Rectangle(
                    (centre - number * pitch - pitch * 0.35, _SHAFT_Y - 1.4),
                    pitch * 0.7,
                    2.8,
                    facecolor=POWDER,
                    edgecolor=INK,
                    linewidth=0.7,
                )
            )


def _die_pitch(centres: Sequence[float], positions: int) -> float:
    """Distance of two dies, small enough for the sets of neighbouring ports."""
    nearest = min(np.diff(centres), default=_LAST_PORT)
    return float(min(1.5, nearest / (positions + 0.5)))


def _bar(left: float, right: float, middle: float, half: float) -> list[tuple[float, float]]:
    low, high = middle - half, middle + half
    return [(left, low), (left, high), (right, high), (right, low)]


def _shape(axes: Axes, corners: Sequence[tuple[float, float]]) -> None:
    axes.add_patch(Polygon(corners, facecolor=STEEL, edgecolor=TUBE, linewidth=1.0))


def _above(axes: Axes, drawn: Sampler, centres: Sequence[float]) -> None:
    """Name the parts of the tube."""
    top = _TUBE_Y + _TUBE_HALF
    for number, centre in enumerate(centres, 1):
        _name(axes, str(number), centre, top + 5.2)
    lengths = ", ".join(f"{port:g}" for port in drawn.ports_mm)
    ports = f"{'ports' if len(centres) > 1 else 'port'}, {lengths} mm from the tip"
    if len(ports) > _MOST_LETTERS:
        ports = f"ports, {drawn.ports_mm[0]:g} to {drawn.ports_mm[-1]:g} mm from the tip"
    _name(axes, ports, centres[-1] + 1.6, top + 5.2, "left")
    _name(axes, "tip", _TIP, top + 5.2, "left")
    _name(axes, f"outer tube, {drawn.diameter_mm:g} mm across", 57.0, top + 5.2)
    _name(axes, f"scale, steps of {drawn.graduation_mm} mm", 77.0, top + 5.2)
    _name(axes, "handle", _TUBE_END + 2.8, _TUBE_Y, "left")


def _below(axes: Axes, drawn: Sampler, centres: Sequence[float]) -> None:
    """Name the parts of the shaft."""
    foot = _SHAFT_Y - _SHAFT_HALF - 6.0
    sets = ", ".join(position.value for position in drawn.positions)
    count = len(drawn.positions)
    many = f"{count} for each port, one for each position of the shaft ({sets})"
    dies = f"dies of {drawn.die_volume_ml:g} mL: {many if count > 1 else 'one for each port'}"
    pitch = _die_pitch(centres, count)
    _name(axes, dies, centres[0] - (count - 1) * pitch - pitch * 0.35, foot, "left")
    _name(axes, f"inner shaft, {drawn.shaft}", 70.0, foot)
    _name(axes, "handle", _HANDLE + 0.8, _SHAFT_Y, "left")


def _name(axes: Axes, text: str, x: float, y: float, side: str = "center") -> None:
    axes.text(x, y, text, fontsize=6.5, color=INK, ha=side, va="center")
