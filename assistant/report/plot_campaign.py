"""The figures of a campaign: batches side by side, and their control charts.

Importing this module loads matplotlib.
"""

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from assistant.evaluation.campaign import Campaign, Chart
from assistant.report.plots import BLUE, INK, QUIET, WIDTH_IN, blank, plain

BATCHES_IN, CHARTS_IN = 2.6, 2.3
"""Heights of the figures, inches."""

_CROWDED = 8
"""With more batches than this their names are rotated."""


def batches(campaign: Campaign) -> Figure:
    """Location means of every batch around its mean."""
    names = tuple(batch.name for batch in campaign.batches)
    figure, axes = blank(BATCHES_IN, bottom=0.22 if _turned(names) else 0.1)
    for place, batch in enumerate(campaign.batches):
        count = len(batch.location_means)
        for index, mean in enumerate(batch.location_means):
            shift = 0.4 * ((index + 0.5) / count - 0.5)
            axes.plot(
                place + shift,
                mean,
                marker="o",
                markersize=4.2,
                markerfacecolor="white",
                markeredgecolor=INK,
                linestyle="none",
            )
        middle = [batch.summary.mean] * 2
        axes.plot([place - 0.3, place + 0.3], middle, color=BLUE, linewidth=2.0, zorder=3)
    axes.set_xlim(-0.6, len(campaign.batches) - 0.4)
    axes.set_ylabel("location mean, % of target")
    _name(axes, names)
    return figure


def charts(campaign: Campaign) -> Figure:
    """The control charts side by side."""
    figure = Figure(figsize=(WIDTH_IN, CHARTS_IN), facecolor="white")
    FigureCanvasAgg(figure)
    turned = any(_turned(chart.labels) for chart in campaign.charts)
    grid = figure.add_gridspec(
        1,
        len(campaign.charts),
        left=0.075,
        right=0.985,
        top=0.91,
        bottom=0.24 if turned else 0.12,
        wspace=0.24,
    )
    for place, chart in enumerate(campaign.charts):
        axes = figure.add_subplot(grid[0, place])
        plain(axes)
        _chart(axes, chart)
    return figure


def _chart(axes: Axes, chart: Chart) -> None:
    places = range(len(chart.values))
    axes.axhline(chart.centre, color=INK, linewidth=0.9)
    for limits in (chart.lower, chart.upper):
        # One step beyond either end, so that the limits of a single point are visible too.
        wide = (limits[0], *limits, limits[-1])
        axes.step(
            range(-1, len(limits) + 1),
            wide,
            where="mid",
            color=QUIET,
            linewidth=0.9,
            linestyle=(0, (5, 3)),
        )
    axes.plot(places, chart.values, color=INK, linewidth=0.7)
    for place, value in zip(places, chart.values, strict=True):
        beyond = chart.labels[place] in chart.outside
        axes.plot(
            place,
            value,
            marker="s" if beyond else "o",
            markersize=5,
            markerfacecolor=INK if beyond else "white",
            markeredgecolor=INK,
        )
    axes.set_xlim(-0.5, len(chart.values) - 0.5)
    axes.set_title(f"{chart.name}, % of target", fontsize=7.2, color=INK, loc="left", pad=3)
    _name(axes, chart.labels)


def _turned(names: tuple[str, ...]) -> bool:
    """Whether names are rotated to fit."""
    return len(names) > _CROWDED or max(map(len, names)) > _CROWDED


def _name(axes: Axes, names: tuple[str, ...]) -> None:
    step = -(-len(names) // 20)
    places = range(0, len(names), step)
    axes.set_xticks(list(places), [names[place] for place in places])
    if _turned(names):
        axes.tick_params(axis="x", rotation=40, labelsize=6)
