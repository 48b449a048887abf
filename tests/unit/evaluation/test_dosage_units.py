"""Dosage units: their sheet read, their stages judged, and the blend compared with them."""

from collections.abc import Sequence
from math import sqrt

import numpy as np
import pytest
from scipy import stats

from assistant.errors import InputError
from assistant.evaluation import blend_to_units
from assistant.evaluation.assay_units import Target
from assistant.evaluation.dosage_unit_sheet import DosageUnit, dosage_units
from assistant.evaluation.dosage_unit_study import UnitStudy, evaluate_units
from assistant.evaluation.e2810 import Demand
from assistant.evaluation.results import Result
from assistant.evaluation.schemes import Verdict
from assistant.evaluation.sheet_headings import weight_corrected
from assistant.evaluation.sheet_import import table_from_csv
from assistant.evaluation.sheet_rows import read_sheet
from assistant.evaluation.simulated_assays import Truth, dosage_unit_sheet, regular_vials, results

TARGET = Target(20.0, 250.0)
CLAIM = "Location,Tablet,Assay (% of label claim)"
PLAIN = "Location,Tablet,Assay (% of label claim; not weight-corrected)"


def read(
    text: str, *, corrected: bool | None = None, batch: str | None = None
) -> tuple[DosageUnit, ...]:
    """The units of a sheet."""
    sheet = read_sheet(table_from_csv(text.replace("; ", " "), "units.csv"))
    return dosage_units(sheet, TARGET, batch=batch, corrected=corrected)


@pytest.mark.parametrize(
    ("heading", "said"),
    [
        ("Assay (% of label claim, weight-corrected)", True),
        ("Assay %LC weight corrected", True),
        ("Assay (%LC) corrected for weight", True),
        ("Assay (% of label claim, not weight-corrected)", False),
        ("Assay (% LC, non-weight-corrected)", False),
        ("Assay (% LC) not corrected for mass", False),
        ("Assay (% LC) uncorrected for weight", False),
        ("Assay (% LC)", None),
    ],
)
def test_a_heading_says_whether_it_is_corrected(*, heading: str, said: bool | None) -> None:
    """In the words laboratories use; the unit is read all the same."""
    assert weight_corrected(heading) is said
    units = read(
        f"Location;Tablet;{heading}\n1;1;98\n2;1;99\n".replace(",", " ").replace(";", ","),
        corrected=None if said is not None else False,
    )
    assert [(unit.content, unit.corrected) for unit in units] == (
        [(None, 98.0), (None, 99.0)] if said else [(98.0, None), (99.0, None)]
    )


@pytest.mark.parametrize(
    ("heading", "row", "content", "corrected"),
    [
        ("Assay (% of label claim not weight-corrected)", "102", 102.0, 100.0),
        ("Assay (% of label claim weight-corrected)", "100", 102.0, 100.0),
        ("Assay (mg)", "20.4", 102.0, 100.0),
        ("Assay (mg/g)", "80", 102.0, 100.0),
        ("Assay (% by weight)", "8", 102.0, 100.0),
    ],
)
def test_each_content_gives_the_other(
    heading: str, row: str, content: float, corrected: float
) -> None:
    """A unit of 255 mg instead of 250 with powder on target holds 102 % of label claim."""
    text = f"Location,Tablet,{heading},Tablet weight (mg)\n1,1,{row},255\n2,1,{row},255\n"
    for unit in read(text):
        assert unit.content == pytest.approx(content)
        assert unit.corrected == pytest.approx(corrected)


BAD = {
    "nothing said": (f"{CLAIM}\n1,1,98\n2,1,99\n", "nothing says whether"),
    "no unit": ("Location,Tablet,Assay (%)\n1,1,98\n2,1,99\n", "does not say of what"),
    "twice": (f"{PLAIN}\n1,1,98\n1,1,99\n2,1,99\n", "row 3: dosage unit 1 1 stands twice"),
    "no assay": (f"{PLAIN}\n1,1,98\n2,1,\n", "unit 2 1 .row 3. has no assay"),
    "one location": (f"{PLAIN}\n1,1,98\n1,2,99\n", "come from location 1"),
    "far mean": (f"{PLAIN}\n1,1,8\n2,1,8.1\n", "mean of the dosage units would be 8.05 %"),
    "other batch": (f"{PLAIN},Batch\n1,1,98,B\n2,1,99,Z9\n", "unit is of batch Z9"),
    "some masses": (f"{PLAIN},Mass (mg)\n1,1,98,250\n2,1,99,\n", "1 of 2 dosage units have a mass"),
    "heavy": (f"{PLAIN},Mass (mg)\n1,1,98,1000\n2,1,99,1000\n", "weigh 4 times the plan's unit"),
    "tiny mass": (f"{PLAIN},Mass (mg)\n1,1,98,250\n2,1,99,.01\n", "check the assay, its unit and"),
    "too much": (
        "Location,Tablet,Assay (mg)\n1,1,20\n2,1,9999\n",
        "content of 49995 % of label claim cannot be",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_sheet_is_one_clear_sentence(name: str) -> None:
    """What is wrong is named."""
    text, sentence = BAD[name]
    with pytest.raises(InputError, match=sentence):
        read(text, batch="B")


def test_contradictions_are_refused() -> None:
    """Heading against option, and a concentration said not to be corrected."""
    with pytest.raises(InputError, match="contradicts what was said"):
        read(f"{PLAIN}\n1,1,98\n2,1,99\n", corrected=True)
    with pytest.raises(InputError, match="count as weight-corrected"):
        read("Location,Tablet,Assay (mg/g)\n1,1,80\n2,1,80\n", corrected=False)


def test_one_unit_a_location_needs_no_number() -> None:
    """The label of the sample is then the location."""
    units = read("Sample,Assay (mg)\n1,20\n2,20.2\n")
    assert [(unit.location, unit.number) for unit in units] == [("1", ""), ("2", "")]


def made(
    locations: int, units: int, *, mean: float = 100.0, sd: float = 1.5, seed: int = 1
) -> tuple[DosageUnit, ...]:
    """Normal contents, the same powder everywhere."""
    draw = np.random.default_rng(seed).normal(mean, sd, (locations, units))
    return tuple(
        DosageUnit(f"T{place + 1}", str(number + 1), float(value), float(value), 250.0)
        for (place, number), value in np.ndenumerate(draw)
    )


BLEND: Sequence[Result] = results(regular_vials(10, 3), Truth(100.0, 1.0, 1.0), 3)


def judged(units: Sequence[DosageUnit], verdict: Verdict = Verdict.MET) -> UnitStudy:
    """The units judged after a blend with this verdict."""
    return evaluate_units(units, BLEND, blend_verdict=verdict)


def test_the_stages() -> None:
    """40 x 1 by plan 1, 40 x 3 by plan 2; a wide stage 1 asks for the other units."""
    first = judged(made(40, 1))
    assert (first.stage, first.outcome.verdict) == (1, Verdict.MET)
    assert (first.outcome.scheme.key, first.outcome.shortfalls) == ("e2810-plan-1", ())
    wide = judged(made(40, 1, sd=6.5))
    assert wide.outcome.verdict is Verdict.MORE
    assert wide.outcome.sentence.endswith("Assay the remaining units of each location for stage 2.")
    second = judged(made(40, 3, sd=3.0))
    assert (second.stage, second.outcome.verdict) == (2, Verdict.MET)
    assert (second.outcome.scheme.key, second.outcome.shortfalls) == ("e2810-plan-2", ())
    assert [bound.plan for bound in second.bounds] == [1, 2]
    assert judged(made(40, 3, sd=8.0)).outcome.verdict is Verdict.FAIL


def test_a_tightened_blend_begins_at_stage_2() -> None:
    """One unit a location is then not enough, three are."""
    one = judged(made(40, 1), Verdict.TIGHTENED)
    assert one.outcome.verdict is Verdict.MORE
    assert "begins at stage 2: assay 3 units of each location" in one.outcome.sentence
    assert judged(made(40, 3), Verdict.TIGHTENED).outcome.verdict is Verdict.MET


def test_smaller_designs_are_named() -> None:
    """Fewer locations or units than the scheme has."""
    assert judged(made(20, 1)).outcome.shortfalls == ("20 locations, where 40 are asked for",)
    assert judged(made(20, 2)).outcome.shortfalls == (
        "20 locations, where 40 are asked for",
        "2 units assayed a location, where 3 are asked for",
    )


def test_the_first_unit_is_the_lowest_number() -> None:
    """In whatever order the sheet has them; numbers that are no numbers keep its order."""
    units = made(3, 3)
    found = judged(tuple(reversed(units)))
    assert [place.name for place in found.locations] == ["T3", "T2", "T1"]
    assert found.locations[2].values[0] == units[0].content
    lettered = tuple(DosageUnit(u.location, f"n{u.number}", u.content, None) for u in units)
    kept = judged(tuple(reversed(lettered)))
    assert kept.locations[2].values[0] == units[2].content


def test_the_acceptance_value_of_a_location() -> None:
    """For 10 or 30 units of one location, not for three."""
    assert all(place.pharmacopoeia is None for place in judged(made(40, 3)).locations)
    for count in (10, 30):
        found = judged(made(4, count)).locations[0].pharmacopoeia
        assert found is not None
        assert found.verdict is Verdict.MET


def test_open_points() -> None:
    """Mean, location, unit, outlier, normality, and corrected contents alone; each by itself."""
    assert judged(made(40, 3)).open_points == ()
    low = judged(made(40, 3, mean=88.0, sd=0.5)).open_points
    assert [point[:38] for point in low] == ["The mean of the units is 87.97 % of la"]
    units = list(made(40, 3))
    units[3:6] = [DosageUnit("T2", u.number, 74.0 + i, 74.0 + i) for i, u in enumerate(units[3:6])]
    far = " ".join(judged(units).open_points)
    assert "Location means beyond 90 to 110 % of label claim" in far
    assert "T2 (75.00)" in far
    assert "Units beyond 75 to 125 % of label claim" in far
    assert "T2 (74.00)" in far
    assert "stands out: Grubbs' G" in far
    single = list(made(40, 1))
    single[0] = DosageUnit("T1", "1", 60.0, 60.0)
    assert "E2810 assumes normal results" in " ".join(judged(single).open_points)
    single[0] = DosageUnit("T1", "1", 94.0, 94.0)
    assert "W is 0.9195, p = 0.0074" in " ".join(judged(single).open_points)
    corrected = [DosageUnit(u.location, u.number, None, u.corrected) for u in made(40, 3)]
    found = judged(corrected)
    assert "Only weight-corrected contents are known" in found.open_points[0]
    assert (found.uncorrected, found.weighed) == (False, True)


def test_limits_follow_the_target() -> None:
    """The draft's 90 to 110 % were of the target: 94.5 to 115.5 % of label claim at T = 105."""
    units = made(40, 3, mean=112.0, sd=0.5)
    assert evaluate_units(units, BLEND, demand=Demand(target=105.0)).open_points == ()
    assert "beyond 90 to 110" in judged(units).open_points[0]


def test_bias_and_ratio_against_another_library() -> None:
    """Welch's interval and degrees of freedom by scipy; the ratio's interval by hand."""
    draw = np.random.default_rng(9)
    blend, units = draw.normal(101.0, 1.0, (10, 3)), draw.normal(99.0, 2.5, (40, 1))
    found = blend_to_units.compare(
        blend.tolist(), units.tolist(), blend[:, 0].tolist(), units[:, 0].tolist()
    )
    other = stats.ttest_ind(blend.mean(axis=1), units.mean(axis=1), equal_var=False)
    limits = other.confidence_interval(0.95)
    assert (found.bias_low, found.bias_high) == pytest.approx((limits.low, limits.high), rel=1e-9)
    assert found.df == pytest.approx(other.df, rel=1e-9)
    assert found.biased
    f = stats.f(39, 9)
    ratio = units.std(ddof=1) / blend[:, 0].std(ddof=1)
    assert found.ratio == pytest.approx(ratio, rel=1e-12)
    assert found.ratio_low == pytest.approx(ratio / sqrt(f.ppf(0.975)), rel=1e-9)
    assert found.ratio_high == pytest.approx(ratio / sqrt(f.ppf(0.025)), rel=1e-9)


def test_a_comparison_without_spread() -> None:
    """Equal results have no error, so any difference is one; no ratio is formed."""
    flat = blend_to_units.compare([[100.0], [100.0]], [[99.0], [99.0]], [100.0] * 2, [99.0] * 2)
    assert (flat.bias, flat.bias_low, flat.ratio) == (1.0, None, None)
    assert flat.biased
    assert not flat.spread_differs


@pytest.mark.slow
def test_the_intervals_cover_as_often_as_they_say() -> None:
    """Of 2000 pairs from equal blends 5 % show a bias and 5 % a ratio, within simulation error."""
    draw = np.random.default_rng(4)
    biased = differs = 0
    for _ in range(2000):
        blend = draw.normal(0.0, 1.0, (10, 1)) + draw.normal(0.0, 1.0, (10, 3))
        units = draw.normal(0.0, 1.0, (40, 1)) + draw.normal(0.0, 1.0, (40, 3))
        found = blend_to_units.compare(
            (100 + blend).tolist(),
            (100 + units).tolist(),
            blend[:, 0].tolist(),
            units[:, 0].tolist(),
        )
        biased += found.biased
        differs += found.spread_differs
    error = 3 * sqrt(0.05 * 0.95 / 2000)
    assert biased / 2000 == pytest.approx(0.05, abs=error)
    assert differs / 2000 == pytest.approx(0.05, abs=error)


def test_simulated_units_come_back_as_they_were_made() -> None:
    """The sheet is marked, and its truth is found again: powder SD, masses and mean."""
    text = dosage_unit_sheet(40, 3, Truth(99.0, 0.0, 2.0), 5, dose_mg=250.0, batch="B")
    sheet = read_sheet(table_from_csv(text, "units.csv"))
    assert sheet.made_up
    units = dosage_units(sheet, TARGET, batch="B")
    assert len(units) == 120
    powder = [unit.corrected for unit in units if unit.corrected is not None]
    assert np.mean(powder) == pytest.approx(99.0, abs=0.6)
    assert np.std(powder, ddof=1) == pytest.approx(2.0, abs=0.4)
