"""What every view of a plan's picture shares: content, colours, scale, sampler and ports.

Everything is drawn to scale in millimetres on axes given by the caller; all values come from
`assistant.plan`.
"""

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from assistant.plan.insertion_geometry import Insertion
from assistant.plan.location_checks import port_unsafe
from assistant.plan.model import Plan
from assistant.plan.powder_bed import Bed
from assistant.plan.vessel import Trough
from assistant.plan.vials import Vial

INK = "#22313f"

STEEL = "#eef2f5"

POWDER = "#f3dfb6"

TUBE = "#5b7083"

SHAFT = "#c3ccd4"

SAFE = "#1d6fa5"

UNSAFE = "#c8102e"

Range = tuple[float, float]


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


def box(axes: Axes) -> tuple[float, float]:
    """Width and height of the axes on paper, inches."""
    figure = axes.figure
    assert isinstance(figure, Figure)  # noqa: S101 - tells the type checker that it is not a sub-figure
    place, (wide, high) = axes.get_position(), figure.get_size_inches()
    return float(place.width * wide), float(place.height * high)


def millimetre(axes: Axes) -> float:
    """Millimetres of the vessel per typographic point."""
    low, high = axes.get_xlim()
    return (high - low) / (box(axes)[0] * 72)


def scale_of(axes: Axes, across: Range, up: Range) -> float:
    """Millimetres of the vessel per inch at which both ranges fit the axes."""
    wide, high = box(axes)
    return max((across[1] - across[0]) / wide, (up[1] - up[0]) / high)


def frame(axes: Axes, across: Range, up: Range, scale: float) -> None:
    """Show the middle of these ranges at one scale in both directions, filling the axes."""
    wide, high = box(axes)
    middle_x, middle_y = sum(across) / 2, sum(up) / 2
    axes.set_xlim(middle_x - scale * wide / 2, middle_x + scale * wide / 2)
    axes.set_ylim(middle_y - scale * high / 2, middle_y + scale * high / 2)


def unsafe_port(scene: Scene, index: int, port: int) -> bool:
    """Return whether a port of an insertion lies where it must not."""
    return port_unsafe(scene.plan, scene.insertions[index], port)


def agitator(axes: Axes, scene: Scene, views: tuple[int, int]) -> None:
    """Draw the agitator's shaft of a trough, a band along x or a disc seen from its end."""
    vessel = scene.plan.vessel
    if not isinstance(vessel, Trough):
        return
    radius, middle = vessel.shaft_diameter_mm / 2, (0.0, 0.0, vessel.diameter_mm / 2)
    patch = (
        Circle(middle[1:], radius)
        if views[0] == 1
        else Rectangle(
            (-vessel.length_mm / 2, middle[views[1]] - radius), vessel.length_mm, 2 * radius
        )
    )
    patch.set(facecolor=SHAFT, edgecolor=INK, linewidth=0.8, zorder=4)
    axes.add_patch(patch)


def tube(axes: Axes, scene: Scene, entered: Insertion, views: tuple[int, int]) -> None:
    """Draw one sampler from a little outside the rim to the tip."""
    outside = entered.entry - 0.06 * scene.bed.shape.height_mm * entered.along
    bad = any(
        unsafe_port(scene, scene.insertions.index(entered), p) for p in range(len(entered.ports))
    )
    axes.plot(
        [outside[views[0]], entered.tip[views[0]]],
        [outside[views[1]], entered.tip[views[1]]],
        color=UNSAFE if bad else TUBE,
        linestyle=(0, (3, 1.5)) if bad else "solid",
        linewidth=1.6,
        solid_capstyle="butt",
        zorder=6,
    )


def port_mark(axes: Axes, at: tuple[float, float], *, unsafe: bool) -> None:
    """Draw one port: a blue dot, or a red cross in a ring."""
    if unsafe:
        axes.plot(
            *at, marker="o", markersize=9, markerfacecolor="white", markeredgecolor=UNSAFE, zorder=7
        )
        axes.plot(*at, marker="x", markersize=6, markeredgewidth=1.8, color=UNSAFE, zorder=8)
    else:
        axes.plot(*at, marker="o", markersize=4.6, color=SAFE, markeredgecolor="white", zorder=7)
