"""The whole evaluation: every part present, and each odd design answered in words."""

import json
from dataclasses import asdict, replace

import pytest

from assistant.errors import InputError
from assistant.evaluation.results import Result
from assistant.evaluation.simulated_assays import Truth, regular_vials, results
from assistant.evaluation.study import Options, evaluate

MADE = results(regular_vials(10, 3), Truth(between_sd=2.5, within_sd=0.8), seed=12)


def keys(study_results: tuple[Result, ...]) -> list[str]:
    """Which schemes judged."""
    return [outcome.scheme.key for outcome in evaluate(study_results).outcomes]


def test_a_full_study_has_every_part() -> None:
    """Ten by three: components, both bounds, five schemes, indications, no notes."""
    study = evaluate(MADE)
    assert study.results == MADE
    assert study.summary.n == 30
    assert [one.name for one in study.spots] == [f"L{i}" for i in range(1, 11)]
    assert study.components is not None
    assert study.components.reml is not None
    assert study.components.reml.between == pytest.approx(study.components.table.between)
    assert [bound.plan for bound in study.bounds] == [1, 2]
    assert keys(MADE) == [
        "industry-2014",
        "usp-905",
        "e2810-plan-1",
        "e2810-plan-2",
        "fda-2003-blend",
    ]
    assert [one.about for one in study.indications] == ["between locations", "within locations"]
    assert study.normality_of_all is not None
    assert study.normality_within is not None
    assert study.farthest is not None
    assert (study.nested, study.notes) == ((), ())


@pytest.mark.parametrize("assay", [None, 0.0, 100.0])
def test_the_answer_goes_into_strict_json(assay: float | None) -> None:
    """Every number is finite and keeps its full precision, also for studies without variation."""
    made = MADE if assay is None else tuple(replace(r, assay=assay) for r in MADE)
    study = evaluate(made)
    plain = json.loads(json.dumps(asdict(study), allow_nan=False))
    assert plain["summary"]["mean"] == study.summary.mean
    assert plain["outcomes"][0]["verdict"] == study.outcomes[0].verdict


def test_ports_and_positions_are_nested_both_ways() -> None:
    """Two ports and three positions: positions in locations, and ports in locations."""
    study = evaluate(results(regular_vials(10, 3, 2), Truth(depth_slope=2.0), seed=1))
    assert [[level.name for level in one.levels] for one in study.nested] == [
        ["location", "position", "residual"],
        ["location", "port", "residual"],
    ]
    assert study.components is not None
    assert study.components.table.sizes == (3,) * 20
    assert study.spots[1].name == "L1, port 2"
    assert study.notes[0].startswith("Ports are at different depths")


def test_a_difference_between_depths_is_not_laid_on_the_replicates() -> None:
    """With a strong depth effect the spread inside spots stays that of the replicates."""
    truth = Truth(between_sd=1.0, within_sd=0.5, depth_slope=2.0)
    study = evaluate(results(regular_vials(10, 3, 2), truth, seed=1))
    assert study.components is not None
    assert study.components.table.residual_sd == pytest.approx(0.5, rel=0.3)
    within = next(one for one in study.indications if one.about == "within locations")
    assert not within.large


def test_one_result_per_location_is_judged_at_stage_1() -> None:
    """No components, no plan 2, and a note that says why."""
    study = evaluate(MADE[::3])
    assert study.components is None
    assert [bound.plan for bound in study.bounds] == [1]
    assert study.indications == ()
    assert study.normality_within is None
    assert study.notes[0].startswith("One result per location")


def test_unequal_replicates_are_noted() -> None:
    """A vial short makes some intervals approximate."""
    assert "unequal" in evaluate(MADE[1:]).notes[0]


def test_equal_replicates_are_noted() -> None:
    """Replicates copied from one another have no likelihood estimate."""
    copied = tuple(replace(r, assay=MADE[3 * (i // 3)].assay) for i, r in enumerate(MADE))
    study = evaluate(copied)
    assert study.components is not None
    assert study.components.reml is None
    assert "agree exactly" in study.notes[0]


def test_all_equal_values_point_to_the_data_alone() -> None:
    """Zero variance passes every figure, and the one indication says to check the data."""
    study = evaluate([replace(result, assay=100.0) for result in MADE])
    assert [one.about for one in study.indications] == ["no variation"]
    assert study.notes[-1] == "All results are 100 % of target: there is no variation."


def test_the_random_mixture_and_the_method_enter_when_known() -> None:
    """A limit above the spread gives an indication, one below gives none."""
    below = evaluate(MADE, Options(random_rsd=9.0, method_sd=0.8))
    above = evaluate(MADE, Options(random_rsd=0.5))
    assert [one.about for one in below.indications][-1] == "random mixture"
    assert "random mixture" not in [one.about for one in above.indications]
    assert below.indications[1].significant is False


def test_no_verdict_without_locations() -> None:
    """One location only is an error, as is one outlier of 1e300."""
    with pytest.raises(InputError, match="one location"):
        evaluate(MADE[:3])
    with pytest.raises(InputError, match="above 1000 %"):
        evaluate([replace(MADE[0], assay=1e300), *MADE[1:]])


@pytest.mark.parametrize(
    "wrong", [{"confidence": 1.0}, {"random_rsd": 0.0}, {"method_sd": float("nan")}]
)
def test_options_that_mean_nothing_are_refused(wrong: dict[str, float]) -> None:
    """Levels lie between 0 and 1, figures above 0."""
    with pytest.raises(InputError, match="is not"):
        Options(**wrong)  # type: ignore[arg-type] # one field at a time
