"""The sections of an evaluation report that show results and statistics."""

from collections.abc import Iterable, Iterator, Sequence

from assistant.evaluation.descriptive import Summary
from assistant.evaluation.results import by_spot, has_ports
from assistant.evaluation.schemes import Outcome
from assistant.evaluation.trends import Trend
from assistant.report.document_model import Block, Heading, Picture, Table, Text, table
from assistant.report.evaluation_run import Case, axis_estimate
from assistant.report.formatting import (
    beside,
    common_decimals,
    fixed,
    interval,
    limit,
    p_value,
    share,
    short,
)

_MET = {True: "yes", False: "NO"}


def locations(case: Case) -> Iterator[Block]:
    """All individuals, and the statistics of each location."""
    from assistant.report import plots  # noqa: PLC0415 - loads matplotlib

    summary = case.study.summary
    yield Heading("Results by location")
    yield Picture(
        draw=lambda: plots.locations(case),
        caption="Every result, by shaft position (marker) and location; filled if affected "
        "by a deviation. Grey: overall mean ± 2 SD. Dashed: overall mean ± 10 % of target, the "
        "distance that the draft of 2003 (withdrawn) allowed.",
        describes=f"Results by location around the mean of {fixed(summary.mean)} % of target.",
        height_in=plots.LOCATIONS_IN,
    )
    yield _location_table(case)


def _location_table(case: Case) -> Block:
    study = case.study
    groups = list(by_spot(study.results).values())
    places = common_decimals([result.assay for result in study.results])
    rows = [
        _summary(
            spot.name,
            spot.summary,
            ", ".join(f"{fixed(r.assay, places)} ({r.vial})" for r in members),
        )
        for spot, members in zip(study.spots, groups, strict=True)
    ]
    away = f"largest distance from the mean {fixed(study.summary.largest_deviation)}"
    rows.append(_summary("all", study.summary, away))
    return table(
        [
            ("location", 0.13, "left"),
            ("n", 0.05, "right"),
            ("mean", 0.08, "right"),
            ("SD", 0.07, "right"),
            ("RSD, %", 0.08, "right"),
            ("lowest", 0.08, "right"),
            ("highest", 0.08, "right"),
            ("results (vial)", 0.43, "left"),
        ],
        rows,
        bold=[len(rows) - 1],
        note="In % of target; SD with n - 1 in the divisor. " + " ".join(study.notes),
    )


def _summary(name: str, summary: Summary, last: str) -> tuple[str, ...]:
    return (
        name,
        str(summary.n),
        fixed(summary.mean),
        fixed(summary.sd),
        fixed(summary.rsd),
        fixed(summary.low),
        fixed(summary.high),
        last,
    )


def schemes(case: Case) -> Iterator[Block]:
    """Every scheme with its criteria, its source and its status."""
    yield Heading("Acceptance schemes")
    ordered = sorted(case.study.outcomes, key=lambda o: o.scheme.key != case.request.scheme)
    yield scheme_table(
        [(outcome, outcome.scheme.key == case.request.scheme) for outcome in ordered],
        note="Limits are inclusive. The first scheme is the one requested and gives the "
        "verdict; the others are shown for comparison.",
    )
    yield table(
        [
            ("scheme", 0.17, "left"),
            ("source", 0.35, "left"),
            ("status", 0.28, "left"),
            ("rounding", 0.2, "left"),
        ],
        [(o.scheme.key, o.scheme.source, o.scheme.status, o.scheme.rounding) for o in ordered],
        note="Meeting an acceptance limit is not passing <905>: it assumes normal results and "
        "says nothing of a loss of content during shelf life (E2810-19, 4.4).",
    )
    if case.doses[1] > MORE_THAN_ONE:
        yield Text(_doses(case), "warning")
    yield Text(_FDA, "small")


def spread_of(doses: tuple[float, float]) -> str:
    """Unit doses in a sample, in words."""
    low, high = fixed(doses[0]), fixed(doses[1])
    return low if low == high else f"{low} to {high}"


def _doses(case: Case) -> str:
    low, high = case.doses
    factor = (low * high) ** 0.25  # root of the geometric mean of the multiples
    return (
        f"The samples hold {spread_of(case.doses)} unit doses. A larger sample averages out what "
        "differs inside it, so the spread here is a lower limit for that of single doses. In a "
        f"perfect random mixture single doses would vary about {factor:.2f} times as much (the "
        "root of the multiple); how much more they vary in a real blend, where particles cling "
        "or segregate, depends on the blend. Nothing was scaled: no published rule for it is known "
        "to this program."
    )


MORE_THAN_ONE = 1.1
"""Unit doses in a sample above which the report warns; this program's choice."""

_FDA = (
    "What the FDA answered after withdrawing the draft (Questions and Answers on CGMP, production "
    "and process controls): the draft had one of three replicates assayed, and the agency now "
    "recommends to evaluate all of them, so that the analysis can demonstrate that variability by "
    "location is not significant. Section VII took its limits from USP <905>, which is no "
    "statistical sampling plan: its results should not be extrapolated to a larger population. "
    "21 CFR 211.110(a)(3) asks for control procedures on the adequacy of mixing; (b) asks that "
    "in-process specifications agree with the final ones and rest on process average and "
    "variability where possible, and on suitable statistical procedures where appropriate."
)


def scheme_table(outcomes: Iterable[tuple[Outcome, bool]], note: str) -> Table:
    """Schemes with their criteria.

    Args:
        outcomes: each scheme, and whether it gives the verdict.
        note: text below the table.
    """
    rows: list[tuple[str, ...]] = []
    bold: list[int] = []
    for outcome, leads in outcomes:
        bold.append(len(rows))
        rows.extend(_scheme_rows(outcome, leads=leads))
    return table(
        [
            ("scheme and criteria", 0.6, "left"),
            ("found", 0.12, "right"),
            ("limit", 0.1, "right"),
            ("met", 0.18, "left"),
        ],
        rows,
        bold=bold,
        grouped=True,
        note=note,
    )


def _scheme_rows(outcome: Outcome, *, leads: bool) -> Iterator[tuple[str, ...]]:
    """A scheme with its criteria and what it asks for beyond them."""
    title = f"{outcome.scheme.title} ({outcome.scheme.key})"
    yield (f"{title}, gives the verdict" if leads else title), "", "", outcome.verdict.value
    for criterion in outcome.criteria:
        found = beside(criterion.value, criterion.limit)
        yield criterion.text, found, limit(criterion.limit), _MET[criterion.met]
    yield outcome.sentence, "", "", ""
    for lacking in outcome.shortfalls:
        yield f"short of the usual design: {lacking}", "", "", ""


def sampler(case: Case) -> Iterator[Block]:
    """The assay against mass, depth, position, order and time open."""
    from assistant.report import plots  # noqa: PLC0415 - loads matplotlib

    yield Heading("Sampling bias checks")
    found = case.study.trends
    if not found:
        yield Text("No known sampling factor varies, so nothing can be compared.")
        return
    if all(trend.factor != "sample mass" for trend in found):
        yield Text(
            "No sample masses are known, or they do not vary: the assay cannot be compared with "
            "the mass. Weigh the vials, or give a mass column in the laboratory's sheet."
        )
    yield Picture(
        draw=lambda: plots.sampling_bias_checks(case),
        caption="The assay against how each sample was taken; markers are the shaft positions as "
        "above. The line has the slope of the table, drawn through the mean.",
        describes="; ".join(f"{t.factor}: r = {fixed(t.r)}" for t in found),
        height_in=plots.sampler_in(case),
    )
    yield table(
        [
            ("factor", 0.14, "left"),
            ("compared among", 0.19, "left"),
            ("n", 0.05, "right"),
            ("slope per unit", 0.11, "right"),
            ("over its range", 0.1, "right"),
            ("r (95 % interval)", 0.18, "right"),
            ("rank r", 0.07, "right"),
            ("p", 0.08, "right"),
            ("p, Holm", 0.08, "right"),
        ],
        [_trend(trend) for trend in found],
        note="Slopes in % of target; units: mass mg, depth mm, time s. A factor is compared at the "
        "finest level on which it varies, so that a difference between places cannot appear as a "
        "trend. Holm: adjusted over the factors of this table.",
    )


def _trend(trend: Trend) -> tuple[str, ...]:
    return (
        trend.factor,
        trend.basis,
        str(trend.n),
        short(trend.slope, 3),
        fixed(trend.effect),
        f"{fixed(trend.r)} ({interval(trend.r_low, trend.r_high)})"
        if trend.r_low is not None
        else fixed(trend.r),
        fixed(trend.rank_r),
        p_value(trend.p),
        p_value(trend.p_adjusted),
    )


def curve(case: Case) -> Iterator[Block]:
    """How often would a blend of a given quality meet each scheme?"""
    from assistant.report import plots  # noqa: PLC0415 - loads matplotlib

    found, estimate = case.curve, axis_estimate(case.study)
    yield Heading("How often would such a blend meet the criteria?")
    places = "spots" if has_ports(case.study.results) else "locations"
    replicated = case.study.components is not None
    spread = (
        f"within locations {fixed(case.within_sd)} % of target, as estimated here; grey: interval "
        "of the SD between locations"
        if replicated
        else "one result per location"
    )
    yield Picture(
        draw=lambda: plots.curve(case),
        caption=f"Operating characteristics of {found.design.locations} {places} x "
        f"{found.design.replicates}, true mean {fixed(found.mean)}; {spread}. Vertical line: this "
        f"study's estimate, {fixed(estimate)} % of target. {found.trials} simulated studies a "
        f"point, seed {found.seed}.",
        describes="Probability of meeting each scheme, falling as the standard deviation rises.",
        height_in=plots.CURVE_IN,
    )
    yield table(
        [
            ("scheme", 0.5, "left"),
            ("probability at this estimate", 0.25, "right"),
            ("Monte-Carlo error (one SE)", 0.25, "right"),
        ],
        _at_estimate(case, estimate),
        note="Between simulated points the probability is interpolated linearly. Criteria with "
        "similar curves give similar verdicts. Where a curve is steep, a study of this size "
        "discriminates well; where it is flat, it hardly distinguishes between blends.",
    )


def _at_estimate(case: Case, estimate: float) -> Sequence[Sequence[str]]:
    import numpy as np  # noqa: PLC0415 - only here

    found = case.curve
    rows = []
    for name, probability in found.probability.items():
        at = float(np.interp(estimate, found.between_sd, probability))
        error = float(np.interp(estimate, found.between_sd, found.standard_error(name)))
        rows.append((name, share(at), f"{fixed(100 * error, 1)} %"))
    return rows


def screening(case: Case) -> Iterator[Block]:
    """Normality and the farthest value, as information."""
    study = case.study
    yield Heading("Screening, for information only")
    lines = []
    for what, found in (
        ("all results", study.normality_of_all),
        ("distances from the location means", study.normality_within),
    ):
        if found is not None:
            lines.append(
                f"Normality of {what} (Shapiro-Wilk): W = {fixed(found.w, 4)}, p = "
                f"{p_value(found.p)}, n = {found.n}."
            )
    far = study.farthest
    if far is not None:
        vial = study.results[far.index].vial
        word = "is an outlier" if far.suspect else "is not an outlier"
        lines.append(
            f"Farthest from the mean: vial {vial} with {short(far.value, 5)} % of target, Grubbs' "
            f"G = {fixed(far.g)} against {fixed(far.critical)}: it {word} at {far.alpha:g}."
        )
    if not lines:
        lines.append("There are too few different results to screen.")
    yield Text(" ".join(lines))
    yield Text("Nothing was left out of the statistics because of these tests.", "small")
