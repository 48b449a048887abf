"""What `check` tells: shipped plans are fit, broken ones are told apart by the right sentence."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest

from assistant.plan import Plan
from assistant.plan.check import findings
from assistant.plan.finding import Finding, Fitness, fit_if, overall
from assistant.plan.insertion_geometry import insertions
from assistant.plan.location_checks import port_unsafe
from assistant.plan.powder_bed import bed_of

Change = Callable[..., Plan]


def line(plan: Plan, subject: str) -> Finding:
    """Return the one line about a subject."""
    (found,) = [finding for finding in findings(plan) if finding.subject == subject]
    return found


@pytest.mark.parametrize("name", ["double-cone", "v-blender", "bin"])
def test_shipped_plans_are_fit(name: str, shipped: Callable[[str], Plan]) -> None:
    """Every line of a shipped plan is fit, by the limits every plan has."""
    plan = shipped(name)
    found = findings(plan)
    assert [finding for finding in found if finding.verdict is not Fitness.FIT] == []
    assert overall(found) is Fitness.FIT
    assert "limits" not in plan.model_fields_set
    assert all(f.number and f.limit and f.source and f.group for f in found)


def test_every_line_names_its_source_and_none_is_from_memory(cone: Plan) -> None:
    """A text that was read, a derivation, the plan, or this program's own choice."""
    for finding in findings(cone):
        assert finding.source
        assert "memory" not in f"{finding.source} {finding.note}"
    known = {finding.subject: finding.source for finding in findings(cone)}
    assert known["fill"] == "this program's choice, no source"
    assert known["unit doses in one die"] == "this program's choice, no source"
    assert known["fundamental sampling error"].startswith("derived")


def test_overall_is_the_worst() -> None:
    """One unfit line makes the plan unfit; no line at all is fit."""
    fit = Finding("g", "s", Fitness.FIT, "1", "2", "x")
    caution = Finding("g", "s", Fitness.CAUTION, "1", "2", "x")
    unfit = Finding("g", "s", Fitness.UNFIT, "1", "2", "x")
    assert overall([]) is Fitness.FIT
    assert overall([fit, caution]) is Fitness.CAUTION
    assert overall([unfit, fit, caution]) is Fitness.UNFIT
    assert fit_if(holds=False) is Fitness.UNFIT


@dataclass(frozen=True)
class Case:
    """One change to a fit plan, and the line it must turn."""

    what: str
    subject: str
    verdict: Fitness
    note: str
    table: str
    keys: dict[str, Any]


def places(what: str, note: str, **keys: float) -> Case:
    """Return a case of a single, badly placed insertion."""
    return Case(what, "L1", Fitness.UNFIT, note, "locations", keys)


BROKEN = (
    places("port above the powder", "port 1 lies 48 mm above the powder", depth_mm=640.0),
    places("port barely covered", "port 1 lies only 22 mm below the surface", depth_mm=710.0),
    places("tip near the outlet", "the tip comes too near the outlet", depth_mm=1225.0),
    places("tip through the floor", "the tip is in the wall", depth_mm=1270.0),
    places("tip near the wall", "comes too near the wall", depth_mm=1150.0, x_mm=160.0),
    places("tube against the rim", "does not pass the manway", depth_mm=900.0, x_mm=215.0),
    places("handle at the rim", "no room is left for the handle", depth_mm=1420.0),
    places("sampler too short", "the sampler is too short", depth_mm=1600.0),
)


@pytest.mark.parametrize("case", BROKEN, ids=lambda case: case.what)
def test_broken_insertions(case: Case, cone: Plan, with_locations: Change) -> None:
    """Each way an insertion can fail is unfit and says so."""
    plan = with_locations(cone, case.keys)
    found = line(plan, case.subject)
    assert found.verdict is Fitness.UNFIT
    assert case.note in found.note
    assert overall(findings(plan)) is Fitness.UNFIT


CAUTION, UNFIT = Fitness.CAUTION, Fitness.UNFIT
NO_PARTICLES = {"active_d50_um": None, "active_gsd": None, "active_density_g_ml": None}

TABLES = (
    Case("full", "fill", CAUTION, "", "powder", {"fill_mass_kg": 220.0}),
    Case("sticky", "flow", CAUTION, "very poor", "powder", {"tapped_density_g_ml": 0.70}),
    Case(
        "large die",
        "unit doses in one die",
        UNFIT,
        "take other dies, or state dose_multiple_reason",
        "sampler",
        {"die_volume_ml": 5.0},
    ),
    Case("small die", "unit doses in one die", UNFIT, "dies", "sampler", {"die_volume_ml": 0.3}),
    Case("greedy", "powder removed", CAUTION, "", "powder", {"fill_mass_kg": 0.1}),
    Case("tight", "running clearance", UNFIT, "metal wears", "sampler", {"clearance_mm": 0.3}),
    Case("loose", "running clearance", UNFIT, "powder leaks", "sampler", {"clearance_mm": 0.6}),
    Case("heavy", "lifting", CAUTION, "drag of the powder", "sampler", {"mass_kg": 14.0}),
    Case("coarse", "random mixture", UNFIT, "lower limit", "powder", {"active_d50_um": 250.0}),
    Case("middling", "random mixture", CAUTION, "", "powder", {"active_d50_um": 140.0}),
    Case("unknown", "random mixture", CAUTION, "describe the active", "powder", NO_PARTICLES),
    Case(
        "coarse, after Gy",
        "fundamental sampling error",
        CAUTION,
        "particles of one size",
        "powder",
        {"active_d50_um": 200.0},
    ),
    Case("few", "number", CAUTION, "", "limits", {"fewest_locations": 11}),
    Case("sparse", "coverage", CAUTION, "least covered", "limits", {"coverage_mm": 100.0}),
)


@pytest.mark.parametrize("case", TABLES, ids=lambda case: case.what)
def test_lines(case: Case, cone: Plan, with_part: Change, with_locations: Change) -> None:
    """Each line turns when what it looks at is changed, and says what to do."""
    assert line(cone, case.subject).verdict is Fitness.FIT
    plan = with_part(cone, case.table, **case.keys)
    if case.what == "greedy":
        plan = with_locations(plan, {"depth_mm": 1190.0})
    found = line(plan, case.subject)
    assert found.verdict is case.verdict
    assert case.note in found.note


def test_large_die_with_a_reason(cone: Plan, with_part: Change) -> None:
    """A stated reason makes an unusual die fit, and is repeated in the line."""
    plan = with_part(cone, "sampler", die_volume_ml=5.0, dose_multiple_reason="the assay needs 2 g")
    found = line(plan, "unit doses in one die")
    assert found.verdict is Fitness.FIT
    assert found.note == "reason: the assay needs 2 g"


def test_balance(shipped: Callable[[str], Plan], with_part: Change) -> None:
    """A die lighter than the balance's least net weight is unfit."""
    plan = shipped("bin")
    assert line(plan, "balance").verdict is Fitness.FIT
    coarse = with_part(plan, "weighing", minimum_mg=450.0)
    assert line(coarse, "balance").verdict is Fitness.UNFIT
    subject = "minimum weight of the balance"
    assert line(plan, subject).verdict is Fitness.FIT
    wishful = with_part(plan, "weighing", minimum_mg=81.0)
    assert line(wishful, subject).verdict is Fitness.CAUTION
    assert "repeatability test" in line(wishful, subject).note


def test_full_coverage_names_no_gap(cone: Plan, with_part: Change) -> None:
    """Where nothing is bare the line has nothing to add."""
    assert line(with_part(cone, "limits", coverage_mm=900.0), "coverage").note == ""


def test_missing_reason_for_replicates(shipped: Callable[[str], Plan], with_part: Change) -> None:
    """Fewer than three from one spot want a reason; with one they are fit."""
    plan = with_part(shipped("v-blender"), "study", replicates_reason=None)
    assert line(plan, "replicates").verdict is Fitness.CAUTION
    assert line(plan, "replicates").note == "state [study] replicates_reason"
    assert line(shipped("v-blender"), "replicates").note.startswith("reason: development study")


def test_one_depth_only(cone: Plan, with_locations: Change) -> None:
    """All ports at one height are remarked."""
    places = [
        {"depth_mm": 900.0, "x_mm": x, "y_mm": y} for x in (-120.0, 120.0) for y in (-90.0, 90.0)
    ]
    assert line(with_locations(cone, *places), "depths").verdict is Fitness.CAUTION


def test_earthing(cone: Plan, with_part: Change) -> None:
    """Metal without earthing is a caution, plastic without it unfit; plastic always has a word."""
    bare = cone.model_copy(update={"cautions": ("isolated",)})
    assert line(bare, "shaft material").verdict is Fitness.CAUTION
    assert line(bare, "shaft material").note == "add 'earthed' to cautions"
    plastic = with_part(cone, "sampler", shaft="plastic")
    assert line(plastic, "shaft material").verdict is Fitness.FIT
    assert "holds its charge" in line(plastic, "shaft material").note
    both = plastic.model_copy(update={"cautions": ()})
    assert line(both, "shaft material").verdict is Fitness.UNFIT


def test_crossed_wake_proposes_an_order(cone: Plan, with_locations: Change) -> None:
    """A port in an earlier wake is unfit, and the line gives an order that avoids it."""
    plan = with_locations(cone, {"depth_mm": 1000.0}, {"depth_mm": 800.0, "x_mm": 40.0})
    found = line(plan, "order")
    assert found.verdict is Fitness.UNFIT
    assert found.note == "L2 after L1 (40 mm); take this order: L2 L1"
    twice = with_locations(cone, {"depth_mm": 900.0}, {"depth_mm": 900.0, "x_mm": 10.0})
    assert line(twice, "order").note.endswith("no order avoids it: move them apart")


def test_heap_is_named(cone: Plan, with_part: Change) -> None:
    """The surface line says whether the bed is level or heaped."""
    assert line(cone, "surface").number.endswith("level")
    heaped = with_part(cone, "powder", repose_deg=10.0)
    assert line(heaped, "surface").number.endswith("heaped at 10 deg")
    assert line(heaped, "surface").note.endswith("excellent flow by that angle (USP <1174>)")
    assert "flow" not in line(cone, "surface").note


def test_ports_of_a_bad_insertion_are_unsafe(
    shipped: Callable[[str], Plan], with_locations: Change
) -> None:
    """A port is unsafe by its own cover, or because its whole insertion is."""
    plan = with_locations(shipped("bin"), {"depth_mm": 340.0}, {"depth_mm": 890.0})
    high, deep = insertions(plan, bed_of(plan))
    assert not port_unsafe(plan, high, 0)
    assert port_unsafe(plan, high, 1)
    assert port_unsafe(plan, deep, 0)
    assert port_unsafe(plan, deep, 1)
