"""How the numbers of a report were computed, step by step, so that they can be checked by hand.

Every row gives a name, a formula and a value. A row uses only the assays in the table of all vials,
the rows above it, and tabulated quantiles, which are printed too.
"""

from collections.abc import Iterator, Sequence
from math import sqrt

from assistant.evaluation.acceptance_value import K_STAGE, acceptance_value
from assistant.evaluation.descriptive import summarise
from assistant.evaluation.e2810 import Bound, av_probability, pass_bound, units_probability
from assistant.evaluation.intervals import mean_squares
from assistant.evaluation.quantiles import chi2_quantile, normal_quantile, t_quantile
from assistant.evaluation.results import Result, assays, first_of_each_spot
from assistant.evaluation.variance import OneWay
from assistant.report.document_model import Block, Heading, Text, table
from assistant.report.evaluation_run import Case
from assistant.report.formatting import fixed

DECIMALS = 4
"""Decimals of every value here; limits have at most three."""

Row = tuple[str, str, str]


def computed(case: Case) -> Iterator[Block]:
    """The page that shows the computation."""
    study = case.study
    firsts = first_of_each_spot(study.results)
    yield Heading("How it was computed", new_page=True)
    yield Text(
        "Each value with its formula, to four decimals, from the assays in the table of every "
        "vial. chi2(p; df), t(p; df) and z(p) are the quantiles at probability p of the "
        "chi-squared, Student's t and standard normal distributions.",
        "small",
    )
    yield steps("Results used", _samples(study.results, firsts))
    if len(firsts) in K_STAGE:
        rows = _acceptance_value("1", firsts, study.options.demand.target)
        if len(study.results) in K_STAGE and len(study.results) > len(firsts):
            rows = [*rows, *_acceptance_value("2", study.results, study.options.demand.target)]
        yield steps("Acceptance value (USP <905>)", rows)
    if study.components is not None:
        yield steps("Components of variance", components_of(study.components.table))
    one = study.components.table if study.components is not None else None
    for bound in study.bounds:
        name = f"Acceptance limit, plan {bound.plan} (method of Bergum; ASTM E2709/E2810)"
        yield steps(name, limit_of(bound, len(firsts), one))


def steps(name: str, rows: Sequence[Row]) -> Block:
    """A table of steps with their formulas."""
    return table([(name, 0.3, "left"), ("formula", 0.54, "left"), ("value", 0.16, "right")], rows)


def _samples(results: Sequence[Result], firsts: Sequence[Result]) -> list[Row]:
    everything = len(results) > len(firsts)
    vials = ", ".join(result.vial for result in firsts)
    rows = [("stage 1 vials", f"lowest position of every spot: {vials}", str(len(firsts)))]
    rows += sample("stage 1", assays(firsts))
    return [*rows, *sample("all", assays(results))] if everything else rows


def sample(name: str, values: Sequence[float]) -> list[Row]:
    """Mean and spread of a set of results."""
    found = summarise(values)
    squares = (found.sd or 0.0) ** 2 * (found.n - 1)
    return [
        (f"{name} mean", f"sum of {found.n} assays / {found.n}", figure(found.mean)),
        (f"{name} Q", "sum of (assay - mean)²", figure(squares)),
        (f"{name} SD", f"root of Q / ({found.n} - 1)", figure(found.sd)),
        (f"{name} RSD, %", "100 SD / mean", figure(found.rsd)),
    ]


def _acceptance_value(stage: str, results: Sequence[Result], target: float) -> list[Row]:
    found = summarise([result.assay for result in results])
    av = acceptance_value(found.mean, found.sd or 0.0, found.n, target)
    mean = "stage 1" if stage == "1" else "all"
    rows = [
        (
            f"M{stage}",
            f"{mean} mean, cut to 98.5 and {max(101.5, target):g}",
            figure(av.reference),
        ),
        (f"k{stage}", f"for {found.n} results", f"{av.k:.1f}"),
        (f"AV{stage}", f"|M{stage} - {mean} mean| + k{stage} x {mean} SD", figure(av.value)),
    ]
    if stage == "2":
        rows += [
            ("lowest allowed", "0.75 M2", figure(av.unit_low)),
            ("highest allowed", "1.25 M2", figure(av.unit_high)),
        ]
    return rows


def components_of(one: OneWay) -> list[Row]:
    """The analysis of variance and its components."""
    a, n = len(one.sizes), one.total_n
    return [
        ("SSW", "sum of (assay - mean of its spot)²", figure(one.ss_within)),
        ("SSB", "all Q - SSW", figure(one.ss_between)),
        ("MSW", f"SSW / ({n} - {a})", figure(one.ms_within)),
        ("MSB", f"SSB / ({a} - 1)", figure(one.ms_between)),
        ("n0", f"[N - sum(n²)/N] / (a - 1), N = {n}, a = {a}", figure(one.n0)),
        ("variance within", "MSW", figure(one.within)),
        ("variance between", "(MSB - MSW) / n0, not below 0", figure(one.between)),
        ("SD within", "root of variance within", figure(sqrt(one.within))),
        ("SD between", "root of variance between", figure(sqrt(one.between))),
    ]


def limit_of(bound: Bound, n: int, one: OneWay | None) -> list[Row]:
    """An acceptance limit: its confidence region and the probability at the corners.

    Args:
        bound: of plan 1 or 2.
        n: number of results of stage 1.
        one: the analysis of variance, without which plan 2 does not exist.
    """
    rows = _plan_1(bound, n) if bound.plan == 1 or one is None else _plan_2(bound, one)
    return [*rows, *_corners(bound)]


def _plan_1(bound: Bound, n: int) -> list[Row]:
    side = sqrt(bound.demand.confidence)
    return [
        ("c", f"root of the confidence {bound.demand.confidence:g}", figure(side)),
        ("chi2", f"chi2(1 - c; {n} - 1)", figure(float(chi2_quantile(1 - side, n - 1)))),
        ("sigma U", f"stage 1 SD x root of ({n} - 1) / chi2", figure(bound.sigma_upper)),
        ("z", "z((1 + c) / 2)", figure(float(normal_quantile((1 + side) / 2)))),
        ("mean low", f"stage 1 mean - z x sigma U / root of {n}", figure(bound.mean_low)),
        ("mean high", f"stage 1 mean + z x sigma U / root of {n}", figure(bound.mean_high)),
        (
            "SD limit",
            f"largest stage 1 SD at this mean with P at least {bound.demand.coverage:g} (search)",
            figure(bound.sd_limit),
        ),
    ]


def _plan_2(bound: Bound, one: OneWay) -> list[Row]:
    squares = mean_squares(one)
    layout, side = squares.layout, sqrt(bound.demand.confidence)
    a = layout.df_between + 1
    h1, h2 = (
        df / float(chi2_quantile(1 - side, df)) - 1 for df in (layout.df_between, layout.df_within)
    )
    square = "MSB" if not squares.approximate else "MSB of the unweighted location means"
    return [
        ("c", f"root of the confidence {bound.demand.confidence:g}", figure(side)),
        ("n", "results a location (harmonic mean)", figure(layout.replicates)),
        ("B", f"{square} / n", figure(squares.between / layout.replicates)),
        ("W", "(1 - 1/n) MSW", figure((1 - 1 / layout.replicates) * squares.within)),
        ("H1", f"{a - 1} / chi2(1 - c; {a - 1}) - 1", figure(h1)),
        ("H2", f"{layout.df_within} / chi2(1 - c; {layout.df_within}) - 1", figure(h2)),
        (
            "sigma U",
            "root of [B + W + root of ((H1 B)² + (H2 W)²)]",
            figure(bound.sigma_upper),
        ),
        ("t", f"t((1 + c) / 2; {a - 1})", figure(float(t_quantile((1 + side) / 2, a - 1)))),
        (
            "mean low",
            f"mean of the location means - t x root of (B / {a})",
            figure(bound.mean_low),
        ),
        (
            "mean high",
            f"mean of the location means + t x root of (B / {a})",
            figure(bound.mean_high),
        ),
    ]


def _corners(bound: Bound) -> list[Row]:
    """The probability of passing at both corners of the confidence region."""
    rows = []
    sigma, target = bound.sigma_upper, bound.demand.target
    high = max(101.5, target)
    windows = f"F(1.25 x 98.5) - F(0.75 x {high:g}), to the power of 30; F: normal"
    for name, mean in (("low", bound.mean_low), ("high", bound.mean_high)):
        first, second = (float(av_probability(mean, sigma, n, target)) for n in (10, 30))
        units = float(units_probability(mean, sigma, target))
        rows += [
            (f"S1 {name}", f"P(AV of 10 at most 15) at mean {name}, sigma U", figure(first)),
            (f"S2 {name}", f"P(AV of 30 at most 15) at mean {name}, sigma U", figure(second)),
            (f"U {name}", f"{windows} at mean {name}, sigma U", figure(units)),
            (
                f"P {name}",
                f"the larger of S1 {name} and S2 {name} + U {name} - 1",
                figure(float(pass_bound(mean, sigma, target))),
            ),
        ]
    return [*rows, ("P", "the smaller of P low and P high", figure(bound.probability))]


def figure(value: float | None) -> str:
    """A value of a step."""
    return fixed(value, DECIMALS)
