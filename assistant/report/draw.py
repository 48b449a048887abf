"""A plan as a picture: two elevations, the view from above, and a table of the insertions.

Returns bytes; the same plan gives the same bytes. Importing this module loads matplotlib, so it is
imported only when a picture is needed.
"""

import io
import warnings
from collections.abc import Sequence
from typing import Any, Literal

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from assistant.plan.entry_direction import aim_of
from assistant.plan.insertion_geometry import insertions
from assistant.plan.location_checks import faults
from assistant.plan.model import Plan
from assistant.plan.powder_bed import bed_of
from assistant.plan.vials import Vial
from assistant.report.draw_above import from_above
from assistant.report.draw_sampler import sampler
from assistant.report.draw_scene import INK, POWDER, SAFE, TUBE, UNSAFE, Scene
from assistant.report.draw_views import elevation, elevation_scale

Form = Literal["svg", "png", "pdf"]

PIXELS_PER_INCH = 150

MOST_ROWS = 14
"""Most insertions listed in the table; `check` lists them all."""

FEWEST_ROWS = 11
"""Minimum number of rows in the table's layout."""

_SETTINGS: dict[Any, object] = {
    # Settings that could differ between runs, or parse a '$' in a name as mathematics.
    "svg.hashsalt": "sampling plan",
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "text.parse_math": False,
    "font.family": "DejaVu Sans",
    "axes.unicode_minus": False,
}

_NO_DATES: dict[str, dict[str, str | None]] = {
    "svg": {"Date": None, "Creator": None},
    "png": {"Software": None},
    "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}


def draw(
    plan: Plan,
    vials: Sequence[Vial],
    form: Form = "svg",
    footer: str = "",
    *,
    dpi: int = PIXELS_PER_INCH,
) -> bytes:
    """Draw a plan on one A4 page.

    Args:
        plan: the plan; if it is unfit, its unsafe ports are red, crossed and labelled.
        vials: the numbered vials (`assistant.plan.vials.vials`).
        form: file format of the picture.
        footer: printed small at the foot, such as the plan file's name and hash.
        dpi: pixels per inch of a PNG.

    Raises:
        PlanError: the powder does not fit the vessel, or a depth cannot be reached.
    """
    bed = bed_of(plan)
    scene = Scene(plan, bed, insertions(plan, bed), tuple(vials))
    with mpl.rc_context(_SETTINGS), warnings.catch_warnings():
        # A name in a script that the font lacks is drawn as boxes; the rest is still usable.
        warnings.filterwarnings("ignore", message="Glyph", category=UserWarning)
        figure = _page(scene, footer)
        out = io.BytesIO()
        figure.savefig(out, format=form, dpi=dpi, metadata=_NO_DATES[form])
    return out.getvalue()


def _page(scene: Scene, footer: str) -> Figure:
    figure = Figure(figsize=(11.69, 8.27), facecolor="white")
    FigureCanvasAgg(figure)
    grid = figure.add_gridspec(
        1,
        3,
        width_ratios=(1.1, 1.1, 1.0),
        left=0.055,
        right=0.985,
        top=0.865,
        bottom=0.48,
        wspace=0.18,
    )
    views = [figure.add_subplot(grid[0, column]) for column in range(3)]
    scale = elevation_scale(views[0], scene)
    for side, name in enumerate(("from the south", "from the east")):
        elevation(views[side], scene, side, scale)
        views[side].set_title(f"Elevation {name}", fontsize=8.5, color=INK, loc="left")
    from_above(views[2], scene)
    views[2].set_title("From above, north up", fontsize=8.5, color=INK, loc="left")
    for axes in views:
        _plain(axes)
    _legend(figure)
    parts = figure.add_axes((0.055, 0.315, 0.93, 0.075))
    sampler(parts, scene.plan.sampler)
    parts.set_title("The sampler, not to scale", fontsize=8.5, color=INK, loc="left", pad=4)
    _table(figure.add_axes((0.055, 0.035, 0.93, 0.28)), scene)
    _heading(figure, scene, footer)
    return figure


def _plain(axes: Axes) -> None:
    axes.tick_params(labelsize=6, colors=INK, length=2)
    for edge in axes.spines.values():
        edge.set_color("#c3ccd4")
        edge.set_linewidth(0.6)


def _heading(figure: Figure, scene: Scene, footer: str) -> None:
    plan, bed = scene.plan, scene.bed
    study, sampler = plan.study, plan.sampler
    figure.text(0.055, 0.955, study.title, fontsize=14, weight="bold", color=INK)
    figure.text(
        0.055,
        0.928,
        f"{study.product}   |   batch {study.batch}   |   {study.stage}   |   {study.protocol}",
        fontsize=9,
        color=INK,
    )
    litres = bed.volume_mm3 / 1e6
    figure.text(
        0.055,
        0.903,
        f"{plan.powder.fill_mass_kg:g} kg at {plan.powder.bulk_density_g_ml:g} g/mL = "
        f"{litres:.0f} L, {bed.fill:.0%} of the {plan.vessel.kind}, surface at {bed.peak_mm:.0f} mm"
        f"   |   {sampler.kind} sampler {sampler.identity}, dies {sampler.die_set} of "
        f"{sampler.die_volume_ml:g} mL   |   {len(plan.locations)} locations, "
        f"{len(scene.vials)} vials",
        fontsize=8,
        color="#4a5a68",
    )
    figure.text(0.055, 0.014, footer, fontsize=6, color="#6b7884")
    figure.text(
        0.985,
        0.014,
        "The rim of the manway is the entry mark. Clock hours are directions, seen from above: 12 "
        "is north, away from the front. Numbers beside a location are its vials.",
        fontsize=6,
        color="#6b7884",
        ha="right",
    )


def _legend(figure: Figure) -> None:
    figure.legend(
        handles=[
            Patch(facecolor=POWDER, edgecolor="#9a7b3c", label="powder"),
            Line2D([], [], color=TUBE, linewidth=1.6, label="sampler"),
            Line2D([], [], color=SAFE, marker="o", linestyle="none", markersize=5, label="port"),
            Line2D(
                [],
                [],
                color=UNSAFE,
                marker="x",
                linestyle=(0, (3, 1.5)),
                markersize=6,
                label="unsafe port",
            ),
            Line2D([], [], color=INK, linestyle=(0, (2, 2)), linewidth=0.9, label="manway"),
        ],
        loc="center",
        bbox_to_anchor=(0.52, 0.425),
        ncols=5,
        fontsize=7,
        frameon=False,
    )


_COLUMNS = (
    ("no.", 0.03),
    ("code", 0.055),
    ("location", 0.175),
    ("enter, from middle", 0.12),
    ("tilt", 0.105),
    ("insert (mm)", 0.08),
    ("ports deep (mm)", 0.1),
    ("vials", 0.135),
    ("verdict", 0.2),
)
"""Heading and relative width of every column of the table."""


def _table(axes: Axes, scene: Scene) -> None:
    axes.axis("off")
    rows = [_row(scene, index) for index in range(min(len(scene.insertions), MOST_ROWS))]
    height = 1 / (max(len(rows), FEWEST_ROWS) + 2)
    left = 0.0
    for column, (heading, width) in enumerate(_COLUMNS):
        axes.text(left, 1 - height / 2, heading, fontsize=7, weight="bold", color=INK, va="center")
        for number, row in enumerate(rows, 1):
            unsafe = row[-1].startswith("UNFIT")
            axes.text(
                left,
                1 - (number + 0.5) * height,
                row[column],
                fontsize=7,
                color=UNSAFE if unsafe else INK,
                weight="bold" if unsafe and column == 1 else "normal",
                va="center",
            )
        left += width
    for number in range(len(rows) + 1):
        axes.axhline(1 - (number + 1) * height, color="#d5dce2", linewidth=0.5)
    more = len(scene.insertions) - len(rows)
    if more > 0:
        axes.text(0.0, height / 2, f"and {more} more locations", fontsize=7, color=INK, va="center")
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)


def _row(scene: Scene, index: int) -> tuple[str, ...]:
    entered = scene.insertions[index]
    place = entered.location
    wrong = faults(scene.plan, entered)
    told = aim_of(scene.bed, place)
    ports = ", ".join(f"{cover:.0f}" for cover in entered.cover_mm)
    numbers = "; ".join(scene.numbers(index, port) for port in range(len(entered.ports)))
    verdict = "fit" if not wrong else f"UNFIT: {wrong[0]}" + (" ..." if len(wrong) > 1 else "")
    return (
        str(index + 1),
        place.code,
        _short(place.description, 34),
        told.entry_text,
        told.tilt_text,
        str(entered.length_mm),
        _short(ports, 18),
        _short(numbers, 26),
        _short(verdict, 46),
    )


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 3] + "..."
