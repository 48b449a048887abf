"""The plan's picture with the results written where the samples were taken."""

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from assistant.evaluation.descriptive import SpotSummary
from assistant.plan.insertion_geometry import insertions
from assistant.plan.powder_bed import bed_of
from assistant.report.draw_above import from_above
from assistant.report.draw_scene import Scene
from assistant.report.draw_views import elevation, elevation_scale
from assistant.report.evaluation_run import Case
from assistant.report.formatting import fixed
from assistant.report.plots import INK, QUIET, WIDTH_IN

MOST_NAMED = 36
"""Most ports whose results can be written beside them."""

MOST_BARS = 24
"""Most deviations drawn; beyond that, only the largest on either side."""


@dataclass(frozen=True, slots=True)
class ResultScene(Scene):
    """The plan's picture, labelled with results instead of vials."""

    spots: tuple[SpotSummary, ...] = ()

    def numbers(self, index: int, port: int) -> str:
        """Mean result at one port of one location, % of target."""
        found = self.found(index, port)
        if found is None:
            return "no result"
        return fixed(found.summary.mean, 1)

    def found(self, index: int, port: int) -> SpotSummary | None:
        """The summary of one port of one location."""
        code = self.plan.locations[index].code
        for spot in self.spots:
            if spot.spot.location == code and spot.spot.port == port + 1:
                return spot
        return None


def many(case: Case) -> bool:
    """Whether there are too many ports for their results to be written beside them."""
    plan = case.record.plan
    return len(plan.locations) * len(plan.sampler.ports_mm) > MOST_NAMED


def places_in(case: Case) -> float:
    """Height of the figure, inches."""
    return 3.0 if many(case) else 5.7


def places(case: Case) -> Figure:
    """Elevations with the results beside the ports, the view from above, and the distances.

    With very many ports there are no elevations, since the numbers would be illegible.
    """
    plan = case.record.plan
    bed = bed_of(plan)
    scene = ResultScene(plan, bed, insertions(plan, bed), (), case.study.spots)
    figure = Figure(figsize=(WIDTH_IN, places_in(case)), facecolor="white")
    FigureCanvasAgg(figure)
    rows = 1 if many(case) else 2
    grid = figure.add_gridspec(
        rows, 2, left=0.07, right=0.99, top=0.93 if many(case) else 0.965,
        bottom=0.13 if many(case) else 0.065, hspace=0.24, wspace=0.2,
        height_ratios=(1.0, 0.95)[-rows:],
    )  # fmt: skip
    if not many(case):
        for side, name in enumerate(("from the south", "from the east")):
            axes = figure.add_subplot(grid[0, side])
            elevation(axes, scene, side, elevation_scale(axes, scene))
            _dress(axes, f"Elevation {name}")
            if side:
                axes.set_ylabel("")
    above = figure.add_subplot(grid[rows - 1, 0])
    from_above(above, scene)
    _dress(above, "From above, north up")
    _distances(figure.add_subplot(grid[rows - 1, 1]), case.study.spots, case.study.summary.mean)
    return figure


def _dress(axes: Axes, title: str) -> None:
    axes.set_title(title, fontsize=7.5, color=INK, loc="left", pad=3)
    axes.tick_params(labelsize=6, length=2)


def _distances(axes: Axes, spots: Sequence[SpotSummary], mean: float) -> None:
    """Deviation of each location mean from the overall mean, largest first."""
    ordered = sorted(spots, key=lambda spot: spot.summary.mean)
    if len(ordered) > MOST_BARS:
        ordered = [*ordered[: MOST_BARS // 2], *ordered[-MOST_BARS // 2 :]]
    for place, spot in enumerate(ordered):
        away = spot.summary.mean - mean
        look = "#b9c4cd" if away >= 0 else "white"
        axes.barh(place, away, 0.7, color=look, edgecolor=INK, linewidth=0.7)
    axes.axvline(0.0, color=INK, linewidth=0.8)
    axes.set_yticks(range(len(ordered)), [spot.name for spot in ordered])
    widest = max(abs(spot.summary.mean - mean) for spot in ordered)
    axes.set_xlim(-1.15 * max(widest, 0.5), 1.15 * max(widest, 0.5))
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.spines["bottom"].set_color(QUIET)
    _dress(axes, "Location mean minus overall mean, % of target")
    axes.tick_params(axis="y", labelsize=6.5 if len(ordered) <= MOST_BARS // 2 else 5, length=0)
