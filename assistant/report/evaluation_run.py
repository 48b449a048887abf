"""One evaluation with everything its report needs: record, sheet, statistics and request."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from assistant.errors import InputError
from assistant.evaluation.assay_units import Unit
from assistant.evaluation.assays import Joined, join
from assistant.evaluation.dosage_unit_sheet import dosage_units
from assistant.evaluation.dosage_unit_study import UnitStudy, evaluate_units
from assistant.evaluation.e2810 import STANDARD, Demand
from assistant.evaluation.operating_characteristic import Characteristic, Design, characteristic
from assistant.evaluation.predictive import Prediction, from_components, from_sample
from assistant.evaluation.results import assays, by_spot
from assistant.evaluation.review import Answer, Protocol, open_points, protocol_outcome
from assistant.evaluation.schemes import INDUSTRY, PLAN_1, PLAN_2, UDU, Outcome, Verdict
from assistant.evaluation.sheet_rows import Sheet
from assistant.evaluation.stages import not_assayed, of_stage_1, only_stage_1
from assistant.evaluation.study import Options, Study, evaluate
from assistant.evaluation.tolerance import Asked, Tolerance, of_components, of_sample
from assistant.journal.head_code import head_code
from assistant.journal.signing import Signature
from assistant.plan import Plan
from assistant.plan.dies import doses_per_die
from assistant.report.vial_records import RecordStudy, random_mixture_rsd

SCHEMES = (INDUSTRY.key, UDU.key, PLAN_1.key, PLAN_2.key)
"""Schemes that may give the verdict; withdrawn ones are shown only for comparison."""

CURVE_POINTS = 33
CURVE_TRIALS = 2000
CURVE_SEED = 1


@dataclass(frozen=True, slots=True)
class EvaluationRequest:
    """Settings requested for an evaluation."""

    scheme: str = INDUSTRY.key
    """Key of the scheme that gives the verdict."""
    partial: bool = False
    """Continue without vials that are missing, void or not reconciled."""
    stage_1: bool = False
    """The sheet holds the vials of stage 1, one of each spot; the others are kept."""
    confidence: float = 0.95
    """Confidence level of the intervals."""
    demand: Demand = STANDARD
    method_sd: float | None = None
    """Standard deviation of the analytical method, % of target."""
    tolerance: Asked | None = None
    """Of the tolerance limits; None where none are asked for."""
    predict: bool = False
    """Also predict how often a further sample would pass the dosage-unit test."""
    weight_corrected: bool | None = None
    """Whether the assays of the dosage units are; None if only their sheet says."""


@dataclass(frozen=True, slots=True)
class Laboratory:
    """The laboratory's sheet with the name and hash of its file."""

    sheet: Sheet
    sha256: str


@dataclass(frozen=True, slots=True)
class Case:
    """An evaluation, ready to be reported."""

    record: RecordStudy
    laboratory: Laboratory
    request: EvaluationRequest
    joined: Joined
    study: Study
    curve: Characteristic
    signatures: tuple[Signature, ...]
    software: str
    """Name and version of the program that evaluated."""
    shown: tuple[str, ...] = ()
    """How the session ended and how far the record is anchored, one sentence each."""
    units: UnitStudy | None = None
    """The dosage units; None if no sheet of them was given."""
    units_laboratory: Laboratory | None = None

    @property
    def outcome(self) -> Outcome:
        """The outcome of the scheme that gives the verdict."""
        return outcome_of(self.study, self.request.scheme)

    @property
    def met(self) -> bool:
        """Whether that scheme and the protocol's own limits are met."""
        protocol = (o for o in self.study.outcomes if o.scheme.key == "protocol")
        missed = any(outcome.verdict is Verdict.FAIL for outcome in protocol)
        return self.outcome.verdict.met and not missed

    @property
    def open_points(self) -> tuple[str, ...]:
        """Points a reviewer would raise although no criterion is missed."""
        return open_points(self.study, protocol_of(self.record.plan), self.request.scheme)

    @property
    def answer(self) -> Answer:
        """The answer of the evaluation: of the blend, and of the dosage units if there are any."""
        return max((self.blend_answer, self.units_answer), key=list(Answer).index)

    @property
    def blend_answer(self) -> Answer:
        """The answer of the blend alone."""
        return _answer(self.open_points, met=self.met)

    @property
    def units_answer(self) -> Answer:
        """The answer of the dosage units; met if there are none."""
        if self.units is None:
            return Answer.MET
        return _answer(self.units.open_points, met=self.units.outcome.verdict.met)

    @property
    def kept(self) -> tuple[str, ...]:
        """Vials that were taken but are not assayed."""
        return not_assayed(self.joined, self.record.expected)

    @property
    def tolerance(self) -> Tolerance | None:
        """Tolerance limits of the batch; None where none are asked for."""
        components, wanted = self.study.components, self.request.tolerance
        if wanted is None:
            return None
        if components is None:
            return of_sample(assays(self.study.results), wanted)
        return of_components(components.table, wanted)

    @property
    def predicted_from_units(self) -> bool:
        """Whether the prediction rests on dosage units; on the blend samples otherwise."""
        return self.units is not None and self.units.uncorrected

    @property
    def prediction(self) -> Prediction | None:
        """Predicted chance of passing the dosage-unit test; None where it is not asked for."""
        if not self.request.predict:
            return None
        summary, parts, target = (
            self.study.summary,
            self.study.components,
            self.study.options.demand.target,
        )
        table = parts.table if parts is not None else None
        if self.units is not None and self.units.uncorrected:
            summary, table = self.units.summary, self.units.components
        if table is None:
            return from_sample(summary.mean, summary.sd or 0.0, summary.n, target)
        return from_components(table, target)

    @property
    def made_up(self) -> tuple[str, ...]:
        """Simulated inputs of this evaluation."""
        sheets = [each for each in (self.laboratory, self.units_laboratory) if each is not None]
        return made_up(self.record, *sheets)

    @property
    def doses(self) -> tuple[float, float]:
        """Fewest and most unit doses in a sample: as weighed, else the die's content by plan."""
        masses = [result.mass_mg for result in self.study.results if result.mass_mg is not None]
        if not masses:
            return doses_per_die(self.record.plan)
        dose = self.record.plan.dose.mass_mg
        return min(masses) / dose, max(masses) / dose

    @property
    def head(self) -> str:
        """Head code of the record at its end."""
        return head_code(self.record.last.seq, self.record.last.hash).text

    @property
    def touched(self) -> dict[str, list[int]]:
        """Numbers of the deviations that affect each vial, without withdrawn ones."""
        found: dict[str, list[int]] = {}
        for one in self.record.deviations:
            if one.deviation.status != "withdrawn":
                for vial in one.deviation.vials:
                    found.setdefault(str(vial), []).append(one.deviation.number)
        return found

    @property
    def within_sd(self) -> float:
        """Within-location standard deviation behind the operating characteristic, % of target."""
        components = self.study.components
        return components.table.residual_sd if components is not None else 0.0


def _answer(points: Sequence[str], *, met: bool) -> Answer:
    if not met:
        return Answer.NOT_MET
    return Answer.OPEN if points else Answer.MET


def made_up(record: RecordStudy, *laboratories: Laboratory) -> tuple[str, ...]:
    """Which parts of a record and its sheets are simulated, as far as they state it."""
    said = {
        "a rehearsal": record.opened.kind == "rehearsal",
        "simulated assays": any(each.sheet.made_up for each in laboratories),
    }
    return tuple(what for what, so in said.items() if so)


def protocol_of(plan: Plan) -> Protocol | None:
    """The limits of the study's protocol; None if the plan states none."""
    stated = plan.acceptance
    if stated is None:
        return None
    return Protocol(
        justification=stated.justification,
        mean=stated.mean,
        location_mean=stated.location_mean,
        individual=stated.individual,
        from_mean=stated.from_mean,
    )


def outcome_of(study: Study, key: str) -> Outcome:
    """The outcome of one scheme.

    Raises:
        InputError: this study has no outcome for that scheme.
    """
    for outcome in study.outcomes:
        if outcome.scheme.key == key:
            return outcome
    known = ", ".join(outcome.scheme.key for outcome in study.outcomes)
    raise InputError(f"This study has no scheme {key!r}; it has {known}.")


def make_case(
    record: RecordStudy,
    laboratory: Laboratory,
    request: EvaluationRequest,
    *,
    software: str,
    signatures: Sequence[Signature] = (),
    shown: Sequence[str] = (),
    units: Laboratory | None = None,
) -> Case:
    """Join a record with its assays and evaluate them.

    Args:
        record: data from the session record.
        laboratory: the sheet.
        request: settings of the evaluation.
        software: name and version of this program.
        signatures: signatures of the record.
        shown: how the session ended and how far the record is anchored, one sentence each.
        units: sheet of the dosage units made of the blend.

    Raises:
        InputError: the session is not closed, vials do not fit (unless a partial evaluation is
            asked for), the dosage units cannot be read, or no verdict can be drawn.
    """
    joined = joined_of(record, laboratory, partial=request.partial, stage_1=request.stage_1)
    results = joined.results
    masses = [result.mass_mg for result in results if result.mass_mg is not None]
    options = Options(
        confidence=request.confidence,
        demand=replace(request.demand, target=record.plan.dose.target_percent),
        random_rsd=random_mixture_rsd(record.plan, sum(masses) / len(masses) if masses else None),
        method_sd=request.method_sd,
    )
    study = evaluate(results, options)
    protocol = protocol_of(record.plan)
    if protocol is not None:
        judged = protocol_outcome(results, protocol)
        study = replace(study, outcomes=(*study.outcomes, judged))
    leading = outcome_of(study, request.scheme)
    return Case(
        record=record,
        laboratory=laboratory,
        request=request,
        joined=joined,
        study=study,
        curve=curve_of(study),
        signatures=tuple(signatures),
        software=software,
        shown=tuple(shown),
        units=_units(record, units, request, study, leading) if units is not None else None,
        units_laboratory=units,
    )


def _units(
    record: RecordStudy,
    laboratory: Laboratory,
    request: EvaluationRequest,
    study: Study,
    leading: Outcome,
) -> UnitStudy:
    """The dosage units, judged and compared with the blend."""
    read = dosage_units(
        laboratory.sheet,
        record.target,
        batch=record.plan.study.batch,
        corrected=request.weight_corrected,
    )
    return evaluate_units(
        read, study.results, demand=study.options.demand, blend_verdict=leading.verdict
    )


def joined_of(
    record: RecordStudy, laboratory: Laboratory, *, partial: bool, stage_1: bool = False
) -> Joined:
    """Join a record with its assays; anything that prevents a verdict is an error.

    Args:
        record: data from the session record.
        laboratory: the sheet.
        partial: continue without vials that are missing, void or not reconciled, and with a
            session that is not closed.
        stage_1: the sheet holds the vials of stage 1 only.

    Raises:
        InputError: the session is not closed, or vials do not fit.
    """
    require_closed(record, partial=partial)
    batch = record.plan.study.batch
    sheet, stated = laboratory.sheet, record.plan.laboratory.unit
    if stated is not None and not sheet.confirmed:
        sheet = sheet.in_unit(Unit(stated))
    joined = join(sheet, record.expected, record.target, batch=batch)
    if stage_1:
        joined = of_stage_1(joined, record.expected)
    elif not partial and only_stage_1(joined, record.expected):
        raise InputError(
            f"Vials without an assay: {', '.join(joined.missing)}. Those in the sheet are the "
            "vials of stage 1: evaluate them with --stage 1, or assay the others."
        )
    joined.require(partial=partial)
    return joined


def require_closed(record: RecordStudy, *, partial: bool) -> None:
    """Refuse a session that is not closed, unless a partial evaluation is asked for.

    Raises:
        InputError: it is not closed.
    """
    if not record.complete and not partial:
        raise InputError(
            f"The session is not closed (it is in state {record.session.state.value}): finish it, "
            "or ask for a partial evaluation."
        )


def curve_of(study: Study) -> Characteristic:
    """Operating characteristic of this design over the between-location SD.

    The within-location SD is this study's estimate; with one result per location it is zero, and
    the axis is the standard deviation of all results. The mean is that of this study.
    """
    sizes = [len(members) for members in by_spot(study.results).values()]
    design = Design(len(sizes), max(1, round(sum(sizes) / len(sizes))))
    components = study.components
    within = components.table.residual_sd if components is not None else 0.0
    widest = max(6.0, 1.25 * axis_estimate(study))
    return characteristic(
        design,
        np.linspace(0.0, widest, CURVE_POINTS),
        within,
        seed=CURVE_SEED,
        mean=study.summary.mean,
        trials=CURVE_TRIALS,
        demand=study.options.demand,
    )


def axis_estimate(study: Study) -> float:
    """This study's estimate on the axis of the curve, % of target."""
    if study.components is not None:
        return float(study.components.table.between**0.5)
    return study.summary.sd or 0.0
