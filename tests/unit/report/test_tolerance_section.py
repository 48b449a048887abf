"""Tolerance limits in the report: only where asked for, with what they assume, never a verdict."""

import json
from collections.abc import Callable, Sequence
from dataclasses import replace
from math import sqrt

import pytest
from scipy import stats

from assistant.evaluation.simulated_assays import Truth
from assistant.evaluation.tolerance import Asked, of_components, of_sample
from assistant.report.document_model import Block, Heading, Table, Text
from assistant.report.evaluation_run import Case, EvaluationRequest, Laboratory, make_case
from assistant.report.formatting import fixed
from assistant.report.json_output import case_json
from assistant.report.sections import document, verdict
from assistant.report.sections_tolerance import tolerance
from assistant.report.vial_records import RecordStudy

MakeCase = Callable[..., Case]
Record = Callable[..., RecordStudy]
Sheet = Callable[..., Laboratory]

TITLE = "Tolerance interval for the batch"
ASKED = Asked(0.95, 0.90)
WISH = EvaluationRequest(tolerance=ASKED)


def headings(case: Case) -> list[str]:
    """The titles of a report's sections."""
    return [block.text for block in document(case).blocks if isinstance(block, Heading)]


def text(blocks: Sequence[Block]) -> str:
    """The paragraphs and notes of some blocks."""
    said = [block.text for block in blocks if isinstance(block, Text)]
    return "\n".join(said + [block.note for block in blocks if isinstance(block, Table)])


def steps(blocks: Sequence[Block]) -> dict[str, tuple[str, str]]:
    """Formula and value of each step."""
    found = [block for block in blocks if isinstance(block, Table)][-1]
    return {row[0]: (row[1], row[2]) for row in found.rows}


def singles(record: Record, sheet: Sheet, request: EvaluationRequest = WISH) -> Case:
    """A study with one result for each location."""
    rows = "".join(f"{n},{98 + n % 7 / 2}\n" for n in range(1, 31, 3))
    assays = sheet("vial,assay (% of target)\n" + rows)
    return make_case(record(), assays, replace(request, partial=True), software="x")


def test_the_section_is_there_only_where_it_is_asked_for(case: MakeCase) -> None:
    """It stands after the components; nothing else of the report's order changes."""
    plain, asked = headings(case()), headings(case(request=WISH))
    place = asked.index(TITLE)
    assert asked[place - 1] == "Variance components"
    assert plain == asked[:place] + asked[place + 1 :]


@pytest.mark.parametrize("truth", [Truth(99.2, 1.4, 0.9), Truth(99.0, 6.0, 2.0)])
def test_the_verdict_is_the_same_with_it(case: MakeCase, truth: Truth) -> None:
    """The first page, the answer and the open points."""
    plain, asked = case(truth=truth), case(truth=truth, request=WISH)
    assert verdict(plain) == verdict(asked)
    assert (plain.answer, plain.open_points) == (asked.answer, asked.open_points)


def test_the_limits_follow_from_the_steps_with_replicates(case: MakeCase) -> None:
    """A calculator with tables of quantiles comes to the limits of the first table."""
    found = case(request=WISH)
    blocks = list(tolerance(found))
    components = found.study.components
    assert components is not None
    expected = of_components(components.table, ASKED)
    assert found.tolerance == expected
    limits = next(block for block in blocks if isinstance(block, Table))
    assert limits.rows[0] == (
        "two-sided interval 95/90",
        fixed(expected.lower),
        fixed(expected.upper),
    )
    assert limits.rows[1] == ("lower limit alone", fixed(expected.lower_alone), "")
    assert limits.rows[2] == ("upper limit alone", "", fixed(expected.upper_alone))
    row = steps(blocks)
    n, b, w, v, h1, h2, u = (float(row[key][1]) for key in ("n", "B", "W", "V", "H1", "H2", "U"))
    assert (n, row["V"][0]) == (3.0, "B / 10 locations")
    assert b == pytest.approx(components.table.ms_between / 3, abs=1e-4)
    assert w == pytest.approx(2 / 3 * components.table.ms_within, abs=1e-4)
    assert v == pytest.approx(b / 10, abs=1e-4)
    assert h1 == pytest.approx(9 / stats.chi2.ppf(0.1, 9) - 1, abs=1e-4)
    assert h2 == pytest.approx(20 / stats.chi2.ppf(0.1, 20) - 1, abs=1e-4)
    assert u == pytest.approx(b + w + sqrt((h1 * b) ** 2 + (h2 * w) ** 2), abs=1e-3)
    half = stats.norm.ppf(0.975) * sqrt((1 + v / (b + w)) * u)
    reach = stats.norm.ppf(0.95) * sqrt(u) + stats.norm.ppf(0.90) * sqrt(v)
    assert expected.upper - expected.mean == pytest.approx(half, abs=1e-3)
    assert expected.mean - expected.lower_alone == pytest.approx(reach, abs=1e-3)
    assert row["two-sided"][1] == f"-/+ {fixed(expected.upper - expected.mean, 4)}"
    assert row["one-sided"][1] == f"-/+ {fixed(expected.upper_alone - expected.mean, 4)}"


def test_it_says_what_is_assumed_and_what_is_not_shown(case: MakeCase) -> None:
    """Levels, model, sources, simulated confidence, and what no interval can cover."""
    said = text(list(tolerance(case(request=WISH))))
    for words in (
        "At a confidence level of 90 %, at least 95 % of the results",
        "the verdict does not depend on them",
        "like a random sample",
        "Hoffman & Kringle 2005",
        "at most 1.1 percentage points",
        "not drawn at random",
        "A bias of the sampler",
    ):
        assert words in said
    for words in ("unweighted", "approximate", "Each port"):
        assert words not in said


def test_one_result_for_each_location_uses_the_exact_factors(record: Record, sheet: Sheet) -> None:
    """A simple sample has no components and no method with replicates."""
    found = singles(record, sheet)
    blocks = list(tolerance(found))
    expected = of_sample([result.assay for result in found.study.results], ASKED)
    assert found.study.components is None
    assert found.tolerance == expected
    assert expected.factors is not None
    row = steps(blocks)
    assert (row["k2"][1], row["k1"][1]) == (
        fixed(expected.factors[0], 4),
        fixed(expected.factors[1], 4),
    )
    assert row["k2"][0] == "exact two-sided factor for 10 results"
    assert "exact factors of a normal sample" in text(blocks)
    assert "Kringle" not in text(blocks)


def test_unequal_numbers_are_said_to_be_approximate(record: Record, sheet: Sheet) -> None:
    """And the mean is that of the location means."""
    rows = "".join(f"{n},{98 + n % 7 / 2}\n" for n in range(1, 30))
    request = replace(WISH, partial=True)
    found = make_case(record(), sheet("vial,assay (% of target)\n" + rows), request, software="x")
    blocks = list(tolerance(found))
    assert "of the location means, unweighted" in text(blocks)
    assert "approximate beyond that" in text(blocks)
    assert steps(blocks)["B"][0] == "MSB of the unweighted location means / n"


def test_equal_results_say_nothing_about_the_batch(record: Record, sheet: Sheet) -> None:
    """The limits have no width, so there is a warning in place of the steps."""
    rows = "".join(f"{n},99\n" for n in range(1, 31))
    found = make_case(record(), sheet("vial,assay (% of target)\n" + rows), WISH, software="x")
    blocks = list(tolerance(found))
    assert [block.text for block in blocks if isinstance(block, Text) and block.tone == "warning"]
    assert len([block for block in blocks if isinstance(block, Table)]) == 1


def test_ports_are_named_where_the_design_has_them(case: MakeCase) -> None:
    """They lie in one insertion, and the method takes them as independent."""
    assert "Each port of an insertion" in text(list(tolerance(case(plan="bin", request=WISH))))


@pytest.mark.parametrize(("doses", "named"), [(1, False), (2, True)])
def test_samples_of_several_doses_are_named(
    record: Record, sheet: Sheet, doses: int, *, named: bool
) -> None:
    """Single doses vary more than samples that hold several."""
    taken = record()
    rows = "".join(
        f"{vial.vial},{98 + int(vial.vial) % 7 / 2},{doses * taken.plan.dose.mass_mg}\n"
        for vial in taken.vials
    )
    heavy = sheet("vial,assay (% of target),net mass (mg)\n" + rows)
    said = text(list(tolerance(make_case(taken, heavy, WISH, software="x"))))
    assert ("The samples hold 2.00 unit doses; single doses vary more." in said) is named
    assert ("unit doses" in said) is named


def test_json_has_every_figure_or_null(case: MakeCase) -> None:
    """At full precision."""
    found = case(request=WISH)
    read = json.loads(case_json(found))["tolerance_interval"]
    assert found.tolerance is not None
    assert read["asked"] == {"proportion": 0.95, "confidence": 0.9, "name": "95/90"}
    assert (read["lower"], read["upper"]) == (found.tolerance.lower, found.tolerance.upper)
    assert json.loads(case_json(case()))["tolerance_interval"] is None
