"""The sections of an evaluation report on the dosage units made of the blend, where there are."""

from collections.abc import Iterator

from assistant.evaluation.blend_to_units import BlendToUnits
from assistant.evaluation.dosage_unit_study import UnitStudy
from assistant.evaluation.schemes import Outcome
from assistant.report.document_model import Block, Heading, Picture, Text, Verdict, table
from assistant.report.evaluation_run import Case
from assistant.report.formatting import (
    beside,
    common_decimals,
    counted,
    fixed,
    interval,
    spread,
)
from assistant.report.sections_computed import components_of, limit_of, sample, steps
from assistant.report.sections_results import scheme_table


def units_verdict(found: UnitStudy) -> Verdict:
    """The answer for the dosage units in one line, its basis, and its limitations."""
    outcome, summary = found.outcome, found.summary
    met, points = outcome.verdict.met, found.open_points
    line = outcome.verdict.value.upper()
    if met and points:
        line = f"CRITERIA MET, BUT {counted(len(points), 'open point')}"
    sd = f", SD {fixed(summary.sd)}" if summary.sd is not None else ""
    return Verdict(
        met=met,
        line=f"DOSAGE UNITS, STAGE {found.stage}: {line}",
        sentence=f"{outcome.scheme.title} ({outcome.scheme.key}). {outcome.sentence} "
        f"{counted(summary.n, 'unit')} from {counted(len(found.locations), 'location')}: "
        f"mean {fixed(summary.mean)}{sd} % of label claim{_basis(found)}.",
        asides=(
            *(f"Open point {number}: {point}" for number, point in enumerate(points, start=1)),
            *(f"Short of the usual design: {lacking}." for lacking in outcome.shortfalls),
            comparison_sentence(found.comparison),
        ),
    )


def _basis(found: UnitStudy) -> str:
    return ", not weight-corrected" if found.uncorrected else ", weight-corrected"


def comparison_sentence(found: BlendToUnits) -> str:
    """The difference between blend and units in one sentence."""
    if found.bias_low is None:
        error = "no error can be stated, since no location differs from another"
    else:
        percent = f"{100 * found.confidence:g} %"
        error = f"{percent} interval {interval(found.bias_low, found.bias_high)}"
        error += ", beyond chance" if found.biased else ", within chance"
    bias = fixed(found.bias)
    return f"Blend less units, not part of the verdict: {bias} % of label claim ({error})."


def units(case: Case) -> Iterator[Block]:
    """Criteria, comparison with the blend, and every unit."""
    found, sheet = case.units, case.units_laboratory
    if found is None or sheet is None:
        return
    yield Heading("Dosage units made of the blend")
    if not case.outcome.verdict.met:
        yield Text(
            "The blend does not meet its scheme, which therefore does not lead to dosage units; "
            "they are judged all the same.",
            "warning",
        )
    yield Text(_judged(found))
    unused = f" Not used: {', '.join(sheet.sheet.ignored)}." if sheet.sheet.ignored else ""
    yield Text(f"Sheet {sheet.sheet.name}, SHA-256 {sheet.sha256}.{unused}", "small")
    yield _criteria(found)
    yield _picture(case, found)
    yield from _comparison(case, found)
    yield _locations(found)


def _judged(found: UnitStudy) -> str:
    if found.uncorrected:
        return (
            "Judged is the content of each unit as it is, in % of label claim, without correction "
            "for its mass, because the dosage-unit test sees the spread of masses too."
        )
    return (
        "Only weight-corrected contents are known. They are judged for want of others: the spread "
        "of the units' masses is left out, so the dosage-unit test may see more spread than this."
    )


def _criteria(found: UnitStudy) -> Block:
    shown = [(found.outcome, True)]
    if found.stage > 1:
        shown.append((found.stage_1, False))
    return scheme_table(
        shown,
        note="Limits are inclusive. Once several units of a location are assayed, all of them "
        "count, and stage 1 is shown for comparison.",
    )


def _picture(case: Case, found: UnitStudy) -> Block:
    from assistant.report import plot_units  # noqa: PLC0415 - loads matplotlib

    return Picture(
        draw=lambda: plot_units.units(found, case.study.results),
        caption="Squares: blend samples, by spot; circles: dosage units as judged, by location in "
        "the order of the sheet. Lines: the mean of each.",
        describes=f"Dosage units around their mean of {fixed(found.summary.mean)}, blend samples "
        f"around {fixed(case.study.summary.mean)} % of label claim.",
        height_in=plot_units.UNITS_IN,
    )


def _comparison(case: Case, found: UnitStudy) -> Iterator[Block]:
    one = found.comparison
    places = len({result.spot for result in case.study.results})
    yield table(
        [
            ("blend and units", 0.5, "left"),
            ("value", 0.2, "right"),
            ("95 % interval", 0.3, "right"),
        ],
        [
            (f"blend, mean of {places} spots", fixed(one.blend_mean), ""),
            (f"units, mean of {len(found.locations)} locations", fixed(one.units_mean), ""),
            ("bias, blend less units", fixed(one.bias), _limits(one.bias_low, one.bias_high)),
            ("blend, SD of one result a spot", fixed(one.blend_sd), ""),
            ("units, SD of one unit a location", fixed(one.units_sd), ""),
            (
                "ratio of spreads, units over blend",
                fixed(one.ratio),
                _limits(one.ratio_low, one.ratio_high),
            ),
        ],
        note="In % of label claim; "
        + (
            "units weight-corrected, so that the powder is compared. "
            if found.weighed
            else "units not weight-corrected, since they were not weighed: a mean mass off the "
            "intended one appears as bias, and the spread of masses widens that of the units. "
        )
        + "Bias: Welch's interval on the means of spots and locations. Ratio: the ratio of "
        "variances with its interval from F, for normal and independent results. Not part of the "
        "verdict.",
    )
    yield Text(_meaning(one))


def _meaning(one: BlendToUnits) -> str:
    bias = (
        f"The blend samples lie {fixed(abs(one.bias))} % of label claim "
        f"{'above' if one.bias > 0 else 'below'} the units, by more than chance: the sampler or "
        "the assay of either may be biased, or the powder changed on its way."
        if one.biased
        else "The means of blend samples and units do not differ by more than chance."
    )
    return f"{bias} {_spreads(one)}"


def _spreads(one: BlendToUnits) -> str:
    if one.ratio is None:
        return "Their spreads cannot be compared, because one side does not vary."
    if not one.spread_differs:
        return "Their spreads do not differ by more than chance."
    if one.ratio > 1:
        return (
            "The units spread wider, by more than chance: samples larger than a unit average out, "
            "and the powder may separate on its way."
        )
    return (
        "The blend samples spread wider, by more than chance: the sampling may add spread, or the "
        "powder was mixed further on its way."
    )


def _limits(low: float | None, high: float | None) -> str:
    return interval(low, high) if low is not None else ""


def _locations(found: UnitStudy) -> Block:
    values = [value for place in found.locations for value in place.values]
    decimals = max(1, common_decimals(values))
    judged = any(place.pharmacopoeia is not None for place in found.locations)
    rows = [
        (
            place.name,
            str(place.summary.n),
            fixed(place.summary.mean),
            fixed(place.summary.sd),
            ", ".join(fixed(value, decimals) for value in place.values),
            *(_acceptance(place.pharmacopoeia) if judged else ()),
        )
        for place in found.locations
    ]
    sizes = [place.summary.n for place in found.locations]
    note = (
        "AV: acceptance value of 10 or 30 units of one location; it applies to those units alone."
        if judged
        else f"The acceptance value of <905> is defined for 10 and 30 units; here a location has "
        f"{spread(min(sizes), max(sizes))}, so none is given."
    )
    return table(
        [
            ("location", 0.16, "left"),
            ("n", 0.06, "right"),
            ("mean", 0.1, "right"),
            ("SD", 0.1, "right"),
            ("units", 0.58, "left"),
            *((("AV", 0.1, "right"), ("<905>", 0.16, "left")) if judged else ()),
        ],
        rows,
        note=f"In % of label claim. {note}",
    )


def _acceptance(found: Outcome | None) -> tuple[str, str]:
    """The acceptance value of the last stage that was needed, and what follows from it."""
    if found is None:
        return "", ""
    value = next(c for c in reversed(found.criteria) if "acceptance value" in c.text)
    return beside(value.value, value.limit), found.verdict.value


def units_computed(case: Case) -> Iterator[Block]:
    """How the limits of the dosage units were computed."""
    found = case.units
    if found is None:
        return
    firsts = [place.values[0] for place in found.locations]
    rows = sample("stage 1", firsts)
    if found.components is not None:
        everything = [value for place in found.locations for value in place.values]
        rows += sample("all", everything)
    yield steps("Dosage units: first unit of each location, and all", rows)
    if found.components is not None:
        yield steps("Dosage units: components of variance", components_of(found.components))
    for bound in found.bounds:
        yield steps(
            f"Dosage units: acceptance limit, plan {bound.plan}",
            limit_of(bound, len(firsts), found.components),
        )
