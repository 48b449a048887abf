"""New plans: for every vessel and sampler, complete, commented and fit to be carried out."""

import tomllib
from itertools import product

import pytest

from assistant.errors import PlanError
from assistant.plan import Plan, parse_plan
from assistant.plan.check import findings
from assistant.plan.finding import Fitness
from assistant.plan.locations import propose
from assistant.plan.new_plan import new_plan, plan_of
from assistant.plan.questionnaire import QUESTIONS, answers_of
from assistant.plan.vessel import KINDS


@pytest.mark.parametrize(
    ("vessel", "sampler"), list(product(KINDS, ("single", "duplicate", "triplicate")))
)
def test_every_vessel_and_sampler(vessel: str, sampler: str) -> None:
    """The plan is read back, has ten locations, and no line of it is unfit."""
    plan = plan_of(answers_of({"vessel": vessel, "sampler": sampler}))
    assert plan.vessel.kind == vessel
    assert plan.sampler.kind == sampler
    assert len(plan.locations) == 10
    found = findings(plan)
    assert [f for f in found if f.verdict is Fitness.UNFIT] == []
    open_points = {f.subject for f in found if f.verdict is Fitness.CAUTION}
    assert open_points <= {"random mixture", "replicates"}


@pytest.mark.parametrize(
    ("vessel", "ports", "mass"),
    [("v-blender", "2", "30"), ("rectangular-bin", "3", "120"), ("cylinder", "2", "600")],
)
def test_other_sizes_and_ports(vessel: str, ports: str, mass: str) -> None:
    """Small and large vessels and several ports are served as well."""
    plan = plan_of(answers_of({"vessel": vessel, "ports": ports, "fill_mass_kg": mass}))
    assert len(plan.sampler.ports_mm) == int(ports)
    assert all(f.verdict is not Fitness.UNFIT for f in findings(plan))


def test_text_is_complete_and_commented() -> None:
    """Answers stand in the text; every table of a plan is there, or named in a comment."""
    text = new_plan(
        answers_of(
            {
                "product": 'Demonol "forte"',
                "witness": "Bo Zaremba",
                "vessel_litres": "300,5",
                "claim_mg": "12.5",
                "dose_mg": "100",
            }
        )
    )
    table = tomllib.loads(text)
    assert table["study"]["product"] == 'Demonol "forte"'
    assert [person["name"] for person in table["people"]] == ["Ada Winter", "Bo Zaremba"]
    assert table["dose"] == {"mass_mg": 100.0, "label_claim_mg": 12.5}
    known = {field.alias or name for name, field in Plan.model_fields.items()}
    left_out = {
        *("weighing", "blending", "limits", "handling"),
        *("acceptance", "laboratory", "cautions", "witnessed"),
    }
    assert set(table) | left_out == known
    for commented in ("# [weighing]", "# [limits]", "# replicates_reason", "# active_d50_um"):
        assert commented in text
    assert parse_plan(text.encode(), "t") == parse_plan(
        new_plan(
            answers_of(
                {
                    "product": 'Demonol "forte"',
                    "witness": "Bo Zaremba",
                    "vessel_litres": "300.5",
                    "claim_mg": "12.5",
                    "dose_mg": "100",
                }
            )
        ).encode(),
        "u",
    )


@pytest.mark.slow
def test_volume_asked_for_is_met() -> None:
    """Sizes are rounded up to 5 mm, so the volume comes out a little above."""
    for kind in KINDS:
        plan = plan_of(answers_of({"vessel": kind, "vessel_litres": "450"}))
        (fill,) = [f for f in findings(plan) if f.subject == "fill"]
        litres = float(fill.number.split(" of ")[1].removesuffix(" L"))
        assert 450 <= litres <= 450 * 1.04


def test_questions_have_answers() -> None:
    """The defaults alone make a plan; every question is known to the answers."""
    assert answers_of({}).vessel == "double-cone"
    assert {question.key for question in QUESTIONS} == set(type(answers_of({})).model_fields)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ({"vessel": "bucket"}, "vessel has 'bucket'; choose one of double-cone, v-blender"),
        ({"colour": "red"}, "there is no question 'colour'; leave it out"),
        ({"dose_mg": "much"}, "dose_mg has 'much', which is not a number"),
        ({"dose_mg": "-1"}, "dose_mg has '-1.0': Input should be greater than 0."),
        (
            {"bulk_density_g_ml": "450"},
            "no blend is that dense; the unit is g/mL; if it is in kg/m3",
        ),
        ({"batch": "Ä1"}, "batch has 'Ä1': holds 'Ä'"),
        ({"claim_mg": "900"}, "is more than the whole unit dose"),
        ({"vessel_litres": "100"}, "take 266.7 L, but the vessel holds"),
        ({"vessel_litres": "3"}, "vessel_litres has '3.0': Input should be greater than or equal"),
        ({"operator": "Ann", "witness": "ann"}, "name 'ann' stands twice"),
        ({"fill_mass_kg": "1", "vessel_litres": "5"}, "no way into the bed was found for"),
    ],
)
def test_wrong_answers(given: dict[str, str], sentence: str) -> None:
    """Each wrong answer is told by its question."""
    with pytest.raises(PlanError) as caught:
        new_plan(answers_of(given))
    assert sentence in str(caught.value)


@pytest.mark.slow
def test_proposal_steps_aside_for_several_ports() -> None:
    """With three ports the deep spot in the middle moves out of the upper one's way."""
    plan = plan_of(answers_of({"ports": "3"}))
    codes = [place.code for place in propose(plan)]
    assert sorted(codes) == sorted(place.code for place in plan.locations)
    assert all(f.verdict is not Fitness.UNFIT for f in findings(plan))


@pytest.mark.slow
def test_bed_too_shallow_for_the_ports() -> None:
    """Four ports over 300 mm find no place in a bed of a few centimetres, wherever it is tried."""
    given = {"vessel": "cylinder", "ports": "4", "fill_mass_kg": "20", "vessel_litres": "900"}
    with pytest.raises(
        PlanError, match="no way into the bed was found for 'centre, under the lid'"
    ):
        new_plan(answers_of(given))


def test_proposal_on_a_heap() -> None:
    """A heaped bed is sampled too; steep tilts are left out."""
    plan = plan_of(answers_of({"vessel": "cylinder"}))
    heaped = plan.model_copy(update={"powder": plan.powder.model_copy(update={"repose_deg": 20.0})})
    found = heaped.model_copy(update={"locations": propose(heaped)})
    assert all(f.verdict is not Fitness.UNFIT for f in findings(found))
