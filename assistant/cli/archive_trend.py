"""`archive trend`: the batches of a product over time, with control limits."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.archive.questions import Answer
from assistant.archive.trend import Trend, trend
from assistant.cli.archive_common import Form, opened, show
from assistant.cli.output import terminal
from assistant.errors import InputError
from assistant.printable import printable
from assistant.report.formatting import counted, fixed, listed

_MOST = 1000
_HEADINGS = ("opened_utc", "batch", "results", "mean", "sd", "rsd", "sd_between", "sd_within")


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """Options of `archive trend`."""

    product: str
    archive: str | None
    last: int
    rehearsals: bool
    form: Form
    output: Path | None
    overwrite: bool


def run(options: Options) -> int:
    """Show mean, spread and components of each batch; 1 where a point is beyond its limits.

    Raises:
        InputError: an option cannot be used, or there are fewer than two batches.
        ArchiveError: the database refused.
    """
    if not 2 <= options.last <= _MOST:  # noqa: PLR2004 - a trend needs two
        raise InputError(f"--last {options.last} is not between 2 and {_MOST}.")
    with opened(options.archive) as archive:
        found = trend(archive, options.product, last=options.last, rehearsals=options.rehearsals)
    show(
        _answer(found, rounded=options.form == "table"),
        options.form,
        options.output,
        overwrite=options.overwrite,
    )
    if options.form == "table" or options.output is not None:
        for line in _lines(found, options):
            terminal().print(line)
    return 1 if any(chart.outside for chart in found.charts) else 0


def _answer(found: Trend, *, rounded: bool) -> Answer:
    """Return one row per batch; the limits of every chart follow its figures unless rounded."""
    headings, rows = list(_HEADINGS), []
    charts = () if rounded else found.charts
    for chart in charts:
        headings += [f"{chart.name}: {what}" for what in ("value", "centre", "lower", "upper")]
    for n, batch in enumerate(found.campaign.batches):
        table, summary = batch.table, batch.summary
        between = None if table is None else table.between**0.5
        within = None if table is None else table.residual_sd
        figures = [summary.mean, summary.sd, summary.rsd, between, within]
        row: list[str | int | float | None] = [found.opened_utc[n], batch.name, summary.n]
        row += [fixed(one) for one in figures] if rounded else figures
        for chart in charts:
            row += [chart.values[n], chart.centre, chart.lower[n], chart.upper[n]]
        rows.append(tuple(row))
    return Answer(tuple(headings), rows)


def _lines(found: Trend, options: Options) -> Iterator[str]:
    what = "rehearsals or simulated assays only" if options.rehearsals else "live sessions only"
    count = counted(len(found.opened_utc), "batch", "batches")
    yield f"{printable(options.product)}: {count}, {what}; % of target"
    for chart in found.charts:
        low, high = min(chart.lower), max(chart.upper)
        beyond = f"beyond: {printable(listed(chart.outside))}" if chart.outside else "none beyond"
        limits = f"{fixed(low)} to {fixed(high)}"
        yield f"{chart.name}: centre {fixed(chart.centre)}, limits {limits}; {beyond}"
    yield "A point beyond its limits is an indication, not a verdict."
