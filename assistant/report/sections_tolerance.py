"""The section of an evaluation report on tolerance limits of the batch, where asked for."""

from collections.abc import Iterator

from assistant.evaluation.intervals import mean_squares
from assistant.evaluation.quantiles import chi2_quantile
from assistant.evaluation.results import has_ports
from assistant.evaluation.tolerance import Tolerance
from assistant.evaluation.variance import OneWay
from assistant.report.document_model import Block, Heading, Text, table
from assistant.report.evaluation_run import Case
from assistant.report.formatting import fixed
from assistant.report.sections_computed import DECIMALS
from assistant.report.sections_results import MORE_THAN_ONE, spread_of

Row = tuple[str, str, str]

_MODEL = (
    "Method: Hoffman & Kringle 2005 for the interval, Hoffman 2010 for the one-sided limits, both "
    "taken from public code that names the papers. In simulated studies of this model (2 to 40 "
    "locations with 2 to 20 results each) the two-sided interval fell short of its confidence "
    "level by at most 1.1 percentage points, and the one-sided limits did not fall short by more "
    "than the error of the simulation."
)
_SAMPLE = "Method: the exact factors of a normal sample, one result for each location."
_NOT_SHOWN = (
    "Not shown: the locations were chosen by the plan and not drawn at random, so a part of the "
    "batch that differs and that no port reached is not covered. A bias of the sampler or of the "
    "analytical method moves the limits with it. The limits are those of samples as taken and "
    "assayed here: the spread of sampling and method is part of them."
)


def tolerance(case: Case) -> Iterator[Block]:
    """Limits, how they were computed, what they assume and what they do not show."""
    found = case.tolerance
    if found is None:
        return
    yield Heading("Tolerance interval for the batch")
    yield Text(_meaning(found))
    if found.lower == found.upper:
        yield Text(
            "All results are equal, so no spread can be estimated and the limits have no width: "
            "they say nothing about the batch.",
            "warning",
        )
    yield _limits(found)
    components = case.study.components
    rows = (
        _sample_steps(case, found)
        if components is None
        else _component_steps(components.table, found)
    )
    if found.lower < found.upper:
        yield table(
            [("step", 0.16, "left"), ("formula", 0.68, "left"), ("value", 0.16, "right")], rows
        )
    yield Text(_assumed(case, found), "small")
    yield Text(_not_shown(case), "small")


def _meaning(found: Tolerance) -> str:
    proportion, confidence = (
        f"{100.0 * level:g} %" for level in (found.asked.proportion, found.asked.confidence)
    )
    return (
        f"At a confidence level of {confidence}, at least {proportion} of the results that further "
        "samples of this kind from this batch would give lie inside the two-sided interval, if "
        f"the assumptions below hold. Each one-sided limit has at least {proportion} on its "
        "side, at the same confidence level, when it is used alone. No criterion uses these "
        "limits, and the verdict does not depend on them."
    )


def _limits(found: Tolerance) -> Block:
    return table(
        [("limits", 0.4, "left"), ("lower", 0.3, "right"), ("upper", 0.3, "right")],
        [
            (f"two-sided interval {found.asked.name}", fixed(found.lower), fixed(found.upper)),
            ("lower limit alone", fixed(found.lower_alone), ""),
            ("upper limit alone", "", fixed(found.upper_alone)),
        ],
        note=f"In % of target. P is the proportion, C the confidence level. Mean {_figure(found)}.",
    )


def _figure(found: Tolerance) -> str:
    of_means = " (of the location means, unweighted)" if found.approximate else ""
    return f"{fixed(found.mean, DECIMALS)}{of_means}"


def _sample_steps(case: Case, found: Tolerance) -> list[Row]:
    n = case.study.summary.n
    k2, k1 = found.factors or (None, None)
    return [
        ("SD", f"standard deviation of the {n} results", fixed(found.sd, DECIMALS)),
        ("k2", f"exact two-sided factor for {n} results", fixed(k2, DECIMALS)),
        ("k1", f"exact one-sided factor for {n} results", fixed(k1, DECIMALS)),
        ("two-sided", "mean -/+ k2 x SD", _half(found)),
        ("one-sided", "mean -/+ k1 x SD", _reach(found)),
    ]


def _component_steps(one: OneWay, found: Tolerance) -> list[Row]:
    squares = mean_squares(one)
    layout, alpha = squares.layout, 1.0 - found.asked.confidence
    h1, h2 = (
        (df, df / float(chi2_quantile(alpha, df)) - 1.0)
        for df in (layout.df_between, layout.df_within)
    )
    square = "MSB of the unweighted location means" if squares.approximate else "MSB"
    between = squares.between / layout.replicates
    within = (1.0 - 1.0 / layout.replicates) * squares.within
    figures = (
        ("n", "results a location (harmonic mean)", layout.replicates),
        ("B", f"{square} / n", between),
        ("W", "(1 - 1/n) MSW", within),
        ("V", f"B / {layout.df_between + 1} locations", between / (layout.df_between + 1)),
        ("H1", f"{h1[0]} / chi2(1 - C; {h1[0]}) - 1", h1[1]),
        ("H2", f"{h2[0]} / chi2(1 - C; {h2[0]}) - 1", h2[1]),
        ("U", "B + W + root of ((H1 B)² + (H2 W)²)", (found.sigma_upper or 0.0) ** 2),
    )
    return [
        *((name, formula, fixed(value, DECIMALS)) for name, formula, value in figures),
        ("two-sided", "mean -/+ z((1 + P)/2) x root of [(1 + V / (B + W)) U]", _half(found)),
        ("one-sided", "mean -/+ [z(P) x root of U + z(C) x root of V]", _reach(found)),
    ]


def _half(found: Tolerance) -> str:
    return f"-/+ {fixed(found.upper - found.mean, DECIMALS)}"


def _reach(found: Tolerance) -> str:
    return f"-/+ {fixed(found.upper_alone - found.mean, DECIMALS)}"


def _assumed(case: Case, found: Tolerance) -> str:
    simple = found.factors is not None
    said = [
        "Assumed: the locations stand for the batch like a random sample of it;",
        "the results vary normally and independently."
        if simple
        else "location means and the results within a location vary normally and independently, "
        "and the spread within is the same everywhere.",
    ]
    if has_ports(case.study.results):
        said.append("Each port of an insertion is taken as a location of its own.")
    said.append(_SAMPLE if simple else _MODEL)
    if found.approximate:
        said.append(
            "The numbers of results differ here, so the limits are approximate beyond that."
        )
    return " ".join(said)


def _not_shown(case: Case) -> str:
    if case.doses[1] <= MORE_THAN_ONE:
        return _NOT_SHOWN
    return (
        f"{_NOT_SHOWN} The samples hold {spread_of(case.doses)} unit doses; single doses vary more."
    )
