"""The evaluation report: which sections it has, in which order, and its first page.

The same case gives the same document; every time stamp in it comes from the record.
"""

from collections import Counter
from collections.abc import Iterator, Sequence

from assistant.evaluation.indications import Figure, Indication
from assistant.evaluation.results import by_location
from assistant.evaluation.review import Answer
from assistant.evaluation.schemes import PLAN_1, PLAN_2, UDU
from assistant.evaluation.schemes import Verdict as Decision
from assistant.plan.model import Plan
from assistant.procedure.model import Status
from assistant.report import sections_record as of_record
from assistant.report import sections_results as of_results
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
from assistant.report.evaluation_run import Case
from assistant.report.formatting import (
    counted,
    fixed,
    listed,
    made_up_mark,
    moment,
    p_value,
    short,
    spread,
)
from assistant.report.sections_components import components
from assistant.report.sections_computed import computed
from assistant.report.sections_predictive import predictive
from assistant.report.sections_results import MORE_THAN_ONE, spread_of
from assistant.report.sections_tolerance import tolerance
from assistant.report.sections_units import units, units_computed, units_verdict

DISCLAIMER = (
    "This report states what the results show about this study. It releases nothing: that is for "
    "the people named in the site's procedures."
)

MOST_LETTERS = 240
"""Longer lists of vials are cut at the top of the report; the table of all vials is full."""

OF_UNITS = (UDU.key, PLAN_1.key, PLAN_2.key)
"""Schemes made for dosage units."""

_YES = {True: "yes", False: "no", None: "not tested"}


def document(case: Case) -> Document:
    """The report of one evaluation."""
    study = case.record.plan.study
    blocks = (
        *_first_page(case),
        *of_results.locations(case),
        *_places(case),
        *of_results.schemes(case),
        *components(case),
        *tolerance(case),
        *units(case),
        *predictive(case),
        *of_results.sampler(case),
        *of_results.curve(case),
        *of_results.screening(case),
        *computed(case),
        *units_computed(case),
        *of_record.deviations(case),
        *of_record.vials(case),
        *of_record.injections(case),
        *of_record.identity(case),
        *of_record.signatures(case),
        *of_record.sources(case),
    )
    return Document(
        title=f"Evaluation: {study.title}",
        subtitle=f"{study.product} | batch {study.batch} | {study.protocol}",
        blocks=blocks,
        footer=f"record {case.head} | plan {case.record.opened.plan_sha256[:16]} | "
        f"assays {case.laboratory.sha256[:16]} | {case.software}",
        utc=case.record.last.utc,
        mark=made_up_mark(case.made_up),
    )


def _first_page(case: Case) -> Iterator[Block]:
    yield verdict(case)
    if case.units is not None:
        yield units_verdict(case.units)
    yield Text(DISCLAIMER, "small")
    yield from _indications(case)
    yield from _facts(case)


def verdict(case: Case) -> Verdict:
    """The answer in one line, its basis, and its limitations."""
    outcome, summary = case.outcome, case.study.summary
    places = len(by_location(case.study.results))
    sd = f", SD {fixed(summary.sd)} % of target" if summary.sd is not None else ""
    return Verdict(
        met=case.met,
        line=_line(case),
        sentence=f"{outcome.scheme.title} ({outcome.scheme.key}). {outcome.sentence} "
        f"{counted(summary.n, 'result')} from {counted(places, 'location')}: "
        f"mean {fixed(summary.mean)}{sd}.",
        asides=tuple(_limits(case)),
    )


def _line(case: Case) -> str:
    """The answer; if only the leading scheme decides, in that scheme's own words."""
    if case.blend_answer is Answer.OPEN:
        return f"{case.blend_answer.value.upper()} {counted(len(case.open_points), 'open point')}"
    if case.blend_answer is Answer.NOT_MET and case.outcome.verdict.met:
        return "CRITERIA NOT MET: LIMITS OF THE PROTOCOL"
    return case.outcome.verdict.value.upper()


def _limits(case: Case) -> Iterator[str]:
    yield from _basis(case)
    for outcome in case.study.outcomes:
        if outcome.scheme.key == "protocol":
            yield f"{outcome.scheme.title} ({outcome.scheme.source}): {outcome.sentence}"
    for number, point in enumerate(case.open_points, start=1):
        yield f"Open point {number}: {point}"
    if not case.record.complete:
        yield f"The session was not closed; it is in state {case.record.session.state.value}."
    yield from _stage_1(case)
    if case.joined.problems:
        yield f"Partial evaluation, as asked for. Vials {in_short(case.joined.problems)}."
    for lacking in case.outcome.shortfalls:
        yield f"Short of the usual design: {lacking}."
    standing = [d.deviation for d in case.record.deviations if d.deviation.status == "open"]
    if standing:
        yield f"{counted(len(standing), 'deviation')} not disposed of."


def _stage_1(case: Case) -> Iterator[str]:
    """Which vials were assayed first, and which come next."""
    if not case.request.stage_1:
        return
    vials = ", ".join(result.vial for result in case.study.results)
    yield f"Stage 1: vials {vials}, of every spot the lowest position that filled its vial."
    kept = ", ".join(case.kept)
    if case.outcome.verdict is Decision.MORE:
        yield f"Assay next: vials {kept}."
    elif kept:
        yield (
            f"Not assayed: vials {kept}. The FDA's answer of 2013 on the withdrawn draft asks for "
            "all replicates."
        )


def _basis(case: Case) -> Iterator[str]:
    """Facts that weaken the answer."""
    if case.made_up:
        yield f"{made_up_mark(case.made_up)}."
    if case.record.opened.kind == "typed":
        yield "The session was typed: no microphone was open, so no sound of it is on record."
    if not case.record.opened.kind:
        yield "The record does not say whether the session was live or a rehearsal."
    target = case.record.plan.dose.target_percent
    if target != 100.0:  # noqa: PLR2004 - the label claim
        yield (
            f"The plan's target T is {target:g} % of label claim: it is T of the acceptance value "
            "and of E2810. Results are in % of label claim, and so is every '% of target' here; "
            "the limits 3.0 and 5.0 of an SD are therefore stricter than in % of T."
        )
    if case.request.scheme in OF_UNITS and case.doses[1] > MORE_THAN_ONE:
        yield (
            f"{case.request.scheme} judges dosage units, and these samples hold "
            f"{spread_of(case.doses)} unit doses: single doses vary more."
        )


def in_short(problems: Sequence[str]) -> str:
    """Vials excluded by a partial evaluation, long lists shortened."""
    return "; ".join(
        problem
        if len(problem) <= MOST_LETTERS
        else f"{problem[:MOST_LETTERS].rpartition(',')[0]} and more"
        for problem in problems
    )


def _indications(case: Case) -> Iterator[Block]:
    yield Heading("What the numbers point to")
    limits = case.study.options.thresholds
    found = case.study.indications
    if found:
        yield table(
            [
                ("about", 0.12, "left"),
                ("indication", 0.36, "left"),
                ("beyond chance", 0.09, "left"),
                ("large", 0.07, "left"),
                ("numbers", 0.36, "left"),
            ],
            [_indication(one) for one in found],
        )
    else:
        yield Text(
            "Nothing in particular: no trend is significant or large; no component is estimated."
        )
    yield Text(
        "Indications, never decisions. Beyond chance: p is "
        f"{limits.significance:g} or less. Large: a standard deviation of {limits.large_sd:g} or a "
        f"change of {limits.large_effect:g} % of target or more, which is this program's choice. "
        "A significant effect need not matter, and a large one may be chance.",
        "small",
    )


def _indication(one: Indication) -> tuple[str, ...]:
    numbers = "; ".join(_figure(figure) for figure in one.figures)
    return one.about, one.sentence, _YES[one.significant], _YES[one.large], numbers


def _figure(figure: Figure) -> str:
    if figure.name.startswith("p "):
        return f"{figure.name}: {p_value(figure.value)}"
    return f"{figure.name} {short(figure.value, 3)} {figure.unit}".rstrip()


def _facts(case: Case) -> Iterator[Block]:
    yield Heading("The study")
    yield Facts((*_planned(case), *_done(case)), columns=2)


def _planned(case: Case) -> Iterator[tuple[str, str]]:
    plan = case.record.plan
    study, sampler, dose = plan.study, plan.sampler, plan.dose
    claim = f"label claim {dose.label_claim_mg:g} mg, T {dose.target_percent:g} %"
    yield from (
        ("product", study.product),
        ("batch", study.batch),
        ("stage", study.stage),
        ("protocol", study.protocol),
        ("unit dose", f"{dose.mass_mg:g} mg, {claim}"),
        ("blend", f"{plan.powder.fill_mass_kg:g} kg in a {plan.vessel.kind}{_blended(plan)}"),
        ("sampler", f"{sampler.identity}, {sampler.kind}, {sampler.shaft} shaft"),
        ("dies", f"{sampler.die_set}, {sampler.die_volume_ml:g} mL"),
        ("doses a sample", spread_of(case.doses)),
        (
            "design",
            f"{len(plan.locations)} locations, {len(sampler.positions)} from a spot, "
            + counted(len(sampler.ports_mm), "port"),
        ),
    )


def _blended(plan: Plan) -> str:
    """How the blend was mixed, as far as the plan says."""
    blending = plan.blending
    if blending is None:
        return ""
    said = [
        f"{value:g} {unit}"
        for value, unit in ((blending.minutes, "min"), (blending.revolutions, "revolutions"))
        if value is not None
    ]
    return f", {', '.join(said)}"


def _done(case: Case) -> Iterator[tuple[str, str]]:
    record = case.record
    counts = Counter(vial.status for vial in record.vials)
    statuses = ", ".join(f"{counts[s]} {s.value}" for s in Status if counts[s])
    witnesses = [person.name for person in record.plan.people if person.role == "witness"]
    operators = [name for name in record.people if name not in witnesses]
    attempts = [place.attempt for place in record.session.progress.insertions]
    yield from (
        (
            "insertions",
            f"{len(attempts)}, of these {sum(number > 1 for number in attempts)} repeated",
        ),
        ("session start", moment(record.first.utc)),
        ("session end", moment(record.last.utc)),
        ("operated by", listed(operators)),
        ("witness", listed(witnesses)),
        ("vials", f"{len(record.vials)}: {statuses}"),
        ("evaluated", f"{case.study.summary.n} vials, {_per_spot(case)}"),
        ("assays", f"{case.laboratory.sheet.name}, in {case.joined.unit.value}"),
        ("record", f"head code {case.head}"),
    )


def _per_spot(case: Case) -> str:
    sizes = [spot.summary.n for spot in case.study.spots]
    return f"{spread(min(sizes), max(sizes))} from each of {counted(len(sizes), 'spot')}"


def _places(case: Case) -> Iterator[Block]:
    from assistant.report.plot_places import many, places, places_in  # noqa: PLC0415 - loads matplotlib

    yield Heading("Where the samples were taken, and what was found there")
    spots = "; ".join(f"{s.name} {fixed(s.summary.mean, 1)}" for s in case.study.spots)
    yield Picture(
        draw=lambda: places(case),
        caption="Vessel, powder bed and sampler to scale, from the plan. "
        + (
            "Of the many places, the bars show those farthest from the overall mean. "
            if many(case)
            else "The number beside a port is the mean of its results, % of target. A crossed port "
            "is one that the plan itself calls unsafe. "
        )
        + "White bars are below the overall mean, grey ones above it.",
        describes=f"Plan of the vessel with location means in % of target: {spots}.",
        height_in=places_in(case),
    )
