"""The numbers of an evaluation as JSON: complete, at full precision, the same each time."""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from assistant.evaluation.operating_characteristic import Design
from assistant.report.evaluation_run import Case, EvaluationRequest, Laboratory, make_case
from assistant.report.json_output import case_json, plain
from assistant.report.vial_records import RecordStudy

MakeCase = Callable[..., Case]
Record = Callable[..., RecordStudy]
Sheet = Callable[..., Laboratory]


def test_numbers_read_back_as_they_were(case: MakeCase) -> None:
    """Not a digit is lost, of results, components, limits, trends and curve."""
    found = case()
    read = json.loads(case_json(found))
    study, parts = read["study"], found.study.components
    assert parts is not None
    assert study["summary"]["sd"] == found.study.summary.sd
    assert study["components"]["table"]["ms_between"] == parts.table.ms_between
    assert study["components"]["table"]["between"] == parts.table.between
    assert study["components"]["intervals"]["between"]["upper"] == parts.intervals.between.upper
    assert [r["assay"] for r in study["results"]] == [r.assay for r in found.study.results]
    assert [t["p_adjusted"] for t in study["trends"]] == [t.p_adjusted for t in found.study.trends]
    curve = read["operating_characteristic"]
    assert curve["between_sd"] == list(found.curve.between_sd)
    assert curve["probability"]["usp-905"] == list(found.curve.probability["usp-905"])


def test_a_reader_can_work_the_numbers_out_anew(case: MakeCase) -> None:
    """From the vials of the file alone, by the textbook: mean, SD, mean squares, F, components."""
    study = json.loads(case_json(case()))["study"]
    groups: dict[str, list[float]] = {}
    for result in study["results"]:
        groups.setdefault(result["location"], []).append(result["assay"])
    x = np.asarray(list(groups.values()))
    between = 3 * x.mean(axis=1).var(ddof=1)
    within = x.var(axis=1, ddof=1).mean()
    table = study["components"]["table"]
    assert study["summary"]["mean"] == pytest.approx(x.mean(), rel=1e-12)
    assert study["summary"]["sd"] == pytest.approx(x.std(ddof=1), rel=1e-12)
    assert table["ms_between"] == pytest.approx(between, rel=1e-10)
    assert table["ms_within"] == pytest.approx(within, rel=1e-10)
    assert table["f"] == pytest.approx(between / within, rel=1e-9)
    assert table["between"] == pytest.approx((between - within) / 3, rel=1e-9)
    wrong = (between - within) / 2
    assert table["between"] != pytest.approx(wrong, rel=1e-9)


def test_everything_that_identifies_is_there(case: MakeCase) -> None:
    """Verdict, record, laboratory and vials can be told without the report."""
    found = case()
    read = json.loads(case_json(found))
    assert read["format"] == "evaluation 1"
    assert read["verdict"]["met"] is True
    assert read["record"]["head_code"] == found.head
    assert read["record"]["hash"] == found.record.last.hash
    assert read["record"]["opened"]["plan_sha256"] == found.record.opened.plan_sha256
    assert read["laboratory"]["sha256"] == found.laboratory.sha256
    assert len(read["record"]["vials"]) == 30
    assert read["record"]["vials"][0]["status"] == "full"
    assert read["signatures"] == []


def test_the_same_case_gives_the_same_bytes(case: MakeCase) -> None:
    """And another one does not."""
    assert case_json(case()) == case_json(case())
    assert case_json(case()) != case_json(case(masses=False))


def test_what_does_not_exist_is_null(record: Record, sheet: Sheet) -> None:
    """With equal results there is no F and no REML."""
    text = "vial,assay (% of target)\n" + "".join(f"{n},99\n" for n in range(1, 31))
    found = make_case(record(), sheet(text), EvaluationRequest(), software="x")
    read = json.loads(case_json(found))
    assert read["study"]["components"]["table"]["f"] is None
    assert read["study"]["components"]["reml"] is None


@dataclass(frozen=True)
class Odd:
    """Holds what JSON has no form for."""

    what: object


def test_only_what_json_knows_is_written() -> None:
    """Not finite becomes null; arrays and frozen values become lists and objects; else an error."""
    assert plain([math.inf, math.nan, 1.5, True, "a", None]) == [None, None, 1.5, True, "a", None]
    assert plain(np.array([[1.0, 2.0]])) == [[1.0, 2.0]]
    assert plain({Design(2, 1).locations: Design(2, 1)}) == {"2": {"locations": 2, "replicates": 1}}
    with pytest.raises(TypeError, match="bytes cannot be written"):
        plain(Odd(b"x"))
