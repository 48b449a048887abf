"""The figure of the dosage units: every unit in the order of its location, the blend beside it.

Importing this module loads matplotlib.
"""

import numpy as np
from matplotlib.figure import Figure

from assistant.evaluation.dosage_unit_study import UnitStudy
from assistant.evaluation.results import Result, by_spot
from assistant.report.plots import BLUE, INK, QUIET, blank

UNITS_IN = 2.5
"""Height of the figure, inches."""
_BLEND_SHARE = 0.2
"""Width of the blend's part over that of the units."""


def units(found: UnitStudy, blend: tuple[Result, ...]) -> Figure:
    """Blend results on the left, dosage units on the right, with the mean of each.

    Args:
        found: the units; drawn is the content that is judged.
        blend: results of the blend samples.
    """
    figure, axes = blank(UNITS_IN, bottom=0.17)
    count = len(found.locations)
    gap = max(1.0, 0.04 * count)
    groups = list(by_spot(blend).values())
    places = np.linspace(-gap - _BLEND_SHARE * count, -gap, len(groups))
    spots = [
        (place, result.assay)
        for place, members in zip(places, groups, strict=True)
        for result in members
    ]
    units_at = [
        (place, value)
        for place, location in enumerate(found.locations, start=1)
        for value in location.values
    ]
    for points, marker, colour in ((spots, "s", QUIET), (units_at, "o", INK)):
        axes.plot(
            *zip(*points, strict=True),
            marker=marker,
            markersize=3.2,
            markeredgewidth=0.7,
            markerfacecolor="none",
            color=colour,
            linestyle="none",
        )
    for low, high, mean in (
        (places[0], places[-1], float(np.mean([result.assay for result in blend]))),
        (1, count, found.summary.mean),
    ):
        axes.plot([low, high], [mean, mean], color=BLUE, linewidth=1.6)
    axes.axvline(-gap / 2 + 0.5, color=QUIET, linewidth=0.6, linestyle=(0, (2, 2)))
    ticks = np.unique(np.linspace(1, count, min(count, 9)).round().astype(int))
    axes.set_xticks(
        [float(places.mean()), *ticks.tolist()],
        ["blend", *(found.locations[tick - 1].name[:8] for tick in ticks)],
    )
    axes.set_xlabel("location of the dosage units")
    axes.set_ylabel("% of label claim")
    return figure
