"""Schemes beyond their certified limits: shortfalls, sizes, rounding, and the worded patterns."""

import numpy as np
import pytest

from assistant.errors import InputError
from assistant.evaluation import schemes, withdrawn_fda_2003
from assistant.evaluation.acceptance_value import acceptance_value
from assistant.evaluation.descriptive import summarise
from assistant.evaluation.e2810 import Demand, plan_1, plan_2, sd_limits
from assistant.evaluation.indications import (
    Cause,
    Thresholds,
    against_random_mixture,
    between_locations,
    no_variation,
    trend_indications,
    within_locations,
)
from assistant.evaluation.intervals import component_intervals
from assistant.evaluation.root_finding import falling_root
from assistant.evaluation.schemes import Verdict, rounded
from assistant.evaluation.simulated_assays import Truth, regular_vials, results
from assistant.evaluation.trends import trends
from assistant.evaluation.variance import OneWay, one_way

LIMITS = Thresholds()
CALM = [100.0, 100.5, 99.5, 100.2, 99.8, 100.1, 99.9, 100.3, 99.7, 100.0]


def test_rounding_is_half_up_after_dust() -> None:
    """3.05 less a rounding error is 3.05, and 3.05 is 3.1."""
    assert rounded(3.0499999999999998, 1) == 3.1
    assert rounded(2.9999999999999996) == 3.0
    assert rounded(3.0449999, 1) == 3.0


def test_every_scheme_names_source_status_and_rounding() -> None:
    """No scheme without its source; the withdrawn ones say so, the optional ones too."""
    old = withdrawn_fda_2003.BLEND
    for scheme in (schemes.INDUSTRY, schemes.UDU, schemes.PLAN_1, schemes.PLAN_2, old):
        assert scheme.source
        assert scheme.rounding
        assert scheme.status
    assert "withdrawn" in old.status
    assert all("optional" in s.status for s in (schemes.UDU, schemes.PLAN_1, schemes.PLAN_2))


def test_only_two_verdicts_are_met() -> None:
    """Tightened testing afterwards is a pass; more assays, or no judgement, are none."""
    assert [verdict for verdict in Verdict if verdict.met] == [Verdict.MET, Verdict.TIGHTENED]


def test_a_small_design_is_judged_with_its_shortfalls() -> None:
    """Six locations of two replicates: a verdict, and what the scheme asks for beside it."""
    groups = [[99.0, 101.0]] * 6
    outcome = schemes.industry(groups, [group[0] for group in groups])
    assert outcome.verdict is Verdict.MET
    assert len(outcome.shortfalls) == 2
    assert outcome.shortfalls[0].startswith("6 locations")
    assert [criterion.met for criterion in outcome.criteria] == [True, True, True]


def test_dosage_units_ask_for_ten_or_thirty() -> None:
    """Other numbers of results are not judged by an acceptance value."""
    assert schemes.dosage_units(CALM[:9], CALM[:9]).verdict is Verdict.NOT_APPLICABLE
    assert schemes.dosage_units(CALM, [*CALM, *CALM]).verdict is Verdict.NOT_APPLICABLE
    with pytest.raises(ValueError, match="not for 20"):
        acceptance_value(100.0, 1.0, 20)


def test_dosage_units_at_stage_2() -> None:
    """Ten that miss stage 1 pass among thirty calm ones, but not with one far individual."""
    first = [90.0, 110.0, 92.0, 108.0, 94.0, 106.0, 96.0, 104.0, 91.0, 109.0]
    assert schemes.dosage_units(first, first).verdict is Verdict.MORE
    good = schemes.dosage_units(first, [*first, *CALM, *CALM])
    assert (good.verdict, len(good.criteria)) == (Verdict.MET, 4)
    far = schemes.dosage_units(first, [*first, *CALM, *CALM[:9], 128.0])
    assert far.verdict is Verdict.FAIL
    assert [criterion.met for criterion in far.criteria][-1] is False


def test_acceptance_limits_as_outcomes() -> None:
    """Calm results meet both plans, wide ones meet none, and the sentence gives the bound."""
    calm = schemes.acceptance_limit_1(CALM)[0]
    assert calm.verdict is Verdict.MET
    assert "90 % confidence" in calm.sentence
    wide = schemes.acceptance_limit_1([80.0, 120.0, *CALM[:8]])[0]
    assert (wide.verdict, wide.criteria[1].met) == (Verdict.FAIL, False)
    hopeless = schemes.acceptance_limit_1([60.0, 60.1, 60.2])[0]
    assert (hopeless.verdict, hopeless.criteria[1].limit) == (Verdict.FAIL, 0.0)
    table = one_way([CALM[:3], CALM[3:6], CALM[6:9]])
    assert schemes.acceptance_limit_2(table)[0].verdict is Verdict.MET


def test_limits_at_their_edges() -> None:
    """Equal units, unequal replicates and means beyond reach are all answered."""
    assert plan_1(100.0, 0.0, 10).probability == pytest.approx(1.0)
    assert float(sd_limits(10, 60.0)) == 0.0
    unequal = one_way([[99.0, 101.0, 100.0], [100.0, 100.4], [99.5, 100.5]])
    bound = plan_2(unequal)
    assert bound.mean == pytest.approx((100.0 + 100.2 + 100.0) / 3)
    assert bound.mean_low < bound.mean < bound.mean_high


@pytest.mark.parametrize(
    "levels", [{"confidence": 1.0}, {"coverage": 0.0}, {"target": 0.0}, {"target": float("nan")}]
)
def test_levels_that_are_none_are_refused(levels: dict[str, float]) -> None:
    """Confidence and coverage lie between 0 and 1, the target above 0."""
    with pytest.raises(InputError, match="is not"):
        Demand(**levels)


def test_root_finder_refuses_what_does_not_fall() -> None:
    """A function above zero at the end of its bracket, or flat at its root, is an error."""
    with pytest.raises(RuntimeError, match="does not fall"):
        falling_root(lambda x, _: x + 1.0, 0.0, 1.0, 2)
    with pytest.raises(RuntimeError, match="not found"):
        falling_root(lambda x, _: np.where(x < 0.7, 1.0, -1e300), 0.0, 1.0, 1)


def test_2003_blend_needs_ten_locations_and_a_mean() -> None:
    """Nine locations are not judged; a mean of zero has no RSD and does not pass."""
    assert withdrawn_fda_2003.blend(CALM[:9]).verdict is Verdict.NOT_APPLICABLE
    nothing = withdrawn_fda_2003.blend([0.0] * 10)
    assert (nothing.verdict, nothing.criteria[0].value) == (Verdict.FAIL, None)


def table_of(between: float, within: float) -> OneWay:
    """A made-up study's table."""
    made = results(regular_vials(10, 3), Truth(between_sd=between, within_sd=within), seed=4)
    return one_way([[r.assay for r in made[i : i + 3]] for i in range(0, len(made), 3)])


UNSURE = one_way([[98.0, 100.0, 102.0], [102.5, 104.5, 106.5], [99.0, 101.0, 103.0]])


@pytest.mark.parametrize(
    ("table", "expected", "words"),
    [
        (table_of(4.0, 0.5), (True, True), "points to the blend"),
        (table_of(0.8, 0.1), (True, False), "by a small amount"),
        (UNSURE, (False, True), "cannot tell"),
        (table_of(0.0, 1.0), (False, False), "No difference"),
    ],
    ids=["both", "significant", "large", "neither"],
)
def test_significant_and_large_are_kept_apart_between_locations(
    table: OneWay, expected: tuple[bool, bool], words: str
) -> None:
    """Four combinations, four sentences, one of which points to the blend."""
    found = between_locations(table, component_intervals(table), LIMITS)
    assert (found.significant, found.large) == expected
    assert words in found.sentence
    assert (found.cause is Cause.BLEND) == all(expected)


def test_between_locations_without_spread_inside() -> None:
    """Equal replicates: any difference stands out, equality does not."""
    apart = one_way([[97.0, 97.0], [103.0, 103.0]])
    same = one_way([[97.0, 97.0], [97.0, 97.0]])
    assert between_locations(apart, component_intervals(apart), LIMITS).significant
    assert not between_locations(same, component_intervals(same), LIMITS).significant


def test_spread_inside_locations_points_to_sampling_or_method() -> None:
    """Large spread is named; against a known method SD it is tested as well."""
    rough, fine = table_of(0.5, 3.0), table_of(0.5, 0.8)
    large = within_locations(rough, component_intervals(rough), LIMITS)
    assert (large.cause, large.significant, large.large) == (Cause.SAMPLING, None, True)
    small = within_locations(fine, component_intervals(fine), LIMITS, method_sd=0.8)
    assert (small.cause, small.significant) == (Cause.NONE, False)
    more = within_locations(rough, component_intervals(rough), LIMITS, method_sd=0.8)
    assert more.significant
    assert "more than the analytical method" in more.sentence


@pytest.mark.parametrize(
    ("truth", "words"),
    [
        (Truth(depth_slope=3.0, within_sd=0.5), "thief or to layers"),
        (Truth(depth_slope=-3.0, within_sd=0.5), "falls with the port depth"),
        (Truth(position_slope=4.0, within_sd=0.5), "by a large amount: this points to the thief."),
        (Truth(depth_slope=0.3, within_sd=0.3), "by a small amount"),
        (Truth(order_slope=0.4, between_sd=5.0), "this may be chance"),
    ],
)
def test_trends_point_to_the_thief(truth: Truth, words: str) -> None:
    """A trend put in is worded by its significance and its size."""
    made = results(regular_vials(10, 3, 2), truth, seed=1)
    sentences = [one.sentence for one in trend_indications(trends(made), LIMITS)]
    assert any(words in sentence for sentence in sentences)


def test_no_trend_gives_no_indication() -> None:
    """A quiet study has nothing to say about the thief."""
    made = results(regular_vials(10, 3, 2), Truth(between_sd=0.3, within_sd=0.3), seed=2)
    assert trend_indications(trends(made), LIMITS) == ()


def test_a_spread_below_the_random_mixture_points_to_the_data() -> None:
    """Below the limit: by chance or beyond it; at the limit or without RSD: nothing."""
    summary = summarise(CALM)
    assert summary.rsd is not None
    beyond = against_random_mixture(summary, 3.0, LIMITS)
    chance = against_random_mixture(summary, summary.rsd * 1.1, LIMITS)
    assert beyond is not None
    assert chance is not None
    assert (beyond.cause, beyond.significant, beyond.large) == (Cause.DATA, True, True)
    assert (chance.significant, chance.large) == (False, False)
    assert against_random_mixture(summary, summary.rsd, LIMITS) is None
    assert against_random_mixture(summarise([0.0, 0.0]), 3.0, LIMITS) is None


def test_equal_results_point_to_the_data() -> None:
    """One number thirty times is no blend."""
    found = no_variation([99.0] * 30)
    assert found is not None
    assert found.cause is Cause.DATA
    assert no_variation([99.0, 99.1]) is None


def test_at_least_is_rounded_down() -> None:
    """A bound just below 1 is no certainty."""
    firsts = [99.2, 99.8, 100.4, 98.9, 99.5, 100.1, 99.0, 100.6, 99.7, 99.4]
    outcome, bound = schemes.acceptance_limit_1(firsts)
    assert 0.99999 < bound.probability < 1.0
    assert "at least 99.9 % of future samples" in outcome.sentence
