"""The section of an evaluation report on components of variance."""

from collections.abc import Iterator

from assistant.evaluation.intervals import Interval
from assistant.evaluation.nested import Nested
from assistant.evaluation.study import Components
from assistant.evaluation.variance import OneWay
from assistant.report.document_model import Block, Heading, Picture, Text, table
from assistant.report.evaluation_run import Case
from assistant.report.formatting import MISSING, fixed, interval, p_value, short


def components(case: Case) -> Iterator[Block]:
    """Analysis of variance, components and their intervals."""
    from assistant.report import plots  # noqa: PLC0415 - loads matplotlib

    found = case.study.components
    yield Heading("Variance components")
    if found is None:
        yield Text(
            "There is one result for each location, so the variation between locations cannot be "
            "separated from that within them."
        )
        return
    table_, percent = found.table, f"{100 * found.intervals.within.confidence:g} %"
    yield Picture(
        draw=lambda: plots.components(case),
        caption=f"Standard deviations with {percent} intervals (square roots of the variances "
        "below).",
        describes=f"Within locations {fixed(table_.residual_sd)}, between locations "
        f"{fixed(table_.between**0.5)} % of target.",
        height_in=plots.COMPONENTS_IN,
    )
    yield _variance_table(table_)
    yield _component_table(found, percent)
    for analysis in case.study.nested:
        yield _nested(analysis)


def _variance_table(one: OneWay) -> Block:
    return table(
        [
            ("source", 0.28, "left"),
            ("df", 0.1, "right"),
            ("sum of squares", 0.16, "right"),
            ("mean square", 0.16, "right"),
            ("F", 0.14, "right"),
            ("p", 0.16, "right"),
        ],
        [
            (
                "between locations",
                str(one.df_between),
                short(one.ss_between, 6),
                short(one.ms_between, 6),
                short(one.f, 5),
                p_value(one.p),
            ),
            (
                "within locations",
                str(one.df_within),
                short(one.ss_within, 6),
                short(one.ms_within, 6),
                "",
                "",
            ),
        ],
    )


def _component_table(found: Components, percent: str) -> Block:
    one, intervals, reml = found.table, found.intervals, found.reml
    rows = [
        _component("within locations", one.within, intervals.within, reml.within if reml else None),
        _component(
            "between locations", one.between, intervals.between, reml.between if reml else None
        ),
        _component("total", one.total, intervals.total, None),
        _component("total, upper limit", one.total, intervals.total_upper, None),
    ]
    icc = intervals.icc
    if icc is not None:
        rows.append(
            (
                "share between locations",
                fixed(one.icc, 4),
                interval(icc.lower, icc.upper, 4),
                "",
                MISSING,
                icc.method,
            )
        )
    notes = [f"n0 = {short(one.n0, 5)} results per location."]
    if one.between_raw < 0:
        notes.append(
            f"The moment estimate between locations is {short(one.between_raw)}, which is negative "
            "and reported as zero."
        )
    return table(
        [
            ("component", 0.24, "left"),
            ("variance", 0.11, "right"),
            (f"{percent} interval", 0.19, "right"),
            ("as SD", 0.15, "right"),
            ("REML", 0.1, "right"),
            ("interval's method", 0.21, "left"),
        ],
        rows,
        note=" ".join(["Variances in (% of target) squared.", *notes]),
    )


def _component(name: str, variance: float, limits: Interval, reml: float | None) -> tuple[str, ...]:
    low = None if limits.lower is None else limits.lower**0.5
    sd = f"{fixed(variance**0.5)} ({interval(low, limits.upper**0.5)})"
    bounds = interval(limits.lower, limits.upper, 3)
    return name, fixed(variance, 3), bounds, sd, fixed(reml, 3), limits.method


def _nested(analysis: Nested) -> Block:
    rows = [
        (
            level.name,
            str(level.nodes),
            str(level.df),
            short(level.ms, 5),
            short(level.f, 4) if level.f is not None else "",
            p_value(level.p) if level.p is not None else "",
            fixed(level.variance, 3),
            interval(level.interval.lower, level.interval.upper, 3) if level.interval else MISSING,
        )
        for level in analysis.levels
    ]
    order = " > ".join(level.name for level in analysis.levels)
    return table(
        [
            ("nested level", 0.2, "left"),
            ("groups", 0.1, "right"),
            ("df", 0.08, "right"),
            ("mean square", 0.14, "right"),
            ("F", 0.1, "right"),
            ("p", 0.12, "right"),
            ("variance", 0.1, "right"),
            ("95 % interval", 0.16, "right"),
        ],
        rows,
        note=f"Nested analysis of variance, {order}"
        + ("." if analysis.balanced else "; unequal numbers, so the F tests are approximate."),
    )
