"""The report on dosage units: what it says, computes and writes as JSON."""

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from assistant.evaluation.dosage_unit_study import evaluate_units
from assistant.evaluation.review import Answer
from assistant.evaluation.simulated_assays import Truth
from assistant.report.document_model import Block, Document, Facts, Heading, Table, Text, Verdict
from assistant.report.evaluation_run import Case, EvaluationRequest, Laboratory, make_case
from assistant.report.html import html
from assistant.report.json_output import case_json
from assistant.report.sections import document
from assistant.report.sections_predictive import predictive_sentence
from assistant.report.vial_records import RecordStudy

Record = Callable[..., RecordStudy]
Sheet = Callable[..., Laboratory]
WithUnits = Callable[..., Case]


@pytest.fixture
def case(record: Record, sheet: Sheet) -> WithUnits:
    """Return a function that evaluates a blend with dosage units of stated mean and SD."""

    def make(
        locations: int = 40,
        units: int = 3,
        mean: float = 99.5,
        sd: float = 1.5,
        blend: Truth | None = None,
        *,
        weighed: bool = True,
        corrected: bool = False,
        predict: bool = False,
    ) -> Case:
        draw = np.random.default_rng(2).normal(mean, sd, (locations, units))
        rows = [
            f"{place + 1},{number + 1},{value:.2f}" + (",250" if weighed else "")
            for (place, number), value in np.ndenumerate(draw)
        ]
        heading = "Location,Tablet,Assay (% of label claim)" + (",Mass (mg)" if weighed else "")
        taken = record()
        return make_case(
            taken,
            sheet(taken, blend or Truth(99.5, 0.9, 0.9)),
            EvaluationRequest(weight_corrected=corrected, predict=predict),
            software="s",
            units=sheet("\n".join([heading, *rows])),
        )

    return make


def words(blocks: Document | tuple[Block, ...]) -> str:
    """All text of a document."""
    found: list[str] = []
    for block in blocks.blocks if isinstance(blocks, Document) else blocks:
        if isinstance(block, Text | Heading):
            found.append(block.text)
        elif isinstance(block, Verdict):
            found += [block.line, block.sentence, *block.asides]
        elif isinstance(block, Table):
            found += [cell for row in block.rows for cell in row] + [block.note]
        elif isinstance(block, Facts):
            found += [cell for row in block.rows for cell in row]
    return "\n".join(found)


def test_both_answers_stand_on_page_1(case: WithUnits) -> None:
    """The blend's first, the units' below it, with the comparison that decides nothing."""
    found = case()
    first, second = (block for block in document(found).blocks if isinstance(block, Verdict))
    assert first.line == "CRITERIA MET"
    assert second.line == "DOSAGE UNITS, STAGE 2: CRITERIA MET"
    assert "120 units from 40 locations" in second.sentence
    assert "not weight-corrected" in second.sentence
    assert second.asides[-1].startswith("Blend less units, not part of the verdict:")
    assert found.answer is Answer.MET


@pytest.mark.parametrize(
    ("sd", "mean", "answer", "line"),
    [
        (9.0, 99.5, Answer.NOT_MET, "DOSAGE UNITS, STAGE 2: CRITERIA NOT MET"),
        (0.3, 89.6, Answer.OPEN, "DOSAGE UNITS, STAGE 2: CRITERIA MET, BUT 1 open point"),
    ],
)
def test_the_worse_answer_counts(
    case: WithUnits, sd: float, mean: float, answer: Answer, line: str
) -> None:
    """A calm blend does not hide units that are not met or leave a point open."""
    found = case(sd=sd, mean=mean)
    assert (found.blend_answer, found.units_answer, found.answer) == (Answer.MET, answer, answer)
    assert line in words(document(found))
    assert case(blend=Truth(99.5, 9.0, 1.0)).answer is Answer.NOT_MET


def test_what_is_left_out_is_said(case: WithUnits) -> None:
    """Units that were not weighed, corrected contents alone, and a blend that is not met."""
    assert "since they were not weighed" in words(document(case(weighed=False)))
    bare = case(weighed=False, corrected=True)
    assert "They are judged for want of others" in words(document(bare))
    assert ", weight-corrected" in words(document(bare))
    failed = words(document(case(blend=Truth(99.5, 9.0, 1.0))))
    assert "does not lead to dosage units" in failed
    assert "Dosage units made of the blend" in failed


def test_bias_and_spread_in_words(case: WithUnits) -> None:
    """Each way the blend can differ from the units has its sentence."""
    calm = words(document(case(units=1, sd=1.0)))
    assert "The means of blend samples and units do not differ by more than chance." in calm
    assert "Their spreads do not differ by more than chance." in calm
    above = words(document(case(mean=95.0, sd=4.0)))
    assert "% of label claim above the units, by more than chance" in above
    assert "The units spread wider, by more than chance" in above
    below = words(document(case(mean=103.0, sd=0.2)))
    assert "% of label claim below the units" in below
    assert "The blend samples spread wider, by more than chance" in below
    flat = words(document(case(sd=0.0, blend=Truth(99.5, 0.0, 0.0))))
    assert "Their spreads cannot be compared" in flat
    assert "no error can be stated" in flat


def test_the_acceptance_value_where_it_is_defined(case: WithUnits) -> None:
    """Ten units of a location have one, three have none."""
    assert "here a location has 3, so none is given" in words(document(case()))
    ten = words(document(case(locations=4, units=10)))
    assert "it applies to those units alone" in ten
    assert "criteria met" in ten
    found = case(locations=4, units=10)
    assert found.units is not None
    uneven = found.units.locations
    short = replace(uneven[0], pharmacopoeia=None)
    part = replace(found, units=replace(found.units, locations=(short, *uneven[1:])))
    assert "it applies to those units alone" in words(document(part))


def test_the_computation_can_be_followed(case: WithUnits) -> None:
    """Mean and SD of stage 1 in the steps are those of the first column of the units' table."""
    for units in (1, 3):
        tables = [block for block in document(case(units=units)).blocks if isinstance(block, Table)]
        by_name = {block.columns[0].heading: block for block in tables}
        steps = by_name["Dosage units: first unit of each location, and all"]
        values = {row[0]: row[2] for row in steps.rows}
        places = next(
            block for block in tables if block.note.startswith("In % of label claim. The")
        )
        firsts = [float(row[4].split(",")[0]) for row in places.rows]
        assert values["stage 1 mean"] == f"{np.mean(firsts):.4f}"
        assert values["stage 1 SD"] == f"{np.std(firsts, ddof=1):.4f}"
        assert "Dosage units: acceptance limit, plan 1" in by_name
        assert ("Dosage units: acceptance limit, plan 2" in by_name) is (units == 3)


def test_json_and_html_carry_the_units(case: WithUnits) -> None:
    """Every number, the sheet's name and hash, and the answer; null without a sheet."""
    found = case()
    read = json.loads(case_json(found))["dosage_units"]
    assert found.units is not None
    assert read["answer"] == "criteria met"
    assert read["name"] == "lab-4711.csv"
    assert read["study"]["comparison"]["bias"] == found.units.comparison.bias
    assert len(read["study"]["units"]) == 120
    assert b"Dosage units made of the blend" in html(document(found))
    without = replace(found, units=None, units_laboratory=None)
    assert json.loads(case_json(without))["dosage_units"] is None
    assert "Dosage units" not in words(document(without)).replace("Dosage units from", "")


def test_a_prediction_only_where_asked_for(case: WithUnits) -> None:
    """From the units' content; from the blend where that is unknown; never part of the verdict."""
    assert case().prediction is None
    assert "Predicted" not in words(document(case()))
    found = case(predict=True)
    assert found.prediction is not None
    assert found.answer is case().answer
    told = words(document(found))
    assert "It rests on the contents of the dosage units." in told
    assert "no trial failed; fails in less than 0.015 %" in told
    never = words(document(case(predict=True, sd=30.0)))
    assert "no trial passed; passes in less than 0.015 %" in never
    between = case(predict=True, sd=6.5)
    assert between.prediction is not None
    assert 0.0 < between.prediction.passes < 1.0
    assert f"standard error {100 * between.prediction.error:.2f} %" in words(document(between))
    assert json.loads(case_json(found))["prediction"]["passes"] == found.prediction.passes
    of_blend = case(predict=True, weighed=False, corrected=True)
    assert "what the sampling adds is part of it" in words(document(of_blend))
    assert "from the blend samples" in predictive_sentence(of_blend)
    single = case(predict=True, units=1, sd=6.5)
    assert single.prediction != between.prediction
    assert "from the dosage units" in predictive_sentence(single)
    assert found.units is not None
    uneven = [unit for unit in found.units.units if unit.location != "1" or unit.number == "1"]
    part = replace(found, units=evaluate_units(uneven, found.study.results))
    assert "approximate beyond that" in words(document(part))
