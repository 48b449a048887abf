"""Comparison of the batches of a campaign, and its report."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from assistant.evaluation.batch_trends import BatchTrend, batch_trends
from assistant.evaluation.campaign import (
    CHART_RISK,
    Batch,
    BatchFigures,
    Campaign,
    Chart,
    compare,
)
from assistant.evaluation.trends import holm
from assistant.journal.head_code import head_code
from assistant.report.document_model import (
    Block,
    Document,
    Facts,
    Heading,
    Picture,
    Text,
    Verdict,
    table,
)
from assistant.report.evaluation_run import Laboratory, joined_of, made_up
from assistant.report.formatting import fixed, listed, made_up_mark, moment, p_value, short
from assistant.report.sections import in_short
from assistant.report.vial_records import RecordStudy

_MEANS = "one-way analysis of the location means"


@dataclass(frozen=True, slots=True)
class Member:
    """One batch of a campaign."""

    record: RecordStudy
    laboratory: Laboratory
    problems: tuple[str, ...] = ()
    """Vials excluded by a partial evaluation."""


@dataclass(frozen=True, slots=True)
class Question:
    """One test for a difference between batches."""

    about: str
    name: str
    statistic: float | None
    df: tuple[int, int]
    p: float | None
    """None if the test cannot be made."""
    adjusted: float | None
    """p after Holm's adjustment over all tests."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """A campaign, compared and ready to be reported."""

    members: tuple[Member, ...]
    campaign: Campaign
    significance: float
    software: str

    @property
    def made_up(self) -> tuple[str, ...]:
        """Simulated inputs of any batch."""
        found = (what for one in self.members for what in made_up(one.record, one.laboratory))
        return tuple(dict.fromkeys(found))

    @property
    def questions(self) -> tuple[Question, ...]:
        """Every test made, with p adjusted over all of them."""
        means = self.campaign.means
        found = [("means", _MEANS, means.f, (means.df_between, means.df_within), means.p)]
        found += [
            ("spread", test.name, test.statistic, (test.df_between, test.df_within), test.p)
            for test in self.campaign.spread
        ]
        adjusted = iter(holm([p for *_, p in found if p is not None]))
        return tuple(
            Question(about, name, f, df, p, None if p is None else next(adjusted))
            for about, name, f, df, p in found
        )

    @property
    def differences(self) -> tuple[str, ...]:
        """Differences between the batches: tests with a small adjusted p, in words."""
        told = [
            f"{one.about} differ ({one.name}, p = {p_value(one.adjusted)})"
            for one in self.questions
            if one.adjusted is not None and one.adjusted <= self.significance
        ]
        if self.campaign.means.p is None and self.campaign.means.ms_between > 0:
            told.append("means differ, with no spread inside the batches")
        return tuple(told)

    @property
    def remarkable(self) -> tuple[str, ...]:
        """Points beyond the limits of a chart, in words; an indication, not a test."""
        return tuple(
            f"{chart.name}: {listed(chart.outside)}"
            for chart in self.campaign.charts
            if chart.outside
        )

    @property
    def trends(self) -> tuple[BatchTrend, ...]:
        """Trends over the blending of the batches, as far as their plans state it."""
        blendings = [member.record.plan.blending for member in self.members]
        return batch_trends(
            self.campaign.batches,
            {
                ("blending time", "min"): [
                    one.minutes if one is not None else None for one in blendings
                ],
                ("revolutions", "revolution"): [
                    one.revolutions if one is not None else None for one in blendings
                ],
            },
        )

    @property
    def alike(self) -> bool:
        """Whether no test shows a difference."""
        return not self.differences


def make_comparison(
    pairs: Sequence[tuple[RecordStudy, Laboratory]],
    *,
    partial: bool,
    significance: float,
    software: str,
) -> Comparison:
    """Join every record with its assays and compare the batches.

    Args:
        pairs: records with their sheets, in the order of the campaign.
        partial: as for one evaluation.
        significance: largest adjusted p-value that counts as a difference, 0 to 1.
        software: name and version of this program.

    Raises:
        InputError: fewer than two batches, a repeated batch, or one that cannot be evaluated.
    """
    members, batches = [], []
    for record, laboratory in pairs:
        joined = joined_of(record, laboratory, partial=partial)
        members.append(Member(record, laboratory, joined.problems))
        batches.append(Batch(record.plan.study.batch, joined.results))
    return Comparison(tuple(members), compare(batches), significance, software)


def document(comparison: Comparison) -> Document:
    """The report of a campaign."""
    names = [member.record.plan.study.batch for member in comparison.members]
    products = dict.fromkeys(m.record.plan.study.product for m in comparison.members)
    return Document(
        title="Comparison of batches",
        subtitle=f"{listed(list(products), 3)} | batches {listed(names, 6)}",
        blocks=(
            verdict(comparison),
            *_batches(comparison),
            *_pictures(comparison),
            *_tests(comparison),
            *_trends(comparison),
            *_inputs(comparison),
        ),
        footer=f"{len(names)} batches | {comparison.software}",
        utc=max(member.record.last.utc for member in comparison.members),
        mark=made_up_mark(comparison.made_up),
    )


def verdict(comparison: Comparison) -> Verdict:
    """The answer: whether the batches differ."""
    count = len(comparison.members)
    found = "; ".join(comparison.differences)
    level = f"{comparison.significance:g}"
    return Verdict(
        met=comparison.alike,
        line="NO DIFFERENCE BETWEEN THE BATCHES FOUND"
        if comparison.alike
        else "THE BATCHES DIFFER",
        sentence=(
            f"{count} batches: no adjusted p-value is {level} or less. With few batches only "
            "a large difference can be detected."
            if comparison.alike
            else f"{count} batches: {found}."
        ),
        asides=tuple(
            f"Beyond the limits of a control chart, {each}. Look for the cause."
            for each in comparison.remarkable
        )
        + tuple(
            f"Over the batches the {trend.figure} changes with {trend.factor}: "
            f"{_change(trend)} over {trend.span:g} {trend.unit}, p = {p_value(trend.p_adjusted)}."
            for trend in comparison.trends
            if trend.p_adjusted <= comparison.significance
        )
        + tuple(
            f"Partial, as asked for: batch {member.record.plan.study.batch}, vials "
            f"{in_short(member.problems)}."
            for member in comparison.members
            if member.problems
        ),
    )


def _batches(comparison: Comparison) -> Iterator[Block]:
    yield Heading("The batches")
    yield table(
        [
            ("batch", 0.18, "left"),
            ("n", 0.06, "right"),
            ("locations", 0.1, "right"),
            ("mean", 0.09, "right"),
            ("SD", 0.08, "right"),
            ("RSD, %", 0.08, "right"),
            ("lowest", 0.09, "right"),
            ("highest", 0.09, "right"),
            ("SD between", 0.11, "right"),
            ("SD within", 0.11, "right"),
        ],
        [_batch(figures) for figures in comparison.campaign.batches],
        note="In % of target. Between and within: locations of one batch, from its own analysis "
        "of variance.",
    )


def _batch(figures: BatchFigures) -> tuple[str, ...]:
    summary, one = figures.summary, figures.table
    return (
        figures.name,
        str(summary.n),
        str(len(figures.location_means)),
        fixed(summary.mean),
        fixed(summary.sd),
        fixed(summary.rsd),
        fixed(summary.low),
        fixed(summary.high),
        fixed(one.between**0.5 if one else None),
        fixed(one.residual_sd if one else None),
    )


def _pictures(comparison: Comparison) -> Iterator[Block]:
    from assistant.report import plot_campaign as plots  # noqa: PLC0415 - loads matplotlib

    campaign = comparison.campaign
    yield Heading("Location means of every batch")
    yield Picture(
        draw=lambda: plots.batches(campaign),
        caption="Circles: location means; bar: mean of the batch. In % of target.",
        describes="; ".join(f"{b.name}: mean {fixed(b.summary.mean)}" for b in campaign.batches),
        height_in=plots.BATCHES_IN,
    )
    yield Heading("Control charts")
    yield Picture(
        draw=lambda: plots.charts(campaign),
        caption="Batches in the order given. Solid: centre; dashed: limits. A point beyond its "
        "limits is filled.",
        describes="; ".join(_described(chart) for chart in campaign.charts),
        height_in=plots.CHARTS_IN,
    )
    yield Text(
        "Each chart takes locations, not vials, as independent. Limits are exact for identical "
        f"normal batches: one point lies beyond them with a probability of {100 * CHART_RISK:g} %, "
        "as with three-sigma limits (Student's t for means, the beta distribution for SDs). A "
        "point beyond its limits is a reason to look for a cause; the verdict is by the tests.",
        "small",
    )


def _described(chart: Chart) -> str:
    return f"{chart.name}: beyond the limits {listed(chart.outside)}"


def _tests(comparison: Comparison) -> Iterator[Block]:
    yield Heading("Tests for a difference")
    asked = comparison.questions
    yield table(
        [
            ("about", 0.12, "left"),
            ("test", 0.42, "left"),
            ("statistic", 0.12, "right"),
            ("df", 0.12, "right"),
            ("p", 0.11, "right"),
            ("p, Holm", 0.11, "right"),
        ],
        [
            (
                one.about,
                one.name,
                short(one.statistic),
                f"{one.df[0]}, {one.df[1]}",
                p_value(one.p),
                p_value(one.adjusted),
            )
            for one in asked
        ],
        note="Locations, not vials, are independent within a batch: means and their spread are "
        "compared by location means (Brown and Forsythe: distances from the median), the spread "
        "within locations by the standard deviation at each spot. Holm: adjusted over this table.",
    )
    yield Text(
        "Significant is not large: batches may differ beyond chance by an amount that does not "
        "matter, and a difference that matters may hide in few results.",
        "small",
    )


def _trends(comparison: Comparison) -> Iterator[Block]:
    found = comparison.trends
    if not found:
        return
    yield Heading("Blending time and revolutions")
    yield table(
        [
            ("figure of the batch", 0.28, "left"),
            ("against", 0.2, "left"),
            ("batches", 0.1, "right"),
            ("over its range", 0.2, "right"),
            ("r", 0.08, "right"),
            ("p", 0.07, "right"),
            ("p, Holm", 0.07, "right"),
        ],
        [
            (
                trend.figure,
                f"{trend.factor}, {trend.span:g} {trend.unit}",
                str(trend.n),
                _change(trend),
                fixed(trend.r),
                p_value(trend.p),
                p_value(trend.p_adjusted),
            )
            for trend in found
        ],
        note="From the plans. Each batch counts once: the mean of its location means, and the "
        "logarithm of their SD, by linear regression with batches - 2 degrees of freedom. "
        "Batches may differ in more than their blending. Not part of the verdict.",
    )


def _change(trend: BatchTrend) -> str:
    if trend.logarithm:
        return f"SD x {fixed(trend.effect)}"
    return f"{fixed(trend.effect)} % of target"


def _inputs(comparison: Comparison) -> Iterator[Block]:
    yield Heading("Records and inputs")
    for member in comparison.members:
        record, laboratory = member.record, member.laboratory
        head = head_code(record.last.seq, record.last.hash).text
        yield Facts(
            (
                ("batch", f"{record.plan.study.batch}, {record.plan.study.protocol}"),
                ("session", f"{moment(record.first.utc)} to {moment(record.last.utc)}"),
                ("record", f"head code {head}, SHA-256 {record.last.hash}"),
                ("plan SHA-256", record.opened.plan_sha256),
                ("assays SHA-256", f"{laboratory.sha256} ({laboratory.sheet.name})"),
            )
        )
