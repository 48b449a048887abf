"""The figures of an evaluation report: locations, components, sampling bias checks, curve.

Every figure is readable without colour: differences are shown by shape, line or position. All
values come from the evaluation. Importing this module loads matplotlib.
"""

import io
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from assistant.evaluation.results import by_spot
from assistant.evaluation.schemes import SD_PASS
from assistant.evaluation.study import Study
from assistant.evaluation.trends import Trend
from assistant.report.evaluation_run import Case, axis_estimate
from assistant.report.formatting import fixed

WIDTH_IN = 6.9
"""Width of a figure across the page, inches."""
LOCATIONS_IN, COMPONENTS_IN, CURVE_IN = 3.1, 1.45, 2.8
"""Heights of the figures, inches."""

INK, QUIET, PALE, BLUE = "#1d2833", "#5d6b78", "#e3e8ec", "#1d5c8a"
MARKS = ("v", "o", "^", "s", "D", "P")
"""Marker of each shaft position, the bottom first."""
DASHES: tuple[Any, ...] = (
    "solid",
    (0, (6, 2)),
    (0, (2, 1.5)),
    (0, (7, 2, 1.5, 2)),
    (0, (1, 1)),
    (0, (4, 1, 1, 1, 1, 1)),
    (0, (10, 3)),
)
MOST_LABELS = 30
"""Most locations named below the plot; with more, only some are labelled."""

SETTINGS: dict[Any, object] = {
    # Settings that could differ between runs, or parse a '$' in a name as mathematics.
    "svg.hashsalt": "evaluation report",
    "svg.fonttype": "path",
    "text.parse_math": False,
    "font.family": "DejaVu Sans",
    "font.size": 7.5,
    "axes.unicode_minus": False,
    "axes.edgecolor": QUIET,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "xtick.major.size": 2.5,
    "ytick.major.size": 2.5,
    "text.color": INK,
    "path.simplify": False,
}


@contextmanager
def drawing() -> Iterator[None]:
    """Settings for creating and saving figures."""
    with mpl.rc_context(SETTINGS), warnings.catch_warnings():
        # A name in a script that the font lacks is drawn as boxes; the rest is still usable.
        warnings.filterwarnings("ignore", message="Glyph", category=UserWarning)
        yield


def svg(figure: Figure) -> str:
    """A figure as an SVG image; the same figure gives the same text."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    return out.getvalue()


def blank(height_in: float, **margins: float) -> tuple[Figure, Axes]:
    """An empty figure across the page with one pair of axes.

    Args:
        height_in: height, inches.
        margins: left, right, bottom and top of the axes as shares of the figure.
    """
    figure = Figure(figsize=(WIDTH_IN, height_in), facecolor="white")
    FigureCanvasAgg(figure)
    figure.subplots_adjust(**({"left": 0.085, "right": 0.985, "top": 0.96} | margins))
    axes = figure.add_subplot()
    plain(axes)
    return figure, axes


def plain(axes: Axes) -> None:
    """Remove axes elements that carry no information."""
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_axisbelow(True)


def locations(case: Case) -> Figure:
    """All individuals by location, their means, the overall mean and distances from it."""
    study = case.study
    names = [spot.name for spot in study.spots]
    figure, axes = blank(LOCATIONS_IN, bottom=0.2 if crowded(names) else 0.09, top=0.91)
    mean, sd = study.summary.mean, study.summary.sd or 0.0
    count = len(study.spots)
    edges = (-0.6, count - 0.4)
    axes.fill_between(edges, mean - 2 * sd, mean + 2 * sd, color=PALE, linewidth=0)
    axes.axhline(mean, color=INK, linewidth=1.0)
    for side in (-10.0, 10.0):
        axes.axhline(mean + side, color=QUIET, linewidth=0.8, linestyle=(0, (5, 3)))
    used = _individuals(axes, case)
    lowest = min(study.summary.low, mean - 10.0)
    highest = max(study.summary.high, mean + 10.0)
    room = 0.06 * (highest - lowest)
    axes.set_ylim(lowest - room, highest + room)
    axes.set_xlim(*edges)
    axes.set_ylabel("assay, % of target")
    _name_spots(axes, names)
    figure.legend(
        handles=[*_position_marks(case, used), *_location_lines()],
        loc="upper center",
        ncols=8,
        frameon=False,
        fontsize=6.5,
        handlelength=1.8,
        columnspacing=1.2,
    )
    return figure


def _individuals(axes: Axes, case: Case) -> list[int]:
    """Draw every result and every location mean; return the positions that occur."""
    study, touched = case.study, case.touched
    groups = list(by_spot(study.results).values())
    used = sorted({result.position for result in study.results})
    step = 0.5 / max(len(used), 2)
    spots: dict[tuple[int, bool], list[tuple[float, float]]] = {}
    for index, members in enumerate(groups):
        for result in members:
            shift = (used.index(result.position) - (len(used) - 1) / 2) * step
            look = (result.position, result.vial in touched)
            spots.setdefault(look, []).append((index + shift, result.assay))
        middle = study.spots[index].summary.mean
        axes.plot([index - 0.34, index + 0.34], [middle] * 2, color=BLUE, linewidth=2.0, zorder=3)
    for (position, filled), points in spots.items():
        axes.plot(*zip(*points, strict=True), **_mark(position, 4.6, filled=filled))
    return used


def _mark(position: int, size: float, *, filled: bool = False) -> dict[str, Any]:
    """Marker style of the results of a shaft position."""
    return {
        "marker": MARKS[(position - 1) % len(MARKS)],
        "markersize": size,
        "markerfacecolor": INK if filled else "white",
        "markeredgecolor": INK,
        "markeredgewidth": 0.9,
        "linestyle": "none",
        "zorder": 4,
    }


def _position_marks(case: Case, used: Sequence[int]) -> list[Line2D]:
    names = [position.value for position in case.record.plan.sampler.positions]
    return [Line2D([], [], label=names[position - 1], **_mark(position, 4.6)) for position in used]


def _location_lines() -> list[Line2D]:
    return [
        Line2D([], [], color=BLUE, linewidth=2.0, label="location mean"),
        Line2D([], [], color=INK, linewidth=1.0, label="overall mean"),
        Line2D([], [], color=PALE, linewidth=6, label="mean ± 2 SD"),
        Line2D([], [], color=QUIET, linewidth=0.8, linestyle=(0, (5, 3)), label="mean ± 10 %"),
    ]


def crowded(names: Sequence[str]) -> bool:
    """Whether names below a plot are rotated to fit."""
    return len(names) > 12 or max(len(name) for name in names) > 6  # noqa: PLR2004 - as fits


def _name_spots(axes: Axes, names: Sequence[str]) -> None:
    step = -(-len(names) // MOST_LABELS)
    places = range(0, len(names), step)
    axes.set_xticks(list(places), [names[place] for place in places])
    if crowded(names):
        axes.tick_params(axis="x", rotation=60, labelsize=6.5)


def components(case: Case) -> Figure:
    """Standard deviations with their intervals, against the limit of the industry scheme."""
    found = case.study.components
    if found is None:
        msg = "a study without replicates has no components to draw"
        raise ValueError(msg)
    table, intervals = found.table, found.intervals
    rows = [
        ("within locations", table.residual_sd, intervals.within),
        ("between locations", table.between**0.5, intervals.between),
        ("total", table.total**0.5, intervals.total),
    ]
    figure, axes = blank(COMPONENTS_IN, left=0.16, bottom=0.3, top=0.97)
    for place, (_, sd, limits) in enumerate(reversed(rows)):
        low, high = (limits.lower or 0.0) ** 0.5, limits.upper**0.5
        axes.plot([low, high], [place, place], color=INK, linewidth=1.4, solid_capstyle="butt")
        for end in (low, high):
            axes.plot([end, end], [place - 0.16, place + 0.16], color=INK, linewidth=1.4)
        axes.plot(sd, place, marker="D", markersize=5.5, color=BLUE, markeredgecolor="white")
    axes.axvline(SD_PASS, color=QUIET, linewidth=0.9, linestyle=(0, (5, 3)))
    axes.text(
        SD_PASS, 2.46, " 3.0: limit of the SD of all results", fontsize=6.3, color=QUIET, va="top"
    )
    axes.set_ylim(-0.55, 2.55)
    widest = max(limits.upper for _, _, limits in rows) ** 0.5
    axes.set_xlim(0.0, max(1.06 * widest, 4.6))
    axes.set_yticks(range(3), [name for name, _, _ in reversed(rows)])
    axes.tick_params(axis="y", length=0)
    axes.set_xlabel("standard deviation, % of target (diamond: estimate; bar: interval)")
    return figure


def sampling_bias_checks(case: Case) -> Figure:
    """The assay against every factor that is known and varies, mass first."""
    study = case.study
    found = study.trends
    columns = min(3, len(found))
    rows = -(-len(found) // 3)
    figure = Figure(figsize=(WIDTH_IN, sampler_in(case)), facecolor="white")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(
        rows, columns, left=0.085, right=0.985, top=0.88 if rows == 1 else 0.94,
        bottom=0.2 if rows == 1 else 0.1, hspace=0.62, wspace=0.22,
    )  # fmt: skip
    for index, trend in enumerate(found):
        axes = figure.add_subplot(grid[index // columns, index % columns])
        plain(axes)
        _factor(axes, study, trend)
        if index % columns == 0:
            axes.set_ylabel("assay, % of target")
    return figure


def sampler_in(case: Case) -> float:
    """Height of `sampling_bias_checks`, inches."""
    return 0.35 + 1.65 * -(-len(case.study.trends) // 3)


_TAKE: dict[str, Any] = {
    "sample mass": lambda result: result.mass_mg,
    "port depth": lambda result: result.depth_mm,
    "shaft position": lambda result: result.position,
    "insertion order": lambda result: result.insertion_order,
    "time open": lambda result: result.open_seconds,
}


def _factor(axes: Axes, study: Study, trend: Trend) -> None:
    """One factor: the individuals, and the slope at the level at which it was compared."""
    known = [result for result in study.results if _TAKE[trend.factor](result) is not None]
    x = np.asarray([_TAKE[trend.factor](result) for result in known], dtype=np.float64)
    y = np.asarray([result.assay for result in known])
    positions = np.asarray([result.position for result in known])
    for position in sorted(set(positions.tolist())):
        here = positions == position
        axes.plot(x[here], y[here], **_mark(position, 3.4))
    ends = np.array([x.min(), x.max()])
    axes.plot(ends, y.mean() + trend.slope * (ends - x.mean()), color=BLUE, linewidth=1.4, zorder=5)
    unit = "" if trend.unit in ("insertion", "position from the bottom") else f", {trend.unit}"
    axes.set_xlabel(f"{trend.factor}{unit}")
    axes.set_title(
        f"r = {fixed(trend.r)}, slope over range {fixed(trend.effect)}",
        fontsize=6.8,
        color=INK,
        loc="left",
        pad=3,
    )
    if trend.factor in ("shaft position", "insertion order"):
        axes.xaxis.set_major_locator(MaxNLocator(nbins=6, integer=True))


def curve(case: Case) -> Figure:
    """Probability of meeting each scheme, with this study's estimate on the axis."""
    found, study = case.curve, case.study
    figure, axes = blank(CURVE_IN, bottom=0.15, right=0.7, top=0.97, left=0.085)
    x = found.between_sd
    for index, (name, share) in enumerate(found.probability.items()):
        lead = name.startswith(case.request.scheme)
        axes.plot(
            x,
            100 * share,
            color=BLUE if lead else INK,
            linewidth=1.8 if lead else 1.0,
            linestyle=DASHES[index % len(DASHES)],
            label=name,
        )
    estimate = axis_estimate(study)
    if study.components is not None:
        limits = study.components.intervals.between
        low, high = (limits.lower or 0.0) ** 0.5, min(limits.upper**0.5, float(x[-1]))
        axes.axvspan(low, high, color=PALE, linewidth=0, zorder=0)
    axes.axvline(estimate, color=INK, linewidth=0.9)
    axes.plot([estimate], [2.5], marker="^", markersize=7, color=INK)
    axes.set_xlim(0.0, float(x[-1]))
    axes.set_ylim(0, 103)
    axes.grid(color="#d5dbe0", linewidth=0.4)
    axes.set_xlabel(
        "true SD between locations, % of target"
        if study.components is not None
        else "true SD of single results, % of target"
    )
    axes.set_ylabel("probability of meeting the criteria, %")
    figure.legend(
        loc="center left",
        bbox_to_anchor=(0.71, 0.56),
        frameon=False,
        handlelength=3.2,
        fontsize=6.5,
    )
    return figure
