"""Joining a record with its assays: what stops a verdict, and what leads it."""

from collections.abc import Callable

import numpy as np
import pytest

from assistant.errors import InputError
from assistant.evaluation.results import assays_by_spot
from assistant.evaluation.review import Answer
from assistant.evaluation.simulated_assays import Truth
from assistant.procedure.enums import Intent, State
from assistant.procedure.events import Meaning
from assistant.report.evaluation_run import (
    Case,
    EvaluationRequest,
    Laboratory,
    axis_estimate,
    make_case,
    outcome_of,
)
from assistant.report.sections import verdict
from assistant.report.vial_records import RecordStudy
from assistant.testing import Departure

Record = Callable[..., RecordStudy]
Sheet = Callable[..., Laboratory]
MakeCase = Callable[..., Case]

UNEVEN = Truth(100.0, 6.0, 0.5)
EMPTY = Departure(State.EMPTYING_DIES, Meaning(intent=Intent.VIAL_EMPTY, vial=2), visit=2)


def test_the_record_s_facts_reach_the_results(case: MakeCase) -> None:
    """Each result carries place, depth, order, time open and mass of its vial."""
    found = case()
    vials = {vial.vial: vial for vial in found.record.vials}
    for result in found.study.results:
        vial = vials[result.vial]
        assert (result.location, result.depth_mm) == (vial.location, vial.depth_mm)
        assert (result.insertion_order, result.open_seconds) == (
            vial.insertion_order,
            vial.open_seconds,
        )
        assert result.mass_mg is not None
    factors = {trend.factor for trend in found.study.trends}
    assert factors == {
        "sample mass",
        "port depth",
        "shaft position",
        "insertion order",
        "time open",
    }


def test_a_planted_slope_is_found(case: MakeCase) -> None:
    """A thief that takes less with every position leaves a trend; without it there is none."""
    marked = case(truth=Truth(100.0, 0.2, 0.3, position_slope=-2.0))
    clean = case(truth=Truth(100.0, 0.2, 0.3))

    def slope(of: Case) -> float:
        return next(t.slope for t in of.study.trends if t.factor == "shaft position")

    assert slope(marked) == pytest.approx(-2.0, abs=0.3)
    assert abs(slope(clean)) < 0.3


@pytest.mark.parametrize(
    ("truth", "met"), [(Truth(100.0, 1.0, 0.5), True), (UNEVEN, False)], ids=["even", "uneven"]
)
@pytest.mark.parametrize("scheme", ["industry-2014", "e2810-plan-2"])
def test_the_asked_scheme_leads(case: MakeCase, truth: Truth, scheme: str, *, met: bool) -> None:
    """Its verdict is the case's verdict."""
    found = case(truth=truth, request=EvaluationRequest(scheme=scheme))
    assert found.outcome.scheme.key == scheme
    assert found.met is met


def test_an_unknown_scheme_is_named(case: MakeCase) -> None:
    """With those that there are; plan 2 needs replicates."""
    with pytest.raises(InputError, match="no scheme 'house'; it has industry-2014"):
        case(request=EvaluationRequest(scheme="house"))
    assert outcome_of(case().study, "usp-905").scheme.key == "usp-905"


def test_a_session_that_is_not_closed_stops_the_verdict(record: Record, sheet: Sheet) -> None:
    """Unless a partial evaluation is asked for; then two insertions are enough for one."""
    broken = record(until=State.SEATING)
    with pytest.raises(InputError, match=r"not closed \(it is in state seating\)"):
        make_case(
            broken, sheet("vial,assay (% of target)\n1,99\n"), EvaluationRequest(), software="x"
        )
    stopped = record(Departure(State.SEATING, Meaning(intent=Intent.STOP_SAMPLING), visit=4))
    assert not stopped.complete
    taken = make_case(stopped, sheet(stopped), EvaluationRequest(partial=True), software="x")
    assert taken.study.summary.n == 9
    assert any("not reconciled" in problem for problem in taken.joined.problems)


def test_missing_and_empty_vials_stop_until_somebody_decides(record: Record, sheet: Sheet) -> None:
    """They are named; a partial evaluation goes on without them and keeps the list."""
    found = record(EMPTY)
    assays = sheet(
        "vial,assay (% of target)\n" + "".join(f"{n},{99 + n % 3}\n" for n in range(3, 31))
    )
    with pytest.raises(InputError, match="without an assay: 1; not reconciled in the session: 2"):
        make_case(found, assays, EvaluationRequest(), software="x")
    partial = make_case(found, assays, EvaluationRequest(partial=True), software="x")
    assert partial.study.summary.n == 28
    assert partial.joined.missing == ("1",)


@pytest.mark.parametrize("partial", [False, True])
@pytest.mark.parametrize(
    ("row", "complaint"),
    [
        ("99,99.0", "unknown to the session: 99"),
        ("4,99.0", "more than once in the sheet: 4"),
    ],
)
def test_a_foreign_or_doubled_vial_is_never_passed_over(
    record: Record, sheet: Sheet, row: str, complaint: str, *, partial: bool
) -> None:
    """Not even in a partial evaluation."""
    found = record()
    text = "vial,assay (% of target)\n" + "".join(f"{n},99\n" for n in range(1, 31)) + row + "\n"
    with pytest.raises(InputError, match=complaint):
        make_case(found, sheet(text), EvaluationRequest(partial=partial), software="x")


def test_another_batch_is_never_passed_over(record: Record, sheet: Sheet) -> None:
    """A sheet that names another batch belongs to another session."""
    text = "vial,assay (% of target),batch\n" + "".join(f"{n},99,XX1\n" for n in range(1, 31))
    with pytest.raises(InputError, match=r"of another batch: 1 \(XX1\)"):
        make_case(record(), sheet(text), EvaluationRequest(partial=True), software="x")


def test_the_curve_is_that_of_this_design(case: MakeCase) -> None:
    """Locations, replicates, mean and within-location SD are the study's; the axis holds it."""
    found = case()
    curve = found.curve
    assert (curve.design.locations, curve.design.replicates) == (10, 3)
    assert curve.mean == found.study.summary.mean
    assert np.all(curve.within_sd == found.within_sd)
    components = found.study.components
    assert components is not None
    assert axis_estimate(found.study) == components.table.between**0.5
    wide = case(truth=UNEVEN).curve
    assert wide.between_sd[-1] > 6.0
    assert curve.between_sd[-1] == 6.0


def test_without_replicates_the_axis_is_the_sd_of_all(record: Record, sheet: Sheet) -> None:
    """One assay per location: nothing within, everything between."""
    rows = "".join(f"{3 * n + 1},{99 + n % 3}\n" for n in range(10))
    found = make_case(
        record(),
        sheet("vial,assay (% of target)\n" + rows),
        EvaluationRequest(partial=True),
        software="x",
    )
    assert found.study.components is None
    assert found.within_sd == 0.0
    assert axis_estimate(found.study) == found.study.summary.sd
    assert found.curve.design.replicates == 1


def test_two_ports_make_two_spots_of_a_location(case: MakeCase) -> None:
    """Depths of one insertion are compared as places, shaft positions as replicates."""
    found = case(plan="bin")
    ports = len(found.record.plan.sampler.ports_mm)
    assert len(assays_by_spot(found.study.results)) == ports * len(found.record.plan.locations)


def test_deviations_mark_their_vials(case: MakeCase) -> None:
    """A vial filled too long is touched; a deviation that was withdrawn touches nothing."""
    late = Departure(State.FILLING, 40.0, visit=2)
    assert case(late).touched == {"2": [1]}
    short = Departure(State.EMPTYING_DIES, Meaning(intent=Intent.VIAL_SHORT, vial=2), visit=2)
    back = Departure(State.EMPTYING_DIES, Meaning(intent=Intent.CORRECTION), visit=3)
    assert case(short, back).touched == {}
    assert case(short).touched == {"2": [1]}


PEOPLE = '[[people]]\nname = "Mira'
LIMITS = """[acceptance]
justification = "VP-07, 6.2"
mean = [99.5, 105.0]

[laboratory]
unit = "% of target"

"""


def test_the_plan_s_limits_and_unit_take_part(case: MakeCase) -> None:
    """Limits of the protocol decide beside the scheme; a far mean is an open point without them."""
    judged = case(changes=[(PEOPLE, LIMITS + PEOPLE)])
    assert judged.answer is Answer.NOT_MET
    assert verdict(judged).line == "CRITERIA NOT MET: LIMITS OF THE PROTOCOL"
    assert verdict(judged).asides[1].startswith("Limits of the study's protocol (VP-07, 6.2): Not")
    far = case(truth=Truth(mean=85.0, between_sd=0.4, within_sd=0.4))
    assert (far.answer, verdict(far).line) == (Answer.OPEN, "CRITERIA MET, BUT 1 open point")
    assert verdict(far).asides[1].startswith("Open point 1: The mean is")


CLAIM = "label_claim_mg = 20.0"
OVERAGE = [(CLAIM, f"target_percent = 105\n{CLAIM}")]
ON_105 = Truth(105.0, 0.5, 0.5)


def test_the_plan_s_target_reaches_every_scheme(case: MakeCase) -> None:
    """T = 105: content on target has no deviation in the acceptance value and E2810 allows more."""
    plain, over = case(truth=ON_105), case(truth=ON_105, changes=OVERAGE)
    assert (plain.study.options.demand.target, over.study.options.demand.target) == (100.0, 105.0)
    value = [outcome_of(one.study, "usp-905").criteria[0].value or 0.0 for one in (plain, over)]
    assert value[0] - value[1] == pytest.approx(105.0 - 101.5, abs=0.7)
    limits = [one.study.bounds[0].sd_limit or 0.0 for one in (plain, over)]
    assert limits[1] > limits[0] + 0.5
    said = " ".join(verdict(over).asides)
    assert "The plan's target T is 105 % of label claim" in said
    assert "target T is" not in " ".join(verdict(plain).asides)


def test_a_protocol_that_sets_no_limit_neither_helps_nor_harms(case: MakeCase) -> None:
    """The scheme alone decides, and the report says that no limit is set."""
    named = [(CLAIM, f'{CLAIM}\n[acceptance]\njustification = "VP-07"')]
    found = case(changes=named)
    assert found.met
    assert "The protocol is named, but sets no limit." in " ".join(verdict(found).asides)
    assert "Every limit" not in " ".join(verdict(found).asides)
